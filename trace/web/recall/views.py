"""Recall: which tires hold a suspect, how sure that is, where they are now, and where all of its material went."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from flask import Blueprint, Response, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from fillbook.trace.book import closed_recalls, glance, many_tires, queries, recalls, worked_out
from fillbook.trace.book.cells import harmless
from fillbook.trace.book.opening import Row
from fillbook.trace.book.outcomes import OPEN, OUTCOMES, outcomes_by
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.core.recall import (
    CERTAIN,
    CONTAMINATION,
    NOT_EXCLUDED,
    POSSIBLE,
    THROUGH_REGRIND,
    TRACES,
)
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
FIRST_ROWS = 20  # of each tier on the page of all
MOST_ROWS = 60  # of one tier on a page of its own
#: Heads of the columns a tire is found by without this book, as a spreadsheet names them.
FOUND_BY = [f"{name}_utc" if name == "dispatched" else name for name in many_tires.FOUND_BY]


@bp.get("/recall")
def recall() -> ResponseReturnValue:
    asked = request.args
    found, trouble = None, None
    if asked.get("suspect", "").strip():
        try:
            found = _found(at_once=None if asked.get("whole") else worked_out.AT_ONCE)
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
    parts = _parts(found) if found else []
    page = render_template(
        "recall/recall.html", asked=asked, found=found, trouble=trouble, form=form, how_sure=HOW_SURE, parts=parts, tires=_tires_on(parts),
        lots=glance.said_before(here.book(), here.shop(), "lot"), opened=queries.recalls(here.book(), here.shop()),
        default=f"{recalls.rules_threshold(here.book(), here.shop()) / 100:g}", query=_query(), received=sum(row["grams"] for row in found["account"] or ()) if found else 0,
    )  # fmt: skip
    return page, status_of(trouble) if trouble else 200


@dataclass(frozen=True)
class Part:
    """One tier as far as the page shows it: its rows, how many there are in all, and where the rest stands."""

    tier: str
    rows: list[dict[str, Any]]
    count: int
    first: int  # the number of its first row here, from 1 on
    before: str | None
    after: str | None
    alone: bool


def _parts(found: dict[str, Any]) -> list[Part]:
    """The tiers that hold something, each with its first rows; or one of them page by page, where that is asked for."""
    by_tier: dict[str, list[dict[str, Any]]] = {tier: [] for tier in TIERS}
    for one in found["items"]:
        by_tier[one["tier"]].append(one)
    tier = request.args.get("tier", "")
    alone = bool(by_tier.get(tier))
    page = max(1, here.number(request.args.get("page", "")) or 1) if alone else 1
    parts = []
    for name, rows in by_tier.items():
        if not rows or (alone and name != tier):
            continue
        many = MOST_ROWS if alone else FIRST_ROWS
        page = min(page, -(-len(rows) // many))
        start = (page - 1) * many
        parts.append(
            Part(
                name, rows[start : start + many], len(rows), start + 1,
                _address(name, page - 1) if page > 1 else None,
                _address(name, page + 1 if alone else 1) if start + many < len(rows) else None,
                alone,
            )
        )  # fmt: skip
    return parts


def _tires_on(parts: list[Part]) -> dict[str, dict[str, str]]:
    """What the tires on this page are found by, by the ID that stands there: read for what is shown and no more."""
    shown = {ids.read(one["id"]): one["id"] for part in parts for one in part.rows}
    return {shown[code]: tire for code, tire in many_tires.found_by(here.book(), shown).items()}


def _address(tier: str, page: int) -> str:
    return url_for("recall.recall", **_query(), tier=tier, page=page if page > 1 else None, _anchor="list")


@bp.get("/recall/how-sure")
@here.one_picture
def how_sure_are_we() -> ResponseReturnValue:
    if not request.args.get("suspect", "").strip():
        return redirect("/recall", 303)
    found, said = worked_out.how_sure_are_we(
        here.book(), here.shop(), request.args["suspect"], defect=request.args.get("defect") or CONTAMINATION,
        threshold_e4=_threshold(), us=here.say().us,
    )  # fmt: skip
    return render_template("recall/how_sure.html", found=found, said=said, query=_query())


@bp.get("/recall.json")
def as_json() -> Response:
    found = _found(with_traces=True)
    del found["lacking"]  # nothing is
    codes = [ids.read(one["id"]) for one in found["items"]]
    tires = many_tires.found_by(here.book(), codes)
    found["items"] = [one | {"tire": tires[code]} for one, code in zip(found["items"], codes, strict=True)]
    return _file(_json(found), "application/json", found, "json")


def _json(found: dict[str, Any]) -> str:
    """*found* as JSON with a line for each tire: written at once they take a tenth of the time."""
    parts = []
    for name, value in found.items():
        if name == "items" and value:
            lines = ",\n  ".join([json.dumps(one, ensure_ascii=False) for one in value])
            parts.append(f' "items": [\n  {lines}\n ]')
        else:
            parts.append(f" {json.dumps(name)}: {json.dumps(value, ensure_ascii=False)}")
    return "{\n" + ",\n".join(parts) + "\n}"


@bp.get("/recall.csv")
def as_csv() -> Response:
    found = _found(with_traces=True)
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow(
        ["tire", "tier", "grams_least", "grams_best", "grams_most", "share_least", "share_best", "share_most", "state", "where", "since_utc",
         *FOUND_BY]
    )  # fmt: skip
    codes = [ids.read(one["id"]) for one in found["items"]]
    tires = many_tires.found_by(here.book(), codes)
    for one, code in zip(found["items"], codes, strict=True):
        grams, share, place = one["grams"], one["exposure"], one["place"]
        sheet.writerow(
            [one["id"], one["tier"], grams["least"], grams["best"], grams["most"], share["least"], share["best"], share["most"],
             place["state"], harmless(place["where"]), place["since"], *map(harmless, tires[code].values())]
        )  # fmt: skip
    return _file(out.getvalue(), "text/csv", found, "csv")


@bp.get("/recall/<int(max=999999999999):seq>")
@here.one_picture
def opened(seq: int) -> str:
    row, items, closing, later = _with_outcomes(seq)
    changed = (
        next(iter(closed_recalls.changed(here.book(), here.shop(), only=seq)), None) if closing else None
    )
    tires = many_tires.found_by(here.book(), [one["item"] for one in [*items, *later]])
    return render_template(
        "recall/opened.html", row=row, items=items, how_sure=HOW_SURE, tiers=TIERS, closing=closing, later=later, changed=changed,
        tires=tires, to_tell=[] if closing else _to_tell(items, tires),
        counts=_counts([one["outcome"] for one in [*items, *later]], "no outcome" if closing else "no outcome yet"), reason=_reason(closing.seq) if closing else "",
    )  # fmt: skip


def _to_tell(
    items: list[dict[str, Any]], tires: dict[str, dict[str, str]]
) -> list[tuple[str, list[dict[str, Any]]]]:
    """The customers who have listed tires without an outcome, whoever has most of them first, each with these tires."""
    theirs: dict[str, list[dict[str, Any]]] = {}
    for one in items:
        if one["state"] == "dispatched" and one["outcome"] == OPEN:
            theirs.setdefault(tires[one["item"]]["customer"], []).append(one)
    return sorted(theirs.items(), key=lambda one: (-len(one[1]), one[0]))


@bp.get("/recall/<int(max=999999999999):seq>.csv")
@here.one_picture
def opened_csv(seq: int) -> Response:
    """The frozen list with each tire's outcome, and below it those that came to it before it was closed."""
    row, items, _, later = _with_outcomes(seq)
    tires = many_tires.found_by(here.book(), [one["item"] for one in [*items, *later]])
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow(
        ["tire", "tier", "listed_when_opened", "grams_least", "grams_best", "grams_most", "outcome", "state", "where", *FOUND_BY]
    )  # fmt: skip
    for one in [*items, *later]:
        then = "best_g" in one
        sheet.writerow(
            [ids.pretty(one["item"]), one["tier"], "yes" if then else "no",
             *([one["least_g"], one["best_g"], one["most_g"]] if then else ["", "", ""]),
             one["outcome"], one["state"] or "", harmless(here.say().name(one["place"]) if one["place"] else ""),
             *map(harmless, tires[one["item"]].values())]
        )  # fmt: skip
    return _file(out.getvalue(), "text/csv", {"suspect": f"{row.suspect}-event-{seq}"}, "csv")


