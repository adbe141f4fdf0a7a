"""Who works at this station: a badge scanned or a name tapped, kept in the signed cookie for the shift or until somebody else's."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from fillbook.trace.book import queries
from fillbook.trace.core.errors import UnknownItem
from fillbook.trace.web import here
from fillbook.trace.work.ask import clean

bp = Blueprint("station", __name__)


@bp.get("/who")
def who() -> ResponseReturnValue:
    shops = [
        (queries.shop_row(here.book(), shop), queries.people(here.book(), shop))
        for shop in here.book().shops()
    ]
    if not shops:
        return redirect("/setup", 303)
    return render_template("station/who.html", shops=shops, station=session.get("station", ""))


@bp.post("/who")
def choose() -> ResponseReturnValue:
    person = request.form.get("person", "")
    if not any(
        person == one["item"] for shop in here.book().shops() for one in queries.people(here.book(), shop)
    ):
        raise UnknownItem("Nobody in this book has that badge. Pick a name from the list.", field="person")
    station = clean(request.form.get("station", ""), "station", 40)
    session["station"] = station
    here.choose(person)
    flash(f"{queries.name_of(here.book(), person)} works at this station now.", "go")
    return redirect("/", 303)


@bp.post("/who/leave")
def leave() -> ResponseReturnValue:
    here.leave()
    flash("Nobody works at this station now.", "look")
    return redirect("/who", 303)
