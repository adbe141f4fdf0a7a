"""Where an item came from and went to, as nodes and edges for the picture: folded by lot and by time, traces left to the table."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from fillbook.trace.book import queries, reach, recalls
from fillbook.trace.book.in_parts import parts
from fillbook.trace.book.latest import latest
from fillbook.trace.book.opening import Book
from fillbook.trace.core import lineage, times

LEAST_SHARE = 0.001  # what holds less than a thousandth of it is not drawn
# And what holds less than this is not followed: with at most half regrind in any fill, no share is too low by
# more than half of the last digit that is shown
FOLLOWED = LEAST_SHARE / 2
ALONE = 12  # so many items of a kind are drawn one by one; more are folded
LOTS = 24  # so many lots are drawn lot by lot
WITH_ID = ("L", "G", "F", "C")  # what bears a label; the rest are purges and waste


class Row(NamedTuple):
    """One line of the table beside the picture: an item, how it is related, its share, and the lot or the day it is known by."""

    item: str
    way: str  # "from" or "to"
    share: float  # of the item asked about that came from it; or of it that came from the item asked about
    words: str = ""


@dataclass(frozen=True)
class Pedigree:
    """What the picture is made of, the same as rows, and how many items were too little to draw (at least)."""

    picture: lineage.Picture
    rows: tuple[Row, ...]
    traces: int

    def of(self, way: str) -> list[Row]:
        """The rows of one way, the largest share first."""
        return [row for row in self.rows if row.way == way]


@dataclass(frozen=True)
class Family:
    """All that is related to an item and is drawn, before anything is folded."""

    nodes: tuple[lineage.Node, ...]
    edges: tuple[lineage.Edge, ...]
    rows: tuple[Row, ...]
    traces: int
    zone: str


def pedigree(book: Book, item: str, opened: Collection[str] = (), width: int = 1100) -> Pedigree:
    """The picture of *item*: everything it was made from and everything made from it, by any path, from a thousandth on.

    *opened*: the keys of the boxes that are unfolded. What is crowded folds again inside: a lot's year into lots, a year into months.
    """
    shop = queries.shop_of(book, item)
    all_of_it = latest(book, shop, ("family", item), lambda: family(book, shop, item))
    folded = [
        node
        for kind in lineage.KINDS
        for node in _folded(
            [n for n in all_of_it.nodes if n.kind == kind and n.id != item], kind, opened, all_of_it.zone
        )
    ]
    whole = [*folded, *(node for node in all_of_it.nodes if node.id == item)]
    boxes, flows = lineage.fold(whole, all_of_it.edges)
    return Pedigree(lineage.place(boxes, flows, width), all_of_it.rows, all_of_it.traces)


def family(book: Book, shop: str, item: str) -> Family:
    """What *item* (compact ID) came from and went to, by any path, from a thousandth on."""
    zone = queries.timezone(book, shop)
    number = book.value("SELECT num FROM item WHERE code = ?", item)
    back, onward = reach.back_to(book, number, FOLLOWED), reach.on_from(book, number, FOLLOWED)
    near = {one for kin in (back, onward) for one, share in kin.shares.items() if share >= LEAST_SHARE}
    codes = _codes(book, near | {number})
    related = [
        (codes[one][0], way, share)
        for way, kin in (("from", back), ("to", onward))
        for one, share in kin.shares.items()
        if share >= LEAST_SHARE and codes[one][1] in WITH_ID
    ]
    drawn = {code for code, kind in codes.values() if kind in lineage.KINDS}
    sums: dict[tuple[str, str], int] = defaultdict(int)
    for (parent, child), grams in {**back.grams, **onward.grams}.items():
        if parent in codes and child in codes:
            ends = codes[parent][0], codes[child][0]
            if ends[0] in drawn and ends[1] in drawn:
                sums[ends] += grams
    nodes = _nodes(book, sorted(drawn), item)
    words = {node.id: node.fold if node.kind == "L" else _date(node.start, zone) for node in nodes}
    rows = [Row(code, way, share, words.get(code, "")) for code, way, share in related]
    few = sum(1 for kin in (back, onward) for share in kin.shares.values() if share < LEAST_SHARE)
    return Family(
        tuple(nodes),
        tuple(lineage.Edge(p, c, g) for (p, c), g in sorted(sums.items())),
        tuple(sorted(rows, key=lambda row: (row.way, -row.share, row.item))),
        back.traces + onward.traces + few,
        zone,
    )


def _folded(
    nodes: Sequence[lineage.Node], kind: str, opened: Collection[str], zone: str, level: int = 0
) -> list[lineage.Node]:
    """*nodes* of one kind, each with the key it folds under: totes by lot, and lots by month or year where there are many; batches and tires by
    the year, month or day, whichever is the finest that leaves few boxes. An opened one is folded by the next finer.
    """
    cuts = (4, 7, 0) if kind == "L" else (4, 7, 10)

    def key(node: lineage.Node, at: int) -> str:
        cut = cuts[at]
        return _date(node.start, zone)[:cut] if cut else node.fold

    if level >= len(cuts) or (kind != "L" and len(nodes) <= ALONE):
        return [node._replace(fold=node.id) for node in nodes]
    at = next(
        (
            n
            for n in reversed(range(level, len(cuts)))
            if len({key(node, n) for node in nodes}) <= (ALONE if cuts[n] else LOTS)
        ),
        level,
    )
    groups: dict[str, list[lineage.Node]] = defaultdict(list)
    for node in nodes:
        groups[key(node, at)].append(node)
    found: list[lineage.Node] = []
    for name, members in groups.items():
        if len(members) == 1:
            found.append(members[0]._replace(fold=members[0].id))
        elif f"{kind}:{name}" in opened:
            found += _folded(members, kind, opened, zone, at + 1)
        else:
            found += [node._replace(fold=name) for node in members]
    return found


@lru_cache(maxsize=4096)
def _date(at: int, zone: str) -> str:
    return times.show_date(at, zone)


def _codes(book: Book, numbers: Collection[int]) -> dict[int, tuple[str, str]]:
    """ID and kind of each item."""
    found: dict[int, tuple[str, str]] = {}
    for part, marks in parts(sorted(numbers)):
        for number, code, kind in book.tuples(
            f"SELECT num, code, kind FROM item WHERE num IN ({marks})", *part
        ):
            found[number] = code, kind
    return found


def _nodes(book: Book, codes: Sequence[str], asked: str) -> list[lineage.Node]:
    """The items with when they mattered: a tote from its hooking up to its coming off, a fill at its end, anything else when it came in."""
    seen: dict[str, tuple[int, int]] = {}
    lots: dict[str, str] = {}
    for part, marks in parts(code for code in codes if code[2] == "F"):
        for code, at in book.tuples(f"SELECT item, at FROM fill WHERE item IN ({marks})", *part):
            seen[code] = at, at
    for part, marks in parts(code for code in codes if code[2] == "L"):
        for code, first, last in book.tuples(
            f"SELECT item, min(at), max(at) FROM line_act WHERE item IN ({marks}) AND what IN ('hook', 'off') GROUP BY item",
            *part,
        ):
            seen[code] = first, last
        lots.update(book.tuples(f"SELECT item, lot FROM tote WHERE item IN ({marks})", *part))
    for part, marks in parts(code for code in codes if code not in seen):
        for code, at in book.tuples(
            f"SELECT item, min(at) FROM touch WHERE item IN ({marks}) AND state IS NOT NULL GROUP BY item",
            *part,
        ):
            seen[code] = at, at
    nodes = []
    for code in codes:
        words = fold = recalls.pretty(code)  # what stands in the book was checked when it was minted
        if code in lots and code != asked:
            fold = f"lot {lots[code]}" if lots[code] else "mixtures"
        nodes.append(lineage.Node(code, code[2], *seen.get(code, (0, 0)), fold, words))
    return nodes
