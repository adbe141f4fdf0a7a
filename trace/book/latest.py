"""The latest few answers about single items, kept while the shop's journal stays where it is: what is looked at is looked at again."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from fillbook.trace.book import chain
from fillbook.trace.book.opening import Book

MOST = 24  # of a book, some 200 kB each at most
Answer = TypeVar("Answer")

_books: WeakKeyDictionary[Book, OrderedDict[tuple[str, str, Hashable], Any]] = WeakKeyDictionary()
_lock = threading.Lock()


def latest(book: Book, shop: str, name: Hashable, answer: Callable[[], Answer]) -> Answer:
    """*answer* of *shop*, called *name*: made anew where it was not asked for lately, or the journal has a new head since.

    Only for what depends on the journal's facts and nothing else, and is never changed by whoever gets it. While something is being
    written it is made anew each time: the head is ahead of the facts then.
    """
    if book.db.in_transaction():
        return answer()
    with book.reading():  # the head and what is made at it are of one moment
        key = shop, chain.position(book, shop).hash, name
        with _lock:
            kept = _books.setdefault(book, OrderedDict())
            if key in kept:
                kept.move_to_end(key)
                return kept[key]
        found = answer()
        with _lock:
            kept[key] = found
            while len(kept) > MOST:
                kept.popitem(last=False)
    return found


def forget() -> None:
    """Let go of all that is kept, so that a first look can be measured."""
    with _lock:
        _books.clear()
