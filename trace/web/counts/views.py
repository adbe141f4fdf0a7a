"""What the owner looks at: kilograms bought against those in tires, work orders, how people work."""

from __future__ import annotations

from flask import Blueprint, render_template, request

from fillbook.trace.book import habits, kilograms, queries, spans
from fillbook.trace.web import here

bp = Blueprint("counts", __name__)
RECENT_DAYS = 60
MOST_SPANS = 100  # of a line on one page
BY = {"lot": kilograms.lots, "month": kilograms.months, "tote": kilograms.totes}


@bp.get("/kilograms")
@here.one_picture
def kilograms_page() -> str:
    by = request.args.get("by", "lot")
    by = by if by in BY else "lot"
    before = here.number(request.args.get("before", ""))
    earlier, items = kilograms.window(here.book(), here.shop(), by, before)
    rows = BY[by](here.book(), here.shop(), items)
    return render_template(
        "counts/kilograms.html",
        by=by,
        rows=rows[::-1] if by != "lot" else rows,
        ways=tuple(BY),
        earlier=earlier,
        before=before,
    )


@bp.get("/kilograms/lines")
@here.one_picture
def lines_page() -> str:
    book, shop = here.book(), here.shop()
    whole = request.args.get("since") == "first"
    since = None if whole else here.now() - RECENT_DAYS * 86400
    lines = []
    for line in queries.lines(book, shop):
        bands = {side: spans.own_band(book, line["item"], side) for side in spans.SIDES}
        lines.append(
            {"item": line["item"], "name": line["name"], "spans": spans.table(book, shop, line["item"], since)[::-1],
             "shares": spans.regrind_shares(book, shop, line["item"], since)[::-1], "bands": {s: b for s, b in bands.items() if b is not None}}
        )  # fmt: skip
    return render_template(
        "counts/lines.html", lines=lines, ways=tuple(BY), whole=whole, days=RECENT_DAYS, most=MOST_SPANS
    )


@bp.get("/orders")
@here.one_picture
def orders() -> str:
    return render_template("counts/orders.html", orders=queries.orders(here.book(), here.shop()))


@bp.get("/habits")
@here.one_picture
def habits_page() -> str:
    return render_template("counts/habits.html", rows=habits.habits(here.book(), here.shop()))
