"""Logger files: what is taken, what is refused and in which words, and what the book keeps of them."""

from __future__ import annotations

import hashlib
import io
from fractions import Fraction
from itertools import pairwise

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import units
from fillbook.trace.core.cure import Sample
from fillbook.trace.core.errors import Damaged, Nonsense
from fillbook.trace.core.logger import digest, from_block, parse_plain, to_block

EIGHT = 1_791_032_400  # 2026-10-03 08:00 at -05:00, 13:00 UTC


def lines(*rows: str, head: str = "time,temp_c") -> str:
    return "\n".join([head, *rows]) + "\n"


# -- what is taken -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "time",
    [
        "2026-10-03T08:00:00-05:00",
        "2026-10-03 08:00:00-05:00",
        "2026-10-03T13:00:00Z",
        "2026-10-03T13:00Z",
        "2026-10-03T13:00:00.999+00:00",
        "2026-10-03T18:30:00+0530",
        "2026-10-03T15:00:00+02",
    ],
)
def test_times_carry_their_offset(time):
    assert parse_plain(lines(f"{time},23.4")) == [Sample(EIGHT, 23_400)]


# NIST SP 811: °C = (°F − 32) / 1.8; 32 °F = 0 °C, −40 °F = −40 °C, 72 °F = 22.2222 °C
@pytest.mark.parametrize(
    ("written", "mc"),
    [("72", 22_222), ("72.0", 22_222), ("32", 0), ("-40", -40_000), ("68", 20_000), ("72.5", 22_500)],
)
def test_fahrenheit_is_converted_exactly(written, mc):
    assert parse_plain(lines(f"2026-10-03T13:00Z,{written}", head="time,temp_f"), unit_sure=True)[0].mc == mc


@pytest.mark.parametrize(
    ("written", "mc"),
    [("23.4", 23_400), ("22.222", 22_222), ("22.2225", 22_222), ("-0.5", -500), ("+7", 7_000)],
)
def test_celsius_is_kept_to_the_thousandth(written, mc):
    assert parse_plain(lines(f"2026-10-03T13:00Z,{written}"))[0].mc == mc


@settings(max_examples=150, deadline=None)
@given(st.decimals(-30, 120, places=4))
def test_values_agree_with_those_typed_into_a_form(value):
    text = f"{value:f}"
    for letter in "fc":
        typed = units.parse("temperature", letter, text).value
        if -60_000 <= typed <= 90_000:
            sample = parse_plain(
                lines(f"2026-10-03T13:00Z,{text}", head=f"time,temp_{letter}"), unit_sure=True
            )[0]
            assert sample.mc == typed
            assert abs(
                sample.mc - (Fraction(value) * 1000 if letter == "c" else (Fraction(value) - 32) * 5000 / 9)
            ) <= Fraction(1, 2)


def test_a_file_with_bom_windows_line_ends_and_blank_lines_is_taken():
    content = "\ufeffTime, Temp_C\r\n2026-10-03T13:00Z, 23.4\r\n\r\n2026-10-03T13:05Z,23.5\r\n\r\n"
    expected = [Sample(EIGHT, 23_400), Sample(EIGHT + 300, 23_500)]
    assert parse_plain(content) == parse_plain(content.encode()) == expected


def test_the_same_reading_twice_is_kept_once():
    assert len(parse_plain(lines("2026-10-03T13:00Z,23.4", "2026-10-03T08:00-05:00,23.40"))) == 1


def test_the_hour_that_happens_twice_is_told_apart_by_its_offset():
    """US clocks go back on 2026-11-01 at 02:00 (Energy Policy Act of 2005: first Sunday of November)."""
    found = parse_plain(lines("2026-11-01T01:30:00-05:00,23", "2026-11-01T01:30:00-06:00,24"))
    assert [b.at - a.at for a, b in pairwise(found)] == [3600]


samples = st.dictionaries(
    st.integers(946_684_800, 7_000_000_000), st.integers(-60_000, 90_000), min_size=1, max_size=12
).map(lambda found: [Sample(at, mc) for at, mc in sorted(found.items())])


