"""One shop that grows: what a bounded recall and a trace back take, beside the exact recall of the same lots, which looks at all.

A trace is looked at as long as enough of it is left. In a young shop there is little to look at, and the older the shop the more,
until what the oldest lots left behind has died out on the way: from then on neither grows with the book.
FILLBOOK_BENCH_GROWING=25000,50000 chooses other sizes (tires).
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

SIZES = (25_000, 50_000, 100_000, 200_000, 400_000)
LOTS, TIRES = 20, 20
CUT_RECALL, CUT_TRACE = 1e-4, 1e-5


def rows() -> Iterator[list[str]]:
    """A row per size: milliseconds of the processor, median and worst, and how many items the bounded recall looks at."""
    sizes = [int(size) for size in os.environ.get("FILLBOOK_BENCH_GROWING", "").split(",") if size] or SIZES
    yield [
        "tires",
        "years",
        "bounded ms",
        "worst",
        "looked at",
        "exact ms",
        "worst",
        "bounded ÷ exact",
        "back ms",
        "worst",
    ]
    for tires in sizes:
        with tempfile.TemporaryDirectory() as folder:
            yield _row(Path(folder) / "book.db", tires)


def _row(where: Path, tires: int) -> list[str]:
    from fillbook.trace.book import reach, suspects
    from fillbook.trace.book.opening import open_book
    from tests.bench import _books

    _books.make(str(where), tires, 1)
    book, random = open_book(str(where)), Random(3)
    bounded, exact, back, looked_at = [], [], [], []
    with book.reading():
        lots = [
            row[0]
            for row in book.tuples("SELECT lot FROM tote WHERE lot <> '' GROUP BY lot ORDER BY min(item)")
        ]
        for lot in random.sample(lots, LOTS):
            suspect = suspects.suspect(book, "BH", lot)
            reached, took = _timed(lambda: reach.bounded(book, suspect, cut=CUT_RECALL))  # noqa: B023 - called at once
            bounded.append(took)
            looked_at.append(len(reached.held.items))
            exact.append(_timed(lambda: reach.exact(book, suspect))[1])  # noqa: B023 - called at once
        numbers = [row[0] for row in book.tuples("SELECT num FROM item WHERE kind = 'F' ORDER BY num")]
        for number in random.sample(numbers, TIRES):
            back.append(_timed(lambda: reach.origins(book, number, CUT_TRACE))[1])  # noqa: B023 - called at once
    return [
        str(tires), f"{tires / _books.TIRES_A_YEAR:.0f}", f"{median(bounded):.0f}", f"{max(bounded):.0f}", f"{median(looked_at):.0f}",
        f"{median(exact):.0f}", f"{max(exact):.0f}", f"{median(bounded) / median(exact):.2f}", f"{median(back):.1f}", f"{max(back):.1f}",
    ]  # fmt: skip


def _timed(what: Callable[[], Any]) -> tuple[Any, float]:
    began = time.process_time()
    found = what()
    return found, (time.process_time() - began) * 1000
