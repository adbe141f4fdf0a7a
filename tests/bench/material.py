"""Recall, trace, account, item page and a fill on books of 10 000 to 1 000 000 tires, beside plain sqlite3 and networkx."""

# ruff: noqa: B023 - what is timed is called at once
from __future__ import annotations

import json
import os
import resource
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

SIZES = ((10_000, 1), (100_000, 5), (1_000_000, 10))  # tires, shops
LOTS = 20
ROOT = Path(__file__).resolve().parents[2]


def rows() -> list[list[str]]:
    """The table: one row per size and question; milliseconds of the processor, of the clock where a fill is written. FILLBOOK_BENCH_SIZES=10000,100000 leaves the largest out."""
    chosen = os.environ.get("FILLBOOK_BENCH_SIZES")
    sizes = [size for size in SIZES if not chosen or str(size[0]) in chosen.split(",")]
    table = [
        [
            "tires",
            "shops",
            "question",
            "median ms",
            "worst ms",
            "reference median",
            "reference worst",
            "ratio",
            "memory MB",
        ]
    ]
    with tempfile.TemporaryDirectory() as folder:
        for tires, shops in sizes:
            where = f"{folder}/{tires}.db"
            print(f"{tires} tires", file=sys.stderr)
            from tests.bench import _books

            _books.make(where, tires, shops)
            for part in ("ours", "ours alone", "networkx"):
                done = subprocess.run(
                    [sys.executable, "-m", "tests.bench.material", part, where],
                    cwd=ROOT,
                    capture_output=True,
                    text=True,
                    check=False,
                )
                if done.returncode:
                    table.append(
                        [str(tires), str(shops), part, done.stderr.strip().splitlines()[-1][:60], *[""] * 5]
                    )
                    continue
                sys.stderr.write(done.stderr)
                found = json.loads(done.stdout)
                for question, mine, reference in found["rows"]:
                    cells = [f"{median(mine):.1f}", f"{max(mine):.1f}"]
                    cells += [f"{median(reference):.1f}", f"{max(reference):.1f}"] if reference else ["", ""]
                    cells += [
                        f"{median(m / r for m, r in zip(mine, reference, strict=True)):.2f}"
                        if reference
                        else ""
                    ]
                    table.append([str(tires), str(shops), question, *cells, f"{found['memory_mb']:.0f}"])
            os.remove(where)
    return table


def timed(act: Callable[[], Any], clock: Callable[[], float] = time.process_time) -> tuple[float, Any]:
    """Milliseconds, and what came out. Asking the book costs processor time alone, which others on the machine don't change."""
    began = clock()
    found = act()
    return (clock() - began) * 1000, found


