"""Weights that are off, held against parcels pushed through a hose: the share of each tote lies within its bounds all the same.

The bands are those of a weight's basis (common practice, as the settings give them); the parcels know nothing of them.
"""

import importlib.util
from pathlib import Path
from random import Random

import pytest

from fillbook.trace.core import flow

_spec = importlib.util.spec_from_file_location(
    "flow_parcels_bands", Path(__file__).with_name("flow_parcels.py")
)
parcels = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(parcels)

HOSE = flow.Vessel("hose", 3_000, 6_000)


def through_a_hose(seed, band_e4, told_e4):
    """Shares outside their bounds, in random change-overs and draws that are off by up to *band_e4*; the stream is told *told_e4*."""
    random, wrong = Random(seed), 0
    hose = parcels.Hose(
        parcels.somewhere(random, 3_000, 6_000),
        spread=parcels.somewhere(random, 0, 1),
        clean_after=5,
        rings=24,
    )
    stream = flow.Stream(HOSE)
    for number in range(60):
        if random.random() < 0.3:
            hose.becomes(parcels.somewhere(random, 3_000, 6_000))
            hose.hook_up(f"L-{number}")
            stream = flow.hook_up(stream, f"L-{number}", number)
        grams = random.choice((1_000, 4_000, 15_000, 60_000))
        true = grams * (1 + parcels.somewhere(random, -band_e4, band_e4) / 10_000)
        out = hose.draw(true)
        stream, shares = flow.draw(stream, grams, band_e4=told_e4)
        within = {share.parent: share for share in shares}
        for name, got in out.items():
            part = got / true * grams
            share = within.get(name, flow.Share(name, 0, 0, 0))
            wrong += not share.least_g - 1 <= part <= share.most_g + 1
        assert sum(share.best_g for share in shares) == grams
    return wrong


@pytest.mark.parametrize("band_e4", [0, 100, 300, 1_500, 2_500])
def test_no_share_leaves_its_bounds_when_weights_are_off_within_their_band(band_e4):
    assert sum(through_a_hose(seed, band_e4, band_e4) for seed in range(25)) == 0


def test_without_the_band_shares_do_leave_them():
    assert sum(through_a_hose(seed, 1_500, 0) for seed in range(25)) > 0


def test_a_band_starts_anew_at_each_change_over():
    """However much was drawn before, only what is drawn after a change-over makes what is near it less sure."""
    long, short = flow.Stream(HOSE), flow.Stream(HOSE)
    long, _ = flow.draw(flow.hook_up(long, "L-1", 1), 900_000, band_e4=2_500)
    short, _ = flow.draw(flow.hook_up(short, "L-1", 1), 60_000, band_e4=2_500)
    shares = []
    for stream in (long, short):
        stream = flow.hook_up(stream, "L-2", 2)
        shares.append(flow.draw(stream, 8_000, band_e4=300)[1])
    assert shares[0] == shares[1]


def test_a_draw_far_from_a_change_over_is_certain_whatever_its_band():
    stream, _ = flow.draw(flow.hook_up(flow.Stream(HOSE), "L-1", 1), 60_000, band_e4=2_500)
    _, shares = flow.draw(stream, 50_000, band_e4=2_500)
    assert shares == (flow.Share("L-1", 50_000, 50_000, 50_000),)


def test_what_a_tote_cannot_have_held_is_most_likely_unknown_and_possibly_from_the_beginning():
    stream = flow.hook_up(flow.Stream(HOSE), "L-1", 1, lasts_g=100_000)
    stream, _ = flow.draw(stream, 60_000)  # the hose held something else before
    stream, early = flow.draw(stream, 30_000)
    stream, _ = flow.draw(stream, 40_000)
    stream, late = flow.draw(stream, 60_000)
    assert {s.parent: (s.least_g, s.best_g, s.most_g) for s in early} == {
        "L-1": (0, 30_000, 30_000),
        "": (0, 0, 30_000),
    }
    assert {s.parent: s.best_g for s in late if s.best_g} == {"": 60_000}
    assert all(s.least_g == 0 for s in early + late)
    stream = flow.hook_up(stream, "L-2", 2)
    stream, _ = flow.draw(stream, 60_000)
    _, after = flow.draw(stream, 60_000)
    assert after == (flow.Share("L-2", 60_000, 60_000, 60_000),)


def test_a_cleaned_hose_does_not_make_the_tote_fuller():
    stream = flow.hook_up(flow.Stream(HOSE), "L-1", 1, lasts_g=100_000)
    stream, _ = flow.draw(stream, 70_000)
    stream = flow.restart(stream, 2)
    _, shares = flow.draw(stream, 60_000)
    assert {s.parent for s in shares} == {"L-1", ""} and all(s.least_g == 0 for s in shares)
