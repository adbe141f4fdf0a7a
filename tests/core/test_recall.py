"""What a recall lists: tiers, thresholds, and the two kinds of defect."""

import importlib.util
import random
from fractions import Fraction
from pathlib import Path

import networkx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import recall
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.exposure import UNKNOWN, Grams, Interval, Link

_spec = importlib.util.spec_from_file_location("genealogies", Path(__file__).with_name("genealogies.py"))
genealogies = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(genealogies)

seeds = st.integers(0, 10**6)


def is_fill(item):
    return item.startswith("F-")


def listing(links, suspects=("L-1",), **asked):
    asked = {"defect": "contamination", "unknown_may_hold": lambda link: True, "is_listed": is_fill} | asked
    return recall.listing(links, set(suspects), **asked)


def tiers(found):
    return {item.id: item.tier for item in found.items}


def regrind_tire(tire, of_suspect, total, ord_=9):
    """A tire of *total* grams with *of_suspect* grams of a batch that is all L-1."""
    return [
        Link(1, "RG-1", "0", "G", "L-1", 500, 500, 500),
        Link(ord_, tire, "main", "R", "RG-1", of_suspect, of_suspect, of_suspect),
        Link(ord_, tire, "main", "A", "L-9", total - of_suspect, total - of_suspect, total - of_suspect),
    ]


# One of each tier: 100 kg tires, B between L-1 and L-2, regrind from a tire that was half L-1.
EACH_TIER = [
    Link(1, "F-1", "main", "B", "L-1", 40_000, 50_000, 60_000),
    Link(1, "F-1", "main", "B", "L-2", 40_000, 50_000, 60_000),
    Link(2, "F-2", "main", "B", "L-1", 0, 10, 30),
    Link(2, "F-2", "main", "B", "L-2", 99_970, 99_990, 100_000),
    Link(3, "RG-1", "0", "G", "F-1", 20_000, 20_000, 20_000),
    Link(4, "F-3", "main", "R", "RG-1", 10_000, 10_000, 10_000),
    Link(4, "F-3", "main", "B", "L-2", 90_000, 90_000, 90_000),
    Link(5, "F-4", "main", "R", "RG-1", 0, 1_000, 2_000),
    Link(5, "F-4", "main", "R", "RG-2", 0, 1_000, 2_000),
    Link(5, "F-4", "main", "B", "L-2", 98_000, 98_000, 98_000),
    Link(6, "F-5", "main", "R", "RG-1", 100, 100, 100),
    Link(6, "F-5", "main", "B", "L-2", 99_900, 99_900, 99_900),
    Link(7, "F-6", "main", "B", "L-2", 100_000, 100_000, 100_000),
    Link(8, "purge 1", "", "B", "L-1", 4_000, 4_000, 4_000),
]


def test_each_tier_in_its_order():
    found = listing(EACH_TIER)
    assert list(tiers(found).items()) == [
        ("F-1", "certain"),
        ("F-2", "possible"),
        ("F-3", "through regrind"),
        ("F-4", "not excluded"),
    ]
    assert (found.traces_count, found.traces_best_g) == (1, 50)
    assert tuple(recall.TIERS) == ("certain", "possible", "through regrind", "not excluded", "traces")


def test_a_listed_tire_says_how_much_and_by_which_way():
    first, second, third, fourth = listing(EACH_TIER).items
    assert first == recall.Item(
        "F-1", "certain", Interval(0.4, 0.5, 0.6), Grams(40_000, 50_000, 60_000), Grams(40_000, 50_000, 60_000),
        0.5, 0.0, 100_000, ("L-1", "F-1"),
    )  # fmt: skip
    assert second.direct == Grams(0, 10, 30)
    assert third.direct == Grams(0, 0, 0)
    assert third.grams == Grams(4_000, 5_000, 6_000)
    assert third.path == ("L-1", "F-1", "RG-1", "F-3")
    assert third.side_share == 0.0
    assert fourth.grams == Grams(0, 500, 1_200)


def test_a_setting_defect_leaves_out_what_came_through_regrind():
    found = listing(EACH_TIER, defect="setting")
    assert tiers(found) == {"F-1": "certain", "F-2": "possible"}
    assert found.traces_count == 0
    mixed = listing(
        [
            *EACH_TIER,
            Link(9, "F-7", "main", "B", "L-1", 30_000, 30_000, 30_000),
            Link(9, "F-7", "main", "R", "RG-1", 70_000, 70_000, 70_000),
        ],
        defect="setting",
    ).items[1]
    assert mixed.id == "F-7"
    assert mixed.exposure == Interval(0.3, 0.3, 0.3)  # the cured half of RG-1 does not count
    assert mixed.grams == mixed.direct == Grams(30_000, 30_000, 30_000)
    assert mixed.path == ("L-1", "F-7")


