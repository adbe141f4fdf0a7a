"""Action lines: many actions from one file, the whole file or nothing."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.work import acting

KEYS = ("verb", "at", "who", "name", "fields", "signed_by", "override", "request", "station", "shop")


class LineError(ShopError):
    """What is wrong with a line of the file; nothing of the file was done."""

    def __init__(self, line: int, trouble: ShopError) -> None:
        spot = f"line {line}" + (f", {trouble.field}" if trouble.field else "")
        super().__init__(
            f"{spot}: {trouble} Nothing of the file was entered.",
            field=trouble.field,
            expected=trouble.expected,
        )
        self.line, self.why = line, str(trouble)

    def plain(self) -> dict[str, Any]:
        return {"error": self.why, "line": self.line, "field": self.field, "expected": self.expected}


@dataclass(frozen=True)
class LineAnswer:
    """What one line of the file gave."""

    line: int
    seq: int
    ids: tuple[str, ...]
    findings: tuple[dict[str, Any], ...]

    def plain(self) -> dict[str, Any]:
        return {"line": self.line, "seq": self.seq, "ids": list(self.ids), "findings": list(self.findings)}


def enter(
    book: Book, text: str, *, now: int, dry_run: bool = False, shop: str | None = None
) -> list[LineAnswer]:
    """Do every line of *text* in order. Raises LineError for the first that can't be; then nothing was done."""
    answers: list[LineAnswer] = []
    names: dict[str, list[str]] = {}

    def all_lines() -> None:
        for number, line in enumerate(text.split("\n"), 1):
            if not line.strip():
                continue
            try:
                action, name = _action(line, names, shop)
                done = acting.act(book, action, now=now)
                if name:
                    if name in names:
                        raise Nonsense(f"The name @{name} is used twice in this file.", field="name")
                    names[name] = list(done.ids)
            except ShopError as trouble:
                raise LineError(number, trouble) from None
            answers.append(
                LineAnswer(number, done.seq, tuple(ids.pretty(i) for i in done.ids), done.findings)
            )

    if dry_run:
        with acting.dry_run(book):
            all_lines()
    else:
        with book.transaction():
            all_lines()
    if not answers:
        raise LineError(1, Nonsense("the file holds no action.", expected="one JSON object per line"))
    return answers


def _action(line: str, names: dict[str, list[str]], shop: str | None) -> tuple[acting.Action, str | None]:
    try:
        said = json.loads(line, parse_float=Decimal, object_pairs_hook=_once)
    except json.JSONDecodeError as trouble:
        raise Nonsense(
            f"this is no JSON ({trouble.msg} at character {trouble.pos + 1}).",
            expected="one JSON object per line",
        ) from None
    except ValueError:  # a whole number of thousands of digits
        raise Nonsense("this holds a number that is too long.", expected="one JSON object per line") from None
    except RecursionError:
        raise Nonsense("this is nested too deep.", expected="one JSON object per line") from None
    if not isinstance(said, dict):
        raise Nonsense("this is no JSON object.", expected='{"verb": …, "fields": {…}}')
    for key in said:
        if key not in KEYS:
            raise Nonsense(f"{key!r} is not part of an action line.", field=key, expected=", ".join(KEYS))
    if not isinstance(said.get("verb"), str):
        raise Nonsense("the verb is missing.", field="verb", expected="a verb; fillbook verbs lists them")
    for key in ("at", "who", "name", "signed_by", "override", "request", "station", "shop"):
        if said.get(key) is not None and not isinstance(said[key], str):
            raise Nonsense(f"{key} is a text, not {said[key]!r}.", field=key, expected="a text")
    fields = said.get("fields", {})
    if not isinstance(fields, dict):
        raise Nonsense("fields is a JSON object.", field="fields", expected="{…}")
    name = said.get("name")
    if name is not None and not re.fullmatch(r"@[A-Za-z][A-Za-z0-9_-]*", name):
        raise Nonsense(
            f"{name!r} is no name; write it like @tote7.", field="name", expected="@ and letters or digits"
        )
    resolved = _resolve(fields, names, "")
    who, signed = (_resolve(said.get(key), names, key) for key in ("who", "signed_by"))
    action = acting.Action(
        said["verb"], resolved, at=said.get("at"), who=who, signed_by=signed, override=said.get("override"),
        request=said.get("request"), station=said.get("station"), shop=said.get("shop") or shop,
    )  # fmt: skip
    return action, name[1:] if name else None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise Nonsense(f"{key} is said twice.", field=key)
        found[key] = value
    return found


def _resolve(value: Any, names: dict[str, list[str]], spot: str) -> Any:
    """*value* with every ``@name`` and ``@name.2`` put in place."""
    if isinstance(value, str) and re.fullmatch(r"@[A-Za-z][A-Za-z0-9_-]*(\.\d{1,4})?", value):
        name, _, which = value[1:].partition(".")
        given = names.get(name)
        if given is None:
            raise UnknownItem(
                f"No earlier line is named @{name}.",
                field=spot or None,
                expected="a name given by an earlier line",
            )
        number = int(which or 1)
        if not 1 <= number <= len(given):
            raise UnknownItem(
                f"@{name} gave {len(given)} IDs; there is no @{name}.{number}.", field=spot or None
            )
        return ids.pretty(given[number - 1])
    if isinstance(value, dict):
        return {key: _resolve(part, names, f"{spot}.{key}" if spot else key) for key, part in value.items()}
    if isinstance(value, list):
        return [_resolve(part, names, f"{spot}[{n}]") for n, part in enumerate(value)]
    return value
