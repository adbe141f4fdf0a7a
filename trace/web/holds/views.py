"""Holds: what is held and why; holding and lifting, one by one."""

from __future__ import annotations

from flask import Blueprint, render_template

from fillbook.trace.book import queries
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form

bp = Blueprint("holds", __name__)


@bp.get("/holds")
@here.one_picture
def holds() -> str:
    return render_template(
        "holds/holds.html", holds=queries.open_holds(here.book(), here.shop()), form=Form("hold")
    )
