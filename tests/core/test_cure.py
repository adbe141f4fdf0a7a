"""The cure clock, at its edges, by its properties, and against published figures."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from vega_datasets import data

from fillbook.trace.core import cure
from fillbook.trace.core.cure import (
    Hours,
    Reading,
    Rule,
    Sample,
    Sensor,
    Stay,
    attended,
    clock,
    credited,
    reached_at,
)
from fillbook.trace.core.errors import Nonsense

H = 3600
LIMIT = 22_222  # 72 °F
ZONE = "BHZ2600001A"


def steady(mc: int, hours: int, every: int = 300, start: int = 0) -> list[Sample]:
    return [Sample(at, mc) for at in range(start, start + hours * H + 1, every)]


def warm_zone(hours: int = 200, mc: int = 23_000) -> dict[str, Sensor]:
    return {ZONE: Sensor(steady(mc, hours))}


# -- one logger ----------------------------------------------------------------------------------------------------------------
def test_a_sample_exactly_at_the_limit_counts():
    assert credited(steady(LIMIT, 1), 0, H, LIMIT) == Hours(credited_s=H)
    assert credited(steady(LIMIT - 1, 1), 0, H, LIMIT) == Hours(near_s=H)


def test_two_degrees_fahrenheit_below_is_near_and_a_thousandth_more_is_below():
    assert credited(steady(LIMIT - 1_111, 1), 0, H, LIMIT) == Hours(near_s=H)
    assert credited(steady(LIMIT - 1_112, 1), 0, H, LIMIT) == Hours(below_s=H)


def test_a_gap_a_second_too_long_credits_nothing():
    assert credited([(0, 23_000), (900, 23_000)], 0, 900, LIMIT) == Hours(credited_s=900)
    assert credited([(0, 23_000), (901, 23_000)], 0, 901, LIMIT) == Hours(unobserved_s=901)
    assert credited([(0, 23_000), (3900, 23_000)], 0, 3900, LIMIT, gap_s=3900) == Hours(credited_s=3900)


def test_the_crossing_lies_on_the_straight_line():
    # 21 to 23 °C in 900 s is at 22.222 °C after 900 × 1222 / 2000 = 549.9 s, and 1.111 below it after 49.95 s
    rising = credited([(0, 21_000), (900, 23_000)], 0, 900, LIMIT)
    assert rising == Hours(credited_s=350, near_s=500, below_s=50)
    falling = credited([(0, 23_000), (900, 21_000)], 0, 900, LIMIT)
    assert falling == rising


def test_a_window_that_cuts_a_stretch_takes_the_part_inside():
    samples = [(0, 21_000), (900, 23_000)]
    assert credited(samples, 0, 549, LIMIT).credited_s == 0
    assert credited(samples, 600, 700, LIMIT).credited_s == 100
    assert credited(samples, 540, 560, LIMIT).credited_s == 10  # 549.9 to 560


def test_before_the_first_sample_and_after_the_last_nothing_is_known():
    assert credited(steady(23_000, 1), -100, H + 50, LIMIT) == Hours(credited_s=H, unobserved_s=150)
    assert credited([], 0, 10, LIMIT) == Hours(unobserved_s=10)
    assert credited([(5, 23_000)], 0, 10, LIMIT) == Hours(unobserved_s=10)


def test_the_tolerance_of_a_sensor_is_taken_off():
    assert credited(steady(LIMIT + 500, 1), 0, H, LIMIT, tolerance_mk=500).credited_s == H
    assert credited(steady(LIMIT + 499, 1), 0, H, LIMIT, tolerance_mk=500).credited_s == 0


@pytest.mark.parametrize("samples", [[(0, 1), (0, 2)], [(600, 1), (300, 1)]])
def test_samples_out_of_order_are_refused(samples):
    with pytest.raises(Nonsense, match="not in order of time"):
        credited(samples, -1000, 1000, LIMIT)


def test_a_window_that_ends_before_it_starts_is_refused():
    with pytest.raises(Nonsense, match="end before they start"):
        credited([], 10, 9, LIMIT)


series = st.lists(st.tuples(st.integers(1, 1_200), st.integers(20_000, 24_000)), min_size=2, max_size=12).map(
    lambda steps: [(sum(s for s, _ in steps[: n + 1]), mc) for n, (_, mc) in enumerate(steps)]
)


def exactly(samples, start, end, limit, gap_s) -> tuple[int, int, int]:
    """Whole seconds at or above the limit, with the lines' values at the cut edges, in fractions; observed; stretches."""
    warm = seen = parts = 0
    for (t0, m0), (t1, m1) in pairwise(samples):
        a, b = max(t0, start), min(t1, end)
        if a >= b or t1 - t0 > gap_s:
            continue
        seen, parts = seen + b - a, parts + 1
        slope = Fraction(m1 - m0, t1 - t0)
        at_a, at_b = m0 + slope * (a - t0) - limit, m0 + slope * (b - t0) - limit
        top, depth = max(at_a, at_b), -min(at_a, at_b)
        share = Fraction(1) if depth <= 0 else Fraction(0) if top < 0 else top / (top + depth)
        warm += math.floor(share * (b - a))
    return warm, seen, parts


@settings(max_examples=150, deadline=None)
@given(series, st.integers(-200, 8_000), st.integers(0, 8_000))
def test_hours_agree_with_exact_fractions_and_sum_to_the_window(samples, start, length):
    end = start + length
    found = credited(samples, start, end, LIMIT)
    warm, seen, _ = exactly(samples, start, end, LIMIT, 900)
    nearly, _, _ = exactly(samples, start, end, LIMIT - 1_111, 900)
    assert found == Hours(warm, nearly - warm, seen - nearly, length - seen)
    assert found.credited_s + found.near_s + found.below_s + found.unobserved_s == length


