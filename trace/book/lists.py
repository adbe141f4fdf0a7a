"""Lists of what the book holds, page by page, quick at any size.

A list is walked in the order of an index from where the last page ended, never by counting rows off. Where a filter or a word
leaves few enough items, those are taken together first and put in order; else the order is walked and each row looked at. Which of
the two is found out by counting, up to a cap. The words that are looked for are those of the search (lot, supplier and its code,
customer, site, unit, serials, size, order), found by any part from three letters or digits on and by their beginning below that;
besides, an ID by any of its beginnings, and by its number alone.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.items import SIDES
from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.search_words import LONGEST_PART, SHORTEST_PART, plain_word
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense

FEW = 1_500  # so many items are taken together and sorted; more are walked in order
MANY = 60_000  # larger sets are not laid one over the other
WALKED = 4  # a row that is walked and looked at costs as much as so many entries of an index
COUNTED = 10_000
PAGE = 50
SOME = "substr(item, 1, 6)"  # up to the first digit of the number: ten thousand IDs of a shop and kind, in their order
LAST = "Z"  # behind any letter or digit that may follow, in both databases' orders


@dataclass(frozen=True)
class Order:
    """One way to put a list in order: its column, the table whose index has that order, and whether some items lack the value."""

    name: str
    words: str
    column: str
    table: str
    number: bool = False
    lacking: str = ""


@dataclass(frozen=True)
class Kind:
    """One list: the letter of its items, where its rows are, its filters (name -> column, table) and its orders, the first by default."""

    name: str
    letter: str
    tables: dict[str, str]  # alias -> table; all are joined by item, those of ``maybe`` where they have a row
    maybe: tuple[str, ...]
    columns: str
    filters: dict[str, str]  # name -> alias.column
    period: str  # alias.column
    orders: tuple[Order, ...]
    states: tuple[str, ...] = ()


KINDS = {
    one.name: one
    for one in (
        Kind(
            "tires", "F", {"t": "tire", "p": "place", "f": "fill"}, ("f",),
            "t.item, t.customer, t.site, t.unit, t.size, t.serial, t.wheel_serial, t.order_number, t.taken_at, p.state, p.place, p.since, "
            "f.at AS filled_at, f.grams, f.pressure_pa",
            {"state": "p.state", "place": "p.place", "customer": "t.customer", "size": "t.size"}, "f.at",
            (
                Order("id", "ID", "t.item", "t"),
                Order("customer", "Customer", "t.customer", "t"),
                Order("size", "Size", "t.size", "t"),
                Order("taken", "Taken in", "t.taken_at", "t", True),
                Order("filled", "Filled", "f.at", "f", True, "tires that are not filled yet"),
            ),
            ("reserved", "taken in", "soaking", "filling", "paused", "filled", "racked", "released", "dispatched", "returned", "reclaimed",
             "abandoned", "scrapped"),
        ),
        Kind(
            "totes", "L", {"t": "tote", "p": "place"}, (),
            "t.item, t.supplier, t.lot, t.side, t.system, t.net_g, t.received_at, t.use_by, t.supplier_code, p.state, p.place, p.since",
            {"state": "p.state", "place": "p.place", "supplier": "t.supplier", "lot": "t.lot", "side": "t.side"}, "t.received_at",
            (
                Order("id", "ID", "t.item", "t"),
                Order("lot", "Lot", "t.lot", "t"),
                Order("received", "Received", "t.received_at", "t", True),
                Order("use-by", "Use by", "t.use_by", "t", True, "totes without such a day"),
            ),
            ("in store", "hooked up", "part used", "empty", "mixed", "scrapped"),
        ),
        Kind(
            "batches", "G", {"t": "batch", "p": "place"}, (), "t.item, t.made_at, t.grams, p.state, p.place, p.since",
            {"state": "p.state", "place": "p.place"}, "t.made_at",
            (Order("id", "ID", "t.item", "t"), Order("ground", "Ground", "t.made_at", "t", True)),
            ("in store", "in use", "used up", "scrapped"),
        ),
        Kind(
            "cups", "C", {"t": "cup", "p": "place"}, (), "t.item, t.line, t.at, t.zone, p.state, p.place, p.since",
            {"state": "p.state", "place": "p.place"}, "t.at",
            (Order("id", "ID", "t.item", "t"), Order("poured", "Poured", "t.at", "t", True)),
            ("curing", "passed", "failed", "kept"),
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What somebody wants to see of one list. Times are seconds of UTC; ``after`` is where the last page ended: value and item."""

    kind: str
    words: str = ""
    filters: dict[str, str] = field(default_factory=dict)
    since: int | None = None
    until: int | None = None
    order: str = ""
    down: bool = True
    after: tuple[int | str, str] | None = None
    most: int = PAGE

    @property
    def of_a_period(self) -> bool:
        return self.since is not None or self.until is not None

    @property
    def narrowed(self) -> bool:
        return bool(self.words or self.filters or self.of_a_period)


