"""The cure clock: how many hours a filled tire has lain warm enough, and when it will have lain long enough.

The clock starts at the end of the last draw; credit starts a lag later, because the tire follows the room slowly. Time in a zone
at or above the limit is credited, on the straight line between two samples, rounded down to whole seconds once per stretch
between samples. What nobody measured is never credited: a gap in the samples longer than the sensor's limit, and all time outside
a zone, are *unobserved*. Hand readings credit *attended* time, kept apart, because they count for the standard release only.

Credited hours and equivalent hours (`equivalent_seconds`) differ twofold in real rooms: they are two numbers, never one.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import NamedTuple

from fillbook.trace.core.errors import Nonsense

DAY_S = 24 * 3600
FORECAST_FROM_S = 2 * DAY_S  # the forecast lets the zone's last two days come again
FORECAST_UPTO_S = 14 * DAY_S  # nobody plans by a forecast for later than that
GAS_CONSTANT = 8.314462618  # J/(mol K), exact since the SI of 2019
ZERO_C_MK = 273_150  # 0 °C in thousandths of a kelvin

Exact = int | Fraction
Span = tuple[int, int]


class Sample(NamedTuple):
    """One logger sample: epoch seconds, thousandths of °C."""

    at: int
    mc: int


@dataclass(frozen=True)
class Rule:
    """What this tire's cure is measured by: thousandths of °C and of a kelvin, seconds.

    ``lag_s`` and ``added_s`` are those of the tire's section class; ``added_s`` counts after a cold start only. ``rules`` numbers
    the shop's set of rules and is frozen into a release. Defaults: 72 °F, 24 and 48 h are *common practice*.
    """

    limit_mc: int = 22_222
    near_mk: int = 1_111
    earliest_s: int = 24 * 3600
    standard_s: int = 48 * 3600
    attended_gap_s: int = 12 * 3600
    rules: int = 1
    lag_s: int = 0
    added_s: int = 0
    activation_j_mol: int = 0  # from the supplier's data sheet; 0: none is given


@dataclass(frozen=True)
class Stay:
    """A tire lay in *zone* from ``start`` to ``end`` (epoch seconds); ``end`` is None while it lies there still."""

    zone: str
    start: int
    end: int | None = None


@dataclass(frozen=True)
class Reading:
    """A thermometer in *zone* read by hand at ``at``: thousandths of °C.

    With ``lowest_since`` it is a min/max thermometer: ``mc`` is then the lowest since that time, when it was reset.
    """

    zone: str
    at: int
    mc: int
    lowest_since: int | None = None


@dataclass(frozen=True)
class Sensor:
    """A logger's samples in order of time. Longer gaps than ``gap_s`` are unobserved; ``tolerance_mk`` is taken off every sample.

    ``offset_mk``, from a calibration, is added to every sample. The logger hung in its zone from ``since`` (epoch seconds; None: for
    as long as the zone is looked at) until ``until`` (None: it still does); outside that time it says nothing and is not missed, so
    a logger that took another's place leaves no gap but the one between their samples. ``breaks`` are times at which a doubtful
    sample was left out: the stretch around one is unobserved, however short.
    """

    samples: Sequence[tuple[int, int]]
    gap_s: int = 900
    tolerance_mk: int = 0
    offset_mk: int = 0
    since: int | None = None
    until: int | None = None
    breaks: Sequence[int] = ()
    _tracks: dict[tuple[int, int, int], _Track] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def hangs_at(self, at: int) -> bool:
        """Whether it hung in its zone just after *at*."""
        return (self.since is None or self.since <= at) and (self.until is None or at < self.until)


@dataclass(frozen=True)
class Hours:
    """A window of time parted into seconds; the four sum to the length of the window."""

    credited_s: int = 0
    near_s: int = 0
    below_s: int = 0
    unobserved_s: int = 0


@dataclass(frozen=True)
class Cure:
    """What the clock of one tire says at ``now`` (epoch seconds; lengths in seconds).

    ``credited_s + attended_s + near_s + below_s + unobserved_s`` is the time since ``credit_from``. ``needed_earliest_s`` is None
    after a cold start. ``first_reached_…_at`` is the exact second at which the credit was enough, None before that. ``ready_…_at``
    is the same second once reached, else a forecast, or None where nothing can be foretold; ``basis`` says in words which.
    ``equivalent_s`` is what the observed time came to at the limit's temperature where an activation energy is given, else None.
    """

    started_at: int
    now: int
    credit_from: int
    credited_s: int
    attended_s: int
    near_s: int
    below_s: int
    unobserved_s: int
    limit_mc: int
    rules: int
    cold_start: bool
    added_s: int
    needed_earliest_s: int | None
    needed_standard_s: int
    first_reached_earliest_at: int | None
    first_reached_standard_at: int | None
    ready_earliest_at: int | None
    ready_standard_at: int | None
    zone: str | None
    basis: str
    equivalent_s: int | None = None


Sensors = Mapping[str, Sensor | Sequence[Sensor]]


def credited(
    samples: Sequence[tuple[int, int]],
    start: int,
    end: int,
    limit_mc: int,
    gap_s: int = 900,
    near_mk: int = 1_111,
    tolerance_mk: int = 0,
) -> Hours:
    """The window [start, end] by what one logger's *samples* (epoch seconds, thousandths of °C; in order of time) say of it.

    Credited is the time at or above *limit_mc* on the straight lines between samples, rounded down once per stretch between two
    samples; near, the time at most *near_mk* below the limit. A stretch that begins before the window or ends after it counts
    with the part inside. *tolerance_mk* is taken off every sample first.

    >>> credited([(0, 22_000), (600, 23_000)], 0, 600, limit_mc=22_500)
    Hours(credited_s=300, near_s=300, below_s=0, unobserved_s=0)
    >>> credited([(0, 23_000), (901, 23_000)], 0, 901, limit_mc=22_500)
    Hours(credited_s=0, near_s=0, below_s=0, unobserved_s=901)

    Raises Nonsense where the window ends before it starts or the samples are not in order of time.
    """
    if end < start:
        raise Nonsense("The hours asked for end before they start: swap the two times.")
    hours = [0, 0, 0, 0]
    for begin, until, lines in _stretches((Sensor(samples, gap_s, tolerance_mk),), start, end):
        if lines is None:
            hours[3] += until - begin
            continue
        warm = _whole(_warm(lines, begin, until, limit_mc))
        nearly = _whole(_warm(lines, begin, until, limit_mc - near_mk))
        hours[0] += warm
        hours[1] += nearly - warm
        hours[2] += until - begin - nearly
    return Hours(*hours)


def attended(
    readings: Iterable[Reading],
    start: int,
    end: int,
    rule: Rule,
    samples: Sequence[tuple[int, int]] = (),
) -> int:
    """Seconds of [start, end] that hand readings of one zone vouch for.

    Two neighbouring readings at most ``rule.attended_gap_s`` apart, both at or above the limit, vouch for the time between them;
    a min/max thermometer, for the time since its reset where the lowest is at or above the limit. A low reading inside such a
    span, or a logger sample in *samples* inside it, voids the span: where a logger measured, the logger counts.

    >>> attended([Reading("Z1", 0, 22_500), Reading("Z1", 43_200, 22_222)], 3600, 90_000, Rule())
    39600

    Raises Nonsense for readings of more than one zone, or a thermometer read before it was reset.
    """
    spans = _attended_spans(readings, rule, [Sensor(samples)] if samples else [])
    return sum(b - a for a, b in _within(spans, start, end))


def clock(
    started_at: int,
    stays: Iterable[Stay],
    sensors: Sensors,
    readings: Iterable[Reading],
    rule: Rule,
    now: int,
    *,
    cold_start: bool = False,
) -> Cure:
    """What the cure clock of a tire says at *now*.

    *started_at* is the end of the last draw. *sensors* holds the logger, or the loggers, of each zone: of several the lowest
    counts at every moment, and while one of them is silent the zone is unobserved, so leave out a logger that is out of service.
    Give samples from before the first stay to after *now* where there are any, and two days before *now* for the forecast.

    The forecast lets the last 48 h of the tire's zone come again and again, hour for hour; of a zone logged for less than a day, the
    credited share. There is none where nothing was credited, where it would lie over two weeks ahead, where the newest sample is
    older than two of the sensor's longest gaps, or where the tire lies in no zone.
    In a zone without logger the standard release is foretold while the newest hand reading is warm and not yet too old.

    >>> warm = Sensor([(hour * 3600, 23_000) for hour in range(60)], gap_s=3600)
    >>> cure = clock(0, [Stay("Z1", 0)], {"Z1": warm}, [], Rule(), now=30 * 3600)
    >>> cure.credited_s // 3600, cure.first_reached_earliest_at // 3600, cure.ready_standard_at // 3600
    (30, 24, 48)
    """
    stays, readings = _one_after_another(stays), tuple(readings)
    found = _earned(started_at, stays, sensors, readings, rule, now)
    needed_earliest = None if cold_start else rule.earliest_s
    needed_standard = rule.standard_s + (rule.added_s if cold_start else 0)
    earliest = None if needed_earliest is None else _when(found, needed_earliest, with_attended=False)
    standard = _when(found, needed_standard, with_attended=True)
    attended_s = sum(part.seconds for part in found.credits if isinstance(part, _Credit) and part.attended)
    credited_s = sum(part.seconds for part in found.credits) - attended_s
    lies_in = _stay_at(stays, now)
    rate = _rate(lies_in, sensors, readings, rule, now)
    foretell = _Foretell(rate, max(found.start, lies_in.start) if lies_in else found.start, now)
    foretold = (
        standard if standard is not None else foretell.ready_at(needed_standard - credited_s - attended_s)
    )
    basis = "reached" if standard is not None else rate.words
    if foretold is None and rate.sums:
        basis = "no forecast: as the zone was in the last 48 h it would take over two weeks"
    return Cure(
        started_at=started_at,
        now=now,
        credit_from=found.start,
        credited_s=credited_s,
        attended_s=attended_s,
        near_s=found.near_s,
        below_s=found.below_s,
        unobserved_s=found.unobserved_s,
        limit_mc=rule.limit_mc,
        rules=rule.rules,
        cold_start=cold_start,
        added_s=rule.added_s if cold_start else 0,
        needed_earliest_s=needed_earliest,
        needed_standard_s=needed_standard,
        first_reached_earliest_at=earliest,
        first_reached_standard_at=standard,
        ready_earliest_at=(
            earliest
            if earliest is not None or needed_earliest is None or rate.attended
            else foretell.ready_at(needed_earliest - credited_s)
        ),
        ready_standard_at=foretold,
        zone=lies_in.zone if lies_in else None,
        basis=basis,
        equivalent_s=_equivalent(found.start, stays, sensors, rule, now),
    )


def reached_at(
    started_at: int,
    stays: Iterable[Stay],
    sensors: Sensors,
    readings: Iterable[Reading],
    rule: Rule,
    now: int,
    needed_s: int,
    *,
    with_attended: bool = False,
) -> int | None:
    """The first whole second, up to *now*, at which the credit is *needed_s*; None where it is less at *now*.

    The other arguments are those of `clock`; attended time counts where *with_attended* says so.
    """
    found = _earned(started_at, _one_after_another(stays), sensors, tuple(readings), rule, now)
    return _when(found, needed_s, with_attended=with_attended)


# -- stretches between samples -------------------------------------------------------------------------------------------------
_Line = tuple[
    int, int, int, int
]  # from (epoch seconds, thousandths of °C) to (epoch seconds, thousandths of °C)
_Stretch = tuple[int, int, list[_Line] | None]


def _stretches(sensors: Sequence[Sensor], start: int, end: int) -> Iterator[_Stretch]:
    """[start, end] cut at every sample: each part with the sensors' lines over it, or None where one of them was silent."""
    if end <= start:
        return
    if not sensors:
        yield start, end, None
        return
    cuts = {start, end}
    at_hand = []
    for sensor in sensors:
        samples = sensor.samples
        first = max(0, bisect_right(samples, start, key=_time) - 1)
        last = bisect_left(samples, end, key=_time) + 1
        inside = samples[first:last]
        if any(a[0] >= b[0] for a, b in pairwise(inside)):
            raise Nonsense(
                "The samples are not in order of time, or two bear the same time: sort them and keep one."
            )
        at_hand.append((inside, sensor))
        cuts.update(at for at, _ in inside if start < at < end)
        cuts.update(at for at in (sensor.since, sensor.until) if at is not None and start < at < end)
    places = [0] * len(at_hand)
    for begin, until in pairwise(sorted(cuts)):
        lines: list[_Line] | None = []
        for n, (inside, sensor) in enumerate(at_hand):
            if not sensor.hangs_at(begin):
                continue
            place = places[n]
            while place + 1 < len(inside) and inside[place + 1][0] <= begin:
                place += 1
            places[n] = place
            if (
                place + 1 >= len(inside)
                or inside[place][0] > begin
                or inside[place + 1][0] - inside[place][0] > sensor.gap_s
                or (sensor.breaks and _any_within(sensor.breaks, inside[place][0], inside[place + 1][0]))
            ):
                lines = None
            elif lines is not None:
                (t0, m0), (t1, m1) = inside[place], inside[place + 1]
                shift = sensor.offset_mk - sensor.tolerance_mk
                lines.append((t0, m0 + shift, t1, m1 + shift))
        yield begin, until, lines or None


