"""Answers that only an event can change, kept while there is none: what they are made of is looked at once for each state of the journal."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from fillbook.trace.book import chain
from fillbook.trace.book.opening import Book

Answer = TypeVar("Answer")

_kept: WeakKeyDictionary[Book, dict[tuple[str, str], tuple[str, Any]]] = WeakKeyDictionary()
_lock = threading.Lock()


def while_unchanged(book: Book, shop: str, name: str, answer: Callable[[], Answer]) -> Answer:
    """*answer* of *shop*, called *name*: made when first asked for, and again once the shop's journal has a new head.

    Only for what depends on the journal's facts and nothing else: neither on the time, nor on side tables, nor on who asks; and is
    never changed by whoever gets it. While something is being written it is made anew each time: the head is ahead of the facts then.
    """
    if book.db.in_transaction():
        return answer()
    with book.reading():  # the head and what is made at it are of one moment
        head = chain.position(book, shop).hash
        with _lock:
            before, found = _kept.setdefault(book, {}).get((shop, name), ("", None))
        if before == head:
            return found
        found = answer()
        with _lock:
            _kept[book][(shop, name)] = (head, found)
    return found
