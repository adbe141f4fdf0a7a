"""Typed times, clock changes, and how times are shown."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import times
from fillbook.trace.core.errors import Nonsense

CHICAGO = "America/Chicago"
OCTOBER = 1_791_032_400  # 2026-10-03T13:00:00Z

zones = st.sampled_from(
    [CHICAGO, "Europe/Berlin", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia", "UTC"]
)
moments = st.integers(86_400, 7_258_032_000)  # 1970 to 2199, a day off either end for the zones


@pytest.mark.parametrize(
    ("text", "at"),
    [
        # the examples of RFC 3339, section 5.8, with seconds since 1970 counted by hand from the calendar:
        # 1985-04-12 is day 5580, 1996-12-19 is day 9849 (leap years 1972 to 1984, 1972 to 1996)
        ("1985-04-12T23:20:50.52Z", 5_580 * 86_400 + 23 * 3_600 + 20 * 60 + 50),
        ("1996-12-19T16:39:57-08:00", 9_849 * 86_400 + (16 + 8) * 3_600 + 39 * 60 + 57),
    ],
)
def test_iso_times_mean_what_the_standard_says(text, at):
    assert times.parse(text, CHICAGO).at == at


@pytest.mark.parametrize(
    "text",
    [
        "2026-10-03T08:00:00-05:00",
        "2026-10-03T08:00:00-0500",
        "2026-10-03T08:00-05",
        "2026-10-03 08:00:00 -05:00",
        "2026-10-03T13:00:00Z",
        "2026-10-03t13:00:00z",
        "2026-10-03T13:00:00.999Z",
        "2026-10-03T13:00:00,999+00:00",
        "2026-10-03 08:00",
        "2026-10-03T08:00",
        "2026-10-03T08:00:00",
        "  2026-10-03 08:00:00.9 ",
    ],
)
def test_every_usual_way_to_write_a_time_is_read(text):
    assert times.parse(text, CHICAGO) == times.Typed(OCTOBER, text.strip(), CHICAGO)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "now",
        "2026-10-03",
        "08:00",
        "10/03/2026 08:00",
        "3.10.2026 08:00",
        "2026-10-03 8:00",
        "2026-10-03 08:00 pm",
        "2026-10-03 08:00 America/Chicago",
        "2026-13-03 08:00",
        "2026-02-29 08:00",
        "2026-10-03 24:00",
        "2026-10-03 08:60",
        "2026-10-03 23:59:60",
        "2026-10-03 08:00-15:00",
        "2026-10-03 08:00-05:75",
        "0000-10-03 08:00",
        "1969-12-31 08:00",
        "2200-01-01 08:00",
        "２０２６-10-03 08:00",
        "2026-10-03 08:00\x00",
        "2026-10-03T08:00:00." + "9" * 1_000,
        "9" * 100_000,
        None,
        OCTOBER,
    ],
    ids=lambda text: str(text)[:20],
)
def test_what_is_no_time_is_refused_with_the_format_that_is(text):
    with pytest.raises(Nonsense) as refused:
        times.parse(text, CHICAGO, field="at")
    assert refused.value.field == "at" and refused.value.expected == times.EXPECTED
    assert refused.value.words.isprintable() and len(refused.value.words) < 160


def test_an_hour_that_happens_twice_is_asked_back_with_both_offsets():
    # United States: clocks go back at 02:00 on the first Sunday of November (15 U.S.C. 260a); in 2026 the 1st
    with pytest.raises(Nonsense) as refused:
        times.parse("2026-11-01 01:30", CHICAGO)
    assert str(refused.value) == (
        '"2026-11-01 01:30" happened twice that night in America/Chicago; add -05:00 or -06:00 to say which.'
    )
    first = times.parse("2026-11-01 01:30 -05:00", CHICAGO).at
    assert times.parse("2026-11-01 01:30 -06:00", CHICAGO).at == first + 3_600


@pytest.mark.parametrize(
    ("text", "twice"),
    [
        ("2026-11-01 00:59:59", False),
        ("2026-11-01 01:00", True),
        ("2026-11-01 01:59:59", True),
        ("2026-11-01 02:00", False),
    ],
)
def test_only_the_repeated_hour_itself_is_asked_back(text, twice):
    if twice:
        with pytest.raises(Nonsense, match="happened twice"):
            times.parse(text, CHICAGO)
    else:
        assert times.show(times.parse(text, CHICAGO).at, CHICAGO) == text[:16]


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        # United States: forward at 02:00 on the second Sunday of March (15 U.S.C. 260a); in 2026 the 8th
        ("2026-03-08 02:00", CHICAGO),
        ("2026-03-08 02:59:59", CHICAGO),
        # European Union: forward at 01:00 UTC on the last Sunday of March (Directive 2000/84/EC); in 2026 the 29th
        ("2026-03-29 02:30", "Europe/Berlin"),
        # Samoa left out the whole of 30 December 2011 when it changed sides of the date line (IANA time zone list)
        ("2011-12-30 12:00", "Pacific/Apia"),
    ],
)
def test_a_time_that_never_happened_is_refused(text, zone):
    with pytest.raises(Nonsense, match="never happened"):
        times.parse(text, zone)


def test_a_clock_that_goes_back_by_half_an_hour_is_asked_back_too():
    # Lord Howe Island goes back by 30 minutes, from +11:00 to +10:30 (IANA time zone list)
    with pytest.raises(Nonsense, match=r"add \+11:00 or \+10:30"):
        times.parse("2026-04-05 01:45", "Australia/Lord_Howe")


@pytest.mark.parametrize(
    "zone", ["", "Chicago", "America", "../etc/passwd", "/etc/localtime", "America/Chicago\x00", "A" * 500]
)
def test_a_zone_nobody_knows_is_refused(zone):
    for ask in (
        lambda: times.parse("2026-10-03 08:00", zone),
        lambda: times.local(0, zone),
        lambda: times.show(0, zone),
    ):
        with pytest.raises(Nonsense, match="not a time zone"):
            ask()


def test_utc_texts_go_both_ways():
    assert times.utc_text(OCTOBER) == "2026-10-03T13:00:00Z"
    assert times.utc_text(0) == "1970-01-01T00:00:00Z"
    assert times.from_utc_text("2026-10-03T13:00:00Z") == OCTOBER


@pytest.mark.parametrize(
    "text",
    ["", "2026-10-03T13:00:00", "2026-10-03 13:00:00Z", "2026-13-03T13:00:00Z", "2026-10-03T13:00:00.5Z"],
)
def test_only_a_utc_text_is_read_as_one(text):
    with pytest.raises(Nonsense):
        times.from_utc_text(text)


def test_local_times_carry_their_offset():
    assert times.local(OCTOBER, CHICAGO).isoformat() == "2026-10-03T08:00:00-05:00"
    assert times.show(OCTOBER, CHICAGO) == "2026-10-03 08:00"
    assert times.show_date(OCTOBER - 9 * 3_600, CHICAGO) == "2026-10-02"


def test_the_repeated_hour_is_shown_with_its_offset():
    first = times.parse("2026-11-01 01:30 -05:00", CHICAGO).at
    shown = [times.show(first + 1_800 * step, CHICAGO) for step in range(-2, 4)]
    assert shown == [
        "2026-11-01 00:30",
        "2026-11-01 01:00 -05:00",
        "2026-11-01 01:30 -05:00",
        "2026-11-01 01:00 -06:00",
        "2026-11-01 01:30 -06:00",
        "2026-11-01 02:00",
    ]


@settings(max_examples=300)
@given(moments, zones)
def test_a_time_typed_as_it_is_shown_is_the_same_minute(at, zone):
    assert times.parse(times.show(at, zone), zone).at == at - at % 60
    assert times.from_utc_text(times.utc_text(at)) == at


@settings(max_examples=300)
@given(st.datetimes(datetime(1975, 1, 1), datetime(2199, 12, 31)), zones)
def test_a_local_time_is_taken_exactly_when_one_moment_showed_it(wall, zone):
    # oracle: walk the moments a day either way of the UTC reading in quarter hours, the step of every change of clocks here
    wall = wall.replace(second=0, microsecond=0)
    start = wall.replace(tzinfo=UTC) - timedelta(hours=26)
    showing = [
        start + timedelta(minutes=15 * step)
        for step in range(4 * 52 + 1)
        if (start + timedelta(minutes=15 * step)).astimezone(ZoneInfo(zone)).replace(tzinfo=None, fold=0)
        == wall
    ]
    if len(showing) == 1:
        assert times.parse(str(wall), zone).at == showing[0].timestamp()
    else:
        with pytest.raises(Nonsense, match="happened twice" if showing else "never happened"):
            times.parse(str(wall), zone)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 h 00 min"),
        (59, "0 h 00 min"),
        (60, "0 h 01 min"),
        (93_900, "26 h 05 min"),
        (93_959, "26 h 05 min"),
        (172_800, "48 h 00 min"),
        (-3_660, "-1 h 01 min"),
        (-59, "0 h 00 min"),
    ],
)
def test_hours_are_never_rounded_up(seconds, words):
    assert times.hours(seconds) == words


@pytest.mark.parametrize(
    ("ahead", "allowed"), [(-86_400, True), (0, True), (120, True), (121, False), (86_400, False)]
)
def test_what_has_not_happened_yet_is_refused_beyond_two_minutes(ahead, allowed):
    if allowed:
        times.check_not_ahead(OCTOBER + ahead, OCTOBER)
    else:
        with pytest.raises(Nonsense, match="ahead of this computer's clock"):
            times.check_not_ahead(OCTOBER + ahead, OCTOBER, field="at")
