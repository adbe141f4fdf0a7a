"""How what somebody said becomes values the book can use.

Each verb has one strict model. A form, a command's options, an action line and a request in JSON all go through :func:`read`,
so they take and refuse the same. Units stand in field names: a model's ``net_g`` is asked for as ``net_kg``, ``net_lb`` or
``net_g``; what was typed is kept beside the value.
"""

from __future__ import annotations

import math
import types
import typing
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from fillbook.trace.core import ids, reasons, times, units
from fillbook.trace.core.errors import Nonsense, WrongKind
from fillbook.trace.core.unseen import as_seen

LONGEST = 200
REPEATED = 80


class Ask(BaseModel):
    """What a verb is asked; nothing beyond its fields is taken."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


@dataclass(frozen=True)
class Measure:
    """A field with a unit: its dimension, the unit of the stored whole number, and the bounds beyond which it is absurd."""

    dimension: str
    canonical: str
    least: int | None = None
    most: int | None = None
    what: str = ""


@dataclass(frozen=True)
class Item:
    """A field that takes an ID, a label's address, or (lines, zones, people) a name; *kinds* are the letters that fit."""

    kinds: str
    also: tuple[str, ...] = ()  # words taken instead of an ID


@dataclass(frozen=True)
class When:
    """A field that takes a time."""


@dataclass(frozen=True)
class Words:
    """A field of free text, at most so many characters. What is not *kept* goes into a blob, its digest into the event. A *reason*
    has to say something."""

    longest: int = LONGEST
    kept: bool = True
    lines: bool = False
    blob: bool = True  # the text itself goes into the blob; else what the verb makes of it
    reason: bool = False


TON_30 = 30_000_000
Mass = Annotated[int, Measure("mass", "g", 1, TON_30, "more than nothing and at most 30 t")]
MassOrNone = Annotated[int, Measure("mass", "g", 0, TON_30, "at least 0 and at most 30 t")]
Temperature = Annotated[int, Measure("temperature", "mc", -60_000, 90_000, "between -60 and 90 °C")]
TemperatureDifference = Annotated[
    int, Measure("temperature_difference", "mk", 0, 20_000, "between 0 and 20 °C")
]
Pressure = Annotated[int, Measure("pressure", "pa", 0, 3_000_000, "between 0 and 3000 kPa (435 psi)")]
Share = Annotated[int, Measure("share", "e4", 0, 10_000, "between 0 and 100 %")]
Duration = Annotated[int, Measure("duration", "s", 0, 366 * 86400, "between 0 and a year")]
Moment = Annotated[int, When()]
Text = Annotated[str, Words()]
Note = Annotated[str, Words(1000)]
#: Why something is signed. What has happened is told in a Note: a record is never refused for its words.
Reason = Annotated[str, Words(1000, reason=True)]
File = Annotated[str, Words(20_000_000, kept=False, lines=True)]
Tote = Annotated[str, Item("L")]
Batch = Annotated[str, Item("G")]
Tire = Annotated[str, Item("F")]
Cup = Annotated[str, Item("C")]
Zone = Annotated[str, Item("Z")]
Line = Annotated[str, Item("U")]
Person = Annotated[str, Item("P")]


@dataclass
class Reading:
    """What is needed to read an ask: the shop's zone of time, and how a written name becomes a compact ID."""

    timezone: str
    item: Callable[[str, str, str], str]  # (text, kinds, field) -> compact ID
    typed: dict[str, str] = field(default_factory=dict)
    stored: bool = (
        False  # the fields come from a stored event: measures stand under their own names, as whole numbers
    )


@dataclass(frozen=True)
class Field:
    """One field of a verb as forms and commands see it."""

    name: str  # as stored: net_g
    accepts: tuple[str, ...]  # as said: net_kg, net_lb, net_g
    mark: Measure | Item | When | Words | None
    needed: bool
    words: str
    default: Any
    choices: tuple[str, ...]
    many: bool
    sub: type[Ask] | None
    kind: type


