"""What became of the tires a recall lists, and whether later words changed the list of one that was closed.

A tire has an outcome once, after the recall was opened, it came back, was released by a signature, cut out or scrapped, or somebody
signed for what became of it where it is. What a recall listed when it was opened stays as it was; its closing also counts the tires that it would list by what is known by then.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary

from fillbook.trace.book import chain, queries, recalls, suspects, worked_out
from fillbook.trace.book.bears_back import bears_back
from fillbook.trace.book.in_parts import parts
from fillbook.trace.book.journal import Position
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.outcomes import OPEN, outcomes_by
from fillbook.trace.book.reach import is_few
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import ShopError

NAMED = 5  # tires named in a sentence


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


def listed(book: Book, shop: str, opened: Row, at: int) -> list[Listed]:
    """Every tire that the recall *opened* (a row of ``recall``) listed or would list today, with its outcome by *at*."""
    frozen = book.tuples(
        "SELECT item, tier FROM recall_item WHERE shop = ? AND seq = ? ORDER BY n", shop, opened.seq
    )
    known, there = today(book, shop, opened), {item for item, _ in frozen}
    later = [item for item in known if item not in there]
    after = _filled_after(book, later, at)
    every = [*frozen, *((item, known[item]) for item in later if item not in after)]
    became = outcomes_by(book, opened, [item for item, _ in every], at)
    now = _states_at(book, [item for item, _ in every if became[item] == OPEN], at)
    return [
        Listed(
            item, tier, became[item], *now.get(item, ("", "")), later=item not in there, today=item in known
        )
        for item, tier in every
    ]


def on_list(book: Book, shop: str, opened: Row, items: Iterable[str]) -> set[str]:
    """Those of *items* that the recall *opened* listed when it was opened or would list by what is known now."""
    wanted = list(items)
    found = {
        item
        for part, marks in parts(wanted)
        for (item,) in book.tuples(
            f"SELECT item FROM recall_item WHERE item IN ({marks}) AND shop = ? AND seq = ?",
            *part, shop, opened.seq,
        )
    }  # fmt: skip
    return found if len(found) == len(wanted) else found | (today(book, shop, opened).keys() & set(wanted))


def _filled_after(book: Book, items: Iterable[str], at: int) -> set[str]:
    """Which of *items* were filled after *at*."""
    return {
        item
        for part, marks in parts(items)
        for (item,) in book.tuples(f"SELECT item FROM fill WHERE item IN ({marks}) AND at > ?", *part, at)
    }


def _states_at(book: Book, tires: Iterable[str], at: int) -> dict[str, tuple[str, str]]:
    """State and place of each of *tires* at *at*, as :func:`queries.state_at` says them one by one."""
    return {
        item: (state, place)
        for part, marks in parts(tires)
        for item, state, place in book.tuples(
            f"SELECT item, state, coalesce(place, '') FROM touch WHERE item IN ({marks}) AND state IS NOT NULL AND at <= ? "
            "ORDER BY at, rank, seq, n",
            *part, at,
        )
    }  # fmt: skip


def today(book: Book, shop: str, opened: Row) -> dict[str, str]:
    """The tires that the recall *opened* would list by what the book knows now: compact ID -> tier."""
    how: dict[str, Any] = {"defect": opened.defect, "threshold_e4": opened.threshold_e6 // 100}
    try:
        if book.db.in_transaction():  # nothing of it is kept, so the account would be made for nobody
            found = recalls.recall(book, shop, opened.suspect, **how, with_account=False)
        else:
            found = worked_out.recall(book, shop, opened.suspect, **how)
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
    what went into a tire before: late, as a correction, or of a tote or hopper that feeds a line since then (:mod:`bears_back`); once
    for each such word. *only*: the recall of this event. *at_once*: where more items than this can be reached, it is worked out in the
    background, and what was known before is given meanwhile.
    """
    with book.reading():
        return [
            change
            for one in _closings(book, shop)
            if only in (None, one.row.recall_seq) and (change := _compared(book, shop, one, at_once))
        ]


