"""What holds a suspect, found in the book: exactly, or cut where so little is left that it can't matter to a screen.

Items are numbers here. Nothing crosses from one shop to another, and a shop's numbers lie in one range, so a book's size does not
matter to a shop's recall; see :meth:`journal.Chain.number_items`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from fillbook.trace.book.in_parts import numbers, parts
from fillbook.trace.book.opening import Book
from fillbook.trace.book.suspects import Suspect
from fillbook.trace.core.exposure import CURED_STREAMS
from fillbook.trace.core.onepass import Pass, Row

LINK = "ord, child, draw, stream, parent, least_g, best_g, most_g, cut_at, together"


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


def unknown_links(book: Book, name: str = "link") -> str:
    """The links as a table, by *name*, for a query of those from unknown origin by when that was cut: SQLite, left alone, walks through all of
    them, since it takes unknown origin for a parent like any other.
    """
    return f"link {name}" if book.postgres else f"link AS {name} INDEXED BY link_unknown"


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
    reached, args = _reached(book, suspect, members)
    held.rows(
        book.execute(
            f"{reached} SELECT k.ord, k.child, k.draw, k.stream, k.parent, k.least_g, k.best_g, k.most_g, k.cut_at, k.together "
            "FROM reached r CROSS JOIN link k WHERE k.child = r.num ORDER BY k.ord, k.child, k.draw, k.stream",
            args,
        )
    )
    held.finish()
    return Reach(held, 0.0, members)


def _reached(book: Book, suspect: Suspect, members: Sequence[int]) -> tuple[str, list[int]]:
    """The table of all that the suspect's material can have reached, by any path, as the beginning of a query."""
    marks = ", ".join("?" * len(members))
    sides = ", ".join(f"'{s}'" for s in _unknown_streams(suspect, True))
    low, high = range_of(book, suspect.shop)
    return (
        f"WITH RECURSIVE reached(num) AS (SELECT num FROM item WHERE num IN ({marks}) "
        f"UNION SELECT child FROM {unknown_links(book)} WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? AND stream IN ({sides}) "
        "UNION SELECT k.child FROM reached r CROSS JOIN link k WHERE k.parent = r.num)",
        [*members, min(suspect.since, suspect.made), low, high],
    )


def is_few(book: Book, suspect: Suspect, most: int) -> bool:
    """Whether the suspect's material can have reached at most *most* items."""
    reached, args = _reached(book, suspect, sorted(numbers(book, suspect.items).values()))
    found = book.value(
        f"SELECT count(*) FROM ({reached} SELECT num FROM reached LIMIT ?) few", *args, most + 1
    )
    return int(found) <= most


def straight(book: Book, suspect: Suspect, *, unknown: bool = True) -> Reach:
    """What the suspect went straight into, and (where *unknown*) what holds unknown material of the liquid sides that can be the
    suspect's: all that counts for a defect of setting, as :func:`exact` finds it without regrind, and no walk through anything.
    """
    held = begin(book, suspect, False)
    members = tuple(sorted(held.suspects))
    marks, args = ", ".join("?" * len(members)), [*members, *members]
    sql = (
        f"SELECT num FROM item WHERE num IN ({marks}) UNION SELECT child FROM link WHERE parent IN ({marks})"
    )
    if unknown and (streams := _unknown_streams(suspect, False)):
        sides = ", ".join(f"'{s}'" for s in streams)
        sql += (
            f" UNION SELECT child FROM {unknown_links(book)} WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? "
            f"AND stream IN ({sides})"
        )
        args += [min(suspect.since, suspect.made), *range_of(book, suspect.shop)]
    held.rows(
        book.execute(
            f"SELECT {LINK} FROM link WHERE child IN ({sql}) ORDER BY ord, child, draw, stream", args
        )
    )
    held.finish()
    return Reach(held, 0.0, members)


def again(book: Book, suspect: Suspect, items: Iterable[int], before: Reach) -> Pass:
    """What *items* hold of *suspect*, through regrind, as :func:`exact` finds it, by way of what was reached *before* alone: of a suspect
    with the same members who can be in no more of what is of unknown origin.
    """
    held = begin(book, suspect, True)
    rows: list[Row] = []
    level, seen = list(items), set(items)
    while level:
        parents: dict[int, None] = {}
        for part, marks in parts(level):
            found = book.tuples(
                f"SELECT {LINK} FROM link WHERE child IN ({marks}) ORDER BY child, draw, stream, parent",
                *part,
            )
            rows += found
            parents.update(dict.fromkeys(row[4] for row in found))
        level = [parent for parent in parents if parent in before.held.items and parent not in seen]
        seen.update(level)
    rows.sort(key=lambda row: row[:4])
    held.rows(rows)
    held.finish()
    return held


