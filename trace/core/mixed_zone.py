"""The mixed zone: the tube, the fill hose and the gun, where what came out of the three vessels is one material.

What a shop does not blow out after a fill stays there and goes into the next tire. So a tire holds what came out of the vessels
during its draw, and what the zone held before, less what the zone holds after it:

    grams of one parent = what came + z · (its part of the zone before − its part of the zone after)

with z, the grams the zone holds, the same before and after, and known to lie between ``lo_g`` and ``hi_g``. A zone that was blown
out takes z grams more from the vessels first, mixed as the rest of the draw is. What the zone holds of what follows from what came
last: after so many contents nothing of before is left in it (the rule for hoses), whichever way it mixes, and of one parent it holds
no more than came of that in the meantime.

Parts of the zone are whole millionths of what it holds. As long as the mix stays the same, as many grams of each stream leave the
zone as enter it, and each stream of a draw is a group of known weight. Where it changed, by how much depends on z: then all
streams of the draw are one group.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from fillbook.trace.core import flow, vessels
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.flow import Share

WHOLE = 1_000_000  # parts are millionths of what the zone holds
A_GRAM = 1.0  # streams whose weight is known to within a gram are known


class Part(NamedTuple):
    """What the zone holds of one parent that came by one stream, in millionths: 0 ≤ least ≤ best ≤ most ≤ the whole."""

    stream: str
    parent: str
    least: int
    best: int
    most: int


@dataclass(frozen=True)
class Zone:
    """What the mixed zone of a line holds: between ``lo_g`` and ``hi_g`` grams of ``parts``; none: it is blown out.

    ``mix``: by stream, the least and most of it that came that way, in millionths. ``at``: when material flowed through it last
    (seconds of UTC).
    """

    lo_g: int
    hi_g: int
    parts: tuple[Part, ...] = ()
    mix: tuple[tuple[str, int, int], ...] = ()
    at: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.lo_g <= self.hi_g:
            raise Nonsense(
                f"The mixed zone cannot hold at least {self.lo_g} g and at most {self.hi_g} g: give the smaller weight as the least."
            )


class Coming(NamedTuple):
    """What one stream gives to a draw: its grams, its shares, and the shares of its last grams (see :func:`window`)."""

    grams: int
    shares: tuple[Share, ...]
    last: tuple[Share, ...]


class Drawn(NamedTuple):
    """What a draw holds, by stream; ``together``: the weight of each stream is not known, only that of all of them."""

    streams: dict[str, tuple[Share, ...]]
    together: bool


def unknown(lo_g: int, hi_g: int) -> Zone:
    """A zone of which nobody knows what it holds, or whether it is blown out."""
    half = WHOLE // 2
    parts = tuple(
        Part(stream, flow.UNKNOWN, 0, best, WHOLE) for stream, best in (("A", half), ("B", half), ("R", 0))
    )
    return Zone(lo_g, hi_g, parts, tuple((part.stream, 0, WHOLE) for part in parts))


def blow_out(zone: Zone) -> Zone:
    """The zone with nothing in it."""
    return replace(zone, parts=(), mix=())


def window(zone: Zone, grams: int, band_e4: int, after_contents: int) -> int:
    """The last grams of a draw of *grams* that can still be in the zone after it; all of them where it is no longer than that."""
    return min(grams, math.ceil(after_contents * _contents(zone, band_e4)[1]))


def draw(
    zone: Zone,
    coming: Mapping[str, Coming],
    at: int,
    *,
    band_e4: int = 0,
    after_contents: int = 5,
    perhaps_blown_out: bool = False,
) -> tuple[Zone, Drawn]:
    """Draw what is *coming* from the streams through the zone: the zone after it, and what the tire holds.

    *band_e4*: by how many ten-thousandths the draw's weight may be off. *perhaps_blown_out*: it stood so long since *at* that
    somebody will have blown it out, noted or not: bounds hold for both. The best grams add up to the grams of the draw.
    """
    grams = sum(one.grams for one in coming.values())
    if not grams:
        return zone, Drawn({name: one.shares for name, one in coming.items()}, together=False)
    was_empty = not zone.parts
    contents = _contents(zone, band_e4)
    through = _Through(grams, contents, was_empty or perhaps_blown_out, not was_empty)
    mix_before = {name: _Range(least / WHOLE, 0.0, most / WHOLE) for name, least, most in zone.mix}
    mix_after = _mix_after(mix_before, coming, through, after_contents)
    after = _after(zone, coming, through, mix_after, after_contents)
    before = {(part.stream, part.parent): _Range.of(part) for part in zone.parts}
    amounts = {
        key: _Range(share.least_g, share.best_g, share.most_g)
        for key, share in (
            ((name, share.parent), share) for name, one in coming.items() for share in one.shares
        )
    }
    keys = list(dict.fromkeys([*before, *amounts]))
    held = {
        key: through.leaves(amounts.get(key, _NONE), before.get(key, _NONE), after.get(key, _NONE))
        for key in keys
    }
    streams = {name: [key for key in keys if key[0] == name] for name in coming}
    weights = {
        name: through.leaves(
            _Range(*(one.grams,) * 3),
            mix_before.get(name, _NONE)._replace(best=sum(before[key].best for key in streams[name] if key in before)),
            mix_after[name]._replace(best=sum(after[key].best for key in streams[name] if key in after)),
        )
        for name, one in coming.items()
    }  # fmt: skip
    together = any(weight.most - weight.least > A_GRAM for weight in weights.values())
    parts = tuple(
        Part(*key, _down(one.least), min(WHOLE, max(0, round(one.best * WHOLE))), _up(one.most))
        for key, one in after.items()
        if one.most > 0
    )
    mix = tuple((name, _down(one.least), _up(one.most)) for name, one in mix_after.items())
    return replace(zone, parts=parts, mix=mix, at=at), Drawn(
        _shares(held, streams, weights, grams, together), together
    )


def content(zone: Zone) -> dict[tuple[str, str], int]:
    """The grams most likely in the zone, by stream and parent, at its middle content; they add up to it."""
    given = [part.best * (zone.lo_g + zone.hi_g) / 2 / WHOLE for part in zone.parts]
    whole = [math.floor(grams) for grams in given]
    if given:
        flow.hand_out(whole, [g - w for g, w in zip(given, whole, strict=True)], (zone.lo_g + zone.hi_g) // 2)
    return {(part.stream, part.parent): g for part, g in zip(zone.parts, whole, strict=True) if g}


def to_plain(zone: Zone) -> list[Any]:
    """The zone as numbers and strings in lists, for a JSON column; see :func:`from_plain`."""
    return [
        zone.lo_g,
        zone.hi_g,
        zone.at,
        [list(part) for part in zone.parts],
        [list(one) for one in zone.mix],
    ]


def from_plain(plain: list[Any]) -> Zone:
    """The zone that :func:`to_plain` wrote. Raises Nonsense when something is missing or of the wrong kind."""
    try:
        lo_g, hi_g, at, parts, mix = plain
        return Zone(lo_g, hi_g, tuple(Part(*part) for part in parts), tuple((*one,) for one in mix), at)
    except (TypeError, ValueError) as wrong:
        raise Nonsense(
            f"The stored state of a mixed zone cannot be read ({wrong}); derive the line again."
        ) from None


# ---- inside -------------------------------------------------------------------------------------------------------------------

_NOISE = 1e-6  # of a millionth


class _Range(NamedTuple):
    least: float
    best: float
    most: float

    @classmethod
    def of(cls, part: Part) -> _Range:
        return cls(part.least / WHOLE, part.best / WHOLE, part.most / WHOLE)


_NONE = _Range(0.0, 0.0, 0.0)


def _down(part: float) -> int:
    return max(0, math.floor(part * WHOLE + _NOISE))


def _up(part: float) -> int:
    return min(WHOLE, max(0, math.ceil(part * WHOLE - _NOISE)))


def _contents(zone: Zone, band_e4: int) -> tuple[float, float]:
    """The least and most the zone holds, in grams as this draw's were written: its weight may be off, the zone's is not."""
    band = min(max(0, band_e4), 9_000)
    return zone.lo_g * 10_000 / (10_000 + band), zone.hi_g * 10_000 / (10_000 - band)


@dataclass(frozen=True)
class _Through:
    """A draw of *grams* through a zone of between *contents* grams that may have been *empty*, or *full* of what was before, or either."""

    grams: int
    contents: tuple[float, float]
    empty: bool
    full: bool

    @property
    def middle(self) -> float:
        return sum(self.contents) / 2

    @property
    def more(self) -> float:
        """By what factor more than the draw's grams may have come."""
        return 1 + self.contents[1] / self.grams if self.empty else 1.0

    def mixes(self, after_contents: int) -> bool:
        """Whether some of what the zone held before may still be in it afterwards."""
        return self.full and self.grams < after_contents * self.contents[1]

    def leaves(self, came: _Range, before: _Range, after: _Range) -> _Range:
        """What goes into the tire of *came* grams, of a part *before* and a part *after* of the zone.

        Linear in the content, so the extremes lie at its ends.
        """
        least, most = math.inf, -math.inf
        for z in self.contents:
            if self.full:
                least = min(least, came.least + z * (before.least - after.most))
                most = max(most, came.most + z * (before.most - after.least))
            if self.empty:
                more = 1 + z / self.grams  # what filled the zone came as well, mixed as the rest
                least = min(least, came.least * more - z * after.most)
                most = max(most, came.most * more - z * after.least)
        if self.empty:  # most likely it was, or what stood in it would have set
            best = came.best * (1 + self.middle / self.grams) - self.middle * after.best
        else:
            best = came.best + self.middle * (before.best - after.best)
        best = max(0.0, best)
        return _Range(min(max(0.0, least), best), best, max(most, best))