def _with_outcomes(
    seq: int,
) -> tuple[Row, list[dict[str, Any]], Row | None, list[dict[str, Any]]]:
    """The recall of event *seq*, its tires with their outcomes, how it was closed, and the tires that only the closing counts."""
    row, items = _opened(seq)
    book, shop, now = here.book(), here.shop(), here.now()
    closing = closed_recalls.closing(book, shop, seq)
    frozen = closed_recalls.outcomes(book, shop, closing.seq) if closing else {}
    became = {} if closing else outcomes_by(book, row, [one["item"] for one in items], now)
    for one in items:
        one["outcome"] = frozen[one["item"]].outcome if closing else became[one["item"]]
    there = {one["item"] for one in items}
    later = [one for item, one in frozen.items() if item not in there]
    for one in later:
        one |= queries.place_of(book, one["item"])
    return row, items, closing, later


@bp.get("/recall/<int(max=999999999999):seq>/close")
@here.one_picture
def closing(seq: int) -> ResponseReturnValue:
    _opened(seq)
    if closed_recalls.closing(here.book(), here.shop(), seq):
        return redirect(f"/recall/{seq}", 303)
    return _closing_page(seq, _closing_form(seq))


@bp.post("/recall/<int(max=999999999999):seq>/close")
def close(seq: int) -> ResponseReturnValue:
    _opened(seq)
    form = _closing_form(seq)
    done = form.send()
    if done is None:
        return _closing_page(seq, form), form.status
    if not done.repeated:
        flash("The recall is closed. Its list stays as it was.", "go")
    return redirect(f"/recall/{seq}", 303)


