"""What the desk wants to know of a tire, read for many of them in a few queries."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field

from fillbook.trace.book import on_hold, queries, suspects
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, times
from fillbook.trace.core.exposure import Link

#: States in which a filled tire no longer cures for the desk: it was released, or is gone.
OVER = ("released", "dispatched", "returned", "reclaimed", "scrapped")


@dataclass
class Tire:
    """One tire: its fill and facts (None where there are none), its touches by time, the open holds on it, and what it was made of."""

    fill: Row | None = None
    facts: Row | None = None
    touches: list[Row] = field(default_factory=list)
    holds: list[Row] = field(default_factory=list)
    own: list[Link] = field(default_factory=list)

    def state_at(self, at: int) -> str:
        """As `queries.state_at`; empty before the tire existed."""
        return next((row.state for row in reversed(self.touches) if row.at <= at), "")

    def counts_until(self, now: int) -> int:
        """Until when its hours count, at most *now*: once it is released or has left, nobody measures them and nothing depends on them."""
        end = None
        for row in self.touches:
            if row.at > now:
                break
            if row.state in OVER:
                end = row.at if end is None else end
            else:
                end = None
        return now if end is None else end

    def stays(self) -> list[tuple[str, int, int | None]]:
        """As `queries.stays`."""
        return queries.stays_of(self.touches)


class Tires:
    """Tires by their compact IDs, each read once; those that were named together (:meth:`look_up`) in the same queries."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._known: dict[str, Tire] = {}
        self._cups: dict[str, tuple[int, int, list[Row]]] = {}
        self._verdicts: dict[tuple[str, int], Row | None] = {}

    def __getitem__(self, tire: str) -> Tire:
        self.look_up([tire])
        return self._known[tire]

    def look_up(self, tires: Iterable[str]) -> None:
        """Read what is not known yet of *tires*."""
        new = {tire: Tire() for tire in dict.fromkeys(tires) if tire not in self._known}
        for some in queries.chunks(list(new)):
            among = f"item IN ({', '.join('?' * len(some))})"
            for row in self.book.rows(f"SELECT * FROM fill WHERE {among}", *some):
                new[row["item"]].fill = row
            for row in self.book.rows(f"SELECT * FROM tire WHERE {among}", *some):
                new[row["item"]].facts = row
            for row in self.book.rows(
                f"SELECT item, state, coalesce(place, '') AS place, at FROM touch WHERE {among} AND state IS NOT NULL "
                "ORDER BY item, at, rank, seq, n",
                *some,
            ):
                new[row["item"]].touches.append(row)
            for tire in on_hold.held_among(self.book, some):
                new[tire].holds = on_hold.holds_on(self.book, tire)
            for link in suspects.made_of_each(self.book, some):
                new[link.child].own.append(link)
        self._known |= new

    def cup_covering(self, fill: Row) -> Row | None:
        """As `queries.cup_covering`; a line's cups are read once for all fills that are known by then."""
        first, last, cups = self._cups.get(fill.line, (1, 0, []))
        if not first <= fill.at <= last:
            fills = [one.fill.at for one in self._known.values() if one.fill and one.fill.line == fill.line]
            first, last = min([fill.at, *fills]), max([fill.at, *fills])
            cups = self.book.rows(
                "SELECT * FROM cup WHERE line = ? AND at <= ? AND at >= coalesce((SELECT max(at) FROM cup WHERE line = ? AND at <= ?), ?) "
                "ORDER BY at, seq",
                fill.line, last, fill.line, first, first,
            )  # fmt: skip
            self._cups[fill.line] = (first, last, cups)
        before = bisect_right(cups, fill.at, key=lambda cup: cup.at)
        return cups[before - 1] if before else None

    def cup_verdict(self, cup: str, at: int) -> Row | None:
        """As `queries.cup_verdict`."""
        if (cup, at) not in self._verdicts:
            self._verdicts[(cup, at)] = queries.cup_verdict(self.book, cup, at)
        return self._verdicts[(cup, at)]


#: What a tire is found by without this book: what its customer reads on the machine, the rim and the invoice.
FOUND_BY = (
    "customer", "site", "unit", "position", "size", "tire_serial", "wheel_serial", "service_number", "dispatched",
)  # fmt: skip


def found_by(book: Book, tires: Iterable[str]) -> dict[str, dict[str, str]]:
    """``FOUND_BY`` of each of *tires* (compact IDs), in two queries for five hundred of them.

    ``dispatched``: when it last left the shop, ISO 8601 in UTC. What the book does not know is empty.
    """
    found = {
        tire: {**dict.fromkeys(FOUND_BY, ""), "service_number": ids.service_number(tire)} for tire in tires
    }
    for some in queries.chunks(list(found)):
        among = f"item IN ({', '.join('?' * len(some))})"
        for item, *facts in book.tuples(
            f"SELECT item, customer, site, unit, position, size, serial, wheel_serial FROM tire WHERE {among}",
            *some,
        ):
            found[item] |= zip(FOUND_BY[:7], facts, strict=True)
        for item, at in book.tuples(f"SELECT item, max(at) FROM dispatch WHERE {among} GROUP BY item", *some):
            found[item]["dispatched"] = times.utc_text(at)
    return found
