"""Hoses and hoppers as parcels of material that are pushed through one by one.

Nothing here knows a formula of fillbook: parcels go in at one end, wait their turn or are mixed, and are counted as they come
out. The one thing taken over is a published curve: the lanes of a hose are cut so that together they are no wider spread than
laminar flow, F = 1 − 1/(4θ²) (O. Levenspiel, Chemical Reaction Engineering, 3rd ed., pp. 343-344), so a lane that carries the
share of flow around F has a holding time of θ = 1/(2·sqrt(1 − F)).
"""

from __future__ import annotations

import math
from collections import Counter, deque
from random import Random


class Lane:
    """First in, first out."""

    def __init__(self, name: str, grams: float) -> None:
        self.parcels: deque[list] = deque([[name, grams]])
        self.held = grams

    def put(self, name: str, grams: float) -> None:
        if grams <= 0:
            return
        if self.parcels and self.parcels[-1][0] == name:
            self.parcels[-1][1] += grams
        else:
            self.parcels.append([name, grams])
        self.held += grams

    def take(self, grams: float, out: Counter) -> None:
        assert grams <= self.held + 1e-6, "more was taken out of a lane than it holds"
        self.held -= grams
        while grams > 1e-12:
            parcel = self.parcels[0]
            part = min(parcel[1], grams)
            out[parcel[0]] += part
            parcel[1] -= part
            grams -= part
            if parcel[1] <= 1e-12:
                if len(self.parcels) == 1:
                    break
                self.parcels.popleft()


class Hose:
    """Rings of flow side by side, each first in, first out, each with the same part of the flow.

    *spread* 0 is plug flow, 1 laminar. Each ring's holding time is rounded towards plug, so that the staircase the rings make
    lies between plug and laminar everywhere; no ring holds back longer than *clean_after* contents.
    """

    def __init__(self, content: float, *, spread: float, clean_after: int, rings: int = 48) -> None:
        assert rings % 4 == 0  # so that the ring boundary falls on θ = 1, where F = 3/4
        self.times = []
        for n in range(rings):
            later, sooner = (n + 1) / rings, n / rings
            theta = 1 / (2 * math.sqrt(1 - (later if later <= 0.75 else sooner)))
            self.times.append(min(1 + spread * (theta - 1), clean_after))
        self.content = content
        self.connected = ""
        self.lanes = [Lane("", content * t / rings) for t in self.times]

    def becomes(self, content: float) -> None:
        """From now on the hose holds this much: more flows in than out until it does, or less."""
        self.content = content

    def draw(self, grams: float, *, dry: bool = False) -> Counter:
        """Grams of each material that come out; *dry*: nothing goes in meanwhile."""
        out: Counter = Counter()
        for lane, time in zip(self.lanes, self.times, strict=True):
            part = grams / len(self.lanes)
            if not dry:
                lane.put(self.connected, self.content * time / len(self.lanes) - (lane.held - part))
            lane.take(part, out)
        return out

    def can_run_dry(self) -> float:
        """Grams that can be drawn with nothing going in before the fastest ring is empty, now or after ordinary draws."""
        room = [self.content * time / len(self.lanes) for time in self.times]
        return 0.999 * len(self.lanes) * min(map(min, room, (lane.held for lane in self.lanes)))

    def spill(self, part: float) -> None:
        """Lose part of what the hose holds at its open end, undrawn."""
        for lane in self.lanes:
            lane.take(lane.held * part, Counter())

    def hook_up(self, name: str) -> None:
        self.connected = name

    def fill(self) -> None:
        """Fill what room there is with what is hooked up, before anything is drawn."""
        for lane, time in zip(self.lanes, self.times, strict=True):
            lane.put(self.connected, self.content * time / len(self.lanes) - lane.held)

    def empty(self) -> None:
        for lane in self.lanes:
            lane.parcels, lane.held = deque(), 0.0
        if self.connected:
            self.fill()