@dataclass(frozen=True)
class Listed:
    """One page: its rows, where the next begins (None: it was the last), and how many there are in all where that is known.

    ``many`` is None where counting would mean looking at every row; it is capped at :data:`COUNTED` + 1.
    """

    rows: list[Row]
    after: tuple[int | str, str] | None
    many: int | None


# -- words ---------------------------------------------------------------------------------------------------------------------
def terms(text: str) -> list[str]:
    """The words that are looked for, each as it is kept: upper case, letters and digits only."""
    return list(dict.fromkeys(word for part in text.split()[:8] if (word := plain_word(part))))


def bearing(shop: str, word: str) -> tuple[str, list[Any]]:
    """The query for the items that bear a word with *word* in it (below three characters: at its beginning)."""
    mine = [shop, shop + LAST * 2]
    if len(word) < SHORTEST_PART:
        return "SELECT s.item FROM search s WHERE s.word >= ? AND s.word < ? AND s.item BETWEEN ? AND ?", [
            word,
            word + "\uffff",
            *mine,
        ]
    part = word[:LONGEST_PART]
    cut = " AND w.word LIKE ?" if word != part else ""
    return (
        f"SELECT s.item FROM word_part w CROSS JOIN search s WHERE w.shop = ? AND w.part >= ? AND w.part < ?{cut} AND s.word = w.word "
        "AND s.item BETWEEN ? AND ?",
        [shop, part, part + "\uffff", *([f"%{word}%"] if cut else []), *mine],
    )


def by_number(shop: str, text: str, letter: str = "") -> tuple[str, list[Any]] | None:
    """The query for the items an ID's beginning, its number or a service number names; None where *text* is none of them."""
    word = plain_word(text)
    kinds = f"[{letter or ''.join(ids.KINDS)}]"
    if re.fullmatch("[0-9]{1,5}", word, re.ASCII):
        return "SELECT i.code FROM item i WHERE i.shop = ? AND i.serial = ?", [shop, int(word)]
    if found := re.fullmatch(rf"(?:{shop})?({kinds}[0-9]{{2,7}}[0-9A-Z]?)", word, re.ASCII):
        begin = shop + found[1]
        return "SELECT i.code FROM item i WHERE i.code BETWEEN ? AND ?", [begin, begin + LAST * 2]
    try:
        number = ids.read_service_number(word)
    except Nonsense:
        return None
    return (
        "SELECT i.code FROM item i WHERE i.shop = ? AND i.kind = 'F' AND i.year = ? AND i.serial = ?",
        [shop, int(number[:2]), int(number[2:7])],
    )


