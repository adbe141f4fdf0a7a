"""How far back an event bears on what went into tires: whoever listed tires once asks it whether the list may be another by now.

Most events bear on their own time and later. A tote's draws are judged together, so what it gives later, or weighs then, says
something of all it gave since it was hooked up; and a hopper that gave more than can have been in it says something of every load
since it may have been full last. The time said here is never too late; where it is too early, a list is only worked out once more.
"""

from __future__ import annotations

from collections.abc import Iterator

from fillbook.trace.book import spans
from fillbook.trace.book.line_state import LineState, state_text
from fillbook.trace.book.opening import Book, Row

ALWAYS = -(2**53)  # a correction or a limit may bear on anything
#: Kinds of events that say nothing of what went into a tire: written late, they change no list.
SAYS_NOTHING = (
    "print", "print failed", "release", "dispatch", "return", "identify", "hold", "lift", "open recall", "close recall", "account for", "rack",
    "log temperatures", "read temperature", "hang sensor", "take down sensor", "let sensor send", "trust samples", "settle",
    "read cup", "keep", "attach", "add person", "add zone", "admit device", "dismiss device", "adjust face", "choose printer",
    "choose language", "store", "stretch", "inspect", "inspect tote", "paper trial", "note supplier code", "open order", "reserve ids", "wrong PINs", "PIN changed",
)  # fmt: skip


def bears_back(book: Book, shop: str, after: int, until: int) -> Iterator[tuple[int, int]]:
    """The events of *shop* after event *after* that say something of *until* (seconds of UTC) or before: event, and since when.

    An event may come several times, for each thing it says.
    """
    yield from _said(book, shop, after, until)
    yield from _of_totes(book, shop, after, until)
    for side in spans.SIDES:
        yield from _on_side(book, shop, side, after, until)
    yield from _of_hoppers(book, shop, after, until)


def _said(book: Book, shop: str, after: int, until: int) -> list[tuple[int, int]]:
    """Late entries, corrections and limits."""
    marks = ", ".join("?" * len(SAYS_NOTHING))
    return book.tuples(
        "SELECT e.seq, CASE WHEN e.kind IN ('correct', 'set limit') THEN ? ELSE e.happened_at END FROM event e "
        "LEFT JOIN event o ON o.shop = e.shop AND o.seq = e.corrects "
        f"WHERE e.shop = ? AND e.seq > ? AND e.kind NOT IN ({marks}) AND (o.kind IS NULL OR o.kind NOT IN ({marks})) "
        "AND (e.kind IN ('correct', 'set limit') OR e.happened_at <= ?)",
        ALWAYS, shop, after, *SAYS_NOTHING, *SAYS_NOTHING, until,
    )  # fmt: skip


def _of_totes(book: Book, shop: str, after: int, until: int) -> list[tuple[int, int]]:
    """Totes that were hooked up, weighed or poured out of: back to when each was hooked up first, on any line."""
    return book.tuples(
        "SELECT x.seq, min(e.at) FROM (SELECT seq, item FROM line_act WHERE shop = ? AND seq > ? AND what = 'hook' "
        "UNION ALL SELECT seq, item FROM weighing WHERE shop = ? AND seq > ? AND item <> '' "
        "UNION ALL SELECT seq, source FROM ingredient WHERE shop = ? AND seq > ?) x "
        "JOIN line_act e ON e.item = x.item AND e.what = 'hook' WHERE e.at <= ? GROUP BY x.seq",
        *(shop, after) * 3, until,
    )  # fmt: skip


def _on_side(book: Book, shop: str, side: str, after: int, until: int) -> list[tuple[int, int]]:
    """Draws, and hookings and takings off of *side*: back to when the tote that was on until then was hooked up first."""
    return book.tuples(
        "SELECT seq, back FROM (SELECT a.seq AS seq, (SELECT min(e.at) FROM line_act e WHERE e.what = 'hook' AND e.item = "
        "(SELECT h.item FROM line_act h WHERE h.line = a.line AND h.what = 'hook' AND h.what <> 'draw' AND h.stream = ? "
        "AND (h.at, h.rank, h.seq, h.n) < (a.at, a.rank, a.seq, a.n) ORDER BY h.at DESC, h.rank DESC, h.seq DESC, h.n DESC LIMIT 1)"
        ") AS back FROM line_act a WHERE a.shop = ? AND a.seq > ? AND (a.what = 'draw' OR a.stream = ?)) x WHERE back <= ?",
        side, shop, after, side, until,
    )  # fmt: skip


def _of_hoppers(book: Book, shop: str, after: int, until: int) -> Iterator[tuple[int, int]]:
    """What went into hoppers, came out of them or was weighed in them: back to the load at which each may have been full last.

    As the line is walked: a draw bears on the loads before it where it took more than can have been in the hopper, a weighing
    always, and whatever was entered after what came later.
    """
    acts: dict[str, list[Row]] = {}
    for act in book.rows(
        "SELECT line, at, rank, seq, n, what, r_g FROM line_act WHERE shop = ? AND seq > ? AND (stream = 'R' OR r_g > 0) "
        "UNION ALL SELECT line, at, rank, seq, 0, 'weigh', 0 FROM weighing WHERE shop = ? AND seq > ? AND stream = 'R' ORDER BY 1, 2, 3, 4, 5",
        *(shop, after) * 2,
    ):  # fmt: skip
        acts.setdefault(act.line, []).append(act)
    for line, its in acts.items():
        last = _last_seq(book, line)
        for act in its:
            text = state_text(book, line, spans.key_of(act))
            state = LineState.from_text(text) if text else None
            since = state.hopper_since if state else None
            if act.at > until and (since is None or since[0] > until):
                break  # and so it is for all that comes after it
            if state is None or since is None:
                continue
            if act.what == "weigh" or act.seq != last or act.r_g > state.hopper_most_g:
                yield act.seq, since[0]


def _last_seq(book: Book, line: str) -> int:
    """The event of what happened last on *line*."""
    rows = book.tuples(
        "SELECT at, rank, seq FROM line_act WHERE line = ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line,
    ) + book.tuples(
        "SELECT at, rank, seq FROM weighing WHERE line = ? AND stream = 'R' ORDER BY at DESC, rank DESC, seq DESC LIMIT 1",
        line,
    )
    return int(max(rows)[2])
