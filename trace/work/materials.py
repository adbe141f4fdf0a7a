"""Materials beyond the dock: what is looked at on a tote, papers attached, retains kept, waste emptied."""

from __future__ import annotations

import base64
import binascii
from typing import Annotated, Any, Literal

from pydantic import Field

from fillbook.trace.book import apply, queries
from fillbook.trace.core import ids, units
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, Item, Line, Mass, Moment, Note, Temperature, Text, Tote, Words
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

LARGEST_FILE = 10_000_000
KINDS_OF_FILE = {b"%PDF": "application/pdf", b"\xff\xd8\xff": "image/jpeg", b"\x89PNG": "image/png"}


class InspectTote(Ask):
    tote: Tote = Field(description="The tote")
    valve_good: bool | None = Field(None, description="Ball valve sound")
    cap_good: bool | None = Field(None, description="Cap tight")
    seal_good: bool | None = Field(None, description="Seal unbroken")
    temperature_mc: Temperature | None = Field(None, description="Temperature of the material")
    desiccant: Literal["fresh", "good", "spent"] | None = Field(
        None, description="Desiccant cartridge: what its indicator shows"
    )
    why: Note | None = Field(None, description="What was seen, where something is not good")


@verb("inspect tote", InspectTote, place="dock")
def inspect_tote(ask: InspectTote, floor: Floor) -> dict[str, Any]:
    """Look at a tote: valve, cap, seal, temperature, desiccant."""
    floor.must_exist(ask.tote, "looking at it")
    tote = queries.tote(floor.book, ask.tote)
    name = ids.pretty(ask.tote)
    seen: list[dict[str, Any]] = []
    for field, words in (("valve_good", "ball valve"), ("cap_good", "cap"), ("seal_good", "seal")):
        good = getattr(ask, field)
        if good is not None:
            seen.append({"name": words, "value": "sound" if good else "not sound", "good": good})
            if not good:
                floor.note(
                    "transport damage",
                    f"The {words} of {name} is not sound{': ' + ask.why if ask.why else ''}.",
                    ask.tote,
                    holds=True,
                )
    if ask.temperature_mc is not None:
        warm = floor.limit("cure_temperature")
        seen.append(
            {"name": "temperature", "value": str(ask.temperature_mc), "good": ask.temperature_mc >= warm}
        )
        if ask.temperature_mc < warm:
            floor.note(
                "cold material",
                f"{name} is at {units.c_f(ask.temperature_mc)}, below the shop's limit.",
                ask.tote,
            )
    if ask.desiccant:
        seen.append({"name": "desiccant", "value": ask.desiccant, "good": ask.desiccant != "spent"})
        if ask.desiccant == "spent" and tote and tote.side == "A":
            floor.note(
                "desiccant spent",
                f"The desiccant on {name} is spent: moisture may have reached side A. Replace it.",
                ask.tote,
                holds=True,
            )
    if not seen:
        raise Nonsense("Say at least one thing that was looked at.", field="valve_good")
    return {"seen": seen}


class Attach(Ask):
    item: Annotated[str, Item("LGF")] | None = Field(
        None, description="The tote, batch or tire it belongs to"
    )
    lot: Text | None = Field(None, description="Or the supplier's lot")
    what: Literal["certificate", "delivery note", "photograph", "other"] = Field(description="What it is")
    file: Annotated[str, Words(14_000_000, kept=False, lines=True, blob=False)] = Field(
        description="The file, base64"
    )


@verb("attach", Attach, place="dock")
def attach(ask: Attach, floor: Floor) -> dict[str, Any]:
    """Attach a certificate, a delivery note or a photograph."""
    if bool(ask.item) == bool(ask.lot):
        raise Nonsense("A paper belongs to an item or to a lot: name one of the two.", field="item")
    lot = queries.find_lot(floor.book, floor.shop, ask.lot) if ask.lot else None
    if ask.lot and lot is None:
        raise UnknownItem(f"No lot {ask.lot!r} came in.", field="lot")
    if ask.item:
        floor.must_exist(ask.item, "attaching")
    about = {"lot": lot.lot if lot else "", "supplier": lot.supplier if lot else ""}
    if ask.file.startswith("sha256:"):
        return about | _stored_paper(ask.file, floor)
    try:
        data = base64.b64decode(ask.file, validate=True)
    except (binascii.Error, ValueError):
        raise Nonsense("The file did not arrive whole (no base64); send it again.", field="file") from None
    media = next((m for start, m in KINDS_OF_FILE.items() if data.startswith(start)), None)
    if media is None:
        raise Nonsense(
            "That is neither a PDF nor a JPEG or PNG picture; scan or photograph the paper.", field="file"
        )
    if len(data) > LARGEST_FILE:
        raise Nonsense(
            f"The file is {len(data) / 1e6:.0f} MB; at most 10 MB are kept. Scan it smaller.", field="file"
        )
    return about | {"media": media, "digest": floor.keep(data)}


def _stored_paper(said: str, floor: Floor) -> dict[str, str]:
    """A correction that leaves the file alone has what stands in the event; the paper itself is kept already."""
    stands = (
        apply.effective(floor.book, floor.shop, floor.correcting) if floor.correcting is not None else None
    )
    if stands is None or stands.body["said"].get("file") != said:
        raise Nonsense("Send the file itself.", field="file")
    return {"media": stands.body["media"], "digest": stands.body["digest"]}


class Keep(Ask):
    cup: Annotated[str, Item("C")] = Field(description="The sample cup or retain")
    shelf: Text = Field(description="Where it is kept")
    until: Moment = Field(description="Keep it until")


@verb("keep", Keep, place="racks")
def keep(ask: Keep, floor: Floor) -> None:
    """Put a cup or retain on its shelf, with the date until which it is kept."""
    floor.must_exist(ask.cup, "keeping")
    if ask.until <= floor.at:
        raise Nonsense("The date until which it is kept has passed; give a later one.", field="until")
    if not ask.shelf:
        raise Nonsense("Say on which shelf it stands.", field="shelf")


class TakeRetain(Ask):
    tote: Tote = Field(description="The tote the liquid is taken from")
    weight_g: Mass = Field(500, description="How much")
    shelf: Text = Field(description="Where it is kept")
    until: Moment = Field(description="Keep it until")


@verb("take retain", TakeRetain, place="dock")
def take_retain(ask: TakeRetain, floor: Floor) -> dict[str, Any]:
    """Take a liquid retain of a lot straight from a tote."""
    state = floor.must_exist(ask.tote, "taking it")
    if state.state in ("empty", "scrapped", "mixed"):
        raise Nonsense(f"{ids.pretty(ask.tote)} is {state.state}; nothing is left to take.", field="tote")
    if ask.until <= floor.at:
        raise Nonsense("The date until which it is kept has passed; give a later one.", field="until")
    return {"retain": floor.mint("C")[0]}


class EmptyWaste(Ask):
    line: Line = Field(description="The line whose waste container is emptied")
    weight_g: Mass = Field(description="What was in it")
    became: Literal["pieces", "thrown away"] = Field(
        description="Set and kept as pieces for grinding, or thrown away"
    )


@verb("empty waste", EmptyWaste, place="regrind")
def empty_waste(ask: EmptyWaste, floor: Floor) -> None:
    """Empty a line's waste container: set pieces for grinding, or thrown away."""
    floor.must_exist(ask.line, "emptying it")
