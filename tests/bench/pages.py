"""Every page on a book of 100 000 tires: bytes on the wire, and the server's time beside that of an empty page.

One shop has all of them, 20 years of filling, and on top a day in which something of everything happens, so that each page has
something to show. FILLBOOK_BENCH_TIRES=1000000 makes it larger. Times are the processor's, the least of several runs, and before each run the
empty page is asked for as well: whoever else works on the machine slows both. An empty page is the frame of every page with nothing in
it. "x empty" is a first look at what a page works out, "again x" another look while nothing was written meanwhile. Beside each page
stands its slowest query. The journal of the made-up years is not in the book: what reads the whole journal (``/book/verify``) is as
long as that is.
"""

from __future__ import annotations

import contextlib
import gc
import gzip
import importlib.util
import os
import re
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

TIRES = int(os.environ.get("FILLBOOK_BENCH_TIRES", 100_000))
YEARS = 20
RUNS = 7
GZIP = {"Accept-Encoding": "gzip"}
WEB = Path(__file__).resolve().parent.parent / "web"


def rows() -> Iterator[list[str]]:
    """The table, the slowest page first."""
    with tempfile.TemporaryDirectory() as folder:
        where = os.environ.get("FILLBOOK_BENCH_BOOK") or f"{folder}/pages.db"
        names = make(where, TIRES) if not Path(where).exists() else _names_beside(where)
        yield from measure(where, names)


def _names_beside(where: str) -> dict[str, Any]:
    import json

    return json.loads(Path(f"{where}.names").read_text(encoding="utf-8"))


