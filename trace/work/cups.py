"""Sample cups: poured beside the fills they cover, read when they should have set."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from fillbook.trace.book import queries
from fillbook.trace.core import ids, release
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.work.ask import Ask, Cup, Duration, Line, Mass, Measure, Share, Temperature, Zone
from fillbook.trace.work.dock import BASIS
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.lines import draw
from fillbook.trace.work.registry import verb

USUAL_CUP_G = 500
Thickness = Annotated[int, Measure("length", "dmm", 1, 5_000, "above nothing and at most 500 mm")]


class PourCup(Ask):
    line: Line = Field(description="The line")
    zone: Zone | None = Field(None, description="Where it cures; the zone of the tires it covers")
    weight_g: Mass = Field(USUAL_CUP_G, description="How much was poured")
    mix_e4: Share | None = Field(None, description="Regrind in it; as in the fill before, if not said")
    mix_mc: Temperature | None = Field(None, description="Temperature of the mix")
    basis: BASIS = Field("guess", description="Where the weight comes from")


@verb("pour cup", PourCup, place="line")
def pour_cup(ask: PourCup, floor: Floor) -> dict[str, Any]:
    """Pour a sample cup; it covers the fills on its line until the next cup."""
    floor.must_exist(ask.line, "pouring")
    if ask.zone:
        floor.must_exist(ask.zone, "pouring")
    cup = floor.mint("C")[0]
    mix = ask.mix_e4
    if mix is None:
        last = queries.last_fill_on(floor.book, ask.line, floor.at)
        mix = int(last.mix_e4) if last else 0
    return {
        "draws": [draw(floor, ask.line, cup, "sample", ask.weight_g, mix, ask.basis)],
        "started_at": floor.at,
    }


class ReadCup(Ask):
    cup: Cup = Field(description="The sample cup; scan it")
    is_set: bool = Field(description="It has set through")
    hardness: list[int] = Field(
        default_factory=list, description="Durometer readings, one by one", max_length=20
    )
    scale: Literal["A", "00"] = Field("A", description="The durometer's scale, Shore A or 00")
    dwell_s: Duration | None = Field(None, description="How long after firm contact it was read")
    cup_mc: Temperature | None = Field(None, description="Temperature of the cup")
    thickness_dmm: Thickness | None = Field(None, description="How thick the material is where it was read")


@verb("read cup", ReadCup, place="racks")
def read_cup(ask: ReadCup, floor: Floor) -> dict[str, Any]:
    """Read a sample cup: has it set, and how hard is it."""
    floor.must_exist(ask.cup, "reading")
    if any(not 0 <= value <= 100 for value in ask.hardness):
        raise Nonsense("A durometer reads from 0 to 100.", field="hardness", expected="0 to 100")
    least = floor.limit("hardness_least" if ask.scale == "A" else "hardness_least_00") or None
    passed = release.pass_cup(ask.is_set, ask.hardness, least)
    if ask.hardness:
        for words in release.durometer_doubts(len(ask.hardness), ask.dwell_s, ask.cup_mc, ask.thickness_dmm):
            floor.note("durometer", words, ask.cup)
    if not passed:
        floor.note(
            "failed cup",
            f"{ids.pretty(ask.cup)} did not pass; the fills it covers can't be released on it.",
            ask.cup,
        )
    return {"passed": passed}
