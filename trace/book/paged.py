"""What another program reads page by page: items, an item's history, the journal. Each goes on along an index, never by counting off."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.search_words import SHORTEST_PART, plain_word
from fillbook.trace.book.searching import LAST, bearing, by_number, terms

FEW = 20_000  # so many items are taken together and sorted; more are walked in order
Set = tuple[str, list[Any]]


def items(
    book: Book,
    shop: str,
    *,
    kind: str = "",
    state: str = "",
    words: str = "",
    after: str = "",
    most: int = 50,
) -> tuple[list[Row], str | None]:
    """A page of the shop's items in the order of their IDs: item, state, place, since; and the ID after which the next page begins.

    *kind* is a letter, *words* what they bear or the beginning of an ID, as in the lists; *after* a compact ID. Words that few items
    bear are looked up first; where many do, the IDs are walked and each is looked at.
    """
    low, high = (
        shop + (kind or "A"),
        shop + kind + LAST * 2,
    )  # what lies in a waste container has a number with no letter here
    where: list[str] = []
    args: list[Any] = []
    few: Set | None = None
    if words:
        sets = _bearing(shop, words, kind)
        if not sets:
            return [], None
        size, few = min(((book.value(f"SELECT count(*) FROM ({sql} LIMIT ?) x", *mine, FEW + 1), (sql, mine)) for sql, mine in sets),
                        key=lambda one: one[0])  # fmt: skip
        few = few if size <= FEW else None
    if few:
        froms, column = (
            f"(SELECT DISTINCT x.item FROM ({few[0]}) x) c LEFT JOIN place p ON p.item = c.item",
            "c.item",
        )
        args += few[1]
    elif state:
        froms, column = "place p", "p.item"  # the states' index is in the order of the IDs
    else:
        froms, column = "item i LEFT JOIN place p ON p.item = i.code", "i.code"
    where.append(
        f"{column} > ? AND {column} < ?"
    )  # one bound each way, or the index is entered at the wrong one
    args += [max(after, low), high]
    if state:
        where.append("p.state = ?")
        args.append(state)
    if words:
        sql, mine = _bears(shop, words, kind, column)
        where.append(sql)
        args += mine
    rows = book.rows(
        f"SELECT {column} AS item, p.state, p.place, p.since FROM {froms} WHERE {' AND '.join(where)} ORDER BY {column} LIMIT ?",
        *args, most + 1,
    )  # fmt: skip
    return rows[:most], rows[most - 1]["item"] if len(rows) > most else None


def _bearing(shop: str, words: str, kind: str) -> list[Set]:
    """The queries for the items that each of the words leaves; what may be an ID's number or beginning is one of them."""
    if numbered := by_number(shop, words, kind):
        also = bearing(shop, plain_word(words))
        return [
            (
                f"SELECT code AS item FROM ({numbered[0]}) n UNION ALL SELECT item FROM ({also[0]}) b",
                [*numbered[1], *also[1]],
            )
        ]
    return [bearing(shop, word) for word in terms(words)]


def _bears(shop: str, words: str, kind: str, column: str) -> Set:
    """Whether the item of one row bears all of the words, or has its number by them."""
    parts, args = [], []
    for word in terms(words):
        parts.append(f"EXISTS (SELECT 1 FROM search s WHERE s.item = {column} AND s.word LIKE ?)")
        args.append(f"{'%' if len(word) >= SHORTEST_PART else ''}{word}%")
    sql = f"({' AND '.join(parts)})"
    if numbered := by_number(shop, words, kind):
        among = "BETWEEN ? AND ?" if "BETWEEN" in numbered[0] else f"IN ({numbered[0]})"
        return f"({sql} OR {column} {among})", [*args, *numbered[1]]
    return sql, args


def history(
    book: Book, item: str, after: tuple[int, ...] | None, most: int
) -> tuple[list[Row], tuple[int, ...] | None]:
    """A page of what happened to *item*, oldest first: at, words, seq, state, place, kind; and after which (at, rank, seq, n) the next begins."""
    beyond = " AND (t.at, t.rank, t.seq, t.n) > (?, ?, ?, ?)" if after else ""
    rows = book.rows(
        "SELECT t.at, t.rank, t.seq, t.n, t.words, t.state, t.place, e.kind FROM touch t JOIN event e ON e.shop = t.shop AND e.seq = t.seq "
        f"WHERE t.item = ?{beyond} ORDER BY t.at, t.rank, t.seq, t.n LIMIT ?",
        item, *(after or ()), most + 1,
    )  # fmt: skip
    last = rows[most - 1] if len(rows) > most else None
    return rows[:most], (last.at, last.rank, last.seq, last.n) if last else None


def events(book: Book, shop: str, after: int, most: int) -> list[Row]:
    """The journal from *after* on: seq, hash, text, as they are stored."""
    return book.rows(
        "SELECT seq, hash, text FROM event WHERE shop = ? AND seq > ? ORDER BY seq LIMIT ?", shop, after, most
    )
