"""The picture of where something came from and went to: boxes along time, folded until few enough to read.

Three lanes of boxes, totes above, regrind batches in the middle, tires below; x is time. What shares a fold key (the totes of one
lot, the tires of one month) is one box until it is opened. Nothing here draws: it gives places, and the page makes lines of them.

A line passes beside the boxes of the rows between its ends, never through one: what lies under a box would look as if it came from it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

KINDS = ("L", "G", "F")  # the order of the lanes: totes, regrind batches, tires
BOX_H, GAP, LANE_GAP, MIN_W, TOP = 44, 6, 34, 124, 44  # a box is a link: as high as a finger needs
ROW_GAP = 22  # between two rows of boxes, for the lines that turn there
SIDE = 12  # free at both sides of the picture, so that every row can be passed
STEP = 3  # between two lines that pass the same gap, while there is room


class Node(NamedTuple):
    """One item: its kind's letter, from when to when it mattered (epoch seconds), the key it folds under, and its words."""

    id: str
    kind: str
    start: int
    end: int
    fold: str
    words: str


class Edge(NamedTuple):
    """Grams that went from *parent* to *child* (best)."""

    parent: str
    child: str
    grams: int


@dataclass(frozen=True)
class Box:
    """One or more nodes drawn as one, at x, y, w, h in pixels. ``members`` are the IDs in it; ``grams`` came or went through it."""

    key: str
    kind: str
    members: tuple[str, ...]
    start: int
    end: int
    words: str
    grams: int = 0
    x: int = 0
    y: int = 0
    w: int = 0
    h: int = BOX_H


@dataclass(frozen=True)
class Flow:
    """Grams from one box to another, with the points (x, y) through which the line runs and its width, in pixels.

    Between two points of the same x the line is straight; elsewhere it turns, within the height between them.
    """

    parent: str
    child: str
    grams: int
    points: tuple[tuple[int, int], ...] = ()
    w: int = 1


@dataclass(frozen=True)
class Picture:
    """Boxes and flows in their places; ``lanes`` are (kind, y) of each lane's heading."""

    width: int
    height: int
    boxes: tuple[Box, ...]
    flows: tuple[Flow, ...]
    lanes: tuple[tuple[str, int], ...]
    start: int
    end: int


def fold(
    nodes: Iterable[Node], edges: Iterable[Edge], opened: Collection[str] = ()
) -> tuple[list[Box], list[Flow]]:
    """Boxes of the nodes that share a fold key, and the flows between them, added up. Keys in *opened* stay unfolded.

    A key that only one node bears is that node. Flows within one box are left out.
    """
    groups: dict[str, list[Node]] = defaultdict(list)
    for node in nodes:
        groups[f"{node.kind}:{node.fold}"].append(node)
    box_of: dict[str, str] = {}
    boxes: dict[str, Box] = {}
    for key, members in groups.items():
        alone = key in opened or len(members) == 1
        for part in [[one] for one in members] if alone else [members]:
            name = part[0].id if alone else key
            words = part[0].words if alone else f"{members[0].fold} · {len(members)}"
            ids = tuple(one.id for one in part)
            boxes[name] = Box(
                name, part[0].kind, ids, min(n.start for n in part), max(n.end for n in part), words
            )
            box_of.update(dict.fromkeys(ids, name))
    sums: dict[tuple[str, str], int] = defaultdict(int)
    through: dict[str, int] = defaultdict(int)
    for edge in edges:
        parent, child = box_of.get(edge.parent), box_of.get(edge.child)
        if parent is None or child is None or parent == child:
            continue
        sums[(parent, child)] += edge.grams
        through[parent] += edge.grams
        through[child] += edge.grams
    flows = [Flow(parent, child, grams) for (parent, child), grams in sums.items()]
    return [replace(box, grams=through[name]) for name, box in boxes.items()], flows


