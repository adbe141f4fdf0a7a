"""The hopper on the line's card, and a fill that takes more regrind than was ever loaded.

The figures are sums of what the test itself loads and draws; that a hopper is weighed or emptied now and then is *common practice*.
"""

import pytest

from fillbook.trace.book import glance, hopper
from fillbook.trace.core.errors import Stopped


@pytest.fixture
def loaded(shop):
    shop.ready_line()
    shop.batch = shop.act("grind", pieces=[{"source": "unknown", "weight_kg": 400}]).ids[0]
    shop.load(shop.batch, 50)
    return shop


def shown(shop):
    return glance.line_now(shop.book, "BH", shop.line, shop.now).hopper_g


def codes(shop, **finish):
    tire = shop.tire(mix_pct=finish.pop("mix_pct", 25))
    shop.act("start fill", tire=tire, line="line 1")
    shop.wait(minutes=10)
    done = shop.act("finish fill", tire=tire, pressure_psi=60, **finish)
    return {one["code"]: one for one in done.findings}


def test_a_hopper_nobody_weighed_or_emptied_has_no_figure(loaded):
    loaded.fill(kg=40, mix_pct=25)
    assert shown(loaded) is None


def test_from_a_weighing_on_it_is_what_was_loaded_less_what_was_drawn(loaded):
    loaded.act("weigh", item=loaded.line, weight_kg=30)
    loaded.fill(kg=40, mix_pct=25)
    loaded.load(loaded.batch, 12)
    assert shown(loaded) == 30_000 - 10_000 + 12_000


def test_emptied_it_starts_from_nothing_and_the_later_of_both_counts(loaded):
    loaded.act("weigh", item=loaded.line, weight_kg=30)
    loaded.act("clean", line="line 1", parts="hopper", how="emptied clean")
    loaded.load(loaded.batch, 20)
    loaded.fill(kg=40, mix_pct=25)
    assert shown(loaded) == 20_000 - 10_000


def test_more_drawn_than_there_was_is_no_figure(loaded):
    loaded.act("weigh", item=loaded.line, weight_kg=5)
    loaded.fill(kg=40, mix_pct=25)
    assert shown(loaded) is None


def test_what_happened_later_does_not_count(loaded):
    loaded.act("weigh", item=loaded.line, weight_kg=30)
    then = loaded.now
    loaded.wait(minutes=5)
    loaded.load(loaded.batch, 12)
    assert hopper.content_g(loaded.book, loaded.line, then) == 30_000


def test_a_fill_that_takes_more_than_the_hopper_can_have_held_says_so(loaded):
    """50 kg went in and the hopper takes at most 60; 300 kg at 40 % are 120 kg of regrind."""
    found = codes(loaded, weight_kg=300, mix_pct=40)
    one = found["more than the hopper held"]
    assert "120.0 kg" in one["words"] and one["item"] == loaded.batch and not one["holds"]
    loaded.check()


def test_a_fill_that_the_hopper_can_give_says_nothing(loaded):
    assert "more than the hopper held" not in codes(loaded, weight_kg=100, mix_pct=25)


def test_after_a_weighing_that_is_what_counts(loaded):
    loaded.act("weigh", item=loaded.line, weight_kg=4)
    assert "more than the hopper held" in codes(loaded, weight_kg=100, mix_pct=25)


def test_corrected_to_what_there_was_the_finding_is_gone(loaded):
    codes(loaded, weight_kg=300, mix_pct=40)
    seq = loaded.head
    loaded.correct(seq, weight_kg=100)
    left = loaded.book.tuples("SELECT code FROM finding WHERE seq = ?", seq)
    assert ("more than the hopper held",) not in left
    loaded.correct(seq, weight_kg=290)
    assert ("more than the hopper held",) in loaded.book.tuples("SELECT code FROM finding WHERE seq = ?", seq)


def test_go_with_regrind_in_the_mix_and_none_loaded_stops(shop):
    shop.ready_line()
    tire = shop.tire(mix_pct=25)
    with pytest.raises(Stopped, match="25 % regrind, and no regrind batch is loaded"):
        shop.act("start fill", tire=tire, line="line 1")
    shop.act("start fill", tire=tire, line="line 1", signed_by="Lee", override="hopper loaded by hand")
    assert shop.book.value("SELECT code FROM finding WHERE item = ?", tire) == "no regrind loaded"


def test_go_without_regrind_in_the_mix_needs_no_batch(shop):
    shop.ready_line()
    shop.act("start fill", tire=shop.tire(), line="line 1")


def test_a_mix_carried_over_from_the_fill_before_counts_as_said(loaded):
    loaded.fill(kg=40, mix_pct=25)
    loaded.act("clean", line="line 1", parts="hopper", how="emptied clean")
    with pytest.raises(Stopped, match="no regrind batch is loaded"):
        loaded.act("start fill", tire=loaded.tire(), line="line 1")
