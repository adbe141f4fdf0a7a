"""From a verb's model to what a page asks: one input per field, and back from what was posted to what the verb reads."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from flask import g
from werkzeug.datastructures import MultiDict

from fillbook.trace.book import glance, queries
from fillbook.trace.core import ids, limits, logger_formats, times, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.web import here, limit_form, wording
from fillbook.trace.web.languages import choice
from fillbook.trace.work.ask import Field, Item, Measure, When, Words, fields_of

FEW = 6  # so many choices are shown side by side, more in a list
US_UNITS = {
    "mass": "lb",
    "temperature": "f",
    "temperature_difference": "df",
    "pressure": "psi",
    "length": "in",
}
METRIC_UNITS = {
    "mass": "kg",
    "temperature": "c",
    "temperature_difference": "dc",
    "pressure": "kpa",
    "length": "mm",
}
FIRST_UNIT = {"share": "pct", "duration": "h"}
LEFT_OUT_UNITS = {"pa", "g"}  # nobody reads a gauge in pascals; grams only where the scale shows them
OPTION_WORDS = {
    "side": {"A": "A · isocyanate", "B": "B · polyol"},
    "units": {"us": "lb, psi, °F", "metric": "kg, kPa, °C"},
    "language": {"en": "English", "es": "Spanish"},
    "defect": {
        "setting": "setting: soft, slow, off-ratio",
        "contamination": "contamination: moisture, foreign matter, unset goo",
    },
}


@dataclass
class Input:
    """One field as a page draws it. ``value`` is what was typed, kept as it was; a list where several may be."""

    name: str
    caption: str
    hint: str
    widget: str
    value: Any = ""
    needed: bool = False
    options: list[tuple[str, str]] = field(default_factory=list)
    unit_options: list[tuple[str, str]] = field(default_factory=list)
    unit: str = ""
    offers: list[str] = field(default_factory=list)
    longest: int = 200
    error: str = ""
    groups: list[list[Input]] = field(default_factory=list)
    stored: tuple[str, ...] = ()  # the names under which an error may speak of it
    usual: Any = ""  # what stands in it before anybody typed
    # The options of a long list, by part of the job
    parts: list[tuple[str, list[tuple[str, str]]]] = field(default_factory=list)
    empty: str = ""  # what its being left empty means, beside its caption, where that is more than not known
    kinds: str = ""  # the kinds of labels that may be scanned into it
    starts: bool = False  # whether typing begins here, what stands before it being said already

    @property
    def id(self) -> str:
        return "f-" + re.sub(r"[^a-z0-9]+", "-", self.name.lower())

    @property
    def said(self) -> bool:
        """Whether somebody put something in that did not stand there before."""
        typed = bool(self.value) and self.value != self.usual
        return typed or any(part.said for group in self.groups for part in group)


def unit_order(dimension: str, us: bool) -> list[str]:
    """The units that may be chosen, the shop's own first."""
    own = (US_UNITS if us else METRIC_UNITS).get(dimension) or FIRST_UNIT.get(dimension)
    known = [u for u in units.DIMENSIONS[dimension].units if u == own or u not in LEFT_OUT_UNITS]
    return sorted(known, key=lambda unit: unit != own)


def shown(mark: Any, value: int) -> str:
    """A stored whole number as who reads it has it: measured in their units, a time by the shop's clock, else the number."""
    if isinstance(mark, Measure):
        return units.show(mark.dimension, value, unit_order(mark.dimension, here.say().us)[0])
    return here.say().time(value) if isinstance(mark, When) else str(value)


