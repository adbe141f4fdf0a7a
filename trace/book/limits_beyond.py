"""Limits in force that are not what the trade usually has, and what stands beside them: who set them, and since when."""

from __future__ import annotations

from dataclasses import dataclass

from fillbook.trace.book import queries
from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import Book
from fillbook.trace.core import limits, times


@dataclass(frozen=True)
class Beyond:
    """One such limit: its name, the line it holds for (compact ID, empty for the whole shop), and the sentence the floor says."""

    name: str
    line: str
    words: str


def beyond(book: Book, shop: str, now: int) -> list[Beyond]:
    """Each limit in force at *now* (seconds of UTC) beyond common practice, as :func:`limits.beyond_practice` says."""
    rows = book.rows(
        "SELECT name, scope, value, from_at, seq FROM limit_set WHERE shop = ? AND from_at <= ? ORDER BY from_at, seq", shop, now
    )  # fmt: skip
    in_force = {(row.name, row.scope): row for row in rows}  # the latest stays
    found = []
    for (name, line), row in sorted(in_force.items()):
        words = limits.beyond_practice(name, row.value) if name in limits.LIMITS else ""
        if not words:
            continue
        text = book.value(
            "SELECT text FROM event WHERE shop = ? AND (seq = ? OR corrects = ?) ORDER BY seq DESC LIMIT 1", shop, row.seq, row.seq
        )  # fmt: skip
        event = Event.from_text(text)
        who = queries.name_of(book, event.signed_by or event.who)
        since = times.show(row.from_at, queries.timezone(book, shop))
        found.append(Beyond(name, line, f"{words} Set by {who}, since {since}."))
    return found
