"""Setting a limit: each with its reason, its unit, and the value in force beside its name, by part of the job."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from flask import g, request
from werkzeug.datastructures import MultiDict

from fillbook.trace.book import queries
from fillbook.trace.core import limits, units
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web import here

if TYPE_CHECKING:
    from fillbook.trace.web.forms import Form
    from fillbook.trace.web.inputs import Input


def by_part() -> list[tuple[str, list[dict[str, Any]]]]:
    """Every limit as a page lists it, by part of the job: its name, what it is for, the value in force, since when, where from."""
    rows: dict[str, list[dict[str, Any]]] = {}
    for row in queries.limits_now(here.book(), here.shop(), here.now()):
        line = here.say().name(row.scope) if row.scope else ""
        value = limits.show(row.name, row.value, here.say().us)
        rows.setdefault(row.name, []).append(
            {"name": row.name, "why": row.why, "line": line, "value": value, "since": row.from_at if row.set else None, "source": row.source}
        )  # fmt: skip
    return [(part, [one for name in names for one in rows[name]]) for part, names in limits.PARTS.items()]


def offer(made: Input) -> None:
    """The names to choose from, each with its value in force; and what the chosen one is for."""
    made.widget = "list"
    made.parts = [
        (part, [(one["name"], f"{one['name'].replace('_', ' ')} · {one['value']}") for one in rows if not one["line"]])
        for part, rows in by_part()
    ]  # fmt: skip
    made.options = [one for _, some in made.parts for one in some]
    made.value = str(made.value).strip().lower().replace(" ", "_")
    if made.value in limits.LIMITS:
        made.hint = limits.why(made.value).rstrip(".")
    else:
        made.value, made.hint = "", "Choose one, or press Set beside it in the list below"


def measure(made: Input, name: str, said: MultiDict, order: list[str]) -> None:
    """The value of limit *name*: what is in force, and its unit, so that only a number is typed. *order*: units, the reader's first."""
    name = name.strip().lower().replace(" ", "_")
    if name not in limits.LIMITS:
        return
    one = limits.LIMITS[name]
    made.hint = "; ".join(_in_force(row) for _, rows in by_part() for row in rows if row["name"] == name)
    made.starts = not made.value
    if one.dimension == limits.COUNT:
        made.widget = "number"
        lowest, highest = limits.ends(name)
        made.hint = ". ".join([made.hint, f"A whole number from {lowest} to {highest}"])
        return
    made.widget = "measure"
    made.unit_options = [(unit, units.unit_words(one.dimension, unit)) for unit in order]
    typed = limits.number_and_unit(made.value)
    if len(typed) == 2 and typed[1].lower() in order:  # as it stands in an event, or as it was typed out
        made.value, made.unit = typed[0], typed[1].lower()
    else:
        asked = said.get(made.name + ".unit", "")
        made.unit = asked if asked in order else order[0]


def _in_force(row: dict[str, Any]) -> str:
    value, why = row["value"], row["source"]
    if row["since"] is None:
        return f"Now {value}, the default"
    since = here.say().time(row["since"])
    line = row["line"]
    if line:
        return f"on {line} now {value} since {since}, from: {why}"
    return f"Now {value} since {since}, from: {why}"


def asks_back(form: Form) -> bool:
    """Whether the posted limit is to be asked once, before it is written: a value beyond common practice. Sent once more as it is, it is
    meant."""
    if g.get("too_old"):
        return False
    form.take(request.form)
    try:
        fields = form.read().fields
        name = str(fields["limit"])
        value = limits.read(name, str(fields["to"])).value
    except ShopError:  # the verb says so itself
        return False
    words, mark = limits.beyond_practice(name, value), f"{name}:{value}"
    answered = request.form.get("asked", "").split()
    if not words or mark in answered:
        return False
    form.refuse(
        Nonsense(
            f"{words} If the data sheet says so, name it as the source and press the button again.",
            field="to",
        )
    )
    form.asked = " ".join([*answered, mark])
    return True