def _bare(annotation: Any) -> tuple[Any, list[Any], bool]:
    """The inner type, its marks, and whether it is a list: looks through Optional, list and Annotated."""
    many = False
    marks: list[Any] = []
    while True:
        origin = typing.get_origin(annotation)
        if origin is Annotated:
            annotation, *found = typing.get_args(annotation)
            marks += found
        elif origin in (typing.Union, types.UnionType):
            annotation = next(a for a in typing.get_args(annotation) if a is not type(None))
        elif origin is list:
            many, annotation = True, typing.get_args(annotation)[0]
        else:
            return annotation, marks, many


def fields_of(model: type[Ask]) -> list[Field]:
    """The fields of *model* in order."""
    found = []
    for name, info in model.model_fields.items():
        bare, marks, many = _bare(info.annotation)
        mark = next(
            (m for m in [*info.metadata, *marks] if isinstance(m, Measure | Item | When | Words)), None
        )
        accepts: tuple[str, ...] = (name,)
        if isinstance(mark, Measure):
            stem = name.removesuffix("_" + mark.canonical)
            known = units.DIMENSIONS[mark.dimension].units
            accepts = tuple(f"{stem}_{unit}" for unit in known)
        choices = tuple(typing.get_args(bare)) if typing.get_origin(bare) is Literal else ()
        sub = bare if isinstance(bare, type) and issubclass(bare, Ask) else None
        kind = dict if typing.get_origin(bare) is dict else bare if isinstance(bare, type) else str
        needed = info.is_required()
        default = None if needed else info.get_default(call_default_factory=True)
        found.append(
            Field(name, accepts, mark, needed, info.description or "", default, choices, many, sub, kind)
        )
    return found


def clean(text: str, field: str, longest: int = LONGEST) -> str:
    """*text* in composed form, without characters that nobody sees and blanks at its ends.

    Raises Nonsense for control characters and over-long text.
    """
    text = unicodedata.normalize("NFC", as_seen(text)).strip()
    bad = next(
        (c for c in text if unicodedata.category(c) in ("Cc", "Cs", "Co") or c in "\u2028\u2029\u202e\u202d"),
        None,
    )
    if bad is not None:
        raise Nonsense(
            f"{field} holds the control character U+{ord(bad):04X}, which no label can show. Type it again without.",
            field=field,
        )
    if len(text) > longest:
        raise Nonsense(f"{field} is {len(text)} characters long; at most {longest} are kept.", field=field)
    return text


def read(model: type[Ask], said: Mapping[str, Any], how: Reading, where: str = "") -> Ask:
    """*said* as a checked *model*; ``how.typed`` gathers what was typed for each measure.

    Raises Nonsense, WrongKind or UnknownItem naming the field, what was said and what would have been taken.
    """
    values: dict[str, Any] = {}
    left = {k: v for k, v in said.items() if v is not None and v != ""}
    for one in fields_of(model):
        given = [name for name in one.accepts if name in left]
        if how.stored and one.name in left:
            if not given or given == [one.name]:
                values[one.name] = _stored(one, left.pop(one.name), how, where + one.name)
                continue
            del left[one.name]  # said anew in another unit
            given = [name for name in given if name != one.name]
        if len(given) > 1:
            raise Nonsense(
                f"{' and '.join(where + g for g in given)} say the same thing twice; keep one.",
                field=where + given[1],
            )
        if not given:
            if one.needed:
                names = " or ".join(one.accepts)
                raise Nonsense(
                    f"{where}{names} is missing{': ' + one.words[0].lower() + one.words[1:] if one.words else ''}.".replace(
                        "..", "."
                    ),
                    field=where + one.accepts[0],
                    expected=names,
                )
            continue
        raw = left.pop(given[0])
        spot = where + given[0]
        if one.many:
            if not isinstance(raw, list | tuple):
                raw = [raw]
            values[one.name] = [
                _value(one, given[0], part, how, f"{spot}[{n}]") for n, part in enumerate(raw)
            ]
        else:
            values[one.name] = _value(one, given[0], raw, how, spot)
    if left:
        name = next(iter(left))
        takes = ", ".join(a for f in fields_of(model) for a in f.accepts[:1])
        raise Nonsense(
            f"{where}{name[:REPEATED]} is not a field here. It takes: {takes or 'nothing'}.",
            field=where + name,
            expected=takes,
        )
    try:
        return model.model_validate(values)
    except ValidationError as trouble:
        first = trouble.errors()[0]
        spot = where + ".".join(str(part) for part in first["loc"])
        raise Nonsense(
            f"{spot or 'This'}: {_in_words(first)}.".replace("..", "."), field=spot or None
        ) from None