def place(boxes: Sequence[Box], flows: Sequence[Flow], width: int) -> Picture:
    """Give every box its place: x by time, each lane as deep as it takes so that no two boxes lie on each other.

    Times are spread over *width* pixels; a box is at least wide enough for its ID, and moves left at the right edge.
    """
    if not boxes:
        return Picture(width, TOP, (), (), (), 0, 0)
    start = min(box.start for box in boxes)
    end = max(max(box.end for box in boxes), start + 1)
    scale = (width - 2 * SIDE - MIN_W) / (end - start)
    placed: dict[str, Box] = {}
    lanes: list[tuple[str, int]] = []
    y = TOP
    for kind in KINDS:
        mine = sorted((box for box in boxes if box.kind == kind), key=lambda box: (box.start, box.key))
        if not mine:
            continue
        lanes.append((kind, y - 8))
        rows: list[int] = []  # the right edge of the last box of each row
        for box in mine:
            x = SIDE + round((box.start - start) * scale)
            w = max(MIN_W, round((box.end - box.start) * scale))
            w = min(w, width - SIDE - x)
            row = next((n for n, right in enumerate(rows) if right + GAP <= x), len(rows))
            if row == len(rows):
                rows.append(0)
            rows[row] = x + w
            placed[box.key] = replace(box, x=x, y=y + row * (BOX_H + ROW_GAP), w=w)
        y += len(rows) * (BOX_H + ROW_GAP) + LANE_GAP - ROW_GAP
    most = max((flow.grams for flow in flows), default=1) or 1
    passing = _Rows(placed.values(), width)
    drawn = [
        replace(
            flow,
            points=passing.line(placed[flow.parent], placed[flow.child]),
            w=1 + round(5 * flow.grams / most),
        )
        for flow in flows
    ]
    return Picture(width, y, tuple(placed.values()), tuple(drawn), tuple(lanes), start, end)


class _Rows:
    """The rows of boxes, and where a line may pass each: what is free between its boxes and at both sides."""

    def __init__(self, boxes: Iterable[Box], width: int) -> None:
        rows: dict[int, list[Box]] = defaultdict(list)
        for box in boxes:
            rows[box.y].append(box)
        self.tops = sorted(rows)
        self.free: dict[int, list[tuple[int, int]]] = {}
        for y, mine in rows.items():
            edges = [
                0,
                *(edge for box in sorted(mine, key=lambda one: one.x) for edge in (box.x, box.x + box.w)),
                width,
            ]
            self.free[y] = list(zip(edges[::2], edges[1::2], strict=True))
        self.passed: dict[tuple[int, int], int] = defaultdict(int)

    def line(self, parent: Box, child: Box) -> tuple[tuple[int, int], ...]:
        """The points of a line from *parent* to *child*, each row between them passed upright where it is free."""
        down = parent.y < child.y
        x, to = parent.x + parent.w // 2, child.x + child.w // 2
        # two boxes of one row are joined below it
        points = [(x, parent.y + parent.h if down or parent.y == child.y else parent.y)]
        between = [y for y in self.tops if min(parent.y, child.y) < y < max(parent.y, child.y)]
        for n, y in enumerate(between if down else between[::-1], 1):
            x = self._pass(y, round(x + (to - x) * n / (len(between) + 1)))
            points += [(x, y), (x, y + BOX_H)] if down else [(x, y + BOX_H), (x, y)]
        return (*points, (to, child.y if down else child.y + child.h))

    def _pass(self, y: int, wanted: int) -> int:
        """The free x in the row at *y* that is nearest to *wanted*, beside the lines that pass there already."""
        left, right = min(self.free[y], key=lambda gap: (max(gap[0] - wanted, wanted - gap[1], 0), gap))
        low, high = left + min(STEP, (right - left) // 2), right - min(STEP, (right - left) // 2)
        x = min(max(wanted, low), high)
        if x in (low, high) and high > low:  # pressed against a box: the next one a little further from it
            beside = STEP * self.passed[(y, x)] % (high - low + 1)
            self.passed[(y, x)] += 1
            x += beside if x == low else -beside
        return x
