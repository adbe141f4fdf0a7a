"""Whatever is scanned or typed into the box on every page: to the right page by its kind, or to what bears those words."""

from __future__ import annotations

from flask import (
    Blueprint,
    Response,
    flash,
    g,
    make_response,
    redirect,
    render_template,
    request,
    session,
    url_for,
)
from flask.typing import ResponseReturnValue
from werkzeug.exceptions import RequestEntityTooLarge

from fillbook.trace.book import items, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web import here, late
from fillbook.trace.web import scanned as tags
from fillbook.trace.web import trouble as refusals
from fillbook.trace.web.racks import laying
from fillbook.trace.web.scan import in_page, leading, photos
from fillbook.trace.web.scan.leading import page_for
from fillbook.trace.web.scan.named import LONGEST, named, said
from fillbook.trace.web.trouble import status_of

bp = Blueprint("scan", __name__)
TWICE_S = 2


@bp.post("/scan")
def scan() -> ResponseReturnValue:
    came_from = leading.page_said(request.form.get("from", ""))
    photo = request.files.get("photo")
    if photo is not None and photo.filename:
        return _photographed(photo.read(), came_from)
    text = said(request.form.get("code", ""))
    return _read(text, came_from, by_scanner=request.form.get("by") == "scanner")


@bp.post("/scan/take")
def take() -> ResponseReturnValue:
    """Take a scan in the page it was made on (``static/rush.js``): notes that say what came of it, and in the headers how to go on.

    ``X-Scan``: *taken*; *elsewhere*, it leads to another page; or *stop*, nothing was done and somebody has to look. ``X-From``: how
    the next scan is read. ``X-Go-To``: the page that shows it.
    """
    came_from = leading.page_said(request.form.get("from", ""))
    by_scanner = request.form.get("by") == "scanner"
    waited = late.waited(request.form)
    at = here.now() - waited if waited else None
    code, status, headers = "", 200, {"X-Scan": "stop"}
    try:
        code = said(request.form.get("code", ""))
        found = named(code, by_scanner=by_scanner)
        if found and found[1]:
            tags.remember(found[0])
        step = in_page.take(found[0], came_from, at) if found else _words_in_page(code, came_from, by_scanner)
        if isinstance(step, in_page.Taken):
            headers = {"X-Scan": "taken", "X-From": step.came_from, "X-Go-To": step.where}
        else:
            headers = {"X-Scan": "stop" if step.asked else "elsewhere", "X-Go-To": step.where}
    except ShopError as trouble:
        flash(str(trouble), "hold")
        status = status_of(trouble)
        headers["X-Go-To"] = _to_look_at(trouble, code)
    answer = make_response(render_template("scan/said.html"), status)
    answer.headers.update(headers)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _words_in_page(code: str, came_from: str, by_scanner: bool) -> in_page.Elsewhere:
    """A code that is no label of ours: whoever typed it looks for it, a scanner read something else."""
    where = _search_for(code, came_from)
    if by_scanner:
        flash(f"That is no label of this shop: {code}", "hold")
    return in_page.Elsewhere(where, asked=by_scanner)


def _to_look_at(trouble: ShopError, code: str) -> str:
    """The page where somebody can do something about it; empty where there is none."""
    if trouble.field == "who":
        return "/who"
    try:
        item = ids.read(code)
    except Nonsense:
        return ""
    return f"/i/{item}" if queries.item_exists(here.book(), item) else ""


def _read(text: str, came_from: str, *, by_scanner: bool) -> ResponseReturnValue:
    """To where *text* leads; it was typed, or sent by a scanner."""
    try:
        found = named(text, by_scanner=by_scanner)
    except Nonsense:
        if by_scanner and came_from == "dock":
            found = None
        else:
            raise
    if found:
        return _to(found[0], came_from, scanned=found[1])
    if by_scanner and came_from == "dock":
        return redirect("/dock/read", 307)  # a supplier's code; sent on as it came
    return _by_words(text, came_from)


