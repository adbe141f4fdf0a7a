"""The release desk: one scan says whether a tire may go, why, and until when not; a signature; sending out and taking back."""

from __future__ import annotations

from collections.abc import Iterable

from flask import Blueprint, Response, flash, g, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from fillbook.trace.book import cures, glance, items, later, on_hold, queries
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense, ShopError, WrongKind
from fillbook.trace.core.release import TwoDates, two_dates
from fillbook.trace.web import called, held, here, papers, scanned
from fillbook.trace.web.desk.rows import GONE, rows_of
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item
from fillbook.trace.web.languages import choice

bp = Blueprint("desk", __name__)
ON_PAPER = 200  # rows of one day sheet, as many as one act reserves
SHOWN = 40  # of each list; the racks have them all
PATHS = {
    "earliest": "the short rule, with a passing sample cup",
    "standard": "the standard rule",
    "override": "a lead's override",
}


@bp.get("/desk")
@here.one_picture
def desk() -> str:
    g.scan_from = "desk"
    book, shop = here.book(), here.shop()
    rows = cures.racks(book, shop, here.now(), here.say())
    released = queries.in_state(book, shop, "released", most=SHOWN)
    return render_template(
        "desk/desk.html", rows=rows, ready=[r for r in rows if r["case"] and r["case"].decision.ok][:SHOWN],
        released=released, kept_back=on_hold.held_among(book, [one["item"] for one in released]), dispatch=Form("dispatch"), alerts=later.alerts(book, shop)[:SHOWN],
        reserved=queries.reserved(book, shop),
    )  # fmt: skip


# -- on paper -----------------------------------------------------------------------------------------------------------------------
@bp.get("/desk/sheet.pdf")
@here.one_picture
def sheet() -> Response:
    """The release sheet in the language and units of who asks."""
    made = papers.release_sheet_pdf(
        here.book(), here.shop(), here.now(), _paper(), say=here.say(), language=choice.language()
    )
    return _download(made, "release-sheet")


@bp.get("/desk/day-sheet.pdf")
@here.one_picture
def day_sheet() -> Response:
    """A day sheet to fill in by hand: for the IDs that an event reserved, else for all that are reserved and not taken in yet."""
    book, shop = here.book(), here.shop()
    event = here.number(request.args.get("event", ""))
    tires = queries.reserved(book, shop) if event is None else glance.items_of(book, shop, event)
    tires = [tire for tire in tires if ids.kind_of(tire) == "F"][:ON_PAPER]
    return _download(
        papers.day_sheet_pdf(book, shop, tires, _paper(), language=choice.language()), "day-sheet"
    )


def _paper() -> str:
    return "letter" if here.say().us else "a4"


def _download(made: bytes, name: str) -> Response:
    answer = Response(made, mimetype="application/pdf")
    day = times.show_date(here.now(), here.say().zone)
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}-{day}.pdf"'
    answer.headers["Cache-Control"] = "no-store"
    return answer


# -- several tires, one signature ------------------------------------------------------------------------------------------------
@bp.get("/desk/several")
@here.one_picture
def several() -> str:
    """Tires scanned one after the other: each with its verdict, the newest as large as on its own page."""
    tires = called.tires(request.args.get("tires", ""))
    return _several(tires, _several_form(tires), newest=tires[-1] if tires else None)


@bp.post("/desk/several")
def release_several() -> ResponseReturnValue:
    """Release those that may be, with one signature; the rest stay on the list with their reasons."""
    tires = called.tires(request.form.get("all", ""))
    form = _several_form(tires)
    wanted = {code for code in request.form.getlist("tires") if code in tires}
    form.take(request.form)
    form.said.setlist("tires", [tire for tire in tires if tire in wanted])
    try:
        done = form.act()
    except ShopError as trouble:
        form.refuse(trouble)
        return _several(tires, form, newest=None), form.status
    form.done(done)
    if not done.repeated:
        flash(
            f"{len(wanted)} {'tire is' if len(wanted) == 1 else 'tires are'} released with one signature.",
            "go",
        )
    left = [tire for tire in tires if tire not in wanted]
    return redirect("/desk/several" + (f"?tires={','.join(left)}" if left else ""), 303)


def _several_form(tires: list[str]) -> Form:
    form = Form(
        "release",
        first=("tag_scanned",),
        hidden={"tire", "tires"},
        action="/desk/several",
    )
    form.about = list(tires)
    return form


