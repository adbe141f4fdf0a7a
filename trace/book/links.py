"""Links: what one parent gave to one draw of a child, or to a batch; and those of batches, which follow from what was ground."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.in_parts import numbers, parts
from fillbook.trace.book.opening import Book
from fillbook.trace.book.spans import Bands

BATCH_DRAW = 0  # a batch has one group of ingredients


def draw_id(seq: int, n: int) -> int:
    return seq * 64 + n


def order(at: int, step: int) -> int:
    """The order key of a child: a batch comes before a draw of the same second, and after every fill of an earlier one."""
    return at * 2 + step


def insert(book: Book, rows: list[tuple[Any, ...]], children: Iterable[int]) -> None:
    """Write links of *children*, by number, and what each of them is by all its links. Those that are gone are deleted already."""
    columns = (
        "child",
        "draw",
        "stream",
        "parent",
        "ord",
        "least_g",
        "best_g",
        "most_g",
        "cut_at",
        "together",
    )
    book.insert_many("link", columns, rows)
    _sum_up(book, children)


def remove(book: Book, child: int, draw: int) -> None:
    """Take the links of one draw away."""
    book.execute("DELETE FROM link WHERE child = ? AND draw = ?", (child, draw))
    _sum_up(book, [child])


def _sum_up(book: Book, children: Iterable[int]) -> None:
    """Of each child when the latest of its links was, and all its grams; nothing of what has no links."""
    for part, marks in parts(sorted(set(children))):
        book.execute(f"DELETE FROM whole WHERE child IN ({marks})", part)
        book.execute(
            f"INSERT INTO whole SELECT child, max(ord), sum(best_g) FROM link WHERE child IN ({marks}) GROUP BY child",
            part,
        )


def derive_batch(book: Book, batch: str) -> None:
    """The links of a regrind batch to what was ground into it. Pieces of unknown origin are one parent per date they were cut by."""
    child = numbers(book, [batch])[batch]
    book.execute("DELETE FROM link WHERE child = ? AND stream = 'G'", (child,))
    made_at = book.value("SELECT made_at FROM batch WHERE item = ?", batch)
    if made_at is None:
        insert(book, [], [child])
        return
    pieces = book.rows("SELECT source, grams, cut_at FROM ingredient WHERE batch = ? ORDER BY n", batch)
    pieces_of: dict[tuple[str, int | None], int] = {}
    for piece in pieces:
        pieces_of[(piece.source, piece.cut_at)] = pieces_of.get((piece.source, piece.cut_at), 0) + piece.grams
    known = numbers(book, [source for source, _ in pieces_of if source])
    whole = sum(pieces_of.values())
    basis = (
        book.value("SELECT basis FROM tote WHERE item = ?", batch) or "scale"
    )  # a mixture's own, pieces are weighed
    band_e4 = Bands(book, queries.shop_of(book, batch)).of(basis, made_at)
    rows = []
    unknown = 0
    for (source, cut_at), grams in pieces_of.items():
        draw = BATCH_DRAW
        if not source:  # one row per date: the draw number keeps them apart within one batch
            draw, unknown = unknown, unknown + 1
        least, most = part_of(grams, whole, band_e4)
        rows.append(
            (child, draw, "G", known.get(source, 0), order(made_at, 0), least, grams, most, cut_at, 0)
        )
    insert(book, rows, [child])


def part_of(grams: int, whole: int, band_e4: int) -> tuple[int, int]:
    """The least and most that *grams* can be of *whole*, when each weight in it may be *band_e4* ten-thousandths off.

    As a part of the whole as it was written: least where this weight is as low and the others as high as can be.

    >>> part_of(100, 200, 100)
    (99, 101)
    >>> part_of(200, 200, 100)
    (200, 200)
    """
    rest, low, high = whole - grams, 10_000 - min(band_e4, 9_000), 10_000 + band_e4
    return whole * grams * low // (grams * low + rest * high), -(
        -whole * grams * high // (grams * high + rest * low)
    )
