"""Building a book again from its journal, and comparing the two."""

from __future__ import annotations

from collections.abc import Callable

from peewee import DatabaseError

from fillbook.trace.book import chain as reading
from fillbook.trace.book import journal
from fillbook.trace.book.apply import apply
from fillbook.trace.book.opening import Book, create
from fillbook.trace.book.tables import DERIVED, FACTS, natural
from fillbook.trace.core.errors import Damaged, ShopError


def replay(book: Book, into: Book, progress: Callable[[int], None] | None = None) -> None:
    """Feed *book*'s journal to the empty book *into*. Raises Damaged naming the event that can't be applied."""
    with into.transaction():
        for digest, data in book.tuples("SELECT digest, bytes FROM blob ORDER BY digest"):
            into.insert("blob", {"digest": digest, "bytes": data})
        for shop in book.shops():
            with journal.writing(into, shop, new=True) as chain:
                for event in reading.events(book, shop):
                    try:
                        chain.append(event)
                        apply(into, chain, event)
                    except (ShopError, LookupError, TypeError, ValueError, DatabaseError) as trouble:
                        # a forged body that no verb ever wrote: whatever it breaks, the event is what is wrong
                        raise Damaged(f"Event {shop}:{event.seq} can't be applied again: {trouble}") from None
                    if progress:
                        progress(event.seq)


def difference(one: Book, other: Book) -> str | None:
    """The first table and row in which two books differ, in words; None where facts and derived rows are equal."""
    for table in ("item", *FACTS, *DERIVED):
        mine, theirs = (sorted(map(repr, book.tuples(natural(table)))) for book in (one, other))
        if mine != theirs:
            extra = next(iter(set(mine) - set(theirs)), None)
            lacking = next(iter(set(theirs) - set(mine)), None)
            return f"table {table}: the book has {extra or 'no such row'} where the journal says {lacking or 'no such row'}."
    return None


def check_replay(book: Book, progress: Callable[[int], None] | None = None) -> str | None:
    """What differs between the tables of *book* and those its journal gives; None where they are equal."""
    again = create(":memory:")
    try:
        replay(book, again, progress)
        return difference(book, again)
    except Damaged as trouble:
        return str(trouble)
    finally:
        again.db.close()