def bounded(book: Book, suspect: Suspect, *, through: bool = True, cut: float) -> Reach:
    """As :func:`exact`, but what was made from a tire that holds less than *cut* (upper bound) is not looked at.

    What is left out of a tire that way is at most s·cut/(1 − s), s being the highest share of regrind the shop ever ran: a tire gets
    the share s from batches; a batch, as a mean of tires, lacks at most what one of them lacks, or *cut* where that one was not
    followed; so r ≤ s·(cut + r). Batches are always followed. Where s is 1 there is no such bound, and the answer is exact; so it is where
    what stays in tube and gun goes into the next tire, which may then hold more regrind than was ever run.
    """
    share = (book.value("SELECT max(mix_e4) FROM line_act WHERE shop = ?", suspect.shop) or 0) / 10_000
    tubes = "SELECT 1 FROM limit_set WHERE shop = ? AND name = 'mixed_content_high' AND value > 0 LIMIT 1"
    if share >= 1 or book.value(tubes, suspect.shop):
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
            f"SELECT {LINK} FROM link WHERE child IN (SELECT child FROM {unknown_links(book)} WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? "
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
    found = left = 0.0
    back = _Back(book, item, cut, members)
    for number, share, whole, links in back:
        if number in members:
            found += share
        elif links is None:
            left += share
        else:
            back.give([(parent, share * best / whole) for parent, best in links if parent and best])
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
    shares: dict[int, float] = {}
    grams: dict[tuple[int, int], int] = {}
    traces = 0
    back = _Back(book, item, cut)
    for number, share, whole, links in back:
        if links is None:
            traces += 1
            continue
        shares[number] = share
        for parent, best in links:
            if parent and best:
                grams[parent, number] = grams.get((parent, number), 0) + best
        back.give([(parent, share * best / whole) for parent, best in links if parent and best])
    del shares[item]
    return Kin(shares, grams, traces)


def on_from(book: Book, item: int, cut: float) -> Kin:
    """What was made from *item*, by any path: the share of each that came from it. What holds less than *cut* of it is not followed."""
    onward = _Onward(book)
    due = {item: 1.0}
    while due:  # again with what turned out to hold enough only when all it was made from was known
        onward.read(due, cut)
        shares, due = onward.reckon(item, cut)
    del shares[item]
    kept = {child: share for child, share in shares.items() if share >= cut}
    grams: dict[tuple[int, int], int] = {}
    for child in kept:
        for _, _, parent, best in onward.links[child]:
            if best:
                grams[parent, child] = grams.get((parent, child), 0) + best
    return Kin(kept, grams, len(shares) - len(kept))


def origins(book: Book, item: int, cut: float) -> tuple[dict[int, float], float]:
    """What *item* goes back to, by number (0 is unknown origin), and the share that was not followed: together they are 1.

    What holds less than *cut* of it is not followed further back. Later items come first, so each is complete when its turn comes.
    """
    found: dict[int, float] = {}
    left = 0.0
    back = _Back(book, item, cut)
    for number, share, whole, links in back:
        if links is None:
            left += share
            continue
        if not whole:
            where = 0 if links else number
            found[where] = found.get(where, 0.0) + share
            continue
        sums: dict[int, int] = {}
        for parent, best in links:
            if best:
                sums[parent] = sums.get(parent, 0) + best
        if unknown := sums.pop(0, 0):
            found[0] = found.get(0, 0.0) + share * unknown / whole
        back.give([(parent, share * best / whole) for parent, best in sums.items()])
    return found, left


