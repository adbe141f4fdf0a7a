"""Work orders, and what is looked at on a tire before it is filled."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Literal

from pydantic import Field

from fillbook.trace.book import queries
from fillbook.trace.core import ids, tires
from fillbook.trace.core.errors import Conflict, Nonsense
from fillbook.trace.work.ask import Ask, Line, Note, Pressure, Share, Text, Tire
from fillbook.trace.work.filling import psi
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class OpenOrder(Ask):
    number: Text = Field(description="The order's number")
    customer: Text = Field(description="The customer")
    size: Text = Field(description="Size, as on the sidewall")
    tires: int = Field(1, description="How many tires", ge=1, le=500)
    site: Text | None = Field(None, description="The customer's site")
    machine: Text | None = Field(None, description="The machine")
    unit: Text | None = Field(None, description="The customer's unit number of the machine")
    position: Text | None = Field(None, description="Position on the machine")
    target_pa: Pressure | None = Field(None, description="Operating pressure to fill to")
    mix_e4: Share | None = Field(None, description="Regrind in the mix")
    grade: Text | None = Field(None, description="Hardness grade ordered")
    billed: Literal["weight", "piece"] = Field("weight", description="Billed by weight or by piece")


@verb("open order", OpenOrder, place="office")
def open_order(ask: OpenOrder, floor: Floor) -> None:
    """Enter a customer's work order, so that nothing is typed per tire."""
    if not ask.number or not ask.customer or not ask.size:
        raise Nonsense("An order has a number, a customer and a size.", field="number")
    there = queries.order(floor.book, floor.shop, ask.number)
    if there:
        raise Conflict(
            f"The order {ask.number} of {there.customer} is in the book (event {there.seq}); correct that one.",
            field="number",
        )
    used = queries.taken_in_on(floor.book, floor.shop, ask.number)
    if used > ask.tires:
        raise Nonsense(
            f"The order {ask.number} can't be for {ask.tires}, as {used} are taken in on it already.",
            field="tires",
        )


RATED = Literal["sidewall", "data book", "customer's written order", "not legible"]


class Inspect(Ask):
    tire: Tire = Field(description="The tire")
    casing: Literal["new", "used"] | None = Field(None, description="New or used")
    plies: int | None = Field(None, description="Plies, as on the sidewall", ge=1, le=60)
    steel_belted: bool | None = Field(None, description="Steel-belted")
    serial: Text | None = Field(None, description="Tire serial")
    date_code: Text | None = Field(
        None, description="Date code: the last four digits of its number, week and year"
    )
    wheel_serial: Text | None = Field(None, description="Wheel serial: the most durable key in service")
    rating_pa: Pressure | None = Field(None, description="The lowest rating of sidewall, rim and wheel")
    rating_from: RATED | None = Field(None, description="Where the rating comes from")
    wheel_good: bool | None = Field(None, description="Wheel straight, no cracks, no heavy rust")
    inside_good: bool | None = Field(None, description="Inside dry and clean")
    why: Note | None = Field(None, description="What was seen, where something is not good")


@verb("inspect", Inspect, place="cage")
def inspect(ask: Inspect, floor: Floor) -> dict[str, Any]:
    """Look at a tire before it is filled: casing, ratings, wheel, inside."""
    state = floor.must_exist(ask.tire, "looking at it")
    name = ids.pretty(ask.tire)
    if state.state in ("reclaimed", "scrapped"):
        raise Nonsense(f"{name} is {state.state}; there is nothing to look at.", field="tire")
    if ask.date_code:
        tires.made_in(ask.date_code, datetime.fromtimestamp(floor.at, UTC).date())
    if ask.rating_pa is not None and ask.rating_from is None:
        raise Nonsense(
            "Say where the rating comes from: sidewall, data book or the customer's written order.",
            field="rating_from",
        )
    if ask.rating_from == "not legible":
        floor.note(
            "rating not legible",
            f"The rating of {name} can't be read; a lead decides, with a photograph of the sidewall.",
            ask.tire,
            holds=True,
        )
    for good, words in ((ask.wheel_good, "The wheel"), (ask.inside_good, "The inside")):
        if good is False:
            floor.note(
                "not fit",
                f"{words} of {name} is not fit for a fill{': ' + ask.why if ask.why else ''}.",
                ask.tire,
                holds=True,
            )
    seen: list[dict[str, Any]] = []
    for field in (
        "casing",
        "plies",
        "steel_belted",
        "serial",
        "date_code",
        "wheel_serial",
        "rating_pa",
        "rating_from",
        "wheel_good",
        "inside_good",
    ):
        value = getattr(ask, field)
        if value is not None:
            words = ("yes" if value else "no") if isinstance(value, bool) else str(value)
            seen.append({"name": field, "value": words, "good": value is not False})
    if not seen:
        raise Nonsense("Say at least one thing that was looked at.", field="casing")
    return {"seen": seen}


class Stretch(Ask):
    tire: Tire = Field(description="The new tire")
    pressure_pa: Pressure = Field(description="Operating pressure it stands at")


@verb("stretch", Stretch, place="cage")
def stretch(ask: Stretch, floor: Floor) -> dict[str, Any]:
    """Stand a new tire at its operating pressure before the fill; its clock starts."""
    state = floor.must_exist(ask.tire, "stretching")
    if state.state not in ("taken in", "soaking"):
        raise Nonsense(
            f"{ids.pretty(ask.tire)} is {state.state}; a tire is stretched before it is filled.", field="tire"
        )
    rating = queries.rating(floor.book, ask.tire)
    if rating is not None and ask.pressure_pa > rating:
        floor.stop("above rating", f"{psi(ask.pressure_pa)} lies above the lowest rating of {ids.pretty(ask.tire)}, {psi(rating)}.", ask.tire,
                   field="pressure_kpa")  # fmt: skip
    return {"seen": [{"name": "stretch", "value": str(ask.pressure_pa), "good": True}]}


class ReserveIds(Ask):
    tires: int = Field(20, description="How many IDs for a paper day sheet", ge=1, le=200)
    line: Line | None = Field(None, description="The line whose sheet it is")


@verb("reserve ids", ReserveIds, place="office")
def reserve_ids(ask: ReserveIds, floor: Floor) -> None:
    """Mint tire IDs ahead for a paper day sheet, for when the power or the tablet is out."""
    floor.mint("F", ask.tires)
