"""Each limit has its plausible range; figures of the trade are *common practice*, as the shop's list of facts has them."""

import pytest

from fillbook.trace.core import limits
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.limit_ranges import RANGES


def test_every_limit_has_a_range_and_its_default_is_usual():
    assert set(RANGES) == set(limits.LIMITS)
    for name, one in limits.LIMITS.items():
        assert RANGES[name].can_be(one.default), name
        assert limits.beyond_practice(name, one.default) == "", name


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("cure_standard", "0 h"), ("cure_standard", "9999999 h"), ("cure_temperature", "-400 f"), ("cure_temperature", "720 f"),
        ("cure_earliest", "0 min"), ("hardness_least", "101"), ("pot_life", "0 min"), ("regrind_most", "100 pct"),
        ("pressure_most_over", "50 pct"), ("hose_content_low", "30000 kg"), ("heating_down_day", "8"), ("activation_energy", "5 J/mol"),
    ],
)  # fmt: skip
def test_nonsense_is_refused_in_one_sentence_that_says_what_can_be(name, typed):
    with pytest.raises(Nonsense) as refused:
        limits.read(name, typed)
    low, high = limits.ends(name)
    assert refused.value.field == "to"
    assert low in str(refused.value) and high in str(refused.value) and typed in str(refused.value)
    assert limits.read(name, typed, stands=True).dimension  # as an older book has it


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("mixed_content_high", "0 kg"), ("mixed_content_low", "0 kg"), ("hardness_least", "0"), ("hardness_least_00", "0"), ("activation_energy", "0"),
        ("flat_after", "0 h"), ("heating_down_day", "0"), ("hose_content_low", "0 kg"), ("pressure_most_over", "0 pct"),
    ],
)  # fmt: skip
def test_nothing_may_be_set_where_it_means_off_and_is_not_asked_back(name, typed):
    assert limits.beyond_practice(name, limits.read(name, typed).value) == ""


@pytest.mark.parametrize(
    ("name", "good", "beyond"),
    [
        ("cure_temperature", "72 f", "68 f"),  # 72 °F or warmer
        ("cure_standard", "24 h", "23 h"),  # 24 to 48 h
        ("cure_earliest", "48 h", "12 h"),
        ("regrind_most", "65 pct", "66 pct"),  # up to 65 % by weight
        ("topup_regrind_most", "40 pct", "45 pct"),  # at most 40 %
        ("stretch_new", "24 h", "6 h"),  # 24 h at operating pressure
        ("pump_run_every", "168 h", "200 h"),  # at least once a week
        ("pressure_most_over", "0 pct", "1 pct"),  # never above the lowest rating
    ],
)
def test_common_practice_is_where_the_trade_has_it(name, good, beyond):
    assert limits.beyond_practice(name, limits.read(name, good).value) == ""
    assert "common practice" in limits.beyond_practice(name, limits.read(name, beyond).value)


def test_seventy_two_degrees_may_be_typed_in_celsius():
    # 72 °F = 22.22… °C (NIST SP 811, B.8); a metric shop types 22
    assert limits.beyond_practice("cure_temperature", limits.read("cure_temperature", "22 c").value) == ""