class Tube:
    """What two sides and a hopper give, on its way to the tire: rings side by side as in a hose, empty once it is blown out."""

    STEPS = 8  # per content: what comes in a step comes as one mixture

    def __init__(self, content: float, *, spread: float, clean_after: int, rings: int = 16) -> None:
        self.content = content
        times = Hose(content, spread=spread, clean_after=clean_after, rings=rings).times
        self.rooms = [content * time / sum(times) for time in times]  # together just the content
        self.rings: list[deque[list]] = []

    @property
    def is_empty(self) -> bool:
        return not self.rings

    def blow_out(self) -> None:
        self.rings = []

    def fill(self, mixture: Counter) -> None:
        """Fill it where it is empty; *mixture* weighs as much as it takes."""
        whole = sum(mixture.values())
        assert self.is_empty and abs(whole - self.content) < 1e-6 * whole
        parts = {name: grams / whole for name, grams in mixture.items()}
        self.rings = [deque([[parts, room]]) for room in self.rooms]

    def push(self, mixture: Counter) -> Counter:
        """*mixture* goes in at one end; as much comes out at the other."""
        whole, out = sum(mixture.values()), Counter()
        if whole <= 0:
            return out
        parts = {name: grams / whole for name, grams in mixture.items()}
        for ring in self.rings:
            left = whole / len(self.rings)
            ring.append([parts, left])
            while left > 1e-12:
                first = ring[0]
                some = min(first[1], left)
                for name, part in first[0].items():
                    out[name] += part * some
                first[1] -= some
                left -= some
                if first[1] <= 1e-12:
                    ring.popleft()
        return out


class Hopper:
    """Zones from top to bottom, each well mixed and each with the same part of what the hopper holds; 0 zones is plug.

    The level may be anything. What is poured in goes to the top zone and is passed on so that the zones stay equal; what is
    drawn leaves the bottom zone. With one zone each step is exact, with more they are cut small.
    """

    STEPS = 40  # per content

    def __init__(self, level: float, *, zones: int) -> None:
        self.zones = zones
        self.level = level
        self.lane = Lane("", level)
        self.mixed = [Counter({"": level / zones}) for _ in range(zones)]

    def _pass_on(self, number: int, grams: float) -> None:
        """Move grams of the mixture of one zone to the next below."""
        zone, below = self.mixed[number], self.mixed[number + 1]
        held = sum(zone.values())
        for name in list(zone):
            part = zone[name] * grams / held
            zone[name] -= part
            below[name] += part

    def _steps(self, grams: float, least_level: float) -> list[float]:
        if self.zones <= 1:
            return [grams]
        count = min(400, math.ceil(grams * self.STEPS / max(least_level, 1e-9)))
        return [grams / count] * count

    def pour(self, name: str, grams: float) -> None:
        if self.zones == 0:
            self.lane.put(name, grams)
            self.level += grams
            return
        for step in self._steps(grams, self.level):
            self.level += step
            self.mixed[0][name] += step
            for number in range(self.zones - 1):
                self._pass_on(number, step * (self.zones - 1 - number) / self.zones)

    def draw(self, grams: float) -> Counter:
        out: Counter = Counter()
        if self.zones == 0:
            self.lane.take(grams, out)
            self.level -= grams
            return out
        for step in self._steps(grams, self.level - grams):
            self.level -= step
            bottom = self.mixed[-1]
            held = sum(bottom.values())
            for name in list(bottom):
                part = bottom[name] * step / held
                bottom[name] -= part
                out[name] += part
            for number in range(self.zones - 1):
                self._pass_on(number, step * (number + 1) / self.zones)
        return out

    def held(self) -> Counter:
        if self.zones == 0:
            return _count(self.lane.parcels)
        total: Counter = Counter()
        for zone in self.mixed:
            total.update(zone)
        return total

    def empty(self) -> None:
        self.level = 0.0
        self.lane = Lane("", 0.0)
        self.lane.parcels.clear()
        self.mixed = [Counter() for _ in range(self.zones)]


def held_in(hose: Hose) -> Counter:
    """Grams of each material in a hose."""
    total: Counter = Counter()
    for lane in hose.lanes:
        total.update(_count(lane.parcels))
    return total


def _count(parcels) -> Counter:
    total: Counter = Counter()
    for name, grams in parcels:
        total[name] += grams
    return total


def somewhere(random: Random, low: float, high: float) -> float:
    """Between low and high, often at one of the ends, where the bounds are put to the test."""
    return random.choice((low, high, random.uniform(low, high)))
