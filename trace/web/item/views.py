"""An item's page, the address that stands on its label: facts, holds, where it is, came from, went to, what happened."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from flask import Blueprint, Response, render_template, request

from fillbook.trace.book import events, glance, items, queries, recalls, zones
from fillbook.trace.book import later as later_readings
from fillbook.trace.book.danger import DANGER, kept_away
from fillbook.trace.book.latest import latest
from fillbook.trace.book.opening import Row
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.web import held, here
from fillbook.trace.web.item.offers import applies
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Item, fields_of
from fillbook.trace.work.corrections import FIXED

bp = Blueprint("item", __name__)
FOLLOWED = 5e-5  # the share of an item down to which the page goes on to what it was made from


@dataclass(frozen=True)
class Step:
    """What may come next for an item: a button's words and its address."""

    words: str
    path: str
    main: bool = False


@bp.get("/i/<path:code>")
@bp.get("/I/<path:code>")
@here.one_picture
def item(code: str) -> str:
    found = the_item(code)
    of_it = items.about(here.book(), found, with_history=False, say=here.say())
    kind = ids.kind_of(found)
    linked = kind in "LGFC" and of_it["place"]["state"] is not None
    state = of_it["place"]["state"]
    danger = kind == "F" and kept_away(here.book(), found) is not None
    held_here = bool(of_it["holds"])
    recall = (of_it["holds"][0]["recall"] or 0) if held_here else 0  # what was put on it comes first
    steps = next_steps(found, kind, state, danger=danger, held=held_here, recall=recall)
    acts, earlier = events.history(here.book(), found, _after())
    return render_template(
        "item/item.html", code=found, kind=kind, of_it=of_it, trace=_trace(found) if linked else None,
        steps=steps, others=everything_else(found, kind, state, steps, held=held_here) if state not in (None, "void") else ([], []), prints=len(queries.prints_of(here.book(), found)),
        place=queries.place_of(here.book(), found), papers=queries.attachments(here.book(), found),
        kept=zones.storage(here.book(), found, here.now()) if kind == "L" else None,
        keep_away=held.NOW[DANGER] if danger else "",
        changed=later_readings.alert(here.book(), here.shop(), found) if kind == "F" else None,
        weighed=weighed_by(found, kind), stay=FIXED, acts=acts, earlier=",".join(map(str, earlier)) if earlier else None, later="before" in request.args,
        undo=None if state in (None, "void") or "before" in request.args else last_act(acts),
    )  # fmt: skip


def _trace(item: str) -> dict[str, Any]:
    book = here.book()
    shop = queries.shop_of(book, item)
    return latest(
        book, shop, ("trace", item), lambda: recalls.trace(book, item, cut=FOLLOWED, with_origins=False)
    )


def _after() -> tuple[int, ...] | None:
    """Where an earlier part of the history begins; None for the newest, or where the address says nothing that can be read."""
    return here.numbers(request.args.get("before", ""), 4)


def last_act(acts: list[Row]) -> int | None:
    """The number of the newest event that can be corrected, for whoever sees at once that it was wrong."""
    for act in acts:
        if act.kind not in FIXED and glance.event_now(here.book(), here.shop(), act.seq) is not None:
            return act.seq
    return None


def weighed_by(item: str, kind: str) -> dict[str, int]:
    """The facts that somebody read off a scale or a gauge and may have typed wrong -> the event that says them."""
    read = {"F": queries.fill, "L": queries.tote, "G": queries.batch}.get(kind)
    row = read(here.book(), item) if read else None
    names = {"F": ("Weight", "Pressure"), "L": ("Net",), "G": ("Weight",)}
    return dict.fromkeys(names[kind], row.seq) if row and row.shop == here.shop() else {}


@bp.get("/attached/<int:seq>")
@here.one_picture
def attached(seq: int) -> Response:
    """A certificate, a delivery note or a photograph, as it was attached by that event."""
    row = here.book().one("SELECT media, digest FROM attachment WHERE shop = ? AND seq = ?", here.shop(), seq)
    if row is None:
        raise UnknownItem(f"Event {seq} attached nothing. Open the item's page and choose from there.")
    data = here.book().value("SELECT bytes FROM blob WHERE digest = ?", row.digest)
    return Response(bytes(data), mimetype=row.media)


def the_item(code: str) -> str:
    """The compact ID of an address; raises UnknownItem for one that this book never gave out."""
    try:
        found = ids.read(code)
    except Nonsense as trouble:
        raise ids.in_letters_of(trouble, here.shop(), "F") from None
    if not queries.item_exists(here.book(), found):
        raise UnknownItem(
            f"{ids.pretty(found)} reads well, but no such label was given out in this book. Check that it is this shop's."
        )
    return found


