"""The devices that may use the book over the network, as the journal's admissions and dismissals leave them."""

from __future__ import annotations

from fillbook.trace.book.opening import Book, Row

# a device is there while the newest that was said of its name admits it
THERE = (
    "SELECT d.shop, d.seq, d.device, d.role, d.at, d.who FROM device_act d WHERE {asked} AND d.what = 'admitted' AND NOT EXISTS "
    "(SELECT 1 FROM device_act later WHERE later.shop = d.shop AND later.device = d.device AND later.seq > d.seq)"
)


def bearing(book: Book, token_hash: str) -> Row | None:
    """The device whose token has this hash: shop, seq, device, role, at, who; None where there is none any more."""
    return book.one(THERE.format(asked="d.token_hash = ?"), token_hash)


def named(book: Book, shop: str, device: str) -> Row | None:
    return book.one(THERE.format(asked="d.shop = ? AND lower(d.device) = lower(?)"), shop, device)


def admitted(book: Book, shop: str) -> list[Row]:
    """The shop's devices by name."""
    return book.rows(THERE.format(asked="d.shop = ?") + " ORDER BY d.device", shop)


def was_used(book: Book, token_hash: str) -> bool:
    """Whether any device was ever given the token of this hash."""
    return bool(book.value("SELECT 1 FROM device_act WHERE token_hash = ? LIMIT 1", token_hash))