def _time(sample: tuple[int, int]) -> int:
    return sample[0]


def _warm(lines: Iterable[_Line], begin: int, until: int, limit_mc: int) -> tuple[Exact, Exact] | None:
    """The part of [begin, until] in which every line is at or above the limit: one span, exact, or none."""
    low: Exact = begin
    high: Exact = until
    for t0, m0, t1, m1 in lines:
        over, over_then = m0 - limit_mc, m1 - limit_mc
        if over < 0 and over_then < 0:
            return None
        if over < 0:
            low = max(low, t0 + Fraction(-over * (t1 - t0), over_then - over))
        elif over_then < 0:
            high = min(high, t0 + Fraction(over * (t1 - t0), over - over_then))
    return (low, high) if low < high else None


def _whole(span: tuple[Exact, Exact] | None) -> int:
    return 0 if span is None else math.floor(span[1] - span[0])


# -- the tire's way through the zones ------------------------------------------------------------------------------------------
class _Credit(NamedTuple):
    """Credit earned from a moment on, without a break."""

    since: Exact
    seconds: int
    attended: bool


class _Run(NamedTuple):
    """The credit of a logger's whole stretches from sample ``first`` to sample ``last``, summed up beforehand."""

    track: _Track
    first: int
    last: int

    @property
    def seconds(self) -> int:
        return self.track.credited[self.last] - self.track.credited[self.first]