def find(book: Book, shop: str, text: str, most: int = 50) -> list[Row]:
    """Items of any kind that *text* fits, with the field and word it was found by; those an ID's part names first."""
    found: dict[str, Row] = {}
    if asked := by_number(shop, text):
        sql, args = asked
        for (code,) in book.tuples(f"{sql} ORDER BY i.code DESC LIMIT ?", *args, most):
            if ids.is_valid(code):
                found[code] = Row(item=code, field="ID", word=ids.pretty(code))
    words = terms(text)
    for chosen in ([plain_word(text)], words) if len(words) > 1 else (words,):
        if not chosen or len(found) >= most:
            continue
        where = " AND ".join(f"a.item IN ({bearing(shop, word)[0]})" for word in chosen[1:])
        args = [arg for word in chosen for arg in bearing(shop, word)[1]]
        rest = f"WHERE {where}" if where else ""
        codes = [
            code
            for (code,) in book.tuples(
                f"SELECT DISTINCT a.item FROM ({bearing(shop, chosen[0])[0]} LIMIT {FEW}) a {rest} ORDER BY a.item LIMIT ?",
                *args,
                most,
            )
        ]
        for row in _why(book, [code for code in codes if code not in found], chosen):
            found[row["item"]] = row
        if codes:
            break
    return list(found.values())[:most]


def _why(book: Book, items: list[str], words: list[str]) -> list[Row]:
    """For each of *items* the field that bears the first of these words, and what stands there."""
    bears: dict[str, list[Row]] = {item: [] for item in items}
    for some in queries.chunks(items):
        for row in book.rows(
            f"SELECT item, field, word FROM search WHERE item IN ({', '.join('?' * len(some))}) ORDER BY item, field, word", *some
        ):  # fmt: skip
            bears[row["item"]].append(row)
    return [
        next(
            (row for word in words for row in rows if word in row.word),
            Row(item=item, field="word", word=words[0]),
        )
        for item, rows in bears.items()
    ]


# -- one page ------------------------------------------------------------------------------------------------------------------
def order_of(asked: Asked) -> Order:
    kind = KINDS[asked.kind]
    return next((one for one in kind.orders if one.name == asked.order), kind.orders[0])


def page(book: Book, shop: str, asked: Asked) -> Listed:
    """One page of a list. Raises Nonsense for a place to go on from that no page of this list gave."""
    kind, order = KINDS[asked.kind], order_of(asked)
    _check_after(shop, kind, order, asked)
    asked = _said_together(book, shop, asked)
    sets = _sets(shop, kind, asked)
    few, taken = _taken(book, shop, kind, order, asked, sets)
    rows = _rows(book, shop, kind, order, asked, few, taken)
    more = len(rows) > asked.most
    rows = rows[: asked.most]
    after = (rows[-1].sorted_by, rows[-1]["item"]) if more else None
    many: int | None
    if not more and asked.after is None:
        many = len(rows)
    elif taken and taken.whole and not order.lacking:
        many = few
    elif taken:
        sql, args = _query(shop, kind, order, replace(asked, after=None), taken, keys=True)
        many = book.value(f"SELECT count(*) FROM ({sql}) x", *args)
    elif not asked.narrowed and not order.lacking:
        low, high = _range(shop, kind)
        many = _count(
            book, f"SELECT 1 FROM {kind.tables['t']} WHERE item BETWEEN ? AND ?", [low, high], COUNTED
        )
    elif len(sets) == 1 and not order.lacking and "side" not in asked.filters:
        many = _count(book, *sets[0], COUNTED)
    else:
        many = None
    return Listed(rows, after, many)


def every(book: Book, shop: str, asked: Asked, most: int = 1_000) -> Iterator[Row]:
    """All rows of a list, read in pages of *most*."""
    after = None
    while True:
        found = page(book, shop, replace(asked, after=after, most=most))
        yield from found.rows
        after = found.after
        if after is None:
            return


def plan(book: Book, shop: str, asked: Asked) -> list[str]:
    """How SQLite goes about a page: its own words, for tests and for whoever wonders why a page is slow."""
    kind, order = KINDS[asked.kind], order_of(asked)
    asked = _said_together(book, shop, asked)
    _, taken = _taken(book, shop, kind, order, asked, _sets(shop, kind, asked))
    sql, args = _query(shop, kind, order, asked, taken)
    return [row[3] for row in book.tuples(f"EXPLAIN QUERY PLAN {sql} LIMIT ?", *args, asked.most)]


