"""The customers, known from the tires taken in."""

from __future__ import annotations

from fillbook.trace.book.in_parts import count_to
from fillbook.trace.book.list_kinds import PAGE
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.search_words import plain_word
from fillbook.trace.book.searching import FIRST, bearing, terms

MOST_TIRES = 1_000


def page(
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
                f"SELECT DISTINCT t.customer FROM (SELECT DISTINCT item FROM ({sets[0][0]}) b LIMIT {FIRST}) c CROSS JOIN tire t WHERE t.item = c.item"
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
        tires = count_to(book, "SELECT 1 FROM tire WHERE shop = ? AND customer = ?", [shop, name], MOST_TIRES)
        newest = book.value("SELECT max(item) FROM tire WHERE shop = ? AND customer = ?", shop, name)
        rows.append(Row(customer=name, tires=tires, newest=newest))
    return rows, (names[most - 1] if len(names) > most else None)