@dataclass(frozen=True)
class _Earned:
    start: int
    credits: list[_Credit | _Run]
    near_s: int
    below_s: int
    unobserved_s: int


def _one_after_another(stays: Iterable[Stay]) -> list[Stay]:
    """The stays in order of time; one that overlaps the next ends where the next begins, since a tire lies in one place."""
    ordered = sorted(stays, key=lambda stay: stay.start)
    for n, (stay, later) in enumerate(pairwise(ordered)):
        if stay.end is None or stay.end > later.start:
            ordered[n] = Stay(stay.zone, stay.start, later.start)
    return ordered


def _earned(
    started_at: int,
    stays: Sequence[Stay],
    sensors: Sensors,
    readings: Sequence[Reading],
    rule: Rule,
    now: int,
) -> _Earned:
    start = started_at + rule.lag_s
    credits: list[_Credit | _Run] = []
    near = below = observed = vouched = 0
    for stay in stays:
        begin = max(start, stay.start)
        end = now if stay.end is None else min(now, stay.end)
        if end <= begin:
            continue
        loggers = _loggers(sensors, stay.zone)
        spans = _attended_spans((r for r in readings if r.zone == stay.zone), rule, loggers)
        for piece in _pieces(loggers, begin, end, rule, whole=not spans):
            if isinstance(piece, _Run):
                credits.append(piece)
                seen = piece.track.seen[piece.last] - piece.track.seen[piece.first]
                nearly = piece.track.nearly[piece.last] - piece.track.nearly[piece.first]
                observed += seen
                near += nearly - piece.seconds
                below += seen - nearly
                continue
            a, b, lines = piece
            if lines is None:
                hand = [_Credit(c, d - c, True) for c, d in _within(spans, a, b)]
                vouched += sum(part.seconds for part in hand)
                credits += hand
                continue
            warm = _warm(lines, a, b, rule.limit_mc)
            nearly = _whole(_warm(lines, a, b, rule.limit_mc - rule.near_mk))
            if warm and _whole(warm):
                credits.append(_Credit(warm[0], _whole(warm), False))
            observed += b - a
            near += nearly - _whole(warm)
            below += b - a - nearly
    return _Earned(start, credits, near, below, max(0, now - start) - observed - vouched)


