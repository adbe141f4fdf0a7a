"""Temperature loggers' files: one plain format in, one canonical block kept.

The format is two columns and nothing else, so that whatever a logger writes can be brought into it without guessing::

    time,temp_c
    2026-10-03T08:00:00-05:00,23.4
    2026-10-03T08:05:00-05:00,23.5

``temp_f`` for °F. Times are ISO 8601 with their offset from UTC (or ``Z``), because a file that leaves it out is wrong by an hour
twice a year; fractions of a second are dropped. Values have a decimal point.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from fractions import Fraction

from fillbook.trace.core.cure import Sample
from fillbook.trace.core.errors import Damaged, Nonsense
from fillbook.trace.core.quote import quoted
from fillbook.trace.core.times import ALLOWED_AHEAD_S

LARGEST = 20_000_000  # bytes of one file
COLDEST_MC, HOTTEST_MC = (
    -60_000,
    90_000,
)  # no cure zone was ever outside; a broken or mislabelled sensor often is
COLD_MEDIAN_MC, HOT_MEDIAN_MC = 7_222, 45_000  # 45 °F and 45 °C: beyond, the column's unit is asked about

_HEADERS = {"time,temp_c": "°C", "time,temp_f": "°F"}
_EXPECTED = "a first line time,temp_c or time,temp_f, then lines like 2026-10-03T08:00:00-05:00,23.4"
_TIME = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d)(?:(:\d\d)(?:[.,]\d{1,9})?)?(?:([Zz])|([+-](?:0\d|1[0-4]))(?::?([0-5]\d))?)?",
    re.ASCII,
)
_NUMBER = re.compile(r"[+-]?\d{1,6}(?:\.\d{1,12})?", re.ASCII)
_BLOCK_HEAD = "samples 1"
_BLOCK_LINE = re.compile(r"(0|-?[1-9]\d{0,11}) (0|-?[1-9]\d{0,6})", re.ASCII)


def parse_plain(content: str | bytes, *, now: int | None = None, unit_sure: bool = False) -> list[Sample]:
    """The samples in a logger's file, in order of time whatever the order of its lines: epoch seconds and thousandths of °C.

    *now* (epoch seconds), where given, refuses times that have not come yet. A file whose middle value is not that of any cure
    room in its unit is asked about; *unit_sure* answers that the unit is right.

    >>> parse_plain("time,temp_f\\n2026-10-03T08:00:00-05:00,72\\n")
    [Sample(at=1791032400, mc=22222)]

    Raises Nonsense with the first line that cannot be taken, and why.
    """
    lines = _text(content).split("\n")
    unit = _header(lines[0])
    values: dict[str, int] = {}  # a logger repeats few values many times
    hours: dict[tuple[str, str], int] = {}  # and writes twelve times or so in an hour
    found: list[Sample] = []
    numbers: dict[int, tuple[int, int]] = {}  # time -> place in found, number of its line
    for number, line in enumerate(lines[1:], start=2):
        line = line.strip()
        if not line:
            continue
        cells = line.split(",")
        if len(cells) != 2:
            raise _refused(number, line, "is not a time and a value with one comma between them")
        at = _at(number, line, cells[0].strip(), hours)
        written = cells[1].strip()
        mc = values.get(written)
        if mc is None:
            mc = values[written] = _mc(number, line, written, unit)
        if now is not None and at > now + ALLOWED_AHEAD_S:
            raise _refused(
                number, line, "has not happened yet", "Check the logger's clock and its offset from UTC."
            )
        if at in numbers and mc != found[numbers[at][0]].mc:
            raise _refused(
                number, line, f"gives the time of line {numbers[at][1]} another value", "Keep the right one."
            )
        if at in numbers:
            continue
        numbers[at] = (len(found), number)
        found.append(Sample(at, mc))
    if not found:
        raise Nonsense(
            "The file has no readings below its first line: check what the logger wrote.", field="file"
        )
    found.sort()
    if not unit_sure:
        ask_unit(found, unit)
    return found


def to_block(samples: Iterable[tuple[int, int]]) -> bytes:
    """Samples as the bytes the book keeps, one way only: a head line, then a line each of seconds since the one before and value.

    >>> to_block([(1791032400, 22222), (1791032700, 22250)])
    b'samples 1\\n1791032400 22222\\n300 22250\\n'

    Raises Nonsense for samples not in order of time.
    """
    lines = [_BLOCK_HEAD]
    before: int | None = None
    for at, mc in samples:
        if before is not None and at <= before:
            raise Nonsense(
                "The samples are not in order of time, or two bear the same time: sort them and keep one."
            )
        lines.append(f"{at - (before or 0)} {mc}")
        before = at
    return ("\n".join(lines) + "\n").encode("ascii")


def from_block(block: bytes) -> list[Sample]:
    """The samples of a block; raises Damaged for bytes that `to_block` never wrote."""
    try:
        head, *lines, tail = block.decode("ascii").split("\n")
    except (UnicodeDecodeError, ValueError):
        raise Damaged("A block of logger samples is not text: restore it from a backup.") from None
    if head != _BLOCK_HEAD or tail:
        raise Damaged(
            "A block of logger samples does not begin and end as it was written: restore it from a backup."
        )
    found: list[Sample] = []
    at = 0
    for number, line in enumerate(lines, start=2):
        match = _BLOCK_LINE.fullmatch(line)
        if match is None or (found and int(match[1]) <= 0):
            raise Damaged(
                f"Line {number} of a block of logger samples is {quoted(line)}: restore it from a backup."
            )
        at += int(match[1])
        found.append(Sample(at, int(match[2])))
    return found


def digest(samples: Iterable[tuple[int, int]]) -> str:
    """SHA-256 of the block of these samples, as 64 hex digits: equal samples, equal digest."""
    return hashlib.sha256(to_block(samples)).hexdigest()


# -- reading a file ------------------------------------------------------------------------------------------------------------
def _text(content: str | bytes) -> str:
    if len(content) > LARGEST:
        raise Nonsense(
            "The file is over 20 MB: export a shorter time from the logger and load it in parts.",
            field="file",
        )
    if isinstance(content, bytes):
        if content.startswith(b"PK\x03\x04"):
            raise Nonsense(
                "The file is a workbook or an archive, not plain text: save it as CSV.",
                field="file",
                expected=_EXPECTED,
            )
        try:
            content = content.decode("utf-8")
        except UnicodeDecodeError:
            content = "\0"
    if "\0" in content:
        raise Nonsense(
            "The file is not plain text: save it as CSV in UTF-8.", field="file", expected=_EXPECTED
        )
    content = content.removeprefix("\ufeff")
    if not content.strip():
        raise Nonsense(
            "The file is empty: export it from the logger again.", field="file", expected=_EXPECTED
        )
    return content


def _header(line: str) -> str:
    unit = _HEADERS.get(line.strip().lower().replace(" ", ""))
    if unit is None:
        why = "with commas between columns, not semicolons" if ";" in line else "two columns and no more"
        raise Nonsense(
            f"Line 1 is {quoted(line)}, but must be time,temp_c or time,temp_f, {why}: put that line on top.",
            field="file",
            expected=_EXPECTED,
        )
    return unit


def _at(number: int, line: str, written: str, hours: dict[tuple[str, str], int]) -> int:
    """Epoch seconds of *written*; *hours* keeps when each hour with its offset began."""
    usual = 20 <= len(written) <= 25 and written[13] == written[16] == ":" and written.isascii()
    minute, second = written[14:16], written[17:19]
    if usual and minute.isdecimal() and second.isdecimal() and minute < "60" and second < "60":
        begun = hours.get((written[:13], written[19:]))
        if begun is None:
            begun = hours[written[:13], written[19:]] = (
                _at_once(number, line, written) - int(minute) * 60 - int(second)
            )
        return begun + int(minute) * 60 + int(second)
    return _at_once(number, line, written)


def _at_once(number: int, line: str, written: str) -> int:
    match = _TIME.fullmatch(written)
    if match is None:
        raise _refused(
            number, line, "has no time that can be read", "Write it like 2026-10-03T08:00:00-05:00."
        )
    day, clock, second, utc, offset, minutes = match.groups()
    if utc is None and offset is None:
        raise _refused(
            number,
            line,
            "does not say how far its time is from UTC",
            "Add Z or an offset like -05:00 to every time.",
        )
    try:
        moment = datetime.fromisoformat(f"{day}T{clock}{second or ':00'}{offset or '+00'}:{minutes or '00'}")
    except ValueError:
        raise _refused(number, line, "has a time that is not in the calendar or not on the clock") from None
    if not 2000 <= moment.year < 2200:
        raise _refused(
            number,
            line,
            f"lies in the year {moment.year}",
            "The logger's clock was not set: its times can't be used.",
        )
    return int(moment.timestamp())


def _mc(number: int, line: str, written: str, unit: str) -> int:
    if not _NUMBER.fullmatch(written):
        raise _refused(
            number,
            line,
            "has no value that can be read",
            "Write it like 23.4, and leave out lines without a value.",
        )
    value = Fraction(written)
    mc = round(value * 1000 if unit == "°C" else (value - 32) * Fraction(5000, 9))
    if not COLDEST_MC <= mc <= HOTTEST_MC:
        raise _refused(
            number, line, f"says {written} {unit}, which no cure zone has", f"Is the column really in {unit}?"
        )
    return mc


def ask_unit(found: Sequence[Sample], unit: str, otherwise: str = "") -> None:
    """Raise Nonsense where the middle value of *found* is not that of any cure room in *unit*; *otherwise* says what to do then."""
    middle = sorted(sample.mc for sample in found)[len(found) // 2]
    if unit == "°F" and middle < COLD_MEDIAN_MC:
        shown, other = f"{middle * 9 / 5000 + 32:.1f} °F", "temp_c"
    elif unit == "°C" and middle > HOT_MEDIAN_MC:
        shown, other = f"{middle / 1000:.1f} °C", "temp_f"
    else:
        return
    raise Nonsense(
        f"Half of the readings lie at {shown} or {'below' if unit == '°F' else 'above'}: is the column really in {unit}? "
        f"If not, {otherwise or f'call it {other}'}; if it is, say so and load the file again.",
        field="unit_sure",
    )


def _refused(number: int, line: str, why: str, then: str = "Correct that line, or leave it out.") -> Nonsense:
    return Nonsense(
        f"Line {number} of the file, {quoted(line)}, {why}. {then}", field="file", expected=_EXPECTED
    )
