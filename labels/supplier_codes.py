"""The supplier's own barcodes, read on receiving: what they fill in, from where, and what is wrong with them.

GS1 element strings and GS1 Digital Link addresses (GS1 General Specifications; GS1 Digital Link: URI syntax) are read by biip; other
codes by the shop's note for that supplier; the rest is kept as the supplier's code and can be searched for. Nothing is guessed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from fillbook.trace.core import keyboards, supplier_notes
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

LONGEST = 500
_GS = "\x1d"  # FNC1 as a scanner sends it; what some send or people type for it:
_TYPED_SEPARATORS = ("<GS>", "{GS}", "[GS]", "<FNC1>", "\\x1d", "\\u001d", "\u241d")
_GS1_SYMBOLS = ("]C1", "]d2", "]Q3", "]e0", "]J1")  # ISO/IEC 15424 identifiers of symbols that carry GS1 data
_DATES = {"11": "production date", "13": "packaging date", "15": "best-before date", "17": "use-by date"}
_VARIABLE = {"10": "lot", "21": "serial", "37": "count", "30": "count"}
#: AI -> (what it fills in, what it is called on the label).
_FILLS = {
    "01": ("item", "GTIN"), "02": ("item", "GTIN of what is inside"), "00": ("container", "SSCC"), "10": ("lot", "batch or lot"),
    "11": ("made", "production date"), "15": ("use_by", "best-before date"), "17": ("use_by", "use-by date"), "21": ("serial", "serial"),
    "30": ("count", "count"), "37": ("count", "count"),
}  # fmt: skip
# What would follow a lot, had its separator been left out: a date that can be one, or a net weight.
_SWALLOWED = re.compile(r".(1[1357])(\d\d(?:0[1-9]|1[0-2])(?:[0-2]\d|3[01]))|.(3[12]0[0-5])(\d{6})")
#: How a supplier may write dates, for `Note.dates`.
DATE_FORMS = {
    "YYMMDD": "%y%m%d",
    "YYYYMMDD": "%Y%m%d",
    "DDMMYY": "%d%m%y",
    "DDMMYYYY": "%d%m%Y",
    "MMDDYY": "%m%d%y",
    "YYYY-MM-DD": "%Y-%m-%d",
    "YYDDD": "%y%j",
}


@dataclass(frozen=True)
class Note:
    """How one supplier's codes are read: a pattern with named parts (`supplier_notes.PARTS`), and how it writes dates."""

    supplier: str
    pattern: str
    dates: str = "YYMMDD"


@dataclass(frozen=True)
class Filled:
    """One value that was filled in, and from where."""

    value: str
    source: str


@dataclass
class ReadCode:
    """What a code says. ``fields`` by name (item, container, lot, made, use_by, net_kg or net_lb, count, serial, supplier);
    dates as YYYY-MM-DD. ``troubles`` are sentences to show; ``code`` is what is kept and searched for. ``kind`` says how it was
    read: GS1 element string, GS1 Digital Link, item number, supplier's note, supplier's code."""

    kind: str
    code: str
    fields: dict[str, Filled] = field(default_factory=dict)
    troubles: list[str] = field(default_factory=list)


def read(text: str, notes: Iterable[Note] = ()) -> ReadCode:
    """What the supplier's code *text* fills in, as scanned, photographed or typed.

    Raises Nonsense for nothing at all, for a code longer than 500 characters, and for bytes that are no text.
    """
    text = text.strip(" \t\r\n")
    if not text:
        raise Nonsense(
            "There is nothing to read: scan the supplier's label, or type its number.", field="supplier_code"
        )
    if len(text) > LONGEST:
        raise Nonsense(
            f"The code is {len(text)} characters long; at most {LONGEST} are read. Scan one label at a time.",
            field="supplier_code",
        )
    text = _with_separators(text)
    bare = text[3:] if text.startswith("]") else text
    if any(not c.isprintable() and c != _GS for c in bare):
        raise Nonsense(
            "The code holds characters that cannot be printed: scan it again.", field="supplier_code"
        )
    code = bare.replace(_GS, " ").strip()
    if bare.lower().startswith(("http://", "https://")):
        found = _link(bare, code)
    elif _looks_gs1(text, bare):
        found = _elements(bare, code)
    elif bare.isascii() and bare.isdigit() and len(bare) in (12, 13, 14, 18):
        found = _number(bare, code)
    else:
        found = ReadCode("supplier's code", code)
    return found if found.fields else _by_note(found, bare, notes)


