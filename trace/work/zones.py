"""The cure zones: tires are racked, temperatures read."""

from __future__ import annotations

from pydantic import Field

from fillbook.trace.book import queries
from fillbook.trace.core import ids, logger
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, File, Moment, Temperature, Text, Tire, Zone
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class Rack(Ask):
    zone: Zone = Field(description="The zone; scan it once")
    tires: list[Tire] = Field(description="The tires laid there", min_length=1, max_length=200)


@verb("rack", Rack, place="racks")
def rack(ask: Rack, floor: Floor) -> dict[str, list[str]]:
    """Lay tires flat in a cure zone; those not filled yet soak in its warmth."""
    floor.must_exist(ask.zone, "racking")
    if len(set(ask.tires)) != len(ask.tires):
        raise Nonsense("The same tire is named twice.", field="tires")
    soaking = []
    for tire in ask.tires:
        state = floor.must_exist(tire, "racking")
        if state.state in ("taken in", "soaking"):
            soaking.append(tire)
        if state.state in ("filling", "paused"):
            raise Nonsense(
                f"{ids.pretty(tire)} is {state.state}; finish its fill before it is racked.", field="tires"
            )
        if state.state in ("dispatched", "reclaimed", "scrapped"):
            raise Nonsense(
                f"{ids.pretty(tire)} was {state.state} at {floor.say(state.since)}; it can't lie in a zone.",
                field="tires",
            )
        if state.state in ("racked", "soaking") and state.place == ask.zone:
            raise Nonsense(f"{ids.pretty(tire)} lies in {floor.name(ask.zone)} already.", field="tires")
    return {"soaking": soaking}


class ReadTemperature(Ask):
    zone: Zone = Field(description="The zone")
    reading_mc: Temperature = Field(
        description="What the thermometer shows; its lowest mark, for a min/max thermometer"
    )
    lowest_since: Moment | None = Field(None, description="For a min/max thermometer: when it was reset")


@verb("read temperature", ReadTemperature, place="racks")
def read_temperature(ask: ReadTemperature, floor: Floor) -> None:
    """Read a zone's thermometer by hand, or a min/max thermometer's lowest mark."""
    floor.must_exist(ask.zone, "the reading")
    if ask.lowest_since is not None and ask.lowest_since >= floor.at:
        raise Nonsense("A min/max thermometer is reset before it is read.", field="lowest_since")


class LogTemperatures(Ask):
    zone: Zone = Field(description="The zone whose logger it is")
    sensor: Text = Field(
        "logger", description="Which logger, where a zone has several; the lowest of them counts"
    )
    unit_sure: bool = Field(
        False, description="Yes, the unit in the file is right, though the values are unusual"
    )
    csv: File = Field(
        description="The logger's file: a line time,temp_f or time,temp_c, then one sample per line, times with offset"
    )


@verb("log temperatures", LogTemperatures, place="racks")
def log_temperatures(ask: LogTemperatures, floor: Floor) -> dict[str, object]:
    """Take in a logger's file for a zone."""
    state = floor.must_exist(ask.zone, "logging")
    if state.state is None:
        raise UnknownItem(f"{ids.pretty(ask.zone)} is no zone here.", field="zone")
    text = ask.csv
    if text.startswith("sha256:"):  # a correction of an earlier file: its bytes are in the book
        stored = floor.book.value("SELECT bytes FROM blob WHERE digest = ?", text.removeprefix("sha256:"))
        if stored is None:
            raise UnknownItem("The file of that event is not in the book; send it again.", field="csv")
        text = bytes(stored).decode()
    try:
        samples = logger.parse_plain(text, now=floor.now, unit_sure=ask.unit_sure)
    except Nonsense as trouble:
        raise Nonsense(str(trouble), field=trouble.field if trouble.field == "unit_sure" else "csv") from None
    digest = logger.digest(samples)
    twice = queries.blocks(floor.book, ask.zone, samples[0].at, samples[-1].at)
    if any(block.digest == digest for block in twice):
        raise Nonsense(
            f"This file is in the book already for {floor.name(ask.zone)} (event {twice[0].seq}); nothing was added.",
            field="csv",
        )
    return {
        "first_at": samples[0].at, "last_at": samples[-1].at, "count": len(samples), "digest": digest,
        "blobs": {digest: logger.to_block(samples)},
    }  # fmt: skip
