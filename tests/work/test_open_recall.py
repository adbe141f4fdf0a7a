"""While a recall is open, what it suspects is not used and what it lists does not leave, without a lead's reason; and nothing else is kept."""

import importlib.util
import sys
from pathlib import Path

import pytest

from fillbook.trace.book import cures, glance, items, on_hold
from fillbook.trace.core.errors import Stopped

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_for_recalls", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)

pytestmark = pytest.mark.usefixtures("checked_shop")


@pytest.fixture
def day(shop):
    """Two tires of the suspect lot, one released and one on the rack; one of another lot on line 2, released."""
    shop.suspect, shop.other_side = shop.ready_line("line 1")
    shop.ready_line("line 2")
    shop.out, shop.racked = shop.fill(), shop.fill()
    shop.sound = shop.fill(line="line 2")
    shop.rack(shop.out, shop.racked, shop.sound)
    shop.wait(hours=54)
    shop.log(55)
    shop.lead("release", tire=shop.out)
    shop.lead("release", tire=shop.sound)
    return shop


def opened(shop, **more):
    return shop.lead("open recall", suspect=shop.suspect, why="smells of water", **more).seq


def kept(shop, *codes):
    return [bool(on_hold.holds_on(shop.book, code)) for code in codes]


def test_what_it_lists_and_suspects_stays_and_nothing_else(day):
    assert kept(day, day.suspect, day.out, day.racked) == [False, False, False]
    opened(day)
    assert kept(day, day.suspect, day.out, day.racked) == [True, True, True]
    assert kept(day, day.sound, day.other_side) == [False, False]
    every = [code for (code,) in day.book.tuples("SELECT code FROM item")]
    assert on_hold.held_among(day.book, every) == {day.suspect, day.out, day.racked}
    day.act("dispatch", tires=[day.sound])


def test_a_listed_tire_leaves_with_a_leads_reason_alone(day):
    opened(day)
    with pytest.raises(
        Stopped,
        match=r"is kept by a recall \(Recall of .*, open: certain\); no dispatch until that recall is closed",
    ):
        day.act("dispatch", tires=[day.out])
    assert day.state(day.out) == "released"
    day.lead("dispatch", tires=[day.out], override="the customer scraps it there")
    assert day.state(day.out) == "dispatched"


def test_what_keeps_a_tire_is_said_before_that_nobody_released_it(day):
    opened(day)
    with pytest.raises(Stopped, match="is kept by a recall"):
        day.act("dispatch", tires=[day.racked])


def test_the_desk_says_so_and_a_release_signed_all_the_same_is_its_outcome(day):
    opened(day)
    found = cures.case(day.book, day.racked, day.now).decision
    assert found.verdict == "On hold" and any("open: certain" in one.words for one in found.stops)
    with pytest.raises(Stopped, match="A lead can override"):
        day.lead("release", tire=day.racked)
    day.lead("release", tire=day.racked, override="its twin was cut open and is sound", signed_by="Dana")
    assert kept(day, day.racked) == [False]
    day.act("dispatch", tires=[day.racked])


def test_the_suspect_is_not_filled_from_or_hooked_up(day):
    opened(day)
    tire = day.tire()
    with pytest.raises(Stopped, match=r"Recall of .*, open: suspected"):
        day.act("start fill", tire=tire, line="line 1")
    day.act("unhook", tote=day.suspect)
    with pytest.raises(Stopped, match=r"Recall of .*, open: suspected"):
        day.hook_up(day.suspect, line="line 2")
    day.act("start fill", tire=tire, line="line 2")  # the other line goes on


def test_a_tote_of_the_lot_that_comes_in_later_is_suspected_too(shop):
    first = shop.tote("A", lot="A-77")
    shop.suspect = "Northvale/A-77"
    opened(shop)
    later = shop.tote("A", lot="A-77")
    other = shop.tote("A", lot="A-78")
    assert kept(shop, first, later, other) == [True, True, False]


