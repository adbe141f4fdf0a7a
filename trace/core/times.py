"""Times as people type them and as the book keeps them: whole seconds since 1970-01-01 00:00 UTC.

Local time appears only on screens and labels. Nothing here reads a clock: what time it is now is told by the caller.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from zoneinfo import ZoneInfo

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

EXPECTED = "YYYY-MM-DD HH:MM, like 2026-10-03 08:00"
ALLOWED_AHEAD_S = 120

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_YEARS = range(1970, 2200)
_LONGEST = 40
_TIME = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[Tt ]\s*(\d\d):(\d\d)(?::(\d\d)(?:[.,]\d+)?)?\s*([Zz]|[+-]\d\d(?::?\d\d)?)?",
    re.ASCII,
)


@dataclass(frozen=True)
class Typed:
    """A time somebody typed: epoch seconds, the text as it was typed, and the zone it was read in."""

    at: int
    typed: str
    zone: str


def parse(text: str, zone: str, field: str | None = None) -> Typed:
    """The moment *text* means: ISO 8601 with an offset or ``Z``, or a local time in *zone* (``America/Chicago``).

    Fractions of a second are dropped. A local time that happens twice, when the clocks go back, is asked back; one that
    never happens, when they go forward, is refused.

    >>> parse("2026-10-03 08:00", "America/Chicago").at == parse("2026-10-03T13:00:00Z", "America/Chicago").at
    True

    Raises Nonsense, naming *field*.
    """
    clock = _zone(zone)
    stripped = text.strip() if isinstance(text, str) else ""
    match = _TIME.fullmatch(stripped) if len(stripped) <= _LONGEST else None
    unreadable = Nonsense(
        f"{quoted(text)} is not a time that can be read: write {EXPECTED}.", field=field, expected=EXPECTED
    )
    if not match:
        raise unreadable
    year, month, day, hour, minute, second = (int(part or 0) for part in match.groups()[:6])
    try:
        wall = datetime(year, month, day, hour, minute, second)
        offset = _offset(match[7])
    except ValueError:
        raise Nonsense(
            f"{quoted(text)} is not in the calendar or not on the clock: write {EXPECTED}.",
            field=field,
            expected=EXPECTED,
        ) from None
    if year not in _YEARS:
        raise Nonsense(
            f"{quoted(text)} lies in the year {year}, which cannot be meant: check the year.",
            field=field,
            expected=EXPECTED,
        )
    if offset is not None:
        return Typed(_seconds(wall.replace(tzinfo=offset)), stripped, zone)
    moments = _moments(wall, clock)
    if not moments:
        raise Nonsense(
            f"{quoted(text)} never happened in {zone}, because the clocks were put forward past it: check the time.",
            field=field,
            expected=EXPECTED,
        )
    if len(moments) > 1:
        first, second_time = (_offset_words(local(at, zone)) for at in moments)
        raise Nonsense(
            f"{quoted(text)} happened twice that night in {zone}; add {first} or {second_time} to say which.",
            field=field,
            expected=f"the time with {first} or {second_time} behind it",
        )
    return Typed(moments[0], stripped, zone)


def moments(wall: datetime, zone: str) -> list[int]:
    """The epoch seconds, earliest first, at which the clocks of *zone* showed *wall* (without a zone of its own): none, one or two."""
    return _moments(wall, _zone(zone))


def utc_text(at: int) -> str:
    """Epoch seconds as ``2026-10-03T13:00:00Z``."""
    return (_EPOCH + timedelta(seconds=at)).strftime("%Y-%m-%dT%H:%M:%SZ")


def from_utc_text(text: str) -> int:
    """Epoch seconds of a text as `utc_text` writes it. Raises Nonsense for any other."""
    if re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", text, re.ASCII):
        try:
            return _seconds(datetime.fromisoformat(text))
        except ValueError:
            pass
    raise Nonsense(f"{quoted(text)} is not a time in UTC: write it like 2026-10-03T13:00:00Z.")


def local(at: int, zone: str) -> datetime:
    """Epoch seconds on the clocks of *zone*, with its offset. Raises Nonsense for a zone nobody knows."""
    return (_EPOCH + timedelta(seconds=at)).astimezone(_zone(zone))


def show(at: int, zone: str) -> str:
    """Epoch seconds as screens show them, ``2026-10-03 08:00``; the offset is added where that time happens twice.

    >>> show(1793516400, "America/Chicago"), show(1793520000, "America/Chicago")
    ('2026-11-01 01:00 -06:00', '2026-11-01 02:00')
    """
    there = local(at, zone)
    words = there.isoformat(" ", "minutes")[:16]  # a list asks for hundreds: quicker than strftime
    twice = there.utcoffset() != there.replace(fold=1 - there.fold).utcoffset()
    return f"{words} {_offset_words(there)}" if twice else words


def show_date(at: int, zone: str) -> str:
    """The local day of epoch seconds, ``2026-10-03``."""
    return local(at, zone).date().isoformat()


def hours(seconds: int) -> str:
    """A length of time in whole minutes, never rounded up: ``26 h 05 min``.

    >>> hours(93_959)
    '26 h 05 min'
    """
    minutes = abs(seconds) // 60
    return f"{'-' if seconds < 0 and minutes else ''}{minutes // 60} h {minutes % 60:02d} min"


def lasting(seconds: int) -> str:
    """A length of time as a sentence says it, never rounded up: as `hours` up to two days, then in days, from two years on in years.

    >>> lasting(93_959), lasting(200_000), lasting(129_369_840)
    ('26 h 05 min', '2 days', '4 years')
    """
    days = seconds // 86_400
    if days < 2:
        return hours(seconds)
    return f"{days} days" if days < 730 else f"{days // 365} years"


def check_not_ahead(at: int, now: int, allowed: int = ALLOWED_AHEAD_S, field: str | None = None) -> None:
    """Raise Nonsense where *at* lies more than *allowed* seconds after *now* (all in epoch seconds)."""
    if at - now > allowed:
        raise Nonsense(
            f"That time lies {lasting(at - now)} ahead of this computer's clock, and what has not happened yet cannot be "
            "recorded: check the date and time.",
            field=field,
            expected="a time that has passed",
        )


@cache
def _zone(zone: str) -> ZoneInfo:
    try:
        return ZoneInfo(zone)
    except (LookupError, ValueError, OSError, TypeError):  # zoneinfo answers odd names with any of these
        raise Nonsense(
            f"{quoted(zone)} is not a time zone: take one like America/Chicago or Europe/Berlin.",
            field="zone",
            expected="a name from the IANA time zone list",
        ) from None


def _moments(wall: datetime, clock: ZoneInfo) -> list[int]:
    """The epoch seconds, earliest first, at which the clocks showed *wall*: none, one or two."""
    found = set()
    for fold in (0, 1):
        at = _seconds(wall.replace(tzinfo=clock, fold=fold))
        if (_EPOCH + timedelta(seconds=at)).astimezone(clock).replace(tzinfo=None, fold=0) == wall:
            found.add(at)
    return sorted(found)


def _offset(text: str | None) -> timezone | None:
    if not text:
        return None
    if text in "Zz":
        return UTC
    hours_off, minutes_off = int(text[1:3]), int(text[-2:]) if len(text) > 3 else 0
    if minutes_off > 59 or hours_off > 14:  # the farthest clocks are 14 hours off
        raise ValueError(text)
    off = timedelta(hours=hours_off, minutes=minutes_off)
    return timezone(-off if text[0] == "-" else off)


def _offset_words(there: datetime) -> str:
    minutes = round((there.utcoffset() or timedelta(0)).total_seconds() / 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _seconds(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(seconds=1)
