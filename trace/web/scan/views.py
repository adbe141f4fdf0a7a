"""Whatever is scanned or typed into the box on every page: to the right page by its kind, or to what bears those words."""

from __future__ import annotations

import re

from flask import Blueprint, flash, redirect, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import items, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.web import here, trouble

bp = Blueprint("scan", __name__)
ADDRESS = re.compile(r"[a-z][a-z0-9+.-]*://|www\.", re.IGNORECASE)
LOOKS_LIKE_AN_ID = re.compile(r"[A-Za-z]{2}[-\s]?[A-Za-z][-\s]?[0-9OIl]{2}[-\s]?[0-9OIl]{5}.*", re.DOTALL)
LONGEST = 300


@bp.post("/scan")
def scan() -> ResponseReturnValue:
    text = request.form.get("code", "").strip()
    came_from = request.form.get("from", "")
    if not text:
        raise Nonsense(
            "Nothing was read: scan a label, or type an ID, a lot, a customer or a serial.", field="code"
        )
    if len(text) > LONGEST:
        raise Nonsense(
            f"That is {len(text)} characters long; no label of ours is. Scan it again.", field="code"
        )
    try:
        item = ids.read(text)
    except Nonsense as wrong:
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
    return redirect(page_for(item, came_from, scanned=bool(ADDRESS.match(text))), 303)


def _no_label(wrong: Nonsense) -> str:
    """Why an address of a label's form could not be read; for any other, what was expected."""
    words = str(wrong)
    return words if "last character" in words else "scan one of this shop's labels, or type its ID."


def _by_words(text: str) -> ResponseReturnValue:
    found = items.search(here.book(), here.shop(), text)
    if len(found) == 1 and found[0]["why"] == "this service number":
        return redirect(page_for(ids.read(found[0]["id"]), ""), 303)
    return render_template(
        "scan/found.html", text=text, found=_described(found), scanned=text
    ), 200 if found else 404


DESCRIBED = (
    "Customer",
    "Size",
    "Unit",
    "Serial",
    "Wheel serial",
    "Substance",
    "Supplier",
    "Lot",
    "Name",
    "Ground",
    "Poured",
)


def _described(found: list[dict[str, str]]) -> list[dict[str, str]]:
    """What was found, each with the few facts it is known by, and which word of it fits."""
    for one in found:
        facts = items.facts(here.book(), ids.read(one["id"]))
        one["facts"] = " · ".join(facts[name] for name in DESCRIBED if name in facts)
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
    if place == "racks" and kind == "F":
        return f"/do/rack?tires={item}" + (f"&zone={detail}" if detail else "")
    if place == "desk" and kind == "F":
        return f"/desk/{item}" + ("?scanned=yes" if scanned else "")
    return {"U": f"/cage/{item}", "Z": f"/racks/{item}"}.get(kind, f"/i/{item}")


@bp.get("/search")
@here.one_picture
def search() -> ResponseReturnValue:
    text = request.args.get("q", "").strip()[:LONGEST]
    found = items.search(here.book(), here.shop(), text) if text else []
    return render_template("scan/found.html", text=text, found=_described(found), scanned=text)