def _after(
    zone: Zone,
    coming: Mapping[str, Coming],
    through: _Through,
    mix_after: Mapping[str, _Range],
    after_contents: int,
) -> dict[tuple[str, str], _Range]:
    """The parts of the zone after the draw, by stream and parent."""
    if through.mixes(after_contents):
        return _with_some_left(zone, coming, through, mix_after, after_contents)
    return _with_nothing_left(coming, through)


def _with_nothing_left(coming: Mapping[str, Coming], through: _Through) -> dict[tuple[str, str], _Range]:
    """All the zone holds came at the end of this draw: of each parent no more than came of it then."""
    least_g = through.contents[0]
    found: dict[tuple[str, str], _Range] = {}
    for name, one in coming.items():
        part = one.grams / through.grams  # a draw's mix is one
        last_g = sum(share.best_g for share in one.last)
        if not last_g:
            continue
        mosts = {
            share.parent: min(part, share.most_g * through.more / least_g) if least_g else part
            for share in one.last
        }
        for share in one.last:
            others = sum(most for parent, most in mosts.items() if parent != share.parent)
            best = min(part * share.best_g / last_g, mosts[share.parent])
            found[name, share.parent] = _Range(min(best, max(0.0, part - others)), best, mosts[share.parent])
    return found


def _with_some_left(
    zone: Zone,
    coming: Mapping[str, Coming],
    through: _Through,
    mix_after: Mapping[str, _Range],
    after_contents: int,
) -> dict[tuple[str, str], _Range]:
    """Some of what was in it stays: as likely as in a hose, and in bounds whatever part of the draw pushed out whatever part of it."""
    grams, least_g = through.grams, through.contents[0]
    stays = 0.0
    if through.middle and not through.empty:
        theta = grams / through.middle
        if theta < after_contents:
            stays = max(0.0, 1 - theta + vessels.likely_phi(vessels.HOSE, theta, after_contents))
    lost = grams / least_g if least_g else 1.0
    before = {(part.stream, part.parent): _Range.of(part) for part in zone.parts}
    came = {(name, share.parent): share for name, one in coming.items() for share in one.shares}
    found: dict[tuple[str, str], _Range] = {}
    for key in dict.fromkeys([*before, *came]):
        was = before.get(key, _NONE)
        new = came.get(key)
        entered = new.most_g * through.more if new else 0.0
        found[key] = _in_order(
            0.0 if through.empty else max(0.0, was.least - lost),
            stays * was.best + (1 - stays) * (new.best_g / grams if new else 0.0),
            min(mix_after[key[0]].most, was.most + (entered / least_g if least_g else 1.0)),
        )
    return found


