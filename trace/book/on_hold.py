"""What keeps an item where it is: the holds that people and rules put on it or on its lot, and the recalls that are open.

An open recall holds what is suspected of it, and each tire it lists as certain, possible or through regrind until that tire has an
outcome. It is lifted by no one: it ends with the outcome, or with the recall.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from fillbook.trace.book import suspects
from fillbook.trace.book.in_parts import parts
from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.outcomes import OPEN, outcomes_by
from fillbook.trace.book.unchanged import while_unchanged
from fillbook.trace.core import ids
from fillbook.trace.core.errors import ShopError

NOT_LIFTED = (
    "NOT EXISTS (SELECT 1 FROM lift l WHERE l.shop = h.shop AND l.hold_seq = h.seq AND l.hold_n = h.n)"
)
ALWAYS = 2**53  # seconds of UTC
#: The tiers whose tires stay. What is only not excluded is shown and may go: it can be most of what was ever filled.
STAY = ("certain", "possible", "through regrind")


def holds_on(book: Book, item: str) -> list[Row]:
    """The open holds that lie on *item* itself or on the lot it belongs to, and the open recalls it is kept by.

    Columns of ``hold``; ``recall`` is the number of the event that opened the recall, 0 for a hold.
    """
    found = _put_on(book, item)
    return found + [row for rows in recalled(book, [item]).values() for row in rows]


def _put_on(book: Book, item: str) -> list[Row]:
    own = book.rows(
        f"SELECT h.*, 0 AS recall FROM hold h WHERE h.item = ? AND {NOT_LIFTED} ORDER BY h.seq, h.n", item
    )
    if ids.is_valid(item) and ids.kind_of(item) == "L":  # a mixture is held with what was poured into it
        for (source,) in book.tuples("SELECT source FROM ingredient WHERE batch = ? ORDER BY n", item):
            own += holds_on(book, source)
    return own + book.rows(
        f"SELECT h.*, 0 AS recall FROM hold h JOIN tote t ON t.shop = h.shop AND t.lot = h.lot AND t.supplier = h.supplier "
        f"WHERE t.item = ? AND h.lot <> '' AND {NOT_LIFTED} ORDER BY h.seq, h.n",
        item,
    )


def held_among(book: Book, items: Iterable[str]) -> set[str]:
    """Those of *items* that :func:`holds_on` finds anything for: on the item, its lot, or what a mixture is made of."""
    wanted = list(dict.fromkeys(items))
    held: set[str] = set()
    for some, marks in parts(wanted):
        held.update(
            code
            for (code,) in book.tuples(
                f"SELECT h.item FROM hold h WHERE h.item IN ({marks}) AND {NOT_LIFTED} UNION "
                f"SELECT t.item FROM tote t JOIN hold h ON h.shop = t.shop AND h.lot = t.lot AND h.supplier = t.supplier "
                f"WHERE t.item IN ({marks}) AND t.lot <> '' AND {NOT_LIFTED}",
                *some,
                *some,
            )
        )
    held.update(recalled(book, wanted))
    poured: dict[str, list[str]] = {}
    totes = [item for item in wanted if item not in held and ids.is_valid(item) and ids.kind_of(item) == "L"]
    for some, marks in parts(totes):
        for mixture, source in book.tuples(
            f"SELECT batch, source FROM ingredient WHERE batch IN ({marks})", *some
        ):
            poured.setdefault(source, []).append(mixture)
    for source in held_among(book, poured) if poured else ():
        held.update(poured[source])
    return held


def open_holds(book: Book, shop: str) -> list[Row]:
    """The holds that are not lifted, newest first."""
    return book.rows(
        f"SELECT h.* FROM hold h WHERE h.shop = ? AND {NOT_LIFTED} ORDER BY h.at DESC, h.seq DESC, h.n", shop
    )


def held_sources(book: Book, shop: str, at: int = ALWAYS, *, since: int = -ALWAYS) -> list[str]:
    """Totes, batches and fills that an open hold covers, directly or by their lot, and those an open recall suspects; of those put on
    or opened after *since* and by *at* (seconds of UTC)."""
    rows = book.tuples(
        f"SELECT h.item FROM hold h WHERE h.shop = ? AND h.item <> '' AND h.at > ? AND h.at <= ? AND {NOT_LIFTED} UNION "
        f"SELECT t.item FROM hold h JOIN tote t ON t.shop = h.shop AND t.lot = h.lot AND t.supplier = h.supplier "
        f"WHERE h.shop = ? AND h.lot <> '' AND h.at > ? AND h.at <= ? AND {NOT_LIFTED}",
        shop, since, at, shop, since, at,
    )  # fmt: skip
    suspected = [
        item for one in open_recalls(book, shop) if since < one.at <= at for item in suspected_by(book, one)
    ]
    return list(dict.fromkeys([*(item for (item,) in rows), *suspected]))


# -- recalls -------------------------------------------------------------------------------------------------------------------
def open_recalls(book: Book, shop: str) -> list[Row]:
    """The recalls of *shop* that were opened and not closed, newest first, as they were frozen; ``listed``: how many tires."""
    return book.rows(
        "SELECT r.*, (SELECT count(*) FROM recall_item i WHERE i.shop = r.shop AND i.seq = r.seq) AS listed FROM recall r "
        "WHERE r.shop = ? "
        "AND NOT EXISTS (SELECT 1 FROM recall_close c WHERE c.shop = r.shop AND c.recall_seq = r.seq) ORDER BY r.seq DESC",
        shop,
    )


def without_outcome(book: Book, recall: Row) -> int:
    """How many of the tires that *recall* (of :func:`open_recalls`) lists have no outcome yet, of whatever tier."""

    def look() -> int:
        tires = [
            item
            for (item,) in book.tuples(
                "SELECT item FROM recall_item WHERE shop = ? AND seq = ? ORDER BY n", recall.shop, recall.seq
            )
        ]
        return list(outcomes_by(book, recall, tires, ALWAYS).values()).count(OPEN)

    return while_unchanged(book, recall.shop, f"without an outcome in {recall.seq}", look)


def suspected_by(book: Book, recall: Row) -> tuple[str, ...]:
    """The items that *recall* (of :func:`open_recalls`) suspects, by what is known now: a lot's totes that came in since are among them."""

    def look() -> tuple[str, ...]:
        try:
            return suspects.suspect(book, recall.shop, recall.suspect).items
        except (
            ShopError
        ):  # what was suspected is void by now; or it was a line's hours, whose tires are listed
            return ()

    return while_unchanged(book, recall.shop, f"suspected by {recall.seq}", look)


