"""What a recall, a backward trace and an account need from the book, as plain rows for the core."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.core.exposure import Link
from fillbook.trace.core.quote import quoted

COLUMNS = (
    "k.ord, c.code, CAST(k.draw AS TEXT), k.stream, coalesce(p.code, ''), k.least_g, k.best_g, k.most_g, k.cut_at, k.together "
    "FROM link k JOIN item c ON c.num = k.child LEFT JOIN item p ON p.num = k.parent"
)


@dataclass(frozen=True)
class Suspect:
    """What is under suspicion: the items meant, the streams their material can be in, and since when it is here, and when it was made.

    Pieces of unknown origin may have been cut in another shop, so they are judged by when the lot was made, not by when it came
    in here. Times are seconds of UTC.
    """

    words: str
    shop: str
    items: tuple[str, ...]
    streams: tuple[str, ...]
    since: int
    made: int


MOST_MEMBERS = 200
WINDOW = re.compile(r"(?P<line>.+?)\s+(?P<start>\d{4}-\d\d-\d\d.*?)\s*\.\.\s*(?P<end>\S.*)", re.ASCII)


def suspect(book: Book, shop: str, said: str) -> Suspect:
    """The suspect written as a lot, ``SUPPLIER/LOT``, the ID of a tote, a regrind batch or a tire; or a set of these with commas
    between; or a line and a window of time: ``line 1 2026-10-03 08:00..2026-10-03 12:00``, for the tires that were on it then.

    A set is judged together: a tire can hold it for certain where no single member is. Raises UnknownItem, or Nonsense for an ID
    of a kind that holds no material, a window that ends before it begins, or one in which nothing was filled.
    """
    if window := WINDOW.fullmatch(said.strip()):
        return _window(book, shop, window)
    members = [part.strip() for part in said.split(",") if part.strip()]
    if len(members) < 2 or queries.find_lot(book, shop, said):
        return _one(book, shop, said)
    if len(members) > MOST_MEMBERS:
        raise Nonsense(
            f"A set of suspects has at most {MOST_MEMBERS} members; recall the lots instead.", field="suspect"
        )
    parts = [_one(book, shop, member) for member in members]
    return Suspect(
        ", ".join(dict.fromkeys(part.words for part in parts)),
        shop,
        tuple(dict.fromkeys(item for part in parts for item in part.items)),
        tuple(sorted({stream for part in parts for stream in part.streams})),
        min(part.since for part in parts),
        min(part.made for part in parts),
    )


def _window(book: Book, shop: str, said: re.Match[str]) -> Suspect:
    """The tires that were being filled on a line in a window of time, and what came of them."""
    named = said["line"].strip()
    line = queries.by_name(book, shop, "U", named) or _line_by_id(book, shop, named)
    zone = queries.timezone(book, shop)
    start = times.parse(said["start"], zone, field="suspect").at
    until = said["end"].strip()
    if not until[:4].isdigit():  # only an hour: of the same day
        until = f"{said['start'].split()[0]} {until}"
    end = times.parse(until, zone, field="suspect").at
    if end < start:
        raise Nonsense(
            f"The window ends at {times.show(end, zone)}, before it begins at {times.show(start, zone)}. Give the earlier time first.",
            field="suspect",
        )
    rows = book.tuples(
        "SELECT DISTINCT a.item, min(a.started_at) FROM line_act a JOIN item i ON i.code = a.item WHERE a.line = ? AND a.what = 'draw' "
        "AND a.at >= ? AND a.started_at <= ? AND i.kind = 'F' GROUP BY a.item ORDER BY 2, 1",
        line, start, end,
    )  # fmt: skip
    words = f"{queries.name_of(book, line)} from {times.show(start, zone)} to {times.show(end, zone)}"
    if not rows:
        raise UnknownItem(f"No tire was filled on {words}.", field="suspect")
    return Suspect(words, shop, tuple(row[0] for row in rows), ("R",), start, start)


def _line_by_id(book: Book, shop: str, said: str) -> str:
    try:
        item = ids.read(said)
    except Nonsense:
        item = ""
    if (
        not item
        or ids.kind_of(item) != "U"
        or not queries.item_exists(book, item)
        or queries.shop_of(book, item) != shop
    ):
        names = ", ".join(line.name for line in queries.lines(book, shop)) or "none yet"
        raise UnknownItem(
            f"There is no line {said!r} in this shop. Its lines: {names}.", field="suspect", expected=names
        )
    return item


def _one(book: Book, shop: str, said: str) -> Suspect:
    lot = queries.find_lot(book, shop, said)
    if lot:
        totes = queries.lot_totes(book, shop, lot.supplier, lot.lot)
        sides = tuple(sorted({t.side for t in totes}))
        return Suspect(
            f"{lot.supplier}/{lot.lot}",
            shop,
            tuple(t["item"] for t in totes),
            sides,
            min(t.received_at for t in totes),
            min(_made(book, t) for t in totes),
        )
    try:
        item = ids.read(said)
    except Nonsense:
        raise UnknownItem(
            f"{quoted(said)} is neither a lot in this book nor an ID. Type the lot as its label has it, or scan the label; an ID reads "
            f"like {ids.EXAMPLE}, and its last character checks the others.",
            field="suspect",
            expected=ids.EXAMPLE,
        ) from None
    if not queries.item_exists(book, item):
        raise UnknownItem(f"{ids.pretty(item)} was never given out in this book.", field="suspect")
    kind = ids.kind_of(item)
    if kind == "L":
        tote = queries.tote(book, item)
        if tote is None:
            raise UnknownItem(f"{ids.pretty(item)} was voided; it names no tote any more.", field="suspect")
        return Suspect(ids.pretty(item), shop, (item,), (tote.side,), tote.received_at, _made(book, tote))
    if kind in "GF":
        since = queries.first_seen(book, item) or 0
        return Suspect(ids.pretty(item), shop, (item,), ("R",), since, since)
    raise Nonsense(
        f"{ids.pretty(item)} is a {ids.KINDS[kind]}; a recall is of a lot, a tote, a regrind batch or a tire.",
        field="suspect",
    )


def _made(book: Book, tote: Row) -> int:
    """When a tote's lot was made: as its label says, else as long before its receipt as the shop's limit allows."""
    if tote.made_at is not None:
        return int(tote.made_at)
    return int(tote.received_at) - queries.limit(book, tote.shop, "lot_age_at_receipt", 2**53)


def _links(rows: Iterable[tuple]) -> list[Link]:
    return [Link(*row) for row in rows]


def backward(book: Book, item: str) -> list[Link]:
    """All links of *item* and of everything it was made from."""
    return _links(
        book.tuples(
            "WITH RECURSIVE back(num) AS (SELECT num FROM item WHERE code = ? "
            "UNION SELECT k.parent FROM back b JOIN link k ON k.child = b.num WHERE k.parent <> 0) "
            f"SELECT {COLUMNS} JOIN back b ON b.num = k.child ORDER BY k.ord, c.code, k.draw, k.stream, 5",
            item,
        )
    )


def onward(book: Book, item: str) -> list[Link]:
    """All links of everything that holds *item*, by any path, in order."""
    return _links(
        book.tuples(
            "WITH RECURSIVE reached(num) AS (SELECT num FROM item WHERE code = ? "
            "UNION SELECT k.child FROM reached r JOIN link k ON k.parent = r.num) "
            f"SELECT {COLUMNS} JOIN reached r ON r.num = k.child WHERE c.code <> ? ORDER BY k.ord, c.code, k.draw, k.stream, 5",
            item, item,
        )
    )  # fmt: skip


def made_of(book: Book, item: str) -> list[Link]:
    """The links of *item* itself, one step back."""
    return _links(
        book.tuples(f"SELECT {COLUMNS} WHERE c.code = ? ORDER BY k.ord, c.code, k.draw, k.stream, 5", item)
    )


def made_of_each(book: Book, items: Sequence[str]) -> list[Link]:
    """The links of each of *items*, one step back; of each in the order of :func:`made_of`. No more items than a query takes."""
    marks = ", ".join("?" * len(items)) or "NULL"
    return _links(
        book.tuples(
            f"SELECT {COLUMNS} WHERE c.code IN ({marks}) ORDER BY k.ord, c.code, k.draw, k.stream, 5", *items
        )
    )


def made_from_it(book: Book, item: str) -> list[Link]:
    """The links in which *item* is the source, one step on."""
    return _links(
        book.tuples(f"SELECT {COLUMNS} WHERE p.code = ? ORDER BY k.ord, c.code, k.draw, k.stream", item)
    )
