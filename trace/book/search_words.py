"""The words under which an item is found, and every part of them."""

from __future__ import annotations

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book

SEARCHED = {
    "tote": ("supplier", "lot", "system", "supplier_code", "supplier_item", "supplier_serial"),
    "tire": ("customer", "site", "unit", "serial", "wheel_serial", "size", "order_number"),
    "person": ("name",),
    "zone": ("name",),
    "line": ("name",),
}


def plain_word(text: str) -> str:
    """*text* as it is searched for: upper case, letters and digits only."""
    return "".join(c for c in text.upper() if c.isalnum())


SHORTEST_PART, LONGEST_PART, PARTS_OF = 3, 24, 64


def parts_of(word: str) -> list[str]:
    """The endings of a plain word under which any part of it is found; long ones cut.

    >>> parts_of("DOT44")
    ['DOT44', 'OT44', 'T44']
    """
    return [word[n : n + LONGEST_PART] for n in range(min(len(word) - SHORTEST_PART + 1, PARTS_OF))]


def derive_search(book: Book, item: str) -> None:
    """The words under which an item is found, and the parts of each; most acts change none of them, and then nothing is written."""
    words: set[tuple[str, str, str]] = set()
    for table, columns in SEARCHED.items():
        for row in book.rows(f"SELECT {', '.join(columns)} FROM {table} WHERE item = ?", item):
            words |= {(plain_word(row[c]), item, c) for c in columns if plain_word(row[c] or "")}
    for row in book.rows(
        "SELECT name, value FROM inspection WHERE item = ? AND name IN ('serial', 'date_code', 'wheel_serial')",
        item,
    ):
        if word := plain_word(row.value):
            words.add((word, item, row.name))
    there = set(book.tuples("SELECT word, item, field FROM search WHERE item = ?", item))
    if words == there:
        return
    for row in sorted(there - words):
        book.execute("DELETE FROM search WHERE word = ? AND item = ? AND field = ?", row)
    if words - there:
        book.insert_many("search", ("word", "item", "field"), sorted(words - there))
    _derive_parts(book, queries.shop_of(book, item), {word for word, _, _ in words ^ there})


def _derive_parts(book: Book, shop: str, words: set[str]) -> None:
    """The parts of each of these words, as long as anything of *shop* bears it."""
    for word in sorted(words):
        borne = book.value(
            "SELECT 1 FROM search WHERE word = ? AND item BETWEEN ? AND ? LIMIT 1", word, shop, shop + "ZZ"
        )
        known = book.value("SELECT 1 FROM word_part WHERE shop = ? AND word = ? LIMIT 1", shop, word)
        if borne and not known:
            rows = sorted({(shop, part, word) for part in parts_of(word)})
            book.insert_many("word_part", ("shop", "part", "word"), rows)
        elif known and not borne:
            book.execute("DELETE FROM word_part WHERE shop = ? AND word = ?", (shop, word))
