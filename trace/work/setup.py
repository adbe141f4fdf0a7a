"""Setting up a shop: its people, lines, zones, systems and limits."""

from __future__ import annotations

from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator

from fillbook.trace.book import apply, queries
from fillbook.trace.core import ids, limits, units
from fillbook.trace.core.errors import Conflict, Nonsense
from fillbook.trace.work.ask import Ask, Duration, Line, Moment, TemperatureDifference, Text
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class SetUpShop(Ask):
    site: Text = Field(description="Two letters that begin every ID of this shop, without I and O")
    name: Text = Field(description="The shop's name")
    owner: Text = Field(description="The owner's name")
    timezone: Text = Field("UTC", description="The shop's time zone, such as America/Chicago")
    units: Literal["us", "metric"] = Field("us", description="Units on screens and labels")
    host: Text = Field(
        "FILLBOOK.LOCAL", description="Where labels point to: this machine's name in the shop's network"
    )

    @field_validator("site")
    @classmethod
    def _site(cls, value: str) -> str:
        if not ids.site_ok(value.upper()):
            raise ValueError("is two letters A to Z without I and O, such as BH")
        return value.upper()

    @field_validator("timezone")
    @classmethod
    def _timezone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(
                f"{value!r} is no time zone; write it like America/Chicago or Europe/Berlin"
            ) from None
        return value


@verb("set up shop", SetUpShop, role="owner", place="office")
def set_up_shop(ask: SetUpShop, floor: Floor) -> None:
    """Start a shop's journal and name its owner."""
    if not ask.name or not ask.owner:
        raise Nonsense("A shop has a name and an owner: give both.", field="name")
    floor.mint("P")


def _new_name(floor: Floor, kind: str, name: str) -> None:
    """Names of people, zones and lines are said instead of IDs, so each is borne once."""
    if not name:
        raise Nonsense("Give it a name people will say.", field="name")
    there = queries.by_name(floor.book, floor.shop, kind, name)
    if there and not (floor.reuse and there in floor.reuse):
        raise Conflict(f"The name {name!r} is taken by {ids.pretty(there)}; choose another.", field="name")


class AddPerson(Ask):
    name: Text = Field(description="The name people call them by")
    role: Literal["hand", "lead", "owner"] = Field(
        "hand", description="hand: everyday work; lead: signs releases; owner: all"
    )


@verb("add person", AddPerson, role="owner", place="office")
def add_person(ask: AddPerson, floor: Floor) -> None:
    """Add someone who works here."""
    _new_name(floor, "P", ask.name)
    floor.mint("P")


class AddSystem(Ask):
    name: Text = Field(description="The supplier's name for the two-part material")
    parts_a: int = Field(1, description="Parts of side A (isocyanate) by weight", ge=1, le=10_000)
    parts_b: int = Field(1, description="Parts of side B (polyol) by weight", ge=1, le=10_000)


@verb("add system", AddSystem, role="lead", place="office")
def add_system(ask: AddSystem, floor: Floor) -> None:
    """Add a two-part material and its ratio by weight, from the supplier's data sheet."""
    if queries.system(floor.book, floor.shop, ask.name):
        raise Conflict(
            f"The system {ask.name} is in the book already; correct that event to change its ratio.",
            field="name",
        )


class AddZone(Ask):
    name: Text = Field(description="The name of the cure zone, such as warm room")
    gap_s: Duration = Field(900, description="The longest gap between two logger samples that still counts")
    tolerance_mk: TemperatureDifference = Field(
        0, description="The logger's stated tolerance; taken off every sample"
    )


@verb("add zone", AddZone, role="lead", place="office")
def add_zone(ask: AddZone, floor: Floor) -> None:
    """Add a zone where tires cure."""
    _new_name(floor, "Z", ask.name)
    if not 1 <= ask.gap_s <= 65 * 60:
        raise Nonsense(
            "A logger's longest gap lies between a second and 65 minutes: longer gaps are not observed.",
            field="gap_min",
        )
    floor.mint("Z")


class AddLine(Ask):
    name: Text = Field(description="The name of the line: one pump with its hoses, hopper and gun")


@verb("add line", AddLine, role="lead", place="office")
def add_line(ask: AddLine, floor: Floor) -> None:
    """Add a line."""
    _new_name(floor, "U", ask.name)
    floor.mint("U")


class SetLimit(Ask):
    limit: Text = Field(description="Which limit; fillbook limits lists them")
    to: Text = Field(description="Its value with unit, such as 72 f or 48 h")
    source: Text = Field(
        description="Where the value comes from: the data sheet, a weighing, the owner's word"
    )
    line: Line | None = Field(None, description="For one line only")
    from_when: Moment | None = Field(None, description="From when it holds; now, if not said")


@verb("set limit", SetLimit, role="lead", place="office")
def set_limit(ask: SetLimit, floor: Floor) -> dict[str, int]:
    """Set one of the shop's limits, with its source."""
    if ask.line and limits.limit(ask.limit).scope != "U":
        raise Nonsense(f"{ask.limit} holds for the whole shop; leave the line out.", field="line")
    if not ask.source:
        raise Nonsense(
            "Say where the value comes from: the data sheet, a weighing, the owner's word.", field="source"
        )
    value = limits.read(ask.limit, ask.to, stands=_stands(ask, floor)).value
    if words := limits.beyond_practice(ask.limit, value):
        floor.note("beyond practice", words)
    _check_pair(ask, value, floor)
    return {"value": value}


def _stands(ask: SetLimit, floor: Floor) -> bool:
    """Whether a correction leaves the value as it is: what an older book has is never refused."""
    if floor.correcting is None:
        return False
    event = apply.effective(floor.book, floor.shop, floor.correcting)
    before = event.body["said"] if event else {}
    return bool(before.get("limit") == ask.limit and before.get("to") == ask.to)


def _check_pair(ask: SetLimit, value: int, floor: Floor) -> None:
    """A finding where the least lies above the most now; both may be on their way to new values."""
    stem, _, end = ask.limit.rpartition("_")
    if not stem.endswith("_content") or end not in ("low", "high"):
        return
    other = floor.limit(f"{stem}_{'high' if end == 'low' else 'low'}", ask.line or "")
    low, high = (value, other) if end == "low" else (other, value)
    if low > high:
        floor.note(
            "bounds contradict each other",
            f"{stem.replace('_', ' ')}: at least {units.kg_lb(low)} and at most {units.kg_lb(high)} can't both be. Until the other is set, "
            "the smaller counts as the least.",
        )