@settings(max_examples=100, deadline=None)
@given(series, st.data())
def test_lowering_a_sample_never_earns_credit(samples, choice):
    place = choice.draw(st.integers(0, len(samples) - 1))
    lower = list(samples)
    lower[place] = (samples[place][0], samples[place][1] - choice.draw(st.integers(1, 3_000)))
    assert credited(lower, 0, 8_000, LIMIT).credited_s <= credited(samples, 0, 8_000, LIMIT).credited_s


@settings(max_examples=100, deadline=None)
@given(series, st.data())
def test_losing_a_sample_never_shortens_what_is_unobserved(samples, choice):
    place = choice.draw(st.integers(0, len(samples) - 1))
    fewer = samples[:place] + samples[place + 1 :]
    assert credited(fewer, 0, 8_000, LIMIT).unobserved_s >= credited(samples, 0, 8_000, LIMIT).unobserved_s


@settings(max_examples=100, deadline=None)
@given(series, st.integers(0, 8_000))
def test_two_windows_add_up_but_for_one_second_of_rounding(samples, cut):
    whole = credited(samples, 0, 8_000, LIMIT).credited_s
    parts = credited(samples, 0, cut, LIMIT).credited_s + credited(samples, cut, 8_000, LIMIT).credited_s
    assert whole - 1 <= parts <= whole


def test_credited_seconds_agree_with_numpy_in_fine_steps():
    """numpy.interp at the middle of every tenth of a second is another way of reading the same lines."""
    rng = np.random.default_rng(8)
    at = np.cumsum(rng.integers(60, 900, 80))
    mc = 22_222 + np.cumsum(rng.integers(-400, 401, 80))
    samples = list(zip(at.tolist(), mc.tolist(), strict=True))
    start, end = samples[0][0], samples[-1][0]
    fine = np.arange(start, end, 0.1) + 0.05
    above = float((np.interp(fine, at, mc) >= LIMIT).sum()) / 10
    found = credited(samples, start, end, LIMIT).credited_s
    crossings = int((np.diff(np.sign(mc - LIMIT)) != 0).sum())
    assert crossings > 3
    assert found <= above + 0.1 * crossings
    assert found == pytest.approx(above, abs=1.1 * crossings)


# -- hand readings -------------------------------------------------------------------------------------------------------------
def read(at: int, mc: int = 23_000, since: int | None = None) -> Reading:
    return Reading(ZONE, at, mc, since)


def test_hand_readings_twelve_hours_apart_vouch_for_the_time_between():
    assert attended([read(0), read(12 * H)], 0, 48 * H, Rule()) == 12 * H
    assert attended([read(0), read(12 * H + 1)], 0, 48 * H, Rule()) == 0


def test_a_hand_reading_at_the_limit_counts_and_below_it_does_not():
    assert attended([read(0), read(6 * H, LIMIT)], 0, 48 * H, Rule()) == 6 * H
    assert attended([read(0), read(6 * H, LIMIT - 1), read(12 * H)], 0, 48 * H, Rule()) == 0


def test_only_the_part_inside_the_window_is_attended():
    assert attended([read(-6 * H), read(4 * H), read(10 * H)], 0, 5 * H, Rule()) == 5 * H


def test_a_min_max_thermometer_vouches_since_its_reset_however_long_ago():
    assert attended([read(72 * H, LIMIT, since=0)], 0, 80 * H, Rule()) == 72 * H
    assert attended([read(72 * H, LIMIT - 1, since=0)], 0, 80 * H, Rule()) == 0


def test_a_low_mark_voids_what_hand_readings_said_of_the_same_hours():
    readings = [read(0), read(10 * H), read(20 * H), read(12 * H, 20_000, since=8 * H)]
    # 0 to 8 h stays; the lowest mark lies in 8 to 12 h; 12 to 20 h begins with a reading of that thermometer, below the limit
    assert attended(readings, 0, 20 * H, Rule()) == 8 * H


def test_a_low_hand_reading_voids_the_min_max_span_around_it():
    assert attended([read(48 * H, since=0), read(20 * H, 20_000)], 0, 48 * H, Rule()) == 0


def test_where_a_logger_measured_the_logger_counts():
    hands = [read(0), read(10 * H), read(20 * H)]
    assert attended(hands, 0, 20 * H, Rule(), samples=[(12 * H, 23_000)]) == 10 * H


def test_readings_of_two_zones_are_never_paired():
    with pytest.raises(Nonsense, match="several zones"):
        attended([read(0), Reading("other", 60, 23_000)], 0, 60, Rule())


def test_a_thermometer_read_before_its_reset_is_refused():
    with pytest.raises(Nonsense, match="before it was reset"):
        attended([read(0, since=0)], 0, 60, Rule())


hand_readings = st.lists(
    st.builds(
        lambda at, mc, back: Reading(ZONE, at, mc, None if back is None else at - back),
        st.integers(0, 60),
        st.sampled_from([LIMIT - 1, LIMIT, LIMIT + 500]),
        st.none() | st.integers(1, 40),
    ),
    max_size=7,
)
SHORT = Rule(attended_gap_s=12)