@dataclass
class _Closing:
    """A closing, its newest event that says something of before it (0: none does), and what was found up to which of them.

    ``row``: of ``recall_close``, with ``word``, the closing's event or its newest correction: from there on the list is compared.
    """

    row: Row
    late: int = 0
    compared: tuple[int, Changed | None] = (0, None)
    working: threading.Lock = field(default_factory=threading.Lock)  # held while it is worked out


@dataclass
class _Seen:
    """A shop's closings by what its journal said up to *head*, read by one thread at a time."""

    head: Position | None = None
    closings: tuple[_Closing, ...] = ()
    lock: threading.Lock = field(default_factory=threading.Lock)


_SEEN: WeakKeyDictionary[Book, dict[str, _Seen]] = WeakKeyDictionary()
_LOCK = threading.Lock()


def _closings(book: Book, shop: str) -> tuple[_Closing, ...]:
    """The closings of *shop*, newest first; nothing more than the head is looked at while that is where it was."""
    head = chain.position(book, shop)
    if book.db.in_transaction():  # the head is ahead of the facts: neither read from what is kept, nor kept
        return _read_on(book, shop, _Seen())
    with _LOCK:
        seen = _SEEN.setdefault(book, {}).setdefault(shop, _Seen())
    with seen.lock:
        if seen.head != head:
            seen.closings = _read_on(book, shop, seen)
            seen.head = head
        return seen.closings


def _read_on(book: Book, shop: str, seen: _Seen) -> tuple[_Closing, ...]:
    """The closings by what the journal says now, from where it was *seen* on."""
    rows = book.rows(
        "SELECT c.*, coalesce((SELECT max(e.seq) FROM event e WHERE e.shop = c.shop AND e.corrects = c.seq), c.seq) AS word "
        "FROM recall_close c WHERE c.shop = ? ORDER BY c.seq DESC",
        shop,
    )
    if not rows:
        return ()
    known: dict[tuple[int, int], _Closing] = {}
    read = 0
    if seen.head and _is_in(book, seen.head):  # else it is another journal, put back from a copy
        known, read = {(one.row.seq, one.row.word): one for one in seen.closings}, seen.head.seq
    closings = tuple(known.get((row.seq, row.word)) or _Closing(row) for row in rows)
    after = min(read if (row.seq, row.word) in known else row.word for row in rows)
    for seq, since in bears_back(book, shop, after, max(row.at for row in rows)):
        for one in closings:
            if since <= one.row.at and seq > one.row.word:
                one.late = max(one.late, seq)
    return closings


def _is_in(book: Book, head: Position) -> bool:
    digest = book.value("SELECT hash FROM event WHERE shop = ? AND seq = ?", head.shop, head.seq)
    return bool(digest == head.hash)


def _compared(book: Book, shop: str, one: _Closing, at_once: int | None) -> Changed | None:
    late = one.late
    if one.compared[0] == late:
        return one.compared[1]
    if at_once is None or _is_few(book, shop, one.row, at_once):
        one.compared = (late, _compare(book, shop, one.row))
    elif one.working.acquire(blocking=False):  # else it is being worked out already
        work = threading.Thread(target=_work_out, args=(book, shop, one, late), daemon=True)
        work.start()
    return one.compared[1]


def _work_out(book: Book, shop: str, one: _Closing, late: int) -> None:
    try:
        with book.connected(), book.reading():
            one.compared = (late, _compare(book, shop, one.row))
    finally:
        one.working.release()


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
    new = now - set(kept)
    added = sorted(new - _filled_after(book, new, row.at))
    gone = sorted(then - now)
    if not added and not gone:
        return None
    return Changed(opened.seq, tuple(added), tuple(gone), _sentence(book, shop, opened, row, added, gone))


def _sentence(book: Book, shop: str, opened: Row, row: Row, added: list[str], gone: list[str]) -> str:
    suspect, seq = opened.suspect, opened.seq
    day = times.show_date(row.at, queries.timezone(book, shop))
    names = ", ".join(ids.pretty(item) for item in (added or gone)[:NAMED])
    if added and gone:
        return (
            f"The recall of {suspect} (event {seq}) was closed on {day}; by what was written since its list would have {len(added)} more and "
            f"{len(gone)} fewer. More: {names}."
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