def _photographed(data: bytes, came_from: str) -> ResponseReturnValue:
    """To what the one label in a photograph names; of several, which one is meant is asked."""
    seen = photos.read_photo(data)
    if not seen:
        raise Nonsense(
            "No code can be read in this photograph. Go nearer, let the whole code be in it, give it light without glare, "
            "and hold still; or type the ID that stands beside the code.",
            field="photo",
        )
    items: dict[str, str] = {}
    others: list[str] = []
    for one in seen:
        try:
            items.setdefault(ids.read(one.text), one.text)
        except Nonsense:
            others.append(one.text)
    if len(items) == 1 and not others:
        (text,) = items.values()
        return _read(text, came_from, by_scanner=True)
    if not items and len(others) == 1:
        return _read(others[0], came_from, by_scanner=True)
    if not items and came_from == "dock":
        return redirect("/dock/read", 307)
    ours = [item for item in items if queries.item_exists(here.book(), item)]
    if len(ours) == 1 and len(items) == 1:  # beside our label, somebody else's codes on the same tote
        return _to(ours[0], came_from, scanned=True)
    rows = _described([{"id": item, "kind": ids.KINDS[ids.kind_of(item)], "why": "this"} for item in ours])
    unknown = [ids.pretty(item) for item in items if item not in ours]
    g.scan_from = came_from
    return render_template(
        "scan/which.html",
        found=rows,
        unknown=unknown,
        others=others,
        many=len(items) + len(others),
        came_from=came_from,
    ), 300  # several answers, one to be chosen


def _to(item: str, came_from: str, *, scanned: bool) -> ResponseReturnValue:
    """To the page for *item*. The same once more within `TWICE_S` seconds is the scanner's echo: it leads there and does nothing."""
    mark, at = f"{item} {came_from}", here.served().clock()
    before, when, there = session.get("scan", ("", 0, ""))
    if before == mark and 0 <= at - when < TWICE_S:
        return redirect(there, 303)
    if scanned:
        tags.remember(item)
    place, _, zone = came_from.partition(":")
    if place == "lay" and ids.kind_of(item) == "F" and ids.is_valid(zone):
        there = laying.lay(zone, item)  # on a zone's page a scan is the act itself
    else:
        there = page_for(item, came_from)
    session["scan"] = (mark, at, there)
    return redirect(there, 303)


@bp.after_app_request
def say_where(answer: Response) -> Response:
    """A page's script that sends a form itself learns where to go on, and goes there as the browser would have done.

    Were it to follow the redirect, the page behind it would be drawn twice, and what it says once would be lost.
    """
    if answer.status_code == 303 and request.headers.get("X-Stay"):
        answer.status_code = 200
        answer.headers["X-Go-To"] = answer.headers.pop("Location")
    return answer


def _by_words(text: str, came_from: str) -> ResponseReturnValue:
    found = items.search(here.book(), here.shop(), text)
    if len(found) == 1 and found[0]["why"] == "this service number":
        return redirect(page_for(ids.read(found[0]["id"]), came_from), 303)
    return redirect(_search_for(text, came_from), 303)  # the browser's Back asks for nothing to be sent again


def _search_for(text: str, came_from: str) -> str:
    return url_for("scan.search", q=text, **({"from": came_from} if came_from else {}))


def _described(found: list[dict[str, str]]) -> list[dict[str, str]]:
    """What was found, each with the few facts it is known by, and which word of it fits."""
    known = items.known_by(here.book(), [ids.read(one["id"]) for one in found], here.say())
    for one, facts in zip(found, known.values(), strict=True):
        one["facts"] = " · ".join(facts.values())
        one["why"] = one.get("by", one["why"])
    return found


@bp.errorhandler(RequestEntityTooLarge)
def too_large(_: RequestEntityTooLarge) -> ResponseReturnValue:
    return refusals.page(
        "The photograph is larger than 24 MB: take it at a lower resolution, or type the ID below the code. Nothing was changed.",
        413,
    )


@bp.get("/search")
@here.one_picture
def search() -> ResponseReturnValue:
    text = request.args.get("q", "").strip()[:LONGEST]
    g.scan_from = leading.page_said(request.args.get("from", ""))
    found = items.search(here.book(), here.shop(), text) if text else []
    page = render_template(
        "scan/found.html", text=text, found=_described(found), scanned=text, back=leading.back_to(g.scan_from)
    )
    return page, 404 if text and not found else 200