def second_by_second(readings, end) -> int:
    """The same rule, told of every second by itself."""
    cold = {r.at for r in readings if r.mc < LIMIT}
    times = sorted({r.at for r in readings})
    spans = [(a, b) for a, b in pairwise(times) if b - a <= 12]
    spans += [(r.lowest_since, r.at) for r in readings if r.lowest_since is not None and r.mc >= LIMIT]
    bad = [(r.lowest_since, r.at) for r in readings if r.lowest_since is not None and r.mc < LIMIT]
    count = 0
    for second in range(end):
        vouched = any(a <= second < b and not any(a <= c <= b for c in cold) for a, b in spans)
        count += vouched and not any(a <= second < b for a, b in bad)
    return count


@settings(max_examples=200, deadline=None)
@given(hand_readings)
def test_attended_seconds_agree_with_the_rule_told_second_by_second(readings):
    assert attended(readings, 0, 60, SHORT) == second_by_second(readings, 60)


@settings(max_examples=100, deadline=None)
@given(hand_readings.filter(bool), st.data())
def test_lowering_a_hand_reading_never_earns_attended_time(readings, choice):
    place = choice.draw(st.integers(0, len(readings) - 1))
    lower = list(readings)
    lower[place] = replace(readings[place], mc=readings[place].mc - 501)
    assert attended(lower, 0, 60, SHORT) <= attended(readings, 0, 60, SHORT)


# -- the clock -----------------------------------------------------------------------------------------------------------------
def test_the_clock_starts_at_the_end_of_the_last_draw():
    found = clock(10 * H, [Stay(ZONE, 9 * H)], warm_zone(), [], Rule(), 40 * H)
    assert (found.credited_s, found.first_reached_earliest_at, found.ready_standard_at) == (
        30 * H,
        34 * H,
        58 * H,
    )


def test_credit_starts_a_lag_after_it():
    found = clock(10 * H, [Stay(ZONE, 9 * H)], warm_zone(), [], Rule(lag_s=2 * H), 40 * H)
    assert (found.credit_from, found.credited_s, found.first_reached_earliest_at) == (12 * H, 28 * H, 36 * H)


def test_before_the_lag_is_over_nothing_has_passed():
    found = clock(10 * H, [Stay(ZONE, 9 * H)], warm_zone(), [], Rule(lag_s=2 * H), 11 * H)
    assert found.credited_s + found.attended_s + found.near_s + found.below_s + found.unobserved_s == 0
    assert found.ready_standard_at == 60 * H  # the credit begins at 12 h


@pytest.mark.parametrize(("now", "reached"), [(24 * H - 1, None), (24 * H, 24 * H), (24 * H + 1, 24 * H)])
def test_the_moment_24_hours_are_full(now, reached):
    assert clock(0, [Stay(ZONE, 0)], warm_zone(), [], Rule(), now).first_reached_earliest_at == reached


def test_time_outside_a_zone_is_unobserved():
    stays = [Stay(ZONE, 0, 10 * H), Stay(ZONE, 12 * H)]
    found = clock(0, stays, warm_zone(), [], Rule(), 30 * H)
    assert (found.credited_s, found.unobserved_s, found.first_reached_earliest_at) == (28 * H, 2 * H, 26 * H)


def test_a_tire_lies_in_one_zone_at_a_time():
    sensors = {ZONE: Sensor(steady(23_000, 60)), "cold": Sensor(steady(15_000, 60))}
    found = clock(0, [Stay(ZONE, 0), Stay("cold", 10 * H)], sensors, [], Rule(), 30 * H)
    assert (found.credited_s, found.below_s, found.zone) == (10 * H, 20 * H, "cold")


def test_a_cold_start_allows_the_standard_release_with_added_hours_only():
    rule = Rule(added_s=8 * H)
    found = clock(0, [Stay(ZONE, 0)], warm_zone(), [], rule, 50 * H, cold_start=True)
    assert (found.needed_earliest_s, found.needed_standard_s) == (None, 56 * H)
    assert (found.first_reached_earliest_at, found.ready_earliest_at) == (None, None)
    assert (found.first_reached_standard_at, found.ready_standard_at) == (None, 56 * H)
    usual = clock(0, [Stay(ZONE, 0)], warm_zone(), [], rule, 50 * H)
    assert (usual.needed_standard_s, usual.first_reached_standard_at, usual.added_s) == (48 * H, 48 * H, 0)


def test_attended_hours_count_for_the_standard_release_only():
    readings = [read(hour * H) for hour in range(0, 61, 10)]
    found = clock(0, [Stay(ZONE, 0)], {}, readings, Rule(), 60 * H)
    assert (found.credited_s, found.attended_s, found.unobserved_s) == (0, 60 * H, 0)
    assert (found.first_reached_earliest_at, found.first_reached_standard_at) == (None, 48 * H)


def test_hand_readings_fill_in_where_a_logger_fell_silent():
    sensors = {ZONE: Sensor(steady(23_000, 10))}
    readings = [read(5 * H), read(11 * H), read(20 * H)]
    found = clock(0, [Stay(ZONE, 0)], sensors, readings, Rule(), 24 * H)
    assert (found.credited_s, found.attended_s, found.unobserved_s) == (10 * H, 9 * H, 5 * H)


def test_readings_inside_one_stretch_between_samples_are_not_counted_twice():
    sensors = {ZONE: Sensor([(0, 23_000), (H, 23_000)], gap_s=H)}
    found = clock(0, [Stay(ZONE, 0)], sensors, [read(600), read(1200)], Rule(), H)
    assert (found.credited_s, found.attended_s) == (H, 0)