def test_a_setting_defect_lists_a_tire_whose_liquid_is_of_unknown_origin_but_not_one_whose_regrind_is():
    links = [
        Link(1, "F-1", "main", "B", UNKNOWN, 30_000, 30_000, 30_000, 5),
        Link(1, "F-1", "main", "R", "RG-1", 70_000, 70_000, 70_000),
        Link(2, "F-2", "main", "B", "L-2", 30_000, 30_000, 30_000),
        Link(2, "F-2", "main", "R", UNKNOWN, 70_000, 70_000, 70_000, 5),
    ]
    assert tiers(listing(links, defect="setting")) == {"F-1": "not excluded"}
    assert tiers(listing(links)) == {"F-1": "not excluded", "F-2": "not excluded"}
    assert tiers(listing(links, defect="setting", unknown_may_hold=lambda link: False)) == {}


def test_a_batch_as_the_suspect_of_a_setting_defect_is_direct_in_the_tires_it_was_loaded_for():
    assert tiers(listing(EACH_TIER, {"RG-1"}, defect="setting")) == {
        "F-3": "certain",
        "F-5": "certain",
        "F-4": "possible",
    }


@pytest.mark.parametrize(
    ("of_suspect", "tier"), [(1_001, "through regrind"), (1_000, "through regrind"), (999, None), (1, None)]
)
def test_the_threshold_itself_is_listed(of_suspect, tier):
    found = listing(regrind_tire("F-1", of_suspect, 100_000), unknown_may_hold=lambda link: False)
    assert tiers(found).get("F-1") == tier
    assert found.traces_count == (tier is None)


@pytest.mark.parametrize("tenths", range(1, 10))
def test_rounding_never_takes_a_tire_off_the_list(tenths):
    # tenths/10 of a batch that is a third of the suspect: the threshold is met exactly in fractions, not always in floats
    links = [
        Link(1, "RG-1", "0", "G", "L-1", 1, 1, 1),
        Link(1, "RG-1", "0", "G", "L-2", 2, 2, 2),
        Link(2, "F-1", "main", "R", "RG-1", tenths, tenths, tenths),
        Link(2, "F-1", "main", "A", "L-9", 10 - tenths, 10 - tenths, 10 - tenths),
    ]
    assert tiers(listing(links, threshold=Fraction(tenths, 30))) == {"F-1": "through regrind"}


def test_no_threshold_cuts_what_went_in_directly():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 1, 1, 1),
        Link(1, "F-1", "main", "B", "L-2", 999_999, 999_999, 999_999),
        Link(2, "F-2", "main", "B", "L-1", 0, 0, 1),
        Link(2, "F-2", "main", "B", "L-2", 999_999, 1_000_000, 1_000_000),
    ]
    assert tiers(listing(links, threshold=1)) == {"F-1": "certain", "F-2": "possible"}


def test_within_a_tier_the_most_of_the_suspect_stands_first_then_the_id():
    links = [
        row
        for tire, grams in (("F-1", 5_000), ("F-2", 30_000), ("F-4", 20_000), ("F-3", 20_000))
        for row in regrind_tire(tire, grams, 100_000)[1:]
    ]
    links += regrind_tire("F-5", 10_000, 100_000)
    assert [item.id for item in listing(links).items] == ["F-2", "F-3", "F-4", "F-5", "F-1"]


def test_a_lot_in_two_totes_is_judged_as_one():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 0, 45, 90),
        Link(1, "F-1", "main", "B", "L-2", 0, 45, 90),
        Link(1, "F-1", "main", "B", "L-9", 0, 10, 25),
    ]
    assert tiers(listing(links, {"L-1"})) == {"F-1": "possible"}
    assert tiers(listing(links, {"L-1", "L-2"})) == {"F-1": "certain"}


def test_all_the_b_of_a_half_regrind_tire():
    links = [
        Link(1, "F-1", "main", "A", "L-2", 25, 25, 25),
        Link(1, "F-1", "main", "B", "L-1", 25, 25, 25),
        Link(1, "F-1", "main", "R", UNKNOWN, 50, 50, 50, 3),
    ]
    (found,) = listing(links).items
    assert (found.side_share, found.exposure.best, found.exposure.upper) == (1.0, 0.25, 0.75)
    assert found.unknown_share == 0.5


def test_unknown_origin_alone_is_not_excluded_from_the_threshold_on():
    links = [
        Link(1, "F-1", "main", "B", UNKNOWN, 0, 5_000, 9_000, 50),
        Link(1, "F-1", "main", "B", "L-2", 91_000, 95_000, 100_000),
        Link(1, "F-2", "main", "B", UNKNOWN, 0, 500, 900, 50),
        Link(1, "F-2", "main", "B", "L-2", 99_100, 99_500, 100_000),
    ]
    found = listing(links)
    assert tiers(found) == {"F-1": "not excluded"}
    assert found.items[0].path == ()
    assert found.items[0].grams == Grams(0, 0, 9_000)
    assert (found.traces_count, found.traces_best_g) == (1, 0)
    assert listing(links, unknown_may_hold=lambda link: link.cut_at > 50) == recall.Listing((), 0, 0)