class _Back:
    """From an item back through what it was made from, later items first, so that each is complete when its turn comes.

    Gives each item's number with its share, all its grams, and its links (parent, grams best); None for these where it is not
    followed, holding less than *cut*. The walk goes on to what is given a share meanwhile. *ends* are not followed, either. What is
    sure to be followed is read ahead, generation by generation: asking the database item by item would take most of the time.
    """

    def __init__(self, book: Book, item: int, cut: float, ends: Iterable[int] = ()) -> None:
        self.book, self.cut, self.item, self.ends = book, cut, item, frozenset(ends)
        self.shares: dict[int, float] = {item: 1.0}
        # of those read ahead: all its grams, and its links
        self.links: dict[int, tuple[int, list[tuple[int, int]]]] = {}
        # the latest order key of its links, None for what has none
        self.last: dict[int, int | None] = {item: 0}
        self.waiting: list[tuple[int, int]] = [(0, item)]

    def give(self, parts: Iterable[tuple[int, float]]) -> None:
        """Each parent gets its share, and its turn."""
        shares, last = self.shares, self.last
        for parent, share in parts:
            before = shares.get(parent)
            if before is None:
                shares[parent] = share
                made = last[parent]
                heappush(self.waiting, (2**62 if made is None else -made, parent))
            else:
                shares[parent] = before + share

    def __iter__(self) -> Iterator[tuple[int, float, int, list[tuple[int, int]] | None]]:
        while self.waiting:
            _, number = heappop(self.waiting)
            share = self.shares.pop(number)
            if number in self.ends or (share >= self.cut and self.last[number] is None):
                yield number, share, 0, []
            elif share < self.cut and number != self.item:
                yield number, share, 0, None
            else:
                if number not in self.links:
                    self._read(number, share)
                yield number, share, *self.links.pop(number)

    def _read(self, due: int, share: float) -> None:
        """The links of *due* and of all that already has enough to be followed, or gets it from these; and when their parents were made."""
        level = {due: share}
        for _, number in self.waiting:
            if self.shares[number] >= self.cut and self._unread(number):
                level[number] = self.shares[number]
        sums: dict[int, float] = {}
        parents: set[int] = set()
        while level:
            found: dict[int, list[tuple[int, int]]] = {item: [] for item in level}
            self.last.update(dict.fromkeys(level))
            for part, marks in parts(level):
                for child, last, parent, best in self.book.tuples(
                    f"SELECT child, ord, parent, best_g FROM link WHERE child IN ({marks}) ORDER BY child, draw, stream, parent",
                    *part,
                ):
                    found[child].append((parent, best))
                    before = self.last[child]
                    if before is None or last > before:
                        self.last[child] = last
            more: set[int] = set()
            for child, links in found.items():
                whole = sum([best for _, best in links])
                self.links[child] = whole, links
                parents.update([parent for parent, _ in links])
                held = level[child] / whole if whole else 0.0
                if not held:
                    continue
                enough = self.cut / held / 8  # what little it gives is not looked at so closely
                for parent, best in links:
                    if best >= enough and parent:
                        sums[parent] = sums.get(parent, 0.0) + held * best
                        more.add(parent)
            level = {
                parent: sums[parent]
                for parent in more
                if sums[parent] + self.shares.get(parent, 0.0) >= self.cut and self._unread(parent)
            }
        self._ask_last([parent for parent in parents if parent and parent not in self.last])

    def _unread(self, number: int) -> bool:
        return number not in self.links and number not in self.ends and self.last.get(number, 0) is not None

    def _ask_last(self, items: list[int]) -> None:
        self.last.update(dict.fromkeys(items))
        for part, marks in parts(items):
            self.last.update(
                self.book.tuples(f"SELECT child, ord FROM whole WHERE child IN ({marks})", *part)
            )


class _Onward:
    """What was made from an item, read ahead generation by generation as far as it is sure to be followed."""

    def __init__(self, book: Book) -> None:
        self.book = book
        # of each child: the latest order key of its links, and all its grams
        self.about: dict[int, tuple[int, int]] = {}
        # and its links to what is followed: draw, stream, parent, grams best
        self.links: dict[int, list[tuple[int, str, int, int]]] = {}
        self.followed: set[int] = set()

    def read(self, level: dict[int, float], cut: float) -> None:
        """What was made from *level*, each of which holds so much, and from all that is sure to get enough of it to be followed."""
        about, links = self.about, self.links
        sums: dict[int, float] = {}
        while level:
            self.followed.update(level)
            more: dict[int, float] = {}
            for part, marks in parts(level):
                for parent, draw, stream, child, best, last, whole in self.book.tuples(
                    "SELECT k.parent, k.draw, k.stream, k.child, k.best_g, w.ord, w.best_g "
                    f"FROM link k JOIN whole w ON w.child = k.child WHERE k.parent IN ({marks})",
                    *part,
                ):
                    if child not in about:
                        about[child], links[child] = (last, whole), []
                    links[child].append((draw, stream, parent, best))
                    more[child] = more.get(child, 0.0) + level[parent] * best
            level = {}
            for child, given in more.items():
                whole = about[child][1]
                held = sums[child] = sums.get(child, 0.0) + (given / whole if whole else 0.0)
                if held >= cut and child not in self.followed:
                    level[child] = held

    def reckon(self, item: int, cut: float) -> tuple[dict[int, float], dict[int, float]]:
        """The share of *item* in each, as far as read, earlier ones first; and of those that hold enough to be followed and were not."""
        shares, due = {item: 1.0}, {}
        for _, child, whole in sorted((last, child, whole) for child, (last, whole) in self.about.items()):
            links, grams = self.links[child], 0.0
            if len(links) > 1:
                links.sort()  # as they lie in the book, so that a sum is the same to the last bit
            for _, _, parent, best in links:
                share = shares.get(parent, 0.0)
                if share >= cut:
                    grams += share * best
            share = shares[child] = grams / whole if whole else 0.0
            if share >= cut and child not in self.followed:
                due[child] = share
        return shares, due
