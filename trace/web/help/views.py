"""Help inside: a page per job with a drawing, what to mind, and where it is written down."""

from __future__ import annotations

from functools import cache

from flask import Blueprint, render_template, request
from markupsafe import Markup

from fillbook import resource
from fillbook.trace.core.errors import ShopError, UnknownItem
from fillbook.trace.core.quote import quoted
from fillbook.trace.web.help.jobs import AT, BY_NAME, DANGERS, JOBS, OF_VERB
from fillbook.trace.work import registry

bp = Blueprint("help", __name__)


@bp.get("/help")
def every_job() -> str:
    return render_template("help/every.html", jobs=JOBS, drawing=drawing)


@bp.get("/help/<name>")
def job(name: str) -> str:
    if name not in BY_NAME:
        raise UnknownItem(f"There is no help on {quoted(name)}. There is some on {', '.join(BY_NAME)}.")
    return render_template("help/job.html", job=BY_NAME[name], dangers=DANGERS, drawing=drawing)


@cache
def drawing(name: str) -> Markup:
    """A job's drawing, to stand inside a page: its lines take the page's colours, by day and by night."""
    return Markup(
        resource(f"static/help/{name}.svg").read_text(encoding="utf-8").strip()
    )  # our own file, never anybody's input


@bp.app_context_processor
def help_at_hand() -> dict[str, str]:
    """The job that the page being looked at is about, for its small link."""
    name = AT.get(request.blueprint or "", "")
    if request.endpoint in ("verbs.form", "verbs.do"):
        try:
            name = OF_VERB.get(registry.find((request.view_args or {}).get("name", "")).name, "")
        except ShopError:
            name = ""
    return {"how": name}
