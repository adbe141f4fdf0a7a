"""How much of a suspect is in what: fractions, bounds, and the way back to the totes.

The genealogy is a list of links: child, parent, grams (least, best, most). Each child stands after everything it is made from
(``ord``), so one pass of additions gives the exact exposure x of every child: its grams are Σ best · x(parent), divided by all
its grams. This is forward substitution in x = (I − W)⁻¹ e with W strictly lower triangular. Paths are never summed one by one:
with regrind in every tire there are more of them than there are grams in the shop.

Every function takes the links as rows, in any order, or a :class:`Genealogy` read from them once. Grams are whole, exposures
are fractions of all the grams of a child, between 0 and 1.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from math import log
from operator import attrgetter
from typing import NamedTuple

from fillbook.trace.core.errors import Damaged, Nonsense

UNKNOWN = ""  # the parent of material of unknown origin
CURED_STREAMS = ("R", "G")  # regrind, and what was ground into a batch: cured before it came here

# What follows ord breaks ties, so that sums come out the same, to the last bit, from every database.
_IN_ORDER = attrgetter("ord", "child", "draw", "stream", "parent")


class Link(NamedTuple):
    """What one parent gave to one draw of a child, or to a batch.

    Within one (child, draw, stream), a batch being one group, the ``best_g`` sum to the grams of that group, and 0 ≤ least ≤
    best ≤ most. ``cut_at``
    stands on a parent of unknown origin: the latest second at which that material can have been made. ``together``: 1 where the
    weight of each stream of the draw is not known, only that of all (see :mod:`mixed_zone`); then all its streams are one group.
    """

    ord: int  # a parent's own links have smaller ones than the links it is a parent in
    child: str  # a fill, a batch, a sample cup, or the code of a purge, waste or pump run
    draw: str
    stream: str  # A, B, R of a draw; G what went into a batch
    parent: str  # a tote, a batch, a fill, or UNKNOWN
    least_g: int
    best_g: int
    most_g: int
    cut_at: int | None = None
    together: int = 0


class Interval(NamedTuple):
    """A fraction of a child, with its bounds."""

    lower: float
    best: float
    upper: float


class Grams(NamedTuple):
    """Whole grams, with their bounds."""

    least: int
    best: int
    most: int


NOTHING = Interval(0.0, 0.0, 0.0)
ALL = Interval(1.0, 1.0, 1.0)
NO_GRAMS = Grams(0, 0, 0)


class Genealogy:
    """Links read once: every child with its groups of links (one draw's stream, or all of a draw together), after everything it is made from.

    Raises Damaged where a link's grams are out of order, or where a child has links later than one it is a parent in.
    """

    def __init__(self, links: Iterable[Link]) -> None:
        found: dict[str, dict[tuple[str, str], list[Link]]] = {}
        last: dict[str, int] = {}
        rows = sorted(links, key=_IN_ORDER)
        for row in rows:
            # What went into a batch is one group; unknown pieces only have a draw of their own to keep their dates apart.
            group = ("" if row.stream == "G" else row.draw, "" if row.together else row.stream)
            found.setdefault(row.child, {}).setdefault(group, []).append(row)
            last[row.child] = row.ord
            if not 0 <= row.least_g <= row.best_g <= row.most_g:
                raise Damaged(
                    f"The link from {row.parent or 'unknown origin'} to {row.child} says least {row.least_g} g, best {row.best_g} g, "
                    f"most {row.most_g} g, which are not in order. Derive the links of this book again."
                )
        for row in rows:
            if last.get(row.parent, row.ord - 1) >= row.ord:
                raise Damaged(
                    f"{row.child} holds {row.parent}, but {row.parent} was still being made then. "
                    "Derive the links of this book again, or correct the times of the two."
                )
        self.groups: dict[str, list[list[Link]]] = {
            child: list(found[child].values())
            for child in sorted(found, key=lambda child: (last[child], child))
        }
        self.total: dict[str, int] = {
            child: sum(row.best_g for group in groups for row in group)
            for child, groups in self.groups.items()
        }

    def __iter__(self) -> Iterator[tuple[str, list[list[Link]]]]:
        return iter(self.groups.items())

    def __contains__(self, child: object) -> bool:
        return child in self.groups

    def links(self) -> Iterator[Link]:
        """Every link, children after what they are made from."""
        return (row for groups in self.groups.values() for group in groups for row in group)


Links = Iterable[Link] | Genealogy


def read(links: Links) -> Genealogy:
    """*links* as a genealogy; one that is read already comes back as it is."""
    return links if isinstance(links, Genealogy) else Genealogy(links)


def _names(suspects: Collection[str]) -> frozenset[str]:
    if isinstance(suspects, str):
        raise TypeError("suspects is a collection of IDs, not one ID")
    names = frozenset(suspects)
    if UNKNOWN in names:
        raise Nonsense(
            "Unknown origin can't be a suspect: name the tote, batch or tire that is.", field="suspect"
        )
    return names


# -- forward -------------------------------------------------------------------------------------------------------------------
def fractions(links: Links, suspects: Collection[str]) -> dict[str, float]:
    """The fraction of each child that came from *suspects* together, by any path; best estimate.

    *links* holds all links of every child reached. The suspects stand in the answer with 1; a child that holds nothing does
    not stand in it.

    >>> links = [
    ...     Link(1, "F-1", "main", "B", "L-1", 0, 40, 90), Link(1, "F-1", "main", "B", "L-2", 0, 60, 100),
    ...     Link(2, "RG-1", "", "G", "F-1", 50, 50, 50), Link(2, "RG-1", "", "G", UNKNOWN, 150, 150, 150),
    ... ]
    >>> fractions(links, {"L-1"})
    {'L-1': 1.0, 'F-1': 0.4, 'RG-1': 0.1}
    """
    return _forward(read(links), _names(suspects))


def unknown_share(links: Links) -> dict[str, float]:
    """The fraction of each child that is of unknown origin, by any path.

    *links* holds all links of every child asked for and of all its ancestors. A child of known origin does not stand in the
    answer. With the exposures to every tote it sums to 1.
    """
    found = _forward(read(links), frozenset((UNKNOWN,)))
    del found[UNKNOWN]
    return found


def _forward(family: Genealogy, sources: frozenset[str]) -> dict[str, float]:
    held = dict.fromkeys(sorted(sources), 1.0)
    for child, groups in family:
        if child in sources:
            continue
        grams = 0.0
        for group in groups:
            for row in group:
                if row.best_g and row.parent in held:
                    grams += row.best_g * held[row.parent]
        if grams:
            held[child] = min(1.0, grams / family.total[child])
    return held


def intervals(
    links: Links,
    suspects: Collection[str],
    unknown_may_hold: Callable[[Link], bool],
    *,
    through_regrind: bool = True,
) -> dict[str, Interval]:
    """The fraction of each child that came from *suspects* together, with the bounds that the grams' bounds allow.

    Group by group (one draw's stream, or a draw together) every parent has its least, and the rest of the group goes to the parents of highest
    (for the upper bound) or lowest (for the lower) exposure, each up to its most: the exact optimum of the linear programme
    for one group, and the rule for a set of totes at once. Bounds of the parents are used in turn; mosts are never multiplied.
    Unknown origin counts 0 in ``lower`` and ``best``, and in ``upper`` 1 where *unknown_may_hold* of the link says so.

    With *through_regrind* false only what came straight from a suspect counts, and unknown material of the two liquid sides:
    cured pieces are inert. A child whose upper bound is 0 does not stand in the answer; the suspects do, with 1.
    """
    family, names = read(links), _names(suspects)
    found = dict.fromkeys(sorted(names), ALL)
    for child, groups in family:
        if child in names:
            continue
        lower = best = upper = 0.0
        for group in groups:
            values = [_value(row, found, names, unknown_may_hold, through_regrind) for row in group]
            if any(value.upper for value in values):
                lower += _spread(group, [value.lower for value in values], highest_first=False)
                for row, value in zip(group, values, strict=True):
                    best += (
                        row.best_g * value.best
                    )  # one by one, as in _forward: two screens show the same to the last bit
                upper += _spread(group, [value.upper for value in values], highest_first=True)
        total = family.total[child]
        if upper and total:
            best = min(1.0, best / total)
            found[child] = Interval(min(lower / total, best), best, max(best, min(1.0, upper / total)))
    return found


def _value(
    row: Link,
    found: Mapping[str, Interval],
    names: frozenset[str],
    unknown_may_hold: Callable[[Link], bool],
    through_regrind: bool,
) -> Interval:
    if row.parent == UNKNOWN:
        if not through_regrind and row.stream in CURED_STREAMS:
            return NOTHING
        return Interval(0.0, 0.0, 1.0) if unknown_may_hold(row) else NOTHING
    if not through_regrind and row.parent not in names:
        return NOTHING
    return found.get(row.parent, NOTHING)


def _spread(group: list[Link], values: list[float], *, highest_first: bool) -> float:
    """Grams of the suspect in *group* when its rest goes to the parents of highest (lowest) *values* first."""
    grams = sum(row.least_g * value for row, value in zip(group, values, strict=True))
    rest = sum(row.best_g - row.least_g for row in group)
    if rest:
        for value, room in sorted(
            ((value, row.most_g - row.least_g) for row, value in zip(group, values, strict=True)),
            reverse=highest_first,
        ):
            given = min(room, rest)
            grams += given * value
            rest -= given
            if not rest:
                break
    return grams


# -- what stands in a child directly -------------------------------------------------------------------------------------------
def direct(links: Links, suspects: Collection[str]) -> dict[str, Grams]:
    """Grams of *suspects* together that went straight into each child; only children that can hold any.

    For a set S, per draw and stream: ``least(S) = max(Σ least in S, group − Σ most outside)``, ``most(S) = min(Σ most in S,
    group − Σ least outside)``; a lot in several totes is certain where no single tote of it is.
    """
    return _direct(read(links), _names(suspects))


def unknown_grams(links: Links) -> dict[str, Grams]:
    """Grams of unknown origin that went straight into each child; only children that can hold any."""
    return _direct(read(links), frozenset((UNKNOWN,)))


def _direct(family: Genealogy, sources: frozenset[str]) -> dict[str, Grams]:
    found = {}
    for child, groups in family:
        least = best = most = 0
        for group in groups:
            of_set = [row for row in group if row.parent in sources]
            if of_set:
                outside = [row for row in group if row.parent not in sources]
                grams = sum(row.best_g for row in group)
                least += max(sum(row.least_g for row in of_set), grams - sum(row.most_g for row in outside))
                best += sum(row.best_g for row in of_set)
                most += min(sum(row.most_g for row in of_set), grams - sum(row.least_g for row in outside))
        if most:
            found[child] = Grams(least, best, most)
    return found


def side_share(links: Links, suspects: Collection[str]) -> dict[str, dict[str, float]]:
    """Of each child's grams of a side (A, B, R; G of a batch), the fraction that came straight from *suspects*; best estimate.

    Only the streams a suspect is a parent in, nothing through regrind. All of the B of a tire with 50 % regrind is a quarter
    of the fill, and 1.0 here.
    """
    return {
        child: {stream: of_set / grams for stream, (of_set, grams) in sides.items()}
        for child, sides in direct_sides(links, suspects).items()
    }


def direct_sides(links: Links, suspects: Collection[str]) -> dict[str, dict[str, tuple[int, int]]]:
    """Per child and stream a suspect is a parent in: (grams straight from the suspects, all grams of the stream), at best."""
    family, names = read(links), _names(suspects)
    found: dict[str, dict[str, tuple[int, int]]] = {}
    for child, groups in family:
        sides: dict[str, tuple[int, int]] = {}
        touched = set()
        for group in groups:
            for row in group:
                of_set, grams = sides.get(row.stream, (0, 0))
                if row.parent in names:
                    of_set += row.best_g
                    touched.add(row.stream)
                sides[row.stream] = of_set, grams + row.best_g
        kept = {stream: parts for stream, parts in sides.items() if stream in touched and parts[1]}
        if kept:
            found[child] = kept
    return found


# -- backward ------------------------------------------------------------------------------------------------------------------
def origins(links: Links, item: str) -> dict[str, float]:
    """What *item* goes back to: the fraction of each tote (or other parent without links of its own) and of UNKNOWN.

    *links* holds all links of *item* and of every ancestor. The fractions sum to 1. An item without links is its own origin.

    >>> links = [
    ...     Link(2, "RG-1", "", "G", "F-1", 30, 30, 30), Link(2, "RG-1", "", "G", UNKNOWN, 10, 10, 10),
    ...     Link(1, "F-1", "main", "B", "L-1", 80, 80, 80),
    ... ]
    >>> origins(links, "RG-1")
    {'L-1': 0.75, '': 0.25}
    """
    family = read(links)
    if item not in family:
        return {item: 1.0}
    return {name: share for name, share in _backward(family, item).items() if name not in family}


def origins_all(links: Links, item: str) -> dict[str, float]:
    """What *item* goes back to, with every batch and fill on the way: the fraction of *item* that came by way of each.

    These overlap (a batch's fraction holds its totes'), so they don't sum to 1; :func:`origins` does.
    """
    return _backward(read(links), item)


def _backward(family: Genealogy, item: str) -> dict[str, float]:
    held = {item: 1.0}
    for child, groups in reversed(family.groups.items()):
        share = held.get(child)
        if not share:
            continue
        total = family.total[child]
        if not total:
            held[UNKNOWN] = held.get(UNKNOWN, 0.0) + share
            continue
        for group in groups:
            for row in group:
                if row.best_g:
                    held[row.parent] = held.get(row.parent, 0.0) + share * (row.best_g / total)
    del held[item]
    return dict(sorted(held.items(), key=lambda pair: (-pair[1], pair[0])))


# -- the way -------------------------------------------------------------------------------------------------------------------
def path(links: Links, suspects: Collection[str], item: str) -> list[str]:
    """The strongest way from a suspect to *item*, both named: the one with the greatest product of fractions.

    Links that hold something at best come before links that only may. Empty where no way leads there.
    """
    return list(paths(links, suspects, (item,)).get(item, ()))


def paths(
    links: Links, suspects: Collection[str], items: Iterable[str], *, through_regrind: bool = True
) -> dict[str, tuple[str, ...]]:
    """The strongest way from a suspect to each of *items*, for display; see :func:`path`. Items no way leads to are left out."""
    family, names = read(links), _names(suspects)
    strength: dict[str, tuple[int, float]] = dict.fromkeys(sorted(names), (0, 0.0))
    came_from: dict[str, str] = {}
    for child, groups in family:
        if child in names:
            continue
        grams: dict[str, tuple[int, int]] = {}
        for group in groups:
            for row in group:
                if row.most_g and row.parent in (strength if through_regrind else names):
                    best, most = grams.get(row.parent, (0, 0))
                    grams[row.parent] = best + row.best_g, most + row.most_g
        strongest = None
        for parent in sorted(grams):
            best, most = grams[parent]
            only_may, so_far = strength[parent]
            # logarithms: a product over hundreds of batches would sink to 0
            reached = (only_may, so_far + log(best)) if best else (only_may - 1, so_far + log(most))
            if strongest is None or reached > strongest:
                strongest, came_from[child] = reached, parent
        if strongest and family.total[child]:
            strength[child] = strongest[0], strongest[1] - log(family.total[child])
    found = {}
    for item in items:
        if item in strength:
            way = [item]
            while way[-1] in came_from:
                way.append(came_from[way[-1]])
            found[item] = tuple(reversed(way))
    return found
