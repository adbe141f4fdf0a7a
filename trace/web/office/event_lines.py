"""What an event says, line by line, for who reads it: in their own units where a value is kept, as it was typed beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from fillbook.trace.core import ids, limits
from fillbook.trace.web import here, inputs, wording
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Field, Item, Measure, When, fields_of

UNSAID = ("typed", "typed_at")


class Line(NamedTuple):
    """One thing that was said: its caption, its value, and as it was *typed* where that reads otherwise."""

    caption: str
    value: str
    typed: str = ""


def lines(kind: str, body: Mapping[str, Any]) -> list[Line]:
    """The lines of what an event of *kind* with this *body* said; of a correction the fields it changed."""
    said = dict(body.get("said", {}))
    fields = said.pop("fields", None) if kind == "correct" else None
    typed = said.get("typed", {})
    asked = _asked(kind)
    found = [
        Line(wording.caption(kind, name), *_shown(asked.get(name), name, value, typed, kind))
        for name, value in said.items()
        if name not in UNSAID
    ]
    if kind == "set limit" and "value" in body:
        at = list(said).index("to")
        shown = limits.show(said["limit"], body["value"], here.say().us)
        found[at] = Line(found[at].caption, shown, said["to"] if said["to"] != shown else "")
    return found + (_changed(body["of"], fields, (body.get("body") or {}).get("said", {})) if fields else [])


def _changed(of: str, fields: Mapping[str, Any], now: Mapping[str, Any]) -> list[Line]:
    """The *fields* a correction of an event of kind *of* changed, with the values that stood after it (*now*)."""
    asked = _asked(of)
    typed = now.get("typed", {})
    found = []
    for said_as, text in fields.items():
        one = next((one for one in asked.values() if said_as in (one.name, *one.accepts)), None)
        name = one.name if one else said_as
        caption = wording.caption(of, name)
        if name in now:
            found.append(Line(caption, *_shown(one, name, now[name], typed, of)))
        else:
            found.append(Line(caption, "nothing any more" if text is None else str(text)))
    return found


def _asked(kind: str) -> dict[str, Field]:
    known = kind in registry.everything()
    return {one.name: one for one in fields_of(registry.find(kind).ask)} if known else {}


def _shown(one: Field | None, name: str, value: Any, typed: Mapping[str, str], kind: str) -> tuple[str, str]:
    mark = one.mark if one else None
    accepts = one.accepts if one else (name,)
    kept = next((typed[key] for key in (name, *accepts) if key in typed), "")
    if isinstance(value, list) and value and isinstance(value[0], dict):
        parts = {part.name: part for part in fields_of(one.sub)} if one and one.sub else {}
        rows = [
            ", ".join(
                _part(parts.get(key), key, part, kind) for key, part in row.items() if part not in (None, "")
            )
            for row in value
        ]
        return "; ".join(rows), ""
    if isinstance(value, list):
        return ", ".join(_plain(mark, part) for part in value), ""
    shown = _plain(mark, value)
    measured = isinstance(mark, Measure)
    return shown, kept if measured and kept and _bare(kept) != _bare(shown) else ""


def _part(one: Field | None, name: str, value: Any, kind: str) -> str:
    """One field of a row: an ID or a value speaks for itself, a yes or a number needs its name."""
    mark = one.mark if one else None
    shown = _plain(mark, value)
    if isinstance(mark, Measure | Item | When):
        return shown
    return f"{wording.caption(kind, name).lower()}: {shown}"


def _plain(mark: Any, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return inputs.shown(mark, value)
    text = str(value)
    if not ids.is_valid(text):
        return text
    return here.say().name(text) if ids.kind_of(text) in "ZUP" else ids.pretty(text)


def _bare(text: str) -> str:
    """A number with its unit, without what only decimals add: 150.0 kg and 150 kg say the same."""
    number, _, unit = text.partition(" ")
    return f"{number.replace(',', '.').rstrip('0').rstrip('.') if '.' in number or ',' in number else number} {unit}"