def draw(verb: str, one: Field, said: MultiDict, prefix: str = "") -> Input:
    """The input of field *one*, holding what was *said* for it before."""
    name = prefix + one.name
    made = Input(
        name,
        wording.caption(verb, one.name),
        one.words.rstrip("."),
        "text",
        said.get(name, ""),
        one.needed,
        stored=(one.name, *one.accepts),
    )
    if one.sub is not None:
        made.widget = "groups"
        made.groups = [
            [draw(verb, part, said, f"{name}-{n}-") for part in fields_of(one.sub)]
            for n in range(group_count(said, name))
        ]
    elif isinstance(one.mark, Measure):
        _measure(made, one, said, prefix)
    elif isinstance(one.mark, When):
        plain = not made.value or re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d", made.value)
        made.widget = "time" if plain else "text"
    elif isinstance(one.mark, Item):
        _item(made, one, said)
    elif one.choices:
        words = OPTION_WORDS.get(one.name, {})
        made.options = [(choice, words.get(choice, choice)) for choice in one.choices]
        made.widget = "pick" if len(one.choices) <= FEW else "list"
        if name not in said and isinstance(one.default, str):
            made.value = one.default
    elif one.kind is bool:
        made.widget, made.options = "pick", [("yes", "yes"), ("no", "no")]
        if name not in said and isinstance(one.default, bool):
            made.value = "yes" if one.default else "no"
    elif one.kind is int:
        made.widget = "number"
        if name not in said and isinstance(one.default, int):
            made.value = str(one.default)
        if one.many:
            made.hint += "; several with blanks between"
    elif one.many and one.kind is str:
        made.widget, made.value = "lines", "\n".join(said.getlist(name))
        made.hint += "; each on a line of its own"
    elif one.kind is dict:
        made.widget, made.hint = "lines", f"{made.hint}; one a line, such as net_kg = 950"
    elif isinstance(one.mark, Words):
        made.longest = one.mark.longest
        made.widget = "text" if one.mark.longest <= 200 else "lines"
        if one.mark.lines:
            made.widget = "file" if one.mark.blob else "upload"
        if name not in said and isinstance(one.default, str):
            made.value = one.default
    made.empty = wording.EMPTY.get(f"{verb}.{one.name}", made.empty)
    _offer(made, verb, one)
    if verb == "set limit" and one.name == "to" and g.get("shop"):
        chosen = limits.LIMITS.get(said.get(prefix + "limit", ""))
        measured = chosen is not None and chosen.dimension != limits.COUNT
        order = unit_order(chosen.dimension, here.say().us) if chosen and measured else []
        limit_form.measure(made, said.get(prefix + "limit", ""), said, order)
    made.usual = (
        made.value
        if name not in said
        else draw(verb, one, MultiDict(), prefix).value
        if one.sub is None
        else ""
    )
    if not _words(made.hint) - _words(made.caption):
        made.hint = ""  # it would only say the caption again
    return made


def _words(text: str) -> set[str]:
    return set(re.findall(r"[a-z]+", text.lower())) - {
        "the",
        "a",
        "an",
        "of",
        "it",
        "its",
        "in",
        "is",
        "to",
        "they",
        "are",
    }


def _measure(made: Input, one: Field, said: MultiDict, prefix: str) -> None:
    assert isinstance(one.mark, Measure)
    dimension = one.mark.dimension
    order = unit_order(dimension, here.say().us if g.get("shop") else True)
    made.widget = "measure"
    made.unit_options = [(unit, units.unit_words(dimension, unit)) for unit in order]
    asked = said.get(made.name + ".unit", "")
    if made.value and (typed := units.with_unit(dimension, made.value)):
        made.value, asked = typed
    if asked and asked not in order and asked in units.DIMENSIONS[dimension].units:
        made.unit_options.append((asked, units.unit_words(dimension, asked)))
    made.unit = asked if asked in dict(made.unit_options) else order[0]
    if not made.value:  # a program, or an address with something filled in, names the unit in the field
        for accepts in one.accepts:
            if said.get(prefix + accepts):
                made.value, made.unit = said[prefix + accepts], accepts.rsplit("_", 1)[1]
    if isinstance(one.default, int):
        made.hint += f". If left empty: {units.show(dimension, one.default, order[0])}"


def _item(made: Input, one: Field, said: MultiDict) -> None:
    assert isinstance(one.mark, Item)
    kinds = made.kinds = one.mark.kinds
    if one.many:
        made.widget = "scans"
        made.value = "\n".join(said.getlist(made.name))
        made.hint += "; one after the other, each on a line of its own"
        return
    if kinds in ("Z", "U", "P"):
        made.widget = "list" if kinds == "P" else "pick"
        rows = {"Z": queries.zones, "U": queries.lines, "P": queries.people}[kinds](here.book(), here.shop())
        made.options = [(row["item"], row.name) for row in rows]
        if not made.options or len(made.options) > FEW:
            made.widget = "list"
        if made.value:
            made.value = next(
                (
                    code
                    for code, name in made.options
                    if made.value.lower() in (code.lower(), ids.pretty(code).lower(), name.lower())
                ),
                made.value,
            )
            if made.value not in dict(made.options):  # a wrong one is shown as it was typed
                made.widget = "scan"
        elif len(made.options) == 1 and one.needed and made.name not in said:
            made.value = made.options[0][0]
        return
    made.widget = "scan"
    if one.mark.also:
        made.offers = [str(choice.in_words(word)) for word in one.mark.also]
        if made.value in one.mark.also:
            made.value = str(choice.in_words(made.value))
        made.hint += f" ({' or '.join(one.mark.also)})" if one.mark.also[0] not in made.hint else ""
    if made.value and ids.is_valid(made.value):
        made.value = ids.pretty(made.value)


