"""A weight typed in the other unit: noted where the size's earlier fills agree, never held for it, and silent in a shop as it is.

A pound is 0.45359237 kg (NIST Special Publication 811, Appendix B): what was typed in the other unit is 2.2 times off. That fills of
one size agree within a few per cent is *common practice*.
"""

import random
from statistics import median

import pytest

from fillbook.trace.book import on_hold, queries, usual
from fillbook.trace.core import units

POUNDS = (180, 184, 187, 190, 193, 186)  # six fills of one size
LB_G = 453.59237


@pytest.fixture
def filled(shop):
    shop.ready_line(kg=9000)
    for lb in POUNDS:
        shop.fill(shop.tire(size="12-16.5"), weight_lb=lb, kg=None)
    return shop


def noted(shop, **weight):
    tire = shop.fill(shop.tire(size="12-16.5"), kg=None, **weight)
    return tire, shop.book.rows(
        "SELECT words, holds FROM finding WHERE item = ? AND code = 'unusual weight'", tire
    )


@pytest.mark.parametrize(("weight", "says"), [({"weight_kg": 190}, "is 2.2 times what 12-16.5 took before"),
                                              ({"weight_lb": 88}, "is one part in 2.1 of what 12-16.5 took before")])  # fmt: skip
def test_in_the_other_unit_it_is_noted_and_not_held(filled, weight, says):
    tire, rows = noted(filled, **weight)
    assert [says in row.words and not row.holds for row in rows] == [True]
    assert queries.fill(filled.book, tire) is not None and not on_hold.holds_on(filled.book, tire)
    filled.check()


@pytest.mark.parametrize("lb", [110, 187, 320])
def test_less_than_that_says_nothing(filled, lb):
    assert noted(filled, weight_lb=lb)[1] == []


def test_ten_times_off_is_held_as_ever(filled):
    tire, rows = noted(filled, weight_lb=1900)
    assert rows[0].holds and on_hold.holds_on(filled.book, tire)


def test_where_the_size_scatters_or_is_new_it_says_nothing(shop):
    shop.ready_line(kg=9000)
    for lb in (100, 187, 190, 320, 184):
        shop.fill(shop.tire(size="12-16.5"), weight_lb=lb, kg=None)
    assert noted(shop, weight_kg=190)[1] == []
    for lb in POUNDS[:4]:
        shop.fill(shop.tire(size="10-16.5"), weight_lb=lb, kg=None)
    tire = shop.fill(shop.tire(size="10-16.5"), weight_kg=190, kg=None)
    assert not shop.book.value(
        "SELECT count(*) FROM finding WHERE item = ? AND code = 'unusual weight'", tire
    )


def test_one_slip_among_the_earlier_ones_does_not_silence_it(filled):
    noted(filled, weight_kg=190)
    tire = filled.tire(size="12-16.5")
    before = usual.of_tire(filled.book, "BH", tire, filled.now)
    grams = [units.parse("mass", "lb", str(lb)).value for lb in POUNDS]
    assert before.agreed and before.grams == round(median([*grams, 190_000]))


@pytest.mark.parametrize(("grams", "unit", "meant"), [
    (190_000, "kg", "lb"), (round(88 * LB_G), "lb", "kg"), (190_000, "lb", ""), (round(88 * LB_G), "kg", ""), (155_000, "kg", ""),
    (300_000, "kg", ""), (85_000, "lb", ""),
])  # fmt: skip
def test_the_other_unit_is_named_only_where_it_explains_the_weight(grams, unit, meant):
    assert usual.Usual(85_000, "12-16.5", agreed=True).meant_unit(grams, unit) == meant


@pytest.mark.parametrize(
    ("times", "words"),
    [
        (1.8, "1.8 times"),
        (2.2, "2.2 times"),
        (9.96, "10 times"),
        (100, "100 times"),
        (0.1, "one part in 10 of"),
    ],
)
def test_the_sentence_says_how_far(times, words):
    assert f" is {words} " in usual.Usual(80_000, "12-16.5").compared("", "", round(80_000 * times)).replace(
        "  ", " "
    )


@pytest.mark.parametrize("seed", range(20))
def test_fills_as_they_fall_out_are_not_asked_about(seed):
    """A size whose casings differ by up to a quarter, worn or new: none of its fills is far from those before."""
    rng = random.Random(seed)
    weights = [round(85_000 * rng.uniform(0.75, 1.25)) for _ in range(60)]
    for n in range(3, len(weights)):
        before = weights[max(0, n - usual.LATEST) : n]
        middle = round(median(before))
        one = usual.Usual(middle, "12-16.5", agreed=usual._agree(before, middle))
        assert not one.somewhat_off(weights[n]) and not one.times(weights[n])
