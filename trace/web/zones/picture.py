"""A zone's history as a picture: where each thing stands, in shares of the width and in the shop's units. Nothing is drawn here.

The curve is stretched to the width of the screen, so it has a box of its own, `WIDE` by `HIGH`; words and shaded stretches stand
beside it at percentages, so that letters and hatching keep their shape on a phone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from fillbook.trace.core import times, units

WIDE, HIGH = 2_000, 240
HOUR, DAY = 3600, 86_400
TICK_HOURS = {1: 3, 7: 24, 30: 120}  # days shown -> hours between two marks on the axis
STEPS = {1: 2 * HOUR, 7: 12 * HOUR, 30: DAY}  # days shown -> the length of a row in the table


@dataclass(frozen=True)
class Tick:
    """A mark on an axis: its place in percent (across) or in the box (up), its words, and whether a narrow screen leaves it out."""

    at: float
    words: str
    sparse: bool = False


@dataclass(frozen=True)
class Stretch:
    """A shaded span: from and how wide in percent of the width, and what it says."""

    x: float
    wide: float
    words: str


@dataclass(frozen=True)
class Curve:
    """One logger: its name, the line through its lowest samples, and the band up to its highest."""

    sensor: str
    line: str
    band: str


@dataclass(frozen=True)
class Dot:
    """A reading by hand, or a flagged sample: across in percent, up in the box."""

    x: float
    y: float
    words: str


@dataclass(frozen=True)
class Picture:
    curves: list[Curve]
    limit_y: float
    limit_words: str
    across: list[Tick]
    up: list[Tick]
    unobserved: list[Stretch]
    doubts: list[Stretch]
    hands: list[Dot]
    flagged: list[Dot]


@dataclass(frozen=True)
class Line:
    """One row of the same as a table: seconds, thousandths of °C."""

    start: int
    end: int
    lowest: int | None
    highest: int | None
    warm_s: int
    cold_s: int
    unobserved_s: int


def draw(
    found: Mapping[str, Any], *, us: bool, zone: str, flagged: Iterable[tuple[int, int]] = ()
) -> Picture:
    """The picture of what `book.zones.history` found; *flagged* are samples in doubt (at, thousandths of °C), *zone* the shop's."""
    start, end, limit = found["start"], found["end"], found["limit_mc"]
    flagged = list(flagged)
    hands = [(at, mc) for at, mc, _ in found["readings"]]
    values = [mc for one in found["loggers"] for _, low, high in one["points"] for mc in (low, high)]
    values += [mc for _, mc in [*hands, *flagged]] + [limit]
    unit = "f" if us else "c"
    low, high, step = _range([float(units.in_unit("temperature", mc, unit)) for mc in values], us)

    def x(at: int) -> float:
        return round(100 * (at - start) / (end - start), 2)

    def y(mc: int) -> float:
        return round(HIGH * (high - float(units.in_unit("temperature", mc, unit))) / (high - low), 1)

    def say(mc: int) -> str:
        return units.show("temperature", mc, unit)

    def stretch(first: int, last: int, words: str) -> Stretch:
        first, last = max(first, start), min(last, end)
        return Stretch(x(first), max(0.4, round(x(last) - x(first), 2)), words)

    curves = []
    for one in found["loggers"]:
        runs = _runs(one["points"], one["gap_s"], found["gaps"])
        at = [
            [(round(WIDE * (t - start) / (end - start)), y(lo), y(hi)) for t, lo, hi in run] for run in runs
        ]
        line = " ".join("M" + " ".join(f"{px} {lo:g}" for px, lo, _ in run) for run in at)
        band = " ".join(
            "M"
            + " ".join(
                [*(f"{px} {hi:g}" for px, _, hi in run), *(f"{px} {lo:g}" for px, lo, _ in reversed(run))]
            )
            + "Z"
            for run in at
            if any(lo != hi for _, lo, hi in run)
        )
        curves.append(Curve(one["sensor"], line, band))
    return Picture(
        curves, y(limit), say(limit), _across(start, end, zone, x),
        [Tick(HIGH * (high - v) / (high - low), f"{v:g}") for v in _marks(low, high, step)],
        [stretch(a, b, f"unobserved {times.hours(min(b, end) - max(a, start))}") for a, b in found["gaps"]],
        [stretch(d["first_at"], d["last_at"], d["words"]) for d in found["doubts"]],
        [Dot(x(at), y(mc), f"by hand {say(mc)} at {times.show(at, zone)}") for at, mc in hands if start <= at <= end],
        [Dot(x(at), y(mc), f"not credited: {say(mc)} at {times.show(at, zone)}") for at, mc in flagged],
    )  # fmt: skip


