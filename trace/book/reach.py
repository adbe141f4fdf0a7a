"""What holds a suspect, found in the book: exactly, or cut where so little is left that it can't matter to a screen.

Items are numbers here. Nothing crosses from one shop to another, and a shop's numbers lie in one range, so a book's size does not
matter to a shop's recall; see :meth:`journal.Chain.number_items`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from heapq import heappop, heappush

from fillbook.trace.book.opening import Book
from fillbook.trace.book.suspects import Suspect
from fillbook.trace.core.exposure import CURED_STREAMS
from fillbook.trace.core.onepass import Pass, Row

LINK = "ord, child, draw, stream, parent, least_g, best_g, most_g, cut_at"
CHUNK = 500


@dataclass
class Reach:
    """A finished pass; ``left_out``: the fraction of any fill by which best and upper may be too low, 0 where it is exact."""

    held: Pass
    left_out: float
    members: tuple[int, ...]


def begin(book: Book, suspect: Suspect, through: bool) -> Pass:
    members = numbers(book, suspect.items)

    def may_hold(stream: str, cut_at: int | None) -> bool:
        if stream in ("A", "B"):  # what stood in our own hoses
            return stream in suspect.streams and (cut_at is None or cut_at >= suspect.since)
        return cut_at is None or cut_at >= suspect.made

    return Pass([members[code] for code in suspect.items], may_hold, through_regrind=through)


def numbers(book: Book, codes: Iterable[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    wanted = list(codes)
    for start in range(0, len(wanted), CHUNK):
        part = wanted[start : start + CHUNK]
        marks = ", ".join("?" * len(part))
        found.update(book.tuples(f"SELECT code, num FROM item WHERE code IN ({marks})", *part))
    return found


def range_of(book: Book, shop: str) -> tuple[int, int]:
    """The first and last number that an item of *shop* can have."""
    ordinal = book.value("SELECT ordinal FROM chain WHERE shop = ?", shop)
    return ordinal << 40, (ordinal + 1) << 40


def _unknown_streams(suspect: Suspect, through: bool) -> tuple[str, ...]:
    return (
        tuple(dict.fromkeys((*suspect.streams, "R", "G")))
        if through
        else tuple(set(suspect.streams) - set(CURED_STREAMS))
    )


def exact(book: Book, suspect: Suspect, *, through: bool = True) -> Reach:
    """Everything that holds the suspect by any path, or unknown material that can be the suspect's."""
    held = begin(book, suspect, through)
    members = tuple(sorted(held.suspects))
    streams = _unknown_streams(suspect, True)
    marks, sides = ", ".join("?" * len(members)), ", ".join(f"'{s}'" for s in streams)
    low, high = range_of(book, suspect.shop)
    since = min(suspect.since, suspect.made)
    held.rows(
        book.execute(
            f"WITH RECURSIVE reached(num) AS (SELECT num FROM item WHERE num IN ({marks}) "
            f"UNION SELECT child FROM link WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? AND stream IN ({sides}) "
            "UNION SELECT k.child FROM reached r CROSS JOIN link k WHERE k.parent = r.num) "
            "SELECT k.ord, k.child, k.draw, k.stream, k.parent, k.least_g, k.best_g, k.most_g, k.cut_at "
            "FROM reached r CROSS JOIN link k WHERE k.child = r.num ORDER BY k.ord, k.child, k.draw, k.stream",
            (*members, since, low, high),
        )
    )  # fmt: skip
    held.finish()
    return Reach(held, 0.0, members)


def bounded(book: Book, suspect: Suspect, *, through: bool = True, cut: float) -> Reach:
    """As :func:`exact`, but what was made from a tire that holds less than *cut* (upper bound) is not looked at.

    What is left out of a tire that way is at most s·cut/(1 − s), s being the highest share of regrind the shop ever ran: a tire gets
    the share s from batches; a batch, as a mean of tires, lacks at most what one of them lacks, or *cut* where that one was not
    followed; so r ≤ s·(cut + r). Batches are always followed. Where s is 1 there is no such bound, and the answer is exact.
    """
    share = (book.value("SELECT max(mix_e4) FROM line_act WHERE shop = ?", suspect.shop) or 0) / 10_000
    if share >= 1:
        return exact(book, suspect, through=through)
    held = begin(book, suspect, through)
    members = tuple(sorted(held.suspects))
    low, high = range_of(book, suspect.shop)
    sides = ", ".join(f"'{s}'" for s in _unknown_streams(suspect, through)) or "''"
    seen: set[int] = set()
    waiting: list[tuple[int, int, list[Row]]] = []

    def wait_for(rows: Iterable[Row]) -> None:
        """Rows of whole children, each child's behind one another."""
        mine: list[Row] = []
        for row in rows:
            if mine and row[1] != mine[0][1]:
                _wait(mine, seen, waiting)
                mine = []
            mine.append(row)
        if mine:
            _wait(mine, seen, waiting)

    def made_from(item: int) -> Iterable[Row]:
        return book.execute(
            f"SELECT {LINK} FROM link WHERE child IN (SELECT child FROM link WHERE parent = ?) ORDER BY child, draw, stream, parent",
            (item,),
        )

    wait_for(
        book.execute(
            f"SELECT {LINK} FROM link WHERE child IN (SELECT child FROM link WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? "
            f"AND stream IN ({sides})) ORDER BY child, draw, stream, parent",
            (min(suspect.since, suspect.made), low, high),
        )
    )  # fmt: skip
    for item in members:
        wait_for(made_from(item))
    while waiting:
        _, child, rows = heappop(waiting)
        held.rows(rows)
        if rows[0][3] == "G" or held.value(child).upper >= cut:
            wait_for(made_from(child))
    held.finish()
    return Reach(held, share * cut / (1 - share) if through else 0.0, members)