class _Track:
    """Running sums at each sample of one logger, so that many tires in one zone share the counting of its whole stretches.

    Every sum counts stretch by stretch as `_earned` does, with the same rounding, and is 0 at the first sample.
    """

    def __init__(self, sensor: Sensor, rule: Rule) -> None:
        self.sensor, self.rule = sensor, rule
        shift = sensor.offset_mk - sensor.tolerance_mk
        limit, nearest = rule.limit_mc - shift, rule.limit_mc - shift - rule.near_mk
        q_k = rule.activation_j_mol / GAS_CONSTANT
        self.at = [at for at, _ in sensor.samples]
        lengths = [later - at for at, later in pairwise(self.at)]
        if lengths and min(lengths) <= 0:
            raise Nonsense(
                "The samples are not in order of time, or two bear the same time: sort them and keep one."
            )
        broken = _broken(self.at, sensor.breaks)
        seen = [
            length if length <= sensor.gap_s and n not in broken else 0 for n, length in enumerate(lengths)
        ]
        self.seen = [0, *accumulate(seen)]
        self.lowest = min((mc for _, mc in sensor.samples), default=limit)
        self.credited = self._at_or_above(limit, seen)
        self.nearly = self._at_or_above(nearest, seen)
        self.aged = [0.0] * len(self.seen)
        if q_k:
            aged = (
                _aged((t0, m0 + shift, t1, m1 + shift), t0, t1, q_k, rule.limit_mc) if length else 0.0
                for ((t0, m0), (t1, m1)), length in zip(pairwise(sensor.samples), seen, strict=True)
            )
            self.aged = list(accumulate(aged, initial=0.0))

    def _at_or_above(self, limit: int, seen: list[int]) -> list[int]:
        """The running sum of the whole seconds at or above *limit*; of a zone that was never below it, all that was seen."""
        if self.lowest >= limit:
            return self.seen
        parts = (
            length if m0 >= limit <= m1 or not length else _part(t0, m0, t1, m1, limit)
            for ((t0, m0), (t1, m1)), length in zip(pairwise(self.sensor.samples), seen, strict=True)
        )
        return [0, *accumulate(parts)]

    def reached(self, first: int, needed_s: int) -> int:
        """The whole second at which the credit since sample *first* came to *needed_s*, which it does."""
        n = bisect_left(self.credited, self.credited[first] + needed_s)
        (t0, m0), (t1, m1) = self.sensor.samples[n - 1 : n + 1]
        shift = self.sensor.offset_mk - self.sensor.tolerance_mk
        warm = _warm([(t0, m0 + shift, t1, m1 + shift)], t0, t1, self.rule.limit_mc)
        assert warm
        return math.ceil(warm[0] + (needed_s - self.credited[n - 1] + self.credited[first]))


