"""The line: hooking up, taking off, cleaning, purging, loading the hopper."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from fillbook.trace.book import held_within, queries
from fillbook.trace.core import flow, ids, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.work.ask import Ask, Batch, Line, Mass, Share, Tote
from fillbook.trace.work.dock import BASIS
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

SUBSTANCE = {
    "A": "side A · isocyanate", "B": "side B · polyol", "R": "hopper · regrind", "": "tube, fill hose and gun · mixed",
}  # fmt: skip
PARTS = {
    "both sides": ["A", "B"], "side A": ["A"], "side B": ["B"], "hopper": ["R"], "tube and gun": [""], "everything": ["A", "B", "R", ""],
}  # fmt: skip
QUARTERS = {"1/4": 1, "1/2": 2, "3/4": 3}


class HookUp(Ask):
    line: Line = Field(description="The line")
    tote: Tote = Field(description="The tote; scan its label")
    side: Literal["A", "B"] | None = Field(
        None, description="The side of the line; the tote's own, if not said"
    )
    change: Literal["changed early", "ran dry"] = Field(
        "changed early", description="How the tote before it came off"
    )
    how_full: Literal["1/4", "1/2", "3/4"] | None = Field(
        None, description="If in the middle of a fill: how much was in the tire"
    )


@verb("hook up", HookUp, place="line")
def hook_up(ask: HookUp, floor: Floor) -> dict[str, Any]:
    """Hook a tote up to its side of a line."""
    floor.must_exist(ask.line, "hooking up")
    state = floor.must_exist(ask.tote, "hooking up")
    tote = queries.tote(floor.book, ask.tote)
    assert tote is not None
    side = ask.side or tote.side
    name, line = ids.pretty(ask.tote), floor.name(ask.line)
    if state.state == "hooked up" and state.place == ask.line:
        raise Nonsense(f"{name} is hooked up to {line} already. Nothing is left to do.", field="tote")
    if side != tote.side:
        floor.stop(
            "wrong side",
            f"{name} is {SUBSTANCE[tote.side]}; it does not go on {SUBSTANCE[side]} of {line}.",
            ask.tote,
            field="tote",
        )
    if state.state == "hooked up":
        floor.stop(
            "on two lines",
            f"{name} is hooked up to {floor.name(state.place)}; take it off there first.",
            ask.tote,
            field="tote",
        )
    if state.state in ("empty", "scrapped"):
        floor.stop(
            "empty", f"{name} was booked {state.state} at {floor.say(state.since)}.", ask.tote, field="tote"
        )
    there = queries.connected(floor.book, ask.line, floor.at)
    other = there.get("B" if side == "A" else "A")
    if other:
        partner = queries.tote(floor.book, other)
        if partner and partner.system.lower() != tote.system.lower():
            floor.stop(
                "mixed systems",
                f"{name} is {tote.system}, but {line} has {partner.system} on the other side; two systems are never mixed.",
                ask.tote,
                field="tote",
            )
    floor.check_held(ask.tote, "hooking up", "tote")
    if tote.use_by is not None and tote.use_by < floor.at:
        floor.stop(
            "past use-by", f"{name} was to be used by {floor.say(tote.use_by)}.", ask.tote, field="tote"
        )
    before = there.get(side, "")
    if ask.change == "ran dry" and before:
        floor.note(
            "ran dry",
            f"{ids.pretty(before)} ran dry on {line}: what follows may be off-ratio. Pour a cup.",
            before,
        )
    return {"side": side, "before": before, "quarters": QUARTERS.get(ask.how_full or "", 0)}


class Unhook(Ask):
    tote: Tote = Field(description="The tote that comes off")
    empty: bool = Field(False, description="Yes, if it is empty")


@verb("unhook", Unhook, place="line")
def unhook(ask: Unhook, floor: Floor) -> dict[str, Any]:
    """Take a tote off its line."""
    state = floor.must_exist(ask.tote, "taking it off")
    if state.state != "hooked up":
        raise Nonsense(f"{ids.pretty(ask.tote)} is not hooked up ({state.state}).", field="tote")
    there = queries.connected(floor.book, state.place, floor.at)
    side = next((s for s in ("A", "B") if there.get(s) == ask.tote), None)
    if side is None:
        raise Nonsense(
            f"{ids.pretty(ask.tote)} is not on {floor.name(state.place)} at that time.", field="tote"
        )
    return {"line": state.place, "side": side}


class Clean(Ask):
    line: Line = Field(description="The line")
    how: Literal["flushed", "emptied clean", "blown out"] = Field(
        "flushed", description="Flushed through, emptied and cleaned, or blown out"
    )
    parts: Literal["both sides", "side A", "side B", "hopper", "tube and gun", "everything"] = Field(
        "both sides", description="Which parts"
    )


@verb("clean", Clean, place="line")
def clean(ask: Clean, floor: Floor) -> dict[str, Any]:
    """Flush a line, empty and clean it, or blow it out: nothing from before remains in the parts named."""
    floor.must_exist(ask.line, "cleaning")
    return {"streams": PARTS[ask.parts], "parts": [SUBSTANCE[s] for s in PARTS[ask.parts]]}


class Purge(Ask):
    line: Line = Field(description="The line")
    weight_g: Mass = Field(description="What went to waste")
    mix_e4: Share | None = Field(None, description="Regrind in it; none, if not said")
    basis: BASIS = Field("scale", description="Where the weight comes from")


@verb("purge", Purge, place="line")
def purge(ask: Purge, floor: Floor) -> dict[str, Any]:
    """Run material to waste until it flows as it should; weigh or estimate it, never ignore it."""
    floor.must_exist(ask.line, "purging")
    return {
        "draws": [draw(floor, ask.line, "", "purge", ask.weight_g, ask.mix_e4 or 0, ask.basis)],
        "started_at": floor.at,
    }


def draw(
    floor: Floor, line: str, item: str, purpose: str, grams: int, mix_e4: int, basis: str
) -> dict[str, Any]:
    """One draw, split into A, B and regrind by its mix and the ratio of the system hooked up."""
    there = queries.connected(floor.book, line, floor.at)
    parts_a, parts_b = 1, 1
    for side in ("A", "B"):
        tote = queries.tote(floor.book, there[side]) if side in there else None
        system = queries.system(floor.book, floor.shop, tote.system) if tote else None
        if system:
            parts_a, parts_b = system.ratio_a, system.ratio_b
            break
    a_g, b_g, r_g = flow.split(grams, mix_e4, parts_a, parts_b)
    return {
        "item": item,
        "purpose": purpose,
        "grams": grams,
        "a_g": a_g,
        "b_g": b_g,
        "r_g": r_g,
        "mix_e4": mix_e4,
        "basis": basis,
    }


class Load(Ask):
    line: Line = Field(description="The line whose hopper is loaded")
    batch: Batch = Field(description="The regrind batch; scan its bin")
    weight_g: Mass = Field(description="How much went in")
    basis: BASIS = Field("scale", description="Where the weight comes from")
    used_up: bool = Field(False, description="Yes, if the bin is empty now")


@verb("load", Load, place="line")
def load(ask: Load, floor: Floor) -> None:
    """Load the hopper from a regrind batch."""
    floor.must_exist(ask.line, "loading")
    state = floor.must_exist(ask.batch, "loading")
    name = ids.pretty(ask.batch)
    if state.state in ("used up", "scrapped"):
        floor.stop(
            "used up",
            f"{name} was booked {state.state} at {floor.say(state.since)}.",
            ask.batch,
            field="batch",
        )
    floor.check_held(ask.batch, "loading", "batch")
    for source, share_e4 in held_within.in_batch(floor.book, ask.batch, floor.at):
        floor.stop(
            "held within",
            f"{name} holds {share_e4 / 100:.2f} % of {source}, which is on hold; tires filled with it may have to wait for that to be lifted. Take another batch.",
            ask.batch,
            field="batch",
        )
    batch = queries.batch(floor.book, ask.batch)
    loaded = floor.book.value(
        "SELECT coalesce(sum(grams), 0) FROM line_act WHERE item = ? AND what = 'load' AND NOT (shop = ? AND seq = ?)",
        ask.batch, floor.shop, floor.correcting or 0,
    )  # fmt: skip
    if batch and int(loaded) + ask.weight_g > batch.grams * 11 // 10:
        floor.note(
            "more than was ground",
            f"{name} was {units.kg_lb(batch.grams)}; {units.kg_lb(int(loaded) + ask.weight_g)} are booked out of it.",
            ask.batch,
        )
