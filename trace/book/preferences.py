"""The side table of what a person likes to read: language and units. It is no evidence: nothing the book holds depends on it."""

from __future__ import annotations

from fillbook.trace.book.opening import Book, Row

NONE = Row(language="", units="")
UNITS = ("us", "metric")


def of(book: Book, person: str) -> Row:
    """What *person* (compact ID) chose; empty where nothing was: then the browser's language and the shop's units hold."""
    return book.one("SELECT language, units FROM preference WHERE person = ?", person) or NONE


def keep(book: Book, shop: str, person: str, *, language: str, units: str) -> None:
    """Set what *person* reads. *units*: ``us``, ``metric``, or empty for the shop's."""
    with book.transaction():
        book.execute("DELETE FROM preference WHERE person = ?", [person])
        book.insert("preference", {"person": person, "shop": shop, "language": language, "units": units})
