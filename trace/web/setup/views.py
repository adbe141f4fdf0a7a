"""The first page of an empty book: the shop, its owner, its units. It takes the code that the server's terminal shows.

So nobody else in the network begins the shop before its owner does. A further shop in the same book is begun by an owner who signs.
"""

from __future__ import annotations

from flask import Blueprint, flash, g, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from fillbook.trace.book import queries
from fillbook.trace.core.errors import NotAllowed, ShopError
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.work import pins, signing

bp = Blueprint("setup", __name__)


def _form() -> Form:
    """The labels' host is the one this page was reached at, unless only this very machine can reach it."""
    name = request.host.rsplit(":", 1)[0]
    reached = "" if name in ("127.0.0.1", "localhost", "[::1]") else request.host
    return Form("set up shop", action="/setup", prefill={"host": reached})


def _page(form: Form) -> str:
    owners, signs = [], ""
    if g.shop:
        owners = [p for p in queries.people(here.book(), here.shop()) if p.role == "owner"]
        person = here.who()
        signs = form.said.get("signed_by") or (person["item"] if person else "")
    at = form.error.field if form.error else None
    return render_template(
        "setup/setup.html", form=form, first=not here.book().shops(), owners=owners, signs=signs, at=at, focus_form=True
    )  # fmt: skip


@bp.get("/setup")
def setup() -> str:
    return _page(_form())


@bp.post("/setup")
def start() -> ResponseReturnValue:
    form = _form()
    form.take(request.form)
    new_pin = form.said.pop("new", "")
    try:
        _may_begin(form)
        pin = pins.checked(new_pin) if new_pin.strip() else None
        form.begins = True
    except ShopError as trouble:
        form.refuse(trouble)
        return _page(form), form.status
    done = form.send()
    if done is None:
        return _page(form), form.status
    g.shop = done.shop
    here.choose(done.ids[0])
    if pin and not done.repeated:
        signing.set_pin(here.book(), done.shop, done.ids[0], pin, proof=None, now=here.now())
    flash("The book is begun, and you are its owner.", "go")
    return redirect("/", 303)


def _may_begin(form: Form) -> None:
    """Whoever sees the terminal begins an empty book; a further shop takes an owner's signature. Raises NotAllowed."""
    if not here.book().shops():
        if not signing.same_code(form.said.get("code", ""), here.served().first_code):
            raise NotAllowed(
                "That is not the code of this start. It stands in the terminal where the book is served (fillbook serve); a new start "
                "shows a new one.",
                field="code",
            )
        return
    if _sent_twice(form):
        return
    worker = here.who() if g.shop else None
    if worker is None:
        raise NotAllowed(
            "To begin another shop takes an owner of this one. Say at the top who works here.", field="who"
        )
    signing.sign(
        here.book(), here.shop(), role="owner", who=worker["item"], signed_by=form.said.get("signed_by") or None, pin=form.pin,
        now=here.now(), doing="begin another shop", station=session.get("station"),
    )  # fmt: skip


def _sent_twice(form: Form) -> bool:
    """Whether this very form began its shop already: answered as that, by the request it carries."""
    site = form.said.get("site", "").strip().upper()
    first = queries.first_request(here.book(), site) if site in here.book().shops() else None
    return bool(first) and first == form.request_id
