"""The cage: a line, what is hooked up to it, and the fill in two touches: scan, GO; scan, weight and pressure, DONE."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, g, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from fillbook.trace.book import glance, items, queries
from fillbook.trace.book.opening import Row
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Conflict, Stopped, UnknownItem, WrongKind
from fillbook.trace.web import held, here
from fillbook.trace.web.cage import ahead, drafts
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item
from fillbook.trace.work.filling import UNFILLED

bp = Blueprint("cage", __name__)
WAITING = 24  # tires that wait to be filled, on the page


@bp.get("/cage")
@bp.get("/fill")
@here.one_picture
def cage() -> ResponseReturnValue:
    lines = queries.lines(here.book(), here.shop())
    tire = request.args.get("tire", "")
    if len(lines) == 1:
        g.scan_from = f"cage:{lines[0]['item']}"
        return _page(lines[0]["item"], tire)
    now = here.now()
    rows = [glance.line_now(here.book(), here.shop(), one["item"], now) for one in lines]
    return render_template("cage/lines.html", lines=rows, tire=tire)


@bp.get("/cage/<code>")
@here.one_picture
def line(code: str) -> ResponseReturnValue:
    return _page(_line(code), request.args.get("tire", ""))


@bp.post("/cage/<code>/start/<tire>")
def start(code: str, tire: str) -> ResponseReturnValue:
    here_line, tire = _line(code), the_item(tire)
    form = _start(here_line, tire)
    done = form.send()
    if done is None:
        return _page(here_line, tire, form), form.status
    if not done.repeated:
        flash(f"{ids.pretty(tire)} is being filled.", "go")
    return redirect(url_for("cage.line", code=here_line), 303)


@bp.post("/cage/<code>/finish/<tire>")
def finish(code: str, tire: str) -> ResponseReturnValue:
    here_line, tire = _line(code), the_item(tire)
    form = _finish(here_line, tire)
    form.looked_at_after = (tire,)
    done = None if ahead.asks_back(form, tire) else form.send()
    if done is None:
        return _page(here_line, tire, form), form.status
    fill = queries.fill(here.book(), tire)
    if fill and not done.repeated:
        there = held.held(tire)
        if there and there.means == "danger":
            flash(f"{ids.pretty(tire)} filled: {here.say().mass(fill.grams)}.", "go")
        else:
            flash(f"{ids.pretty(tire)} filled: {here.say().mass(fill.grams)}. Lay it on a rack.", "go")
    return redirect(url_for("cage.line", code=here_line, filled=tire), 303)


@bp.get("/cage/<code>/change/<tote>")
@here.one_picture
def change(code: str, tote: str) -> ResponseReturnValue:
    here_line, tote = _line(code), the_item(tote)
    if ids.kind_of(tote) != "L" or queries.open_fill(here.book(), here_line) is None:
        return redirect(f"/do/hook-up?line={here_line}&tote={tote}", 303)
    return _change_page(here_line, tote, _change(here_line, tote))


@bp.post("/cage/<code>/change/<tote>")
def changed(code: str, tote: str) -> ResponseReturnValue:
    here_line, tote = _line(code), the_item(tote)
    form = _change(here_line, tote)
    form.stays = True
    done = form.send()
    if done is None:
        return _change_page(here_line, tote, form), form.status
    flash(f"{ids.pretty(tote)} is hooked up; the fill goes on.", "go")
    return redirect(url_for("cage.line", code=here_line), 303)


def _change(line: str, tote: str) -> Form:
    """A tote change in the middle of a fill: how full, then one of two buttons."""
    return Form(
        "hook up", fixed={"line": line, "tote": tote}, first=(), action=url_for("cage.changed", code=line, tote=tote)
    )  # fmt: skip


def _change_page(line: str, tote: str, form: Form) -> str:
    g.scan_from = f"cage:{line}"
    there = queries.connected(here.book(), line, here.now())
    facts = queries.tote(here.book(), tote)
    busy = queries.open_fill(here.book(), line)
    return render_template(
        "cage/change.html", line=glance.line_now(here.book(), here.shop(), line, here.now()), tote=tote, form=form,
        open_tire=busy["item"] if busy else "", substance=items.SIDES[facts.side] if facts else "",
        before=there.get(facts.side, "") if facts else "",
    )  # fmt: skip


def _line(code: str) -> str:
    found = the_item(code)
    if ids.kind_of(found) != "U":
        raise WrongKind(
            f"{ids.pretty(found)} is a {ids.KINDS[ids.kind_of(found)]}; a cage's page is a line's. Scan the line's sign."
        )
    return found


def _start(line: str, tire: str) -> Form:
    return Form(
        "start fill", fixed={"tire": tire, "line": line}, first=(), action=url_for("cage.start", code=line, tire=tire)
    )  # fmt: skip


def _finish(line: str, tire: str) -> Form:
    """DONE; the line is only said where the start was not entered."""
    started = queries.start_of(here.book(), tire)
    fixed = {"tire": tire} if started else {"tire": tire, "line": line}
    form = Form("finish fill", fixed=fixed, action=url_for("cage.finish", code=line, tire=tire))
    form.hidden = {"line"} if started else set()
    form.draft = url_for("drafts.draft", code=line, tire=tire)
    return form


def _page(code: str, tire: str = "", form: Form | None = None) -> str:
    book, shop, now = here.book(), here.shop(), here.now()
    g.scan_from = f"cage:{code}"
    there = glance.line_now(book, shop, code, now)
    open_tire = there.filling["item"] if there.filling else ""
    scanned = the_item(tire) if tire else ""
    if scanned and ids.kind_of(scanned) != "F":
        raise WrongKind(
            f"{ids.pretty(scanned)} is a {ids.KINDS[ids.kind_of(scanned)]}; a tire is filled. Scan a tire's tag."
        )
    chosen = scanned or open_tire
    changed: ahead.Difference | None = None
    stops: list[str] = []
    notes: list[str] = []
    if form is not None and isinstance(form.error, Conflict) and chosen:
        changed = ahead.difference(chosen, here.number(request.form.get("saw", "")) or 0, form)
        if form.verb.name == "start fill" or changed.fill_seq is not None:
            form = None  # what it would do was done already: the page goes on from what the book says
    state = queries.place_of(book, chosen).state if chosen else None
    filled = _filled(request.args.get("filled", ""))
    if form is None and chosen:
        if chosen == open_tire:
            form = _finish(code, chosen)
        elif state in UNFILLED and not open_tire:
            form = _start(code, chosen)
        elif state in ("paused", "abandoned") and not open_tire:
            said = {"tire": chosen, "line": code}
            form = Form("resume", fixed=said, hidden=said, button="GO ON")
    if form is not None:
        form.stays = True  # sent by the page itself, so that it says where the connection broke
        if form.verb.name == "start fill" and form.error is None:
            stops, notes = ahead.before_go(chosen, code)
            if stops:  # said before GO is touched, with the place for a lead's reason
                form.error = Stopped(" ".join(stops) + " A lead can override this with a reason.")
    return render_template(
        "cage/line.html", now_s=now, line=there, chosen=chosen, open_tire=open_tire, state_word=state, form=form,
        facts=_facts(chosen) if chosen else {}, waiting=_waiting(), pot_life=_pot_life(),
        changed=changed, stopped=bool(stops), before_go=notes, totes=ahead.totes_for(code, there.sources) if chosen and chosen == open_tire else [],
        beside=_beside(chosen) if form and form.verb.name == "finish fill" else {}, pot_life_until=_pot_life_until(chosen) if state == "paused" else None,
        filled=filled, drafts=drafts.others(chosen) if form and form.draft else [], filled_held=held.held(filled) if filled else None, focus_form=bool(form and form.verb.name == "finish fill"),
        at_work=form is not None,  # on a phone the places fold, so that the button stands in sight
    )  # fmt: skip


def _facts(tire: str) -> dict[str, Any]:
    """What the filler looks at: whose, which size, up to which pressure, how much regrind."""
    wanted = ("Customer", "Size", "Lowest rating", "To be filled to", "Unit", "Position", "Earlier")
    found = items.facts(here.book(), tire, here.say())
    facts = {name: found[name] for name in wanted if name in found}
    row = queries.tire(here.book(), tire)
    if row and row.mix_e4 is not None:
        facts["Regrind"] = here.say().share(row.mix_e4)
    return facts


def _beside(tire: str) -> dict[str, str]:
    """What stands beside the pressure: up to which it is filled, and the lowest rating, which it never passes."""
    row, say = queries.tire(here.book(), tire), here.say()
    rating = queries.rating(here.book(), tire)
    found = {}
    if row and row.target_pa is not None:
        found["target"] = say.pressure(row.target_pa)
    if rating is not None:
        found["rating"] = say.pressure(rating)
    return found


def _waiting() -> list[Row]:
    """Tires to be filled: first those that were interrupted, whose pot life runs, then by how long they have been there."""
    found = queries.in_state(here.book(), here.shop(), "paused", *UNFILLED, most=WAITING)
    paused = queries.in_state(here.book(), here.shop(), "paused", most=WAITING)
    return [*paused, *(one for one in found if one.state != "paused")][:WAITING]


def _pot_life() -> int:
    return queries.limit(here.book(), here.shop(), "pot_life", here.now())


def _pot_life_until(tire: str) -> int:
    """Until when an interrupted fill may go on without a cold joint; seconds of UTC."""
    return queries.place_of(here.book(), tire).since + _pot_life()


def _filled(code: str) -> str:
    """The tire that was just filled, if the address names one that is not racked yet."""
    if not code:
        return ""
    try:
        item = the_item(code)
    except UnknownItem:
        return ""
    return item if queries.place_of(here.book(), item).state == "filled" else ""