def everything_else(
    item: str, kind: str, state: str | None, steps: list[Step], *, held: bool
) -> tuple[list[tuple[str, list[Step]]], list[tuple[str, list[Step]]]]:
    """Every verb that takes an item of this kind and is not among the likely steps, by its place in the shop: those that can come
    next, and those for what happened otherwise and was not entered yet."""
    there = {step.path.split("?")[0] for step in steps}
    now: dict[str, list[Step]] = {}
    other: dict[str, list[Step]] = {}
    for place, words, path, field, verb in _verbs_of(kind):
        if path not in there:
            into = now if applies(verb, kind, state, held=held) else other
            into.setdefault(place, []).append(Step(words, f"{path}?{field}={item}"))
    return list(now.items()), list(other.items())


@cache
def _verbs_of(kind: str) -> tuple[tuple[str, str, str, str, str], ...]:
    """Place, words, page, field and name of every verb that takes an item of this kind; the same as long as the program runs."""
    found = []
    for verb in registry.everything().values():
        takes = next(
            (f for f in fields_of(verb.ask) if isinstance(f.mark, Item) and kind in f.mark.kinds), None
        )
        if takes and verb.name not in ("print", "release"):
            found.append((verb.place, verb.name.capitalize(), f"/do/{verb.command}", takes.name, verb.name))
    return tuple(found)


#: Steps that a hold stops: the first are not offered while it lies on the item, the others are not the likeliest.
NOT_WHILE_HELD = ("/do/hook-up", "/do/load")
STOPPED_BY_A_HOLD = (*NOT_WHILE_HELD, "/do/grind", "/do/reclaim", "/cage?")


def next_steps(
    item: str, kind: str, state: str | None, *, danger: bool = False, held: bool = False, recall: int = 0
) -> list[Step]:
    """What is most likely done next with an item in this state, the likeliest first; nothing that brings a hand near a tire in
    *danger*, and no way out of the shop for one that is *held*. What a hold stops is not the likeliest while it lies there, or while
    the *recall* of that event keeps it: looking at what keeps it is."""
    usual = _usual_steps(item, kind, state, danger=danger, held=held)
    # Cut out: that tire has its outcome
    ends_a_recall = recall and state in ("abandoned", "filled", "racked", "released", "returned")
    first = next((step for step in usual if step.main), None)
    if (
        not held
        or state == "filling"
        or first is None
        or not first.path.startswith(STOPPED_BY_A_HOLD)
        or ends_a_recall
    ):
        return usual
    look = (
        Step("Look at the recall", f"/recall/{recall}", True)
        if recall
        else Step("Look at the hold", "/holds", True)
    )
    return [look, *(replace(step, main=False) for step in usual if not step.path.startswith(NOT_WHILE_HELD))]


def _usual_steps(item: str, kind: str, state: str | None, *, danger: bool, held: bool) -> list[Step]:
    hold = Step("Hold", f"/do/hold?item={item}")
    recall = Step("What contains it?", f"/recall?suspect={item}")
    scrap = Step("Scrap", f"/do/scrap?item={item}")
    correct = [hold, recall, scrap]
    match kind, state:
        case _, "void":
            return []
        case "L", "in store" | "part used":
            return [Step("Hook up", f"/do/hook-up?tote={item}", True), *correct]
        case "L", "hooked up":
            return [Step("Take off", f"/do/unhook?tote={item}", True), *correct]
        case "L", _:
            return correct
        case "G", "used up" | "scrapped":
            return correct[:2]
        case "G", _:
            return [
                Step("Load a hopper", f"/do/load?batch={item}", True),
                Step("Grind on", f"/do/grind?pieces-0-source={item}"),
                *correct,
            ]
        case "F", "reserved":
            return [Step("Take it in", f"/do/take-in?reserved={item}", True)]
        case "F", "taken in" | "soaking" | "filling" | "paused":
            return [Step("To the cage", f"/cage?tire={item}", True), hold, scrap]
        case "F", "filled" | "racked" if danger:
            return [
                Step("Look at the hold", "/holds", True),
                Step("Release desk", f"/desk/{item}"),
                *correct[1:],
            ]
        case "F", "filled":
            return [
                Step("Lay on a rack", f"/do/rack?tires={item}", True),
                Step("Release desk", f"/desk/{item}"),
                *correct,
            ]
        case "F", "racked":
            return [Step("Release desk", f"/desk/{item}", True), *correct]
        case "F", "released" if held:
            return [
                Step("Look at the hold", "/holds", True),
                Step("Release desk", f"/desk/{item}"),
                *correct[1:],
            ]
        case "F", "released":
            return [
                Step("Send out", f"/do/dispatch?tires={item}", True),
                Step("Release desk", f"/desk/{item}"),
                *correct,
            ]
        case "F", "dispatched":
            return [Step("It came back", f"/do/return?tire={item}", True), *correct]
        case "F", "returned":
            return [Step("Cut its fill out", f"/do/reclaim?tire={item}", True), *correct]
        case "F", "reclaimed":
            return [Step("Grind it", f"/do/grind?pieces-0-source={item}", True), hold, recall]
        case "F", _:
            return [hold, recall]
        case "C", _:
            return [Step("Read the cup", f"/do/read-cup?cup={item}", True)]
        case "Z", _:
            return [Step("Its rack", f"/racks/{item}", True), hold]
        case "U", _:
            return [Step("Its cage", f"/cage/{item}", True), hold]
        case _:
            return []
