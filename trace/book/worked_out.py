"""Recalls that were worked out, kept while the journal stays where it is: a list's next page, its files and a second look take no walk.

What is kept is named by the head of the shop's journal, so it is never shown for another state of the book: nothing a recall says
is known from anywhere else. It stays in this program and goes with it.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from weakref import WeakKeyDictionary

from fillbook.trace.book import chain, how_sure, reach, recalls, suspects
from fillbook.trace.book.opening import Book
from fillbook.trace.core import recall as rules
from fillbook.trace.core.errors import ShopError

AT_ONCE = 150  # so many items reached are walked while somebody waits for the page
MOST_KEPT = 100_000  # items of walks that are kept in all, some 50 MB
ROW = 4  # a row of a list takes as much room as so many
LIST, ACCOUNT = "list", "account"
Key = tuple[str, str, str, str]
Asked = tuple[str, int, bool]  # "list" or "sure", the threshold, with traces or in US units


class _One:
    """What is worked out of one suspect and one kind of defect; by one request at a time."""

    def __init__(self, defect: str) -> None:
        self.defect = defect
        self.lock = threading.Lock()
        self.suspect: suspects.Suspect | None = None
        self.found: reach.Reach | None = None
        self.account: list[dict[str, Any]] | None = None
        self.said: dict[Asked, dict[str, Any]] = {}  # lists and words, the latest asked last
        self.rows = 0

    def all_found(self, book: Book) -> reach.Reach:
        """All that holds the suspect, walked again where that was let go."""
        assert self.suspect is not None
        found = self.found  # it may be let go at any moment, by whoever asks of another suspect
        if found is None:
            found = self.found = recalls.holding(book, self.suspect, self.defect)
        return found

    def say(self, asked: Asked, make: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """The list or words *asked* for, by *make* where they are not kept; the latest asked from now on."""
        found = self.said.pop(asked, None)
        if found is None:
            found = make()
        self.said[asked] = found
        return found

    def count(self) -> None:
        """Count the rows of the lists; words, and a list of nothing, as one. Where they alone are more than may be kept, those of other
        thresholds than the latest go, the oldest first."""
        rows = {asked: max(1, len(kept.get("items", ()))) for asked, kept in self.said.items()}
        _, latest, _ = next(reversed(rows), ("", 0, False))
        for asked in list(rows):
            if asked[1] != latest and ROW * sum(rows.values()) > MOST_KEPT:
                del self.said[asked], rows[asked]
        self.rows = sum(rows.values())

    @property
    def size(self) -> int:
        found = self.found
        return ROW * self.rows + (len(found.held.items) if found else 0)


class _Kept:
    """What is kept of each book, the latest asked last."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.books: WeakKeyDictionary[Book, OrderedDict[Key, _One]] = WeakKeyDictionary()

    def has(self, book: Book, key: Key) -> bool:
        with self.lock:
            one = self.books.get(book, OrderedDict()).get(key)
        return one is not None and one.account is not None

    def one(self, book: Book, key: Key) -> _One:
        with self.lock:
            ones = self.books.setdefault(book, OrderedDict())
            for old in [old for old in ones if old[0] == key[0] and old[1] != key[1]]:
                del ones[old]  # the shop's journal went on
            found = ones.pop(key, None) or _One(key[3])
            ones[key] = found
            return found

    def drop(self, book: Book, key: Key) -> None:
        with self.lock:
            self.books.get(book, OrderedDict()).pop(key, None)

    def fit(self, book: Book) -> None:
        """Let go of what is more than may be kept: first the walks, then what was asked longest ago; the latest lists stay."""
        with self.lock:
            ones = self.books.get(book, OrderedDict())
            for one in ones.values():
                if sum(one.size for one in ones.values()) > MOST_KEPT:
                    one.found = None
            while len(ones) > 1 and sum(one.size for one in ones.values()) > MOST_KEPT:
                ones.popitem(last=False)


_KEPT = _Kept()


def forget() -> None:
    """Let go of all that is kept, so that a first look can be measured."""
    with _KEPT.lock:
        _KEPT.books.clear()


