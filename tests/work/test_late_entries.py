"""What is entered late counts from when it happened, and what was entered since stays true or is refused."""

import pytest

from fillbook.trace.book import queries
from fillbook.trace.core.errors import Nonsense, ShopError


def test_a_late_change_over_moves_the_links_of_what_was_filled_since(shop):
    first, _ = shop.ready_line()
    one, two = shop.fill(kg=100), None
    second = shop.tote("A", at=shop.ago(hours=1))
    between = shop.ago()
    shop.wait(minutes=5)
    two = shop.fill(kg=100)
    assert set(shop.links(two)) & {("A", first), ("A", second)} == {("A", first)}
    shop.hook_up(second, at=between)
    assert ("A", second) in shop.links(two) and ("A", second) not in shop.links(one)
    assert [shop.state(t) for t in (first, second)] == ["part used", "hooked up"]
    shop.check()


def test_a_late_hook_up_of_a_tote_that_has_come_off_since(shop):
    """It stood on the line only until the next one that the book already knows of."""
    first, _ = shop.ready_line()
    between = shop.ago()
    shop.wait(minutes=30)
    third = shop.tote("A")
    shop.hook_up(third, change="ran dry")
    second = shop.tote("A", at=shop.ago(hours=2))
    shop.hook_up(second, at=between)
    assert [shop.state(t) for t in (first, second, third)] == ["part used", "empty", "hooked up"]
    with pytest.raises(Nonsense, match="not hooked up"):
        shop.act("unhook", tote=second)
    shop.check()


def test_a_late_draw_between_two_is_walked_in_its_place(shop):
    a, _b = shop.ready_line()
    shop.fill(kg=100)
    between = shop.ago()
    shop.wait(minutes=30)
    new_a = shop.tote("A")
    shop.hook_up(new_a)
    later = shop.fill(kg=100)
    with_hose = shop.links(later)["A", a]
    shop.act("purge", line="line 1", weight_kg=4, at=between)
    assert shop.links(later)["A", a] == with_hose  # before the change-over: the hose was full of the same
    shop.act("purge", line="line 1", weight_kg=4, at=shop.ago(minutes=15))
    assert shop.links(later)["A", a][1] < with_hose[1]  # after it: purged away
    shop.check()


def test_a_fill_finished_late_is_finished_once(shop):
    shop.ready_line()
    tire = shop.fill(minutes=30)
    with pytest.raises(Nonsense, match="correct its fill"):
        shop.act("finish fill", tire=tire, weight_kg=100, at=shop.ago(minutes=10))
    shop.check()


def test_a_start_entered_after_the_finish_says_when_it_began(shop):
    shop.ready_line()
    tire = shop.tire()
    shop.wait(minutes=40)
    shop.act("finish fill", tire=tire, weight_kg=100, pressure_psi=60, line="line 1")
    shop.act("start fill", tire=tire, line="line 1", at=shop.ago(minutes=30))
    assert shop.state(tire) == "filled"
    shop.check()


def test_a_fill_did_not_begin_before_its_tire_came_in(shop):
    shop.ready_line()
    tire = shop.tire()
    with pytest.raises(Nonsense, match="came in at"):
        shop.act("finish fill", tire=tire, weight_kg=100, line="line 1", started=shop.ago(days=3))


def test_a_tire_is_not_released_again_before_its_release(shop):
    shop.ready_line()
    tire = shop.cured(start={"bay_f": 75})
    shop.wait(hours=5)
    shop.log(6)
    shop.lead("release", tire=tire)
    with pytest.raises(Nonsense, match="released already"):
        shop.lead("release", tire=tire, at=shop.ago(hours=1))
    shop.check()


def test_a_tire_that_came_back_can_be_released_again(shop):
    shop.ready_line()
    tire = shop.cured(start={"bay_f": 75})
    shop.lead("release", tire=tire)
    shop.act("dispatch", tires=[tire])
    shop.act("return", tire=tire, complaint="wrong size ordered")
    shop.rack(tire)
    shop.wait(hours=50)
    shop.log(50)
    shop.lead("release", tire=tire)
    assert len(queries.releases(shop.book, tire)) == 2
    shop.check()


def test_a_limit_set_for_the_past_is_walked_again(shop):
    first, _ = shop.ready_line()
    shop.fill(kg=100)
    second = shop.tote("A")
    shop.hook_up(second)
    tire = shop.fill(kg=20)
    usual = shop.links(tire)["A", first]
    limits = {"limit": "hose_content_low", "to": "1 kg", "source": "weighed", "from_when": shop.ago(days=1)}
    shop.lead("set limit", **limits)
    shop.lead("set limit", **(limits | {"limit": "hose_content_high", "to": "1 kg"}))
    assert shop.links(tire)["A", first][1] < usual[1]
    shop.check()


def test_late_entries_in_any_order_end_in_the_same_links(new_shop):
    """The last word is a function of what happened, not of the order in which it was written."""
    ends = []
    for number, order in enumerate([(0, 1, 2, 3, 4), (4, 3, 2, 1, 0), (2, 4, 0, 3, 1)]):
        shop = new_shop(f"{number}.db")
        a, b, a_2 = shop.tote("A"), shop.tote("B"), shop.tote("A")
        tires = [shop.tire(), shop.tire()]
        shop.lead("set limit", limit="hose_content_high", to="8 kg", source="weighed", from_when=shop.ago())
        shop.wait(hours=8)
        acts = [
            ("hook up", {"line": "line 1", "tote": a}, 6),
            ("hook up", {"line": "line 1", "tote": b}, 6),
            (
                "finish fill",
                {"line": "line 1", "tire": tires[0], "weight_kg": 90, "pressure_psi": 60, "mix_pct": 0},
                5,
            ),
            ("hook up", {"line": "line 1", "tote": a_2}, 4),
            (
                "finish fill",
                {"line": "line 1", "tire": tires[1], "weight_kg": 90, "pressure_psi": 60, "mix_pct": 0},
                3,
            ),
        ]
        for n in order:
            verb, fields, hours = acts[n]
            shop.act(verb, at=shop.ago(hours=hours), **fields)
            shop.now -= 60
        shop.check()
        ends.append(([shop.links(tire) for tire in tires], [shop.state(t) for t in (a, b, a_2)]))
    assert ends[0] == ends[1] == ends[2]


def test_a_whole_number_is_no_time(shop):
    with pytest.raises(Nonsense, match="is a time such as"):
        shop.act(
            "receive", supplier="Northvale", lot="A-1", side="A", system="RX-30", net_kg=5, use_by=20261003
        )


def test_another_shops_item_is_not_used(shop):
    """Two shops in one book are two journals; one never leans on the other's."""
    tote = shop.tote("A")
    other = type(shop)(shop.book, shop.now)
    other.site = "KV"
    other.set_up("KV")
    other.furnish()
    with pytest.raises(ShopError, match="BH"):
        other.hook_up(tote)
    other.ready_line()
    other.fill()
    shop.check()