def is_torn(text: str) -> bool:
    """Whether a code that nothing reads looks like the rest of one whose first characters were lost on the way.

    It begins with a bracket's end, a dash, a dot, a slash or a colon; or it holds brackets or separators (FNC1) further on and no
    element before them; or it is an address without its beginning. Ask it of a code for which `read` found no fields.

    >>> is_torn("-3000"), is_torn("0)NB-3000"), is_torn("B-3000(17)261130"), is_torn("NB-3000")
    (True, True, True, False)
    """
    text = _with_separators(text)
    bare = text[3:] if text.startswith(_GS1_SYMBOLS) else text
    return (
        re.match(r"\d{0,4}\)|[-./:,]", bare) is not None
        or (not bare.startswith("(") and re.search(r"\(\d{2,4}\)", bare) is not None)
        or _GS in bare.strip(_GS)
        or re.match(r"(?!https?://)\w{0,5}://", bare, re.IGNORECASE) is not None
    )


def is_of_another_keyboard(text: str) -> bool:
    """Whether the scanner that typed *text* is set to another keyboard than the computer. Not to be asked of a photograph.

    GS1 data hold a part of ASCII alone (GS1 General Specifications, section 7.11; from memory), and suppliers' own numbers keep to it
    (common practice), so a letter such as ß or Ö was made on the way; the same where what reads as nothing reads as GS1 data, whole, once the keys are put back.

    >>> is_of_another_keyboard("TFß9002"), is_of_another_keyboard("TF-9002")
    (True, False)
    """
    text = _with_separators(text.strip(" \t\r\n"))
    if not text.isascii():
        return any(said.isascii() for said in keyboards.readings(text))
    return not _is_gs1(text) and any(_is_gs1(said) for said in keyboards.readings(text))


def _is_gs1(text: str) -> bool:
    """Whether all of *text* reads as GS1 data that say so themselves: by brackets, or by what a scanner sends before them."""
    if not text.startswith(("(", *_GS1_SYMBOLS)):
        return False
    try:
        found = read(text)
    except Nonsense:
        return False
    return bool(found.fields) and not found.troubles


def _with_separators(text: str) -> str:
    for typed in _TYPED_SEPARATORS:
        text = text.replace(typed, _GS)
    return text


def preview(pattern: str, example: str, dates: str = "YYMMDD") -> dict[str, Filled]:
    """What *pattern* reads from *example*. Raises Nonsense for a bad pattern, or where the example does not fit it."""
    note = Note("", pattern, dates)
    if dates not in DATE_FORMS:
        raise Nonsense(
            f"{quoted(dates)} is no way to write dates: take one of {', '.join(DATE_FORMS)}.", field="dates"
        )
    made = supplier_notes.parts(pattern, example)
    if made is None:
        raise Nonsense(
            f"The example {quoted(example)} does not fit the pattern as a whole (up to {supplier_notes.LONGEST_CODE} characters).",
            field="example",
        )
    found = ReadCode("supplier's note", example)
    _take(found, made, note)
    if found.troubles:
        raise Nonsense(found.troubles[0], field="example")
    return found.fields


def _looks_gs1(text: str, bare: str) -> bool:
    return (
        text.startswith(_GS1_SYMBOLS)
        or _GS in bare
        or re.match(r"\(\d{2,4}\)", bare) is not None
        or re.match(r"0[012]\d{14}", bare) is not None
    ) and not (bare.isdigit() and len(bare) == 18 and not text.startswith(_GS1_SYMBOLS))


def _elements(bare: str, code: str) -> ReadCode:
    found = ReadCode("GS1 element string", code)
    if bare.startswith("("):  # as it is printed below the bars; there the brackets separate
        chunks = [(ai, value) for ai, value in re.findall(r"\((\d{2,4})\)([^(]*)", bare)]
        data = "".join(f"{ai}{value.strip()}{_GS}" for ai, value in chunks)
    else:
        data = bare
    data = data.strip(_GS)
    _parse(found, data)
    if not found.fields and not found.troubles:
        found.kind = "supplier's code"
    return found


