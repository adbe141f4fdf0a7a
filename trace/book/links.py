"""Links: what one parent gave to one draw of a child, or to a batch; and those of batches, which follow from what was ground."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.in_parts import numbers
from fillbook.trace.book.opening import Book
from fillbook.trace.book.spans import Bands

BATCH_DRAW = 0  # a batch has one group of ingredients


def draw_id(seq: int, n: int) -> int:
    return seq * 64 + n


def order(at: int, step: int) -> int:
    """The order key of a child: a batch comes before a draw of the same second, and after every fill of an earlier one."""
    return at * 2 + step


def insert(book: Book, rows: list[tuple[Any, ...]]) -> None:
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


def derive_batch(book: Book, batch: str) -> None:
    """The links of a regrind batch to what was ground into it. Pieces of unknown origin are one parent per date they were cut by."""
    child = numbers(book, [batch])[batch]
    book.execute("DELETE FROM link WHERE child = ? AND stream = 'G'", (child,))
    made_at = book.value("SELECT made_at FROM batch WHERE item = ?", batch)
    if made_at is None:
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
    insert(book, rows)


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
