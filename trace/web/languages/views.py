"""The page where a person chooses language and units, and the one tap in the footer."""

from __future__ import annotations

import re

from flask import Blueprint, Response, flash, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from fillbook.trace.book import preferences
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.languages.catalogue import LANGUAGES
from fillbook.trace.web import here
from fillbook.trace.web.languages import choice
from fillbook.trace.web.languages.script import script

bp = Blueprint("preferences", __name__)


@bp.get("/preferences")
def page() -> ResponseReturnValue:
    return render_template(
        "languages/preferences.html", chosen=here.preferences(), station=session.get("language", "")
    )


@bp.post("/preferences")
def keep() -> ResponseReturnValue:
    """Keep the language, the units, or both; with a person for them, without one for this station's language alone."""
    said = request.form
    language, units = said.get("language"), said.get("units")
    if language is not None and language not in ("", *LANGUAGES):
        raise Nonsense(
            f"There is no language {language[:20]!r} here. Choose one of {', '.join(LANGUAGES.values())}.",
            field="language",
        )
    if units is not None and units not in ("", *preferences.UNITS):
        raise Nonsense(
            f"There are no units {units[:20]!r} here. Choose those of the shop, US or metric ones.",
            field="units",
        )
    person = here.who()
    if person:
        before = here.preferences()
        preferences.keep(
            here.book(), here.shop(), person["item"],
            language=before.language if language is None else language, units=before.units if units is None else units,
        )  # fmt: skip
    elif units:
        raise UnknownItem(
            "Units are kept for a person. Say first who works here; a station without a person shows the shop's.",
            field="units",
        )
    if language is not None:
        session["language"] = language
    choice.forget()
    if "back" not in said:
        flash("Kept.", "go")
    return redirect(_back(said.get("back", "")), 303)


def _back(to: str) -> str:
    """A page of ours to go back to; never another host's. A browser takes a backslash for a slash, and leaves out tabs and ends of lines."""
    ours = re.fullmatch(r"/(?![/\\])[^\x00-\x1f\x7f]*", to)
    return to if ours else "/preferences"


@bp.get("/static/words.js")
def words() -> ResponseReturnValue:
    """What the scripts say, in the language that is asked for; its address changes with its words."""
    language = request.args.get("language", "en")
    if language not in LANGUAGES:
        raise UnknownItem("There is no such language here.")
    answer = Response(script(language), mimetype="text/javascript")
    answer.headers["Cache-Control"] = "public, max-age=31536000"
    return answer
