"""Regrind: fills are cut out, ground with rests and unknown pieces into a labelled batch; what is unset is scrapped."""

from __future__ import annotations

from flask import Blueprint, render_template

from fillbook.trace.book import glance, queries
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form

bp = Blueprint("regrind", __name__)
SHOWN = 40


@bp.get("/regrind")
@here.one_picture
def regrind() -> str:
    book, shop = here.book(), here.shop()
    return render_template(
        "regrind/regrind.html", batches=glance.batches(book, shop), back=queries.in_state(book, shop, "returned", most=SHOWN),
        cut=queries.cut_and_whole(book, shop, SHOWN), grind=Form("grind"), reclaim=Form("reclaim"),
        scrap=Form("scrap"),
    )  # fmt: skip
