"""Lists of what the book holds, page by page, quick at any size.

A list is walked in the order of an index from where the last page ended, never by counting rows off. Where a filter or a word
leaves few enough items, those are taken together first and put in order; else the order is walked and each row looked at. Which of
the two is found out by counting, up to a cap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.in_parts import count_to
from fillbook.trace.book.list_kinds import COUNTED, KINDS, Asked, Kind, Listed, Order, order_of
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.search_words import SHORTEST_PART, plain_word
from fillbook.trace.book.searching import LAST, bearing, by_number, terms
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

FEW = 1_500  # so many items are taken together and sorted; more are walked in order
MANY = 60_000  # larger sets are not laid one over the other
WALKED = 4  # a row that is walked and looked at costs as much as so many entries of an index
SOME = "substr(item, 1, 6)"  # up to the first digit of the number: ten thousand IDs of a shop and kind, in their order


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
        many = count_to(
            book, f"SELECT 1 FROM {kind.tables['t']} WHERE item BETWEEN ? AND ?", [low, high], COUNTED
        )
    elif len(sets) == 1 and not order.lacking and "side" not in asked.filters:
        many = count_to(book, *sets[0], COUNTED)
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
    if len(terms(asked.words)) > 1 and count_to(book, *bearing(shop, together), 0):
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
        ((count_to(book, sql, args, FEW), sql, args) for sql, args in sets), key=lambda one: one[0]
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
        size = count_to(book, sql, args, MANY)
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
        if count_to(book, period.sql, period.args, MANY) <= MANY:
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
