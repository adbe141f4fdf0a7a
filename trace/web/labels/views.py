"""Labels: which ones, printed before or not, and the PDF. Looking is free; handing out is written down."""

from __future__ import annotations

import io

from flask import Blueprint, render_template, request, send_file
from flask.typing import ResponseReturnValue

from fillbook.trace.book import glance, queries
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.web import here, printing
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item

bp = Blueprint("labels", __name__)
MOST = 200


def _asked() -> list[str]:
    """The items that were asked for: by their IDs, by the event that gave them out, or by kind where never printed."""
    args = request.values
    found = [the_item(code) for part in args.getlist("ids") for code in part.replace(",", " ").split()]
    if (event := here.number(args.get("event", ""))) is not None:
        found += glance.items_of(here.book(), here.shop(), event)
    if args.get("unprinted") in ("L", "F", "G", "C", "Z", "U", "P"):
        found += glance.unprinted(here.book(), here.shop(), args["unprinted"], MOST)
    found = list(dict.fromkeys(found))
    if len(found) > MOST:
        raise Nonsense(
            f"{len(found)} labels at once are too many to read back in good time; ask for at most {MOST}.",
            field="ids",
        )
    return found


def _form(items: list[str]) -> Form:
    form = Form(
        "print",
        fixed={"items": items, "how": "handed out"},
        first=("why",),
        action="/labels.pdf",
        button="Print",
    )
    form.about = []
    return form


@bp.get("/labels")
def labels() -> str:
    return _page(_form(items := _asked()), items)


def _page(form: Form, items: list[str]) -> str:
    book = here.book()
    kinds = {kind: len(glance.unprinted(book, here.shop(), kind)) for kind in "LGFCZUP"}
    printed = {item: len(queries.prints_of(book, item)) for item in items}
    why = (
        next((one for one in form.inputs() if one.name == "why"), None)
        if any(printed.values()) or form.error
        else None
    )
    if why:
        why.needed = True
    return render_template(
        "labels/labels.html", form=form, why=why, items=items, printed=printed, unprinted=kinds, focus_form=bool(items),
        warnings=printing.warnings(book, items),
    )  # fmt: skip


@bp.post("/labels.pdf")
def hand_out() -> ResponseReturnValue:
    items = _asked()
    form = _form(items)
    if not items:
        raise Nonsense("No label was chosen: open an item or a receipt and print from there.", field="ids")
    made = printing.labels_pdf(
        here.book(), items
    )  # outside the writing: drawing and reading back take their time
    done = form.send()
    if done is None:
        return _page(form, items), form.status
    return send_file(io.BytesIO(made), "application/pdf", download_name=f"labels-{done.seq}.pdf", max_age=0)