def _broken(at: Sequence[int], breaks: Iterable[int]) -> set[int]:
    """The stretches, by the place of their first sample, on which or at an end of which a break lies."""
    found: set[int] = set()
    for one in breaks:
        found.update(range(bisect_left(at, one) - 1, bisect_right(at, one)))
    return found


def _part(t0: int, m0: int, t1: int, m1: int, limit: int) -> int:
    """Whole seconds of a stretch at or above *limit*, where one of its ends is below."""
    top = max(m0, m1) - limit
    return top * (t1 - t0) // abs(m1 - m0) if top > 0 else 0


def _track(sensor: Sensor, rule: Rule) -> _Track:
    key = (rule.limit_mc, rule.near_mk, rule.activation_j_mol)
    found = sensor._tracks.get(key)
    if found is None:
        found = sensor._tracks[key] = _Track(sensor, rule)
    return found


def _pieces(
    loggers: Sequence[Sensor], begin: int, end: int, rule: Rule, *, whole: bool
) -> Iterator[_Stretch | _Run]:
    """[begin, end] in stretches; where one logger alone counts and *whole* allows it, its whole stretches as one run."""
    there = [
        one
        for one in loggers
        if (one.since is None or one.since < end) and (one.until is None or one.until > begin)
    ]
    if (
        whole
        and len(there) == 1
        and there[0].hangs_at(begin)
        and (there[0].until is None or there[0].until >= end)
    ):
        track = _track(there[0], rule)
        first, last = bisect_left(track.at, begin), bisect_right(track.at, end) - 1
        if first < last:
            yield from _stretches(there, begin, track.at[first])
            yield _Run(track, first, last)
            yield from _stretches(there, track.at[last], end)
            return
    yield from _stretches(there, begin, end)


def _equivalent(start: int, stays: Sequence[Stay], sensors: Sensors, rule: Rule, now: int) -> int | None:
    """Whole seconds at the limit's temperature that cured as far as the observed time did; of several loggers the coldest counts."""
    if not rule.activation_j_mol:
        return None
    q_k = rule.activation_j_mol / GAS_CONSTANT
    total = 0.0
    for stay in stays:
        end = now if stay.end is None else min(now, stay.end)
        for piece in _pieces(_loggers(sensors, stay.zone), max(start, stay.start), end, rule, whole=True):
            if isinstance(piece, _Run):
                total += piece.track.aged[piece.last] - piece.track.aged[piece.first]
                continue
            a, b, lines = piece
            if lines:
                coldest = min(lines, key=lambda line: _on(line, a) + _on(line, b))
                total += _aged(coldest, a, b, q_k, rule.limit_mc)
    return math.floor(total)


