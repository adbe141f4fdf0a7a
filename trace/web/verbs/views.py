"""Everything that can be written down, verb by verb: the form behind every button of the other pages."""

from __future__ import annotations

from collections import defaultdict

from flask import Blueprint, flash, redirect, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import glance, queries
from fillbook.trace.core import ids
from fillbook.trace.web import here, limit_form, wording
from fillbook.trace.web.forms import Form
from fillbook.trace.work import registry
from fillbook.trace.work.acting import Answer
from fillbook.trace.work.ask import Item

bp = Blueprint("verbs", __name__)
PLACES = {
    "dock": "Dock",
    "line": "Line",
    "cage": "Cage",
    "racks": "Racks",
    "desk": "Release desk",
    "regrind": "Regrind",
    "office": "Office",
}
GOES_TO = {  # after it was done: the page where it shows
    "hook up": "/cage/{line}", "clean": "/cage/{line}", "purge": "/cage/{line}", "load": "/cage/{line}", "start fill": "/cage/{line}",
    "pour cup": "/cage/{line}", "unhook": "/i/{tote}", "finish fill": "/i/{tire}", "rack": "/racks/{zone}",
    "read temperature": "/racks/{zone}", "log temperatures": "/racks/{zone}", "read cup": "/i/{cup}", "release": "/desk/{tire}",
    "dispatch": "/desk", "reclaim": "/i/{tire}", "scrap": "/i/{item}", "hold": "/holds", "lift": "/holds",
    "open recall": "/recall/{seq}", "account for": "/recall/{recall}", "close recall": "/recall/{recall}", "correct": "/book/{event}", "identify": "/identify/{event}", "add system": "/",
    "add line": "/", "add zone": "/", "add person": "/book", "set limit": "/book#limits", "choose language": "/labels/faces", "set up shop": "/", "print": "/book/{seq}",
    "start shift": "/cage/{line}", "end shift": "/cage/{line}", "run pump": "/cage/{line}", "odd flow": "/cage/{line}",
    "empty waste": "/cage/{line}", "resume": "/cage/{line}", "pause": "/cage/{line}", "abandon": "/i/{tire}", "leak": "/i/{tire}",
    "inspect": "/i/{tire}", "stretch": "/i/{tire}", "inspect tote": "/i/{tote}", "attach": "/i/{item}", "keep": "/i/{cup}",
    "open order": "/cage", "settle": "/desk/{tire}", "hang sensor": "/racks/{zone}", "take down sensor": "/racks/{zone}",
    "let sensor send": "/racks/{zone}", "trust samples": "/book/{event}", "admit device": "/devices", "dismiss device": "/devices",
}  # fmt: skip

LABELLED = (
    "LGFC"  # what gets its label the moment it has an ID; signs and badges are printed when somebody asks
)


@bp.get("/do")
def every_verb() -> str:
    groups: dict[str, list[registry.Verb]] = defaultdict(list)
    for verb in registry.everything().values():
        groups[verb.place].append(verb)
    return render_template(
        "verbs/every.html", groups=groups, groups_words=PLACES, takes=wording.takes, may=here.is_at_least
    )


@bp.get("/do/<name>")
def form(name: str) -> ResponseReturnValue:
    asked = registry.find(name)
    if asked.name == "set up shop":
        return redirect("/setup", 303)
    if asked.name == "admit device":  # its token is made there, and its hash is nothing that anybody types
        return redirect("/devices", 303)
    if asked.name == "correct" and here.number(request.args.get("event", "")) is not None:
        return redirect(f"/book/{request.args['event']}#correct", 303)
    made = Form(asked.name, prefill=request.args.to_dict())
    return _page(made)


def _page(form: Form) -> str:
    """The form of a verb; a limit's stands before the list of all."""
    if form.verb.name == "set limit":
        return render_template(
            "office/set_limit.html", form=form, focus_form=True, limits=limit_form.by_part()
        )
    return render_template("verbs/verb.html", form=form, focus_form=True)


