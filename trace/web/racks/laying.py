"""Laying tires by scanning alone: the zone once, then tire after tire; or tires, then their zone. No touch between."""

from __future__ import annotations

from flask import flash, request

from fillbook.trace.book import queries
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import ShopError, UnknownItem
from fillbook.trace.web import held, here
from fillbook.trace.web.forms import Form
from fillbook.trace.work import zones
from fillbook.trace.work.floor import Floor


def lay(zone: str, tire: str) -> str:
    """Lay *tire* in *zone* (compact IDs) as the one who works here, say what came of it, and return where to go on."""
    page = f"/racks/{zone}"
    if here.who() is None:
        return f"/do/rack?tires={tire}&zone={zone}"  # that form asks who works here
    name, where = ids.pretty(tire), queries.name_of(here.book(), zone)
    if lies(tire, zone):
        flash(f"{name} lies in {where} already. Scan the next one.", "look")
        return page
    try:
        _act(zone, [tire])
    except ShopError as trouble:
        flash(f"Not laid here: {trouble}", "hold")
        there = held.held(tire)
        if there and there.means == "danger":
            flash(tire, "held")  # with the way to its page, where a lead can override it
        return page
    flash(f"{name} {'soaks' if _soaks(tire) else 'lies'} in {where} now. Scan the next one.", "go")
    return page


def lay_all(zone: str, tires: list[str], at: int | None) -> None:
    """Lay *tires* in *zone* (compact IDs) in one act and say what came of it; *at*: when they were scanned, None for just now.

    Raises ShopError where one of them can't lie there or nobody works here; then nothing was laid.
    """
    book, where = here.book(), queries.name_of(here.book(), zone)
    sent = queries.was_sent(
        book, here.shop(), request.form.get("request", "")
    )  # no answer came, so it comes again
    there = [] if sent else [tire for tire in tires if lies(tire, zone)]
    for tire in there:
        flash(f"{ids.pretty(tire)} lies in {where} already.", "look")
    laid = [tire for tire in tires if tire not in there]
    if not laid:
        return
    if not sent:
        if here.who() is None:
            raise UnknownItem(
                "Nobody is named as working here, so nothing was laid. Pick your name or scan your badge; what was scanned waits.",
                field="who",
            )
        _act(zone, laid, at)
    if len(laid) == 1:
        flash(f"{ids.pretty(laid[0])} {'soaks' if _soaks(laid[0]) else 'lies'} in {where} now.", "go")
    else:
        flash(f"{len(laid)} tires lie in {where} now: {', '.join(map(ids.pretty, laid))}.", "go")


def may_be_laid(tire: str) -> None:
    """Raise ShopError where *tire* (compact ID) can't lie on any rack now: asked when it is scanned, before its zone is known."""
    now = here.now()
    zones.may_lie(tire, Floor(here.book(), here.shop(), now, now, "", "hand"))


def lies(tire: str, zone: str) -> bool:
    there = queries.place_of(here.book(), tire)
    return there.state in ("racked", "soaking") and there.place == zone


def _soaks(tire: str) -> bool:
    return queries.place_of(here.book(), tire).state == "soaking"


def _act(zone: str, tires: list[str], at: int | None = None) -> None:
    form = Form("rack", fixed={"zone": zone})
    form.about = []  # the page's older picture of a tire does not matter: it lies where it was scanned last
    form.take(request.form)
    form.said.setlist("tires", tires)
    form.said.pop("at", None)
    if at is not None:
        form.said["at"] = times.utc_text(at)
    form.done(form.act())