@settings(max_examples=80, deadline=None)
@given(samples)
def test_a_written_file_is_read_as_pandas_reads_it(known):
    at = pd.to_datetime([s.at for s in known], unit="s", utc=True).strftime("%Y-%m-%dT%H:%M:%S%z")
    content = pd.DataFrame({"time": at, "temp_c": [f"{s.mc / 1000:.3f}" for s in known]}).to_csv(index=False)
    table = pd.read_csv(io.StringIO(content), parse_dates=["time"])
    by_pandas = [
        Sample(int(time.timestamp()), round(value * 1000))
        for time, value in zip(table["time"], table["temp_c"], strict=True)
    ]
    assert parse_plain(content, unit_sure=True) == by_pandas == known


# -- what is refused -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "The file is empty"),
        (b" \r\n ", "The file is empty"),
        (b"PK\x03\x04rest", "a workbook or an archive"),
        (b"time,temp_c\n\x00\x01", "not plain text"),
        ("time,temp_c\n2026".encode("utf-16"), "not plain text"),
        (b"time,temp_c\n\xff\xfe", "not plain text"),
        ("time,temp_c\n", "no readings below its first line"),
        ("time;temp_c\n", "not semicolons"),
        ("time,temp\n", 'Line 1 is "time,temp", but must be time,temp_c or time,temp_f'),
        ("2026-10-03T13:00Z,23.4\n", "Line 1 is"),
    ],
)
def test_a_file_that_is_not_the_plain_format_is_refused(content, words):
    with pytest.raises(Nonsense, match=words):
        parse_plain(content)


def test_a_file_over_20_mb_is_refused():
    row = b"2026-10-03T13:00Z,23.4\n"
    content = b"time,temp_c\n" + row
    assert parse_plain(content.ljust(20_000_000))
    with pytest.raises(Nonsense, match="over 20 MB"):
        parse_plain(content.ljust(20_000_001))


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("2026-10-03T13:05,23.4", "does not say how far its time is from UTC"),
        ("10/03/2026 13:05,23.4", "has no time that can be read"),
        ("2026-10-03T13:05:00-05:,23.4", "has no time that can be read"),
        ("2026-13-03T13:05Z,23.4", "not in the calendar"),
        ("2026-10-03T24:05Z,23.4", "not in the calendar or not on the clock"),
        ("1970-01-01T00:05Z,23.4", "lies in the year 1970. The logger's clock was not set"),
        ("2026-10-03T13:05Z,23,4", "is not a time and a value with one comma"),
        ("2026-10-03T13:05Z", "is not a time and a value with one comma"),
        ("2026-10-03T13:05Z,", "has no value that can be read"),
        ("2026-10-03T13:05Z,nan", "has no value that can be read"),
        ("2026-10-03T13:05Z,1e1", "has no value that can be read"),
        ("2026-10-03T13:05Z,٢٣", "has no value that can be read"),
        ("2026-10-03T13:05Z,90.001", "says 90.001 °C, which no cure zone has. Is the column really in °C?"),
        ("2026-10-03T13:05Z,-60.001", "Is the column really in °C?"),
        ("2026-10-03T13:00Z,23.5", "gives the time of line 2 another value"),
    ],
)
def test_the_first_bad_line_is_named(row, why):
    with pytest.raises(Nonsense) as refused:
        parse_plain(lines("2026-10-03T13:00Z,23.4", row, "and another bad one"))
    words = str(refused.value)
    assert words.startswith("Line 3 of the file, ") and why in words
    assert refused.value.field == "file"


@pytest.mark.parametrize(("value", "taken"), [("90", True), ("-60", True), ("90.0004", True)])
def test_the_edges_of_what_a_zone_can_be(value, taken):
    assert bool(parse_plain(lines(f"2026-10-03T13:00Z,{value}"), unit_sure=True)) is taken


def test_a_time_that_has_not_come_is_refused():
    content = lines("2026-10-03T13:00Z,23.4")
    assert parse_plain(content, now=EIGHT - 120)
    with pytest.raises(Nonsense, match="has not happened yet"):
        parse_plain(content, now=EIGHT - 121)


@pytest.mark.parametrize(
    ("unit", "value", "asked"),
    [
        ("f", "22", True),
        ("f", "44.9", True),
        ("f", "45", False),
        ("c", "72", True),
        ("c", "45.1", True),
        ("c", "45", False),
    ],
)
def test_a_room_at_22_f_or_72_c_is_asked_about(unit, value, asked):
    content = lines(f"2026-10-03T13:00Z,{value}", head=f"time,temp_{unit}")
    assert parse_plain(content, unit_sure=True)
    if asked:
        with pytest.raises(Nonsense, match=f"is the column really in °{unit.upper()}"):
            parse_plain(content)
    else:
        assert parse_plain(content)


