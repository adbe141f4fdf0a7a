"""What became of the tires a recall lists, and whether later words changed the list of one that was closed.

A tire has an outcome once, after the recall was opened, it came back, was released by a signature, cut out or scrapped. What
a recall listed when it was opened stays as it was; its closing also counts the tires that it would list by what is known by then.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

from fillbook.trace.book import queries, suspects, worked_out
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.reach import is_few, parts
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import ShopError

OPEN = ""  # no outcome yet
CAME_BACK, RELEASED_SINCE, CUT_OUT, SCRAPPED, VOID = (
    "came back",
    "released since",
    "cut out",
    "scrapped",
    "void",
)
#: A tire's state -> its outcome, whenever it came to it: it is in nobody's machine any more.
FINAL = {"reclaimed": CUT_OUT, "scrapped": SCRAPPED, "void": VOID}
AT_ONCE = 150  # so many items reached are walked while somebody waits for the page
NAMED = 5  # tires named in a sentence
#: Kinds of events that say nothing of what went into a tire: written late, they change no list.
SAYS_NOTHING = (
    "print", "print failed", "release", "dispatch", "return", "identify", "hold", "lift", "open recall", "close recall", "rack",
    "log temperatures", "read temperature", "hang sensor", "take down sensor", "let sensor send", "trust samples", "settle",
    "read cup", "keep", "attach", "add person", "add zone", "admit device", "dismiss device", "adjust face", "choose printer",
    "choose language", "store", "stretch", "inspect", "inspect tote", "paper trial", "note supplier code", "open order", "reserve ids", "wrong PINs", "PIN changed",
)  # fmt: skip


@dataclass(frozen=True)
class Listed:
    """One tire of a recall; *state* and *place* where it has no outcome. ``later``: it is not on the list that was frozen; ``today``: it would be listed by what is known now."""

    item: str
    tier: str
    outcome: str
    state: str
    place: str
    later: bool
    today: bool


@dataclass(frozen=True)
class Changed:
    """A closed recall whose list later words changed: compact IDs that came to it and that left it, and the sentence that says so."""

    seq: int
    added: tuple[str, ...]
    gone: tuple[str, ...]
    words: str


def outcomes_by(book: Book, items: Iterable[str], opened_at: int, at: int) -> dict[str, str]:
    """What had become of each of *items* (compact IDs) by *at*, since the recall was opened at *opened_at*; empty where nothing had."""
    found: dict[str, str] = {}
    for part, marks in parts(items):
        states = dict(
            book.tuples(
                "SELECT t.item, t.state FROM touch t WHERE t.item IN (" + marks + ") AND t.state IN ('reclaimed', 'scrapped', 'void') "
                "AND t.at <= ?",
                *part, at,
            )
        )  # fmt: skip
        came = dict(
            book.tuples(
                f"SELECT item, max(at) FROM touch WHERE item IN ({marks}) AND state = 'returned' AND at BETWEEN ? AND ? GROUP BY item",
                *part, opened_at, at,
            )
        )  # fmt: skip
        again = dict(
            book.tuples(
                f"SELECT item, max(at) FROM released WHERE item IN ({marks}) AND at BETWEEN ? AND ? GROUP BY item",
                *part, opened_at, at,
            )
        )  # fmt: skip
        for item in part:
            if item in states:
                found[item] = FINAL[states[item]]
            elif item in again and again[item] >= came.get(item, 0):
                found[item] = RELEASED_SINCE
            else:
                found[item] = CAME_BACK if item in came else OPEN
    return found


def listed(book: Book, shop: str, opened: Row, at: int) -> list[Listed]:
    """Every tire that the recall *opened* (a row of ``recall``) listed or would list today, with its outcome by *at*."""
    frozen = book.tuples(
        "SELECT item, tier FROM recall_item WHERE shop = ? AND seq = ? ORDER BY n", shop, opened.seq
    )
    known, there = today(book, shop, opened), {item for item, _ in frozen}
    every = [*frozen, *((item, tier) for item, tier in known.items() if item not in there)]
    became = outcomes_by(book, [item for item, _ in every], opened.at, at)
    found = []
    for item, tier in every:
        now = queries.state_at(book, item, at) if became[item] == OPEN else queries.NOWHERE
        found.append(
            Listed(
                item, tier, became[item], now.state or "", now.place or "", item not in there, item in known
            )
        )
    return found


def today(book: Book, shop: str, opened: Row) -> dict[str, str]:
    """The tires that the recall *opened* would list by what the book knows now: compact ID -> tier."""
    try:
        found = worked_out.recall(
            book, shop, opened.suspect, defect=opened.defect, threshold_e4=opened.threshold_e6 // 100
        )
    except ShopError:  # what was suspected is void by now
        return {}
    return {ids.read(one["id"]): one["tier"] for one in found["items"]}


def closing(book: Book, shop: str, recall_seq: int) -> Row | None:
    """How the recall of event *recall_seq* was closed: seq, at, who, note; None while it is open."""
    return book.one("SELECT * FROM recall_close WHERE shop = ? AND recall_seq = ?", shop, recall_seq)


def outcomes(book: Book, shop: str, close_seq: int) -> dict[str, Row]:
    """What had become of each tire when the recall was closed by event *close_seq*: compact ID -> tier, outcome, listed_then."""
    rows = book.rows(
        "SELECT item, tier, outcome, listed_then FROM recall_outcome WHERE shop = ? AND seq = ? ORDER BY n", shop, close_seq
    )  # fmt: skip
    return {row["item"]: row for row in rows}


# -- the list of a closed recall, changed by a late entry or a correction ---------------------------------------------------------
def changed(book: Book, shop: str, *, only: int | None = None, at_once: int | None = None) -> list[Changed]:
    """Closed recalls that would list other tires today than when they were closed, because of what was written since.

    Tires filled after the closing are no matter of it. The list is worked out anew only where something was written that bears on
    what went into a tire before: late, as a correction, or of a tote that was on a line then; once for each such word. *only*: the
    recall of this event. *at_once*: where more items than this can be reached, it is worked out in the background, and what was
    known before is given meanwhile.
    """
    found = []
    for row in book.rows("SELECT * FROM recall_close WHERE shop = ? ORDER BY seq DESC", shop):
        if only in (None, row.recall_seq):
            late = _newest_late(book, shop, row)
            if late and (one := _compared(book, shop, row, late, at_once)):
                found.append(one)
    return found


#: book -> (shop, closing's hash) -> [read up to this event, the newest late word, (up to which word, what changed), a lock]
_SEEN: WeakKeyDictionary[Book, dict[tuple[str, str], list[Any]]] = WeakKeyDictionary()


def _seen(book: Book, shop: str, row: Row) -> list[Any]:
    digest = book.value(
        "SELECT hash FROM event WHERE shop = ? AND seq = ?", shop, _newest_word(book, shop, row)
    )
    return _SEEN.setdefault(book, {}).setdefault((shop, digest), [row.seq, 0, (0, None), threading.Lock()])


def _newest_word(book: Book, shop: str, row: Row) -> int:
    """The closing's event, or its newest correction: from there on the list is compared."""
    newest = book.value("SELECT max(seq) FROM event WHERE shop = ? AND corrects = ?", shop, row.seq)
    return int(newest or row.seq)