@bp.post("/do/<name>")
def do(name: str) -> ResponseReturnValue:
    form = Form(registry.find(name).name)
    if request.form.get("more rows"):
        form.take(request.form)
        return _page(form)
    if form.verb.name == "set limit" and limit_form.asks_back(form):
        return _page(form), form.status
    done = form.send()
    if done is None and form.verb.name == "log temperatures" and form.error and form.error.field == "read_as":
        # how the file would be read stands better on its own page; the same form is sent on there, file and all
        return redirect(f"/zones/{_code(form, 'zone')}/file", 307)
    if done is None:
        return _page(form), form.status
    return after(form, done)


def after(form: Form, done: Answer) -> ResponseReturnValue:
    """Say what was done and go where it shows; new IDs want their labels first."""
    if not done.repeated:
        flash(_said_back(form, done), "go")
    if form.verb.name == "return":
        return redirect(
            f"/identify/{done.seq}" if not form.said.get("tire") else f"/i/{_code(form, 'tire')}", 303
        )
    if done.ids and ids.kind_of(done.ids[0]) in LABELLED:
        return redirect(f"/labels?event={done.seq}", 303)
    return redirect(_where_it_shows(form, done), 303)


def _said_back(form: Form, done: Answer) -> str:
    """What was written down, in words that tell it from what was not meant."""
    named = ", ".join(ids.pretty(code) for code in done.ids[:3])
    more = len(done.ids) - 3
    event = glance.event_now(here.book(), done.shop, done.seq)
    said = event.body["said"] if event else {}
    if form.verb.name == "receive" and said:
        listed = f"{named} and {more} more" if more > 0 else named
        return f"{len(done.ids)} {'tote' if len(done.ids) == 1 else 'totes'} of {said['lot']} booked in as event {done.seq}: {listed}."
    if form.verb.name == "hook up" and event and event.body["before"]:
        here_line, side, off = (
            here.say().name(said["line"]),
            event.body["side"],
            ids.pretty(event.body["before"]),
        )
        on, dry = ids.pretty(said["tote"]), said["change"] == "ran dry"
        return f"{on} is on side {side} of {here_line} now; {off} came off, {'empty' if dry else 'with a rest in it'} (event {done.seq})."
    if form.verb.name == "hook up" and event:
        return f"{ids.pretty(said['tote'])} is on side {event.body['side']} of {here.say().name(said['line'])} now (event {done.seq})."
    if form.verb.name == "clean" and said:
        return f"{here.say().name(said['line'])} clean ({said['how']}): {said['parts']}; written down as event {done.seq}."
    if more > 0:
        return f"{form.verb.name.capitalize()}: written down as event {done.seq} ({named} and {more} more)."
    if named:
        return f"{form.verb.name.capitalize()}: written down as event {done.seq} ({named})."
    return f"{form.verb.name.capitalize()}: written down as event {done.seq}."


def _where_it_shows(form: Form, done: Answer) -> str:
    """The page of the verb's place, else that of the first item it named, else the floor."""
    codes = {one.name: _code(form, one.name) for one in form.all_fields}
    # The line is the one where the fill began
    if form.verb.name in ("pause", "resume") and not codes.get("line"):
        started = queries.start_of(here.book(), codes["tire"])
        codes["line"] = started.line if started else ""
    target = GOES_TO.get(form.verb.name, "").format(seq=done.seq, **codes)
    if target and not target.endswith("/"):
        return target
    named = next(
        (codes[one.name] for one in form.all_fields if isinstance(one.mark, Item) and codes[one.name]), ""
    )
    return f"/i/{named}" if named else "/"


def _code(form: Form, field: str) -> str:
    """What was said in *field* as it stands in an address: an ID in compact form, where it is one."""
    from fillbook.trace.core.errors import ShopError
    from fillbook.trace.work.floor import find_item

    text = str(form.fixed.get(field) or form.said.get(field, ""))
    try:
        return find_item(here.book(), here.shop(), text, "LGFCZUP", field)
    except ShopError:
        return text if here.number(text) is not None else ""
