"""Reading the journal: positions, events, its texts, and whether it is whole."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from typing import Any

from fillbook.trace.book.journal import FIRST, Event, Position, digest
from fillbook.trace.book.opening import Book
from fillbook.trace.core.errors import Damaged


def position(book: Book, shop: str) -> Position:
    row = book.one("SELECT head_seq, head_hash FROM chain WHERE shop = ?", shop)
    return Position(shop, row.head_seq, row.head_hash) if row else Position(shop, 0, FIRST)


def event_at(book: Book, shop: str, seq: int) -> Event | None:
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", shop, seq)
    return Event.from_text(text) if text else None


def events(book: Book, shop: str, after: int = 0) -> Iterator[Event]:
    """A shop's events in order."""
    for (text,) in book.tuples("SELECT text FROM event WHERE shop = ? AND seq > ? ORDER BY seq", shop, after):
        yield Event.from_text(text)


def export(book: Book, shop: str) -> Iterator[str]:
    """The journal's texts in order, one per line: all it takes to build the book again (with its blobs)."""
    for (text,) in book.tuples("SELECT text FROM event WHERE shop = ? ORDER BY seq", shop):
        yield text


def check_chain(book: Book, shop: str, kept: tuple[int, str] | None = None) -> str | None:
    """What is wrong with a shop's journal, in words that name the first bad event; None where it is whole.

    *kept* is a head that was written down elsewhere, (seq, hash or its beginning): without one, a lost tail and a chain that was
    rewritten whole cannot be seen.
    """
    expected, head = 1, FIRST
    for row in book.rows(
        "SELECT seq, prev, hash, kind, happened_at, request, corrects, text FROM event WHERE shop = ? ORDER BY seq",
        shop,
    ):
        at = f"event {shop}:{row.seq}"
        if row.seq != expected:
            return f"{shop}:{expected} is missing: {at} follows {shop}:{expected - 1}."
        if digest(row.text) != row.hash:
            return f"{at} was changed: its text does not have the hash that was stored with it."
        if row.prev != head:
            return f"{at} does not follow {shop}:{expected - 1}: it was put in, swapped or written anew."
        try:
            event = Event.from_text(row.text)
        except Damaged as trouble:
            return f"{at}: {trouble}"
        stored = (row.seq, row.prev, row.kind, row.happened_at, row.request, row.corrects, shop)
        if stored != (
            event.seq,
            event.prev,
            event.kind,
            event.happened_at,
            event.request,
            event.corrects,
            event.shop,
        ):
            return f"{at} was changed: the columns beside its text say something else."
        if kept and row.seq == kept[0] and not row.hash.startswith(kept[1]):
            return f"{at} is not the one that was kept: its hash is {row.hash[:16]}, the kept one {kept[1][:16]}."
        expected, head = row.seq + 1, row.hash
    last = position(book, shop)
    if (last.seq, last.hash) != (expected - 1, head):
        return f"event {shop}:{expected} is missing: the chain's head says {last.seq}, the last event is {expected - 1}."
    if kept and kept[0] > last.seq:
        return f"event {shop}:{last.seq + 1} is missing: the kept head is {kept[0]}, the journal ends at {last.seq}."
    return None


def check_blobs(book: Book) -> str | None:
    """What is wrong with the bytes kept beside the journal, in words that name the first event whose file was changed or lost;
    None where each has the digest it is named by."""
    seen: set[str] = set()
    for shop in book.shops():
        for event in events(book, shop):
            for name in files_named(event.body):
                if name in seen:
                    continue
                seen.add(name)
                data = book.value("SELECT bytes FROM blob WHERE digest = ?", name)
                if data is None:
                    return f"event {shop}:{event.seq} names a file with the digest {name[:16]}, which is missing."
                if hashlib.sha256(bytes(data)).hexdigest() != name:
                    return f"event {shop}:{event.seq}: its file with the digest {name[:16]} was changed: the bytes have another one."
    return None


def files_named(value: Any, key: str = "", typed: bool = False) -> Iterator[str]:
    """The digests of files that an event's body names. Of what somebody *typed* only a logger's file is kept as it came; of others
    the event keeps what the verb made of them."""
    if isinstance(value, dict):
        for name, part in value.items():
            yield from files_named(part, name, typed or name == "said")
    elif isinstance(value, list):
        for part in value:
            yield from files_named(part, key, typed)
    elif isinstance(value, str) and key != "position_hash":
        found = re.fullmatch(r"(sha256:)?([0-9a-f]{64})", value)
        if found and (not typed or (found[1] and key == "csv")):
            yield found[2]