def _opened(seq: int) -> tuple[Row, list[dict[str, Any]]]:
    there = glance.recall_list(here.book(), here.shop(), seq)
    if there is None:
        raise UnknownItem(f"Event {seq} opened no recall. The recall page lists those that were opened.")
    return there


def _closing_form(seq: int) -> Form:
    form = Form("close recall", fixed={"recall": str(seq)}, action=f"/recall/{seq}/close")
    form.about = []
    return form


def _closing_page(seq: int, form: Form) -> str:
    row, _ = _opened(seq)
    tires = closed_recalls.listed(here.book(), here.shop(), row, here.now())
    left = [(one, queries.tire(here.book(), one.item)) for one in tires if one.outcome == OPEN]
    form.stopped = bool(left)
    return render_template(
        "recall/close.html", row=row, form=form, left=left, total=len(tires), counts=_counts([one.outcome for one in tires]),
        later=[one for one in tires if one.later], gone=[one for one in tires if not one.today],
    )  # fmt: skip


def _counts(outcomes: list[str], none: str = "no outcome yet") -> list[tuple[str, int]]:
    """How many tires have which outcome; those without one last, called *none*."""
    return [(name or none, many) for name in OUTCOMES if (many := outcomes.count(name))]


def _reason(seq: int) -> str:
    """Why a recall was closed though some tires had no outcome; empty where none was needed."""
    event = glance.event_now(here.book(), here.shop(), seq)
    return event.body["said"].get("override", "") if event else ""


def _found(*, with_traces: bool = False, at_once: int | None = None) -> dict[str, Any]:
    asked = request.args
    suspect = asked.get("suspect", "").strip()
    if not suspect:
        raise Nonsense(
            "Say what is under suspicion: a lot, or the ID of a tote, a regrind batch or a tire.",
            field="suspect",
        )
    return worked_out.recall(
        here.book(), here.shop(), suspect, defect=asked.get("defect") or CONTAMINATION, threshold_e4=_threshold(),
        with_traces=with_traces, at_once=at_once,
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


def _file(text: str, kind: str, found: dict[str, Any], ending: str) -> Response:
    plain = re.sub(r"[^A-Za-z0-9]+", "-", found["suspect"]).strip("-") or "suspect"
    day = times.show_date(here.now(), here.say().zone)
    answer = Response(text, mimetype=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="recall-{plain}-{day}.{ending}"'
    return answer
