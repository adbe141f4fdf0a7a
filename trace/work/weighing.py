"""Weighing what is on a line now and then: an anchor for what was drawn between."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from fillbook.trace.book import queries, spans
from fillbook.trace.core import ids, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.work.ask import Ask, Item, MassOrNone
from fillbook.trace.work.dock import BASIS
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class Weigh(Ask):
    item: Annotated[str, Item("LU")] = Field(description="The tote; or the line, for its hopper")
    weight_g: MassOrNone = Field(description="What is in it, without the container")
    basis: BASIS = Field("scale", description="Where the weight comes from")


@verb("weigh", Weigh, place="line")
def weigh(ask: Weigh, floor: Floor) -> dict[str, Any]:
    """Weigh what is left in a tote, or what a hopper holds: shows what the pump's total is worth."""
    state = floor.must_exist(ask.item, "weighing")
    if ids.kind_of(ask.item) == "U":
        high = queries.limit(floor.book, floor.shop, "hopper_content_high", floor.at, ask.item)
        if ask.weight_g > high * 11 // 10:
            floor.note(
                "more than it takes",
                f"The hopper of {floor.name(ask.item)} weighed {units.kg_lb(ask.weight_g)}; it is said to take at most "
                f"{units.kg_lb(high)}. Set the limit to what it takes.",
            )
        return {"line": ask.item, "stream": "R"}
    name = ids.pretty(ask.item)
    tote = queries.tote(floor.book, ask.item)
    assert tote is not None
    if state.state in ("empty", "scrapped", "mixed") and ask.weight_g:
        raise Nonsense(
            f"{name} is {state.state} since {floor.say(state.since)}; nothing is left to weigh.", field="item"
        )
    if ask.weight_g > tote.net_g * 11 // 10:
        floor.note(
            "more than it held",
            f"{name} weighed {units.kg_lb(ask.weight_g)}; {units.kg_lb(tote.net_g)} came in with it. Weigh it again without "
            "its container, or correct its receipt.",
            ask.item,
        )
    line, stream = "", ""
    if state.state == "hooked up":
        there = queries.connected(floor.book, state.place, floor.at)
        stream = next((side for side in ("A", "B") if there.get(side) == ask.item), "")
        line = state.place if stream else ""
    span = spans.now_on(floor.book, floor.shop, line, stream, floor.at) if line else None
    if span is not None and span.drawn_g:
        used = span.held_g - ask.weight_g
        factor = used / span.drawn_g
        if not 0.9 <= factor <= 1.1:
            floor.note(
                "does not add up",
                f"{units.kg_lb(used)} left {name} since {floor.say(span.began[0])} by its weights, "
                f"{units.kg_lb(span.drawn_g)} were drawn from it by the fills: {factor:.2f}. A fill, a change-over or a weight is "
                "missing or wrong; the fills stay as they are.",
                ask.item,
            )
    return {"line": line, "stream": stream}