def recall(
    book: Book,
    shop: str,
    said: str,
    *,
    defect: str = rules.CONTAMINATION,
    threshold_e4: int | None = None,
    with_traces: bool = False,
    at_once: int | None = None,
) -> dict[str, Any]:
    """As :func:`recalls.recall`, worked out once for each state of the journal.

    *at_once*: where more items than this can be reached and it was not worked out yet, only what takes no walk through regrind is
    given: ``lacking`` then names what is not there yet, ``"list"`` (tiers below *possible* are missing, and grams and shares lack
    what came through regrind) and ``"account"``. Where nothing is lacking it is empty.
    """
    if threshold_e4 is None:
        threshold_e4 = recalls.rules_threshold(book, shop)
    rules.check(defect, threshold_e4 / 10_000)
    if book.db.in_transaction():
        # what is being written may be half done, and the head is ahead of it
        whole = recalls.recall(
            book, shop, said, defect=defect, threshold_e4=threshold_e4, with_traces=with_traces
        )
        return {**whole, "lacking": ()}
    with book.reading():  # the head and what is worked out at it are of one moment
        key = _key(book, shop, said, defect)
        if at_once is not None and not _KEPT.has(book, key):
            suspect = suspects.suspect(book, shop, said)
            if not reach.is_few(book, suspect, at_once):
                return _begun(book, suspect, defect, threshold_e4)
        with _worked(book, key, said) as one:
            return _answer(book, one, threshold_e4, with_traces)


def how_sure_are_we(
    book: Book, shop: str, said: str, *, defect: str, threshold_e4: int | None, us: bool
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The recall, and what :func:`how_sure.explain` says of it."""
    if threshold_e4 is None:
        threshold_e4 = recalls.rules_threshold(book, shop)
    rules.check(defect, threshold_e4 / 10_000)
    if book.db.in_transaction():
        found = recall(book, shop, said, defect=defect, threshold_e4=threshold_e4)
        return found, how_sure.explain(book, shop, found, us, said)
    with book.reading(), _worked(book, _key(book, shop, said, defect), said) as one:
        found = _answer(book, one, threshold_e4, False)
        words = one.say(
            ("sure", threshold_e4, us), lambda: how_sure.explain(book, shop, found, us, said, one.found)
        )
        return found, words


def _key(book: Book, shop: str, said: str, defect: str) -> Key:
    return shop, chain.position(book, shop).hash, said.strip(), defect


@contextmanager
def _worked(book: Book, key: Key, said: str) -> Iterator[_One]:
    """What is kept under *key*, worked out first where it is not yet; whoever asks for the same meanwhile waits for it."""
    one = _KEPT.one(book, key)
    with one.lock:
        if one.suspect is None or one.account is None:
            try:
                one.suspect = suspects.suspect(book, key[0], said)
            except ShopError:  # nothing of the kind in the book: nothing to keep
                _KEPT.drop(book, key)
                raise
            one.account = recalls.account_of(book, one.suspect, one.all_found(book), one.defect)
        yield one
        one.count()
    _KEPT.fit(book)


def _answer(book: Book, one: _One, threshold_e4: int, with_traces: bool) -> dict[str, Any]:
    assert one.suspect is not None
    shop = one.suspect.shop
    listed = one.say(
        ("list", threshold_e4, with_traces),
        lambda: recalls.listing(book, shop, one.all_found(book), threshold_e4, with_traces=with_traces),
    )
    head = recalls.heading(book, one.suspect, one.defect, threshold_e4)
    return {**head, **listed, "account": one.account, "lacking": ()}


def _begun(book: Book, suspect: suspects.Suspect, defect: str, threshold_e4: int) -> dict[str, Any]:
    """What can be said without a walk through the regrind."""
    head = recalls.heading(book, suspect, defect, threshold_e4)
    if defect == rules.SETTING:
        found = recalls.listing(book, suspect.shop, reach.straight(book, suspect), threshold_e4)
        return {**head, **found, "account": None, "lacking": (ACCOUNT,)}
    found = recalls.listing_straight(book, suspect)
    return {**head, **found, "account": None, "lacking": (LIST, ACCOUNT)}