def make(where: str, tires: int) -> dict[str, Any]:
    """A book of *tires* tires and a day of everything on top of it; where to find what."""
    import json

    from fillbook.trace.book.opening import open_book
    from tests.bench import _books

    # 20 years whatever its size: a shop of the year 2200 could print no label
    _books.TIRES_A_YEAR = max(_books.TIRES_A_YEAR, tires // YEARS)
    _books.make(where, tires, 1)
    book = open_book(where)
    shop = _books.the_shop.Shop(book, _books.the_shop.MONDAY + _books.the_shop.DAY)
    for name, item in book.tuples("SELECT name, item FROM line ORDER BY seq"):
        setattr(shop, {"line 1": "line", "line 2": "line_2"}[name], item)
    for name, item in book.tuples("SELECT name, item FROM zone ORDER BY seq"):
        setattr(shop, {"warm room": "zone", "back rack": "zone_2"}[name], item)
    old = shop.lead("add line", name="old line").ids[
        0
    ]  # the made-up fills were on it: their line has no stored states to walk on from
    with book.transaction():
        for table, column in (("line_act", "line"), ("fill", "line"), ("touch", "place"), ("place", "place")):
            book.execute(f"UPDATE {table} SET {column} = ? WHERE {column} = ?", (old, shop.line))
        book.execute("UPDATE touch SET item = ? WHERE item = ? AND seq >= ?", (old, shop.line, _books.BASE))
        book.execute(
            "UPDATE tire SET serial = 'DOT' || CAST(seq * 7919 % 10000019 AS TEXT) WHERE seq >= ?",
            (_books.BASE,),
        )
        book.execute(
            "UPDATE place SET state = 'empty', place = '' WHERE seq >= ? AND item BETWEEN 'BHL' AND 'BHLZ'",
            (_books.BASE,),
        )
        book.execute(
            "UPDATE place SET state = 'used up', place = '' WHERE seq >= ? AND item BETWEEN 'BHG' AND 'BHGZ'",
            (_books.BASE,),
        )
        _search_words(book)
    book.execute("ANALYZE")
    names = _conftest().tell(shop)
    Path(f"{where}.names").write_text(json.dumps(names), encoding="utf-8")
    return names


def _search_words(book: Any) -> None:
    """What the made-up items are found by, as :mod:`derive` makes it."""
    from fillbook.trace.book.search_words import derive_search

    for (item,) in book.tuples("SELECT item FROM tire UNION ALL SELECT item FROM tote"):
        derive_search(book, item)


def _conftest() -> Any:
    spec = importlib.util.spec_from_file_location("pages_conftest", WEB / "conftest.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def paths(names: dict[str, Any]) -> list[str]:
    conftest = _conftest()
    return list(dict.fromkeys([*conftest.places_to_look(names).values(), *conftest.more_to_look(names)]))


def old_paths(book: Any) -> list[str]:
    """Pages of what lies in the middle of the made-up years, and lists asked in ways that leave much or little."""
    with book.connected():
        old = {
            kind: book.value(
                "SELECT item FROM place WHERE item BETWEEN ? AND ? ORDER BY item LIMIT 1 OFFSET ?",
                f"BH{kind}",
                f"BH{kind}Z",
                many // 2,
            )
            for kind in "LGF"
            if (
                many := book.value(
                    "SELECT count(*) FROM place WHERE item BETWEEN ? AND ?", f"BH{kind}", f"BH{kind}Z"
                )
            )
        }
        lot = book.value("SELECT lot FROM tote WHERE item = ?", old["L"])
        serial = book.value("SELECT serial FROM tire WHERE item = ?", old["F"])
    found = [f"/{page}/{old[kind]}" for page in ("i", "lineage") for kind in "LGF"]
    found += [
        f"/desk/{old['F']}",
        f"/recall?suspect={lot}&defect=setting",
        f"/recall?suspect={lot}",
        f"/search?q={serial[4:]}",
        "/search?q=customer",
    ]
    found += [f"/lists/tires?{asked}" for asked in (
        "state=dispatched", "sort=customer", "sort=filled", "customer=Customer+7", "customer=Customer+7&state=dispatched&sort=filled", "q=customer+7",
        f"q={serial[3:7]}", "from=2010-01-01&to=2010-12-31", "from=2010-01-01&to=2010-12-31&customer=Customer+7&sort=size",
    )]  # fmt: skip
    found += [
        "/lists/totes",
        "/lists/totes?sort=lot",
        f"/lists/totes?lot={lot}",
        "/lists/batches",
        "/lists/cups",
        "/lists/customers",
        "/lists/events",
    ]
    return found


def measure(where: str, names: dict[str, Any]) -> Iterator[list[str]]:
    """Path, bytes alone and with what it brings along, milliseconds, times an empty page, and its slowest query."""
    from flask import render_template

    from fillbook.trace.web import roles
    from fillbook.trace.web.app import create_app

    roles.PAGES["empty"] = roles.READ
    app = create_app(where, clock=lambda: names["now"], secret="only for measuring")
    app.add_url_rule("/empty", "empty", lambda: render_template("shared/base.html"))
    client = app.test_client()
    book = app.extensions["fillbook"].book
    with book.connected():
        owner = book.value("SELECT item FROM person WHERE role = 'owner'")
    token = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/who").text)
    assert token
    client.post("/who", data={"person": owner, "csrf_token": token[1]})
    client.get("/")
    empty = _time(client, "/empty")[0]
    yield ["page", "bytes later", "bytes first", "ms", "x empty", "again x", "slowest query"]
    yield ["(empty)", *map(str, _bytes(client, "/empty")), f"{empty * 1000:.1f}", "1.0", "1.0", ""]
    table = []
    for path in [*paths(names), *old_paths(book)]:
        if path.startswith("/static"):
            continue
        took, beside = _time(client, path)
        again, beside_again = _time(client, path, kept=True)
        table.append((took / beside, path, took, again / beside_again))
    for times_empty, path, took, again in sorted(table, reverse=True):
        yield [
            path[:70], *map(str, _bytes(client, path)), f"{took * 1000:.1f}", f"{times_empty:.1f}", f"{again:.1f}", _slowest(client, path) if times_empty > 2 else "",
        ]  # fmt: skip


def _time(client: Any, path: str, *, kept: bool = False) -> tuple[float, float]:
    """Seconds of the processor, the least of the runs, of the page and of the empty page; a page that is slow anyhow is not asked so often.

    A first look is measured, with nothing kept of what the page worked out; or, with *kept*, another look at it.
    """
    from fillbook.trace.book import latest, worked_out

    best = empty = 1e9
    gc.collect()
    for run in range(RUNS + 1):
        began = time.process_time()
        client.get("/empty", headers=GZIP, buffered=True)
        empty = min(empty, time.process_time() - began)
        if not kept:
            latest.forget()
            worked_out.forget()
        began = time.process_time()
        answer = client.get(path, headers=GZIP, buffered=True)
        took = time.process_time() - began
        if answer.status_code >= 400:
            print(f"{path}: {answer.status_code}", file=sys.stderr)
        if run:  # the first loads templates and the like
            best = min(best, took)
        if took > 2:
            return min(best, took), empty
    return best, empty


def _bytes(client: Any, path: str) -> tuple[int, int]:
    """Bytes of the body as it is sent, and with all the page fetches beside it."""
    answer = client.get(path, headers=GZIP, buffered=True)
    page = gzip.decompress(answer.data) if answer.headers.get("Content-Encoding") == "gzip" else answer.data
    found = (
        re.findall(rb'<(?:link|script|img|source)\b[^>]*?(?:href|src)="([^"]+)"', page)
        if answer.mimetype == "text/html"
        else []
    )
    along = sum(
        len(client.get(address.decode().replace("&amp;", "&"), headers=GZIP, buffered=True).data)
        for address in dict.fromkeys(found)
    )
    return len(answer.data), len(answer.data) + along


def _slowest(client: Any, path: str) -> str:
    """The query that took longest, how often it was asked, and how many queries the page asks in all."""
    with _watched() as seen:
        client.get(path, headers=GZIP, buffered=True)
    if not seen:
        return ""
    sums: dict[str, list[float]] = {}
    for sql, took in seen:
        sums.setdefault(" ".join(sql.split()), []).append(took)
    sql, spent = max(sums.items(), key=lambda one: sum(one[1]))
    return f"{sum(spent) * 1000:.1f} ms in {len(spent)} of {len(seen)}: {sql[:110]}"


@contextlib.contextmanager
def _watched() -> Iterator[list[tuple[str, float]]]:
    """Every query that is read to its end, with the seconds it took."""
    from fillbook.trace.book.opening import Book

    seen: list[tuple[str, float]] = []
    kept = {name: getattr(Book, name) for name in ("rows", "tuples", "value")}

    def timed(name: str) -> Any:
        def ask(self: Any, sql: str, *args: Any) -> Any:
            began = time.process_time()
            try:
                return kept[name](self, sql, *args)
            finally:
                seen.append((sql, time.process_time() - began))

        return ask

    for name in kept:
        setattr(Book, name, timed(name))
    try:
        yield seen
    finally:
        for name, was in kept.items():
            setattr(Book, name, was)
