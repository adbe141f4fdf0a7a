"""The shift's start and end, once per line and not per tire."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from fillbook.trace.book import queries
from fillbook.trace.core import units
from fillbook.trace.work.ask import Ask, Line, Mass, MassOrNone
from fillbook.trace.work.dock import BASIS
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.lines import draw
from fillbook.trace.work.registry import verb

CHECKS = {
    "parts_dry": "parts dry of solvent",
    "mixers_whole": "mixing elements whole",
    "valves_open": "both valves and the B vent open",
    "flows_as_it_should": "the purge flows as it should",
}


class StartShift(Ask):
    line: Line = Field(description="The line")
    parts_dry: bool = Field(True, description="Parts are dry of solvent")
    mixers_whole: bool = Field(True, description="Mixing elements are whole")
    valves_open: bool = Field(True, description="Both valves and the B vent are open")
    flows_as_it_should: bool = Field(True, description="The purge flows as it should")
    weight_g: MassOrNone | None = Field(None, description="Purged to waste; the usual amount, if not weighed")
    caught_a_g: Mass | None = Field(None, description="Ratio check: side A caught and weighed")
    caught_b_g: Mass | None = Field(None, description="Ratio check: side B caught in the same strokes")


@verb("start shift", StartShift, place="line")
def start_shift(ask: StartShift, floor: Floor) -> dict[str, Any]:
    """Start a shift on a line: checks, purge, ratio check."""
    floor.must_exist(ask.line, "the start")
    name = floor.name(ask.line)
    for field, words in CHECKS.items():
        if not getattr(ask, field):
            floor.stop(
                f"not {words}", f"{name} is not ready: {words} was answered with no.", ask.line, field=field
            )
    _check_ratio(ask, floor, name)
    grams = floor.limit("purge_usual", ask.line) if ask.weight_g is None else ask.weight_g
    draws = (
        [draw(floor, ask.line, "", "purge", grams, 0, "guess" if ask.weight_g is None else "scale")]
        if grams
        else []
    )
    for side, grams in (("A", ask.caught_a_g), ("B", ask.caught_b_g)):
        if grams:
            a_g, b_g = (grams, 0) if side == "A" else (0, grams)
            draws.append(
                {
                    "item": "",
                    "purpose": "waste",
                    "grams": grams,
                    "a_g": a_g,
                    "b_g": b_g,
                    "r_g": 0,
                    "mix_e4": 0,
                    "basis": "scale",
                }
            )
    return {"draws": draws, "started_at": floor.at}


def _check_ratio(ask: StartShift, floor: Floor, name: str) -> None:
    """Both sides caught in the same strokes, against the system's ratio by weight."""
    if ask.caught_a_g is None or ask.caught_b_g is None:
        return
    there = queries.connected(floor.book, ask.line, floor.at)
    tote = queries.tote(floor.book, there["A"]) if "A" in there else None
    system = queries.system(floor.book, floor.shop, tote.system) if tote else None
    parts_a, parts_b = (system.ratio_a, system.ratio_b) if system else (1, 1)
    off = abs(ask.caught_a_g * parts_b - ask.caught_b_g * parts_a) * 10_000 // (ask.caught_b_g * parts_a)
    most = floor.limit("ratio_most_off")
    if off > most:
        floor.stop(
            "off-ratio",
            f"{name} gave {units.kg_lb(ask.caught_a_g, digits=2)} of A to {units.kg_lb(ask.caught_b_g, digits=2)} of B, {off / 100:.1f} % off "
            f"{parts_a} : {parts_b}; the limit is {most / 100:g} %. Find the cause before a fill.",
            ask.line,
            field="caught_b_g",
        )


class EndShift(Ask):
    line: Line = Field(description="The line")
    blown_out: bool = Field(True, description="Gun and hose were blown out")
    weight_g: MassOrNone | None = Field(None, description="Run to waste; the usual amount, if not weighed")
    basis: BASIS = Field("scale", description="Where the weight comes from")


@verb("end shift", EndShift, place="line")
def end_shift(ask: EndShift, floor: Floor) -> dict[str, Any]:
    """End a shift on a line: blow-out and run to waste."""
    floor.must_exist(ask.line, "the end")
    busy = queries.open_fill(floor.book, ask.line, floor.at)
    if busy:
        floor.note("fill still open", f"{floor.name(ask.line)} was shut down while {floor.name(busy['item'])} was being filled.", busy["item"],
                   holds=True)  # fmt: skip
    if not ask.blown_out:
        floor.note(
            "not blown out",
            f"{floor.name(ask.line)} was left without blowing it out; look at the hoses before the next start.",
            ask.line,
        )
    grams = floor.limit("run_out_usual", ask.line) if ask.weight_g is None else ask.weight_g
    basis = "guess" if ask.weight_g is None else ask.basis
    return {
        "draws": [draw(floor, ask.line, "", "waste", grams, 0, basis)] if grams else [],
        "started_at": floor.at,
    }


class RunPump(Ask):
    line: Line = Field(description="The line whose pump was run, so that nothing sets in its hoses")
    weight_g: MassOrNone | None = Field(None, description="What went to waste; nothing, if it went round")


@verb("run pump", RunPump, place="line")
def run_pump(ask: RunPump, floor: Floor) -> dict[str, Any]:
    """Run a pump that stood still: once a week at least, or material sets in the hoses."""
    floor.must_exist(ask.line, "running it")
    draws = [draw(floor, ask.line, "", "run", ask.weight_g, 0, "scale")] if ask.weight_g else []
    return {"draws": draws, "started_at": floor.at}