def recalled(book: Book, items: Sequence[str], *, ended: bool = False) -> dict[str, list[Row]]:
    """Which of *items* an open recall keeps where they are: ID -> one row for each such recall, like those of :func:`holds_on`.

    *ended*: also those that have an outcome by now.
    """
    found: dict[str, list[Row]] = {}
    for shop in dict.fromkeys(item[:2] for item in items if ids.is_valid(item) and item[2] in "LGF"):
        mine = [item for item in items if item.startswith(shop)]
        for recall in open_recalls(book, shop):
            for item, how in _kept_by(book, recall, mine, ended).items():
                found.setdefault(item, []).append(_row(book, recall, item, how))
    return found


def _kept_by(book: Book, recall: Row, items: Sequence[str], ended: bool) -> dict[str, str]:
    """Which of *items* the recall keeps, and what they are to it: ``suspected``, or the tier."""
    suspected = set(suspected_by(book, recall))
    kept = {item: "suspected" for item in items if item in suspected}
    for some, marks in parts(item for item in items if item[2] == "F"):
        for item, tier in book.tuples(
            f"SELECT item, tier FROM recall_item WHERE item IN ({marks}) AND shop = ? AND seq = ?",
            *some, recall.shop, recall.seq,
        ):  # fmt: skip
            if tier in STAY:
                kept.setdefault(item, tier)
    if ended:
        return kept
    became = outcomes_by(book, recall, [item for item in kept if item[2] == "F"], ALWAYS)
    return {item: how for item, how in kept.items() if became.get(item, OPEN) == OPEN}


def _row(book: Book, recall: Row, item: str, how: str) -> Row:
    why = f"Recall of {recall.suspect}, open: {how}"
    return Row(
        shop=recall.shop, seq=recall.seq, n=0, item=item, lot="", supplier="", why=why, at=recall.at, by_rule=0,
        who=_opened_by(book, recall), recall=recall.seq,
    )  # fmt: skip


def _opened_by(book: Book, recall: Row) -> str:
    def look() -> str:
        text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", recall.shop, recall.seq)
        event = Event.from_text(text)
        return event.signed_by or event.who

    return while_unchanged(book, recall.shop, f"who opened {recall.seq}", look)
