"""What became of the tires a recall lists: what each outcome is called, and how it is found."""

from __future__ import annotations

from collections.abc import Iterable

from fillbook.trace.book.in_parts import parts
from fillbook.trace.book.opening import Book

OPEN = ""  # no outcome yet
CAME_BACK, RELEASED_SINCE, CUT_OUT, SCRAPPED, VOID = (
    "came back",
    "released since",
    "cut out",
    "scrapped",
    "void",
)
#: All of them, in the order in which they are counted.
OUTCOMES = (CAME_BACK, RELEASED_SINCE, CUT_OUT, SCRAPPED, VOID, OPEN)
#: A tire's state -> its outcome, whenever it came to it: it is in nobody's machine any more.
FINAL = {"reclaimed": CUT_OUT, "scrapped": SCRAPPED, "void": VOID}


def outcomes_by(book: Book, items: Iterable[str], opened_at: int, at: int) -> dict[str, str]:
    """What had become of each of *items* (compact IDs) by *at*, since the recall was opened at *opened_at*; empty where nothing had."""
    found: dict[str, str] = {}
    for part, marks in parts(items):
        states = dict(
            book.tuples(
                "SELECT t.item, t.state FROM touch t WHERE t.item IN (" + marks + ") AND t.state IN ('reclaimed', 'scrapped', 'void') "
                "AND t.at <= ? ORDER BY t.at, t.rank, t.seq, t.n",  # the last of each stays
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