def _offer(made: Input, verb: str, one: Field) -> None:
    """What was typed before is offered; where only known names fit, those are the list."""
    if not g.get("shop"):
        if one.name == "timezone":
            made.offers = [
                "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix", "America/Los_Angeles",
                "America/Toronto", "Europe/London", "Europe/Berlin", "Australia/Sydney",
            ]  # fmt: skip
        return
    if one.name == "system" and verb == "receive":
        names = [row.name for row in queries.systems(here.book(), here.shop())]
        if names and (not made.value or made.value in names):
            made.options = [(name, name) for name in names]
            made.widget = "pick" if len(names) <= FEW else "list"
            if len(names) == 1 and not made.value:
                made.value = names[0]
    elif one.name == "order" and verb == "take in":
        made.offers = [row.number for row in queries.orders(here.book(), here.shop())]
    elif one.name in ("supplier", "customer", "size"):
        made.offers = glance.said_before(here.book(), here.shop(), one.name)
    elif one.name == "suspect" or (one.name == "lot" and verb in ("hold", "lift")):
        made.offers = glance.said_before(here.book(), here.shop(), "lot")
    elif verb == "set limit" and one.name == "limit":
        limit_form.offer(made)


MOST_GROUPS = 200


def group_count(said: MultiDict, name: str) -> int:
    """How many rows a repeated group shows: those that were filled in, and three at the beginning."""
    numbers = [int(m[1]) for key in said if (m := re.match(re.escape(name) + r"-(\d{1,3})-", key))]
    rows = max(numbers, default=2) + 1
    return min(rows + (3 if said.get("more rows") else 0), MOST_GROUPS)


# -- and back ------------------------------------------------------------------------------------------------------------------
def fields_said(
    verb: str, all_fields: list[Field], said: MultiDict, files: Mapping[str, Any], prefix: str = ""
) -> dict[str, Any]:
    """What was posted, as the verb reads it; what was left empty is left out. Raises Nonsense for a file that is no text."""
    found: dict[str, Any] = {}
    for one in all_fields:
        found |= _said(verb, one, said, files, prefix)
    return found


def also_said(mark: Item) -> dict[str, str]:
    """The words that may stand for an ID, as this page's language has them -> as the verb takes them: *desconocido* is *unknown*."""
    return {str(choice.in_words(word)).casefold(): word for word in mark.also}


#: In Spanish a point between three digits marks thousands as often as decimals: 1.000 kg is a ton or a kilogram.
THOUSANDS_OR_DECIMALS = re.compile(r"[+-]?[1-9][0-9]{0,2}\.[0-9]{3}")


def check_points(all_fields: list[Field], fields: Mapping[str, Any], where: str = "") -> None:
    """Ask back where a weight among *fields* (as :func:`fields_said` gives them) may mean thousands or decimals to who reads Spanish.

    Raises Nonsense, naming the field.
    """
    if choice.language() != "es":
        return
    for one in all_fields:
        if one.sub is not None:
            for n, row in enumerate(fields.get(one.name) or []):
                check_points(fields_of(one.sub), row, f"{where}{one.name}[{n}].")
        elif isinstance(one.mark, Measure) and one.mark.dimension == "mass":
            for name in one.accepts:
                text = fields.get(name)
                if isinstance(text, str) and THOUSANDS_OR_DECIMALS.fullmatch(text.strip()):
                    raise Nonsense(
                        f'"{text}" may mean thousands or decimals: leave the point out, or write fewer or more decimals.',
                        field=where + name,
                    )


