"""Random genealogies for the tests: totes, tires filled from them and from regrind, batches ground from tires and batches.

A test loads this file by its path (tests are no package).
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from typing import NamedTuple

from fillbook.trace.core.exposure import UNKNOWN, Link


class Shop(NamedTuple):
    links: list[Link]
    totes: list[str]
    batches: list[str]
    fills: list[str]
    purges: list[str]

    @property
    def items(self) -> list[str]:
        return self.totes + self.batches + self.fills + self.purges


def group(rng, ord_, child, draw, stream, parents, grams, wide, cut_at=None):
    """Links of one group: *grams* split at random over *parents*, with bounds round the split where *wide*."""
    cuts = sorted(rng.randint(0, grams) for _ in parents[1:])
    parts = [b - a for a, b in zip([0, *cuts], [*cuts, grams], strict=True)]
    return [
        Link(
            ord_, child, draw, stream, parent,
            max(0, part - rng.randint(0, wide)), part, min(grams, part + rng.randint(0, wide)),
            cut_at if parent == UNKNOWN else None,
        )
        for parent, part in zip(parents, parts, strict=True)
    ]  # fmt: skip


def random_shop(
    seed: int, *, steps: int = 40, totes: int = 3, wide: int = 6_000, unknown: float = 0.3
) -> Shop:
    """A shop of *totes* per side and *steps* acts; *wide*: how far bounds may lie from the best, in grams (0: exact).

    *unknown*: how often a group holds material of unknown origin too.
    """
    rng = random.Random(seed)
    sides = {side: [f"L-{side}{n}" for n in range(totes)] for side in "AB"}
    links: list[Link] = []
    batches: list[str] = []
    fills: list[str] = []
    purges: list[str] = []
    left: dict[str, int] = {}  # what of a fill or batch is not ground on yet

    def maybe_unknown(parents):
        return [*parents, UNKNOWN] if rng.random() < unknown else parents

    def few(things, most=3):
        return rng.sample(things, min(len(things), rng.randint(1, most)))

    for at in range(1, steps + 1):
        ground = [item for item in fills + batches if left[item] > 1000]
        if ground and rng.random() < 0.3:
            batch = f"RG-{at}"
            for source in few(ground):
                grams = rng.randint(1, left[source])
                left[source] -= grams
                left[batch] = left.get(batch, 0) + grams
                links.append(Link(at * 10, batch, "0", "G", source, grams, grams, grams))
            if rng.random() < unknown:
                grams = rng.randint(1, 20_000)
                left[batch] += grams
                links.append(Link(at * 10, batch, "1", "G", UNKNOWN, grams, grams, grams, rng.randint(0, at)))
            batches.append(batch)
            continue
        child = f"F-{at}"
        (fills if rng.random() < 0.9 else purges).append(child)
        left[child] = 0
        for draw in range(rng.choice((1, 1, 2))):
            together = int(rng.random() < 0.2)
            amounts = {side: (few(sides[side]), rng.randint(1, 60_000)) for side in "AB"}
            if batches and rng.random() < 0.8:
                amounts["R"] = (few(batches[-4:]), rng.randint(1, 60_000))
            for stream, (parents, grams) in amounts.items():
                left[child] += grams
                rows = group(
                    rng, at * 10 + draw, child, f"d{draw}", stream, maybe_unknown(parents), grams, wide, at
                )
                links += [row._replace(together=together) for row in rows]
    # a batch may give more than it weighs (weights err); exposures don't mind
    return Shop(links, sides["A"] + sides["B"], batches, fills, purges)


def groups(links: Iterable[Link]) -> list[list[Link]]:
    """The links by (child, draw, stream), or (child, draw) where the streams are weighed together."""
    found: dict[tuple[str, str, str], list[Link]] = {}
    for row in links:
        found.setdefault((row.child, row.draw, "" if row.together else row.stream), []).append(row)
    return list(found.values())


def realised(links: Iterable[Link], rng: random.Random) -> list[Link]:
    """One way it can have been: grams within each link's bounds that sum to the group's, often at a corner of what can be."""
    found = []
    for rows in groups(links):
        grams = [row.least_g for row in rows]
        rest = sum(row.best_g for row in rows) - sum(grams)
        corner = rng.random() < 0.5
        order = rng.sample(range(len(rows)), len(rows))
        for i in order if not corner else ():
            part = rng.randint(0, min(rest, rows[i].most_g - grams[i]))
            grams[i] += part
            rest -= part
        for i in order:
            part = min(rest, rows[i].most_g - grams[i])
            grams[i] += part
            rest -= part
        found += [row._replace(least_g=g, best_g=g, most_g=g) for row, g in zip(rows, grams, strict=True)]
    return found


def many_ways(layers: int) -> list[Link]:
    """Two batches a layer, each from both of the layer before: 2**layers ways from the tote L-1 to a batch of the last layer."""
    links = [Link(1, side, "0", "G", "L-1", 10, 10, 10) for side in ("RG-1a", "RG-1b")]
    for layer in range(2, layers + 1):
        for side in "ab":
            for parent in "ab":
                links.append(Link(layer, f"RG-{layer}{side}", "0", "G", f"RG-{layer - 1}{parent}", 5, 5, 5))
    return links