def _said_together(book: Book, shop: str, asked: Asked) -> Asked:
    """*asked* with its words as one, where anything bears them together: "harbour terminal" is a customer, not two words."""
    together = plain_word(asked.words)
    if len(terms(asked.words)) > 1 and _count(book, *bearing(shop, together), 0):
        return replace(asked, words=together)
    return asked


@dataclass(frozen=True)
class Taken:
    """Few enough items to be taken together: the query for them, and whether they are all that was asked for and nothing else."""

    sql: str
    args: list[Any]
    whole: bool = False


def _taken(
    book: Book, shop: str, kind: Kind, order: Order, asked: Asked, sets: list[tuple[str, list[Any]]]
) -> tuple[int, Taken | None]:
    """The smallest of the filters' sets and its size, where it is few enough and no index has both the filter and the order."""
    if not sets:
        return 0, None
    if (
        len(sets) == 1
        and order.name == "id"
        and any(kind.filters[name] != "p.place" for name in asked.filters)
    ):
        return 0, None
    size, sql, args = min(
        ((_count(book, sql, args, FEW), sql, args) for sql, args in sets), key=lambda one: one[0]
    )
    whole = not asked.words and "side" not in asked.filters
    if size <= FEW:
        return size, Taken(sql, args, whole and len(sets) == 1)
    both = _in_both(book, shop, kind, order, asked)
    if both is None:
        return size, None
    return len(both), _these(kind, both, whole and len(sets) == 2)


def _in_both(book: Book, shop: str, kind: Kind, order: Order, asked: Asked) -> list[str] | None:
    """What two large sets have in common, where that is few: a customer's tires of one year, say.

    Walking the order would come upon one of them only now and then. Whether it is worth it is estimated as if the sets had nothing to
    do with each other. States and words are left out: a state has few items, which was found before, or nearly all.
    """
    own = {name: value for name, value in asked.filters.items() if not kind.filters[name].startswith("p.")}
    large = []
    sets = _sets(shop, kind, replace(asked, words="", filters=own))
    for sql, args in sets if len(sets) > 1 else ():
        size = _count(book, sql, args, MANY)
        if size <= MANY:
            large.append((size, sql, args))
    if len(large) < 2:
        return None
    (a, first, its), (b, second, others) = sorted(large, key=lambda one: one[0])[:2]
    every = book.value("SELECT items FROM chain WHERE shop = ?", shop) or 1
    # rows until a page is full: by ID those of the smaller set, which its index has in that order, else all
    walked = asked.most * every / (b if order.name == "id" else a * b / every)
    if walked * WALKED < a + b:
        return None
    sql = f"SELECT item FROM ({first}) x INTERSECT SELECT item FROM ({second}) y LIMIT ?"
    items = [item for (item,) in book.tuples(sql, *its, *others, FEW + 1)]
    return items if len(items) <= FEW else None


def _these(kind: Kind, items: Sequence[str], whole: bool = False) -> Taken:
    marks = ", ".join("?" * len(items)) or "NULL"
    return Taken(f"SELECT item FROM {kind.tables['t']} WHERE item IN ({marks})", list(items), whole)


def _rows(
    book: Book, shop: str, kind: Kind, order: Order, asked: Asked, few: int, taken: Taken | None
) -> list[Row]:
    """A page's rows and one more, by the shortest way; *few* is how many are *taken*."""
    most = asked.most + 1
    large = taken if few > 2 * most else None
    if not taken and asked.of_a_period and order.column != kind.period:
        if order.name == "id":
            return list(islice(_period_by_id(book, shop, kind, order, asked), most))
        period = Taken(*_period(shop, kind, asked))
        if _count(book, period.sql, period.args, MANY) <= MANY:
            large = period
    if large:  # all of them, but of each only what is sorted by; then the rows of the page
        sql, args = _query(shop, kind, order, asked, large, keys=True)
        taken = _these(kind, [item for item, _ in book.tuples(f"{sql} LIMIT ?", *args, most)])
    sql, args = _query(shop, kind, order, asked, taken)
    return book.rows(f"{sql} LIMIT ?", *args, most)


