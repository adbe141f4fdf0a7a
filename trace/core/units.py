"""Weights, temperatures and the rest, as the shop types them and as the book keeps them.

The book keeps whole numbers of one canonical unit a dimension (`DIMENSIONS`). Conversion is exact, through fractions, and is
rounded once, half to even; no float is ever involved. Factors: NIST Special Publication 811, Appendix B (pound, inch, standard
gravity and the Fahrenheit scale are exact by definition).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

LARGEST = 2**53  # beyond it other programs that read the journal may lose the last digit

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_WITH_UNIT = re.compile(rf"({_NUMBER.pattern})\s*([^\W\d_]+\.?|%|°[^\W\d_])")
_THOUSANDS_OR_DECIMALS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_LONGEST = 30  # characters or digits of one number


@dataclass(frozen=True)
class Unit:
    """One unit of a dimension: canonical = typed × ``size`` + ``zero``.

    ``digits`` decimals are shown on screens; ``trim`` drops those that are zero.
    """

    words: str
    size: Fraction
    digits: int
    trim: bool = False
    zero: Fraction = Fraction(0)


@dataclass(frozen=True)
class Dimension:
    """What is measured: the canonical unit, the units that may be typed, and the least value physics allows, if any."""

    canonical: str
    units: Mapping[str, Unit]
    least: int | None = None


@dataclass(frozen=True)
class Quantity:
    """A measured value: whole canonical units of ``dimension``, beside the text it was typed as (``1000 kg``)."""

    dimension: str
    value: int
    typed: str


_POUND_G = Fraction("453.59237")
_INCH_DMM = Fraction(254)
_PSI_PA = Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2
_FAHRENHEIT = Fraction(5000, 9)  # thousandths of a degree Celsius

DIMENSIONS: Mapping[str, Dimension] = {
    "mass": Dimension(
        "g",
        {
            "g": Unit("g", Fraction(1), 0),
            "kg": Unit("kg", Fraction(1000), 1),
            "lb": Unit("lb", _POUND_G, 1),
        },
    ),
    "temperature": Dimension(
        "mC",
        {
            "c": Unit("°C", Fraction(1000), 1, trim=True),
            "f": Unit("°F", _FAHRENHEIT, 1, trim=True, zero=-32 * _FAHRENHEIT),
        },
        least=-273_150,
    ),
    "temperature_difference": Dimension(
        "mK",
        {
            "dc": Unit("°C", Fraction(1000), 1, trim=True),
            "df": Unit("°F", _FAHRENHEIT, 1, trim=True),
        },
    ),
    "pressure": Dimension(
        "pa",
        {
            "kpa": Unit("kPa", Fraction(1000), 0),
            "psi": Unit("psi", _PSI_PA, 1, trim=True),
            "bar": Unit("bar", Fraction(100_000), 2),
            "pa": Unit("Pa", Fraction(1), 0),
        },
    ),
    "length": Dimension(
        "dmm",  # tenths of a millimetre
        {
            "mm": Unit("mm", Fraction(10), 1, trim=True),
            "in": Unit("in", _INCH_DMM, 2, trim=True),
        },
    ),
    "share": Dimension("ten-thousandths", {"pct": Unit("%", Fraction(100), 2, trim=True)}),
    "duration": Dimension(
        "s",
        {
            "h": Unit("h", Fraction(3600), 2, trim=True),
            "min": Unit("min", Fraction(60), 1, trim=True),
            "s": Unit("s", Fraction(1), 0),
        },
    ),
}


def parse(dimension: str, unit: str, typed: int | Decimal | str, field: str | None = None) -> Quantity:
    """What was typed, in whole canonical units of *dimension*, rounded half to even.

    Takes a whole number, a Decimal, or text with a decimal point or comma and blanks around it. A float is refused (it has
    already lost what was typed), and so is a comma before exactly three digits, which may mean thousands.

    >>> parse("mass", "lb", "326,5")
    Quantity(dimension='mass', value=148098, typed='326,5 lb')

    Raises Nonsense, naming *field* and what was expected.
    """
    known = _unit(dimension, unit)
    expected = number_in(dimension, [unit])
    name = called(field or dimension, unit)
    shown = quoted(typed)[1:-1]

    def nonsense(words: str) -> Nonsense:
        return Nonsense(words, field=field, expected=expected)

    too_large = f'{name} "{shown}" is too large to be true: give {expected}.'
    if isinstance(typed, bool) or not isinstance(typed, int | Decimal | str):
        raise nonsense(f'{name} "{shown}" is not a number as it was typed: give {expected}.')
    if isinstance(typed, str):
        text = typed.strip()
        if not text:
            raise Nonsense(f"{name} is empty: give {expected}.", field=field, expected=expected)
        if len(text) > _LONGEST:
            raise nonsense(f'{name} "{shown}" is too long for a number: give {expected}.')
        if not _NUMBER.fullmatch(text):
            raise nonsense(f'{name} "{shown}" is not a plain number: give {expected}.')
        if _THOUSANDS_OR_DECIMALS.fullmatch(text):
            raise nonsense(
                f'{name} "{shown}" may mean thousands or decimals, so leave the comma out or write a point: give {expected}.'
            )
        number = Decimal(text.replace(",", "."))
    elif isinstance(typed, Decimal):
        number, text = typed, str(typed)
        if not number.is_finite():
            raise nonsense(f'{name} "{shown}" is not a number: give {expected}.')
    else:
        # The bound comes before str(): Python refuses to write out a very long whole number.
        if abs(typed) > LARGEST * LARGEST:
            raise nonsense(too_large)
        number, text = Decimal(typed), str(typed)
    if len(number.as_tuple().digits) > _LONGEST or abs(number.adjusted()) > _LONGEST:
        raise nonsense(f'{name} "{shown}" is too large or too fine to be true: give {expected}.')
    value = round(Fraction(number) * known.size + known.zero)
    if abs(value) > LARGEST:
        raise nonsense(too_large)
    least = DIMENSIONS[dimension].least
    if least is not None and value < least:
        raise nonsense(f'{name} "{shown}" is less than there can be: give {expected}.')
    return Quantity(dimension, value, f"{text} {known.words}")


def number_in(dimension: str, taken: Sequence[str]) -> str:
    """What is expected where a number in one of the units *taken* is: ``a number in kg``, or in each that may be named beside it.

    >>> number_in("mass", ["lb", "kg"]), number_in("pressure", ["psi", "kpa", "bar"])
    ('a number in lb or kg', 'a number in psi, kPa or bar')

    Raises Nonsense for a unit the dimension does not have.
    """
    words = [_unit(dimension, unit).words for unit in taken]
    if len(words) == 1:
        return f"a number in {words[0]}"
    others, last = ", ".join(words[:-1]), words[-1]
    return f"a number in {others} or {last}"


def with_unit(dimension: str, typed: str) -> tuple[str, str] | None:
    """The number and the unit of a text that names one of *dimension*'s units behind its number; None where it does not.

    The unit is read as it is written on screens or in field names, in small or large letters, and ``lbs`` as pounds.

    >>> with_unit("mass", "640lb"), with_unit("mass", "640 KG"), with_unit("temperature", "72 °F"), with_unit("mass", "640")
    (('640', 'lb'), ('640', 'kg'), ('72', 'f'), None)
    >>> with_unit("mass", "640 psi") is None
    True
    """
    found = _WITH_UNIT.fullmatch(typed.strip())
    if found is None or dimension not in DIMENSIONS:
        return None
    named = found[2].casefold().removesuffix(".")
    for unit, known in DIMENSIONS[dimension].units.items():
        if named in (unit, known.words.casefold()) or (unit == "lb" and named == "lbs"):
            return found[1], unit
    return None


def in_unit(dimension: str, value: int, unit: str) -> Fraction:
    """*value* (canonical units) in *unit*, exactly. Raises Nonsense for a unit the dimension does not have."""
    known = _unit(dimension, unit)
    return (value - known.zero) / known.size


@lru_cache(maxsize=8192)  # a list shows the same weights and pressures in many rows
def show(dimension: str, value: int, unit: str, digits: int | None = None) -> str:
    """*value* (canonical units) as screens and labels show it, rounded half to even to *digits* decimals.

    >>> show("mass", 148_000, "kg"), show("temperature", 22_222, "f"), show("share", 4000, "pct")
    ('148.0 kg', '72 °F', '40 %')

    Raises Nonsense for a unit the dimension does not have.
    """
    known = _unit(dimension, unit)
    decimals = known.digits if digits is None else digits
    scaled = _scaled(value, known.size, known.zero, 10**decimals)
    whole, rest = divmod(abs(scaled), 10**decimals)
    text = f"{whole}.{rest:0{decimals}d}" if decimals else str(whole)
    if decimals and known.trim and digits is None:
        text = text.rstrip("0").rstrip(".")
    return f"{'-' if scaled < 0 else ''}{text} {known.words}"


def kg_lb(grams: int, digits: int = 1) -> str:
    """A weight in both units, for a sentence that is frozen and read by people who count in either.

    >>> kg_lb(148_000)
    '148.0 kg (326.3 lb)'
    """
    return f"{show('mass', grams, 'kg', digits)} ({show('mass', grams, 'lb', digits)})"


def c_f(mc: int) -> str:
    """A temperature in both units, likewise.

    >>> c_f(22_222)
    '22.2 °C (72 °F)'
    """
    return f"{show('temperature', mc, 'c')} ({show('temperature', mc, 'f')})"


def mm_in(dmm: int) -> str:
    """A length in both units, likewise.

    >>> mm_in(254)
    '25.4 mm (1 in)'
    """
    return f"{show('length', dmm, 'mm')} ({show('length', dmm, 'in')})"


_MEASURED = r"-?[0-9]+(?:[.][0-9]+)?"
#: A value in both units as the sentences above and those of a pressure write it: metric first, the other in brackets or after a comma.
_BOTH = re.compile(
    "|".join(
        rf"({number} {metric})( [(]|, )({number} {us})(?!\w)"
        for number, metric, us in (
            (r"[0-9]+[.][0-9]+", "kg", "lb"), (_MEASURED, "°C", "°F"), (_MEASURED, "mm", "in"), (_MEASURED, "kPa", "psi"),
        )
    )
)  # fmt: skip


def measures_twice(sentence: str) -> bool:
    """Whether *sentence* says a value in both units, as those that are frozen do."""
    # a page asks this of every value it shows: most have none of these words, and looking for them costs next to nothing
    quick = " lb)" in sentence or " psi" in sentence or "°F)" in sentence or " in)" in sentence
    return quick and _BOTH.search(sentence) is not None


def own_first(sentence: str, us: bool) -> str:
    """*sentence*, which measures in both units, with those first that its reader counts in; no figure is reckoned anew.

    A sentence that was frozen keeps its words; only how it is shown follows the reader.

    >>> own_first("It was filled to 621 kPa, 90 psi; it holds 148.0 kg (326.3 lb).", us=True)
    'It was filled to 90 psi, 621 kPa; it holds 326.3 lb (148.0 kg).'
    >>> own_first("It holds 148.0 kg (326.3 lb).", us=False)
    'It holds 148.0 kg (326.3 lb).'
    """
    return _BOTH.sub(_turned, sentence) if us else sentence


def _turned(found: re.Match[str]) -> str:
    metric, between, us = (part for part in found.groups() if part is not None)
    return us + between + metric


def _scaled(value: int, size: Fraction, zero: Fraction, by: int) -> int:
    """``round((value - zero) / size * by)``, half to even, in whole numbers all the way."""
    above = (value * zero.denominator - zero.numerator) * size.denominator * by
    below = zero.denominator * size.numerator
    whole, rest = divmod(above, below)
    return whole + (2 * rest > below or (2 * rest == below and whole % 2))


def unit_words(dimension: str, unit: str) -> str:
    """How *unit* is written on a screen: ``f`` is ``°F``. Raises Nonsense for a unit the dimension does not have."""
    return _unit(dimension, unit).words


def _unit(dimension: str, unit: str) -> Unit:
    if dimension not in DIMENSIONS:
        raise Nonsense(f"{quoted(dimension)} is not measured here: take one of {', '.join(DIMENSIONS)}.")
    units = DIMENSIONS[dimension].units
    if unit not in units:
        raise Nonsense(
            f"{called(dimension, '')} is not measured in {quoted(unit)}: take one of {', '.join(units)}.",
            expected=f"one of {', '.join(units)}",
        )
    return units[unit]


def called(field: str, unit: str) -> str:
    """A field's name as a sentence begins with it, without its unit: ``"pieces[0].weight_kg"`` in kg is *Weight*."""
    words = field.rpartition(".")[2].removesuffix("_" + unit).replace("_", " ")
    return words[:1].upper() + words[1:]
