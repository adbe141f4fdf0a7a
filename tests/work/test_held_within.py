"""A regrind batch that holds what is on hold or recalled is not loaded, nor filled from, from the share on that would keep a tire."""

import pytest

from fillbook.trace.book import held_within
from fillbook.trace.core.errors import Stopped

pytestmark = pytest.mark.usefixtures("checked_shop")


@pytest.fixture
def day(shop):
    """A batch with 2 % of a tire of lot A-1, and one with 30 %; the rest is of unknown origin."""
    shop.suspect, _ = shop.ready_line("line 1")
    shop.ready_line("line 2")
    source = shop.reclaimed(kg=200)
    shop.little, shop.much = shop.grind(**{source: 2}, unknown=98), shop.grind(**{source: 30}, unknown=70)
    return shop


def held(shop, batch):
    return [share for _, share in held_within.in_batch(shop.book, batch, shop.now)]


def in_hopper(shop, mix_e4, line="line 1"):
    code = shop.book.value("SELECT item FROM line WHERE name = ?", line)
    return [share for _, share in held_within.in_hopper(shop.book, code, shop.now, mix_e4)]


def test_from_which_share_on_it_is_kept(day):
    """Side A is half of the fill by weight here (the system's ratio), so a batch with 30 % of it holds 15 % or so of its lot."""
    assert held(day, day.much) == held(day, day.little) == []
    day.act("hold", item=day.suspect, why="lid was open")
    (share,) = held(day, day.much)
    assert 1_000 < share < 2_000
    # a tire is kept from 1 % on, of what came through regrind; 65 % of the mix may be regrind
    assert share * 6_500 > 100 * 10_000
    assert held(day, day.little) == []


def test_a_clean_batch_on_top_hides_nothing(day):
    day.load(day.much, 30)
    day.load(day.grind(unknown=100), 90)
    day.act("hold", item=day.suspect, why="lid was open")
    (share,) = held(day, day.much)
    assert in_hopper(day, 6_500) == [share]
    assert in_hopper(day, 100 * 10_000 // share + 1) == [share]
    assert in_hopper(day, 100 * 10_000 // share) == []
    assert in_hopper(day, 6_500, "line 2") == [] and in_hopper(day, 0) == []


def test_what_was_drawn_is_not_in_the_hopper_any_more(day):
    day.act("clean", line="line 1", parts="hopper")
    day.load(day.much, 50)
    day.act("hold", item=day.suspect, why="lid was open")
    shares = [in_hopper(day, 6_500)]
    for _ in range(6):
        day.fill(day.tire(), mix_pct=50, kg=80, start={"who": "Lee", "override": "its lot was looked at"})
        day.load(day.grind(unknown=100), 40)
        shares.append(in_hopper(day, 6_500))
    least = -(-100 * 10_000 // 6_500)
    numbers = [one[0] for one in shares if one]
    assert shares[0] == held(day, day.much) and shares[-1] == []
    assert numbers == sorted(numbers, reverse=True) and len(set(numbers)) > 1 and min(numbers) >= least


def test_a_hopper_that_was_emptied_holds_nothing(day):
    day.load(day.much, 30)
    day.act("hold", item=day.suspect, why="lid was open")
    assert in_hopper(day, 6_500)
    day.act("clean", line="line 1", parts="hopper")
    assert in_hopper(day, 6_500) == []


def test_it_is_not_loaded_without_a_leads_reason(day):
    day.act("hold", lot="A-1", why="smells of water")
    with pytest.raises(Stopped, match=r"holds 1\d\.\d\d % of lot A-1 of Northvale, which is on hold") as stop:
        day.load(day.much, 50)
    assert stop.value.field == "batch"
    day.load(day.little, 50)
    day.load(day.much, 20, who="Lee", override="only for the waste trial")


def test_what_lies_in_the_hopper_stops_a_fill_with_regrind_alone(day):
    day.load(day.much, 80)
    day.lead("open recall", suspect=day.suspect, why="smells of water")
    day.shop_totes = [day.tote(side, lot=f"{side}-new") for side in "AB"]
    for tote in day.shop_totes:
        day.act("hook up", line="line 1", tote=tote)
    virgin, mixed = day.tire(mix_pct=0), day.tire(mix_pct=40)
    with pytest.raises(Stopped, match=r"in the hopper of line 1 may be \d+\.\d\d % ") as stop:
        day.act("start fill", tire=mixed, line="line 1")
    assert stop.value.field == "line"
    day.act("start fill", tire=virgin, line="line 1")


def test_once_lifted_nothing_is_kept(day):
    hold = day.act("hold", lot="A-1", why="smells of water").seq
    assert held(day, day.much)
    day.lead("lift", lot="A-1", hold=f"{hold}.0", why="analysed: dry")
    day.load(day.much, 50)