def _period_by_id(book: Book, shop: str, kind: Kind, order: Order, asked: Asked) -> Iterator[Row]:
    """The rows of a period in the order of their IDs.

    An ID says little about when its tire was filled, so the IDs are taken some thousands at a time (:data:`SOME`), and of each such
    part only the items of the period, by an index that has them together.
    """
    alias, column = kind.period.split(".")
    table = kind.tables[alias]
    during, args = _during(column, asked)
    way, beyond = ("DESC", "<") if asked.down else ("ASC", ">")
    after = asked.after[1] if asked.after else None
    alone = not (asked.filters or asked.words)  # then each item of the period is a row of the page
    for part in _parts_with(book, _range(shop, kind), table, during, args, after, asked.down):
        further, more = (f" AND item {beyond} ?", [after]) if after else ("", [])
        items = [
            item
            for (item,) in book.tuples(
                f"SELECT item FROM {table} WHERE {SOME} = ?{during}{further} ORDER BY item {way}"
                + (" LIMIT ?" if alone else ""),
                part, *args, *more, *([asked.most + 1] if alone else []),
            )
        ]  # fmt: skip
        for few in queries.chunks(items, asked.most + 1 if alone else 200):
            sql, its = _query(shop, kind, order, replace(asked, after=None), _these(kind, few))
            yield from book.rows(sql, *its)


def _parts_with(
    book: Book, ends: tuple[str, str], table: str, during: str, args: list[Any], after: str | None, down: bool
) -> list[str]:
    """The parts (:data:`SOME`) of the IDs, from that of *after* on, in which anything is of the period: one step along the index each."""
    low, high = ends
    begin = after[:6] if after else high if down else low
    way, beyond, end = ("DESC", "<", low) if down else ("ASC", ">", high)
    bound = f"{'>' if down else '<'} ?"  # where the shop's IDs of this kind end
    first = f"SELECT {SOME} FROM {table} WHERE {SOME} {beyond}= ? AND {SOME} {bound} ORDER BY {SOME} {way} LIMIT 1"
    then = f"SELECT {SOME} FROM {table} WHERE {SOME} {beyond} step.part AND {SOME} {bound} ORDER BY {SOME} {way} LIMIT 1"
    rows = book.tuples(
        f"WITH RECURSIVE step(part) AS (SELECT ({first}) UNION ALL SELECT ({then}) FROM step WHERE step.part IS NOT NULL) "
        f"SELECT part FROM step WHERE part IS NOT NULL AND EXISTS (SELECT 1 FROM {table} WHERE {SOME} = step.part{during}) "
        f"ORDER BY part {way}",
        begin, end, end, *args,
    )  # fmt: skip
    return [part for (part,) in rows]


def _range(shop: str, kind: Kind) -> tuple[str, str]:
    """The first and last ID a shop can give out for this kind of item."""
    return shop + kind.letter, shop + kind.letter + LAST


def _check_after(shop: str, kind: Kind, order: Order, asked: Asked) -> None:
    if asked.after is None:
        return
    value, item = asked.after
    fits = isinstance(value, int) if order.number else isinstance(value, str)
    if not fits or not ids.is_valid(item) or not item.startswith(shop + kind.letter):
        raise Nonsense(
            "The address of that page is not one of this list's; begin at its first page.", field="after"
        )


def _count(book: Book, sql: str, args: list[Any], most: int) -> int:
    """How many rows a query has, looking at no more than *most* + 1."""
    return book.value(f"SELECT count(*) FROM ({sql} LIMIT ?) x", *args, most + 1)