def _parse(found: ReadCode, data: str) -> None:
    """The elements of *data* in turn; where one can't be read, what came before it stays, and the trouble is told."""
    import biip

    whole = biip.parse(data)
    message: Any = whole.gs1_message
    if message is None:
        words = str(whole.gs1_message_error or "")
        stuck = re.search(r"'([^']*)'", words)
        rest = _with_separators(stuck[1]) if stuck else data  # biip spells a separator out
        ai = re.search(r"AI \((\d+)\)", words)
        if ai and not rest.startswith(ai[1]):  # biip names the value alone
            rest = ai[1] + rest
        at = data.rfind(rest)
        before = data[:at] if at > 0 else ""
        if before.strip(_GS):
            _parse(found, before.strip(_GS))
        found.troubles.append(_stuck(ai[1] if ai else "", rest, before))
        after = data[at + len(ai[1]) + 6 :].strip(_GS) if ai and ai[1] in _DATES else ""
        if after:
            _parse(found, after)
        return
    _fill(found, message.element_strings)
    _look_for_lost_separators(found, message.element_strings, data)


def _stuck(ai: str, rest: str, before: str) -> str:
    shown = quoted(rest.replace(_GS, " "))
    if ai in _DATES:
        return f"The {_DATES[ai]} ({ai}) {quoted(rest[len(ai) : len(ai) + 6])} can't be a date: read it off the label and type it."
    if ai:
        return f"What stands under ({ai}), {shown}, is not written as GS1 has it: read it off the label and type it."
    if not before:
        return f"{shown} does not begin as GS1 data do: it is kept as the supplier's code."
    return (
        f"{shown} is left over and nothing we know: a separator (FNC1) seems to be missing before it, or a value is longer than GS1 allows. "
        "Check every value against the label."
    )


def _fill(found: ReadCode, elements: Iterable[Any]) -> None:
    for one in elements:
        ai = str(one.ai.ai)
        if one.gtin_error or one.sscc_error:
            words = str(one.gtin_error or one.sscc_error)
            digits = re.search(r"Expected (\d), got (\d)", words)
            why = (
                f"its check digit is {digits[2]} and should be {digits[1]}"
                if digits
                else "its check digit does not fit"
            )
            found.troubles.append(
                f"The {_FILLS[ai][1]} {one.value} can't be right: {why}. Scan it again, or type it off the label."
            )
            continue
        if re.fullmatch(r"3[12]0\d", ai) and one.decimal is not None:
            unit = "kg" if ai.startswith("310") else "lb" if ai.startswith("320") else ""
            if unit:
                _put(found, f"net_{unit}", f"{one.decimal:f}", f"({ai}) net weight, {unit}")
            continue
        if ai not in _FILLS:
            continue
        name, words = _FILLS[ai]
        value = one.date.isoformat() if one.date is not None else str(one.value)
        if name == "count":
            value = str(int(value))
        if name == "use_by" and ai == "15" and "use_by" in found.fields:
            continue  # the use-by date is the stricter word
        if name == "use_by" and ai == "17":
            found.fields.pop("use_by", None)
        _put(found, name, value, f"({ai}) {words}")


def _put(found: ReadCode, name: str, value: str, source: str) -> None:
    there = found.fields.get(name)
    if there and there.value != value:
        found.troubles.append(
            f"The label says {there.value} under {there.source} and {value} under {source}: look which is right."
        )
        return
    found.fields[name] = Filled(value, source)


def _look_for_lost_separators(found: ReadCode, elements: Iterable[Any], data: str) -> None:
    """A lot or serial runs to the next separator; one that holds what looks like the next element has swallowed it."""
    for one in elements:
        ai = str(one.ai.ai)
        if ai in ("10", "21") and (inside := _SWALLOWED.search(str(one.value))):
            also, value = (inside[1], inside[2]) if inside[1] else (inside[3], inside[4])
            what = _DATES.get(also, "net weight")
            found.troubles.append(
                f"The {_VARIABLE[ai]} {quoted(one.value)} may have swallowed a {what} ({also}) {value}: a separator (FNC1) seems to be missing "
                f"before it. Check the {_VARIABLE[ai]} against the label."
            )