def test_a_tire_that_is_itself_the_suspect_is_certain():
    found = listing(EACH_TIER, {"F-1"})
    assert found.items[0].id == "F-1"
    assert found.items[0].tier == "certain"
    assert found.items[0].grams == Grams(100_000, 100_000, 100_000)
    assert found.items[0].path == ("F-1",)
    assert tiers(found)["F-3"] == "through regrind"
    assert tiers(listing([], {"F-1"})) == {"F-1": "certain"}


def test_other_items_are_listed_where_they_are_asked_for():
    assert tiers(listing(EACH_TIER, is_listed=lambda item: not is_fill(item) and item != "L-1")) == {
        "purge 1": "certain",
        "RG-1": "through regrind",
    }


def test_traces_are_listed_for_the_file():
    found = listing(EACH_TIER, with_traces=True)
    assert found.items[-1].id == "F-5"
    assert found.items[-1].tier == "traces"
    assert found.items[-1].path == ("L-1", "F-1", "RG-1", "F-5")
    assert found.traces_count == 1
    assert found.items[:-1] == listing(EACH_TIER).items


def test_grams_through_regrind_are_rounded_outwards():
    links = [
        Link(1, "RG-1", "0", "G", "L-1", 1, 1, 1),
        Link(1, "RG-1", "0", "G", "L-2", 2, 2, 2),
        Link(2, "F-1", "main", "R", "RG-1", 100, 100, 100),
        Link(3, "F-2", "main", "R", "RG-1", 90, 90, 90),
    ]
    assert {item.id: item.grams for item in listing(links).items} == {
        "F-1": Grams(33, 33, 34),
        "F-2": Grams(30, 30, 30),  # a third of 90 is 30, whatever the last bit says
    }


@given(seeds)
@settings(max_examples=25, deadline=None)
def test_every_tire_a_suspect_can_have_reached_is_listed_or_counted(seed):
    # networkx.descendants
    shop = genealogies.random_shop(seed, steps=60, wide=300)
    suspects = set(shop.totes[:2])
    graph = networkx.DiGraph((row.parent, row.child) for row in shop.links if row.best_g)
    graph.add_nodes_from(suspects)
    reached = set().union(*(networkx.descendants(graph, suspect) for suspect in suspects))
    found = listing(shop.links, suspects, unknown_may_hold=lambda link: False, with_traces=True)
    assert {item for item in reached if item in set(shop.fills)} <= set(tiers(found))
    direct = {row.child for row in shop.links if row.parent in suspects and row.most_g}
    for item in found.items:
        assert (item.tier in ("certain", "possible")) == (item.id in direct)
        assert item.grams.least <= item.grams.best <= item.grams.most <= item.total_g
        assert item.direct.least <= item.grams.least and item.direct.most <= item.grams.most
        assert item.direct.best <= item.grams.best
        assert item.path[0] in suspects and item.path[-1] == item.id


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_the_list_is_the_same_whatever_order_the_book_delivers(seed):
    shop = genealogies.random_shop(seed, steps=60)
    mixed = random.Random(seed).sample(shop.links, len(shop.links))
    assert listing(mixed, shop.totes[:1]) == listing(shop.links, shop.totes[:1])


@given(seeds)
@settings(max_examples=20, deadline=None)
def test_a_lower_threshold_only_adds(seed):
    shop = genealogies.random_shop(seed, steps=60, wide=300)
    strict, loose = (tiers(listing(shop.links, shop.totes[:1], threshold=t)) for t in (0.05, 0.001))
    assert set(strict) <= set(loose)
    assert all(recall.TIERS.index(loose[item]) <= recall.TIERS.index(tier) for item, tier in strict.items())


def test_two_to_the_sixtieth_ways_are_listed_at_once():
    links = [*genealogies.many_ways(61), Link(99, "F-1", "main", "R", "RG-61a", 10, 10, 10)]
    (found,) = listing(links).items
    assert (found.tier, found.exposure.best, len(found.path)) == ("through regrind", 1.0, 63)


@pytest.mark.parametrize("threshold", [0, -0.01, 1.01, float("nan"), Fraction(5, 4)])
def test_a_threshold_is_a_fraction(threshold):
    with pytest.raises(Nonsense, match=r"0\.01 is 1 % of the fill") as refused:
        listing(EACH_TIER, threshold=threshold)
    assert refused.value.field == "threshold"


def test_a_kind_of_defect_is_one_of_two():
    with pytest.raises(Nonsense, match=r"say 'setting' .* or 'contamination'") as refused:
        listing(EACH_TIER, defect="softness")
    assert refused.value.field == "defect"


def test_unknown_origin_is_no_suspect():
    with pytest.raises(Nonsense, match="Unknown origin"):
        listing(EACH_TIER, {UNKNOWN})
