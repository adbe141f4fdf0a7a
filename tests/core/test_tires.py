"""Date codes and size designations.

Source of the date codes: 49 CFR 574.5(b)(3); length and the four digits confirmed, the definition of week 01 from memory, the dates
recomputed from it. Sizes: the width and rim reading of designations as published by makers; 385/65-22.5 recomputed.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fillbook.trace.core import tires
from fillbook.trace.core.errors import Nonsense

CODES = {
    "2009-01-03": "5208", "2009-01-04": "0109", "2009-01-10": "0109", "2009-01-11": "0209", "2009-12-31": "5209",
    "2010-01-02": "5209", "2010-01-03": "0110", "2023-01-01": "0123", "2023-12-31": "5323", "2024-01-06": "5323",
    "2024-01-07": "0124", "2026-01-03": "5225", "2026-11-25": "4726",
}  # fmt: skip


@pytest.mark.parametrize(("day", "code"), CODES.items())
def test_the_date_code_of_a_day(day, code):
    assert tires.date_code(date.fromisoformat(day)) == code


@given(st.dates(date(1950, 1, 1), date(2090, 12, 31)))
def test_a_code_names_the_week_its_tire_was_made_in(day):
    start, end = tires.made_in(tires.date_code(day), day)
    assert start <= day <= end
    assert (start.weekday(), end - start) == (6, timedelta(days=6))


def test_a_code_of_last_century_is_read_as_such():
    assert tires.made_in("0198", date(2026, 11, 25)) == (date(1998, 1, 4), date(1998, 1, 10))


@pytest.mark.parametrize("code", ["", "123", "5426", "0026", "12345", "AB26", "5326"])
def test_what_is_no_week_is_refused(code):
    with pytest.raises(Nonsense, match=r"date code|No year"):
        tires.made_in(code, date(2026, 11, 25))


@pytest.mark.parametrize(
    ("text", "width_mm", "rim_mm", "diameter_mm"),
    [
        ("10-16.5", 254.0, 419.1, None),
        ("12.00-20", 304.8, 508.0, None),
        ("12.00R20", 304.8, 508.0, None),
        ("23.5-25", 596.9, 635.0, None),
        ("385/65-22.5", 385.0, 571.5, 1072.0),
        ("30x10-16", 254.0, 406.4, 762.0),
        ("36.5x12-20", 304.8, 508.0, 927.1),
    ],
)
def test_what_a_size_says_of_itself(text, width_mm, rim_mm, diameter_mm):
    size = tires.read_size(text)
    assert (size.width_dmm / 10, size.rim_dmm / 10) == (width_mm, rim_mm)
    assert size.diameter_dmm == (None if diameter_mm is None else round(diameter_mm * 10))


def test_an_unknown_way_of_writing_is_no_fault():
    assert tires.read_size("as on the sidewall") is None
    assert tires.section_class("as on the sidewall") is None


@pytest.mark.parametrize(
    ("text", "section"), [("10-16.5", "small"), ("12.00-20", "medium"), ("23.5-25", "large")]
)
def test_the_section_class_follows_the_width(text, section):
    assert tires.section_class(text) == section
