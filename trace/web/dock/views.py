"""The dock: a truck of totes is booked in lot by lot, and each tote gets its label."""

from __future__ import annotations

from flask import Blueprint, g, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import glance, queries
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.verbs.views import after

bp = Blueprint("dock", __name__)
KEPT = ("supplier", "system", "side")  # the next lot off the same truck mostly shares them


def _page(form: Form) -> str:
    g.scan_from = "dock"
    book, shop = here.book(), here.shop()
    return render_template(
        "dock/dock.html", form=form, receipts=glance.receipts(book, shop), unprinted=len(glance.unprinted(book, shop, "L")),
        systems=queries.systems(book, shop),
    )  # fmt: skip


@bp.get("/dock")
def dock() -> str:
    return _page(Form("receive", action="/dock", prefill={name: request.args.get(name) for name in KEPT}))


@bp.post("/dock")
def receive() -> ResponseReturnValue:
    form = Form("receive", action="/dock")
    done = form.send()
    if done is None:
        return _page(form), form.status
    return after(form, done)
