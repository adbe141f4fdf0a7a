"""Who works here and what they sign with: names, roles, badges, PINs. The list is the owner's; a PIN is its person's own."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, flash, make_response, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from fillbook.trace.book import queries, sign_ins
from fillbook.trace.book.opening import Row
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.trouble import status_of
from fillbook.trace.work import signing

bp = Blueprint("people", __name__)


@bp.get("/people")
def people() -> str:
    return _page()


def _page(trouble: ShopError | None = None, **more: Any) -> str:
    book, shop, now = here.book(), here.shop(), here.now()
    rows = []
    for one in queries.people(book, shop):
        kept = sign_ins.row(book, one["item"])
        waits = kept.locked_until if kept.locked_until > now else 0
        has_code = kept.code is not None and kept.code_until > now
        rows.append({**one, "has_pin": kept.pin is not None, "waits": waits, "has_code": has_code})
    person = here.who()
    return render_template(
        "people/people.html", rows=rows, trouble=trouble, add=Form("add person"), signers=[p for p in rows if p["role"] == "owner"],
        signs=request.form.get("signed_by") or (person["item"] if person else ""), asks=_asks_pin(),
        picked=request.form.get("person", ""), without=signing.may_do_without(book, shop), **more,
    )  # fmt: skip


def _asks_pin() -> bool:
    return not signing.may_do_without(here.book(), here.shop())


@bp.post("/people/code")
def code() -> ResponseReturnValue:
    """Give somebody a one-time code; it is shown once, on the page that answers, and kept nowhere."""
    try:
        owner, person = _signed("give a one-time code")
    except ShopError as trouble:
        return _page(trouble), status_of(trouble)
    given = signing.give_code(
        here.book(),
        here.shop(),
        person["item"],
        by=owner["item"],
        now=here.now(),
        station=session.get("station"),
    )
    return _unkept(_page(given=given, given_to=person))


@bp.post("/people/lift")
def lift() -> ResponseReturnValue:
    """End somebody's wait after wrong PINs."""
    try:
        owner, person = _signed("lift a wait")
    except ShopError as trouble:
        return _page(trouble), status_of(trouble)
    signing.lift_wait(
        here.book(),
        here.shop(),
        person["item"],
        by=owner["item"],
        now=here.now(),
        station=session.get("station"),
    )
    flash(f"{person.name} may sign again at once.", "go")
    return redirect("/people", 303)


def _signed(doing: str) -> tuple[Row, Row]:
    """The owner who signed this, and the person it is about."""
    book, shop, worker = here.book(), here.shop(), here.who()
    asked = request.form.get("person", "")
    if not asked:
        raise Nonsense("Pick the person it is for.", field="person")
    person = queries.person(book, shop, asked)
    if worker is None:
        raise UnknownItem("Nobody is named as acting. Say at the top who works here.", field="who")
    owner = signing.sign(
        book, shop, role="owner", who=worker["item"], signed_by=request.form.get("signed_by") or None,
        pin=request.form.get("pin"), now=here.now(), doing=doing, station=session.get("station"),
    )  # fmt: skip
    return owner, person


# -- one's own PIN -----------------------------------------------------------------------------------------------------------------
@bp.get("/pin")
def pin() -> ResponseReturnValue:
    return _pin_page(request.args.get("person", ""))


@bp.post("/pin")
def set_pin() -> ResponseReturnValue:
    asked, new = request.form.get("person", ""), request.form.get("new", "")
    book, shop = here.book(), here.shop()
    try:
        if not asked:
            raise Nonsense("Pick whose PIN it is.", field="person")
        if new.strip() != request.form.get("again", "").strip():
            raise Nonsense("The two PINs are not the same. Type the new one twice.", field="again")
        person = signing.set_pin(
            book,
            shop,
            asked,
            new,
            proof=request.form.get("proof"),
            now=here.now(),
            station=session.get("station"),
        )
    except ShopError as trouble:
        return _pin_page(asked, trouble), status_of(trouble)
    flash(f"{person.name}'s PIN is set. It is asked for what a lead or the owner signs.", "go")
    lacking = [
        p.name
        for p in queries.people(book, shop)
        if p.role != "hand" and sign_ins.row(book, p["item"]).pin is None
    ]
    if person.role == "owner" and lacking:
        flash(
            f"From now on nobody signs without a PIN. Still without one: {', '.join(lacking)}. Give each a one-time code.",
            "look",
        )
        return redirect("/people" if here.is_at_least("owner") else "/", 303)
    return redirect("/", 303)


def _pin_page(asked: str, trouble: ShopError | None = None) -> str:
    book, shop = here.book(), here.shop()
    everybody = queries.people(book, shop)
    person = next((p for p in everybody if p["item"] == asked), None) or here.who()
    free = {p["item"] for p in everybody if not signing.needs_proof(book, shop, p)}
    return render_template(
        "people/pin.html", everybody=everybody, picked=person["item"] if person else "", trouble=trouble,
        proof=not (person and person["item"] in free), at=trouble.field if trouble else "",
    )  # fmt: skip


def _unkept(page: str) -> Response:
    answer = make_response(page)
    answer.headers["Cache-Control"] = "no-store"
    return answer
