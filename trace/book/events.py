"""The journal as a list, and what happened to one item, newest first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fillbook.trace.book.journal import Event
from fillbook.trace.book.list_kinds import PAGE
from fillbook.trace.book.opening import Book, Row


@dataclass(frozen=True)
class Asked:
    """Which events: of one kind, of one item, in a period by when they happened; from below or above one number on."""

    kind: str = ""
    item: str = ""
    since: int | None = None
    until: int | None = None
    by_time: bool = False
    down: bool = True
    after: tuple[int, int] | None = None  # happened_at (0 by number), seq
    most: int = PAGE


def page(book: Book, shop: str, asked: Asked) -> tuple[list[Event], tuple[int, int] | None]:
    """A page of the journal, and where the next begins."""
    way, beyond = ("DESC", "<") if asked.down else ("ASC", ">")
    by_time = asked.by_time or asked.since is not None or asked.until is not None
    where = ["e.shop = ?"]
    args: list[Any] = [shop]
    if asked.item:
        froms = "(SELECT DISTINCT seq FROM touch WHERE item = ?) t CROSS JOIN event e"
        args = [asked.item, shop]
        where.append("e.seq = t.seq")
    else:
        froms = "event e"
    if asked.kind:
        where.append("e.kind = ?")
        args.append(asked.kind)
    if asked.since is not None:
        where.append("e.happened_at >= ?")
        args.append(asked.since)
    if asked.until is not None:
        where.append("e.happened_at < ?")
        args.append(asked.until)
    if asked.after:
        where.append(f"(e.happened_at, e.seq) {beyond} (?, ?)" if by_time else f"e.seq {beyond} ?")
        args += asked.after if by_time else asked.after[1:]
    order = f"e.happened_at {way}, e.seq {way}" if by_time else f"e.seq {way}"
    rows = book.tuples(
        f"SELECT e.happened_at, e.seq, e.text FROM {froms} WHERE {' AND '.join(where)} ORDER BY {order} LIMIT ?",
        *args,
        asked.most + 1,
    )
    after = (rows[asked.most - 1][0], rows[asked.most - 1][1]) if len(rows) > asked.most else None
    return [Event.from_text(row[2]) for row in rows[: asked.most]], after


def kinds(book: Book, shop: str) -> list[str]:
    """The kinds of events this shop has written, each found by one step along the index."""
    found: list[str] = []
    while (
        kind := book.value(
            "SELECT min(kind) FROM event WHERE shop = ? AND kind > ?", shop, found[-1] if found else ""
        )
    ) is not None:
        found.append(kind)
    return found


def history(
    book: Book, item: str, after: tuple[int, ...] | None = None, most: int = 40
) -> tuple[list[Row], tuple[int, ...] | None]:
    """What happened to *item*, newest first, some at a time: at, words, seq, kind, whether the event is void; and where it goes on.

    A line or a zone has been part of thousands of events; only those shown are read.
    """
    beyond, args = ("AND (t.at, t.rank, t.seq, t.n) < (?, ?, ?, ?) ", after) if after else ("", ())
    rows = book.rows(
        "SELECT t.at, t.rank, t.seq, t.n, t.words, t.state, t.place, e.kind FROM touch t JOIN event e ON e.shop = t.shop AND e.seq = t.seq "
        f"WHERE t.item = ? {beyond}ORDER BY t.at DESC, t.rank DESC, t.seq DESC, t.n DESC LIMIT ?",
        item, *args, most + 1,
    )  # fmt: skip
    more = rows[most - 1] if len(rows) > most else None
    return rows[:most], (more.at, more.rank, more.seq, more.n) if more else None
