"""Temperature loggers' files as they come: what the columns mean is found by evidence, shown, and kept once confirmed.

`look` reads a file nobody described yet and says what it took for what, and why; nothing it says is used before a person has
confirmed it. `read` takes a file by a confirmed `Profile` and nothing else, so the next file of the same logger needs no question,
and one whose heading or columns changed is asked about again. A profile is one line of words that can be read and typed::

    delimiter=semicolon decimal=comma dates=dmy time=1+2 value=3 unit=c zone=America/Chicago heading=5f0c22aa
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from functools import cache
from itertools import islice, pairwise
from zoneinfo import ZoneInfo

from fillbook.trace.core import times
from fillbook.trace.core.cure import Sample
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.logger import COLDEST_MC, HOTTEST_MC, LARGEST, ask_unit
from fillbook.trace.core.quote import quoted

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|"}
DECIMALS = {"point": ".", "comma": ","}
ORDERS = {
    "ymd": "year, month, day",
    "dmy": "day, month, year",
    "mdy": "month, day, year",
    "epoch": "seconds since 1970",
}
UNITS = {"c": "°C", "f": "°F"}
EACH = "each"  # every time in the file bears its own offset from UTC
SHOWN = 3  # offending lines shown at most
_LOOKED_AT = 2_000  # lines from which columns, unit and dates are found

_MONTHS = {
    name: n
    for n, name in enumerate(
        ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"], start=1
    )
}
_DATE = r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})|(\d{1,2})[-/. ](\d{1,2}|[A-Za-z]{3})[-/. ](\d{4}|\d{2})"
_CLOCK = r"(\d{1,2}):(\d\d)(?::(\d\d)(?:[.,]\d{1,9})?)?(?:\s*([AaPp])\.?[Mm]\.?)?"
_OFFSET = r"\s*(Z|z|UTC|GMT|[+-]\d\d:?\d\d)?"
_WHOLE = re.compile(rf"(?:{_DATE})[T ,]\s*{_CLOCK}{_OFFSET}", re.ASCII)
_DAY = re.compile(_DATE, re.ASCII)
_HOUR = re.compile(_CLOCK + _OFFSET, re.ASCII)
_EPOCH = re.compile(r"\d{10}(?:\d{3})?", re.ASCII)
_NUMBER = re.compile(r"[+-]?\d{1,4}(?:[.,]\d{1,6})?", re.ASCII)
_CELL_UNIT = re.compile(r"(.*?)\s*(?:°|deg\.?\s*|º)?\s*([CcFf])\.?", re.ASCII | re.DOTALL)
_NOTHING = frozenset(
    {
        "",
        "-",
        "--",
        "---",
        "n/a",
        "na",
        "nan",
        "null",
        "none",
        "err",
        "error",
        "ofl",
        "ufl",
        "open",
        "no data",
    }
)
_IN_HEADING = (
    (re.compile(r"(°|º|deg\.?\s?|\(|\[|_|\btemp\w*\s+)f\b|fahrenheit", re.IGNORECASE), "f"),
    (re.compile(r"(°|º|deg\.?\s?|\(|\[|_|\btemp\w*\s+)c\b|celsius|centigrade", re.IGNORECASE), "c"),
)
_NOT_HEAT = re.compile(r"%|\brh\b|humid|feucht|dew|batt|volt|\bno\.?\b|index|record|\b#", re.IGNORECASE)
_HEAT = re.compile(r"temp|°|º|celsius|fahrenheit|\bch(annel)?\s*\d|probe|sensor", re.IGNORECASE)
_ZONE_IN_HEADING = re.compile(r"\b(?:UTC|GMT)\s*([+-]\s?\d{1,2})?(?::?(\d\d))?", re.IGNORECASE)


@dataclass(frozen=True)
class Profile:
    """How one logger writes: names as in `DELIMITERS`, `DECIMALS`, `ORDERS`, `UNITS`; columns count from 1.

    ``time`` is one column or, where day and clock stand apart, two. ``zone`` is a name from the IANA list, an offset such as
    ``-06:00``, or ``each``. ``heading`` is a short digest of the line above the first reading: another heading is asked about again.
    """

    delimiter: str
    decimal: str
    dates: str
    time: tuple[int, ...]
    value: int
    unit: str
    zone: str
    heading: str = ""

    @property
    def text(self) -> str:
        """The profile in one line, as `from_text` reads it."""
        return " ".join(f"{name}={value}" for name, value in _plain(self).items() if value)


@dataclass(frozen=True)
class Look:
    """What a file nobody described yet was taken for: the profile, the evidence in words, and the first and last reading by it."""

    profile: Profile
    evidence: tuple[str, ...]
    samples: list[Sample]


def _plain(profile: Profile) -> dict[str, str]:
    found = {one.name: getattr(profile, one.name) for one in fields(profile)}
    return {name: "+".join(map(str, v)) if isinstance(v, tuple) else str(v) for name, v in found.items()}


def parts(text: str) -> dict[str, str]:
    """The parts of a profile that *text* names, checked one by one; some may be left out.

    >>> parts("dates=dmy zone=America/Chicago")
    {'dates': 'dmy', 'zone': 'America/Chicago'}

    Raises Nonsense naming the part that is none.
    """
    takes: Mapping[str, Iterable[str]] = {
        "delimiter": DELIMITERS,
        "decimal": DECIMALS,
        "dates": ORDERS,
        "unit": UNITS,
    }
    found: dict[str, str] = {}
    for part in text.split():
        name, equals, value = part.partition("=")
        known = [one.name for one in fields(Profile)]
        if not equals or name not in known or not value:
            raise _asked(
                f"{quoted(part)} is no part of how a logger's file is read. The parts are: {', '.join(known)}."
            )
        if name in takes and value not in takes[name]:
            raise _asked(f"{name} is one of {', '.join(takes[name])}, not {quoted(value)}.")
        if name in ("time", "value") and not re.fullmatch(
            r"[1-9]\d?(\+[1-9]\d?)?" if name == "time" else r"[1-9]\d?", value, re.ASCII
        ):
            raise _asked(
                f"{name} is the number of a column{', or two with + between them' if name == 'time' else ''}, not {quoted(value)}."
            )
        if name == "zone":
            _check_zone(value)
        found[name] = value
    return found


def from_text(text: str) -> Profile:
    """The profile that *text* is the whole of; raises Nonsense where a part is missing or none."""
    found = parts(text)
    lacking = [one.name for one in fields(Profile) if one.name not in found and one.name != "heading"]
    if lacking:
        raise _asked(f"How the file is read lacks {', '.join(lacking)}.")
    return Profile(
        found["delimiter"], found["decimal"], found["dates"], tuple(int(n) for n in found["time"].split("+")), int(found["value"]),
        found["unit"], found["zone"], found.get("heading", ""),
    )  # fmt: skip


def is_plain(content: str | bytes) -> bool:
    """Whether the first line is that of the plain format, which needs no profile."""
    first = content[:64].decode("ascii", "replace") if isinstance(content, bytes) else content[:64]
    first = first.removeprefix("\ufeff").split("\n", 1)[0].strip().lower().replace(" ", "")
    return first in ("time,temp_c", "time,temp_f")


def text_of(content: bytes) -> str:
    """The text of a logger's file: UTF-8, UTF-16 with its mark, or else Windows-1252, which older programs write for °.

    Raises Nonsense for what is no text, is empty or over 20 MB.
    """
    if len(content) > LARGEST:
        raise Nonsense(
            f"The file is over {LARGEST // 1_000_000} MB. Export a shorter time from the logger and load it in parts.",
            field="csv",
        )
    if content.startswith(b"PK\x03\x04"):
        raise Nonsense("The file is a workbook or an archive, not plain text: save it as CSV.", field="csv")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = content.decode("utf-16", "replace")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("cp1252", "replace")
    if not text.strip():
        raise Nonsense("The file is empty: export it from the logger again.", field="csv")
    odd = sum(1 for c in text[:4096] if c == "\ufffd" or (c < " " and c not in "\t\r\n\f"))
    if odd:
        raise Nonsense(
            f"The file is not plain text: it begins with {quoted(text)}. Export the readings as CSV or text from the logger's program.",
            field="csv",
        )
    return text


# -- reading by a profile ------------------------------------------------------------------------------------------------------
def read(content: str, profile: Profile, *, now: int | None = None, unit_sure: bool = False) -> list[Sample]:
    """The samples of *content* by *profile*, in order of time whatever the order of the lines.

    Lines above the first reading are headings; a line without a value (empty, ``---``, ``ERR``) is left out, and is a gap. The
    same reading twice is kept once. In a local zone the hour that happens twice is told apart by the order of the lines.

    Raises Nonsense with the first lines that cannot be taken (at most three), and why.
    """
    rows, heading = _rows(content, profile)
    if profile.heading and profile.heading != _digest(heading):
        raise _asked(
            f"The line above the readings is now {quoted(heading)}, another than when this logger was last confirmed: look again."
        )
    return _samples(rows, profile, now, unit_sure, whole=content.endswith("\n"))


Row = tuple[int, str, list[str]]  # number of the line, the line, its cells


def _rows(content: str, profile: Profile) -> tuple[list[Row], str]:
    """The lines from the first reading on, and the heading above them."""
    split = _splitter(profile.delimiter, content)
    lines = content.split("\n")
    heading, first = "", None
    for n, line in enumerate(lines):
        if line.strip():
            cells = split(line)
            if _first_time(cells, profile.time) and max(*profile.time, profile.value) <= len(cells):
                first = n
                break
            heading = line.strip()
    if first is None:
        raise Nonsense(
            f"No line of the file has a time in column {'+'.join(map(str, profile.time))} and a value in column {profile.value}: is it "
            f"this logger's file? It begins with {quoted(content.strip())}.",
            field="csv",
        )
    return [
        (n + 1, line, split(line)) for n, line in enumerate(lines[first:], start=first) if line.strip()
    ], heading


def _splitter(delimiter: str, content: str):  # type: ignore[no-untyped-def]
    mark = DELIMITERS[delimiter]
    if '"' in content:
        return lambda line: [
            cell.strip()
            for cell in next(csv.reader([line.strip("\r")], delimiter=mark, skipinitialspace=True))
        ]
    return lambda line: [cell.strip() for cell in line.split(mark)]


def _first_time(cells: Sequence[str], columns: tuple[int, ...]) -> bool:
    if max(columns) > len(cells):
        return False
    if len(columns) == 2:
        return bool(_DAY.fullmatch(cells[columns[0] - 1]) and _HOUR.fullmatch(cells[columns[1] - 1]))
    cell = cells[columns[0] - 1]
    return bool(_WHOLE.fullmatch(cell) or _EPOCH.fullmatch(cell))


class _Trouble(Exception):
    def __init__(self, why: str, then: str = "Correct that line, or leave it out.") -> None:
        super().__init__(why)
        self.why, self.then = why, then


def _samples(
    rows: list[Row], profile: Profile, now: int | None, unit_sure: bool, whole: bool = True
) -> list[Sample]:
    values: dict[str, int | None] = {}
    walls: dict[str, list[int]] = {}
    bad: list[tuple[int, str, _Trouble]] = []
    placed: list[tuple[list[int], int, int, str]] = []  # moments it can be, value, line
    width = max(*profile.time, profile.value)
    for number, line, cells in rows:
        try:
            if len(cells) < width:
                raise _Trouble(f"has {len(cells)} columns, not {width}")
            written = cells[profile.value - 1]
            if written not in values:
                values[written] = _mc(written, profile)
            mc = values[written]
            if mc is None:
                continue
            time = (
                cells[profile.time[0] - 1]
                if len(profile.time) == 1
                else f"{cells[profile.time[0] - 1]} {cells[profile.time[1] - 1]}"
            )
            placed.append((_moments(time, profile, walls), mc, number, line))
        except _Trouble as odd:
            bad.append((number, line.strip(), odd))
            if len(bad) >= SHOWN:
                break
    if bad:
        number, line, trouble = bad[0]
        if number == rows[-1][0] and not whole:
            raise Nonsense(
                f"The file breaks off in line {number}, {quoted(line)}: it is not the whole file. Export it from the logger again.",
                field="csv",
            )
        more = "".join(
            f" So is line {n}, {quoted(text)}." for n, text, other in bad[1:] if other.why == trouble.why
        )
        raise Nonsense(
            f"Line {number} of the file, {quoted(line)}, {trouble.why}. {trouble.then}{more}", field="csv"
        )
    if not placed:
        raise Nonsense("No line of the file has a value: check what the logger wrote.", field="csv")
    found = _in_order(placed)
    if now is not None and found[-1].at > now + times.ALLOWED_AHEAD_S:
        at, number, line = next(
            (m[0], n, text) for m, _, n, text in placed if min(m) > now + times.ALLOWED_AHEAD_S
        )
        raise Nonsense(
            f"Line {number} of the file, {quoted(line.strip())}, lies {times.lasting(at - now)} ahead of now: check the logger's clock, the "
            f"order of its dates ({ORDERS[profile.dates]}) and its zone ({profile.zone}).",
            field="csv",
        )
    if not unit_sure:
        ask_unit(found, UNITS[profile.unit], f"confirm it with unit={'c' if profile.unit == 'f' else 'f'}")
    return found


def _in_order(placed: list[tuple[list[int], int, int, str]]) -> list[Sample]:
    """Times made sure, lines sorted, the same reading kept once."""
    down = sum(a[0][0] > b[0][0] for a, b in pairwise(placed)) * 2 > len(placed)
    before: int | None = None
    found: dict[int, tuple[int, int]] = {}
    for moments, mc, number, line in reversed(placed) if down else placed:
        at = moments[0]
        if len(moments) > 1 and before is not None and before >= at:
            at = moments[1]
        before = at
        if at in found and found[at][0] != mc:
            raise Nonsense(
                f"Line {number} of the file, {quoted(line.strip())}, gives the time of line {found[at][1]} another value. Keep the right one.",
                field="csv",
            )
        found[at] = (mc, number)
    return [Sample(at, mc) for at, (mc, _) in sorted(found.items())]


def _mc(written: str, profile: Profile) -> int | None:
    """The value in thousandths of °C; None where the logger wrote that it had none."""
    if written.lower() in _NOTHING:
        return None
    number = written
    if not _NUMBER.fullmatch(number) and (match := _CELL_UNIT.fullmatch(written)):
        if match[2].lower() != profile.unit:
            raise _Trouble(
                f"is in °{match[2].upper()}, the others in {UNITS[profile.unit]}",
                "Was the logger set to another unit meanwhile?",
            )
        number = match[1]
    other = "," if profile.decimal == "point" else "."
    if not _NUMBER.fullmatch(number) or other in number:
        raise _Trouble(
            f"has no value that can be read in column {profile.value}",
            f"Write it like 23{DECIMALS[profile.decimal]}4.",
        )
    value = Fraction(number.replace(",", "."))
    mc = round(value * 1000 if profile.unit == "c" else (value - 32) * Fraction(5000, 9))
    if not COLDEST_MC <= mc <= HOTTEST_MC:
        raise _Trouble(
            f"says {written} in {UNITS[profile.unit]}, which no cure zone has",
            "Is the sensor broken, or the unit another?",
        )
    return mc


def _moments(written: str, profile: Profile, walls: dict[str, list[int]]) -> list[int]:
    """The epoch seconds *written* may mean: two in the hour that happens twice."""
    if profile.dates == "epoch":
        if not _EPOCH.fullmatch(written):
            raise _Trouble("has no time that can be read")
        return [int(written) // (1000 if len(written) == 13 else 1)]
    match = _WHOLE.fullmatch(written)
    if match is None:
        raise _Trouble("has no time that can be read")
    *day, hour, minute, second, half, offset = match.groups()
    if (offset is None) == (profile.zone == EACH):
        raise _Trouble(
            "bears no offset from UTC, as the others do"
            if offset is None
            else f"bears the offset {offset}, the others none"
        )
    h = int(hour)
    if half and not 1 <= h <= 12:
        raise _Trouble("has a time that is not on the clock")
    if half:
        h = h % 12 + (12 if half in "Pp" else 0)
    key = f"{'-'.join(part or '' for part in day)} {h} {offset or ''}"
    hours = walls.get(key)
    if hours is None:
        hours = walls[key] = _hour(day, h, offset, profile)
    if int(minute) > 59 or (second and int(second) > 59):
        raise _Trouble("has a time that is not on the clock")
    return [at + int(minute) * 60 + int(second or 0) for at in hours]


def _hour(day: Sequence[str | None], hour: int, offset: str | None, profile: Profile) -> list[int]:
    year, month, date = _day(day, profile.dates)
    try:
        wall = datetime(year, month, date, hour)
    except ValueError:
        raise _Trouble(f"has a date that is not in the calendar (read as {ORDERS[profile.dates]})") from None
    if not 2000 <= year < 2200:
        raise _Trouble(f"lies in the year {year}", "The logger's clock was not set: its times can't be used.")
    if profile.zone == EACH:
        return [_epoch(wall) - _seconds_off(offset or "Z")]
    if profile.zone == "UTC" or profile.zone[0] in "+-":
        return [_epoch(wall) - _seconds_off(profile.zone)]
    found = times.moments(wall, profile.zone)
    if not found:
        raise _Trouble(
            f"never happened in {profile.zone}, because the clocks were put forward past it",
            "The logger does not follow the clock change: say its zone as an offset, such as zone=-06:00.",
        )
    return found


def _day(day: Sequence[str | None], order: str) -> tuple[int, int, int]:
    if day[0] is not None:
        if order != "ymd":
            raise _Trouble(f"begins with the year, but dates are {ORDERS[order]}")
        return int(day[0]), int(day[1] or 0), int(day[2] or 0)
    first, second, last = (part or "" for part in day[3:6])
    if second.isalpha():
        return _year(last), _MONTHS.get(second.lower(), 0), int(first)
    match order:
        case "dmy":
            return _year(last), int(second), int(first)
        case "mdy":
            return _year(last), int(first), int(second)
    return _year(first), int(second), int(last)


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _epoch(wall: datetime) -> int:
    return (wall - datetime(1970, 1, 1)) // timedelta(seconds=1)


def _seconds_off(offset: str) -> int:
    if offset in ("Z", "z", "UTC", "GMT"):
        return 0
    return (-1 if offset[0] == "-" else 1) * (int(offset[1:3]) * 3600 + int(offset[-2:]) * 60)


@cache
def _check_zone(zone: str) -> None:
    if zone in (EACH, "UTC") or re.fullmatch(r"[+-](0\d|1[0-4]):[0-5]\d", zone, re.ASCII):
        return
    try:
        ZoneInfo(zone)
    except (LookupError, ValueError, OSError):
        raise _asked(
            f"{quoted(zone)} is no time zone: write America/Chicago, UTC, an offset such as -06:00, or each."
        ) from None


# -- looking at a file nobody described ----------------------------------------------------------------------------------------
def look(
    content: str,
    *,
    zone: str,
    now: int | None = None,
    said: Mapping[str, str] | None = None,
    unit_sure: bool = False,
) -> Look:
    """What *content* is taken for, and why; parts of the profile that were *said* (`parts`) are taken as they are.

    *zone* is the shop's, taken where the file says nothing of its own.

    Raises Nonsense where the file is no log, or where a part can't be found by evidence, with what to say.
    """
    said = dict(said or {})
    lines = list(islice((line for line in content.split("\n") if line.strip()), _LOOKED_AT))
    if not lines:
        raise Nonsense("The file is empty: export it from the logger again.", field="csv")
    evidence: list[str] = []
    delimiter, table, above = _table(lines, content, said)
    evidence.append(f"columns parted by {delimiter}")
    time = tuple(int(n) for n in said["time"].split("+")) if "time" in said else _time_columns(table)
    assert time
    headings = _headings(above, delimiter, content, len(table[0]))
    decimal, value = _value_column(table, headings, time, said, evidence)
    unit = _unit(table, above, headings, value, decimal, said, evidence)
    order = _order(table, time, said, evidence, now)
    where = _zone_of(table, above, time, zone, order, said, evidence)
    draft = Profile(delimiter, decimal, order, time, value, unit, where)
    rows, heading = _rows(content, draft)
    profile = replace(draft, heading=_digest(heading))
    samples = _samples(rows, profile, now, unit_sure, whole=content.endswith("\n"))
    evidence += _clock_change(samples, profile)
    empty = len(rows) - len(samples)
    if empty:
        evidence.append(
            f"{empty} {'line is' if empty == 1 else 'lines are'} left out, without a value or twice there"
        )
    return Look(profile, tuple(evidence), samples)


def _digest(heading: str) -> str:
    return hashlib.sha256(" ".join(heading.lower().split()).encode()).hexdigest()[:8]


def _table(lines: list[str], content: str, said: Mapping[str, str]) -> tuple[str, list[list[str]], list[str]]:
    """The delimiter, the cells of the lines with a time, and the lines above the first of them."""
    best: tuple[int, int, str, list[list[str]], list[str]] | None = None
    for name in [said["delimiter"]] if "delimiter" in said else DELIMITERS:
        split = _splitter(name, content)
        cells = [split(line) for line in lines]
        with_time = [n for n, row in enumerate(cells) if len(row) > 1 and _time_columns([row])]
        widths = Counter(len(cells[n]) for n in with_time)
        if not widths:
            continue
        width, count = widths.most_common(1)[0]
        first = with_time[0]
        table = [cells[n] for n in with_time if len(cells[n]) == width]
        # a decimal comma also parts numbers: the separator that leaves fewer, whole cells wins
        if best is None or (count, -width) > (best[0], -best[1]):
            best = (count, width, name, table, lines[:first])
    if best is None:
        raise Nonsense(
            f"No line of the file has a time and a value in columns of their own: is it a logger's file? It begins with {quoted(lines[0])}.",
            field="csv",
        )
    _, width, name, table, above = best
    if (
        name == "comma"
        and above
        and width == len(_splitter(name, content)(above[-1])) + 1
        and said.get("delimiter") is None
    ):
        raise Nonsense(
            f"The readings have one column more than their heading {quoted(above[-1])}: the comma parts columns and decimals alike. Export "
            "the file with semicolons between its columns, or with a decimal point.",
            field="csv",
        )
    return name, table, above


def _time_columns(table: list[list[str]]) -> tuple[int, ...] | None:
    for n in range(len(table[0])):
        cells = [row[n] for row in table]
        if all(_WHOLE.fullmatch(cell) or _EPOCH.fullmatch(cell) for cell in cells):
            return (n + 1,)
        if (
            n + 1 < len(table[0])
            and all(_DAY.fullmatch(c) for c in cells)
            and all(_HOUR.fullmatch(r[n + 1]) for r in table)
        ):
            return (n + 1, n + 2)
    return None


def _headings(above: list[str], delimiter: str, content: str, width: int) -> list[str]:
    cells = _splitter(delimiter, content)(above[-1]) if above else []
    return cells if len(cells) == width else [""] * width


def _value_column(
    table: list[list[str]],
    headings: list[str],
    time: tuple[int, ...],
    said: Mapping[str, str],
    evidence: list[str],
) -> tuple[str, int]:
    """The decimal mark and the column of the temperature."""
    numbers: dict[int, list[str]] = {}
    for n in range(len(table[0])):
        if n + 1 in time:
            continue
        cells = [row[n] for row in table if row[n].lower() not in _NOTHING]
        bare = [m[1] if not _NUMBER.fullmatch(c) and (m := _CELL_UNIT.fullmatch(c)) else c for c in cells]
        good = [cell for cell in bare if _NUMBER.fullmatch(cell)]
        if 2 * len(good) >= len(cells) > 0 or (
            good and _HEAT.search(headings[n])
        ):  # a few bad lines are named when they are read
            numbers[n + 1] = good
    if "value" in said:
        column = int(said["value"])
        why = "as said"
    else:
        heat = [n for n in numbers if not _NOT_HEAT.search(headings[n - 1])]
        named = [n for n in heat if _HEAT.search(headings[n - 1])]
        found = [n for n in heat if not _counts_up(numbers[n])]
        columns = named or found
        if not columns:
            raise Nonsense(
                f"The file has times but no column of temperatures; its first reading is {quoted(' | '.join(table[0]))}.",
                field="csv",
            )
        if len(columns) > 1:
            names = ", ".join(f"value={n} ({headings[n - 1] or table[0][n - 1]})" for n in columns)
            raise _asked(f"Several columns can be the temperature: say which, {names}.")
        column = columns[0]
        why = f"headed {quoted(headings[column - 1])}" if named else "the only column of numbers"
    evidence.append(f"temperature in column {column}, {why}")
    cells = numbers.get(column, [])
    marks = {mark for cell in cells for mark in ".," if mark in cell}
    if len(marks) > 1:
        raise Nonsense(
            f"Column {column} has points and commas in its numbers; which is the decimal mark can't be told.",
            field="csv",
        )
    decimal = said.get("decimal") or ("comma" if marks == {","} else "point")
    if marks:
        evidence.append(f"decimal {decimal}")
    return decimal, column


def _counts_up(cells: list[str]) -> bool:
    return (
        len(cells) > 2
        and all(c.isdigit() for c in cells)
        and {int(b) - int(a) for a, b in pairwise(cells)} in ({1}, {-1})
    )


def _unit(
    table: list[list[str]],
    above: list[str],
    headings: list[str],
    value: int,
    decimal: str,
    said: Mapping[str, str],
    evidence: list[str],
) -> str:
    if "unit" in said:
        evidence.append(f"{UNITS[said['unit']]}, as said")
        return said["unit"]
    in_cells = {
        match[2].lower()
        for row in table
        if not _NUMBER.fullmatch(row[value - 1]) and (match := _CELL_UNIT.fullmatch(row[value - 1]))
    }
    if len(in_cells) == 1:
        unit = in_cells.pop()
        evidence.append(f"{UNITS[unit]}, written behind the values")
        return unit
    for where in (headings[value - 1], *reversed(above)):
        units = {unit for pattern, unit in _IN_HEADING if pattern.search(where)}
        if len(units) == 1:
            unit = units.pop()
            evidence.append(f"{UNITS[unit]}, from {quoted(where.strip())}")
            return unit
    values = sorted(
        float(row[value - 1].replace(",", ".")) for row in table if _NUMBER.fullmatch(row[value - 1])
    )
    if not values:
        raise _asked(f"Column {value} has no numbers: say which column is the temperature, such as value=3.")
    middle = values[len(values) // 2]
    if 8 <= middle <= 38:
        guess = "c"
    elif 48 <= middle <= 105:
        guess = "f"
    else:
        raise _asked(
            f"The file does not say its unit, and half of its values lie about {middle:g}: say unit=c or unit=f."
        )
    evidence.append(f"{UNITS[guess]}, ONLY by its values, about {middle:g}: make sure")
    return guess


def _order(
    table: list[list[str]],
    time: tuple[int, ...],
    said: Mapping[str, str],
    evidence: list[str],
    now: int | None,
) -> str:
    if "dates" in said:
        evidence.append(f"dates {ORDERS[said['dates']]}, as said")
        return said["dates"]
    cells = [row[time[0] - 1] for row in table]
    if all(_EPOCH.fullmatch(cell) for cell in cells):
        evidence.append("dates seconds since 1970")
        return "epoch"
    days = [_DAY.match(cell) for cell in cells]
    if all(day and day[1] for day in days):
        evidence.append(f"dates year first, as in {quoted(cells[0])}")
        return "ymd"
    short = [(day[4], day[5], day[6]) for day in days if day]
    if any(second.isalpha() for _, second, _ in short):
        evidence.append(f"dates the month is written out, as in {quoted(cells[0])}")
        return "dmy"
    orders = ["dmy", "mdy"] + (["ymd"] if any(len(last) == 2 for *_, last in short) else [])
    fits: dict[str, list[datetime]] = {}
    for order in orders:
        try:
            fits[order] = [datetime(*_day((None, None, None, *one), order)) for one in short]
        except ValueError:
            continue
        except _Trouble:
            continue
    if len(fits) == 1:
        order = next(iter(fits))
        odd = next(
            (cell for cell, one in zip(cells, short, strict=True) if int(one[0]) > 12 or int(one[1]) > 12),
            cells[0],
        )
        evidence.append(f"dates {ORDERS[order]}, because of {quoted(odd)}")
        return order
    # each order asks for another year's worth of days: the one in which the readings run on without a leap, and in the past, is meant
    leaps = {
        order: max((abs(b - a) for a, b in pairwise(found)), default=timedelta(0))
        for order, found in fits.items()
    }
    today = None if now is None else datetime.fromtimestamp(now, UTC).replace(tzinfo=None) + timedelta(days=1)
    past = [order for order, found in fits.items() if today is None or max(found) <= today]
    running = [order for order in past if leaps[order] <= timedelta(days=2)]
    for kept, why in (
        (running, "by it the readings run on from day to day"),
        (past, "by the other the readings would lie ahead of now"),
    ):
        if len(kept) == 1:
            evidence.append(
                f"dates {ORDERS[kept[0]]}, because {why} ({quoted(cells[0])} to {quoted(cells[-1])})"
            )
            return kept[0]
    raise _asked(
        f"The dates, such as {quoted(cells[0])}, can be read in more than one way: say "
        + " or ".join(f"dates={order} ({ORDERS[order]})" for order in fits or orders)
        + "."
    )


def _zone_of(
    table: list[list[str]],
    above: list[str],
    time: tuple[int, ...],
    zone: str,
    order: str,
    said: Mapping[str, str],
    evidence: list[str],
) -> str:
    if "zone" in said:
        evidence.append(f"times of {said['zone']}, as said")
        return said["zone"]
    if order == "epoch":
        return "UTC"
    cells = [row[time[-1] - 1] for row in table]
    pattern = _WHOLE if len(time) == 1 else _HOUR
    ends = {match.groups()[-1] for cell in cells if (match := pattern.fullmatch(cell))}
    if None not in ends:
        evidence.append("times with their offset from UTC")
        return EACH
    for line in reversed(above):
        if match := _ZONE_IN_HEADING.search(line):
            found = "UTC"
            if match[1]:
                hours = int(match[1].replace(" ", ""))
                found = f"{'-' if hours < 0 else '+'}{abs(hours):02d}:{match[2] or '00'}"
            evidence.append(f"times in {found}, from {quoted(line.strip())}")
            return found
    evidence.append(f"times local, of {zone}, as the file says nothing else: make sure")
    return zone


def _clock_change(samples: list[Sample], profile: Profile) -> list[str]:
    """A word where the readings run evenly on the wall clock across a change of it: such a logger stays on one offset."""
    if profile.zone in (EACH, "UTC") or profile.zone[0] in "+-" or len(samples) < 3:
        return []
    usual = Counter(b.at - a.at for a, b in pairwise(samples)).most_common(1)[0][0]
    zone = ZoneInfo(profile.zone)
    for a, b in pairwise(samples):
        before, after = (datetime.fromtimestamp(at, zone).utcoffset() or timedelta(0) for at in (a.at, b.at))
        if (
            before != after
            and b.at - a.at != usual
            and b.at - a.at + (after - before) // timedelta(seconds=1) == usual
        ):
            minutes = int(before / timedelta(minutes=1))
            offset = f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
            return [
                f"CLOCK CHANGE: the readings run on evenly across it; if the logger stays on one time, say zone={offset}"
            ]
    return []


def _asked(words: str) -> Nonsense:
    return Nonsense(words, field="read_as", expected="parts such as dates=dmy unit=c zone=America/Chicago")
