"""Before GO: what would stop this fill; and after a conflict: what happened while the page was open, beside what was typed."""

from __future__ import annotations

import contextlib
import json
from dataclasses import dataclass
from typing import Any

from flask import g, request

from fillbook.trace.book import glance, queries, usual
from fillbook.trace.core import ids, units
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web import here, inputs
from fillbook.trace.web.forms import Form
from fillbook.trace.work.filling import StartFill, start_fill
from fillbook.trace.work.floor import Finding, Floor


class _Looking(Floor):
    """A floor on which every breach is noted and none stops."""

    def stop(self, code: str, words: str, item: str = "", *, field: str | None = None) -> None:
        self.findings.append(Finding("stop", words, item))


def before_go(tire: str, line: str) -> tuple[list[str], list[str]]:
    """What would stop the fill of *tire* on *line* now, and what would only be noted; nothing is written."""
    person = here.who()
    now = here.now()
    floor = _Looking(
        here.book(),
        here.shop(),
        now,
        now,
        person["item"] if person else "",
        person.role if person else "hand",
    )
    with contextlib.suppress(
        ShopError
    ):  # nonsense, such as a tire that was filled long ago: the form says so itself
        start_fill(
            StartFill.model_construct(tire=tire, line=line, bay_mc=None, casing_mc=None, mix_mc=None), floor
        )
    stops = [one.words for one in floor.findings if one.code == "stop"]
    notes = [one.words for one in floor.findings if one.code != "stop"]
    return list(dict.fromkeys(stops)), list(dict.fromkeys(notes))


NO_PRESSURE = "no-pressure"


def asks_back(form: Form, tire: str) -> bool:
    """Whether the posted fill of *tire* says something to be asked once, before it is written: a weight far from what such tires
    took, or no pressure. Sent once more as it is, it is meant."""
    grams, unit = _grams_posted(form)
    if not grams or g.get("too_old") or queries.fill(here.book(), tire):
        return False
    answered = request.form.get("asked", "").split()
    questions = []  # what it asks, the field, the mark of its answer
    before = usual.of_tire(here.book(), here.shop(), tire, here.now())
    off = before is not None and (before.times(grams) or before.somewhat_off(grams))
    if before and off and str(grams) not in answered:
        questions.append((_unusual(before, grams, unit), "weight_kg", str(grams)))
    if not _pressure_posted(form) and NO_PRESSURE not in answered:
        words = "No final pressure is typed: the tire then goes on hold until a second person has looked."
        questions.append((words, "pressure_kpa", NO_PRESSURE))
    if not questions:
        return False
    form.take(request.form)
    words = " ".join(question for question, _, _ in questions)
    form.refuse(Nonsense(f"{words} Press DONE again if it is so.", field=questions[0][1]))
    form.asked = " ".join(dict.fromkeys([*answered, *(mark for _, _, mark in questions)]))
    return True


def _pressure_posted(form: Form) -> bool:
    one = next(one for one in form.all_fields if one.name == "pressure_pa")
    return any(request.form.get(name, "").strip() for name in (one.name, *one.accepts))


def _unusual(before: usual.Usual, grams: int, unit: str) -> str:
    """What is asked of an unusual weight; with the other unit, where it is off by as much as the two are apart."""
    was = here.say().mass(before.grams)
    if meant := before.meant_unit(grams, unit):
        words = before.compared(units.show("mass", grams, unit), was, grams)
        return f"{words} Did the scale show {units.unit_words('mass', meant)}?"
    return before.compared(here.say().mass(grams), was, grams)


def _grams_posted(form: Form) -> tuple[int, str]:
    """Main mix and top-up as they were posted, and the unit of the main mix; 0 where they can't be read, which the verb says itself."""
    wanted = [one for one in form.all_fields if one.name in ("weight_g", "topup_g")]
    try:
        fields = inputs.fields_said(form.verb.name, wanted, request.form, {})
        inputs.check_points(wanted, fields)
        grams = sum(units.parse("mass", name.rpartition("_")[2], text).value for name, text in fields.items())
    except ShopError:
        return 0, ""
    return grams, next((name.rpartition("_")[2] for name in fields if name.startswith("weight_")), "")


@dataclass(frozen=True)
class Difference:
    """What somebody else wrote about a tire while this page was open, and what was typed here and not taken."""

    since: list[dict[str, Any]]  # at, who, words, seq
    rows: list[tuple[str, str, str]]  # what it is, in the book, as typed
    fill_seq: int | None


def difference(tire: str, saw: int, form: Form) -> Difference:
    """What happened to *tire* after the shop's event *saw*, and what *form* would have written."""
    book, shop = here.book(), here.shop()
    rows = book.rows(
        "SELECT t.at, t.words, t.seq, e.text FROM touch t JOIN event e ON e.shop = t.shop AND e.seq = t.seq "
        "WHERE t.shop = ? AND t.item = ? AND t.seq > ? ORDER BY t.seq",
        shop, tire, saw,
    )  # fmt: skip
    since = [{"at": row.at, "words": row.words, "seq": row.seq, "who": _who(row.text)} for row in rows]
    fill = queries.fill(book, tire)
    say = here.say()
    there = {"weight_g": say.mass(fill.grams), "pressure_pa": say.pressure(fill.pressure_pa)} if fill else {}
    compared = []
    for one in form.inputs():
        if one.widget in ("measure", "text", "number", "lines") and (one.said or there.get(one.name)):
            typed = f"{one.value} {dict(one.unit_options).get(one.unit, '')}".strip() if one.said else ""
            compared.append((one.caption, there.get(one.name, ""), typed))
    return Difference(since, compared, fill.seq if fill else None)


def _who(text: str) -> str:
    return queries.name_of(here.book(), json.loads(text)["who"])


def totes_for(line: str, sides: dict[str, Any]) -> list[dict[str, Any]]:
    """The totes in store that can follow those hooked up to *line*: of the same system, oldest first."""
    systems = {
        row.system.lower() for source in sides.values() if (row := queries.tote(here.book(), source.item))
    }
    found = [
        {
            "item": row["item"],
            "side": row.side,
            "words": f"{row.system}, lot {row.lot}",
            "net": row.net_g,
            "use_by": row.use_by,
        }
        for row in glance.totes_in_store(here.book(), here.shop())
        if not systems or row.system.lower() in systems
    ]
    there = {ids.pretty(source.item) for source in sides.values()}
    return [one for one in found if ids.pretty(one["item"]) not in there]
