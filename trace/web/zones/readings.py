"""Where a logger sends its readings by itself: one address a zone, the logger's own token, problem details (RFC 9457) for bad news.

No cookie is read here, so no form elsewhere can misuse it; that is why it alone is free of the forms' guard.
"""

from __future__ import annotations

import json
import logging
import re
from typing import Any

from flask import Blueprint, Response, current_app, request
from flask.blueprints import BlueprintSetupState
from werkzeug.exceptions import HTTPException

from fillbook.trace.book import queries
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Conflict, NotAllowed, ShopError, UnknownItem
from fillbook.trace.web import here
from fillbook.trace.web.trouble import status_of
from fillbook.trace.work import sensors

bp = Blueprint("readings", __name__)
TITLES = {
    400: "Not readable", 401: "No token", 403: "Not this logger's zone", 404: "No such zone", 405: "Not asked this way",
    409: "Conflict", 413: "Too large", 422: "That can't be right", 500: "Our fault",
}  # fmt: skip
LARGEST_MB = 20
TOO_LARGE = f"What was sent is over {LARGEST_MB} MB. Send a shorter time, in parts."


@bp.record_once
def no_cookie_is_read(state: BlueprintSetupState) -> None:
    state.app.extensions["csrf"].exempt(take)


@bp.post("/readings/<code>")
def take(code: str) -> Response:
    """Take in a logger's readings: the plain format, or its own file as it was confirmed by hand once."""
    bearer = re.fullmatch(r"Bearer +([!-~]{1,200})", request.headers.get("Authorization", ""), re.IGNORECASE)
    if bearer is None:
        return problem(
            401,
            "Send the header Authorization: Bearer with the logger's token; a lead makes one on the zone's page.",
        )
    try:
        whose = sensors.whose(here.book(), bearer[1])
    except NotAllowed:
        return problem(
            401,
            "This token lets no logger send: it never was one of ours, or it was stopped. A lead can make a new one.",
        )
    zone = ids.read(code)
    if not queries.item_exists(here.book(), zone) or ids.kind_of(zone) != "Z":
        raise UnknownItem(
            f"{ids.pretty(zone)} is no zone in this book. Copy the address from the zone's page.",
            field="zone",
        )
    if zone != whose.zone:
        return problem(
            403,
            f"This token is for a logger in {queries.name_of(here.book(), whose.zone)}, not for {ids.pretty(zone)}.",
            field="zone",
        )
    content = request.get_data(cache=False)
    if len(content) > LARGEST_MB * 1_000_000:
        return problem(413, TOO_LARGE)
    done = sensors.send(here.book(), bearer[1], content, now=here.now())
    block = here.book().one(
        "SELECT count, first_at, last_at FROM sample_block WHERE shop = ? AND seq = ?", done.shop, done.seq
    )
    said = {
        "event": done.seq, "zone": ids.pretty(zone), "sensor": whose.sensor, "repeated": done.repeated,
        "findings": [one["words"] for one in done.findings],
    }  # fmt: skip
    if block:
        said |= {
            "count": block.count,
            "first_at": times.utc_text(block.first_at),
            "last_at": times.utc_text(block.last_at),
        }
    return _json(200 if done.repeated else 201, said, "application/json")


def problem(status: int, words: str, *, field: str | None = None, expected: str | None = None) -> Response:
    """The answer that says what is wrong, in one sentence or two."""
    said: dict[str, Any] = {
        "type": "about:blank",
        "title": TITLES.get(status, "That did not work"),
        "status": status,
        "detail": words,
    }
    said |= {name: value for name, value in (("field", field), ("expected", expected)) if value}
    answer = _json(status, said, "application/problem+json")
    if status == 401:
        answer.headers["WWW-Authenticate"] = 'Bearer realm="readings"'
    return answer


def _json(status: int, said: dict[str, Any], media: str) -> Response:
    answer = Response(json.dumps(said, ensure_ascii=True), status, content_type=media)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@bp.errorhandler(ShopError)
def refused(trouble: ShopError) -> Response:
    status = 409 if isinstance(trouble, Conflict) else status_of(trouble)
    return problem(status, str(trouble), field=trouble.field, expected=trouble.expected)


@bp.errorhandler(HTTPException)
def refused_by_http(trouble: HTTPException) -> Response:
    if trouble.code == 413:
        return problem(413, TOO_LARGE)
    match trouble.code:
        case 404:
            return problem(404, "There is no such address. Copy it from the zone's page.")
        case 405:
            answer = problem(405, "Send the readings with POST.")
            answer.headers["Allow"] = ", ".join(sorted(getattr(trouble, "valid_methods", None) or ("POST",)))
            return answer
    return problem(trouble.code or 500, "The request can't be read as HTTP says it should be written.")


@bp.errorhandler(Exception)
def our_bug(trouble: Exception) -> Response:
    if current_app.testing:
        raise trouble
    logging.getLogger("fillbook").exception("readings failed: %s", request.path)
    return problem(
        500,
        "Something went wrong in the program, not in what was sent. Nothing was changed; send it again later.",
    )