def test_of_two_loggers_the_lower_counts_at_every_moment():
    one = steady(23_000, 10) + steady(15_000, 10, start=10 * H + 300)
    two = steady(15_000, 10) + steady(23_000, 10, start=10 * H + 300)
    found = clock(0, [Stay(ZONE, 0)], {ZONE: [Sensor(one), Sensor(two)]}, [], Rule(), 20 * H)
    assert found.credited_s == 0  # each alone would have credited ten hours


def test_while_one_of_two_loggers_is_silent_the_zone_is_unobserved():
    sensors = {ZONE: [Sensor(steady(23_000, 20)), Sensor(steady(23_000, 5))]}
    found = clock(0, [Stay(ZONE, 0)], sensors, [], Rule(), 20 * H)
    assert (found.credited_s, found.unobserved_s) == (5 * H, 15 * H)


@settings(max_examples=60, deadline=None)
@given(series, series)
def test_two_loggers_agree_with_numpy_on_their_lower_line(one, two):
    sensors = {ZONE: [Sensor(one, gap_s=2_000), Sensor(two, gap_s=2_000)]}
    start, end = max(one[0][0], two[0][0]), min(one[-1][0], two[-1][0])
    if end <= start:
        return
    found = clock(start, [Stay(ZONE, start)], sensors, [], Rule(), end)
    fine = np.arange(start, end, 0.25) + 0.125
    lower = np.minimum(*(np.interp(fine, *zip(*samples, strict=True)) for samples in (one, two)))
    above = float((lower >= LIMIT).sum()) / 4
    stretches = len(one) + len(two)
    assert above - 1.5 * stretches <= found.credited_s <= above + 0.5 * stretches
    assert found.unobserved_s == 0


@settings(max_examples=80, deadline=None)
@given(
    series,
    st.lists(st.integers(0, 8_000), min_size=4, max_size=4, unique=True),
    hand_readings,
    st.integers(1, 4_000),
    st.booleans(),
)
def test_the_moment_a_credit_is_reached_is_exact(samples, edges, readings, needed, with_attended):
    a, b, c, d = sorted(edges)
    stays = [Stay(ZONE, a, b), Stay("hand", c, d)]
    readings = [replace(reading, zone="hand", at=reading.at * 100, lowest_since=None) for reading in readings]
    asked = (0, stays, {ZONE: Sensor(samples)}, readings, Rule(attended_gap_s=2_000))

    def credit(now: int) -> int:
        found = clock(*asked, now)
        return found.credited_s + (found.attended_s if with_attended else 0)

    moment = reached_at(*asked, 8_000, needed, with_attended=with_attended)
    if moment is None:
        assert credit(8_000) < needed
    else:
        assert credit(moment - 1) < needed <= credit(moment)
        assert reached_at(*asked, moment - 1, needed, with_attended=with_attended) is None


@settings(max_examples=80, deadline=None)
@given(series, st.lists(st.integers(-500, 9_000), min_size=4, max_size=4, unique=True), st.integers(0, 9_000))
def test_the_columns_sum_to_the_time_since_credit_began(samples, edges, now):
    a, b, c, d = sorted(edges)
    found = clock(
        0,
        [Stay(ZONE, c, d), Stay(ZONE, a, b)],
        {ZONE: Sensor(samples)},
        [read(10), read(500)],
        Rule(lag_s=100),
        now,
    )
    total = found.credited_s + found.attended_s + found.near_s + found.below_s + found.unobserved_s
    assert total == max(0, now - 100)
    assert min(found.credited_s, found.attended_s, found.near_s, found.below_s, found.unobserved_s) >= 0


# -- the forecast --------------------------------------------------------------------------------------------------------------
def test_in_a_room_always_warm_the_forecast_stands_still():
    sensors = warm_zone()
    for now in (1 * H, 7 * H + 123, 23 * H + 299):
        found = clock(
            0,
            [Stay(ZONE, 0)],
            {ZONE: Sensor([s for s in sensors[ZONE].samples if s.at <= now])},
            [],
            Rule(),
            now,
        )
        assert (found.ready_earliest_at, found.ready_standard_at) == (24 * H, 48 * H)
        assert found.basis.startswith("forecast")


