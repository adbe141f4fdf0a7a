"""What was typed at a tire and not sent, kept for other devices: each page of the tire says whose it is; nothing is filled in unseen."""

from __future__ import annotations

import hashlib
import json
import secrets
from dataclasses import dataclass

from flask import Blueprint, render_template, request, session
from flask.typing import ResponseReturnValue

from fillbook.trace.book import drafts, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, UnknownItem, WrongKind
from fillbook.trace.web import here
from fillbook.trace.web.item.views import the_item
from fillbook.trace.work.ask import fields_of
from fillbook.trace.work.filling import FinishFill

bp = Blueprint("drafts", __name__)
#: The fields that are said of a draft: the name, and what stands after its value beside a unit.
TOLD = (("weight_g", ""), ("topup_g", "top-up"), ("pressure_pa", ""), ("mix_e4", "regrind"))
# Of the form, beside the verb's fields; who signs is said anew on each device; took: `mark_of` what was taken over
BESIDE = ("at", "override", "took")
LONGEST_VALUE = 500
LONGEST_SENT = 2 * drafts.LONGEST  # with the fields that are not kept, and signs written out


@dataclass(frozen=True)
class Draft:
    """One other device's draft as a page says it."""

    name: str
    station: str
    words: str
    said: str  # JSON, for the script that takes it over
    at: int
    mark: str


def tablet() -> str:
    """What this device is told apart by: in its signed cookie from the moment it opens a tire, before two requests go out at once."""
    if "tablet" not in session:
        session["tablet"] = secrets.token_hex(8)
    return str(session["tablet"])


def others(tire: str) -> list[Draft]:
    """What was typed at *tire* on other devices and not sent: the newest first, equal ones once, none that somebody took over as it is."""
    mine = tablet()
    everything = drafts.of_others(here.book(), here.shop(), tire, "", here.now())
    taken = {mark for one in everything for mark in json.loads(one.said).get("took", [])}
    found: dict[str, Draft] = {}
    for one in everything:
        said, mark = json.loads(one.said), mark_of(one.tablet, one.said)
        if one.tablet == mine or mark in taken:
            continue
        typed = json.dumps({name: values for name, values in said.items() if name != "took"}, sort_keys=True)
        name = queries.name_of(here.book(), one.who)
        found.setdefault(typed, Draft(name, one.station, told(said), one.said, one.at, mark))
    return list(found.values())


def mark_of(device: str, said: str) -> str:
    """What a draft is known by as long as nothing more is typed into it, without telling the *device*."""
    return hashlib.sha256(f"{device} {said}".encode()).hexdigest()[:16]


def told(said: dict[str, list[str]]) -> str:
    """The values of a draft in a few words: *148 kg, 35 psi*."""
    words = []
    for name, after in TOLD:
        value = (said.get(name) or [""])[0].strip()
        unit = (said.get(name + ".unit") or [""])[0]
        if value:
            words.append(" ".join(part for part in (value, "%" if unit == "pct" else unit, after) if part))
    return ", ".join(words) or "something else"


@bp.post("/cage/<code>/draft/<tire>")
def draft(code: str, tire: str) -> ResponseReturnValue:
    """Keep, or with nothing typed erase, this device's draft; answers with what others typed. Without *said* it only looks."""
    line, item = the_item(code), the_item(tire)
    if ids.kind_of(line) != "U" or ids.kind_of(item) != "F":
        raise WrongKind("A draft is kept of a tire's fill on a line. Open the tire in the cage.")
    book, shop, person = here.book(), here.shop(), here.who()
    for one in (line, item):
        if queries.shop_of(book, one) != shop:
            raise UnknownItem(f"{ids.pretty(one)} is another shop's. Open the tire in this shop's cage.")
    said = request.form.get("said")
    filled = queries.fill(book, item)
    if said is not None and filled is None and person is not None:
        if typed := _read(said):
            drafts.keep(
                book, shop, item, tablet=tablet(), who=person["item"], station=session.get("station", ""),
                said=typed, now=here.now(),
            )  # fmt: skip
        else:
            drafts.erase(book, shop, item, tablet())
    by = queries.name_of(book, queries.event_words(book, shop, filled.seq)["who"]) if filled else ""
    return render_template("cage/drafts.html", drafts=others(item), filled=filled, filled_by=by, tire=item)


def _read(text: str) -> dict[str, list[str]]:
    """What a page says was typed. Raises Nonsense for anything but short texts by the names of the fill's fields."""
    known = {name for one in fields_of(FinishFill) for name in (one.name, one.name + ".unit")} | set(BESIDE)
    if len(text) > LONGEST_SENT:
        raise drafts.too_long(text)
    try:
        said = json.loads(text) if text.strip() else {}
        json.dumps(said, ensure_ascii=False).encode()  # half of a surrogate pair is no character
    except (ValueError, RecursionError):
        said = None
    if not isinstance(said, dict) or not all(
        isinstance(values, list) and all(isinstance(one, str) and len(one) <= LONGEST_VALUE for one in values)
        for values in said.values()
    ):
        raise Nonsense(
            "A draft is the fields of the fill's form, each with what was typed. Open the page again."
        )
    return {name: values for name, values in said.items() if name in known}
