"""Bad news under /api: always problem details (RFC 9457), never a page. One table of what can be wrong, shown on the page /api."""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass
from typing import Any

from flask import Response, current_app, request
from werkzeug.exceptions import HTTPException

from fillbook.trace.core.errors import (
    Conflict,
    Damaged,
    Nonsense,
    NotAllowed,
    ShopError,
    Stopped,
    UnknownItem,
    WrongKind,
)
from fillbook.trace.web import here
from fillbook.trace.work import signing

MEDIA = "application/problem+json"
LONGEST = 600  # what was sent may be quoted, but not whole


@dataclass(frozen=True)
class Kind:
    """One kind of problem: its status, its title, and what a program does about it."""

    status: int
    title: str
    words: str


KINDS = {
    "unreadable": Kind(400, "Not readable", "The body is not strict JSON in UTF-8, or it names a key twice. Mend the program that writes it."),
    "no-request-id": Kind(400, "No request id", "Send the header Idempotency-Key with an id of the request's own, so that it can be sent again."),
    "no-token": Kind(401, "No device", "Send the header Authorization: Bearer with the device's token; the owner admits devices."),
    "not-allowed": Kind(403, "Not allowed", "The device's role, or that of the people named, does not cover it. Somebody else must sign."),
    "pin": Kind(403, "A PIN is needed", "Ask the one who signs for their PIN and send the same again with it. A program keeps no PIN."),
    "not-found": Kind(404, "Not in this book", "Nothing has this address, or the ID in it names nothing."),
    "wrong-method": Kind(405, "Not asked this way", "The address takes other methods; the header Allow names them."),
    "stopped": Kind(409, "Stopped", "A rule of the shop stops it before it is done. A lead may override it with a reason."),
    "conflict": Kind(409, "Conflict", "The book moved on since it was looked at. Look again before going on."),
    "request-id-used": Kind(409, "Request id used before", "The same request id came with other content. Nothing was done; send it with a new one if it is meant."),
    "too-large": Kind(413, "Too large", "More than 24 MB. Send it in parts."),
    "wrong-media": Kind(415, "Not JSON", "Send Content-Type: application/json, neither compressed nor in another character set."),
    "nonsense": Kind(422, "That can't be right", "A field is missing, unknown or impossible; field and expected say which and what would do."),
    "wrong-item": Kind(422, "Names nothing here", "An ID or a name in the body is not in this book."),
    "wrong-kind": Kind(422, "Wrong kind of item", "The ID is good, but not of the kind that belongs in this field."),
    "locked-out": Kind(429, "Too many tries", "Wrong PINs or tokens one after the other. Wait as long as Retry-After says."),
    "our-fault": Kind(500, "Our fault", "The program or the book is broken. Nothing was changed; tell whoever keeps it."),
}  # fmt: skip


class Refused(Exception):
    """Something under /api that can't be answered as asked; *name* is a line of :data:`KINDS`."""

    def __init__(
        self,
        name: str,
        words: str,
        *,
        field: str | None = None,
        expected: str | None = None,
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(words)
        self.name, self.words, self.field, self.expected, self.headers = (
            name,
            words,
            field,
            expected,
            headers or {},
        )


def problem(
    name: str,
    words: str,
    *,
    field: str | None = None,
    expected: str | None = None,
    headers: dict[str, str] | None = None,
) -> Response:
    """The answer that says what is wrong."""
    kind = KINDS[name]
    words = words if len(words) <= LONGEST else words[: LONGEST - 1] + "…"
    said: dict[str, Any] = {
        "type": f"/api#{name}",
        "title": kind.title,
        "status": kind.status,
        "detail": words,
    }
    if field:
        said["field"] = field[:200]
    if expected:
        said["expected"] = expected[:LONGEST]
    # what somebody sent may hold half a character; JSON can say it, UTF-8 can't
    answer = Response(json.dumps(said), kind.status, content_type=MEDIA)
    answer.headers.update(headers or {})
    answer.headers["Cache-Control"] = "no-store"
    return answer


def refused(trouble: Refused) -> Response:
    return problem(
        trouble.name, trouble.words, field=trouble.field, expected=trouble.expected, headers=trouble.headers
    )


def of_shop(trouble: ShopError) -> Response:
    """A ShopError in its own words. What a *body* names and the book lacks is the body's fault, so no 404."""
    headers: dict[str, str] = {}
    match trouble:
        case signing.LockedOut():
            name, headers = "locked-out", {"Retry-After": str(max(1, trouble.until - here.now()))}
        case signing.PinNeeded() | signing.WrongPin() | signing.NoPin():
            name = "pin"
        case NotAllowed():
            name = "not-allowed"
        case UnknownItem():
            name = "wrong-item" if request.method == "POST" else "not-found"
        case Conflict():
            name = "request-id-used" if trouble.field == "request" else "conflict"
        case Stopped():
            name = "stopped"
        case WrongKind():
            name = "wrong-kind"
        case Nonsense():
            name = "nonsense"
        case Damaged() | _:
            name = "our-fault"
    return problem(name, str(trouble), field=trouble.field, expected=trouble.expected, headers=headers)


def of_http(trouble: HTTPException) -> Response:
    """What Flask refuses by itself: no such address, another method, too large."""
    allow = getattr(trouble, "valid_methods", None)
    match trouble.code:
        case 404:
            return problem(
                "not-found", f"There is no {request.path} here. The page /api lists what there is."
            )
        case 405:
            methods = ", ".join(sorted(allow or ()))
            return problem(
                "wrong-method",
                f"{request.path} takes {methods or 'another method'}, not {request.method}.",
                headers={"Allow": methods},
            )
        case 413:
            return problem("too-large", "What was sent is larger than 24 MB. Send it in parts.")
        case 415:
            return problem("wrong-media", "Only JSON is taken here.")
        case code if code and code >= 500:
            return problem("our-fault", KINDS["our-fault"].words)
    return problem("unreadable", "The request can't be read as HTTP says it should be written.")


def of_bug(trouble: Exception) -> Response:
    """Anything else is our bug: kept in the log, never shown."""
    if current_app.testing:
        raise trouble
    logging.getLogger("fillbook").exception("the API failed: %s", request.path)
    return problem("our-fault", KINDS["our-fault"].words)
