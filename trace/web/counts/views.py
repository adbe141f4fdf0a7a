"""What the owner looks at: kilograms bought against those in tires, work orders, how people work."""

from __future__ import annotations

from flask import Blueprint, render_template, request, url_for

from fillbook.trace.book import habits, kilograms, queries, spans
from fillbook.trace.web import here

bp = Blueprint("counts", __name__)
RECENT_DAYS = 60
MOST_SPANS = 30  # of a line on one page
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
    before = here.numbers(request.args.get("before", ""), 4)
    there = queries.lines(book, shop)
    asked = [line for line in there if line["item"] == request.args.get("line")] if before else []
    lines = []
    for line in asked or there:
        bands = {side: spans.own_band(book, line["item"], side) for side in spans.SIDES}
        rows, shares, earlier = spans.page(
            book, shop, line["item"], since=since, before=before if asked else None, most=MOST_SPANS
        )
        lines.append(
            {"item": line["item"], "name": line["name"], "spans": rows, "shares": shares, "bands": {s: b for s, b in bands.items() if b is not None},
             "earlier": url_for("counts.lines_page", since="first" if whole else None, line=line["item"], before=",".join(map(str, earlier))) if earlier else None}
        )  # fmt: skip
    return render_template(
        "counts/lines.html", lines=lines, ways=tuple(BY), whole=whole, days=RECENT_DAYS, alone=bool(asked)
    )


@bp.get("/orders")
@here.one_picture
def orders() -> str:
    return render_template("counts/orders.html", orders=queries.orders(here.book(), here.shop()))


@bp.get("/habits")
@here.one_picture
def habits_page() -> str:
    return render_template("counts/habits.html", rows=habits.habits(here.book(), here.shop()))
