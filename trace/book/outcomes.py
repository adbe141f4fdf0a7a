"""What became of the tires a recall lists: what each outcome is called, and how it is found."""

from __future__ import annotations

from collections.abc import Iterable

from fillbook.trace.book.in_parts import parts
from fillbook.trace.book.opening import Book, Row

OPEN = ""  # no outcome yet
CAME_BACK, RELEASED_SINCE, CUT_OUT, SCRAPPED, VOID = (
    "came back",
    "released since",
    "cut out",
    "scrapped",
    "void",
)
#: What somebody signs for where a tire stays away: it was looked at where it is and is sound, was destroyed there, or nobody gets at it.
STAYS_AWAY = ("looked at, stays", "destroyed there", "out of reach")
#: All of them, in the order in which they are counted.
OUTCOMES = (CAME_BACK, RELEASED_SINCE, *STAYS_AWAY, CUT_OUT, SCRAPPED, VOID, OPEN)
#: A tire's state -> its outcome, whenever it came to it: it is in nobody's machine any more.
FINAL = {"reclaimed": CUT_OUT, "scrapped": SCRAPPED, "void": VOID}


def outcomes_by(book: Book, recall: Row, items: Iterable[str], at: int) -> dict[str, str]:
    """What had become of each of *items* (compact IDs) by *at*, since *recall* (a row of ``recall``) was opened; empty where nothing had.

    What took a tire out of use for good counts whenever it was; of the rest the latest does.
    """
    found: dict[str, str] = {}
    for part, marks in parts(items):
        states = dict(
            book.tuples(
                "SELECT t.item, t.state FROM touch t WHERE t.item IN (" + marks + ") AND t.state IN ('reclaimed', 'scrapped', 'void') "
                "AND t.at <= ? ORDER BY t.at, t.rank, t.seq, t.n",  # the last of each stays
                *part, at,
            )
        )  # fmt: skip
        latest: dict[str, tuple[int, str]] = {}
        for item, when in book.tuples(
            f"SELECT item, max(at) FROM touch WHERE item IN ({marks}) AND state = 'returned' AND at BETWEEN ? AND ? GROUP BY item",
            *part, recall.at, at,
        ):  # fmt: skip
            latest[item] = when, CAME_BACK
        for item, when in book.tuples(
            f"SELECT item, max(at) FROM released WHERE item IN ({marks}) AND at BETWEEN ? AND ? GROUP BY item",
            *part, recall.at, at,
        ):  # fmt: skip
            if when >= latest.get(item, (when,))[0]:
                latest[item] = when, RELEASED_SINCE
        for item, when, outcome in book.tuples(
            f"SELECT item, at, outcome FROM accounted WHERE item IN ({marks}) AND shop = ? AND recall_seq = ? AND at <= ? "
            "ORDER BY at, seq",
            *part, recall.shop, recall.seq, at,
        ):  # fmt: skip
            if when >= latest.get(item, (when,))[0]:
                latest[item] = when, outcome
        for item in part:
            found[item] = FINAL[states[item]] if item in states else latest.get(item, (0, OPEN))[1]
    return found
