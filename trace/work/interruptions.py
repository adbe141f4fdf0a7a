"""In the middle of a fill: pause, resume, abandon, leaks, air seen, heels."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from fillbook.trace.book import queries
from fillbook.trace.book.kilograms import in_hoses
from fillbook.trace.core import ids, times, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.work.ask import Ask, Line, Mass, Note, Tire, Tote
from fillbook.trace.work.dock import BASIS
from fillbook.trace.work.filling import check_counted_on, drawn_so_far, mix_of
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.lines import SUBSTANCE, draw
from fillbook.trace.work.registry import verb


def _being_filled(
    floor: Floor, tire: str, doing: str, states: tuple[str, ...] = ("filling",)
) -> tuple[str, int]:
    """The line and the start of the fill that is open on *tire*; Nonsense where none is."""
    state = floor.must_exist(tire, doing)
    start = queries.start_of(floor.book, tire, floor.at)
    if state.state not in states or start is None:
        raise Nonsense(
            f"{ids.pretty(tire)} is {state.state}; {doing} needs a fill that is under way.", field="tire"
        )
    return start.line, start.at


def _part(floor: Floor, line: str, tire: str, total_g: int | None, basis: str) -> list[dict[str, Any]]:
    """The draw since the last one, from the total that is in the tire now."""
    if total_g is None:
        return []
    check_counted_on(floor, tire)
    before = drawn_so_far(floor, tire)
    if total_g < before:
        raise Nonsense(
            f"{ids.pretty(tire)} holds {units.kg_lb(before)} by the book already; give all that is in it.",
            field="weight_kg",
        )
    if total_g == before:
        return []
    return [draw(floor, line, tire, "main", total_g - before, mix_of(floor, tire, line, None), basis)]


class Pause(Ask):
    tire: Tire = Field(description="The tire whose fill is interrupted")
    weight_g: Mass | None = Field(None, description="All that is in it so far, if read")
    basis: BASIS = Field("pump total", description="Where the weight comes from")


@verb("pause", Pause, place="cage")
def pause(ask: Pause, floor: Floor) -> dict[str, Any]:
    """Interrupt a fill; the line is free, and the pot life runs."""
    line, began = _being_filled(floor, ask.tire, "a pause")
    return {"line": line, "started_at": began, "draws": _part(floor, line, ask.tire, ask.weight_g, ask.basis)}


class Resume(Ask):
    tire: Tire = Field(description="The tire whose fill goes on")
    line: Line | None = Field(None, description="On another line, if so")


@verb("resume", Resume, place="cage")
def resume(ask: Resume, floor: Floor) -> dict[str, Any]:
    """Go on with a fill that was interrupted or abandoned; past the pot life it is a cold joint."""
    state = floor.must_exist(ask.tire, "going on")
    if state.state not in ("paused", "abandoned"):
        raise Nonsense(
            f"{ids.pretty(ask.tire)} is {state.state}; only an interrupted fill goes on.", field="tire"
        )
    start = queries.start_of(floor.book, ask.tire, floor.at)
    if start is None:
        raise Nonsense(f"The start of {ids.pretty(ask.tire)} was voided; start its fill anew.", field="tire")
    line = ask.line or start.line
    busy = queries.open_fill(floor.book, line, floor.at)
    if busy and busy["item"] != ask.tire:
        raise Nonsense(
            f"{floor.name(line)} is filling {ids.pretty(busy['item'])}; finish or pause that first.",
            field="line",
        )
    floor.check_held(ask.tire, "filling", "tire")
    waited = floor.at - state.since
    life = floor.limit("pot_life")
    if waited > life or state.state == "abandoned":
        floor.note(
            "cold joint",
            f"{ids.pretty(ask.tire)} stood for {times.hours(waited)} (pot life {times.hours(life)}): what goes in now meets set material.",
            ask.tire,
            holds=True,
        )
    return {"line": line}


class Abandon(Ask):
    tire: Tire = Field(description="The tire whose fill is given up")
    why: Note = Field(description="Why")
    weight_g: Mass | None = Field(None, description="All that is in it so far, if read")
    basis: BASIS = Field("pump total", description="Where the weight comes from")


@verb("abandon", Abandon, place="cage")
def abandon(ask: Abandon, floor: Floor) -> dict[str, Any]:
    """Give a fill up; the tire is held until somebody decides on it."""
    line, began = _being_filled(floor, ask.tire, "giving up", ("filling", "paused"))
    if not ask.why:
        raise Nonsense("Say why the fill was given up.", field="why")
    floor.note(
        "abandoned", f"The fill of {ids.pretty(ask.tire)} was given up: {ask.why}", ask.tire, holds=True
    )
    return {"line": line, "started_at": began, "draws": _part(floor, line, ask.tire, ask.weight_g, ask.basis)}


class Leak(Ask):
    tire: Tire = Field(description="The tire that leaks")
    where: Literal["bead", "casing", "valve", "drilled hole"] = Field(description="Where material came out")
    weight_g: Mass | None = Field(None, description="What came out, caught or estimated")


@verb("leak", Leak, place="cage")
def leak(ask: Leak, floor: Floor) -> dict[str, Any]:
    """Note that a tire leaked while it was filled."""
    line, began = _being_filled(floor, ask.tire, "a leak", ("filling", "paused"))
    lost = f", about {units.kg_lb(ask.weight_g)}" if ask.weight_g else ""
    floor.note("leak", f"{ids.pretty(ask.tire)} leaked at the {ask.where}{lost}.", ask.tire, holds=True)
    draws = []
    if ask.weight_g:
        draws = [draw(floor, line, "", "waste", ask.weight_g, mix_of(floor, ask.tire, line, None), "guess")]
    return {"line": line, "started_at": began, "draws": draws}


class OddFlow(Ask):
    line: Line = Field(description="The line")
    what: Literal["pressure odd", "air seen", "filter blocked", "vent shut", "valve shut"] = Field(
        description="What was seen"
    )


@verb("odd flow", OddFlow, place="line")
def odd_flow(ask: OddFlow, floor: Floor) -> None:
    """Note that a line's pressure was odd or air was seen: what follows may be off-ratio."""
    floor.must_exist(ask.line, "it")
    busy = queries.open_fill(floor.book, ask.line, floor.at)
    words = f"{ask.what.capitalize()} on {floor.name(ask.line)}: what follows may be off-ratio. Pour a cup."
    floor.note("possibly off-ratio", words, busy["item"] if busy else ask.line, holds=bool(busy))


