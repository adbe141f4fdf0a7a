"""All that a recall asks of the links, in one pass of additions over them.

:mod:`exposure` says what is meant, function by function, over a genealogy that is held in memory. A recall of a lot reaches half
of all later tires, so here every group of links is looked at once, in order, and forgotten: what is kept is a few numbers per
item reached. Items are named by whatever stands in the rows, numbers of a database or IDs. A test holds the two against each
other.

Rows are (ord, child, draw, stream, parent, least_g, best_g, most_g, cut_at, together), those of one group (child, draw, stream; a
batch is one group, and so are the streams of a draw that are weighed together) behind one another, and every child after what it
is made from.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Sequence
from math import log
from typing import Any

from fillbook.trace.core.exposure import ALL, CURED_STREAMS, NOTHING, Grams, Interval

Name = Hashable
Row = Sequence[Any]
STREAM, PARENT, LEAST, BEST, MOST, CUT_AT, TOGETHER = 3, 4, 5, 6, 7, 8, 9


class Held:
    """What one item holds of the suspects so far: sums of grams, divided by ``total`` once they are asked for."""

    __slots__ = (
        "best",
        "came_from",
        "direct_best",
        "direct_least",
        "direct_most",
        "every_way",
        "given",
        "given_regrind",
        "lower",
        "share",
        "strength",
        "total",
        "unknown",
        "upper",
        "value",
        "ways",
    )

    def __init__(self) -> None:
        self.lower = self.best = self.upper = self.every_way = 0.0
        self.total = self.given = self.given_regrind = self.unknown = 0
        self.direct_least = self.direct_best = self.direct_most = 0
        self.ways: dict[Name, list[int]] | None = None  # parent that holds some -> grams best, most
        self.value: Interval | None = None  # what it holds, once it is complete
        self.share = 0.0  # the same by every way, best: for the account
        self.strength: tuple[int, float] | None = None  # of the strongest way here
        self.came_from: Name = None

    @property
    def direct(self) -> Grams:
        return Grams(self.direct_least, self.direct_best, self.direct_most)


class Pass:
    """One pass for a set of *suspects*; *unknown* is how rows name unknown origin.

    *unknown_may_hold* says of a row from unknown origin, by its stream and the time it was cut by, whether it can be the
    suspects'. With *through_regrind* false only what came straight from a suspect counts, as in :func:`exposure.intervals`.
    """

    def __init__(
        self,
        suspects: Collection[Name],
        unknown_may_hold: Callable[[str, int | None], bool],
        *,
        through_regrind: bool = True,
        unknown: Name = 0,
    ) -> None:
        self.suspects = frozenset(suspects)
        self.may_hold = unknown_may_hold
        self.through = through_regrind
        self.unknown = unknown
        self.items: dict[Name, Held] = {}
        for name in self.suspects:
            item = self.items[name] = Held()
            item.value, item.share, item.strength = ALL, 1.0, (0, 0.0)

    def rows(self, rows: Iterable[Row]) -> None:
        """Take *rows* in, group by group."""
        group: list[Row] = []
        child = draw = stream = None
        for row in rows:
            if row[1] != child or (row[3] != stream and not row[9]) or (row[2] != draw and stream != "G"):
                if group:
                    self.group(group)
                group = [row]
                _, child, draw, stream = row[:4]
            else:
                group.append(row)
        if group:
            self.group(group)

    def group(self, group: list[Row]) -> None:
        """Take one group in: all links of one draw of a child on one stream, or together, or of a batch."""
        child = group[0][1]
        item = self.items.get(child)
        if item is None:
            item = self.items[child] = Held()
        items, suspects, unknown = self.items, self.suspects, self.unknown
        found: list[Interval] = []
        holding = direct = False
        grams, every_way = 0, 0.0
        for row in group:
            parent, best = row[PARENT], row[BEST]
            grams += best
            if parent == unknown:
                item.unknown += best
                counts = self.through or row[STREAM] not in CURED_STREAMS
                value = _MAY if counts and self.may_hold(row[STREAM], row[CUT_AT]) else NOTHING
            else:
                source = items.get(parent)
                if source is None:
                    found.append(NOTHING)
                    continue
                held = source.value or self._complete(source)
                if parent in suspects:
                    direct = True
                value = held if self.through or parent in suspects else NOTHING
                if source.share:
                    every_way += best * source.share
                    source.given += best
                    if row[STREAM] == "R":
                        source.given_regrind += best
                if value.upper and row[MOST]:
                    if item.ways is None:
                        item.ways = {}
                    way = item.ways.get(parent)
                    if way is None:
                        item.ways[parent] = [best, row[MOST]]
                    else:
                        way[0] += best
                        way[1] += row[MOST]
            if value.upper:
                holding = True
            found.append(value)
        item.total += grams
        item.every_way += every_way
        if not holding or child in suspects:
            return
        if len(group) == 1:
            (value,) = found
            item.lower += grams * value.lower
            item.best += grams * value.best
            item.upper += grams * value.upper
        else:
            self._spread(item, group, found, grams)
        if direct:
            self._direct(item, group, grams)

    def _spread(self, item: Held, group: list[Row], found: list[Interval], grams: int) -> None:
        """Start at the leasts, give the rest to the parents of highest (lowest) exposure up to their mosts."""
        lower = upper = 0.0
        rest = grams
        for row, value in zip(group, found, strict=True):
            lower += row[LEAST] * value.lower
            upper += row[LEAST] * value.upper
            item.best += row[BEST] * value.best
            rest -= row[LEAST]
        if rest:
            rooms = [row[MOST] - row[LEAST] for row in group]
            left = rest
            for share, room in sorted(zip([v.lower for v in found], rooms, strict=True)):
                given = room if room < left else left
                lower += given * share
                left -= given
                if not left:
                    break
            left = rest
            for share, room in sorted(zip([v.upper for v in found], rooms, strict=True), reverse=True):
                given = room if room < left else left
                upper += given * share
                left -= given
                if not left:
                    break
        item.lower += lower
        item.upper += upper

    def _direct(self, item: Held, group: list[Row], grams: int) -> None:
        least = best = most = outside_least = outside_most = 0
        for row in group:
            if row[PARENT] in self.suspects:
                least += row[LEAST]
                best += row[BEST]
                most += row[MOST]
            else:
                outside_least += row[LEAST]
                outside_most += row[MOST]
        item.direct_least += max(least, grams - outside_most)
        item.direct_best += best
        item.direct_most += min(most, grams - outside_least)

    def value(self, name: Name) -> Interval:
        """What *name* holds; once asked for it is taken as complete."""
        item = self.items.get(name)
        return NOTHING if item is None else item.value or self._complete(item)

    def _complete(self, item: Held) -> Interval:
        found = NOTHING
        if item.total:
            item.share = min(1.0, item.every_way / item.total)
            if item.upper:
                best = min(1.0, item.best / item.total)
                found = Interval(
                    min(item.lower / item.total, best), best, max(best, min(1.0, item.upper / item.total))
                )
        item.value = found
        if item.ways:
            self._way(item)
        return found

    def _way(self, item: Held) -> None:
        """The strongest way here: greatest product of fractions; links that hold something at best before those that only may."""
        strongest: tuple[int, float] | None = None
        for parent, (best, most) in sorted((item.ways or {}).items(), key=str):
            before = self.items[parent].strength
            if before is None:
                continue
            reached = (before[0], before[1] + log(best)) if best else (before[0] - 1, before[1] + log(most))
            if strongest is None or reached > strongest:
                strongest, item.came_from = reached, parent
        if strongest and item.total:
            item.strength = strongest[0], strongest[1] - log(item.total)
        item.ways = None

    def shares(self) -> dict[Name, float]:
        """The fraction of each item that came from the suspects by any path, best; items that hold none are left out."""
        return {name: item.share for name, item in self.items.items() if item.share}

    def finish(self) -> None:
        """Every item that was reached is complete."""
        for item in self.items.values():
            if item.value is None:
                self._complete(item)

    def path(self, name: Name) -> tuple[Name, ...]:
        """The strongest way from a suspect to *name*, both named; empty where none leads there."""
        item = self.items.get(name)
        if item is None or item.strength is None:
            return ()
        way = [name]
        while way[-1] not in self.suspects and (before := self.items[way[-1]].came_from) is not None:
            way.append(before)
        return tuple(reversed(way))


_MAY = Interval(0.0, 0.0, 1.0)
