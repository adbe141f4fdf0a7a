"""Items found by what they bear: lot, supplier and its code, customer, site, unit, serials, size, order.

Words are found by any part from three letters or digits on and by their beginning below that; an ID besides by any of its beginnings,
and by its number alone.
"""

from __future__ import annotations

import re
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.search_words import LONGEST_PART, SEARCHED, SHORTEST_PART, plain_word
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

FIRST = 1_500  # of the items that bear a word, so many are looked at for the others
LAST = "Z"  # behind any letter or digit that may follow, in both databases' orders


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
                f"SELECT DISTINCT a.item FROM ({bearing(shop, chosen[0])[0]} LIMIT {FIRST}) a {rest} ORDER BY a.item LIMIT ?",
                *args,
                most,
            )
        ]
        for row in _why(book, [code for code in codes if code not in found], chosen):
            found[row["item"]] = row
        if codes:
            break
    return list(found.values())[:most]


def as_written(book: Book, row: Row) -> str:
    """What stands in the field that *row* of :func:`find` was found by, as it was typed: *Quarry Nine*, not the word it is kept under."""
    for table, columns in SEARCHED.items():
        if row.field in columns:
            text = book.value(f"SELECT {row.field} FROM {table} WHERE item = ?", row["item"])
            if text and plain_word(text) == row.word:
                return text
    seen = book.tuples("SELECT value FROM inspection WHERE item = ? AND name = ?", row["item"], row.field)
    return next((text for (text,) in seen if plain_word(text) == row.word), row.word)


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
