"""Holds: what is held and why; holding and lifting, one by one."""

from __future__ import annotations

from flask import Blueprint, render_template

from fillbook.trace.book import on_hold
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form

bp = Blueprint("holds", __name__)


@bp.get("/holds")
@here.one_picture
def holds() -> str:
    return render_template(
        "holds/holds.html", holds=on_hold.open_holds(here.book(), here.shop()),
        recalls=on_hold.open_recalls(here.book(), here.shop()), form=Form("hold"),
    )  # fmt: skip