def _link(bare: str, code: str) -> ReadCode:
    import biip

    found = ReadCode("GS1 Digital Link", code)
    try:
        whole = biip.parse(bare)
        link: Any = whole.gs1_digital_link_uri
        words = str(whole.gs1_digital_link_uri_error or "")
    except (ValueError, TypeError) as trouble:  # an address that is none
        link, words = None, str(trouble)
    if link is not None:
        _fill(found, link.element_strings)
        return found
    ai = re.search(r"AI \((\d+)\)", words)
    stuck = re.search(r"'([^']*)'", words)
    if ai and stuck:
        value = _with_separators(stuck[1])
        rest = value if value.startswith(ai[1]) else ai[1] + value
        found.troubles.append(_stuck(ai[1], rest, "/"))
        without = _without(bare, ai[1])
        if without != bare:
            again = _link(without, code)
            found.fields, found.troubles = again.fields, found.troubles + again.troubles
        return found
    found.kind = "supplier's code"
    return found


def _without(address: str, ai: str) -> str:
    """*address* with the one element left out that can't be read."""
    cut = re.sub(rf"/{ai}/[^/?#]*", "", address)
    return cut if cut != address else re.sub(rf"([?&;]){ai}=[^&;#]*", r"\1", address).replace("?&", "?")


def _number(digits: str, code: str) -> ReadCode:
    """Digits alone: an item's or container's number where the check digit fits (GS1 General Specifications 7.9), else just a code."""
    found = ReadCode("item number", code)
    expected = check_digit(digits[:-1])
    name, words = ("container", "SSCC") if len(digits) == 18 else ("item", f"GTIN-{len(digits)}")
    if expected == digits[-1]:
        found.fields[name] = Filled(
            digits.zfill(14) if name == "item" else digits, f"the number itself ({words})"
        )
        return found
    found.kind = "supplier's code"
    found.troubles.append(
        f"{digits} is as long as a {words}, but its check digit would be {expected}: it is kept as the supplier's code; scan it again if it is one."
    )
    return found


def check_digit(body: str) -> str:
    """The GS1 check digit of *body* (digits): weights 3 and 1 from the right, modulo 10.

    Source: GS1 General Specifications, section 7.9.

    >>> check_digit("629104150021")
    '3'
    """
    total = sum(int(digit) * (3 if n % 2 == 0 else 1) for n, digit in enumerate(reversed(body)))
    return str(-total % 10)


def _by_note(found: ReadCode, bare: str, notes: Iterable[Note]) -> ReadCode:
    for note in notes:
        made = supplier_notes.parts(note.pattern, bare)
        if made is None:
            continue
        found = ReadCode("supplier's note", found.code)
        found.fields["supplier"] = Filled(note.supplier, "the shop's note that fits this code")
        _take(found, made, note)
        return found
    return found


def _take(found: ReadCode, made: dict[str, str], note: Note) -> None:
    source = f"the note for {note.supplier}" if note.supplier else "the pattern"
    for name, value in made.items():
        if name in ("made", "use_by"):
            day = _day(value, note.dates)
            if day is None:
                found.troubles.append(
                    f"{quoted(value)} can't be a date written {note.dates}: read it off the label and type it."
                )
                continue
            value = day.isoformat()
        if name in ("net_kg", "net_lb"):
            value = value.replace(",", ".")
            if not re.fullmatch(r"\d{1,6}(\.\d{1,3})?", value) or not float(value):
                found.troubles.append(
                    f"{quoted(value)} can't be a net weight: read it off the label and type it."
                )
                continue
        if name == "count" and not value.isdigit():
            found.troubles.append(f"{quoted(value)} can't be a count: read it off the label and type it.")
            continue
        found.fields[name] = Filled(value, f"{source}: {supplier_notes.PARTS[name]}")


def _day(text: str, written: str) -> date | None:
    try:
        if written == "YYDDD":
            if not re.fullmatch(r"\d{5}", text) or text[2:] == "000":
                return None
            day = date(2000 + int(text[:2]), 1, 1) + timedelta(days=int(text[2:]) - 1)
            return day if day.year == 2000 + int(text[:2]) else None
        if len(text) != len(written):
            return None
        return datetime.strptime(text, DATE_FORMS[written]).date()
    except ValueError:
        return None