def _wait(mine: list[Row], seen: set[int], waiting: list[tuple[int, int, list[Row]]]) -> None:
    child = mine[0][1]
    if child not in seen:
        seen.add(child)
        heappush(waiting, (max(row[0] for row in mine), child, mine))


def share_in(book: Book, item: int, members: set[int], cut: float) -> tuple[float, float]:
    """The share of *item* that is one of *members*, by any path, and the share that was not followed: what holds less than *cut* of it.

    Numbers, not IDs. The true share lies between the first and the sum of both.
    """
    held: dict[int, float] = {item: 1.0}
    found = left = 0.0
    back = _Back(book, item)
    for number, rows in back:
        share = held.pop(number)
        if number in members:
            found += share
            continue
        if share < cut:
            left += share
            continue
        whole = sum(row[2] for row in rows)
        for _, parent, best in rows:
            if not (parent and best):
                continue
            if parent in held:
                held[parent] += share * best / whole
                continue
            held[parent] = share * best / whole
            back.add(parent)
    return found, left


@dataclass(frozen=True)
class Kin:
    """What is related to an item one way, by number: the share of each, the grams between them, and how many were not followed."""

    shares: dict[int, float]
    grams: dict[tuple[int, int], int]  # (parent, child) -> grams, best
    traces: int


def back_to(book: Book, item: int, cut: float) -> Kin:
    """What *item* came from, by any path: the share of it that came by way of each, batches and fills on the way among them.

    What holds less than *cut* of it is counted and not followed.
    """
    shares: dict[int, float] = {item: 1.0}
    grams: dict[tuple[int, int], int] = {}
    traces = 0
    back = _Back(book, item)
    for number, rows in back:
        share = shares[number]
        if share < cut:
            traces += 1
            continue
        whole = sum(row[2] for row in rows)
        for _, parent, best in rows:
            if not (parent and best):
                continue
            grams[parent, number] = grams.get((parent, number), 0) + best
            if parent not in shares:
                shares[parent] = 0.0
                back.add(parent)
            shares[parent] += share * best / whole
    del shares[item]
    return Kin({number: share for number, share in shares.items() if share >= cut}, grams, traces)


def on_from(book: Book, item: int, cut: float) -> Kin:
    """What was made from *item*, by any path: the share of each that came from it. What holds less than *cut* of it is not followed."""
    shares: dict[int, float] = {item: 1.0}
    grams: dict[tuple[int, int], int] = {}
    traces = 0
    waiting: list[tuple[int, int]] = []
    made: dict[int, list[tuple[int, int, int]]] = {}
    seen = {item}

    def wait_for(parent: int) -> None:
        for (child,) in book.tuples("SELECT DISTINCT child FROM link WHERE parent = ?", parent):
            if child not in seen:
                seen.add(child)
                made[child] = book.tuples("SELECT ord, parent, best_g FROM link WHERE child = ?", child)
                heappush(waiting, (max(row[0] for row in made[child]), child))

    wait_for(item)
    while waiting:  # earlier items first: all that one is made of stands by then
        _, number = heappop(waiting)
        rows = made.pop(number)
        whole = sum(row[2] for row in rows)
        share = sum(shares.get(parent, 0.0) * best for _, parent, best in rows) / whole if whole else 0.0
        if share < cut:
            traces += 1
            continue
        shares[number] = share
        for _, parent, best in rows:
            if parent in shares and best:
                grams[parent, number] = grams.get((parent, number), 0) + best
        wait_for(number)
    del shares[item]
    return Kin(shares, grams, traces)


class _Back:
    """From an item back through what it was made from, later items first, so that each is complete when its turn comes.

    Gives each item's number with its links (order, parent, grams best); the walk goes on to what is added meanwhile.
    """

    def __init__(self, book: Book, item: int) -> None:
        self.book = book
        self.waiting: list[tuple[int, int, list[tuple[int, int, int]]]] = []
        self.add(item)

    def add(self, item: int) -> None:
        links = self.book.tuples("SELECT ord, parent, best_g FROM link WHERE child = ?", item)
        heappush(self.waiting, (-max((link[0] for link in links), default=-(2**62)), item, links))

    def __iter__(self) -> Iterator[tuple[int, list[tuple[int, int, int]]]]:
        while self.waiting:
            _, item, links = heappop(self.waiting)
            yield item, links


def origins(book: Book, item: int, cut: float) -> tuple[dict[int, float], float]:
    """What *item* goes back to, by number (0 is unknown origin), and the share that was not followed: together they are 1.

    What holds less than *cut* of it is not followed further back. Later items come first, so each is complete when its turn comes.
    """
    held: dict[int, float] = {item: 1.0}
    found: dict[int, float] = {}
    left = 0.0
    back = _Back(book, item)
    for number, rows in back:
        share = held.pop(number, 0.0)
        if not share:
            continue
        if share < cut and number != item:
            left += share
            continue
        whole = sum(row[2] for row in rows)
        if not whole:
            where = 0 if rows else number
            found[where] = found.get(where, 0.0) + share
            continue
        sums: dict[int, int] = {}
        for _, parent, best in rows:
            if best:
                sums[parent] = sums.get(parent, 0) + best
        for parent, best in sums.items():
            part = share * best / whole
            if not parent:
                found[0] = found.get(0, 0.0) + part
            elif parent in held:
                held[parent] += part
            else:
                held[parent] = part
                back.add(parent)
    return found, left
