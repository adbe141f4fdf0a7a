"""Tires that came back without a label: which of ours each can be, narrowed by what somebody looked at and signed."""

from __future__ import annotations

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from fillbook.trace.book import items, queries, returned
from fillbook.trace.core import ids
from fillbook.trace.core.errors import UnknownItem
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form

bp = Blueprint("identify", __name__)
FIRST = 10  # candidates that stand open; nobody reads two hundred cards on a phone
CLUES = ("complaint", "customer", "size", "unit", "serial", "wheel_serial", "months")


@bp.get("/identify")
@here.one_picture
def waiting() -> str:
    form = Form("return", first=CLUES, button="Write down the return", hidden={"tire"})
    return render_template(
        "identify/waiting.html", form=form, cases=returned.unidentified(here.book(), here.shop())
    )


@bp.get("/identify/<int(max=999999999999):seq>")
@here.one_picture
def case(seq: int) -> str:
    return _page(seq, _form(seq))


@bp.post("/identify/<int(max=999999999999):seq>")
def sign(seq: int) -> ResponseReturnValue:
    form = _form(seq)
    if request.form.get("tire") and request.form.get("verdict") == "undetermined":
        form.fixed["verdict"] = "ours"  # who names the tire has said so
    done = form.send()
    if done is None:
        return _page(seq, form), form.status
    found = returned.open_return(here.book(), here.shop(), seq)
    if found and not done.repeated:
        left = len(found.candidates)
        flash(
            f"Identified as {ids.pretty(found.item)}."
            if found.item
            else f"Signed; {left} {'tire is' if left == 1 else 'tires are'} left.",
            "go",
        )
    return redirect(url_for("identify.case", seq=seq), 303)


def _form(seq: int) -> Form:
    return Form(
        "identify", fixed={"event": str(seq)}, first=("verdict", "why"), hidden={"tire", "rule_out"},
        action=url_for("identify.sign", seq=seq), prefill={"verdict": "undetermined"},
    )  # fmt: skip


def _page(seq: int, form: Form) -> str:
    book = here.book()
    found = returned.open_return(book, here.shop(), seq)
    if found is None:
        raise UnknownItem(
            f"Event {seq} is no return without a label. The identify page lists those that wait."
        )
    form.about = []
    first, others = found.candidates[:FIRST], found.candidates[FIRST:]
    marked = {form.said.get("tire", ""), *form.said.getlist("rule_out")}
    facts = {one["item"]: items.facts(book, one["item"], here.say()) for one in found.candidates}
    stands = {one["item"]: queries.place_of(book, one["item"]) for one in found.candidates}
    g.scan_from = ""
    return render_template(
        "identify/case.html", case=found, form=form, facts=facts, stands=stands, ruled_out=form.said.getlist("rule_out"),
        named=form.said.get("tire", ""), first=first, others=others, open_others=any(one["item"] in marked for one in others),
    )  # fmt: skip
