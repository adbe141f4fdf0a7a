"""The racks: which tire lies where, how far it has cured, and when it is ready."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from flask import Blueprint, g, render_template

from fillbook.trace.book import cures, glance, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import WrongKind
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item

bp = Blueprint("racks", __name__)


@bp.get("/racks")
@here.one_picture
def racks() -> str:
    g.scan_from = "racks"
    return _page(queries.zones(here.book(), here.shop()), None)


@bp.get("/racks/<code>")
@here.one_picture
def zone(code: str) -> str:
    found = the_item(code)
    if ids.kind_of(found) != "Z":
        raise WrongKind(
            f"{ids.pretty(found)} is a {ids.KINDS[ids.kind_of(found)]}; a rack's page is a zone's. Scan the zone's sign."
        )
    g.scan_from = f"racks:{found}"
    zones = [z for z in queries.zones(here.book(), here.shop()) if z["item"] == found]
    forms = {
        name: Form(name, prefill={"zone": found}, hidden={"zone"}, fixed={"zone": found})
        for name in ("rack", "read temperature", "log temperatures")
    }
    for form in forms.values():
        form.about = []
    return _page(zones, forms)


def _page(zones: list[Any], forms: dict[str, Form] | None) -> str:
    book, shop, now = here.book(), here.shop(), here.now()
    there: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in cures.racks(book, shop, now):
        there[row["row"].place if row["row"].state == "racked" else ""].append(row)
    newest = {zone["item"]: queries.newest_sample(book, zone["item"]) for zone in zones}
    readings = {zone["item"]: queries.readings(book, zone["item"], now - 86_400, now)[-1:] for zone in zones}
    return render_template(
        "racks/racks.html", zones=zones, there=there, newest=newest, readings=readings, forms=forms,
        cups=glance.cups_waiting(book, shop), limit=queries.limit(book, shop, "cure_temperature", now),
    )  # fmt: skip
