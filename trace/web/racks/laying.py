"""Laying tires by scanning alone: the zone once, then tire after tire, and no touch between."""

from __future__ import annotations

from flask import flash, request

from fillbook.trace.book import queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import ShopError
from fillbook.trace.web import held, here
from fillbook.trace.web.forms import Form


def lay(zone: str, tire: str) -> str:
    """Lay *tire* in *zone* (compact IDs) as the one who works here, say what came of it, and return where to go on."""
    page = f"/racks/{zone}"
    if here.who() is None:
        return f"/do/rack?tires={tire}&zone={zone}"  # that form asks who works here
    name, where = ids.pretty(tire), queries.name_of(here.book(), zone)
    there = queries.place_of(here.book(), tire)
    if there.state in ("racked", "soaking") and there.place == zone:
        flash(f"{name} lies in {where} already. Scan the next one.", "look")
        return page
    form = Form("rack", fixed={"zone": zone})
    form.about = []  # the page's older picture of the tire does not matter: it lies where it was scanned last
    form.take(request.form)
    form.said["tires"] = tire
    form.said.pop("at", None)
    try:
        form.done(form.act())
    except ShopError as trouble:
        flash(f"Not laid here: {trouble}", "hold")
        there = held.held(tire)
        if there and there.means == "danger":
            flash(tire, "held")  # with the way to its page, where a lead can override it
        return page
    soaks = queries.place_of(here.book(), tire).state == "soaking"
    flash(f"{name} {'soaks' if soaks else 'lies'} in {where} now. Scan the next one.", "go")
    return page
