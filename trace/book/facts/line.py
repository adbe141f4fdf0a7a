"""What is done at a line between the fills."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import DRAW, PREPARE, Facts, act, draws, handles
from fillbook.trace.book.journal import Event


@handles("hook up")
def _hook_up(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body, line = event.body, said["line"]
    if body["before"]:
        ran_dry = said["change"] == "ran dry"
        # Its state isn't said here: it follows from the acts on the line, whatever is corrected or entered late.
        facts.touch(body["before"], "ran dry and came off" if ran_dry else "came off", rank=PREPARE)
    act(facts, 0, line, "hook", body["side"], said["tote"], ran_dry=int(said["change"] == "ran dry"),
         how_full=body["quarters"] or None)  # fmt: skip
    facts.touch(said["tote"], f"hooked up, side {body['side']}", state="hooked up", place=line, rank=PREPARE)


@handles("unhook")
def _unhook(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    act(facts, 0, event.body["line"], "off", event.body["side"], said["tote"], ran_dry=int(said["empty"]))
    facts.touch(said["tote"], "taken off, empty" if said["empty"] else "taken off", rank=PREPARE, place="",
                state="empty" if said["empty"] else "part used")  # fmt: skip


@handles("clean")
def _clean(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, stream in enumerate(event.body["streams"]):
        act(facts, n, said["line"], "clean", stream, "")
    facts.touch(said["line"], f"{said['how']}: {', '.join(event.body['parts'])}", rank=PREPARE)


@handles("weigh")
def _weigh(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body, item = event.body, said["item"]
    tote = item != body["line"]
    facts.row(
        "weighing", item=item if tote else "", line=body["line"], stream=body["stream"], at=event.happened_at, rank=PREPARE,
        grams=said["weight_g"], basis=said["basis"],
    )  # fmt: skip
    facts.touch(item, "weighed" if tote else "hopper weighed", rank=PREPARE)


@handles("load")
def _load(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    act(facts, 0, said["line"], "load", "R", said["batch"], grams=said["weight_g"], basis=said["basis"])
    used_up = said["used_up"]
    facts.touch(said["batch"], "loaded, used up" if used_up else "loaded", state="used up" if used_up else "in use",
                place=said["line"], rank=PREPARE)  # fmt: skip


@handles("purge")
def _purge(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    draws(facts, event, said["line"])
    facts.touch(said["line"], "purged to waste", rank=DRAW)


@handles("empty waste")
def _empty_waste(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "waste_out", line=said["line"], at=event.happened_at, grams=said["weight_g"], became=said["became"]
    )
    facts.touch(said["line"], f"waste emptied: {said['became']}")
