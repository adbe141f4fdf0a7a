"""The paper trial: print the sheet, treat the tags as it says, enter what still reads; kept for the next time stock is bought."""

from __future__ import annotations

import io
from itertools import groupby

from flask import Blueprint, redirect, render_template, request, send_file
from flask.typing import ResponseReturnValue

from fillbook.labels.trials import STEPS, Trial, trial_sheet
from fillbook.trace.book import chain, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.languages import choice
from fillbook.trace.web.trouble import status_of
from fillbook.trace.work.floor import find_item

bp = Blueprint("trials", __name__)
KEPT = ("stock", "step", "tags")  # the next count mostly shares them


def _form() -> Form:
    said = {name: request.args.get(name) for name in KEPT}
    first = ("stock", "step", "tags", "qr", "bars", "either", "readable")
    return Form("paper trial", action="/labels/trial", button="Keep it", first=first, prefill=said)


@bp.get("/labels/trial")
def trial() -> ResponseReturnValue:
    return _page(_form())


def _page(form: Form, sheet_trouble: ShopError | None = None) -> ResponseReturnValue:
    rows = queries.paper_trials(here.book(), here.shop())
    order = [name for name, _ in STEPS]
    by_stock = [
        (stock, sorted(some, key=lambda row: (order.index(row.step), row.at)))
        for stock, some in groupby(rows, key=lambda row: row.stock)
    ]
    return render_template(
        "labels/trial.html", form=form, by_stock=by_stock, steps=STEPS, sheet_trouble=sheet_trouble, tags=request.values.get("tags_tried", ""),
        focus_form=form.error is not None or bool(form.said.get("stock")),
    ), status_of(sheet_trouble) if sheet_trouble else form.status  # fmt: skip


@bp.post("/labels/trial")
def keep() -> ResponseReturnValue:
    form = _form()
    done = form.send()
    if done is None:
        return _page(form)
    order = [name for name, _ in STEPS]
    after = order.index(form.said["step"]) + 1 if form.said.get("step") in order else len(order)
    more = {"stock": form.said["stock"].strip(), "tags": form.said["tags"].strip()}
    if after < len(order):
        more["step"] = order[after]
    from urllib.parse import urlencode

    return redirect("/labels/trial?" + urlencode(more) + "#counts", 303)


@bp.post("/labels/trial.pdf")
def sheet() -> ResponseReturnValue:
    """The sheet to go by: what to do, the tags tried, and what earlier trials showed."""
    book, shop = here.book(), here.shop()
    try:
        said = request.form.get("tags_tried", "").replace(",", " ").split()
        if not said:
            raise Nonsense("Say which tags are tried: scan them one after the other.", field="tags_tried")
        items = list(dict.fromkeys(find_item(book, shop, one, "LGFCZUP", "tags_tried") for one in said))
    except ShopError as trouble:
        return _page(_form(), trouble)
    earlier = [
        Trial(row.stock, row.step, row.tags, row.qr, row.bars, row.either, row.readable, row.why)
        for row in queries.paper_trials(book, shop)
    ]
    paper = "a4" if request.form.get("page") == "a4" else "letter"
    head = chain.position(book, shop)
    made = trial_sheet(
        [ids.pretty(one) for one in items],
        earlier,
        head=f"{shop}:{head.seq} {head.hash}",
        page=paper,
        language=choice.language(),
    )
    return send_file(io.BytesIO(made), "application/pdf", download_name="paper-trial.pdf", max_age=0)