def _several(tires: list[str], form: Form, newest: str | None) -> str:
    g.scan_from = f"several:{','.join(tires)}"
    rows = rows_of(tires)
    if not form.posted:
        form.said["tag_scanned"] = _scanned(row["item"] for row in rows if row["ok"])
    return render_template(
        "desk/several.html", rows=rows, newest=next((r for r in rows if r["item"] == newest), None), form=form, all=tires,
        may=[row for row in rows if row["ok"]], rest=[row for row in rows if not row["ok"]],
    )  # fmt: skip


@bp.get("/desk/<code>")
@here.one_picture
def tire(code: str) -> str:
    found = _tire(code)
    return _page(found, _form(found))


@bp.post("/desk/<code>")
def release(code: str) -> ResponseReturnValue:
    found = _tire(code)
    form = _form(found)
    done = form.send()
    if done is None:
        return _page(found, form), form.status
    if not done.repeated and not held.held(found):  # what holds it says that it is released and may not leave
        flash(f"{ids.pretty(found)} is released.", "go")
    return redirect(url_for("desk.tire", code=found), 303)


def _tire(code: str) -> str:
    found = the_item(code)
    if ids.kind_of(found) != "F":
        raise WrongKind(
            f"{ids.pretty(found)} is a {ids.KINDS[ids.kind_of(found)]}; the release desk takes tires. Scan a tire's tag."
        )
    return found


def _form(tire: str) -> Form:
    return Form(
        "release", fixed={"tire": tire}, first=("tag_scanned",), hidden={"tires"}, prefill={"tag_scanned": _scanned([tire])},
        action=url_for("desk.release", code=tire),
    )  # fmt: skip


def _scanned(tires: Iterable[str]) -> str:
    return "yes" if scanned.lately(tires) else "no"


def _page(tire: str, form: Form) -> str:
    g.scan_from = "desk"
    book, now = here.book(), here.now()
    state = queries.place_of(book, tire)
    case, why_not = None, ""
    try:
        read = state.state in GONE or form.said.get("tag_scanned") == "yes"
        case = cures.case(book, tire, now, tag_scanned=read, say=here.say())
    except Nonsense as trouble:
        why_not = str(trouble)
    form.stopped = case is not None and not case.decision.ok
    released = queries.releases(book, tire)
    return render_template(
        "desk/tire.html", tire=tire, state_row=state, case=case, why_not=why_not, form=form, facts=_facts(tire),
        released=released[-1] if released else None, paths=PATHS, parts=_parts(case) if case else [],
        later=later.alert(book, here.shop(), tire) if released else None,
        dates=_dates_now(case) if case and case.decision.ok else None,
    )  # fmt: skip


def _dates_now(case: cures.Case) -> TwoDates:
    """The two dates the tag would bear, were the tire released now."""
    book, shop, now = here.book(), here.shop(), here.now()
    return two_dates(
        case.cure, case.decision, move_after_s=queries.limit(book, shop, "move_after", now),
        work_after_s=queries.limit(book, shop, "work_after", now), released_at=now,
    )  # fmt: skip


def _facts(tire: str) -> dict[str, str]:
    found = items.facts(here.book(), tire, here.say())
    wanted = (
        "Customer",
        "Size",
        "Filled",
        "Weight",
        "Regrind",
        "Pressure",
        "Lowest rating",
        "Line",
        "Filled by",
        "Cold start",
    )
    return {name: found[name] for name in wanted if name in found}


def _parts(case: cures.Case) -> list[tuple[str, int, str]]:
    """What became of the time since the fill: (words, seconds, how it is drawn)."""
    cure = case.cure
    waited = cure.credit_from - cure.started_at
    return [
        part
        for part in (
            ("credited by the logger", cure.credited_s, "credited"),
            ("attended, by hand readings", cure.attended_s, "attended"),
            ("just below the limit, not counted", cure.near_s, "near"),
            ("too cold, not counted", cure.below_s, "below"),
            ("unobserved, not counted", cure.unobserved_s, "unobserved"),
            (
                "while the tire took on the room's warmth",
                min(waited, max(0, cure.now - cure.started_at)),
                "waited",
            ),
        )
        if part[1] >= 60
    ]
