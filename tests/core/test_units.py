"""Conversion against the published factors, and what is refused as a number."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import units
from fillbook.trace.core.errors import Nonsense

EVERY_UNIT = [(name, unit) for name, dimension in units.DIMENSIONS.items() for unit in dimension.units]


@pytest.mark.parametrize(
    ("dimension", "unit", "factor", "canonical_per_si"),
    [
        # NIST SP 811, Appendix B: factors as printed with seven digits
        ("mass", "lb", "4.535924E-01", 1000),  # kg
        ("pressure", "psi", "6.894757E+03", 1),  # Pa
        ("pressure", "bar", "1.0E+05", 1),  # Pa
        ("length", "in", "2.54E-02", 10_000),  # m
    ],
)
def test_factors_are_the_published_ones_to_seven_digits(dimension, unit, factor, canonical_per_si):
    size = units.DIMENSIONS[dimension].units[unit].size
    published = Fraction(factor) * canonical_per_si
    assert abs(size / published - 1) < Fraction(5, 10**7)


@pytest.mark.parametrize(
    ("dimension", "unit", "size"),
    [
        # exact definitions, NIST SP 811 Appendix B.8: lb = 0.453 592 37 kg, in = 25.4 mm; bar = 100 kPa
        ("mass", "lb", Fraction("453.59237")),
        ("length", "in", Fraction(254)),
        ("pressure", "bar", Fraction(100_000)),
        # the interval of one degree Fahrenheit is 5/9 K
        ("temperature_difference", "df", Fraction(5000, 9)),
    ],
)
def test_exact_factors_are_exact(dimension, unit, size):
    assert units.DIMENSIONS[dimension].units[unit].size == size


def test_psi_has_all_the_digits_of_its_definition():
    # lbf/in2 with g0 = 9.80665 m/s2: 6.89475729316836 kPa (recomputed from the exact definitions of SP 811)
    assert abs(units.DIMENSIONS["pressure"].units["psi"].size - Fraction("6894.75729316836")) < Fraction(
        1, 10**11
    )
    assert units.parse("pressure", "psi", 45).value == 310_264


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [
        # fixed points of the two scales; t/°C = (t/°F - 32)/1.8, NIST SP 811 Appendix B
        ("-40", "-40"),
        ("0", "-17.7777777778"),
        ("32", "0"),
        ("50", "10"),
        ("65", "18.3333333333"),
        ("68", "20"),
        ("70", "21.1111111111"),
        ("72", "22.2222222222"),
        ("75", "23.8888888889"),
        ("77", "25"),
        ("98.6", "37"),
        ("100", "37.7777777778"),
        ("212", "100"),
    ],
)
def test_fahrenheit_and_celsius_name_the_same_temperature(fahrenheit, celsius):
    value = units.parse("temperature", "f", fahrenheit).value
    assert value == round(Decimal(celsius) * 1000)
    assert units.show("temperature", value, "f") == f"{fahrenheit} °F"


def test_a_difference_of_ten_fahrenheit_is_not_a_temperature_of_ten_fahrenheit():
    assert units.parse("temperature_difference", "df", 10).value == 5556
    assert units.parse("temperature", "f", 10).value == -12_222


@pytest.mark.parametrize(
    ("dimension", "unit", "typed", "value"),
    [
        ("mass", "kg", "148", 148_000),
        ("mass", "kg", " 148,5 ", 148_500),
        ("mass", "kg", "+.25", 250),
        ("mass", "kg", "0,125", 125),
        ("mass", "kg", "1234,567", 1_234_567),
        ("mass", "kg", Decimal("1E+3"), 1_000_000),
        ("mass", "g", "-7", -7),
        ("mass", "lb", 2205, 1_000_171),
        ("length", "in", "0.5", 127),
        ("share", "pct", 40, 4000),
        ("share", "pct", "0.005", 0),
        ("share", "pct", "0.015", 2),
        ("duration", "h", "24", 86_400),
        ("duration", "min", "1.5", 90),
        ("pressure", "kpa", "310.264", 310_264),
    ],
)
def test_what_was_typed_becomes_whole_canonical_units_half_to_even(dimension, unit, typed, value):
    assert units.parse(dimension, unit, typed).value == value


def test_the_typed_text_stays_beside_the_value():
    assert units.parse("mass", "kg", " 1000 ").typed == "1000 kg"
    assert units.parse("temperature", "f", "71,5").typed == "71,5 °F"
    assert units.parse("pressure", "psi", 45).typed == "45 psi"
    assert units.parse("share", "pct", Decimal("37.50")).typed == "37.50 %"


@pytest.mark.parametrize(
    "typed",
    [
        True,
        148.0,
        None,
        b"148",
        "",
        "  ",
        "-",
        ".",
        "abc",
        "148 kg",
        "1 000",
        "1,000.5",
        "1.000,5",
        "1,000,000",
        "1'000",
        "0x10",
        "1_000",
        "1e3",
        "1e999999",
        "NaN",
        "inf",
        "-Infinity",
        "１４８",
        "٣",
        "−5",
        "1\n2",
        "9" * 31,
        "9" * 100_000,
        Decimal("NaN"),
        Decimal("sNaN"),
        Decimal("Infinity"),
        Decimal("1e999999"),
        Decimal("1e-999999"),
        Decimal("0e999999"),
        Decimal("1." + "1" * 100),
        10**40,
        10**6_000,
        -(10**6_000),
    ],
    ids=lambda typed: type(typed).__name__,  # some of these are too long for a name
)
def test_what_is_no_number_is_refused_with_the_field_and_what_was_expected(typed):
    with pytest.raises(Nonsense) as refused:
        units.parse("mass", "kg", typed, field="net_kg")
    error = refused.value
    assert (error.field, error.expected) == ("net_kg", "a number in kg")
    assert (
        error.words.startswith(('Net "', "Net is empty"))
        and error.words.isprintable()
        and len(error.words) < 160
    )


@pytest.mark.parametrize("typed", ["1,000", "12,345", "-999,000"])
def test_a_comma_that_may_mean_thousands_is_asked_back(typed):
    with pytest.raises(Nonsense, match="may mean thousands or decimals"):
        units.parse("mass", "lb", typed)


def test_values_end_at_53_bits():
    assert units.parse("mass", "g", 2**53).value == 2**53
    for typed in (2**53 + 1, -(2**53) - 1, str(2**53 + 1)):
        with pytest.raises(Nonsense, match="too large to be true"):
            units.parse("mass", "g", typed)


def test_nothing_is_colder_than_absolute_zero():
    # 0 K = -273.15 °C = -459.67 °F (NIST SP 811, 8.5)
    assert units.parse("temperature", "f", "-459.67").value == -273_150
    for unit, typed in (("c", "-273.16"), ("f", "-460")):
        with pytest.raises(Nonsense, match="less than there can be"):
            units.parse("temperature", unit, typed)
    assert units.parse("temperature_difference", "dc", -300).value == -300_000


@pytest.mark.parametrize(
    ("dimension", "unit"), [("mass", "t"), ("mass", "c"), ("speed", "kph"), ("mass", "KG")]
)
def test_a_unit_the_dimension_does_not_have_is_refused(dimension, unit):
    for ask in (
        lambda: units.parse(dimension, unit, 1),
        lambda: units.show(dimension, 1, unit),
        lambda: units.in_unit(dimension, 1, unit),
        lambda: units.unit_words(dimension, unit),
    ):
        with pytest.raises(Nonsense, match="take one of"):
            ask()


@pytest.mark.parametrize(
    ("dimension", "value", "unit", "digits", "shown"),
    [
        ("mass", 148_000, "kg", None, "148.0 kg"),
        ("mass", 148_000, "kg", 0, "148 kg"),
        ("mass", 148_000, "kg", 3, "148.000 kg"),
        ("mass", 148_000, "lb", None, "326.3 lb"),
        ("mass", 7, "g", None, "7 g"),
        ("mass", -1_550, "kg", None, "-1.6 kg"),
        ("mass", -40, "kg", None, "0.0 kg"),
        ("temperature", 22_222, "f", None, "72 °F"),
        ("temperature", 22_222, "c", None, "22.2 °C"),
        ("temperature", 22_000, "f", None, "71.6 °F"),
        ("temperature", 20_000, "c", None, "20 °C"),
        ("temperature", -40_000, "f", None, "-40 °F"),
        ("temperature_difference", 1_111, "df", None, "2 °F"),
        ("pressure", 310_264, "psi", None, "45 psi"),
        ("pressure", 310_264, "kpa", None, "310 kPa"),
        ("pressure", 310_264, "bar", None, "3.10 bar"),
        ("length", 127, "in", None, "0.5 in"),
        ("length", 127, "mm", None, "12.7 mm"),
        ("share", 4000, "pct", None, "40 %"),
        ("share", 3750, "pct", None, "37.5 %"),
        ("share", 0, "pct", None, "0 %"),
        ("share", 10_000, "pct", None, "100 %"),
        ("duration", 86_400, "h", None, "24 h"),
    ],
)
def test_screens_show_sensible_digits(dimension, value, unit, digits, shown):
    assert units.show(dimension, value, unit, digits) == shown


@settings(max_examples=200)
@given(st.sampled_from(EVERY_UNIT), st.integers(-270_000, 10**9))
def test_a_value_taken_apart_into_a_unit_and_typed_again_is_the_same_value(which, value):
    dimension, unit = which
    exact = units.in_unit(dimension, value, unit)
    typed = Decimal(exact.numerator) / Decimal(
        exact.denominator
    )  # 28 digits, far finer than half a canonical unit
    assert units.parse(dimension, unit, typed.quantize(Decimal("1e-12"))).value == value


@settings(max_examples=200)
@given(st.sampled_from(EVERY_UNIT), st.text(max_size=40))
def test_any_text_is_a_number_or_refused(which, text):
    try:
        quantity = units.parse(*which, text)
    except Nonsense:
        return
    assert abs(quantity.value) <= units.LARGEST and quantity.typed.startswith(text.strip())