def _newest_late(book: Book, shop: str, row: Row) -> int:
    """The newest event since the closing that says something of before it; 0 where none does."""
    head = book.value("SELECT head_seq FROM chain WHERE shop = ?", shop)
    seen = _seen(book, shop, row)
    since = max(seen[0], _newest_word(book, shop, row))
    if head > since:
        marks = ", ".join("?" * len(SAYS_NOTHING))
        late = book.value(
            f"SELECT max(seq) FROM event WHERE shop = ? AND happened_at <= ? AND seq > ? AND kind <> 'correct' AND kind NOT IN ({marks})",
            shop, row.at, since, *SAYS_NOTHING,
        )  # fmt: skip
        corrected = book.value(
            "SELECT max(e.seq) FROM event e JOIN event o ON o.shop = e.shop AND o.seq = e.corrects "
            f"WHERE e.shop = ? AND e.kind = 'correct' AND e.seq > ? AND o.kind NOT IN ({marks})",
            shop, since, *SAYS_NOTHING,
        )  # fmt: skip
        limited = book.value(
            "SELECT max(seq) FROM event WHERE shop = ? AND kind = 'set limit' AND seq > ?", shop, since
        )
        # What was on at the closing is judged anew when it comes off or is weighed: only then is known how much it gave.
        off = book.value(
            "SELECT max(a.seq) FROM line_act a WHERE a.shop = ? AND a.seq > ? AND a.at > ? AND a.what IN ('hook', 'off') AND NOT EXISTS "
            "(SELECT 1 FROM line_act b WHERE b.line = a.line AND b.stream = a.stream AND b.what IN ('hook', 'off') AND b.at > ? AND b.at < a.at)",
            shop, since, row.at, row.at,
        )  # fmt: skip
        weighed = book.value(
            "SELECT max(w.seq) FROM weighing w WHERE w.shop = ? AND w.seq > ? AND EXISTS "
            "(SELECT 1 FROM line_act h WHERE h.item = w.item AND h.what = 'hook' AND h.at <= ?)",
            shop, since, row.at,
        )  # fmt: skip
        newest = max(one or 0 for one in (late, corrected, limited, off, weighed))
        seen[0], seen[1] = head, max(seen[1], newest)
    return int(seen[1])


