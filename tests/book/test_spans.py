"""Anchors: a tote hooked up full and run dry, or weighed, against what the fills say was drawn from it.

The bands are common practice as the settings give them (from memory); what is checked here is that they add up.
"""

import pytest

from fillbook.trace.book import queries, recalls, spans
from fillbook.trace.core import ids
from fillbook.trace.core.spans import own_spread


def on(shop, side="A", line=None):
    return [row for row in spans.table(shop.book, "BH", line or shop.line) if row["side"] == side]


def run(shop, fills, kg=100):
    return [shop.fill(kg=kg) for _ in range(fills)]


def test_a_tote_that_ran_dry_gives_the_factor_of_the_pump(shop):
    shop.ready_line(kg=206)
    run(shop, 4)
    shop.hook_up(shop.tote("A"), change="ran dry")
    first = on(shop)[0]
    assert (first["held_g"], first["drawn_g"], first["factor"], first["flagged"]) == (
        206_000,
        200_000,
        1.03,
        False,
    )
    shop.check()


def test_a_fill_keeps_its_weight_whatever_the_factor_is(shop):
    shop.ready_line(kg=300)
    tires = run(shop, 4)
    before = [queries.fill(shop.book, tire).grams for tire in tires]
    shop.hook_up(shop.tote("A"), change="ran dry")
    assert on(shop)[0]["flagged"] and on(shop)[0]["factor"] == 1.5
    assert [queries.fill(shop.book, tire).grams for tire in tires] == before
    for tire in tires:
        assert sum(best for _, best, _ in shop.links(tire).values()) == 100_000
    shop.check()


def test_a_factor_far_off_widens_what_was_drawn_near_the_change_over(shop):
    """A fill that is missing from the book lay somewhere between: the hose may be further on than the fills say."""
    a, _ = shop.ready_line(kg=300)
    run(shop, 2)
    second = shop.tote("A", 200)
    shop.hook_up(second)
    tires = run(shop, 3, kg=8)
    usual = [shop.links(tire)["A", a] for tire in tires]
    run(shop, 2)
    assert [shop.links(tire)["A", a] for tire in tires] == usual
    shop.hook_up(shop.tote("A"), change="ran dry")  # 200 kg gone, 112 drawn
    wider = [shop.links(tire)["A", a] for tire in tires]
    assert wider != usual
    for (least, best, most), (least_0, best_0, most_0) in zip(wider, usual, strict=True):
        assert least <= least_0 and best == best_0 and most >= most_0
    shop.check()


def test_what_a_tote_gave_beyond_what_it_held_is_of_unknown_origin(shop):
    a, _ = shop.ready_line(kg=200)
    early = run(shop, 4)[1:]  # in the first one is what stood in the hose
    assert all(shop.links(tire)["A", a] == (50_000, 50_000, 50_000) for tire in early)
    said = shop.act  # the fill that shows it says so
    tire = shop.tire()
    said("start fill", tire=tire, line="line 1")
    shop.wait(minutes=12)
    found = said("finish fill", tire=tire, weight_kg=120, pressure_psi=60).findings
    assert any(one["code"] == "more than it held" and "unknown origin" in one["words"] for one in found)
    assert shop.links(tire)["A", ""][1] > 50_000 and shop.links(tire)["A", a][0] == 0
    assert all(
        shop.links(one)["A", a][0] == 0 and ("A", "") in shop.links(one) for one in early
    )  # it may lie anywhere since
    assert sum(best for (side, _), (_, best, _) in shop.links(tire).items() if side == "A") == 60_000
    other = shop.tote("A", 500, lot="A-missed", at=shop.ago(days=1))
    listed = {item["id"]: item["tier"] for item in recalls.recall(shop.book, "BH", "A-missed")["items"]}
    assert listed[ids.pretty(tire)] == "not excluded" and other
    shop.check()


def test_the_missing_change_over_entered_late_puts_it_right(shop):
    _a, _ = shop.ready_line(kg=200)
    second = shop.tote("A", 500)
    run(shop, 3)
    between = shop.ago()
    shop.wait(minutes=3)
    tires = run(shop, 3)
    assert ("A", "") in shop.links(tires[-1])
    shop.hook_up(second, at=between)
    assert all(("A", "") not in shop.links(tire) for tire in tires)
    assert shop.links(tires[-1])["A", second][0] > 40_000 and not on(shop)[0]["flagged"]
    shop.check()


def test_two_lines_that_share_a_tote_draw_on_the_same_weight(shop):
    """A tote on two lines at once is a breach a lead may override; what one line drew is not there for the other."""
    a, _ = shop.ready_line(kg=200)
    shop.lead("hook up", tote=shop.tote("B"), line="line 2")
    shop.lead("hook up", tote=a, line="line 2", override="only one tote left")
    run(shop, 2)
    one = [shop.fill(kg=100, line="line 2") for _ in range(2)]
    assert not any(row["over"] for line in (shop.line, shop.line_2) for row in on(shop, line=line))
    assert on(shop, line=shop.line_2)[0]["held_g"] == 100_000
    run(shop, 2)
    more = shop.fill(kg=60, line="line 2")
    assert on(shop, line=shop.line_2)[0]["over"]
    assert all(("A", "") in shop.links(tire) for tire in (*one, more))
    found = recalls.recall(shop.book, "BH", ids.pretty(a))
    assert {item["id"] for item in found["items"]} >= {ids.pretty(tire) for tire in (*one, more)}
    shop.check()