def _range(values: list[float], us: bool) -> tuple[float, float, int]:
    """The least and greatest value of the axis and the step between its marks; never so narrow that a tenth looks like a fall."""
    least = 10.0 if us else 6.0
    low, high = min(values), max(values)
    if high - low < least:
        low, high = (low + high - least) / 2, (low + high + least) / 2
    step = next((s for s in (2, 5, 10, 20, 50, 100) if (high - low) / s <= 6), 200)
    return (
        math.floor((low - 0.04 * (high - low)) / step) * step,
        math.ceil((high + 0.04 * (high - low)) / step) * step,
        step,
    )


def _marks(low: float, high: float, step: int) -> list[float]:
    return [low + n * step for n in range(1, round((high - low) / step))]


def _runs(
    points: list[tuple[int, int, int]], gap_s: int, gaps: list[tuple[int, int]]
) -> list[list[tuple[int, int, int]]]:
    """The points parted where nobody measured: a line across a gap would tell what nobody knows."""
    runs: list[list[tuple[int, int, int]]] = []
    begins = [a for a, _ in gaps]
    n = 0
    for point in points:
        while n < len(begins) and runs and begins[n] < runs[-1][-1][0]:
            n += 1
        broken = not runs or (n < len(begins) and runs[-1][-1][0] <= begins[n] < point[0])
        if broken:
            runs.append([])
        runs[-1].append(point)
    return runs


def _across(start: int, end: int, zone: str, x: Any) -> list[Tick]:
    """Marks at whole hours, or at midnights, of the shop's clock; a day that has 23 or 25 hours has its own width."""
    days = max(1, round((end - start) / DAY))
    hours = TICK_HOURS.get(days, 24)
    here = times.local(start, zone).replace(tzinfo=None, minute=0, second=0, microsecond=0)
    wall = datetime(here.year, here.month, here.day)
    found = []
    while True:
        moments = times.moments(wall, zone)
        at = moments[0] if moments else None
        if at is not None and at > end:
            break
        if at is not None and at >= start:
            words = (
                f"{wall:%H:%M}"
                if hours < 24
                else f"{wall:%a} {wall.day}"
                if hours == 24
                else f"{wall:%b} {wall.day}"
            )
            if hours < 24 and wall.hour == 0:
                words = f"{wall:%a} {wall.day}"
            place = x(at)
            if 2 <= place <= 97:
                found.append(Tick(place, words if 7 <= place <= 93 else "", len(found) % 2 == 1))
        wall += timedelta(hours=hours)
    return found


def rows(found: Mapping[str, Any], days: int) -> list[Line]:
    """The same as a table: stretches of even length, newest first.

    Warm and cold are counted on the straight line through each logger's lowest samples, the lowest logger deciding at each sample;
    they say what the picture says, for whoever can't see it. Credit is counted by the cure clock alone.
    """
    start, end, step, limit = found["start"], found["end"], STEPS.get(days, DAY), found["limit_mc"]
    made = []
    for first in range(end - step, start - step, -step):
        a, b = max(first, start), first + step
        inside = [(t, lo, hi) for one in found["loggers"] for t, lo, hi in one["points"] if a <= t <= b]
        unobserved = sum(max(0, min(d, b) - max(c, a)) for c, d in found["gaps"])
        warm, cold = _warm_and_cold(found, a, b, limit)
        made.append(
            Line(a, b, min((p[1] for p in inside), default=None), max((p[2] for p in inside), default=None), warm,
                 cold, unobserved)
        )  # fmt: skip
    return made


def _warm_and_cold(found: Mapping[str, Any], start: int, end: int, limit: int) -> tuple[int, int]:
    """Seconds of [start, end] in which every logger that told something lay at or above *limit*, and in which one lay below."""
    cold: list[tuple[float, float]] = []
    seen: list[tuple[float, float]] = []
    for one in found["loggers"]:
        for run in _runs(one["points"], one["gap_s"], found["gaps"]):
            for (t0, v0, _), (t1, v1, _) in pairwise(run):
                if t1 <= start or t0 >= end:
                    continue
                seen.append((max(t0, start), min(t1, end)))
                if v0 < limit or v1 < limit:
                    cross = (
                        t0 + (limit - v0) * (t1 - t0) / (v1 - v0) if (v0 < limit) != (v1 < limit) else None
                    )
                    a, b = (t0, t1) if cross is None else (t0, cross) if v0 < limit else (cross, t1)
                    cold.append((max(a, start), min(b, end)))
    below = round(_length([span for span in cold if span[1] > span[0]]))
    return max(0, round(_length(seen)) - below), below


def _length(spans: list[tuple[float, float]]) -> float:
    total, until = 0.0, -math.inf
    for a, b in sorted(spans):
        if b > until:
            total += b - max(a, until)
            until = b
    return total
