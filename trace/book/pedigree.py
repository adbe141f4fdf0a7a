"""Where an item came from and went to, as nodes and edges for the picture: folded by lot and by month, traces left to the table."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, replace

from fillbook.trace.book import queries, suspects
from fillbook.trace.book.opening import Book
from fillbook.trace.core import exposure, ids, lineage, times

LEAST_SHARE = 0.001  # what holds less than a thousandth of it is counted, not drawn
ALONE = 12  # so many items of a kind are drawn one by one; more are folded by month


@dataclass(frozen=True)
class Row:
    """One line of the table beside the picture: an item, how it is related, and its share."""

    item: str
    way: str  # "from" or "to"
    share: float  # of the item asked about that came from it; or of it that came from the item asked about


@dataclass(frozen=True)
class Pedigree:
    """What the picture is made of, the same as rows, and how many items were too little to draw."""

    picture: lineage.Picture
    rows: tuple[Row, ...]
    traces: int


def pedigree(book: Book, item: str, opened: Collection[str] = (), width: int = 1100) -> Pedigree:
    """The picture of *item*: everything it was made from and everything made from it, by any path, from a thousandth on."""
    shop = queries.shop_of(book, item)
    back = suspects.backward(book, item)
    onward = suspects.onward(book, item)
    came = exposure.origins_all(back, item) if back else {}
    went = exposure.fractions(onward, [item]) if onward else {}
    rows = [Row(code, "from", share) for code, share in came.items() if code and code != item and share >= LEAST_SHARE]
    rows += [
        Row(code, "to", share) for code, share in went.items() if code != item and share >= LEAST_SHARE and ids.is_valid(code)
    ]  # fmt: skip
    drawn = {row.item for row in rows if ids.kind_of(row.item) in lineage.KINDS} | {item}
    traces = sum(1 for code, share in {**came, **went}.items() if ids.is_valid(code) and share < LEAST_SHARE)
    sums: dict[tuple[str, str], int] = defaultdict(int)
    for link in {*back, *onward}:
        if link.parent in drawn and link.child in drawn:
            sums[(link.parent, link.child)] += link.best_g
    counts: dict[str, int] = defaultdict(int)
    for code in drawn:
        counts[ids.kind_of(code)] += 1
    zone = queries.timezone(book, shop)
    nodes = [_node(book, code, code == item) for code in sorted(drawn)]
    nodes = _fold_by_time(nodes, {kind for kind, count in counts.items() if count > ALONE and kind != "L"}, item, zone)
    boxes, flows = lineage.fold(nodes, [lineage.Edge(p, c, g) for (p, c), g in sorted(sums.items())], opened)
    ordered = sorted(rows, key=lambda row: (row.way, -row.share, row.item))
    return Pedigree(lineage.place(boxes, flows, width), tuple(ordered), traces)


def _fold_by_time(nodes: list[lineage.Node], kinds: set[str], item: str, zone: str) -> list[lineage.Node]:
    """Nodes of the crowded *kinds* folded by month, or by day where they all lie within two months; *item* stays alone."""
    folded = []
    for kind in kinds:
        mine = [node for node in nodes if node.kind == kind and node.id != item]
        days = {node.id: times.show_date(node.start, zone) for node in mine}
        cut = 7 if len({day[:7] for day in days.values()}) > 2 else 10
        folded += [replace(node, fold=days[node.id][:cut]) for node in mine]
    done = {node.id for node in folded}
    return [node for node in nodes if node.id not in done] + folded


def _node(book: Book, code: str, asked: bool) -> lineage.Node:
    kind = ids.kind_of(code)
    start = queries.first_seen(book, code) or 0
    end = start
    fold = words = ids.pretty(code)
    if kind == "L":
        tote = queries.tote(book, code)
        used = book.one(
            "SELECT min(at) AS first, max(at) AS last FROM line_act WHERE item = ? AND what IN ('hook', 'off')", code
        )
        if used and used.first is not None:
            start, end = used.first, max(used.last, used.first)
        if tote:
            fold = f"lot {tote.lot}" if tote.lot else "mixtures"
    else:
        fill = queries.fill(book, code)
        start = end = fill.at if fill else start
    return lineage.Node(code, kind, start, end, ids.pretty(code) if asked else fold, words)
