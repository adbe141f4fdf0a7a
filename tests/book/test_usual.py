"""A weight ten times off what such tires took, or such totes held, before: it is recorded, and a second person looks at it.

The medians are worked out beside by Python's statistics module.
"""

from statistics import median

import pytest

from fillbook.trace.book import on_hold, queries, usual

WEIGHTS = (60, 70, 65, 80, 62)


@pytest.fixture
def filled(shop):
    shop.ready_line(kg=9000)
    for kg in WEIGHTS:
        shop.fill(shop.tire(size="10-16.5"), kg=kg)
    return shop


def finish(shop, kg, size="10-16.5"):
    tire = shop.fill(shop.tire(size=size), kg=kg)
    rows = shop.book.rows(
        "SELECT code, words, holds FROM finding WHERE item = ? AND code = 'unusual weight'", tire
    )
    return tire, rows


def test_a_hundred_times_what_the_size_took_is_recorded_and_held(filled):
    tire, rows = finish(filled, 6500)
    assert queries.fill(filled.book, tire).grams == 6_500_000  # never refused
    assert "100 times what 10-16.5 took before (65.0 kg" in rows[0].words and rows[0].holds
    assert len(on_hold.holds_on(filled.book, tire)) >= 1
    filled.check()


def test_a_tenth_or_less_is_seen_as_well(filled):
    assert "one part in 13 of what 10-16.5 took before" in finish(filled, 5)[1][0].words


@pytest.mark.parametrize("kg", [8, 65, 640])
def test_what_is_less_than_ten_times_off_says_nothing(filled, kg):
    assert finish(filled, kg)[1] == []


def test_the_median_of_the_last_ones_counts(filled):
    tire = filled.tire(size="10-16.5")
    found = usual.of_tire(filled.book, "BH", tire, filled.now)
    assert found == usual.Usual(median(WEIGHTS) * 1000, "10-16.5")


def test_a_size_never_filled_is_compared_with_tires_of_its_section(filled):
    tire, rows = finish(filled, 6500, size="9-16.5")
    row = queries.tire(filled.book, tire)
    alike = queries.tire(filled.book, filled.tire(size="10-16.5"))
    assert row.section == alike.section and "times what tires like it took before" in rows[0].words


def test_too_few_before_is_nothing_to_compare_with(shop):
    shop.ready_line(kg=9000)
    shop.fill(shop.tire(size="10-16.5"), kg=60)
    assert finish(shop, 6500)[1] == []


def test_corrected_the_hold_goes_with_the_finding(filled):
    tire, _ = finish(filled, 6500)
    seq = queries.fill(filled.book, tire).seq
    filled.correct(seq, weight_kg=65)
    assert not filled.book.value(
        "SELECT count(*) FROM finding WHERE seq = ? AND code = 'unusual weight'", seq
    )
    assert not [one for one in on_hold.holds_on(filled.book, tire) if "took" in one.why]


def test_a_tote_a_thousand_times_too_light_is_held(shop):
    for _ in range(3):
        shop.tote("A", 1000)
    light = shop.tote("A", 1)
    assert "one part in 1000 of what totes of RX-30 held before" in on_hold.holds_on(shop.book, light)[0].why
    assert not on_hold.holds_on(shop.book, shop.tote("B", 1))  # of side B nothing is known yet
    assert not on_hold.holds_on(shop.book, shop.tote("A", 200))  # a drum
    shop.check()