def _in_words(trouble: Any) -> str:
    """What a model found wrong, in the shop's words."""
    bounds = trouble.get("ctx", {})
    match trouble["type"]:
        case "greater_than_equal":
            return f"{trouble['input']} is too few, it is at least {bounds['ge']}"
        case "less_than_equal":
            return f"{trouble['input']} is too many, it is at most {bounds['le']}"
        case "too_short":
            return f"nothing is named, give at least {bounds['min_length']}"
        case "too_long":
            return f"{bounds['actual_length']} are too many at once, give at most {bounds['max_length']}"
    words = trouble["msg"].removeprefix("Value error, ")
    return words[0].lower() + words[1:]


def plain(value: Any) -> Any:
    """*value* as the journal can hold it: decimals as they were written, text composed, a whole file as its digest."""
    if isinstance(value, Decimal | float):
        return str(value)
    if isinstance(value, Mapping):
        return {str(name): plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    return value if not isinstance(value, str) else unicodedata.normalize("NFC", value)


def _stored(one: Field, raw: Any, how: Reading, spot: str) -> Any:
    if isinstance(one.mark, Measure) and not one.many and isinstance(raw, int):
        return raw
    if one.many and isinstance(raw, list):
        return [_value(one, one.name, part, how, f"{spot}[{n}]") for n, part in enumerate(raw)]
    return _value(one, one.accepts[0] if not isinstance(one.mark, Measure) else one.name, raw, how, spot)


class _Number(str):
    """A number that fits no field, as it was written: an answer repeats it so."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


def _as_written(raw: Any) -> Any:
    return _Number(raw) if isinstance(raw, Decimal) else raw


def _repeated(raw: Any) -> str:
    """What was said, as an answer repeats it: not more of it than shows what is meant."""
    whole = repr(raw)
    return whole if len(whole) <= REPEATED else f"{whole[:REPEATED]}…"


def _value(one: Field, said_as: str, raw: Any, how: Reading, spot: str) -> Any:
    if one.sub is not None:
        if isinstance(raw, str):
            raw = short_form(raw, spot)
        if not isinstance(raw, Mapping):
            raw = _as_written(raw)
            raise Nonsense(f"{spot} is a group of fields, such as {{…}}, not {_repeated(raw)}.", field=spot)
        return read(one.sub, raw, how, spot + ".")
    if isinstance(one.mark, Measure):
        return _measure(one.mark, one.name, said_as, raw, how, spot)
    raw = _as_written(raw)
    if isinstance(one.mark, When):
        if how.stored and type(raw) is int:
            return raw
        if not isinstance(raw, str):
            raise Nonsense(f"{spot} is a time such as 2026-10-03 08:00, not {_repeated(raw)}.", field=spot)
        typed = times.parse(raw, how.timezone, field=spot)
        how.typed[spot] = f"{typed.typed} {typed.zone}"
        return typed.at
    if isinstance(one.mark, Item):
        if not isinstance(raw, str):
            raise Nonsense(f"{spot} is an ID or a label's address, not {_repeated(raw)}.", field=spot)
        if raw.strip().lower() in one.mark.also:
            return raw.strip().lower()
        return how.item(clean(raw, spot), one.mark.kinds, spot)
    if one.choices:
        text = clean(str(raw), spot)
        match = next((c for c in one.choices if c.lower() == text.lower()), None)
        if match is None:
            raise Nonsense(
                f"{spot} is one of {', '.join(one.choices)}, not {text!r}.",
                field=spot,
                expected=" | ".join(one.choices),
            )
        return match
    if one.kind is dict:
        if not isinstance(raw, Mapping):
            raise Nonsense(
                f'{spot} is a group of fields, such as {{"net_kg": 950}}, not {_repeated(raw)}.', field=spot
            )
        return {str(name): plain(part) for name, part in raw.items()}
    if one.kind is str:
        if isinstance(raw, bool) or not isinstance(raw, str | int | Decimal):
            raise Nonsense(f"{spot} is a text, not {_repeated(raw)}.", field=spot)
        if isinstance(one.mark, Words) and one.mark.lines:
            if any("\ud800" <= c <= "\udfff" for c in str(raw)):
                raise Nonsense(
                    f"{spot} holds half a character (a lone surrogate); send the file as it was written.",
                    field=spot,
                )
            return str(raw)
        text = clean(str(raw), spot, one.mark.longest if isinstance(one.mark, Words) else LONGEST)
        if isinstance(one.mark, Words) and one.mark.reason and text and not how.stored:
            reasons.check(text, spot)
        return text
    if one.kind is bool:
        if isinstance(raw, bool):
            return raw
        if isinstance(raw, str) and raw.strip().lower() in (
            "yes",
            "true",
            "on",
            "1",
            "no",
            "false",
            "off",
            "0",
        ):
            return raw.strip().lower() in ("yes", "true", "on", "1")
        raise Nonsense(f"{spot} is yes or no, not {_repeated(raw)}.", field=spot, expected="yes or no")
    if one.kind is int:
        if isinstance(raw, str) and raw.strip().isdecimal() and len(raw) < 12:
            return int(raw)
        if isinstance(raw, int) and not isinstance(raw, bool) and abs(raw) < 10**12:
            return raw
        raise Nonsense(
            f"{spot} is a whole number, not {_repeated(raw)}.", field=spot, expected="a whole number"
        )
    return raw


def _measure(mark: Measure, name: str, said_as: str, raw: Any, how: Reading, spot: str) -> int:
    stem = name.removesuffix("_" + mark.canonical)
    unit = said_as.removeprefix(stem + "_")
    found = units.parse(mark.dimension, unit, raw, field=spot)
    if (mark.least is not None and found.value < mark.least) or (
        mark.most is not None and found.value > mark.most
    ):
        called, bounds = units.called(stem, unit), _bounds(mark, unit)
        raise Nonsense(f"{called} of {found.typed} can't be: give {bounds}.", field=spot, expected=bounds)
    how.typed[spot] = found.typed
    return found.value


def _bounds(mark: Measure, unit: str) -> str:
    """What a measure takes, in the unit it was typed in: whoever works in pounds is not told tonnes.

    Rounded inwards, so that the bound as it is said is taken, too.
    """
    if mark.least is None or mark.most is None or mark.dimension in ("share", "duration"):
        return mark.what
    most = (
        f"{_whole(units.in_unit(mark.dimension, mark.most, unit))} {units.unit_words(mark.dimension, unit)}"
    )
    if mark.least == 1:
        return f"more than nothing and at most {most}"
    return f"between {-_whole(-units.in_unit(mark.dimension, mark.least, unit))} and {most}"


def _whole(value: Fraction) -> int | float:
    """*value* rounded down, with one decimal where a whole number would say too little."""
    return (
        math.floor(value)
        if abs(value) >= 100 or value.denominator == 1
        else float(math.floor(value * 10)) / 10
    )


def short_form(text: str, spot: str) -> dict[str, str]:
    """``ID,weight_kg=12`` as fields: the first part without a name is the source. For commands, where JSON is a burden."""
    found: dict[str, str] = {}
    for part in text.split(","):
        name, equals, value = part.partition("=")
        if equals:
            found[name.strip()] = value.strip()
        elif "source" not in found:
            found["source"] = part.strip()
        else:
            raise Nonsense(
                f"{spot} has a part {part!r} without a name; write it like SOURCE,weight_kg=12.", field=spot
            )
    return found


def wrong_kind(compact: str, kinds: str, field: str) -> WrongKind:
    wanted = " or ".join(ids.KINDS[k] for k in kinds)
    return WrongKind(
        f"{ids.pretty(compact)} is a {ids.KINDS[ids.kind_of(compact)]}; here belongs a {wanted}. Scan the right label.",
        field=field,
        expected=wanted,
    )


#: What is taken in another JSON type, too: a lot of digits only, a number or a yes in quotation marks.
SAID_ALSO_AS = {str: "number", int: "string", bool: "string"}


def schema(model: type[Ask]) -> dict[str, Any]:
    """The JSON Schema of what :func:`read` takes for *model*."""
    properties: dict[str, Any] = {}
    needed: list[str] = []
    either: list[dict[str, Any]] = []
    for one in fields_of(model):
        if one.sub is not None:
            shape: dict[str, Any] = schema(one.sub)
        elif isinstance(one.mark, Measure):
            shape = {"type": ["number", "string"]}
        elif isinstance(one.mark, When):
            shape = {
                "type": "string",
                "description": "a time: ISO 8601 with offset, or YYYY-MM-DD HH:MM in the shop's zone",
            }
        elif isinstance(one.mark, Item):
            kinds = " or ".join(ids.KINDS[k] for k in one.mark.kinds)
            shape = {"type": "string", "description": f"ID, label address or @name of a {kinds}"}
            if one.mark.also:
                shape["description"] += ", or " + ", ".join(one.mark.also)
        elif one.choices:
            shape = {"enum": list(one.choices)}
        else:
            shape = dict(TypeAdapter(one.kind).json_schema())
            if one.kind in SAID_ALSO_AS:
                shape["type"] = [shape["type"], SAID_ALSO_AS[one.kind]]
            if one.kind is str:
                shape["maxLength"] = one.mark.longest if isinstance(one.mark, Words) else LONGEST
        if one.sub is not None:
            shape = {"anyOf": [shape, {"type": "string", "description": "SOURCE,weight_kg=12"}]}
        if one.many:
            shape = {"anyOf": [{"type": "array", "items": shape}, shape]}
        if one.words:
            shape = {
                **shape,
                "description": "; ".join(filter(None, [one.words.rstrip("."), shape.get("description")])),
            }
        if not one.needed and one.default not in (None, [], {}, ""):
            shape["default"] = one.default
        for name in one.accepts:
            properties[name] = dict(shape)
            if name != one.name:  # the default is in the unit it is kept in
                properties[name].pop("default", None)
            if isinstance(one.mark, Measure) and one.mark.what:
                properties[name]["description"] = f"{one.words.rstrip('.') or one.name}; {one.mark.what}"
        if one.needed and len(one.accepts) == 1:
            needed.append(one.accepts[0])
        elif len(one.accepts) > 1:
            either.append({("oneOf" if one.needed else "maxOne"): list(one.accepts)})
    found: dict[str, Any] = {
        "type": "object",
        "properties": properties,
        "required": needed,
        "additionalProperties": False,
    }
    rules: list[dict[str, Any]] = []
    for group in either:
        if "oneOf" in group:
            rules.append({"oneOf": [{"required": [name]} for name in group["oneOf"]]})
        else:
            pairs = [
                {"required": [a, b]} for n, a in enumerate(group["maxOne"]) for b in group["maxOne"][n + 1 :]
            ]
            rules.append({"not": {"anyOf": pairs}})
    if rules:
        found["allOf"] = rules
    return found
