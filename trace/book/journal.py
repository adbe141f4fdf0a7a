"""The journal: one chain of events per shop, each holding the hash of the one before.

An event is one canonical text; its hash is the SHA-256 of that text's bytes, and the text is what is stored. Changing, dropping,
swapping or inserting any event breaks the chain at that place. A lost tail, or a chain written anew from some place on, shows
only against a head that was kept elsewhere, which is why the head stands on every paper.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from fillbook.trace.book.opening import Book
from fillbook.trace.core.errors import Conflict, Damaged, Nonsense
from fillbook.trace.core.times import from_utc_text, utc_text

FIRST = "0" * 64
LARGEST = 2**53 - 1
FIELDS = (
    "v", "shop", "seq", "kind", "happened_at", "recorded_at", "who", "signed_by", "station", "request", "corrects", "body",
    "prev",
)  # fmt: skip


def canonical(value: Any) -> str:
    """The one text of *value*: keys sorted, nothing between, no floats, whole numbers within 53 bits, text in NFC.

    Raises Nonsense for anything that has no such text. Agrees with RFC 8785 on all it accepts.
    """
    _check(value, "event")
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _check(value: Any, where: str) -> None:
    if value is None or isinstance(value, bool):
        return
    if isinstance(value, int):
        if abs(value) > LARGEST:
            raise Nonsense(f"{where} is too large a number ({value}).")
    elif isinstance(value, str):
        bad = next((c for c in value if unicodedata.category(c) in ("Cc", "Cs")), None)
        if bad is not None:
            raise Nonsense(
                f"{where} holds the control character U+{ord(bad):04X}, which no label or paper can show."
            )
        if unicodedata.normalize("NFC", value) != value:
            raise Nonsense(f"{where} is not in the composed form (NFC).")
    elif isinstance(value, list | tuple):
        for n, part in enumerate(value):
            _check(part, f"{where}[{n}]")
    elif isinstance(value, dict):
        for key, part in value.items():
            if not isinstance(key, str) or not key.isascii():
                raise Nonsense(f"{where} has the key {key!r}; keys are plain ASCII.")
            _check(part, f"{where}.{key}")
    else:
        raise Nonsense(f"{where} is a {type(value).__name__}, which the journal does not hold.")


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True)
class Event:
    """One thing that happened, as it stands in the journal. Times are seconds of UTC since 1970."""

    shop: str
    seq: int
    kind: str
    happened_at: int
    recorded_at: int
    who: str
    body: dict[str, Any]
    prev: str
    v: int = 1
    signed_by: str | None = None
    station: str | None = None
    request: str | None = None
    corrects: int | None = None

    def text(self) -> str:
        plain = {name: getattr(self, name) for name in FIELDS}
        plain["happened_at"] = utc_text(self.happened_at)
        plain["recorded_at"] = utc_text(self.recorded_at)
        return canonical(plain)

    @classmethod
    def from_text(cls, text: str) -> Event:
        """Read an event back. Raises Damaged where the text is not one."""
        try:
            plain = json.loads(text)
            if set(plain) != set(FIELDS) or not isinstance(plain["body"], dict):
                raise ValueError("fields")
            plain["happened_at"] = from_utc_text(plain["happened_at"])
            plain["recorded_at"] = from_utc_text(plain["recorded_at"])
            event = cls(**plain)
            if event.text() != text:
                raise ValueError("not canonical")
        except (ValueError, TypeError, KeyError, Nonsense) as trouble:
            raise Damaged(f"This is no event of a journal ({trouble}).") from None
        return event


@dataclass(frozen=True)
class Position:
    """How far a shop's journal reached: its last number and that event's hash."""

    shop: str
    seq: int
    hash: str

    def __str__(self) -> str:
        return f"{self.shop}:{self.seq}:{self.hash[:16]}"


class Chain:
    """One shop's journal while its row is held for writing."""

    def __init__(self, book: Book, shop: str, ordinal: int, seq: int, head: str, items: int) -> None:
        self.book, self.shop, self.ordinal = book, shop, ordinal
        self.seq, self.head, self.items = seq, head, items

    def append(self, event: Event) -> None:
        """Write *event*, which must be the next one."""
        if (event.shop, event.seq, event.prev) != (self.shop, self.seq + 1, self.head):
            raise Conflict(f"Event {event.seq} does not follow {self.shop}:{self.seq}.")
        text = event.text()
        self.head, self.seq = digest(text), event.seq
        self.book.insert(
            "event",
            {
                "shop": self.shop, "seq": event.seq, "prev": event.prev, "hash": self.head, "kind": event.kind,
                "happened_at": event.happened_at, "request": event.request, "corrects": event.corrects, "text": text,
            },
        )  # fmt: skip
        self.book.execute(
            "UPDATE chain SET head_seq = ?, head_hash = ? WHERE shop = ?", (self.seq, self.head, self.shop)
        )

    def number_items(self, count: int) -> int:
        """The first of *count* new item numbers. They only mean something inside this database."""
        first = (self.ordinal << 40) + self.items + 1
        self.items += count
        self.book.execute("UPDATE chain SET items = ? WHERE shop = ?", (self.items, self.shop))
        return first


@contextlib.contextmanager
def writing(book: Book, shop: str, *, new: bool = False) -> Iterator[Chain]:
    """Everything inside happens at once or not at all, one writer per shop at a time.

    The chain's row is taken before anything is read, so two writers can't both build on the same head.
    """
    with book.transaction():
        if new:
            if book.value("SELECT 1 FROM chain WHERE shop = ?", shop):
                raise Conflict(f"The shop {shop} is set up already.", field="site")
            ordinal = (book.value("SELECT max(ordinal) FROM chain") or 0) + 1
            book.insert("chain", {"shop": shop, "ordinal": ordinal, "head_seq": 0, "head_hash": FIRST})
        row = book.one(
            "UPDATE chain SET items = items WHERE shop = ? RETURNING ordinal, head_seq, head_hash, items",
            shop,
        )
        if row is None:
            raise Nonsense(f"No shop {shop} is in this book.", field="shop")
        yield Chain(book, shop, row.ordinal, row.head_seq, row.head_hash, row["items"])