@pytest.mark.parametrize(
    ("unit", "values", "words"),
    [
        ("f", ["22", "22", "50", "50"], None),
        (
            "f",
            ["20", "22", "24"],
            "Half of the readings lie at 22.0 °F or below: is the column really in °F? If not, call it temp_c;",
        ),
        (
            "c",
            ["71", "72", "73"],
            "Half of the readings lie at 72.0 °C or above: is the column really in °C? If not, call it temp_f;",
        ),
    ],
)
def test_the_question_names_the_middle_value_and_the_other_unit(unit, values, words):
    rows = [f"2026-10-03T13:{minute:02d}Z,{value}" for minute, value in enumerate(values)]
    content = lines(*rows, head=f"time,temp_{unit}")
    if words is None:
        assert parse_plain(content)
        return
    with pytest.raises(Nonsense) as asked:
        parse_plain(content)
    assert str(asked.value).startswith(words) and asked.value.field == "unit_sure"


@pytest.mark.parametrize("year", [2000, 2199])
def test_the_first_and_last_year_a_logger_may_tell(year):
    assert parse_plain(lines(f"{year}-06-01T00:00Z,23"))


@pytest.mark.parametrize("year", [1999, 2200])
def test_a_year_before_or_after_is_refused(year):
    with pytest.raises(Nonsense, match=f"lies in the year {year}"):
        parse_plain(lines(f"{year}-06-01T00:00Z,23"))


def test_one_cold_night_raises_no_question():
    rows = [f"2026-10-03T13:{minute:02d}Z,{72 if minute % 3 else 20}" for minute in range(30)]
    assert len(parse_plain(lines(*rows, head="time,temp_f"))) == 30


@settings(max_examples=200, deadline=None)
@given(
    st.binary(max_size=200)
    | st.text(max_size=200)
    | st.text("0123456789-:TZ+.,\n \r", max_size=80).map("time,temp_c\n".__add__)
)
def test_whatever_comes_is_read_or_refused_in_words(content):
    try:
        assert parse_plain(content)
    except Nonsense as refused:
        assert str(refused).isprintable()


# -- the block -----------------------------------------------------------------------------------------------------------------
@settings(max_examples=100, deadline=None)
@given(samples)
def test_a_block_gives_back_its_samples_and_its_digest_is_that_of_its_bytes(known):
    block = to_block(known)
    assert from_block(block) == known
    assert digest(known) == hashlib.sha256(block).hexdigest()


def test_the_block_reads_as_text():
    assert to_block([(EIGHT, 23_400), (EIGHT + 300, -50)]) == b"samples 1\n1791032400 23400\n300 -50\n"
    assert from_block(to_block([])) == []


@settings(max_examples=200, deadline=None)
@given(samples, st.data())
def test_a_changed_byte_never_gives_the_same_samples(known, choice):
    block = bytearray(to_block(known))
    place = choice.draw(st.integers(0, len(block) - 1))
    block[place] ^= choice.draw(st.integers(1, 255))
    try:
        found = from_block(bytes(block))
    except Damaged:
        return
    assert found != known and to_block(found) == bytes(block)


@pytest.mark.parametrize(
    "block",
    [
        b"", b"samples 1", b"samples 2\n", b"samples 1\n5 5", b"samples 1\n05 5\n", b"samples 1\n5 -0\n", b"samples 1\n5 5\n0 5\n",
        b"samples 1\n5 5\n-3 5\n", b"samples 1\r\n5 5\r\n", b"samples 1\n5  5\n", b"\xff",
    ],
)  # fmt: skip
def test_bytes_that_were_never_a_block_are_damage(block):
    with pytest.raises(Damaged):
        from_block(block)


def test_damage_is_told_with_its_line():
    with pytest.raises(Damaged, match=r'^Line 3 of a block of logger samples is "x"'):
        from_block(b"samples 1\n5 5\nx\n")


@pytest.mark.parametrize("known", [[(5, 1), (5, 1)], [(5, 1), (4, 1)]])
def test_samples_out_of_order_make_no_block(known):
    with pytest.raises(Nonsense, match="not in order of time"):
        to_block(known)