def _ours(where: str) -> list[tuple[str, list[float], list[float]]]:
    from fillbook.trace.book import items, recalls
    from fillbook.trace.book.opening import open_book
    from fillbook.trace.core import ids
    from tests.bench import _reference

    book, con, random = open_book(where), sqlite3.connect(where), Random(7)
    con.execute("PRAGMA cache_size = -16000")
    lots = random.sample(book.tuples("SELECT DISTINCT shop, supplier, lot FROM tote WHERE lot <> ''"), LOTS)
    times: dict[str, tuple[list[float], list[float]]] = {}

    def note(question: str, mine: float, reference: float | None = None) -> None:
        both = times.setdefault(question, ([], []))
        both[0].append(mine)
        if reference is not None:
            both[1].append(reference)

    for number, (shop, supplier, lot) in enumerate(lots):
        said = f"{supplier}/{lot}"
        for _ in range(2):  # the second of two, so that neither pays for reading the file for the other
            mine, found = timed(lambda: recalls.recall(book, shop, said, with_account=False))
            other, listed = timed(lambda: _reference.exact(con, shop, supplier, lot))
        _agree(found, listed)
        note("exact recall", mine, other)
        mine, screen = timed(lambda: recalls.recall(book, shop, said, exact=False))
        other, _ = timed(lambda: _reference.bounded(con, shop, supplier, lot))
        note("bounded recall", mine, other)
        assert {one["id"] for one in found["items"]} <= {one["id"] for one in screen["items"]}, (
            "a screen missed a tire"
        )
        whole, answer = timed(lambda: recalls.recall(book, shop, said))
        note("recall with its account", whole)
        assert sum(row["grams"] for row in answer["account"]) == book.value(
            "SELECT sum(net_g) FROM tote WHERE shop = ? AND lot = ?", shop, lot
        )
        low = book.value("SELECT ordinal FROM chain WHERE shop = ?", shop) << 40
        last = book.value("SELECT max(num) FROM item WHERE num BETWEEN ? AND ?", low, low + (1 << 40))
        tire = next(
            code for n in iter(lambda: random.randint(low + (last - low) // 2, last), None)
            if (code := book.value("SELECT code FROM item WHERE num = ? AND kind = 'F'", n))
        )  # fmt: skip
        for _ in range(2):
            mine, traced = timed(lambda: recalls.trace(book, tire))
            other, back = timed(lambda: _reference.backward(con, tire))
        note("backward trace", mine, other)
        of = {ids.read(one["id"]): one["share"] for one in traced["origins"] if "-L" in one["id"]}
        assert all(abs(of[code] - share) < 0.01 for code, share in back if code and share > 0.001), (
            "two traces differ"
        )
        note("item page", timed(lambda: items.about(book, tire))[0])
        if number % 5 == 4:
            print(f"  {number + 1} of {LOTS} lots", file=sys.stderr)
    con.close()
    _fills(book, note)
    return [(question, *both) for question, both in times.items()]


def _agree(found: dict[str, Any], listed: list[tuple[Any, ...]]) -> None:
    from fillbook.trace.core import ids

    mine = [
        (ids.read(one["id"]), one["tier"], one["grams"]["least"], one["grams"]["best"], one["grams"]["most"])
        for one in found["items"]
    ]
    assert sorted(mine) == sorted((row[0], row[1], row[5], row[6], row[7]) for row in listed), (
        "the two recalls differ"
    )


def _fills(book: Any, note: Callable[..., None]) -> None:
    """Fills written with the verbs on top of the book, with a line's usual half-used totes; each in a file that syncs."""
    from tests.bench import _books

    shop = _books.the_shop.Shop(book, _books.the_shop.MONDAY + 60 * 365 * 86_400)
    shop.ready_line("line 2")
    for _ in range(10):
        shop.fill(kg=148, line="line 2", basis="scale")
    for number in range(LOTS):
        if number % 10 == 0:  # 74 kg a side and fill: the totes of a ton are half used
            for side in "AB":
                shop.hook_up(shop.tote(side), line="line 2", change="ran dry")
        tire = shop.tire()
        shop.act("start fill", tire=tire, line="line 2")
        shop.wait(minutes=12)
        ms, _ = timed(
            lambda: shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60), time.perf_counter
        )
        note("one fill written", ms)


def _alone(where: str) -> list[tuple[str, list[float], list[float]]]:
    """The same recalls without the reference beside them: what they take of memory."""
    from fillbook.trace.book import recalls
    from fillbook.trace.book.opening import open_book

    book, random = open_book(where), Random(7)
    lots = random.sample(book.tuples("SELECT DISTINCT shop, supplier, lot FROM tote WHERE lot <> ''"), LOTS)
    return [
        (
            "recalls with accounts, alone",
            [timed(lambda: recalls.recall(book, s, f"{v}/{lot}"))[0] for s, v, lot in lots],
            [],
        )
    ]


def _networkx(where: str) -> list[tuple[str, list[float], list[float]]]:
    """The whole book as a graph in memory: how long it takes to load, and to walk on from the totes of a lot."""
    import networkx

    con, random = sqlite3.connect(where), Random(7)

    def load() -> Any:
        graph = networkx.DiGraph()
        graph.add_weighted_edges_from(
            con.execute(
                "SELECT parent, child, sum(best_g) FROM link WHERE parent <> 0 GROUP BY parent, child"
            )
        )
        return graph

    loading, graph = timed(load)
    lots = random.sample(
        con.execute("SELECT DISTINCT shop, supplier, lot FROM tote WHERE lot <> ''").fetchall(), LOTS
    )
    walks = []
    for shop, _, lot in lots:
        totes = con.execute(
            "SELECT i.num FROM tote t JOIN item i ON i.code = t.item WHERE t.shop = ? AND t.lot = ?",
            (shop, lot),
        ).fetchall()
        walks.append(
            timed(lambda: set().union(*(networkx.descendants(graph, t) for (t,) in totes if t in graph)))[0]
        )
    return [
        ("networkx, loading", [loading], []),
        ("networkx, walking on (no exposures, no bounds)", walks, []),
    ]


if __name__ == "__main__":
    part, book_at = sys.argv[1:3]
    measured = {"ours": _ours, "ours alone": _alone, "networkx": _networkx}[part](book_at)
    print(
        json.dumps({"rows": measured, "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024})
    )