class PourHeel(Ask):
    tote: Tote = Field(description="The tote whose rest is poured over; it is empty then")
    into: Tote = Field(description="The tote it is poured into")
    weight_g: Mass = Field(description="How much was poured over")
    basis: BASIS = Field("guess", description="Where the weight comes from")


@verb("pour heel", PourHeel, place="dock")
def pour_heel(ask: PourHeel, floor: Floor) -> dict[str, Any]:
    """Pour the rest of a tote into another; the mixture gets its own ID and label."""
    for tote in (ask.tote, ask.into):
        state = floor.must_exist(tote, "pouring")
        if state.state == "hooked up":
            raise Nonsense(f"{ids.pretty(tote)} is hooked up; take it off first.", field="tote")
        if state.state in ("empty", "scrapped", "mixed"):
            raise Nonsense(f"{ids.pretty(tote)} is {state.state}; nothing is left to pour.", field="tote")
        floor.check_held(tote, "pouring", "tote" if tote == ask.tote else "into")
    if ask.tote == ask.into:
        raise Nonsense("A tote can't be poured into itself.", field="into")
    one, other = queries.tote(floor.book, ask.tote), queries.tote(floor.book, ask.into)
    assert one is not None and other is not None
    if one.side != other.side:
        floor.stop(
            "wrong side",
            f"{ids.pretty(ask.tote)} is {SUBSTANCE[one.side]}, {ids.pretty(ask.into)} {SUBSTANCE[other.side]}.",
            ask.into,
        )
    if one.system.lower() != other.system.lower():
        floor.stop("mixed systems", f"{one.system} and {other.system} are never mixed.", ask.into)
    mixture = floor.mint("L")[0]
    rest = (
        other.net_g
        # A correction finds the links of what was mixed then still there
        - queries.used_of(floor.book, ask.into, but=mixture)
        - in_hoses(floor.book, floor.shop).get(ask.into, 0)
    )
    return {
        "mixture": mixture,
        "rest_g": max(rest, 1),
        "side": other.side,
        "system": other.system,
        "grade": other.grade,
    }
