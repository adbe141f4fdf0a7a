"""The racks: which tire lies where, how far it has cured, what blocks it, and when it is ready; kept fresh while somebody looks."""

from __future__ import annotations

import re
from collections import defaultdict
from typing import Any

from flask import Blueprint, Response, g, make_response, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import glance, loggers, queries, zones
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem, WrongKind
from fillbook.trace.web import called, here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item
from fillbook.trace.web.languages import choice
from fillbook.trace.web.racks.morning import morning_list_pdf

bp = Blueprint("racks", __name__)
MOST_SOAKING = 200
JUST_NOW_S = 15 * 60  # what was laid here within this time stands at the top of the zone's page


@bp.get("/racks")
@here.one_picture
def racks() -> str:
    """All racks; with tires that were scanned and wait for their zone."""
    moving = called.tires(request.args.get("tires", ""))
    g.scan_from = f"moving:{','.join(moving)}" if moving else "racks"
    shown = queries.zones(here.book(), here.shop())
    return render_template(
        "racks/racks.html",
        forms=None,
        laid=[],
        moving=moving,
        cups=glance.cups_waiting(here.book(), here.shop()),
        **_live(shown, True),
    )


@bp.get("/racks/<code>")
@here.one_picture
def zone(code: str) -> str:
    return _zone(_zone_of(code))


@bp.get("/racks/now")
@here.one_picture
def now() -> Response:
    """The part of the page that changes by itself; a page's script asks for it again and again."""
    code = request.args.get("zone", "")
    shown = queries.zones(here.book(), here.shop())
    if code:
        found = _zone_of(code)
        shown = [one for one in shown if one["item"] == found]
    answer = make_response(render_template("racks/live.html", **_live(shown, not code)))
    answer.headers["X-As-Of"] = str(here.now())
    answer.headers["X-Clock"] = f"{times.local(here.now(), here.say().zone):%H:%M}"
    answer.headers["Cache-Control"] = "no-store"
    return answer


@bp.get("/racks/morning.pdf")
@here.one_picture
def morning() -> Response:
    page = "letter" if here.say().us else "a4"
    day = times.show_date(here.now(), here.say().zone)
    answer = Response(
        morning_list_pdf(
            here.book(), here.shop(), here.now(), page, say=here.say(), language=choice.language()
        ),
        mimetype="application/pdf",
    )
    answer.headers["Content-Disposition"] = f'attachment; filename="morning-list-{day}.pdf"'
    return answer


@bp.get("/racks/heating")
@here.one_picture
def heating() -> ResponseReturnValue:
    """What would still cure when the heating is turned down at a time somebody thinks of."""
    book, shop, at = here.book(), here.shop(), here.now()
    typed = request.args.get("at", "").strip()
    off_at, wrong = zones.heating_down(book, shop, at) or at, ""
    if typed:
        try:
            off_at = times.parse(typed, here.say().zone, field="at").at
            if off_at < at - 60:
                raise Nonsense(
                    "That time is past. Say when the heating is going to be turned down.", field="at"
                )
        except ShopError as trouble:
            wrong = str(trouble)
    warning = None if wrong else zones.heating_warning(book, shop, at, off_at)
    shown = f"{times.local(off_at, here.say().zone):%Y-%m-%dT%H:%M}"
    page = render_template(
        "racks/heating.html", warning=warning, off_at=off_at, typed=typed or shown, wrong=wrong
    )
    return page, 422 if wrong else 200


def _zone_of(code: str) -> str:
    found = the_item(code)
    if ids.kind_of(found) != "Z":
        raise WrongKind(
            f"{ids.pretty(found)} is a {ids.KINDS[ids.kind_of(found)]}; a rack's page is a zone's. Scan the zone's sign."
        )
    if all(one["item"] != found for one in queries.zones(here.book(), here.shop())):
        raise UnknownItem(f"{ids.pretty(found)} is a zone of another shop.")
    return found


def _zone(found: str) -> str:
    g.scan_from = f"lay:{found}"
    forms = {
        name: Form(name, prefill={"zone": found}, hidden={"zone"}, fixed={"zone": found})
        for name in ("rack", "read temperature")
    }
    for form in forms.values():
        form.about = []
    shown = [one for one in queries.zones(here.book(), here.shop()) if one["item"] == found]
    since = here.now() - JUST_NOW_S
    live = _live(shown, False)
    laid = [
        (one["from"], one["item"])
        for one in zones.lay_there(here.book(), found, since, here.now())
        if one["from"] >= since and one["until"] is None
    ]
    laid += [(one.since, one.item) for one in live["soaking"].get(found, []) if one.since >= since]
    return render_template(
        "racks/racks.html", forms=forms, laid=sorted(laid, reverse=True), moving=[], cups=[], **live
    )


def _live(shown: list[Any], whole: bool) -> dict[str, Any]:
    """What the page shows of *shown* zones; *whole*: of the shop, with the tires on no rack."""
    book, shop, at = here.book(), here.shop(), here.now()
    there: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in zones.rack_rows(book, shop, at, here.say()):
        row["blocks"] = [
            re.sub(r"\s*Ready about [^.]*\.$", "", words) for words in row["blocks"]
        ]  # it has a column of its own
        there[row["zone"]].append(row)
    soaking: dict[str, list[Any]] = defaultdict(list)  # taken in, warming up there before they are filled
    for tire in queries.in_state(book, shop, "soaking", most=MOST_SOAKING):
        soaking[tire.place].append(tire)
    doubts = loggers.open_doubts(book, shop)
    return {
        "zones": shown, "there": there, "soaking": soaking, "whole": whole, "limit": queries.limit(book, shop, "cure_temperature", at),
        "newest": {one["item"]: queries.newest_sample(book, one["item"]) for one in shown},
        "readings": {one["item"]: queries.readings(book, one["item"], at - 86_400, at)[-1:] for one in shown},
        "doubts": {one["item"]: sum(d.zone == one["item"] for d in doubts) for one in shown},
        "heating": zones.heating_warning(book, shop, at) if whole else None,
        "clock": f"{times.local(at, here.say().zone):%H:%M}",
    }  # fmt: skip