def _said(verb: str, one: Field, said: MultiDict, files: Mapping[str, Any], prefix: str) -> dict[str, Any]:
    name = prefix + one.name
    text = said.get(name, "").strip() if one.sub is None else ""
    if one.sub is not None:
        rows = []
        for n in range(group_count(said, name)):
            row: dict[str, Any] = {}
            for part in fields_of(one.sub):
                row |= _said(verb, part, said, files, f"{name}-{n}-")
            if row:
                rows.append(row)
        return {one.name: rows} if rows else {}
    if isinstance(one.mark, Measure):
        stem = one.name.removesuffix("_" + one.mark.canonical)
        if text:
            if typed := units.with_unit(one.mark.dimension, text):
                # The unit beside the number counts, not the one that stands chosen
                return {f"{stem}_{typed[1]}": typed[0]}
            known = units.DIMENSIONS[one.mark.dimension].units
            plain = one.mark.canonical if one.mark.canonical in known else next(iter(known))
            unit = said.get(name + ".unit") or plain
            return {f"{stem}_{unit}": text}
        return {accepts: said[prefix + accepts] for accepts in one.accepts if said.get(prefix + accepts)}
    if one.many and isinstance(one.mark, Item):
        parts = [part.strip() for line in said.getlist(name) for part in re.split(r"[\n,;]+", line)]
        return {one.name: [part for part in parts if part]} if any(parts) else {}
    if one.many and one.kind is str:
        lines = [line.strip() for text in said.getlist(name) for line in text.splitlines()]
        return {one.name: [line for line in lines if line]} if any(lines) else {}
    if one.many and one.kind is int:
        parts = re.split(r"[\s,;]+", text)
        return {one.name: [part for part in parts if part]} if text else {}
    if one.kind is dict:
        return {one.name: _pairs(text, one.name)} if text else {}
    if isinstance(one.mark, Words) and one.mark.lines:
        upload = files.get(name)
        if upload is not None and upload.filename:
            if not one.mark.blob:  # a picture or a PDF: the verb takes its bytes as base64
                return {one.name: base64.b64encode(upload.read()).decode()}
            text = logger_formats.text_of(upload.read())
        return {one.name: text} if text.strip() else {}
    if isinstance(one.mark, Item) and text.casefold() in (own := also_said(one.mark)):
        text = own[text.casefold()]
    # Of a text that holds a number with its unit, such as a limit's value
    unit = said.get(name + ".unit", "")
    if unit and not re.search(r"[^\W\d_]|[%°]", text):
        text = f"{text} {unit}" if text else ""
    return {one.name: text} if text else {}


def _pairs(text: str, name: str) -> dict[str, str]:
    found = {}
    for line in text.splitlines():
        left, equals, right = line.partition("=")
        if line.strip() and not (equals and left.strip()):
            raise Nonsense(
                f"{line.strip()!r} does not say which field changes: write it like net_kg = 950.", field=name
            )
        if equals:
            found[left.strip()] = right.strip()
    return found


# -- what stands in an event, as it is typed -----------------------------------------------------------------------------------
def as_typed(
    all_fields: list[Field], stored: Mapping[str, Any], timezone: str, prefix: str = ""
) -> MultiDict:
    """The stored *said* of an event as if it had just been typed into the form: with the numbers and units that were typed."""
    found: MultiDict = MultiDict()
    typed = stored.get("typed", {})
    for one in all_fields:
        if one.name in stored:
            _typed(found, one, stored[one.name], typed, prefix + one.name, "", timezone)
    return found


def _typed(
    found: MultiDict, one: Field, value: Any, typed: Mapping[str, str], name: str, spot: str, timezone: str
) -> None:
    if one.sub is not None:
        for n, row in enumerate(value):
            for part in fields_of(one.sub):
                if part.name in row:
                    inner = f"{spot}{one.name}[{n}]."
                    _typed(found, part, row[part.name], typed, f"{name}-{n}-{part.name}", inner, timezone)
    elif isinstance(one.mark, Measure):
        said_as = next((a for a in one.accepts if spot + a in typed), None)
        if said_as:
            found[name] = typed[spot + said_as].split()[0]
            found[name + ".unit"] = said_as.rsplit("_", 1)[1]
        else:
            # What stays as it is drawn is not sent again
            unit = unit_order(one.mark.dimension, here.say().us)[0]
            found[name], found[name + ".unit"] = units.show(one.mark.dimension, value, unit).split()[0], unit
    elif isinstance(one.mark, When):
        found[name] = times.local(value, timezone).strftime("%Y-%m-%dT%H:%M")
    elif isinstance(value, bool):
        found[name] = "yes" if value else "no"
    elif isinstance(value, list):
        if isinstance(one.mark, Item):
            found.setlist(name, [ids.pretty(v) if ids.is_valid(v) else str(v) for v in value])
        elif one.kind is str:
            found.setlist(name, value)
        else:
            found[name] = " ".join(str(v) for v in value)
    elif isinstance(one.mark, Item) and ids.is_valid(str(value)) and not set(one.mark.kinds) & set("ZUP"):
        found[name] = ids.pretty(value)
    else:
        found[name] = str(value)
