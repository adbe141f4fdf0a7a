"""The same verbs and answers for programs: JSON over HTTP under /api, each device with a token of its own.

Everything is written through ``signing.act`` and answered by what the commands' ``--json`` answers. No cookie is read here, so
nothing here needs a form's token against forgery; every other page of the program does.
"""

from __future__ import annotations

import hashlib
import json
from functools import partial
from typing import Any

from flask import Blueprint, Response, current_app, g, render_template, request
from flask.blueprints import BlueprintSetupState
from werkzeug.exceptions import HTTPException

from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web import here
from fillbook.trace.web.api import calls, openapi, problems, reading
from fillbook.trace.web.api.problems import Refused
from fillbook.trace.work import acting, registry, signing
from fillbook.trace.work.ask import clean

bp = Blueprint("api", __name__, url_prefix="/api")
OPEN = ("api.description", "api.page")  # what may be read without a token: it tells nothing of the shop


@bp.record_once
def join(state: BlueprintSetupState) -> None:
    """Forms elsewhere are guarded against forgery; here no cookie is read, so there is nothing to forge with."""
    state.app.extensions["csrf"].exempt(bp)
    state.app.extensions["fillbook tries"] = reading.Tries()


@bp.before_request
def whose() -> None:
    """Every call but the description takes a device's token, which also says the shop."""
    if request.endpoint in OPEN:
        return
    g.device = reading.device(current_app.extensions["fillbook tries"])
    g.shop = g.device.shop


bp.register_error_handler(Refused, problems.refused)
bp.register_error_handler(ShopError, problems.of_shop)
bp.register_error_handler(HTTPException, problems.of_http)
bp.register_error_handler(Exception, problems.of_bug)

for one in calls.CALLS:
    bp.add_url_rule(
        one.path, one.name.rstrip("_"), partial(calls.answer, one), methods=["GET"], provide_automatic_options=False
    )  # fmt: skip


# -- writing -------------------------------------------------------------------------------------------------------------------
@bp.route("/verbs/<name>", methods=["POST"], provide_automatic_options=False)
def act(name: str) -> Response:
    """Do one verb. 201 where it was written, 200 where the same request had been done before."""
    try:
        verb = registry.find(name)
    except ShopError:
        verb = None
    if verb is None or name != verb.command:
        raise Refused("not-found", f"There is no verb {name[:60]}. GET /api/verbs lists them.")
    if verb.name in calls.NOT_HERE:
        raise Refused("not-allowed", "A shop is set up on the machine that keeps the book, not by a device.")
    _covers(verb.role, f"To {verb.name}")
    key = reading.request_id()
    said = reading.envelope(reading.body())
    if said.override:
        _covers("lead", "An override")
    done = signing.act(
        here.book(), _action(verb, said, key), pin=said.pin, now=here.now(), most=g.device.role
    )
    answer = calls.sent(
        {
            "shop": done.shop, "seq": done.seq, "ids": [ids.pretty(code) for code in done.ids],
            "findings": [{**one, "item": ids.pretty(one["item"]) if one["item"] else ""} for one in done.findings],
            "repeated": done.repeated,
        },
        200 if done.repeated else 201,
    )  # fmt: skip
    answer.headers["Location"] = f"/api/events/{done.seq}"
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _covers(role: str, doing: str) -> None:
    """Refuse what is above the device's role, whoever is named; above the people's own the verb refuses by itself."""
    if registry.ROLES.index(g.device.role) < registry.ROLES.index(role):
        raise Refused(
            "not-allowed", f"{doing} takes {acting.ARTICLES[role]}; the device {g.device.device} acts as a {g.device.role} at most. "
            "Do it on a page, or let the owner admit the device with a higher role.",
        )  # fmt: skip


def _action(verb: registry.Verb, said: reading.Envelope, key: str) -> acting.Action:
    """The action that was sent. The request id counts within the device: two scales may number theirs alike."""
    if said.shop and said.shop.upper() != g.device.shop:
        raise Refused(
            "not-allowed", f"The device {g.device.device} belongs to the shop {g.device.shop}.", field="shop"
        )
    looked_at = []
    for n, item in enumerate(said.saw_items):
        try:
            looked_at.append(ids.read(item))
        except Nonsense as trouble:
            raise Nonsense(str(trouble), field=f"saw_items[{n}]") from None
    station = clean(said.station or "", "station", 30)
    return acting.Action(
        verb.name, said.fields, at=said.at, who=said.who, signed_by=said.signed_by, override=said.override,
        request=f"device {g.device.seq}: {key}", station=f"{station}, by {g.device.device}" if station else g.device.device,
        shop=g.device.shop, saw=said.saw, saw_items=tuple(looked_at),
    )  # fmt: skip


# -- what there is ---------------------------------------------------------------------------------------------------------------
@bp.route("/openapi.json", methods=["GET"], provide_automatic_options=False)
def description() -> Response:
    """The description for programs; the same until the program changes."""
    reading.query(())
    text = json.dumps(openapi.document(), ensure_ascii=False, separators=(",", ":"))
    mark = hashlib.sha256(text.encode()).hexdigest()[:24]
    answer = (
        Response(status=304)
        if request.if_none_match.contains_weak(mark)
        else Response(text, content_type="application/json")
    )
    answer.set_etag(mark)
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@bp.get("")
def page() -> str:
    """The calls for people who write programs."""
    rows: list[dict[str, Any]] = [
        {"method": "GET", "path": "/api" + one.path, "words": one.words, "role": one.role}
        for one in calls.CALLS
    ]
    rows.append(
        {
            "method": "GET",
            "path": "/api/openapi.json",
            "words": "The description of all this for programs",
            "role": "nobody",
        }
    )
    return render_template(
        "api/page.html",
        rows=rows,
        verbs=calls.every_verb(),
        envelope=reading.Envelope.model_fields,
        kinds=problems.KINDS,
    )