def test_a_weighing_between_is_an_anchor_and_says_when_it_does_not_add_up(shop):
    a, _ = shop.ready_line(kg=400)
    run(shop, 3)
    assert shop.act("weigh", item=a, weight_kg=248).findings == ()
    first, now = on(shop)
    assert (first["how"], first["left_g"], round(first["factor"], 4)) == ("weighed", 248_000, 1.0133)
    assert (now["held_g"], now["drawn_g"]) == (248_000, 0)
    run(shop, 1)
    (finding,) = shop.act("weigh", item=a, weight_kg=100).findings
    assert finding["code"] == "does not add up" and "the fills stay as they are" in finding["words"]
    shop.check()


def test_a_tote_is_not_weighed_once_it_is_empty(shop):
    a, _ = shop.ready_line(kg=200)
    shop.act("unhook", tote=a, empty=True)
    with pytest.raises(Exception, match="nothing is left to weigh"):
        shop.act("weigh", item=a, weight_kg=20)


def test_the_true_share_of_regrind_stands_beside_the_panels(shop):
    shop.ready_line()
    batch = shop.grind(unknown=300)
    shop.load(batch, 50)
    shop.act("weigh", item="line 1", weight_kg=50)
    for _ in range(2):
        shop.fill(kg=100, mix_pct=20)  # the panel says 40 kg of regrind
    shop.load(batch, 20)
    shop.act("weigh", item="line 1", weight_kg=40)  # 50 + 20 - 40 = 30 kg are gone
    (row,) = spans.regrind_shares(shop.book, "BH", shop.line)
    assert (row["panel_g"], row["account_g"], row["liquid_g"]) == (40_000, 30_000, 160_000)
    assert row["panel_share"] == 0.2 and row["account_share"] == pytest.approx(30 / 190)
    shop.check()


def test_regrind_beyond_what_the_hopper_can_have_held_is_of_unknown_origin(shop):
    shop.ready_line()
    for limit, to in (("hopper_content_low", "5 kg"), ("hopper_content_high", "30 kg")):
        shop.lead("set limit", limit=limit, to=to, source="weighed")
    batch = shop.grind(unknown=20, **{shop_tire(shop): 200})
    shop.load(batch, 30)
    early = shop.fill(kg=50, mix_pct=40)
    held = shop.links(early)["R", batch]
    late = shop.fill(kg=100, mix_pct=40)  # 60 kg drawn, at most 30 can have been in it
    assert shop.links(late)["R", ""][1] > 0
    assert shop.links(early)["R", batch][0] <= held[0]
    shop.check()


@pytest.mark.parametrize("meanwhile, unknown", [(True, False), (False, True)])
def test_a_load_tipped_in_while_a_fill_runs_has_room(shop, meanwhile, unknown):
    """The hopper takes 30 kg. 44 kg went through it at once, which is possible if the second load was tipped in while the fill ran."""
    shop.ready_line()
    for limit, to in (("hopper_content_low", "5 kg"), ("hopper_content_high", "30 kg")):
        shop.lead("set limit", limit=limit, to=to, source="weighed")
    batch = shop.grind(unknown=20, **{shop_tire(shop): 200})
    shop.act("clean", line="line 1", how="emptied clean", parts="hopper")
    shop.load(batch, 20, basis="guess")
    tire = shop.tire()
    if meanwhile:
        shop.act("start fill", tire=tire, line="line 1")
        shop.wait(minutes=5)
    shop.load(batch, 17, basis="guess")
    shop.wait(minutes=5)
    if not meanwhile:
        shop.act("start fill", tire=tire, line="line 1")
        shop.wait(minutes=5)
    shop.act("finish fill", tire=tire, weight_kg=110, mix_pct=40, pressure_psi=60)
    assert (shop.links(tire).get(("R", ""), (0, 0, 0))[2] > 0) == unknown
    shop.check()


def shop_tire(shop):
    tire = shop.fill(kg=220, mix_pct=0)
    shop.wait(days=3)
    shop.act("reclaim", tire=tire)
    return tire


def test_a_lines_own_spread_takes_the_place_of_the_default(shop):
    shop.ready_line(kg=105)
    assert spans.own_band(shop.book, shop.line, "A") is None
    for _ in range(9):
        run(shop, 1, kg=200)  # the pump says 100 kg of each side, 105 are gone
        shop.hook_up(shop.tote("A", 105), change="ran dry")
        shop.hook_up(shop.tote("B", 300))
    assert spans.own_band(shop.book, shop.line, "A") == 500
    assert spans.own_band(shop.book, shop.line, "B") is None  # never run dry
    shop.check()


def test_flagged_totes_do_not_speak_for_the_pump():
    assert own_spread([(10_100, 1)] * 8, 8, 300) == 100
    assert own_spread([(10_100, 16)] * 8, 8, 300) == 300
    assert own_spread([(10_100, 1)] * 7, 8, 300) is None


@pytest.mark.parametrize("band", ["basis_chart", "basis_pump_total"])
def test_a_band_set_for_the_past_is_walked_again(shop, band):
    a, _ = shop.ready_line()
    run(shop, 1)
    shop.hook_up(shop.tote("A"))
    tires = [shop.fill(kg=10, basis="chart"), shop.fill(kg=10)]
    usual = [shop.links(tire)["A", a] for tire in tires]
    shop.lead("set limit", limit=band, to="40 pct", source="tried", from_when=shop.ago(days=1))
    assert [shop.links(tire)["A", a] for tire in tires] != usual
    shop.check()


def test_a_least_above_the_most_is_said(shop):
    (found,) = shop.lead("set limit", limit="hose_content_low", to="9 kg", source="weighed").findings
    assert found["code"] == "bounds contradict each other"
    shop.ready_line()
    run(shop, 1)
    shop.check()
