"""Several suspects at once: totes, a tote hooked up twice, a window of time on a line, a batch and a tire."""

import re

import pytest

from fillbook.trace.book import how_sure, recalls
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense, UnknownItem


def tiers(shop, said, **how):
    return {ids.read(one["id"]): one["tier"] for one in recalls.recall(shop.book, "BH", said, **how)["items"]}


def between(shop):
    """A tire that one of two totes of different lots is in for certain, but neither of them: both stood in the hose."""
    shop.lead("set limit", limit="hose_content_low", to="0.5 kg", source="weighed")
    shop.lead("set limit", limit="hose_content_high", to="20 kg", source="weighed")
    shop.ready_line()
    shop.fill(kg=200)
    one, two = shop.tote("A", lot="A-one"), shop.tote("A", lot="A-two")
    shop.hook_up(one)
    shop.fill(kg=60)
    shop.hook_up(two)
    return one, two, shop.fill(kg=30)


def test_a_set_can_be_certain_where_no_member_is(shop):
    one, two, tire = between(shop)
    assert (tiers(shop, "A-one")[tire], tiers(shop, "A-two")[tire]) == ("possible", "possible")
    assert tiers(shop, "A-one, A-two")[tire] == "certain"
    assert tiers(shop, f"{one},{two}") == tiers(shop, "A-one,A-two")


def test_a_tote_hooked_up_twice_is_one_suspect(shop):
    first, _ = shop.ready_line()
    shop.fill(kg=100)
    other = shop.tote("A")
    shop.hook_up(other)
    mixed = shop.fill(kg=4)
    shop.hook_up(first)
    again = shop.fill(kg=100)
    found = tiers(shop, first)
    assert found[again] == "certain" and found[mixed] in ("certain", "possible")
    least, best, most = shop.links(again)["A", first]
    assert 0 < least <= best <= most <= 50_000


def test_a_window_of_time_on_a_line_means_the_tires_that_were_on_it(shop):
    shop.ready_line()
    shop.ready_line("line 2")
    shop.fill(kg=100)
    start = shop.now
    inside = [shop.fill(kg=100) for _ in range(2)]
    elsewhere = shop.fill(kg=100, line="line 2")
    end = shop.now
    shop.wait(minutes=5)
    later = shop.fill(kg=100)
    shop.wait(days=3)
    shop.act("reclaim", tire=inside[0])
    batch = shop.grind(**{inside[0]: 90})
    shop.load(batch, 60)
    through = shop.fill(kg=100, mix_pct=40)
    window = f"line 1 {times.show(start, 'America/Chicago')}..{times.show(end, 'America/Chicago')}"
    found = tiers(shop, window)
    assert {tire for tire, tier in found.items() if tier == "certain"} == set(inside)
    assert found[through] == "through regrind" and not {elsewhere, later} & set(found)
    hours = re.sub(r"\.\.\S+ ", "..", window)  # the end as an hour of the same day
    assert tiers(shop, hours) == found
    account = recalls.recall(shop.book, "BH", window)["account"]
    assert sum(row["grams"] for row in account) == 200_000


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ("line 1 2025-09-01 12:00..2025-09-01 11:00", "before it begins"),
        ("line 9 2025-09-01 12:00..13:00", "no line 'line 9'.*line 1, line 2"),
        ("line 1 2020-01-01 12:00..13:00", "No tire was filled"),
        ("A-1, nothing like it", "neither a lot"),
        (", ".join(["A-1"] * 201), "at most 200"),
    ],
)
def test_a_suspect_that_is_none_is_said(shop, said, words):
    shop.ready_line()
    with pytest.raises((Nonsense, UnknownItem), match=words):
        recalls.recall(shop.book, "BH", said)


def test_a_member_made_from_another_is_counted_once(shop):
    a, _ = shop.ready_line()
    tire = shop.reclaimed(kg=100)
    batch = shop.grind(**{tire: 90})
    found = recalls.recall(shop.book, "BH", f"{ids.pretty(a)}, {ids.pretty(batch)}")
    assert sum(row["grams"] for row in found["account"]) == 1_000_000


def test_how_sure_says_each_tier_with_this_recalls_numbers(shop):
    _, _, tire = between(shop)
    found = recalls.recall(shop.book, "BH", "A-one")
    said = how_sure.explain(shop.book, "BH", found)
    words = {one["tier"]: one for one in said["tiers"]}
    assert list(words) == ["certain", "possible", "through regrind", "not excluded", "traces"]
    for tier, one in words.items():
        mine = [item for item in found["items"] if item["tier"] == tier]
        assert one["count"] == len(mine) and one["sentence"].endswith(".")
    assert ids.pretty(tire) in words["possible"]["sentence"]
    most = max(item["grams"]["most"] for item in found["items"] if item["tier"] == "possible")
    assert f"{most / 453.59237:.1f} lb" in words["possible"]["sentence"]
    assert any("pump total (±3 %)" in one for one in said["rests_on"])
    assert any("1.1 lb to 44.1 lb" in one for one in said["rests_on"])


def test_how_sure_says_that_a_defect_of_setting_does_not_come_through_regrind(shop):
    between(shop)
    found = recalls.recall(shop.book, "BH", "A-one", defect="setting")
    (said,) = [
        one for one in how_sure.explain(shop.book, "BH", found)["tiers"] if one["tier"] == "through regrind"
    ]
    assert said["count"] == 0 and "inert" in said["sentence"]


def test_how_sure_names_the_batch_with_unknown_pieces_that_alone_keeps_a_tire_from_being_excluded(shop):
    shop.ready_line()
    for side in "AB":
        shop.hook_up(shop.tote(side, 1000, lot=f"{side}-next"))
    shop.fill(kg=400, mix_pct=0)  # the hoses are through with A-one
    whose = shop.tire()
    batch = shop.act(
        "grind", pieces=[{"source": "unknown", "weight_kg": 60, "cut_no_later_than": shop.ago(hours=1)}]
    ).ids[0]
    shop.load(batch, 60)
    shop.fill(whose, kg=100, mix_pct=40)
    suspect = ids.pretty(shop.tote("A", 1000, lot="A-never-used"))
    found = recalls.recall(shop.book, "BH", suspect)
    (one,) = [o for o in how_sure.explain(shop.book, "BH", found)["tiers"] if o["tier"] == "not excluded"]
    (listed,) = [o["id"] for o in found["items"]]
    assert (one["count"], listed) == (1, ids.pretty(whose))
    assert (
        f"it stands here only because material of unknown origin may be of it, by way of {ids.pretty(batch)}."
        in one["sentence"]
    )
