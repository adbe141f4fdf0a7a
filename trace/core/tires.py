"""What stands on a tire: date codes and size designations.

Source of the date code: 49 CFR 574.5, week and year as the last four digits of the tire identification number; week 01 is the
first full week, Sunday to Saturday, of the year, and the last week may run into the next (that rule is from memory). Off-road and
industrial tires are generally outside that rule and may bear no code, so it is never asked for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from fillbook.trace.core.errors import Nonsense

INCH_DMM = 254  # tenths of a millimetre


def first_week(year: int) -> date:
    """The Sunday on which week 01 of *year* begins: the first Sunday of the year.

    >>> first_week(2009).isoformat()
    '2009-01-04'
    """
    first = date(year, 1, 1)
    return first + timedelta(days=(6 - first.weekday()) % 7)


def date_code(day: date) -> str:
    """The date code of a tire made on *day*: week and year, two digits each.

    >>> date_code(date(2009, 1, 3)), date_code(date(2009, 1, 4))
    ('5208', '0109')
    """
    year = day.year if day >= first_week(day.year) else day.year - 1
    week = (day - first_week(year)).days // 7 + 1
    return f"{week:02d}{year % 100:02d}"


def made_in(code: str, latest: date) -> tuple[date, date]:
    """The week, Sunday to Saturday, that a date code names: of the years that fit, the newest that had begun by *latest*.

    >>> made_in("0109", date(2026, 11, 25))
    (datetime.date(2009, 1, 4), datetime.date(2009, 1, 10))

    Raises Nonsense for a text that is not four digits, or a week that no year has.
    """
    if not re.fullmatch(r"[0-9]{4}", code):
        raise Nonsense(
            f"{code!r} is no date code: it is the last four digits of the tire's number, week and year, such as 0109.",
            field="date_code",
            expected="4 digits",
        )
    week, short = int(code[:2]), int(code[2:])
    century = latest.year - latest.year % 100
    for year in (century + short, century - 100 + short):
        if not 1 <= week <= 53:
            break
        start = first_week(year) + timedelta(weeks=week - 1)
        if start <= latest and start < first_week(year + 1):
            return start, start + timedelta(days=6)
    raise Nonsense(
        f"No year had a week {code[:2]} as {code!r} says; read the tire again.",
        field="date_code",
        expected="week 01 to 53",
    )


@dataclass(frozen=True)
class Size:
    """A size designation: section width, overall diameter where the designation gives it, and rim, in tenths of a millimetre."""

    width_dmm: int
    rim_dmm: int
    diameter_dmm: int | None
    radial: bool


_METRIC = re.compile(r"([0-9]{3})/([0-9]{2,3})\s*(-|R)\s*([0-9]{1,2}(?:\.[0-9])?)")
_SOLID = re.compile(
    r"([0-9]{2}(?:\.[0-9]{1,2})?)\s*[xX×]\s*([0-9]{1,2}(?:\.[0-9]{1,2})?)\s*-\s*([0-9]{1,2}(?:\.[0-9])?)"
)
_INCH = re.compile(r"([0-9]{1,2}(?:\.[0-9]{1,2})?)\s*(-|R)\s*([0-9]{1,2}(?:\.[0-9])?)")


def read_size(text: str) -> Size | None:
    """What a size designation says of itself; None where it is written in a way not known here (which is no fault of the tire).

    Width and rim: ``10-16.5`` is 10 in wide on a 16.5 in rim, ``385/65-22.5`` 385 mm wide with a section height of 65 % of that,
    ``30x10-16`` 30 in across, 10 in wide. The overall diameter follows from the last two only.

    >>> read_size("385/65-22.5")
    Size(width_dmm=3850, rim_dmm=5715, diameter_dmm=10720, radial=False)
    """
    said = text.strip()
    if found := _METRIC.fullmatch(said):
        width, rim = int(found[1]) * 10, round(Fraction(found[4]) * INCH_DMM)
        return Size(
            width,
            rim,
            round(Fraction(found[4]) * INCH_DMM + 2 * Fraction(int(found[2]), 100) * width),
            found[3] == "R",
        )
    if found := _SOLID.fullmatch(said):
        inches = [Fraction(found[n]) * INCH_DMM for n in (1, 2, 3)]
        return Size(round(inches[1]), round(inches[2]), round(inches[0]), False)
    if found := _INCH.fullmatch(said):
        return Size(
            round(Fraction(found[1]) * INCH_DMM), round(Fraction(found[3]) * INCH_DMM), None, found[2] == "R"
        )
    return None


def section_class(text: str) -> str | None:
    """The section class a size most likely belongs to, None where its width can't be read: below 12 in small, from 18 in large (m)."""
    size = read_size(text)
    if size is None:
        return None
    return (
        "small" if size.width_dmm < 12 * INCH_DMM else "medium" if size.width_dmm < 18 * INCH_DMM else "large"
    )