def test_in_a_room_that_goes_on_as_it_did_the_forecast_is_what_then_happens():
    """Warm from noon to midnight, for ever: what is foretold from the past is what the clock reads off the future."""
    days = [Sample(at, 23_000 if at // (12 * H) % 2 else 15_000) for at in range(0, 300 * H + 1, 300)]
    for now in (96 * H, 101 * H, 109 * H, 119 * H + 300):
        past = Sensor([s for s in days if s.at <= now])
        found = clock(now, [Stay(ZONE, now)], {ZONE: past}, [], Rule(), now)
        true = reached_at(now, [Stay(ZONE, now)], {ZONE: Sensor(days)}, [], Rule(), 300 * H, 24 * H)
        assert found.ready_earliest_at == pytest.approx(true, abs=300)


@pytest.mark.parametrize(("warm_h", "foretold"), [(7, True), (6, False)])
def test_nothing_is_foretold_for_later_than_two_weeks(warm_h, foretold):
    """48 h at 7 h every two days take just under two weeks, at 6 h a day over."""
    samples = [
        Sample(at, 23_000 if at % (48 * H) <= warm_h * H else 15_000) for at in range(0, 96 * H + 1, 300)
    ]
    found = clock(96 * H, [Stay(ZONE, 96 * H)], {ZONE: Sensor(samples)}, [], Rule(), 96 * H)
    assert (found.ready_standard_at is not None) == foretold
    assert foretold or "over two weeks" in found.basis


def test_a_logger_two_gaps_old_still_foretells_and_a_second_older_does_not():
    sensors = {ZONE: Sensor(steady(23_000, 10))}
    assert clock(0, [Stay(ZONE, 0)], sensors, [], Rule(), 10 * H + 1800).ready_standard_at == 48 * H
    silent = clock(0, [Stay(ZONE, 0)], sensors, [], Rule(), 10 * H + 1801)
    assert (silent.ready_standard_at, silent.basis) == (None, "no forecast: the logger of the zone is silent")


def test_a_cold_zone_foretells_nothing():
    found = clock(0, [Stay(ZONE, 0)], warm_zone(mc=20_000), [], Rule(), 10 * H)
    assert found.ready_standard_at is None and "not been warm enough" in found.basis


def test_a_tire_off_the_rack_foretells_nothing_but_keeps_what_it_reached():
    found = clock(0, [Stay(ZONE, 0, 30 * H)], warm_zone(), [], Rule(), 40 * H)
    assert (found.ready_earliest_at, found.ready_standard_at) == (24 * H, None)
    assert found.basis == "no forecast: the tire lies in no zone"


def test_a_zone_without_logger_foretells_while_its_readings_are_fresh_and_warm():
    stays = [Stay(ZONE, 2 * H)]
    fresh = clock(0, stays, {}, [read(0), read(8 * H)], Rule(), 20 * H)
    assert (fresh.attended_s, fresh.ready_standard_at, fresh.ready_earliest_at) == (6 * H, 50 * H, None)
    assert clock(0, stays, {}, [read(0), read(8 * H)], Rule(), 20 * H + 1).ready_standard_at is None
    assert clock(0, stays, {}, [read(0), read(8 * H, 20_000)], Rule(), 9 * H).ready_standard_at is None
    just_racked = clock(0, stays, {}, [read(0)], Rule(), 3 * H)
    assert (
        just_racked.ready_standard_at == 50 * H
    )  # not 48 h: the tire was not there when the thermometer was read


def test_a_forecast_never_lies_in_the_past():
    sensors = {ZONE: Sensor(steady(23_000, 23) + steady(23_000, 1, start=23 * H + 300))}
    found = clock(0, [Stay(ZONE, 0)], sensors, [], Rule(earliest_s=24 * H + 400), 24 * H + 1500)
    assert found.first_reached_earliest_at is None
    assert found.ready_earliest_at == 24 * H + 1500


# -- against published figures: degree hours -----------------------------------------------------------------------------------
def test_nurse_and_saul_maturity():
    """ASTM C1074: M = Σ (T − T₀) Δt. Printed: 12 h at 20 and 12 h at 25 °C make 240 + 300 = 540; 3500 / 23 = 152 h."""

    def degree_hours(samples, base=0):
        return float(cure.degree_seconds(samples, base)) / 3_600_000

    assert degree_hours([(0, 20_000), (12 * H, 20_000)]) == 240
    assert degree_hours([(0, 25_000), (12 * H, 25_000)]) == 300
    assert degree_hours([(0, 23_000), (round(152.1739130435 * H), 23_000)]) == pytest.approx(3500, abs=0.01)
    assert degree_hours([(0, 20_000), (24 * H, 20_000)], -10_000) == 720  # the older datum of −10 °C
    # identities: a ramp counts with its mean, and with nothing below the datum (the mean alone would give 0)
    assert degree_hours([(0, 10_000), (24 * H, 30_000)]) == 480
    assert degree_hours([(0, -10_000), (20 * H, 10_000)]) == 50


@pytest.fixture(scope="module")
def cities() -> dict[str, list[tuple[int, int]]]:
    """Hourly temperatures of 2010 in thousandths of °F, from the package vega_datasets 0.9.0 (MIT); the values have one decimal."""
    found = {}
    for name in ("seattle_temps", "sf_temps"):
        table = getattr(data, name)()
        at = (table["date"] - table["date"].iloc[0]).dt.total_seconds()
        found[name] = [(int(t), round(v * 1000)) for t, v in zip(at, table["temp"], strict=True)]
    return found


# Recomputed with numpy 2.4 and pandas 3.1 from the same series: the exact area of the clipped straight lines, in °F·h. (Clipping at
# the samples and taking the trapezoid rule gives 496.5 instead of 480.1 above 72 °F in Seattle.)
@pytest.mark.parametrize(
    ("city", "areas"),
    [
        (
            "seattle_temps",
            {40: 105841.6487, 50: 44616.5395, 60: 12015.1993, 65: 4696.6574, 70: 1181.4037, 72: 480.1056},
        ),
        ("sf_temps", {40: 148240.6, 50: 62647.1722, 60: 11844.9833, 65: 3378.1283, 70: 130.7394, 72: 0.4021}),
    ],
)
def test_degree_hours_of_a_real_year(cities, city, areas):
    for base, area in areas.items():
        assert float(cure.degree_seconds(cities[city], base * 1000)) / 3_600_000 == pytest.approx(
            area, abs=6e-5
        )


def test_the_time_weighted_mean_of_a_real_year(cities):
    for city, mean, span in (("seattle_temps", 52.028382, 8759 * H), ("sf_temps", 56.924375, 8759 * H)):
        assert cities[city][-1][0] == span
        assert float(cure.degree_seconds(cities[city], 0)) / span / 1000 == pytest.approx(mean, abs=6e-7)


def test_hours_at_72_f_or_more_in_a_real_year(cities):
    """numpy.interp every 15 s reads the same straight lines; the two-hour step on 14 March is a gap for an hourly logger."""
    samples = cities["seattle_temps"]
    found = credited(samples, 0, 8759 * H, 72_000, gap_s=3600, near_mk=2_000)
    fine = np.arange(0, 8759 * H, 15) + 7.5
    line = np.interp(fine, *zip(*samples, strict=True))
    assert found.unobserved_s == 2 * H
    assert found.credited_s == pytest.approx(15 * int((line >= 72_000).sum()), rel=2e-3)
    assert found.near_s == pytest.approx(15 * int(((line >= 70_000) & (line < 72_000)).sum()), rel=2e-3)
    # 274 of the samples are at or above 72 °F (temperature_check: rows at or above), so the line is so for about as many hours
    assert found.credited_s / H == pytest.approx(274, rel=0.05)


def test_the_cure_clock_over_a_real_summer(cities):
    """A tire in an unheated shed: the clock sees the same hours as the straight lines, counted by numpy in steps of a second."""
    samples = [(at, round((f - 32_000) * 5 / 9)) for at, f in cities["seattle_temps"]]
    start, now = 4_900 * H + 777, 5_100 * H + 55
    found = clock(start, [Stay(ZONE, start)], {ZONE: Sensor(samples, gap_s=3600)}, [], Rule(), now)
    line = np.interp(np.arange(start, now) + 0.5, *zip(*samples, strict=True))
    assert found.credited_s > 20 * H
    assert found.credited_s == pytest.approx(int((line >= LIMIT).sum()), abs=60)
    until = found.first_reached_earliest_at - start
    assert int((line[:until] >= LIMIT).sum()) == pytest.approx(24 * H, abs=60)


# -- against published figures: equivalent hours -------------------------------------------------------------------------------
# ASTM C1074: exp(−Q (1/Ta − 1/Ts)); recomputed with 273.15, Q = 5000 K.
@pytest.mark.parametrize(
    ("reference", "factors"),
    [
        (20, {0: 0.286836, 5: 0.3986, 10: 0.547512, 15: 0.743818, 20: 1.0, 23: 1.188603, 25: 1.331136, 30: 1.755282,
              35: 2.293893, 40: 2.972269, 50: 4.871607}),
        (23, {0: 0.241322, 10: 0.460635, 20: 0.841324, 23: 1.0, 30: 1.476761, 40: 2.500641}),
    ],
)  # fmt: skip
def test_age_factors(reference, factors):
    for degrees, factor in factors.items():
        assert cure.age_factor(degrees * 1000, 5_000, reference * 1000) == pytest.approx(factor, abs=6e-7)


def held(*stretches: tuple[float, int], hour: int = H) -> list[list[tuple[int, int]]]:
    """Stretches of (°C, hours), each a series of its own, so that nothing is drawn between them."""
    return [
        [(0, round(degrees * 1000)), (hours * hour, round(degrees * 1000))] for degrees, hours in stretches
    ]


@pytest.mark.parametrize(
    ("history", "q_k", "reference", "hours"),
    [
        ([(10, 6), (20, 6), (30, 6), (40, 6)], 5_000, 20_000, 37.650378),
        ([(20, 24)], 5_000, 20_000, 24.0),
        ([(35, 8), (22, 16)], 4_000, 22_000, 30.170769),
    ],
)
def test_equivalent_age(history, q_k, reference, hours):
    """ASTM C1074: te = Σ exp(−Q (1/Ta − 1/Ts)) Δt; recomputed with 273.15."""
    found = sum(cure.equivalent_seconds(samples, q_k, reference) for samples in held(*history))
    assert found / H == pytest.approx(hours, abs=6e-7)


def test_equivalent_seconds_of_a_ramp_agree_with_scipy():
    samples = [(0, 5_000), (4 * H, 45_000), (5 * H, 22_000)]
    expected = 0.0
    for (t0, m0), (t1, m1) in pairwise(samples):
        expected += quad(
            lambda t, t0=t0, m0=m0, t1=t1, m1=m1: math.exp(
                -6_000 * (1 / (273.15 + (m0 + (m1 - m0) * (t - t0) / (t1 - t0)) / 1000) - 1 / 295.15)
            ),
            t0, t1, epsrel=1e-12,
        )[0]  # fmt: skip
    assert cure.equivalent_seconds(samples, 6_000, 22_000) == pytest.approx(expected, rel=1e-9)


def test_equivalent_seconds_leave_out_gaps():
    samples = [(0, 20_000), (900, 20_000), (5_000, 20_000), (5_900, 20_000)]
    assert cure.equivalent_seconds(samples, 5_000, 20_000, gap_s=900) == pytest.approx(1_800)
    assert cure.equivalent_seconds(samples, 5_000, 20_000, start=450, end=5_100, gap_s=900) == pytest.approx(
        550
    )


LONG = 10**9  # seconds: the second drawn between two such stretches weighs nothing


def steps(temperatures, weights=None) -> list[tuple[int, int]]:
    found, at = [], 0
    for degrees, weight in zip(temperatures, weights or [1] * len(temperatures), strict=True):
        found += [(at, round(degrees * 1000)), (at + weight * LONG, round(degrees * 1000))]
        at += weight * LONG + 1
    return found


# Haynes 1971; USP <1079.2>: Tk = (ΔH/R) / −ln(Σ w exp(−ΔH/(R T)) / Σ w); recomputed with 273.15, ΔH/R = 10 000 K (from memory).
@pytest.mark.parametrize(
    ("temperatures", "weights", "mkt"),
    [
        ([25, 25, 25, 25], None, 25.0),
        ([20, 30], None, 26.259887),
        ([15, 20, 25, 30], None, 24.104053),
        ([20, 22, 24, 26, 28, 40], None, 29.303719),
        ([22, 35], [23, 1], 23.08663),
        ([-5, 5], None, 1.480596),
        ([2, 8], [6, 18], 6.859252),
    ],
)
def test_mean_kinetic_temperature(temperatures, weights, mkt):
    assert cure.mean_kinetic_mc(steps(temperatures, weights)) / 1000 == pytest.approx(mkt, abs=1e-6)


@pytest.mark.parametrize(
    ("q_k", "mkt"), [(1_000, 25.05676), (5_000, 25.611776), (10_000, 26.259887), (20_000, 27.299486)]
)
def test_mean_kinetic_temperature_rises_with_the_activation_energy(q_k, mkt):
    assert cure.mean_kinetic_mc(steps([20, 30]), q_k) / 1000 == pytest.approx(mkt, abs=1e-6)


def mkt_f_by_trapezoids(at, f) -> float:
    """The mean kinetic temperature in °F with exp(−10 000 K / T) averaged by numpy's trapezoid rule on the given moments."""
    kelvin = (np.asarray(f) / 1000 - 32) * 5 / 9 + 273.15
    mean = np.trapezoid(np.exp(-10_000 / kelvin), at) / (at[-1] - at[0])
    return float((10_000 / -np.log(mean) - 273.15) * 9 / 5 + 32)


def test_mean_kinetic_temperature_of_a_real_year(cities):
    """The figures 55.197079 and 58.155449 °F are those of trapezoids from hour to hour (numpy 2.4), which lie a little above the
    lines since the rate is convex; trapezoids from minute to minute come down to the lines."""
    for city, mkt_f in (("seattle_temps", 55.197079), ("sf_temps", 58.155449)):
        at, f = (np.array(column) for column in zip(*cities[city], strict=True))
        assert mkt_f_by_trapezoids(at, f) == pytest.approx(mkt_f, abs=1e-6)
        fine = np.arange(at[0], at[-1] + 1, 60)
        samples = [(when, round((value - 32_000) * 5 / 9)) for when, value in cities[city]]
        found = cure.mean_kinetic_mc(samples) * 9 / 5000 + 32
        assert found == pytest.approx(mkt_f_by_trapezoids(fine, np.interp(fine, at, f)), abs=2e-5)
        assert mkt_f - 0.02 < found < mkt_f


@settings(max_examples=60, deadline=None)
@given(series)
def test_mean_kinetic_temperature_is_never_below_the_mean(samples):
    mean = float(cure.degree_seconds(samples, 0)) / (samples[-1][0] - samples[0][0])
    assert cure.mean_kinetic_mc(samples) >= mean - 1e-6


def test_no_samples_have_no_mean_and_no_area():
    assert cure.mean_kinetic_mc([]) is None
    assert cure.mean_kinetic_mc([(0, 20_000)]) is None
    assert cure.degree_seconds([], 0) == 0
    assert cure.equivalent_seconds([], 5_000, 20_000) == 0


def test_below_absolute_zero_is_refused():
    with pytest.raises(Nonsense, match="absolute zero"):
        cure.age_factor(-273_150, 5_000, 20_000)


# -- defaults that a caller may leave out --------------------------------------------------------------------------------------
def test_the_rule_defaults_are_common_practice():
    """72 °F is 22.222 °C and 2 °F are 1.111 K (NIST SP 811); 24 to 48 h in a warm room and 12 h between readings: common practice."""
    rule = Rule()
    assert (rule.limit_mc, rule.near_mk) == (round((72 - 32) / 1.8 * 1000), round(2 / 1.8 * 1000))
    assert (rule.earliest_s, rule.standard_s, rule.attended_gap_s) == (24 * H, 48 * H, 12 * H)
    assert (rule.rules, rule.lag_s, rule.added_s) == (1, 0, 0)


def test_attended_time_counts_towards_a_moment_only_where_asked():
    asked = (0, [Stay(ZONE, 0)], {}, [read(0), read(10 * H)], Rule(), 10 * H, 5 * H)
    assert reached_at(*asked) is None
    assert reached_at(*asked, with_attended=True) == 5 * H


def test_the_forecast_looks_back_two_days_and_no_further():
    """Cold until two days ago and warm since: the forecast knows the warm days only. An hour more of look-back would be late."""
    now = 200 * H
    samples = [Sample(at, 15_000 if at < now - 48 * H else 23_000) for at in range(0, now + 1, 300)]
    found = clock(now, [Stay(ZONE, now)], {ZONE: Sensor(samples)}, [], Rule(), now)
    assert found.ready_earliest_at == now + 24 * H
    cold_first_hour = [Sample(at, 15_000 if at < now - 47 * H else 23_000) for at in range(0, now + 1, 300)]
    late = clock(now, [Stay(ZONE, now)], {ZONE: Sensor(cold_first_hour)}, [], Rule(), now)
    assert late.ready_earliest_at == pytest.approx(now + 25 * H, abs=300)  # the cold hour comes again first


def test_the_newest_hand_reading_exactly_at_the_limit_still_foretells():
    assert clock(0, [Stay(ZONE, 0)], {}, [read(0), read(H, LIMIT)], Rule(), H).ready_standard_at == 48 * H


def test_the_rules_number_and_the_limit_stand_on_the_clock():
    found = clock(0, [Stay(ZONE, 0)], warm_zone(), [], Rule(limit_mc=22_200, rules=7), H)
    assert (found.rules, found.limit_mc) == (7, 22_200)


def test_a_needed_time_of_nothing_is_reached_when_credit_begins():
    assert reached_at(0, [], {}, [], Rule(lag_s=60), 100, 0) == 60


def test_the_forecast_of_a_zone_without_logger_takes_its_own_past_readings_only():
    elsewhere = Reading("other", 9 * H, 23_000)
    found = clock(
        0, [Stay(ZONE, 0)], {}, [read(0), read(8 * H), elsewhere, read(12 * H, 20_000)], Rule(), 10 * H
    )
    assert (
        found.ready_standard_at == 48 * H
    )  # from the reading at 8 h; not from elsewhere, nor from what comes later


def test_a_tire_taken_off_the_rack_this_second_lies_in_no_zone():
    assert clock(0, [Stay(ZONE, 0, 30 * H)], warm_zone(), [], Rule(), 30 * H).zone is None


# -- loggers hung and taken down, doubtful samples, sums shared ---------------------------------------------------------------------
def two(since: int, until: int | None = None, **how: object) -> list[Sensor]:
    """A logger taken down at *since*, and another hung there then."""
    return [
        Sensor([s for s in steady(23_000, 20) if s.at <= since], since=0, until=since),
        Sensor(steady(23_000, 10, start=since), since=since, until=until, **how),  # type: ignore[arg-type]
    ]


def test_a_logger_that_takes_anothers_place_makes_no_gap():
    found = clock(0, [Stay(ZONE, 0)], {ZONE: two(10 * H)}, [], Rule(), 20 * H)
    assert (found.credited_s, found.unobserved_s) == (20 * H, 0)


def test_a_logger_taken_down_is_missed_by_nobody_and_none_hanging_is_unobserved():
    found = clock(0, [Stay(ZONE, 0)], {ZONE: two(10 * H, until=15 * H)}, [], Rule(), 20 * H)
    assert (found.credited_s, found.unobserved_s) == (15 * H, 5 * H)


@pytest.mark.parametrize(("offset_mk", "credited"), [(-778, 20 * H), (-779, 10 * H)])
def test_a_calibration_offset_is_added_to_every_sample(offset_mk, credited):
    """23.000 less 0.778 is the limit of 22.222 exactly."""
    assert (
        clock(0, [Stay(ZONE, 0)], {ZONE: two(10 * H, offset_mk=offset_mk)}, [], Rule(), 20 * H).credited_s
        == credited
    )


def test_the_stretch_around_a_sample_left_out_is_unobserved():
    samples = steady(23_000, 10)
    del samples[60]
    whole = clock(0, [Stay(ZONE, 0)], {ZONE: Sensor(samples)}, [], Rule(), 10 * H)
    broken = clock(0, [Stay(ZONE, 0)], {ZONE: Sensor(samples, breaks=(60 * 300,))}, [], Rule(), 10 * H)
    assert (whole.unobserved_s, broken.unobserved_s, broken.credited_s) == (0, 600, 10 * H - 600)


@settings(max_examples=120, deadline=None)
@given(
    series,
    st.lists(st.integers(-500, 9_000), min_size=3, max_size=3, unique=True),
    st.integers(1, 6_000),
    st.sampled_from([0, 50_000]),
)
def test_sums_shared_by_many_tires_are_those_counted_one_by_one(samples, edges, needed, joules):
    """A hand reading far away in time keeps the counting apart, stretch by stretch."""
    start, out, now = sorted(edges)
    rule = Rule(standard_s=needed, earliest_s=needed, activation_j_mol=joules)
    stays = [Stay(ZONE, start, out), Stay(ZONE, out)]
    breaks = tuple(at + 1 for at, _ in samples[:2])
    shared = clock(start, stays, {ZONE: Sensor(samples, breaks=breaks)}, [], rule, now)
    pair = [
        Sensor(samples, breaks=breaks),
        Sensor(samples, breaks=breaks),
    ]  # of two alike the lower is each; never shared
    apart = clock(start, stays, {ZONE: pair}, [], rule, now)
    for name in (
        "credited_s",
        "near_s",
        "below_s",
        "unobserved_s",
        "first_reached_earliest_at",
        "first_reached_standard_at",
    ):
        assert getattr(shared, name) == getattr(apart, name), name
    assert (
        shared.equivalent_s == pytest.approx(apart.equivalent_s, abs=1)
        if joules
        else shared.equivalent_s is None
    )


# ASTM C1074 age factors recomputed with 273.15 K (thermal.json): Q 5000 K, reference 20 °C
@pytest.mark.parametrize(
    ("mc", "factor"), [(10_000, 0.547512), (20_000, 1.0), (30_000, 1.755282), (40_000, 2.972269)]
)
def test_equivalent_hours_on_the_clock_are_the_published_age_factors(mc, factor):
    rule = Rule(limit_mc=20_000, activation_j_mol=41_572)  # Q 5000 K × 8.314462618 J/(mol K) = 41 572.3
    found = clock(0, [Stay(ZONE, 0)], {ZONE: Sensor(steady(mc, 24))}, [], rule, 24 * H)
    assert found.equivalent_s == pytest.approx(24 * H * factor, rel=3e-5)
