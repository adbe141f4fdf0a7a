"""The side table of what people sign with. It is no evidence: it may be erased, and stands in no event, export or comparison."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.opening import Book, Row

NONE = Row(pin=None, code=None, code_until=0, wrong=0, locked_until=0)


def row(book: Book, person: str) -> Row:
    """What is kept of *person* (compact ID); empty where nothing is."""
    return (
        book.one("SELECT pin, code, code_until, wrong, locked_until FROM sign_in WHERE person = ?", person)
        or NONE
    )


def keep(book: Book, shop: str, person: str, **columns: Any) -> None:
    """Set *columns* of the person's row."""
    if not book.value("SELECT 1 FROM sign_in WHERE person = ?", person):
        book.insert("sign_in", {"person": person, "shop": shop, **columns})
        return
    marks = ", ".join(f"{name} = ?" for name in columns)
    book.execute(f"UPDATE sign_in SET {marks} WHERE person = ?", [*columns.values(), person])


def with_pin(book: Book, shop: str) -> dict[str, str]:
    """The people of the shop who have a PIN: compact ID -> role."""
    return dict(
        book.tuples(
            "SELECT p.item, p.role FROM sign_in s JOIN person p ON p.item = s.person AND p.shop = s.shop "
            "WHERE s.shop = ? AND s.pin IS NOT NULL",
            shop,
        )
    )
