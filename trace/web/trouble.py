"""How bad news is answered: one status per kind of error, one page that says its sentence."""

from __future__ import annotations

import logging

from flask import Flask, g, render_template, request
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFError
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
from fillbook.trace.web import roles
from fillbook.trace.web.scan import leading

STATUS: dict[type[ShopError], int] = {
    UnknownItem: 404,
    NotAllowed: 403,
    Stopped: 409,
    Conflict: 409,
    Nonsense: 422,
    WrongKind: 422,
    Damaged: 500,
}
HEADLINES = {
    400: "That form can't be taken",
    403: "Not allowed",
    404: "Not in this book",
    405: "That page can't be opened this way",
    409: "Stopped",
    413: "Too large",
    421: "Not by this name",
    422: "That can't be right",
    500: "Our fault",
}
SENTENCES = {
    404: "There is no such page. Scan a label, or choose a place above.",
    405: "This address only takes a form that was sent from its page. Open the page and send the form from there.",
    413: "What was sent is larger than 24 MB, more than a year of a logger's readings. Split the file and send its parts.",
    500: "Something went wrong in the program, not in what you did. Nothing was changed; please tell whoever keeps it.",
}
STALE = "This form was opened before the station was set up anew, so it was not taken and nothing was changed. Open the page again and send it."
KEPT = (
    "This form is older than this station's sign-in, so it was not taken and nothing was changed. What you typed is kept below: look it "
    "over and send it again. A chosen file has to be chosen again."
)


class TooOld(ShopError):
    """A form whose token is no longer good; drawn again with what was typed."""


def status_of(trouble: ShopError) -> int:
    """The HTTP status of an error."""
    if isinstance(trouble, TooOld):
        return 400
    return next(status for kind, status in STATUS.items() if isinstance(trouble, kind))


def page(words: str, status: int) -> tuple[str, int]:
    g.setdefault("shop", None)
    headline = HEADLINES.get(status, "That did not work")
    said = {} if request.method != "POST" else leading.said_first(request) if status == 413 else request.form
    scanned = said.get("code", "")
    back = ""
    # The next scan is read as if there had been none before it
    if request.endpoint == "scan.scan":
        g.scan_from = leading.page_said(said.get("from", ""))
        back = leading.back_to(g.scan_from)
    return render_template(
        "shared/trouble.html", words=words, status=status, headline=headline, scanned=scanned, back=back
    ), status


def _sent_from_here() -> bool:
    """Whether a page of ours sent it; a browser says so for every form that another site sends."""
    origin = request.headers.get("Origin")
    return origin is None or origin.partition("://")[2] == request.host


def explain_errors(app: Flask) -> None:
    """Register the handlers: every error is explained here and nowhere else."""

    @app.errorhandler(ShopError)
    def shop_error(trouble: ShopError) -> ResponseReturnValue:
        return page(str(trouble), status_of(trouble))

    @app.errorhandler(CSRFError)
    def stale_form(trouble: CSRFError) -> ResponseReturnValue:
        asked = roles.need(request.endpoint)
        if not (asked and asked.verb and g.get("shop") and _sent_from_here()):
            return page(STALE, 400)
        g.too_old = TooOld(KEPT)  # no form acts any more in this request: its view only draws it again
        try:
            return app.ensure_sync(app.view_functions[request.endpoint or ""])(**(request.view_args or {}))
        except ShopError:  # its page can't be drawn from what was sent
            return page(STALE, 400)

    @app.errorhandler(HTTPException)
    def http_error(trouble: HTTPException) -> ResponseReturnValue:
        if request.path.startswith("/api/"):  # no such call; those that there are answer for themselves
            from fillbook.trace.web.api.problems import of_http

            return of_http(trouble)
        if request.path.startswith("/readings/"):
            from fillbook.trace.web.zones.readings import refused_by_http

            return refused_by_http(trouble)
        status = trouble.code or 500
        if status < 400:
            return trouble.get_response()
        words = SENTENCES.get(status, trouble.description or "Open the page again and try once more.")
        allow = getattr(trouble, "valid_methods", None)  # RFC 9110, 15.5.6: a 405 names what is taken
        return *page(words, status), {"Allow": ", ".join(sorted(allow))} if allow else {}

    @app.errorhandler(Exception)
    def our_bug(trouble: Exception) -> ResponseReturnValue:
        if app.testing:
            raise trouble
        logging.getLogger("fillbook").exception("a page failed: %s", request.path)
        return page(SENTENCES[500], 500)
