"""What came in before, so that the next delivery of the same material need not be typed anew."""

from __future__ import annotations

from fillbook.trace.book.opening import Book, Row


def last_of_item(book: Book, shop: str, supplier_item: str) -> Row | None:
    """The newest tote of this supplier's item number: its supplier, side and system; None where none came in yet."""
    return book.one(
        "SELECT supplier, side, system, received_at FROM tote WHERE shop = ? AND supplier_item = ? ORDER BY received_at DESC, item LIMIT 1",
        shop, supplier_item,
    )  # fmt: skip