def _in_order(least: float, best: float, most: float) -> _Range:
    return _Range(min(least, best), best, max(most, best))


def _mix_after(
    before: Mapping[str, _Range], coming: Mapping[str, Coming], through: _Through, after_contents: int
) -> dict[str, _Range]:
    """Which part of the zone came by which stream: as in the draw, or between that and before."""
    found = {}
    for name, one in coming.items():
        part = one.grams / through.grams  # a draw's mix is one
        was = before.get(name, _NONE) if through.mixes(after_contents) else _Range(part, part, part)
        found[name] = _Range(min(part, was.least), part, max(part, was.most))
    return found


def _shares(
    held: Mapping[tuple[str, str], _Range],
    streams: Mapping[str, list[tuple[str, str]]],
    weights: Mapping[str, _Range],
    grams: int,
    together: bool,
) -> dict[str, tuple[Share, ...]]:
    """*held* in whole grams that add up to *grams*: stream by stream, or all together."""
    found: dict[str, tuple[Share, ...]] = {}
    if together:
        keys = [key for mine in streams.values() for key in mine]
        whole = dict(zip(keys, _rounded([held[key] for key in keys], grams), strict=True))
        for name, mine in streams.items():
            found[name] = _those_that_can(name, mine, whole)
        return found
    names = list(streams)
    bests = [weights[name].best for name in names]
    given = [math.floor(best) for best in bests]
    flow.hand_out(given, [best - math.floor(best) for best in bests], grams)
    for name, of in zip(names, given, strict=True):
        mine = streams[name]
        whole = dict(zip(mine, _rounded([held[key] for key in mine], of), strict=True))
        found[name] = _those_that_can(name, mine, whole)
    return found


def _those_that_can(
    name: str, keys: list[tuple[str, str]], whole: Mapping[tuple[str, str], tuple[int, int, int]]
) -> tuple[Share, ...]:
    return tuple(Share(parent, *whole[name, parent]) for _, parent in keys if whole[name, parent][2] > 0)


def _rounded(ranges: list[_Range], of: int) -> list[tuple[int, int, int]]:
    """One group in whole grams: best adds up to *of*; least down, most up, and each at least what the others leave."""
    total = sum(one.best for one in ranges)
    scale = of / total if total else 0.0
    numbered = [
        (str(n), min(one.least, one.best * scale), one.best * scale, max(one.most, one.best * scale))
        for n, one in enumerate(ranges)
    ]
    shares = {share.parent: share for share in flow.whole_shares(numbered, of)}
    none = Share("", 0, 0, 0)
    return [
        (share.least_g, share.best_g, share.most_g)
        for share in (shares.get(str(n), none) for n in range(len(ranges)))
    ]
