"""Doubtful samples at their edges. The rules are the shop's own (CONSTRUCTED), their figures settings."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core.doubts import find

M = 300


def look(*values, step=5_000, flat=86_400, gap=900, every=M):
    return find([(n * every, mc) for n, mc in enumerate(values)], step_mk=step, flat_s=flat, gap_s=gap)


@pytest.mark.parametrize(
    ("values", "spikes"),
    [
        ((22_000, 27_000, 22_000), 0),  # the step exactly: no spike
        ((22_000, 27_001, 22_000), 1),
        ((22_000, 16_999, 22_000), 1),  # downward too
        ((22_000, 28_000, 28_000, 22_000), 2),
        ((22_000, 28_000, 28_000, 28_000, 22_000), 0),  # three samples are a warm spell
        ((22_000, 28_000), 0),  # nothing after it yet
        ((22_000, 28_000, 34_000), 0),  # it never comes back
    ],
)
def test_a_spike_goes_up_and_comes_back_within_two_samples(values, spikes):
    assert sum(doubt.count for doubt in look(*values)) == spikes


@pytest.mark.parametrize(("every", "found"), [(900, 1), (901, 0)])
def test_a_spike_across_a_gap_is_none(every, found):
    assert len(look(22_000, 30_000, 22_000, every=every)) == found


@pytest.mark.parametrize(("samples", "found"), [(289, 0), (290, 1)])
def test_a_sensor_may_say_the_same_for_a_day_and_not_one_sample_longer(samples, found):
    doubts = look(*[22_000] * samples)
    assert len(doubts) == found
    assert all(
        doubt.what == "flat" and doubt.last_at - doubt.first_at == (samples - 1) * M for doubt in doubts
    )


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(15_000, 30_000), max_size=60))
def test_every_doubt_names_samples_that_are_there(values):
    times = {n * M for n in range(len(values))}
    for doubt in look(*values, flat=600):
        assert {doubt.first_at, doubt.last_at} <= times
        assert (doubt.last_at - doubt.first_at) // M + 1 == doubt.count


def test_nothing_asked_finds_nothing():
    assert look(22_000, 40_000, 22_000, step=0, flat=0) == []
