"""Many values in one question: as many at a time as either database takes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from fillbook.trace.book.opening import Book

AT_A_TIME = 500
Value = TypeVar("Value", int, str)


def parts(values: Iterable[Value]) -> Iterator[tuple[list[Value], str]]:
    """*values* in parts that a query takes at once, each with its marks."""
    every = list(values)
    for start in range(0, len(every), AT_A_TIME):
        part = every[start : start + AT_A_TIME]
        yield part, ", ".join("?" * len(part))


def numbers(book: Book, codes: Iterable[str]) -> dict[str, int]:
    """The number of each item by its compact ID; those the book doesn't know are left out."""
    found: dict[str, int] = {}
    for part, marks in parts(dict.fromkeys(codes)):
        found.update(book.tuples(f"SELECT code, num FROM item WHERE code IN ({marks})", *part))
    return found


def count_to(book: Book, sql: str, args: Iterable[object], most: int) -> int:
    """How many rows a query has, looking at no more than *most* + 1."""
    return int(book.value(f"SELECT count(*) FROM ({sql} LIMIT ?) x", *args, most + 1))