def _compared(book: Book, shop: str, row: Row, late: int, at_once: int | None) -> Changed | None:
    seen = _seen(book, shop, row)
    if seen[2][0] == late:
        return seen[2][1]
    if at_once is None or _is_few(book, shop, row, at_once):
        seen[2] = (late, _compare(book, shop, row))
    elif seen[3].acquire(blocking=False):  # else it is being worked out already
        work = threading.Thread(target=_work_out, args=(book, shop, row, late, seen), daemon=True)
        work.start()
    return seen[2][1]


def _work_out(book: Book, shop: str, row: Row, late: int, seen: list[Any]) -> None:
    try:
        with book.connected(), book.reading():
            seen[2] = (late, _compare(book, shop, row))
    finally:
        seen[3].release()


def _is_few(book: Book, shop: str, row: Row, most: int) -> bool:
    opened = queries.opened_recall(book, shop, row.recall_seq)
    try:
        return opened is None or is_few(book, suspects.suspect(book, shop, opened.suspect), most)
    except ShopError:  # what was suspected is void by now
        return True


def _compare(book: Book, shop: str, row: Row) -> Changed | None:
    opened = queries.opened_recall(book, shop, row.recall_seq)
    if opened is None:
        return None
    now = set(today(book, shop, opened))
    kept = outcomes(book, shop, row.seq)
    then = {item for item, one in kept.items() if one.listed_then}
    added = sorted(item for item in now - set(kept) if _filled_before(book, item, row.at))
    gone = sorted(then - now)
    if not added and not gone:
        return None
    return Changed(opened.seq, tuple(added), tuple(gone), _sentence(book, shop, opened, row, added, gone))


def _filled_before(book: Book, item: str, at: int) -> bool:
    fill = queries.fill(book, item)
    return fill is None or fill.at <= at


def _sentence(book: Book, shop: str, opened: Row, row: Row, added: list[str], gone: list[str]) -> str:
    suspect, seq = opened.suspect, opened.seq
    day = times.show_date(row.at, queries.timezone(book, shop))
    names = ", ".join(ids.pretty(item) for item in (added or gone)[:NAMED])
    if added and gone:
        return (
            f"The recall of {suspect} (event {seq}) was closed on {day}; by what was written since it would list {len(added)} more tires and "
            f"{len(gone)} fewer, more: {names}."
        )
    if added:
        many = len(added)
        return (
            f"The recall of {suspect} (event {seq}) was closed on {day}; by what was written since it would list {many} more "
            f"{'tire' if many == 1 else 'tires'}: {names}."
        )
    many = len(gone)
    return (
        f"The recall of {suspect} (event {seq}) was closed on {day}; by what was written since it would list {many} fewer "
        f"{'tire' if many == 1 else 'tires'}: {names}."
    )