def _sets(shop: str, kind: Kind, asked: Asked) -> list[tuple[str, list[Any]]]:
    """For each filter the query for the items it leaves, each looked up in an index of its own."""
    low, high = _range(shop, kind)
    found: list[tuple[str, list[Any]]] = []
    for name, value in asked.filters.items():
        alias, column = kind.filters[name].split(".")
        if alias == "p":
            found.append(
                (f"SELECT item FROM place WHERE {column} = ? AND item BETWEEN ? AND ?", [value, low, high])
            )
        elif column != "side":  # half of all totes: never a way to find few
            found.append(
                (f"SELECT item FROM {kind.tables[alias]} WHERE shop = ? AND {column} = ?", [shop, value])
            )
    if asked.of_a_period:
        found.append(_period(shop, kind, asked))
    if asked.words:
        if numbered := by_number(shop, asked.words, kind.letter):
            sql, args = numbered
            also, more = bearing(shop, plain_word(asked.words))
            found.append((
                f"SELECT DISTINCT x.item FROM (SELECT code AS item FROM ({sql}) n UNION ALL SELECT item FROM ({also}) b) x "
                "WHERE x.item BETWEEN ? AND ?",
                [*args, *more, low, high],
            ))  # fmt: skip
        else:
            asks = terms(asked.words)
            for word in [one for one in asks if len(one) >= SHORTEST_PART] or asks[:1]:
                sql, args = bearing(shop, word)
                found.append(
                    (
                        f"SELECT DISTINCT b.item FROM ({sql}) b WHERE b.item BETWEEN ? AND ?",
                        [*args, low, high],
                    )
                )
    return found


def _period(shop: str, kind: Kind, asked: Asked) -> tuple[str, list[Any]]:
    """The query for the items of a period."""
    alias, column = kind.period.split(".")
    sql, args = _during(column, asked)
    return f"SELECT item FROM {kind.tables[alias]} WHERE shop = ?{sql}", [shop, *args]


def _during(column: str, asked: Asked) -> tuple[str, list[Any]]:
    sql, args = "", []
    for bound, at in ((">=", asked.since), ("<", asked.until)):
        if at is not None:
            sql += f" AND {column} {bound} ?"
            args.append(at)
    return sql, args


def _query(
    shop: str, kind: Kind, order: Order, asked: Asked, taken: Taken | None, *, keys: bool = False
) -> tuple[str, list[Any]]:
    """The page's rows in order: from the few items *taken* together, or along the index of the order; *keys*: of each only its ID."""
    low, high = _range(shop, kind)
    drive = order.table
    if (
        not taken
        and drive == "t"
        and order.column == "t.item"
        and "state" in asked.filters
        and "p" in kind.tables
    ):
        drive = "p"  # the states' index is in the order of the IDs
    column = "p.item" if drive == "p" and not taken else order.column
    args: list[Any] = []
    if taken:
        froms, joined = (
            f"({taken.sql}) c CROSS JOIN {kind.tables['t']} t",
            ["t"],
        )
        args += taken.args
        where = ["t.item = c.item"]
    else:
        froms, joined, where = f"{kind.tables[drive]} {drive}", [drive], []
    needed = {order.table, *([kind.period.split(".")[0]] if asked.of_a_period else [])}
    for alias in [
        one for one in kind.tables if one not in joined and (one not in kind.maybe or one in needed)
    ]:
        froms += f" CROSS JOIN {kind.tables[alias]} {alias}"
        where.append(f"{alias}.item = {joined[0]}.item")
        joined.append(alias)
    for alias in [one for one in kind.maybe if one not in joined and not keys]:
        froms += f" LEFT JOIN {kind.tables[alias]} {alias} ON {alias}.item = t.item"
    if drive == "p" and not taken:
        where.append("p.item BETWEEN ? AND ?")
        args += [low, high]
    else:
        by_item = column.endswith(".item")
        if by_item:
            where.append(f"{column} BETWEEN ? AND ?")
            args += [low, high]
        if not by_item or any(
            kind.filters[name].startswith("t.") and name != "side" for name in asked.filters
        ):
            where.append(
                f"{'t' if taken else drive}.shop = ?"
            )  # else an index by shop would be taken for that of the IDs
            args.append(shop)
    for name, value in asked.filters.items():
        where.append(f"{kind.filters[name]} = ?")
        args.append(value)
    if asked.since is not None:
        where.append(f"{kind.period} >= ?")
        args.append(asked.since)
    if asked.until is not None:
        where.append(f"{kind.period} < ?")
        args.append(asked.until)
    if asked.words:
        sql, more = _fits(shop, kind, asked.words)
        where.append(sql)
        args += more
    if order.lacking:
        where.append(f"{order.column} IS NOT NULL")
    way, beyond = ("DESC", "<") if asked.down else ("ASC", ">")
    item = f"{(drive if not taken else 't')}.item"
    if asked.after is not None:
        if column.endswith(".item"):
            where.append(f"{column} {beyond} ?")
            args.append(asked.after[1])
        else:
            where.append(f"({column}, {item}) {beyond} (?, ?)")
            args += asked.after
    ordered = f"{column} {way}" if column.endswith(".item") else f"{column} {way}, {item} {way}"
    return (
        f"SELECT {f't.item, {column}' if keys else kind.columns + f', {column}'} AS sorted_by FROM {froms} WHERE {' AND '.join(where)} ORDER BY {ordered}",
        args,
    )


