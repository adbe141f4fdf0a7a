"""Loggers' own files: what is found by evidence, what is asked, what is refused. The files are CONSTRUCTED in the manner of common exports."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import logger_formats as formats
from fillbook.trace.core.cure import Sample
from fillbook.trace.core.errors import Nonsense

CHICAGO = "America/Chicago"
NOW = int(datetime(2026, 3, 1, tzinfo=UTC).timestamp())


def at(*wall: int, zone: str = CHICAGO) -> int:
    return int(datetime(*wall, tzinfo=ZoneInfo(zone)).timestamp())


def look(content: str, said: str = "", now: int | None = NOW) -> formats.Look:
    return formats.look(content, zone=CHICAGO, now=now, said=formats.parts(said))


GERMAN = "Messgerät 4\nNr.;Datum;Zeit;Temperatur (°C);Feuchte (%)\n1;13.02.2026;08:00;22,5;41\n2;13.02.2026;08:05;22,6;41\n"
AMERICAN = "Date/Time,Temp °F,RH %\n2/13/2026 8:00 AM,72.5,41\n2/13/2026 1:05 PM,72.0,41\n"
UTC_FILE = "Time (UTC)\tTemp (degC)\n2026-02-13 14:00:00\t22.5\n2026-02-13 14:05:00\t22.6\n"
QUOTED = '"Time";"Celsius"\n"13-Feb-2026 08:00";"22,5"\n'
EPOCH = "time,celsius\n1770991200,22.5\n1770991500,22.6\n"
OFFSETS = "stamp;value\n2026-02-13T08:00:00-06:00;72.5 F\n2026-02-13T08:05:00-06:00;72.5 F\n"


@pytest.mark.parametrize(
    ("content", "profile", "first"),
    [
        (GERMAN, "semicolon comma dmy 2+3 4 c America/Chicago", (at(2026, 2, 13, 8), 22_500)),
        (AMERICAN, "comma point mdy 1 2 f America/Chicago", (at(2026, 2, 13, 8), 22_500)),
        (UTC_FILE, "tab point ymd 1 2 c UTC", (at(2026, 2, 13, 14, zone="UTC"), 22_500)),
        (QUOTED, "semicolon comma dmy 1 2 c America/Chicago", (at(2026, 2, 13, 8), 22_500)),
        (EPOCH, "comma point epoch 1 2 c UTC", (1_770_991_200, 22_500)),
        (OFFSETS, "semicolon point ymd 1 2 f each", (at(2026, 2, 13, 8), 22_500)),
    ],
)
def test_a_loggers_own_file_is_understood(content, profile, first):
    found = look(content)
    mine = found.profile
    assert (
        f"{mine.delimiter} {mine.decimal} {mine.dates} {'+'.join(map(str, mine.time))} {mine.value} {mine.unit} {mine.zone}"
        == profile
    )
    assert found.samples[0] == first
    assert formats.read(content, formats.from_text(mine.text), now=NOW) == found.samples


def test_an_afternoon_is_twelve_hours_later():
    assert look(AMERICAN).samples[1].at == at(2026, 2, 13, 13, 5)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_the_degree_sign_is_read_in_the_encodings_loggers_write(encoding):
    assert look(formats.text_of(AMERICAN.encode(encoding))).profile.unit == "f"


# -- the order of dates --------------------------------------------------------------------------------------------------------
def test_a_thirteenth_tells_the_order_of_dates_and_is_shown():
    assert 'day, month, year, because of "13.02.2026"' in "\n".join(look(GERMAN).evidence)


def test_days_that_run_on_tell_the_order_of_dates():
    days = "".join(f"0{d}/02/2026 08:00,22.5\n" for d in range(1, 6))
    assert look("t,Temp C\n" + days).profile.dates == "dmy"


def test_an_order_by_which_the_readings_lie_ahead_is_not_meant():
    assert look("t,Temp C\n03/02/2026 08:00,22.5\n", now=at(2026, 2, 4, 0)).profile.dates == "dmy"


def test_dates_that_can_be_read_two_ways_are_asked_about_until_said():
    content = "t,Temp C\n01/02/2026 08:00,22.5\n01/02/2026 08:05,22.5\n"
    with pytest.raises(Nonsense, match=r"dates=dmy .* or dates=mdy") as trouble:
        look(content)
    assert trouble.value.field == "read_as"
    assert look(content, "dates=mdy").samples[0].at == at(2026, 1, 2, 8)


# -- clock changes: US clocks go back 2025-11-02 and forward 2026-03-08 at 02:00 (Energy Policy Act of 2005) ------------------------
def test_the_hour_that_happens_twice_is_told_apart_by_the_order_of_lines():
    walls = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    found = look("t,Temp C\n" + "".join(f"2025-11-02 {w},22.5\n" for w in walls)).samples
    assert [b.at - a.at for a, b in pairwise(found)] == [1800] * 5


def test_newest_first_is_read_the_same_through_the_hour_that_happens_twice():
    walls = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    lines = [f"2025-11-02 {w},{20 + n}\n" for n, w in enumerate(walls)]
    assert (
        look("t,Temp C\n" + "".join(reversed(lines))).samples == look("t,Temp C\n" + "".join(lines)).samples
    )


def test_a_logger_that_stays_on_one_time_shows_at_the_clock_change():
    walls = ["00:30", "01:00", "01:30", "02:00", "02:30", "03:00"]
    content = "t,Temp C\n" + "".join(f"2025-11-02 {w},22.5\n" for w in walls)
    assert "zone=-05:00" in look(content).evidence[-1]
    assert not any("CLOCK" in one for one in look(content, "zone=-05:00").evidence)


def test_an_hour_that_never_was_names_the_line_and_what_to_say():
    with pytest.raises(Nonsense, match=r"Line 2 .*never happened in America/Chicago.*zone=-06:00"):
        look("t,Temp C\n2026-03-08 02:30,22.5\n", now=None)


# -- order of lines, doubles, nothing ---------------------------------------------------------------------------------------------
def test_lines_out_of_order_and_doubles_are_taken_once_and_in_order():
    content = "t,Temp C\n2026-02-13 08:10,22\n2026-02-13 08:00,21\n2026-02-13 08:10,22\n"
    assert [s.mc for s in look(content).samples] == [21_000, 22_000]


def test_a_line_without_a_value_is_left_out_and_counted():
    found = look("t,Temp C\n2026-02-13 08:00,22\n2026-02-13 08:05,---\n2026-02-13 08:10,22\n")
    assert len(found.samples) == 2 and "1 line is left out" in found.evidence[-1]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("hello\nworld\n", "is it a logger's file"),
        ("t;Temp C\n2026-02-13 08:00;22\n2026-02-13 08:05;warm\n2026-02-13 08:10;hot\n", "Line 3 .*no value that can be read.*So is line 4"),
        ("t;Temp C\n2026-02-13 08:00;22\n2026-02-13 08:0", "breaks off in line 3"),
        ("t;Temp C\n2026-02-13 08:00;22\n2026-02-13 08:00;23\n", "Line 3 .*another value"),
        ("t;Temp C\n2026-04-13 08:00;22\n", "Line 2 .*ahead of now"),
        ("t;Temp C\n2026-02-13 08:00;72\n2026-02-13 08:05;72\n", "72.0 °C or above"),
        ("t;Temp F\n2026-02-13 08:00;22\n2026-02-13 08:05;22\n", "22.0 °F or below"),
        ("t;A;B\n2026-02-13 08:00;22;23\n", r"value=2 \(A\), value=3 \(B\)"),
        ("t,Temp C\n13.02.2026 08:00,22,5\n", "parts columns and decimals alike"),
        ("t;wert\n13.02.2026 08:00;200\n", "unit=c or unit=f"),
    ],
)  # fmt: skip
def test_bad_files_are_refused_in_one_sentence(content, words):
    with pytest.raises(Nonsense, match=words):
        look(content)


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"\x00\x01\x02\x03", "not plain text"), (b"PK\x03\x04", "workbook"), (b"x" * 20_000_001, "over 20 MB")],
)
def test_what_is_no_text_is_refused(content, words):
    with pytest.raises(Nonsense, match=words):
        formats.text_of(content)


def test_a_unit_told_by_its_values_only_is_marked():
    assert "ONLY by its values" in "\n".join(look("t;wert\n13.02.2026 08:00;22,5\n").evidence)


# -- the profile ---------------------------------------------------------------------------------------------------------------
def test_another_heading_than_confirmed_is_asked_about_again():
    profile = look(AMERICAN).profile
    with pytest.raises(Nonsense, match="look again") as trouble:
        formats.read(AMERICAN.replace("°F", "°C"), profile)
    assert trouble.value.field == "read_as"


@pytest.mark.parametrize(
    ("text", "words"),
    [("colour=red", "no part"), ("dates=ddm", "dates is one of"), ("zone=Mars/Dome", "no time zone"), ("value=x", "number of a column"),
     ("dates=dmy", "lacks delimiter")],
)  # fmt: skip
def test_a_profile_that_is_none_is_refused(text, words):
    with pytest.raises(Nonsense, match=words):
        formats.from_text(text)


@settings(max_examples=60, deadline=None)
@given(
    st.dictionaries(st.integers(1_600_000_000 // 300, 1_770_000_000 // 300), st.integers(150, 300), min_size=1, max_size=30),
    st.sampled_from([";", ",", "\t"]), st.sampled_from(["%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", "%Y-%m-%d %H:%M"]), st.booleans(),
)  # fmt: skip
def test_a_file_is_read_as_pandas_reads_it(known, delimiter, dates, by_comma):
    """pandas writes the file and reads the times back; the profile is said, since a short file may not show the order of its dates."""
    decimal = "," if by_comma and delimiter != "," else "."
    times = pd.to_datetime([n * 300 for n in sorted(known)], unit="s", utc=True)
    table = pd.DataFrame({"t": times.strftime(dates), "Temp (°C)": [known[n] / 10 for n in sorted(known)]})
    content = table.to_csv(index=False, sep=delimiter, decimal=decimal)
    names = {",": "comma", ";": "semicolon", "\t": "tab"}
    order = {"%d": "dmy", "%m": "mdy", "%Y": "ymd"}[dates[:2]]
    said = f"delimiter={names[delimiter]} decimal={'comma' if decimal == ',' else 'point'} dates={order} time=1 value=2 unit=c zone=UTC"
    back = pd.read_csv(io.StringIO(content), sep=delimiter, decimal=decimal)
    at = pd.to_datetime(back["t"], format=dates, utc=True)
    by_pandas = [
        Sample(int(a.timestamp()), round(v * 1000)) for a, v in zip(at, back["Temp (°C)"], strict=True)
    ]
    assert formats.read(content, formats.from_text(said)) == by_pandas
