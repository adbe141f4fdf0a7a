"""Tires to keep away from: filled above the lowest rating, and no lead has looked yet."""

from __future__ import annotations

from fillbook.trace.book import on_hold
from fillbook.trace.book.opening import Book, Row

DANGER = "above rating"  # the code of the finding that led to the hold


#: Of a hold ``h``: it is open, and the book put it on for a fill above its rating. Wants the finding's code.
_IN_DANGER = (
    "h.by_rule = 1 AND EXISTS (SELECT 1 FROM finding f WHERE f.shop = h.shop AND f.seq = h.seq AND f.words = h.why AND f.holds = 1 "
    f"AND f.code = ?) AND {on_hold.NOT_LIFTED}"
)


def filled_and_kept_away(book: Book, shop: str) -> set[str]:
    """The tires (compact IDs) that were filled, lie on no rack, and to which nobody goes near."""
    rows = book.tuples(
        "SELECT h.item FROM place p CROSS JOIN hold h WHERE p.state = 'filled' AND p.item BETWEEN ? AND ? AND h.item = p.item "
        f"AND {_IN_DANGER}",
        shop + "F", shop + "FZ", DANGER,
    )  # fmt: skip
    return {item for (item,) in rows}


def kept_away(book: Book, item: str, at: int | None = None) -> Row | None:
    """The open hold (by *at*, seconds of UTC, if said) for which nobody goes near the tire *item* (compact ID); None if there is none."""
    return book.one(
        f"SELECT h.* FROM hold h WHERE h.item = ? AND (? IS NULL OR h.at <= ?) AND {_IN_DANGER} ORDER BY h.seq, h.n LIMIT 1",
        item, at, at, DANGER,
    )  # fmt: skip