def _fits(shop: str, kind: Kind, text: str) -> tuple[str, list[Any]]:
    """Whether one row bears every word, looked up by its item."""
    parts, args = [], []
    words = terms(text)
    for n, word in enumerate(words):
        parts.append("EXISTS (SELECT 1 FROM search s WHERE s.item = t.item AND s.word LIKE ?)")
        args.append(f"{'%' if len(word) >= SHORTEST_PART or n else ''}{word}%")
    sql = " AND ".join(parts) or "1 = 1"
    if numbered := by_number(shop, text, kind.letter):
        if "serial = ?" in numbered[0]:
            return f"(({sql}) OR t.item IN ({numbered[0]}))", [*args, *numbered[1]]
        return f"(({sql}) OR t.item BETWEEN ? AND ?)", [*args, *numbered[1]]
    return f"({sql})", args


# -- one item's history ----------------------------------------------------------------------------------------------------------
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


# -- customers and events ------------------------------------------------------------------------------------------------------
MOST_TIRES = 1_000


def customers(
    book: Book, shop: str, words: str = "", after: str = "", most: int = PAGE
) -> tuple[list[Row], str | None]:
    """Customers in the order of their names, each with how many tires (capped at :data:`MOST_TIRES` + 1) and the newest one; and
    where the next page begins. With *words*: those whose name bears them, from the first 1 500 such tires.
    """
    names: list[str] = []
    if words:
        sets = [bearing(shop, word) for word in terms(words)]
        if sets:
            where = " AND ".join(f"t.item IN ({sql})" for sql, _ in sets[1:])
            args = [arg for _, mine in sets for arg in mine]
            sql = (
                f"SELECT DISTINCT t.customer FROM (SELECT DISTINCT item FROM ({sets[0][0]}) b LIMIT {FEW}) c CROSS JOIN tire t WHERE t.item = c.item"
                f"{' AND ' + where if where else ''} AND t.shop = ? AND t.customer > ? ORDER BY t.customer"
            )
            found = [name for (name,) in book.tuples(sql, *args, shop, after)]
            names = [name for name in found if all(word in plain_word(name) for word in terms(words))][
                : most + 1
            ]
    else:
        names = [
            name
            for (name,) in book.tuples(  # from each name to the next, one step along the index
                "WITH RECURSIVE step(name) AS (SELECT min(customer) FROM tire WHERE shop = ? AND customer > ? UNION ALL "
                "SELECT (SELECT min(t.customer) FROM tire t WHERE t.shop = ? AND t.customer > step.name) FROM step WHERE step.name IS NOT NULL) "
                "SELECT name FROM step WHERE name IS NOT NULL LIMIT ?",
                shop, after, shop, most + 1,
            )
        ]  # fmt: skip
    rows = []
    for name in names[:most]:
        tires = _count(book, "SELECT 1 FROM tire WHERE shop = ? AND customer = ?", [shop, name], MOST_TIRES)
        newest = book.value("SELECT max(item) FROM tire WHERE shop = ? AND customer = ?", shop, name)
        rows.append(Row(customer=name, tires=tires, newest=newest))
    return rows, (names[most - 1] if len(names) > most else None)


