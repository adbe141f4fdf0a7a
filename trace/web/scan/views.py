"""Whatever is scanned or typed into the box on every page: to the right page by its kind, or to what bears those words."""

from __future__ import annotations

import re

from flask import Blueprint, Response, flash, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue

from fillbook.trace.book import items, queries
from fillbook.trace.core import ids, keyboards
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.web import here, trouble
from fillbook.trace.web.racks import laying
from fillbook.trace.web.scan import photos

bp = Blueprint("scan", __name__)
ADDRESS = re.compile(r"[a-z][a-z0-9+.-]*://|www\.", re.IGNORECASE)
LOOKS_LIKE_AN_ID = re.compile(r"[A-Za-z]{2}[-\s]?[A-Za-z][-\s]?[0-9OIl]{2}[-\s]?[0-9OIl]{5}.*", re.DOTALL)
LONGEST = 300
TWICE_S = 2
MOVING_S = 120  # so long after a tire was scanned at the racks, the zone scanned next is where it goes


@bp.post("/scan")
def scan() -> ResponseReturnValue:
    came_from = request.form.get("from", "")
    photo = request.files.get("photo")
    if photo is not None and photo.filename:
        return _photographed(photo.read(), came_from)
    text = request.form.get("code", "").strip()
    if not text:
        raise Nonsense(
            "Nothing was read: scan a label, or type an ID, a lot, a customer or a serial.", field="code"
        )
    if len(text) > LONGEST:
        raise Nonsense(
            f"That is {len(text)} characters long; no label of ours is. Scan it again.", field="code"
        )
    return _read(text, came_from, by_scanner=request.form.get("by") == "scanner")


def _read(text: str, came_from: str, *, by_scanner: bool) -> ResponseReturnValue:
    """To where *text* leads; it was typed, or sent by a scanner."""
    try:
        item = ids.read(text)
    except Nonsense as wrong:
        mixed = keyboards.meant(text, scanned=by_scanner)
        if mixed and queries.item_exists(here.book(), mixed.item):
            flash(
                f"Read as {ids.pretty(mixed.item)}: this computer's keyboard is {mixed.computer}, the scanner is set to "
                f"{mixed.scanner}. Set both to the same.",
                "look",
            )
            return _to(mixed.item, came_from, scanned=True)
        if by_scanner and came_from == "dock":
            return redirect("/dock/read", 307)  # a supplier's code; sent on as it came
        if ADDRESS.match(text):
            return trouble.page(
                f"That is another place's address, and it is not followed: {text} - {_no_label(wrong)}", 422
            )
        if LOOKS_LIKE_AN_ID.fullmatch(text):
            return trouble.page(str(wrong), 422)
        return _by_words(text)
    if not queries.item_exists(here.book(), item):
        raise UnknownItem(
            f"{ids.pretty(item)} reads well, but no such label was given out in this book. Check that it is this shop's."
            + (f" The label says {text}." if ADDRESS.match(text) else ""),
            field="code",
        )
    return _to(item, came_from, scanned=by_scanner or bool(ADDRESS.match(text)))


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
    place, _, zone = came_from.partition(":")
    if place == "lay" and ids.kind_of(item) == "F" and ids.is_valid(zone):
        there = laying.lay(zone, item)  # on a zone's page a scan is the act itself
    else:
        there = page_for(item, came_from, scanned=scanned)
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


def _no_label(wrong: Nonsense) -> str:
    """Why an address of a label's form could not be read; for any other, what was expected."""
    words = str(wrong)
    return words if "last character" in words else "scan one of this shop's labels, or type its ID."


def _by_words(text: str) -> ResponseReturnValue:
    found = items.search(here.book(), here.shop(), text)
    if len(found) == 1 and found[0]["why"] == "this service number":
        return redirect(page_for(ids.read(found[0]["id"]), ""), 303)
    return redirect(url_for("scan.search", q=text), 303)  # the browser's Back asks for nothing to be sent again


def _described(found: list[dict[str, str]]) -> list[dict[str, str]]:
    """What was found, each with the few facts it is known by, and which word of it fits."""
    known = items.known_by(here.book(), [ids.read(one["id"]) for one in found], here.say())
    for one, facts in zip(found, known.values(), strict=True):
        one["facts"] = " · ".join(facts.values())
        one["why"] = one["why"] if one["why"].startswith("this") else one["why"].rsplit(" ", 1)[0]
    return found


def page_for(item: str, came_from: str, *, scanned: bool = False) -> str:
    """The address of the page where somebody who scanned *item* most likely wants to be, given the page they were on."""
    kind = ids.kind_of(item)
    place, _, detail = came_from.partition(":")
    if kind == "P":
        here.choose(item)
        flash(f"{queries.name_of(here.book(), item)} works at this station now.", "go")
        return "/"
    if place == "cage" and detail:
        there = {
            "F": f"/cage/{detail}?tire={item}", "L": f"/cage/{detail}/change/{item}",
            "G": f"/do/load?line={detail}&batch={item}", "C": f"/do/read-cup?cup={item}",
        }  # fmt: skip
        if kind in there:
            return there[kind]
    if place == "several" and kind == "F":
        return f"/desk/several?tires={detail},{item}" if detail else f"/desk/several?tires={item}"
    if place == "racks" and kind == "F":
        session["moving"] = (item, here.now())
        return f"/do/rack?tires={item}" + (f"&zone={detail}" if detail else "")
    tire, since = session.pop("moving", ("", 0))
    if kind == "Z" and tire and 0 <= here.now() - since <= MOVING_S:
        return f"/do/rack?tires={tire}&zone={item}"
    if place == "desk" and kind == "F":
        return f"/desk/{item}" + ("?scanned=yes" if scanned else "")
    return {"U": f"/cage/{item}", "Z": f"/racks/{item}"}.get(kind, f"/i/{item}")


@bp.get("/search")
@here.one_picture
def search() -> ResponseReturnValue:
    text = request.args.get("q", "").strip()[:LONGEST]
    found = items.search(here.book(), here.shop(), text) if text else []
    page = render_template("scan/found.html", text=text, found=_described(found), scanned=text)
    return page, 404 if text and not found else 200