def _loggers(sensors: Sensors, zone: str) -> list[Sensor]:
    found = sensors.get(zone, ())
    return [found] if isinstance(found, Sensor) else list(found)


def _when(found: _Earned, needed_s: int, *, with_attended: bool) -> int | None:
    if needed_s <= 0:
        return found.start
    for part in found.credits:
        if isinstance(part, _Credit) and part.attended and not with_attended:
            continue
        if part.seconds >= needed_s:
            return (
                part.track.reached(part.first, needed_s)
                if isinstance(part, _Run)
                else math.ceil(part.since + needed_s)
            )
        needed_s -= part.seconds
    return None


# -- hand readings -------------------------------------------------------------------------------------------------------------
def _attended_spans(readings: Iterable[Reading], rule: Rule, loggers: Iterable[Sensor]) -> list[Span]:
    """The spans that hand readings of one zone vouch for, in order, apart from each other."""
    readings = tuple(readings)
    if len({reading.zone for reading in readings}) > 1:
        raise Nonsense("Hand readings of several zones were given as those of one: take each zone by itself.")
    lowest: dict[int, int] = {}
    for reading in readings:
        lowest[reading.at] = min(reading.mc, lowest.get(reading.at, reading.mc))
    cold = sorted(at for at, mc in lowest.items() if mc < rule.limit_mc)
    good = [(a, b) for a, b in pairwise(sorted(lowest)) if b - a <= rule.attended_gap_s]
    bad: list[Span] = []
    for reading in readings:
        if reading.lowest_since is None:
            continue
        if reading.lowest_since >= reading.at:
            raise Nonsense("A min/max thermometer was read before it was reset: check the two times.")
        (bad if reading.mc < rule.limit_mc else good).append((reading.lowest_since, reading.at))
    good = [
        (a, b)
        for a, b in good
        if not _any_within(cold, a, b) and not any(_sampled(logger, a, b) for logger in loggers)
    ]
    return _without(_joined(good), _joined(bad))


def _any_within(times: Sequence[int], a: int, b: int) -> bool:
    return bisect_left(times, a) < bisect_right(times, b)


def _sampled(logger: Sensor, a: int, b: int) -> bool:
    return bisect_left(logger.samples, a, key=_time) < bisect_right(logger.samples, b, key=_time)


def _joined(spans: Iterable[Span]) -> list[Span]:
    found: list[Span] = []
    for a, b in sorted(spans):
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(b, found[-1][1]))
        else:
            found.append((a, b))
    return found


def _without(spans: Iterable[Span], bad: Sequence[Span]) -> list[Span]:
    found = []
    for a, b in spans:
        for c, d in bad:
            if d <= a or c >= b:
                continue
            if c > a:
                found.append((a, c))
            a = d
        if a < b:
            found.append((a, b))
    return found


def _within(spans: Iterable[Span], start: int, end: int) -> list[Span]:
    return [(max(a, start), min(b, end)) for a, b in spans if max(a, start) < min(b, end)]


# -- the forecast --------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class _Rate:
    """What the zone credited lately, up to ``anchor``: ``times`` and the running ``sums`` of credit at them; none where there is no forecast.

    ``even`` takes it as spread evenly, for want of a whole day to repeat.
    """

    words: str
    anchor: int = 0
    times: Sequence[int] = ()
    sums: Sequence[int] = ()
    even: bool = False
    attended: bool = False


@dataclass(frozen=True)
class _Foretell:
    rate: _Rate
    start: int
    now: int

    def ready_at(self, remaining_s: int) -> int | None:
        """When the credit is enough, if what the zone credited lately comes again and again in the same order."""
        times, sums = self.rate.times, self.rate.sums
        if not sums:
            return None
        # from the newest sample, not from now: in a room always warm the forecast then stands still
        since = max(self.rate.anchor, self.start)
        length, whole = times[-1] - times[0], sums[-1]
        if self.rate.even:
            at = since - (-remaining_s * length) // whole
        else:
            begun = (since - self.rate.anchor) % length
            cycles, rest = divmod(remaining_s + _sum_at(times, sums, times[0] + begun), whole)
            if not rest:
                cycles, rest = cycles - 1, whole
            n = bisect_left(sums, rest)
            t0, t1, s0, s1 = times[n - 1], times[n], sums[n - 1], sums[n]
            at = since - begun + cycles * length + t0 - times[0] - (-(rest - s0) * (t1 - t0)) // (s1 - s0)
        return max(self.now, at) if at <= self.now + FORECAST_UPTO_S else None


