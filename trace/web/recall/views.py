"""Recall: which tires hold a suspect, how sure that is, where they are now, and where all of its material went."""

from __future__ import annotations

import csv
import io
import json
import re
from decimal import Decimal, InvalidOperation
from typing import Any

from flask import Blueprint, Response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import glance, how_sure, queries, recalls
from fillbook.trace.core import times
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.core.recall import CERTAIN, NOT_EXCLUDED, POSSIBLE, THROUGH_REGRIND, TRACES
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.trouble import status_of

bp = Blueprint("recall", __name__)
HOW_SURE = {
    CERTAIN: "It holds the suspect for certain: it came straight from the tote, by every reading of the records.",
    POSSIBLE: "It may hold the suspect: it was filled near a change-over, and the hose may still have held some.",
    THROUGH_REGRIND: "It holds the suspect through regrind, at or above the threshold.",
    NOT_EXCLUDED: "The records can't exclude it: by their bounds, or through material of unknown origin, it may reach the threshold.",
    TRACES: "Less than the threshold.",
}
TIERS = (CERTAIN, POSSIBLE, THROUGH_REGRIND, NOT_EXCLUDED)


@bp.get("/recall")
def recall() -> ResponseReturnValue:
    asked = request.args
    found, trouble = None, None
    if asked.get("suspect", "").strip():
        try:
            found = _found()
        except ShopError as wrong:
            trouble = wrong
    form = None
    if found:
        form = Form(
            "open recall", first=("why",), hidden={"suspect", "defect"},
            fixed={"suspect": asked["suspect"].strip(), "defect": found["defect"]},
            prefill={"threshold_e4": f"{found['threshold'] * 100:g}", "threshold_e4.unit": "pct"},
        )  # fmt: skip
        form.about = []
    page = render_template(
        "recall/recall.html", asked=asked, found=found, trouble=trouble, form=form, how_sure=HOW_SURE, tiers=TIERS,
        lots=glance.said_before(here.book(), here.shop(), "lot"), opened=queries.recalls(here.book(), here.shop()),
        default=f"{recalls.rules_threshold(here.book(), here.shop()) / 100:g}", query=_query(),
    )  # fmt: skip
    return page, status_of(trouble) if trouble else 200


@bp.get("/recall/how-sure")
@here.one_picture
def how_sure_are_we() -> ResponseReturnValue:
    if not request.args.get("suspect", "").strip():
        return redirect("/recall", 303)
    found = _found()
    said = how_sure.explain(here.book(), here.shop(), found, here.say().us, request.args["suspect"])
    return render_template("recall/how_sure.html", found=found, said=said, query=_query())


@bp.get("/recall.json")
def as_json() -> Response:
    found = _found(with_traces=True)
    return _file(json.dumps(found, indent=1, ensure_ascii=False), "application/json", found, "json")


@bp.get("/recall.csv")
def as_csv() -> Response:
    found = _found(with_traces=True)
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow(
        ["tire", "tier", "grams_least", "grams_best", "grams_most", "share_least", "share_best", "share_most", "state", "where", "since_utc"]
    )  # fmt: skip
    for one in found["items"]:
        grams, share, place = one["grams"], one["exposure"], one["place"]
        sheet.writerow(
            [one["id"], one["tier"], grams["least"], grams["best"], grams["most"], share["least"], share["best"], share["most"],
             place["state"], _harmless(place["where"]), place["since"]]
        )  # fmt: skip
    return _file(out.getvalue(), "text/csv", found, "csv")


@bp.get("/recall/<int(max=999999999999):seq>")
@here.one_picture
def opened(seq: int) -> str:
    there = glance.recall_list(here.book(), here.shop(), seq)
    if there is None:
        raise UnknownItem(f"Event {seq} opened no recall. The recall page lists those that were opened.")
    row, items = there
    return render_template("recall/opened.html", row=row, items=items, how_sure=HOW_SURE, tiers=TIERS)


def _found(*, with_traces: bool = False) -> dict[str, Any]:
    asked = request.args
    suspect = asked.get("suspect", "").strip()
    if not suspect:
        raise Nonsense(
            "Say what is under suspicion: a lot, or the ID of a tote, a regrind batch or a tire.",
            field="suspect",
        )
    return recalls.recall(
        here.book(), here.shop(), suspect, defect=asked.get("defect") or "contamination", threshold_e4=_threshold(),
        with_traces=with_traces,
    )  # fmt: skip


def _threshold() -> int | None:
    """The threshold typed in percent, in ten-thousandths; None where the shop's own was left."""
    text = request.args.get("threshold_pct", "").strip().removesuffix("%").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = Decimal(text) * 100
    except InvalidOperation:
        value = Decimal(-1)
    if not value.is_finite() or not 0 < value <= 10_000 or value != int(value):
        raise Nonsense(
            f"The threshold {text!r} is not a percentage from 0.01 to 100; 1 lists tires that hold at least 1 % through regrind.",
            field="threshold_pct",
        )
    return int(value)


def _query() -> dict[str, str]:
    return {
        name: request.args[name] for name in ("suspect", "defect", "threshold_pct") if request.args.get(name)
    }


def _harmless(text: str) -> str:
    """A cell that a spreadsheet reads as text and never as a formula."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") else text


def _file(text: str, kind: str, found: dict[str, Any], ending: str) -> Response:
    plain = re.sub(r"[^A-Za-z0-9]+", "-", found["suspect"]).strip("-") or "suspect"
    day = times.show_date(here.now(), here.say().zone)
    answer = Response(text, mimetype=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="recall-{plain}-{day}.{ending}"'
    return answer
