"""Where every kilogram went: the account sums to what was received, whatever the grams say."""

import importlib.util
import random
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fillbook.trace.core import account, exposure
from fillbook.trace.core.account import UNACCOUNTED, Row
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.exposure import UNKNOWN, Link

_spec = importlib.util.spec_from_file_location("genealogies", Path(__file__).with_name("genealogies.py"))
genealogies = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(genealogies)

PLACES = {"L": "totes", "F": "fills", "R": "batches", "p": "purge"}


def place(item):
    return PLACES[item[0]]


def as_dict(rows):
    return {row.place: row.grams for row in rows}


# L-1, 900 kg: 300 kg into a tire, 10 kg purged, 500 kg into a tire that was cut out again: 400 of its 1000 kg ground into RG-1
# together with 100 kg of others' pieces; 250 kg of RG-1 went into a third tire.
ONE_TOTE = [
    Link(1, "purge 1", "", "B", "L-1", 10_000, 10_000, 10_000),
    Link(2, "F-1", "main", "B", "L-1", 300_000, 300_000, 300_000),
    Link(2, "F-1", "main", "A", "L-2", 300_000, 300_000, 300_000),
    Link(3, "F-2", "main", "B", "L-1", 500_000, 500_000, 500_000),
    Link(3, "F-2", "main", "A", "L-2", 500_000, 500_000, 500_000),
    Link(4, "RG-1", "0", "G", "F-2", 400_000, 400_000, 400_000),
    Link(4, "RG-1", "1", "G", UNKNOWN, 100_000, 100_000, 100_000, 9),
    Link(5, "F-3", "main", "R", "RG-1", 250_000, 250_000, 250_000),
    Link(5, "F-3", "main", "B", "L-9", 250_000, 250_000, 250_000),
]


def where(item):
    return {"F-2": "cut out, not ground", "F-3": "fills, in service"}.get(item) or place(item)


def test_material_is_followed_through_reclaimed_tires_and_batches():
    rows = account.account(ONE_TOTE, {"L-1": 900_000}, where)
    # by hand: F-2 keeps half of 600 kg; RG-1 is 40 % L-1, 250 of its 500 kg are left and 250 are in F-3
    assert rows == [
        Row("cut out, not ground", 300_000),
        Row("fills", 300_000),
        Row("batches", 100_000),
        Row("fills, in service", 100_000),
        Row("totes", 90_000),
        Row("purge", 10_000),
        Row(UNACCOUNTED, 0),
    ]


def test_hoses_and_hopper_hold_what_left_the_tote_and_reached_no_draw():
    rows = account.account(
        ONE_TOTE,
        {"L-1": 900_000},
        where,
        in_vessels={"L-1": [("hoses", 4_500)], "RG-1": [("hopper", 50_000)], "L-2": [("hoses", 9_999)]},
    )
    found = as_dict(rows)
    assert (found["hoses"], found["totes"]) == (4_500, 85_500)
    assert (found["hopper"], found["batches"]) == (20_000, 80_000)  # 40 % of RG-1 is L-1


@pytest.mark.parametrize(
    ("left", "totes", "unaccounted"),
    [
        (("totes", 0), None, 85_500),  # ran dry
        (("totes", 80_000), 80_000, 5_500),  # weighed off
        (("totes", 90_000), 90_000, -4_500),  # more left than there can be: the weights err
    ],
)
def test_where_a_totes_remains_are_known_the_rest_is_unaccounted(left, totes, unaccounted):
    found = as_dict(
        account.account(
            ONE_TOTE, {"L-1": 900_000}, where, in_vessels={"L-1": [("hoses", 4_500)]}, left={"L-1": left}
        )
    )
    assert found.get("totes") == totes
    assert found[UNACCOUNTED] == unaccounted


def test_an_emptied_bin_leaves_its_grinding_loss_unaccounted():
    found = as_dict(account.account(ONE_TOTE, {"L-1": 900_000}, where, left={"RG-1": ("waste", 50_000)}))
    assert (found["waste"], found.get("batches"), found[UNACCOUNTED]) == (20_000, None, 80_000)


def test_a_tote_that_gave_more_than_it_held_shows_a_negative_difference():
    links = [Link(1, "F-1", "main", "B", "L-1", 1_000, 1_010, 1_020)]
    assert account.account(links, {"L-1": 1_000}, place) == [Row("fills", 1_010), Row(UNACCOUNTED, -10)]


def test_a_tire_that_was_ground_for_more_than_it_weighed_shows_one_too():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 500, 500, 500),
        Link(1, "F-1", "main", "A", "L-2", 500, 500, 500),
        Link(2, "RG-1", "0", "G", "F-1", 1_100, 1_100, 1_100),
    ]
    assert account.account(links, {"L-1": 500}, place) == [Row("batches", 550), Row(UNACCOUNTED, -50)]