def _sum_at(times: Sequence[int], sums: Sequence[int], at: int) -> int:
    """The running sum at *at*, evenly between two times."""
    n = min(max(1, bisect_left(times, at)), len(times) - 1)
    return sums[n - 1] + (sums[n] - sums[n - 1]) * (at - times[n - 1]) // (times[n] - times[n - 1])


def _stay_at(stays: Sequence[Stay], now: int) -> Stay | None:
    for stay in reversed(stays):
        if stay.start <= now:
            return stay if stay.end is None or stay.end > now else None
    return None


def _rate(lies_in: Stay | None, sensors: Sensors, readings: Sequence[Reading], rule: Rule, now: int) -> _Rate:
    if lies_in is None:
        return _Rate("no forecast: the tire lies in no zone")
    zone = lies_in.zone
    loggers = _loggers(sensors, zone)
    hanging = [logger for logger in loggers if logger.hangs_at(now)]
    if not any(len(logger.samples) for logger in hanging):
        return _hand_rate([r for r in readings if r.zone == zone and r.at <= now], rule, now)
    newest, first = now, now - FORECAST_FROM_S
    for logger in hanging:
        upto = bisect_right(logger.samples, now, key=_time)
        if not upto or now - logger.samples[upto - 1][0] > 2 * logger.gap_s:
            return _Rate("no forecast: the logger of the zone is silent")
        newest = min(newest, logger.samples[upto - 1][0])
    logged = [logger.samples[0][0] for logger in hanging if logger.since is None] or [
        min(logger.samples[0][0] for logger in loggers if logger.samples)
    ]
    first = max(first, *logged)
    days = (newest - first) // DAY_S
    if days:  # whole days only, so that each hour of the day counts as often as every other
        first = newest - days * DAY_S
    times, sums = [first], [0]
    for piece in _pieces(loggers, first, newest, rule, whole=True):
        if isinstance(piece, _Run):
            track, before = piece.track, piece.track.credited[piece.first]
            times += track.at[piece.first + 1 : piece.last + 1]
            sums += [
                sums[-1] + credit - before for credit in track.credited[piece.first + 1 : piece.last + 1]
            ]
        else:
            times.append(piece[1])
            sums.append(
                sums[-1] + (_whole(_warm(piece[2], piece[0], piece[1], rule.limit_mc)) if piece[2] else 0)
            )
    if not sums[-1]:
        return _Rate("no forecast: the zone has not been warm enough in the last 48 h")
    return _Rate("forecast: if the zone goes on as in the last 48 h", newest, times, sums, even=not days)


def _hand_rate(readings: Sequence[Reading], rule: Rule, now: int) -> _Rate:
    newest = max((reading.at for reading in readings), default=None)
    if newest is None or now - newest > rule.attended_gap_s:
        return _Rate("no forecast: the zone has no logger and no fresh hand reading", attended=True)
    if min(reading.mc for reading in readings if reading.at == newest) < rule.limit_mc:
        return _Rate("no forecast: the newest hand reading is below the limit", attended=True)
    return _Rate(
        "forecast: if the hand readings go on in time and stay warm",
        newest,
        (0, 1),
        (0, 1),
        even=True,
        attended=True,
    )


# -- heat: figures beside the credited hours -----------------------------------------------------------------------------------
_NODES = (
    (-math.sqrt(0.6), 5 / 18),
    (0.0, 8 / 18),
    (math.sqrt(0.6), 5 / 18),
)  # Gauss and Legendre, three points, over [-1, 1]
_STEP_MK = 2_000  # the rate is all but a parabola over two kelvin


def degree_seconds(
    samples: Sequence[tuple[int, int]],
    base_mc: int,
    start: int | None = None,
    end: int | None = None,
    gap_s: int | None = None,
) -> Fraction:
    """The area between the straight lines through *samples* and *base_mc*, where they lie above it: thousandths of a kelvin × s.

    The maturity of Nurse and Saul (ASTM C1074), M = Σ (T − T₀) Δt with nothing below T₀, exact also where a line crosses T₀.
    Without *start* and *end*, from the first sample to the last; without *gap_s*, over gaps of any length.

    >>> int(degree_seconds([(0, -10_000), (20 * 3600, 10_000)], 0)) / 3_600_000
    50.0
    """
    area = Fraction(0)
    for a, b, line in _lines(samples, start, end, gap_s):
        span = _warm([line], a, b, base_mc)
        if span:
            over = sum(_on(line, moment) - base_mc for moment in span)
            area += Fraction(over) * (span[1] - span[0]) / 2
    return area