def test_it_ends_when_the_recall_is_closed(day):
    recall = opened(day)
    day.lead("close recall", recall=recall, note="lot analysed: dry", override="nothing was wrong with it")
    assert kept(day, day.suspect, day.out, day.racked) == [False, False, False]
    day.act("dispatch", tires=[day.out])


def test_what_happened_before_it_was_opened_is_written_down_late(day):
    before = day.ago(minutes=1)
    opened(day)
    day.act("dispatch", tires=[day.out], at=before)
    assert day.state(day.out) == "dispatched"


def test_a_listed_tire_may_be_cut_out_but_not_ground(day):
    opened(day)
    day.act("reclaim", tire=day.racked)
    assert kept(day, day.racked) == [False]  # that is an outcome
    with pytest.raises(Stopped, match="no grinding until that recall is closed"):
        day.grind(**{day.racked: 50})


def test_a_tire_that_is_only_not_excluded_may_go(shop):
    """Pieces of unknown origin can be of any older lot: that is shown, and keeps nobody's tire here."""
    shop.suspect, _ = shop.ready_line("line 1", kg=3000)
    shop.ready_line("line 2", kg=3000)
    shop.fill(kg=200)
    shop.wait(days=3)
    batch = shop.act(
        "grind", pieces=[{"source": "unknown", "weight_kg": 300, "cut_no_later_than": shop.ago(hours=1)}]
    ).ids[0]
    shop.load(batch, 300, line="line 2")
    tire = shop.fill(line="line 2", mix_pct=40)
    opened(shop)
    tiers = dict(shop.book.tuples("SELECT item, tier FROM recall_item"))
    assert tiers[tire] == "not excluded"
    assert kept(shop, tire) == [False]


def test_a_source_put_on_hold_after_the_release_keeps_the_tire_here(day):
    day.act(
        "hold",
        lot="Northvale/" + day.book.value("SELECT lot FROM tote WHERE item = ?", day.suspect),
        why="bulging totes",
    )
    with pytest.raises(
        Stopped, match=r"released before lot A-1 of Northvale, 47.11 % of its fill, was put on hold"
    ):
        day.act("dispatch", tires=[day.out])
    day.act("dispatch", tires=[day.sound])


def test_the_floor_and_the_item_say_it(day):
    recall = opened(day)

    def floor():
        return [one for one in glance.alerts(day.book, day.site, day.now) if one.place == f"recall/{recall}"]

    (said,) = floor()
    assert said.urgency == "stop" and said.words.endswith(
        "is open; 3 of the 3 tires it lists have no outcome yet."
    )
    about = items.about(day.book, day.out)["holds"]
    assert [(one["hold"], one["recall"]) for one in about] == [("", recall)] and about[0]["by"] == "Lee"
    day.act("scrap", item=day.out, why="cut up")
    # Not excluded: its line's hose held nobody knows what at first
    day.act("scrap", item=day.sound, why="cut up")
    assert floor()[0].words.endswith("is open; 1 of the 3 tires it lists has no outcome yet.")
    day.act("scrap", item=day.racked, why="cut up")
    assert floor()[0].words.endswith("every tire it lists has an outcome. Close it.")
    day.lead("close recall", recall=recall, note="both cut up")
    assert floor() == []


@pytest.mark.parametrize("seed", [11, 12])
def test_one_by_one_and_many_at_once_agree(seed):
    made = shops.RandomShop(seed, fills=25)
    shop, book = made.shop, made.book
    try:
        for lot in made.lots[:3]:
            shop.lead("open recall", suspect=f"Northvale/{lot}", why="trial")
        every = [code for (code,) in book.tuples("SELECT code FROM item WHERE kind IN ('L', 'G', 'F', 'C')")]
        one_by_one = {code for code in every if on_hold.holds_on(book, code)}
        assert one_by_one and on_hold.held_among(book, every) == one_by_one
    finally:
        book.db.close()