def test_a_whole_lot_is_counted_together():
    rows = account.account(ONE_TOTE, {"L-1": 900_000, "L-2": 1_000_000, "L-3": 950_000}, where)
    assert sum(row.grams for row in rows) == 2_850_000
    found = as_dict(rows)
    assert (found["fills"], found["batches"]) == (600_000, 200_000)  # RG-1 is 80 % of the two
    assert found["totes"] == 90_000 + 200_000 + 950_000


def test_nothing_used_is_all_still_in_the_totes():
    assert account.account([], {"L-1": 900_000}, place) == [Row("totes", 900_000), Row(UNACCOUNTED, 0)]
    assert account.account([], {}, place) == [Row(UNACCOUNTED, 0)]


@given(st.integers(0, 10**6), st.integers(0, 10**6))
@settings(max_examples=60, deadline=None)
def test_the_account_sums_to_what_was_received(seed, also):
    shop = genealogies.random_shop(seed, steps=50)
    rng = random.Random(also)
    received = {tote: rng.randint(0, 2_000_000) for tote in rng.sample(shop.totes, 3)}
    sources = [*shop.totes, *shop.batches]
    vessels = {
        source: [("hoses", rng.randint(0, 9_000)), ("hopper", rng.randint(0, 9_000))]
        for source in rng.sample(sources, 4)
    }
    left = {
        source: (rng.choice(["totes", "waste"]), rng.randint(0, 9_000)) for source in rng.sample(sources, 3)
    }
    rows = account.account(shop.links, received, place, in_vessels=vessels, left=left)
    assert sum(row.grams for row in rows) == sum(received.values())
    assert all(row.grams > 0 for row in rows[:-1])
    assert rows[-1].place == UNACCOUNTED
    assert len({row.place for row in rows}) == len(rows)


@pytest.mark.parametrize("seed", range(8))
def test_every_row_is_what_the_items_there_hold(seed):
    # exposure times what was not passed on, which exposure's own tests hold against scipy
    shop = genealogies.random_shop(seed, steps=60)
    tote = shop.totes[0]
    held = exposure.fractions(shop.links, {tote})
    total = exposure.read(shop.links).total
    given_on = {}
    for row in shop.links:
        given_on[row.parent] = given_on.get(row.parent, 0) + row.best_g
    rows = account.account(shop.links, {tote: 10_000_000}, lambda item: item)
    for row in rows[:-1]:
        if row.place != tote:
            there = held[row.place] * (total[row.place] - given_on.get(row.place, 0))
            assert row.grams == pytest.approx(there, abs=1)


def shares(draw_from):
    return st.lists(draw_from, min_size=1, max_size=12)


@given(shares(st.floats(-1e6, 1e6)))
@example([4.7, 1.6, 1.58, 1.2, 0.61, 0.31])
def test_rounding_moves_no_place_by_a_gram(parts):
    found = {UNACCOUNTED: 0.0} | {f"place {n}": part for n, part in enumerate(parts)}
    total = round(sum(parts))
    found[UNACCOUNTED] = total - sum(parts)
    rows = as_dict(account._whole(found, total))
    assert sum(rows.values()) == total
    assert all(abs(rows.get(name, 0) - part) < 1 + 1e-6 for name, part in found.items())


def test_rounding_is_by_largest_remainder():
    # the usual textbook example of Hare's quota: 100 000 votes, ten seats (from memory)
    votes = {"yellow": 47_000, "white": 16_000, "red": 15_800, "green": 12_000, "blue": 6_100, "pink": 3_100}
    rows = account._whole({UNACCOUNTED: 0.0} | {party: n / 10_000 for party, n in votes.items()}, 10)
    assert as_dict(rows) == {"yellow": 5, "white": 2, "red": 1, "green": 1, "blue": 1, UNACCOUNTED: 0}


def test_what_was_made_from_each_other_is_not_counted_together():
    with pytest.raises(Nonsense, match="RG-1 holds material of F-2, so the two can't be counted together"):
        account.account(ONE_TOTE, {"L-1": 900_000, "RG-1": 500_000}, where)


def test_nothing_was_received_with_negative_grams():
    with pytest.raises(Nonsense, match="L-1 can't have been received with -1 g"):
        account.account(ONE_TOTE, {"L-1": -1}, where)


def test_an_account_passes_within_the_band_of_its_weights():
    rows = account.account(ONE_TOTE, {"L-1": 900_000}, where, left={"L-1": ("totes", 81_500)})
    assert as_dict(rows)[UNACCOUNTED] == 8_500
    assert account.within_band(rows, account.band_g([(900_000, 100)]))
    assert not account.within_band(rows, account.band_g([(849_000, 100)]))
    assert account.within_band([Row(UNACCOUNTED, -8_500)], 8_500)
    assert account.band_g([(1, 1)]) == 1
    assert account.band_g([]) == 0