def age_factor(mc: float, q_k: float, reference_mc: int) -> float:
    """How many times as fast as at *reference_mc* a cure runs at *mc* (thousandths of °C): exp(−Q (1/T − 1/Tₛ)), ASTM C1074.

    *q_k* is the activation energy over the gas constant, in kelvin; the material supplier has to give it.

    >>> round(age_factor(30_000, 5_000, 20_000), 6)
    1.755282
    """
    if mc <= -ZERO_C_MK or reference_mc <= -ZERO_C_MK:
        raise Nonsense("A temperature lies at or below absolute zero: check the value and its unit.")
    return math.exp(-q_k * (1000 / (mc + ZERO_C_MK) - 1000 / (reference_mc + ZERO_C_MK)))


def equivalent_seconds(
    samples: Sequence[tuple[int, int]],
    q_k: float,
    reference_mc: int,
    start: int | None = None,
    end: int | None = None,
    gap_s: int | None = None,
) -> float:
    """Seconds at *reference_mc* that cure as far as the temperatures of *samples* did: the integral of `age_factor` over time.

    Equivalent age of ASTM C1074 (Freiesleben Hansen and Pedersen), on the straight lines between samples. Arguments as in
    `degree_seconds` and `age_factor`.
    """
    return sum(_aged(line, a, b, q_k, reference_mc) for a, b, line in _lines(samples, start, end, gap_s))


def _aged(line: _Line, a: int, b: int, q_k: float, reference_mc: int) -> float:
    """The integral of `age_factor` over [a, b] on *line*."""
    from_mc, to_mc = float(_on(line, a)), float(_on(line, b))
    steps = 1 + int(abs(to_mc - from_mc) / _STEP_MK)
    climb = (to_mc - from_mc) / steps
    total = 0.0
    for n in range(steps):
        middle = from_mc + (n + 0.5) * climb
        for node, weight in _NODES:
            total += weight * age_factor(middle + node * climb / 2, q_k, reference_mc) * (b - a) / steps
    return total


def mean_kinetic_mc(
    samples: Sequence[tuple[int, int]],
    q_k: float = 10_000,
    start: int | None = None,
    end: int | None = None,
    gap_s: int | None = None,
) -> float | None:
    """The steady temperature, in thousandths of °C, that ages a thing as the temperatures of *samples* did; None without samples.

    T = Q / −ln(mean of exp(−Q/T)), Haynes 1971, USP <1079.2>; *q_k* of 10 000 K is that of the pharmacopoeia (from memory).
    Arguments as in `equivalent_seconds`.
    """
    length = sum(b - a for a, b, _ in _lines(samples, start, end, gap_s))
    if not length or not q_k:
        return None
    middle = sorted(mc for _, mc in samples)[len(samples) // 2]
    mean = equivalent_seconds(samples, q_k, middle, start, end, gap_s) / length
    return 1000 / (1000 / (middle + ZERO_C_MK) - math.log(mean) / q_k) - ZERO_C_MK


def mean_kinetic_of(
    parts: Sequence[tuple[Sequence[tuple[int, int]], int, int, int]], q_k: float = 10_000
) -> tuple[float, int] | None:
    """`mean_kinetic_mc` over several stays, each (samples, start, end, longest gap): thousandths of °C and the seconds observed.

    None where nothing was observed.
    """
    reference = 20_000  # any will do: it cancels out
    aged, length = 0.0, 0
    for samples, start, end, gap_s in parts:
        for a, b, line in _lines(samples, start, end, gap_s):
            aged += _aged(line, a, b, q_k, reference)
            length += b - a
    if not length:
        return None
    return 1000 / (1000 / (reference + ZERO_C_MK) - math.log(aged / length) / q_k) - ZERO_C_MK, length


def _lines(
    samples: Sequence[tuple[int, int]], start: int | None, end: int | None, gap_s: int | None
) -> Iterator[tuple[int, int, _Line]]:
    if not samples:
        return
    start = samples[0][0] if start is None else start
    end = samples[-1][0] if end is None else end
    longest = samples[-1][0] - samples[0][0] if gap_s is None else gap_s
    for a, b, lines in _stretches((Sensor(samples, longest),), start, end):
        if lines:
            yield a, b, lines[0]


def _on(line: _Line, moment: Exact) -> Exact:
    """The temperature of *line* at *moment*."""
    t0, m0, t1, m1 = line
    return m0 + Fraction(m1 - m0) * (moment - t0) / (t1 - t0)