@dataclass(frozen=True)
class AskedEvents:
    """Which events: of one kind, of one item, in a period by when they happened; from below or above one number on."""

    kind: str = ""
    item: str = ""
    since: int | None = None
    until: int | None = None
    by_time: bool = False
    down: bool = True
    after: tuple[int, int] | None = None  # happened_at (0 by number), seq
    most: int = PAGE


def events(book: Book, shop: str, asked: AskedEvents) -> tuple[list[Event], tuple[int, int] | None]:
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


def event_kinds(book: Book, shop: str) -> list[str]:
    """The kinds of events this shop has written, each found by one step along the index."""
    found: list[str] = []
    while (
        kind := book.value(
            "SELECT min(kind) FROM event WHERE shop = ? AND kind > ?", shop, found[-1] if found else ""
        )
    ) is not None:
        found.append(kind)
    return found


# -- as a file -----------------------------------------------------------------------------------------------------------------
def harmless(text: str) -> str:
    """A cell that a spreadsheet reads as text and never as a formula.

    >>> harmless("=1+1"), harmless("L-4"), harmless("-4")
    ("'=1+1", 'L-4', "'-4")
    """
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


CSV_COLUMNS = {
    "tires": ("id", "state", "place", "since", "customer", "site", "unit", "size", "serial", "wheel_serial", "order", "taken_in", "filled",
              "weight_kg", "pressure_kpa"),
    "totes": ("id", "state", "place", "since", "supplier", "lot", "side", "substance", "system", "net_kg", "received", "use_by", "supplier_code"),
    "batches": ("id", "state", "place", "since", "ground", "weight_kg"),
    "cups": ("id", "state", "place", "since", "line", "poured"),
}  # fmt: skip


def csv_lines(book: Book, shop: str, asked: Asked) -> Iterator[str]:
    """The whole list for a spreadsheet, some rows at a time: weights in kg to the gram, pressures in kPa, times in UTC (ISO 8601).

    Lines end in CR LF (RFC 4180); a text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    names: dict[str, str] = {"": ""}

    def name(item: str) -> str:
        if item not in names:
            names[item] = queries.name_of(book, item)
        return names[item]

    out = io.StringIO()
    lines = csv.writer(out)
    lines.writerow(CSV_COLUMNS[asked.kind])
    for n, row in enumerate(every(book, shop, asked)):
        lines.writerow([harmless(cell) for cell in _cells(asked.kind, row, name)])
        if n % 500 == 499:
            yield out.getvalue()
            out.seek(0)
            out.truncate()
    yield out.getvalue()


def _cells(kind: str, row: Row, name: Any) -> list[str]:
    first = [ids.pretty(row["item"]), row.state, name(row.place), _utc(row.since)]
    match kind:
        case "tires":
            return [
                *first, row.customer, row.site, row.unit, row.size, row.serial, row.wheel_serial, row.order_number, _utc(row.taken_at),
                _utc(row.filled_at), _kg(row.grams), "" if row.pressure_pa is None else f"{row.pressure_pa / 1000:.1f}",
            ]  # fmt: skip
        case "totes":
            return [
                *first, row.supplier, row.lot, row.side, SIDES[row.side].split(" · ")[1], row.system, _kg(row.net_g), _utc(row.received_at),
                _utc(row.use_by), row.supplier_code,
            ]  # fmt: skip
        case "batches":
            return [*first, _utc(row.made_at), _kg(row.grams)]
        case _:
            return [*first, name(row.line), _utc(row.at)]


def _utc(at: int | None) -> str:
    return "" if at is None else times.utc_text(at)


def _kg(grams: int | None) -> str:
    return "" if grams is None else f"{grams // 1000}.{grams % 1000:03d}"
