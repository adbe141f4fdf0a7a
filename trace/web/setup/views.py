"""The first page of an empty book: the shop, its owner, its units."""

from __future__ import annotations

from flask import Blueprint, flash, g, redirect, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.web import here
from fillbook.trace.web.forms import Form

bp = Blueprint("setup", __name__)


def _form() -> Form:
    """The labels' host is the one this page was reached at, unless only this very machine can reach it."""
    name = request.host.rsplit(":", 1)[0]
    reached = "" if name in ("127.0.0.1", "localhost", "[::1]") else request.host
    return Form("set up shop", action="/setup", prefill={"host": reached})


@bp.get("/setup")
def setup() -> str:
    return render_template("setup/setup.html", form=_form(), focus_form=True)


@bp.post("/setup")
def start() -> ResponseReturnValue:
    form = _form()
    done = form.send()
    if done is None:
        return render_template("setup/setup.html", form=form, focus_form=True), form.status
    g.shop = done.shop
    here.choose(done.ids[0])
    flash("The book is begun, and you are its owner.", "go")
    return redirect("/", 303)
