"""Tires to keep away from: filled above the lowest rating, and no lead has looked yet."""

from __future__ import annotations

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book, Row

DANGER = "above rating"  # the code of the finding that led to the hold


def kept_away(book: Book, item: str, at: int | None = None) -> Row | None:
    """The open hold (by *at*, seconds of UTC, if said) for which nobody goes near the tire *item* (compact ID); None if there is none."""
    return book.one(
        "SELECT h.* FROM hold h WHERE h.item = ? AND h.by_rule = 1 AND (? IS NULL OR h.at <= ?) AND EXISTS "
        "(SELECT 1 FROM finding f WHERE f.shop = h.shop AND f.seq = h.seq AND f.words = h.why AND f.holds = 1 AND f.code = ?) "
        f"AND {queries.OPEN} ORDER BY h.seq, h.n LIMIT 1",
        item, at, at, DANGER,
    )  # fmt: skip
