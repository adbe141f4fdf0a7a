"""The cure zones: tires are racked, temperatures read."""

from __future__ import annotations

import hashlib

from pydantic import Field

from fillbook.trace.book import danger, loggers, queries
from fillbook.trace.book.opening import Row
from fillbook.trace.core import doubts, ids, logger, logger_formats, times, units
from fillbook.trace.core.cure import Sample
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, File, Moment, Temperature, Text, Tire, Tote, Zone
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

# A tire written down so long after it was laid lies there already: that is kept, not stopped
LATE_S = 15 * 60
MOST_DOUBTS = 100  # of one file, kept one by one


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
        state = _check_state(tire, floor)
        if state.state in ("taken in", "soaking"):
            soaking.append(tire)
        if state.state in ("racked", "soaking") and state.place == ask.zone:
            raise Nonsense(f"{ids.pretty(tire)} lies in {floor.name(ask.zone)} already.", field="tires")
        _check_kept_away(tire, floor)
    return {"soaking": soaking}


def may_lie(tire: str, floor: Floor) -> None:
    """Raise ShopError where *tire* can't be laid in any zone."""
    _check_state(tire, floor)
    _check_kept_away(tire, floor)


def _check_state(tire: str, floor: Floor) -> Row:
    """The tire's state at the time of the act; refuses one that is being filled or is gone."""
    state = floor.must_exist(tire, "racking")
    if state.state in ("filling", "paused"):
        raise Nonsense(
            f"{ids.pretty(tire)} is {state.state}; finish its fill before it is racked.", field="tires"
        )
    if state.state in ("dispatched", "reclaimed", "scrapped"):
        raise Nonsense(
            f"{ids.pretty(tire)} was {state.state} at {floor.say(state.since)}; it can't lie in a zone.",
            field="tires",
        )
    return state


def _check_kept_away(tire: str, floor: Floor) -> None:
    """Stop before somebody carries a tire that stands above its rating; what was carried a while ago is recorded."""
    there = danger.kept_away(floor.book, tire, floor.at)
    if there is None:
        return
    if floor.now - floor.at > LATE_S:
        floor.note(
            "laid in danger",
            f"{ids.pretty(tire)} was laid on a rack, though nobody was to go near it.",
            tire,
        )
        return
    floor.stop(
        "laid in danger",
        f"{there.why} It is not laid on a rack: keep away from the tire and tell a lead at once.",
        tire,
        field="tires",
    )


class Store(Ask):
    zone: Zone = Field(description="The zone; scan it once")
    totes: list[Tote] = Field(description="The totes kept there", min_length=1, max_length=200)


@verb("store", Store, place="dock")
def store(ask: Store, floor: Floor) -> dict[str, list[str]]:
    """Store totes in a zone: what its logger measures stands with them from then on."""
    floor.must_exist(ask.zone, "storing")
    if len(set(ask.totes)) != len(ask.totes):
        raise Nonsense("The same tote is named twice.", field="totes")
    states = []
    for tote in ask.totes:
        state = floor.must_exist(tote, "storing")
        if state.state not in ("in store", "part used"):
            raise Nonsense(
                f"{ids.pretty(tote)} is {state.state}; only a tote in store or part used is stored away.",
                field="totes",
            )
        if state.place == ask.zone:
            raise Nonsense(f"{ids.pretty(tote)} stands in {floor.name(ask.zone)} already.", field="totes")
        states.append(str(state.state))
    return {"states": states}


class ReadTemperature(Ask):
    zone: Zone = Field(description="The zone")
    reading_mc: Temperature = Field(
        description="What the thermometer shows; its lowest mark, for a min/max thermometer"
    )
    lowest_since: Moment | None = Field(None, description="For a min/max thermometer: when it was reset")
    unit_sure: bool = Field(False, description="Yes, the unit is right, though the value is unusual")


@verb("read temperature", ReadTemperature, place="racks")
def read_temperature(ask: ReadTemperature, floor: Floor) -> None:
    """Read a zone's thermometer by hand, or a min/max thermometer's lowest mark."""
    floor.must_exist(ask.zone, "the reading")
    if ask.lowest_since is not None and ask.lowest_since >= floor.at:
        raise Nonsense("A min/max thermometer is reset before it is read.", field="lowest_since")
    if not ask.unit_sure and not logger.COLD_MEDIAN_MC <= ask.reading_mc <= logger.HOT_MEDIAN_MC:
        shown = " or ".join(units.show("temperature", ask.reading_mc, unit) for unit in "fc")
        raise Nonsense(
            f"A zone at {shown} is unusual: is the unit right? If it is, say so and enter the reading again.",
            field="unit_sure",
        )


class LogTemperatures(Ask):
    zone: Zone = Field(description="The zone whose logger it is")
    sensor: Text = Field(
        "logger", description="Which logger, where a zone has several; the lowest of them counts"
    )
    read_as: Text | None = Field(
        None,
        description="How the logger's own file is read, as it was shown for confirmation; as last time, if not said",
    )
    unit_sure: bool = Field(
        False, description="Yes, the unit in the file is right, though the values are unusual"
    )
    csv: File = Field(
        description="The logger's file, as it comes, or with a first line time,temp_f or time,temp_c and times with offset"
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
    samples, read_as = _read(ask, floor, text)
    block = logger.to_block(samples)
    digest = hashlib.sha256(block).hexdigest()
    first, last = samples[0].at, samples[-1].at
    twice = [
        b
        for b in queries.blocks(floor.book, ask.zone, first, last)
        if b.digest == digest and b.sensor == ask.sensor
    ]
    if twice:
        raise Nonsense(
            f"This file is in the book already for {floor.name(ask.zone)} (event {twice[0].seq}); nothing was added.",
            field="csv",
        )
    late = _overlaps(ask, floor, samples)
    return {
        "first_at": first, "last_at": last, "count": len(samples), "digest": digest, "read_as": read_as,
        "late": late, "doubts": _doubts(ask, floor, samples), "blobs": {digest: block},
    }  # fmt: skip


def _read(ask: LogTemperatures, floor: Floor, text: str) -> tuple[list[Sample], str]:
    """The samples, and how they were read. A file nobody confirmed yet is shown and refused."""
    try:
        if logger_formats.is_plain(text):
            return logger.parse_plain(text, now=floor.now, unit_sure=ask.unit_sure), "plain"
        said = logger_formats.parts(ask.read_as) if ask.read_as else None
        known = ask.read_as or loggers.read_as(floor.book, ask.zone, ask.sensor)
        if known:
            try:
                profile = logger_formats.from_text(known)
                return logger_formats.read(
                    text, profile, now=floor.now, unit_sure=ask.unit_sure
                ), profile.text
            except Nonsense as trouble:
                if trouble.field != "read_as":
                    raise
                because = "" if ask.read_as else f" {trouble}"
        else:
            because = " This logger's files are new here."
        looked = logger_formats.look(
            text, zone=floor.timezone, now=floor.now, said=said, unit_sure=ask.unit_sure
        )
    except Nonsense as trouble:
        field = trouble.field if trouble.field in ("unit_sure", "read_as") else "csv"
        raise Nonsense(str(trouble), field=field, expected=trouble.expected) from None
    unit = "f" if queries.is_us(floor.book, floor.shop) else "c"
    first, last = (
        f"{floor.say(s.at)} {units.show('temperature', s.mc, unit)}"
        for s in (looked.samples[0], looked.samples[-1])
    )
    raise Nonsense(
        f"Nothing was taken in yet.{because} It would be read so: {'; '.join(looked.evidence)}. First {first}, last {last}, "
        f'{len(looked.samples)} in all. If that is right, send it again with read_as "{looked.profile.text}".',
        field="read_as",
        expected=looked.profile.text,
    )


def _overlaps(ask: LogTemperatures, floor: Floor, samples: list[Sample]) -> bool:
    """Refuse a file that brings nothing new; note where it says something else than was known.

    True where it may take hours away that were counted before: it changes or adds something before its logger's newest sample, is the
    first of its logger, or tells of a time for which hands vouched.
    """
    first, last = samples[0].at, samples[-1].at
    there = dict(queries.samples(floor.book, ask.zone, ask.sensor, first, last))
    both = [s for s in samples if s.at in there]
    other = [s for s in both if there[s.at] != s.mc]
    if len(both) == len(samples) and not other:
        raise Nonsense(
            f"Every reading of this file is in the book already for {floor.name(ask.zone)}; nothing was added.",
            field="csv",
        )
    if other:
        floor.note(
            "readings disagree",
            f"{len(other)} {'reading' if len(other) == 1 else 'readings'} from {floor.say(other[0].at)} on {'differs from that' if len(other) == 1 else 'differ from those'} of an earlier file; the lower of the two counts.",
            ask.zone,
        )
    newest = floor.book.value(
        "SELECT max(at) FROM sample WHERE zone = ? AND sensor = ?", ask.zone, ask.sensor
    )
    hands = queries.readings(floor.book, ask.zone, first, last + floor.limit("attended_gap"))
    return newest is None or bool(hands) or any(s.at < newest and there.get(s.at) != s.mc for s in samples)


def _doubts(ask: LogTemperatures, floor: Floor, samples: list[Sample]) -> list[dict[str, object]]:
    """The doubtful samples of the file, seen together with those around it; each kind is a finding."""
    step, flat = floor.limit("spike_step"), floor.limit("flat_after")
    gap = next(row.gap_s for row in queries.zones(floor.book, floor.shop) if row["item"] == ask.zone)
    first, last = samples[0].at, samples[-1].at
    around = queries.samples(floor.book, ask.zone, ask.sensor, first - flat - gap, last + flat + gap)
    merged = dict(around)
    for at, mc in samples:
        merged[at] = min(mc, merged.get(at, mc))
    found = doubts.find(sorted(merged.items()), step_mk=step, flat_s=flat, gap_s=gap)
    found = [one for one in found if one.last_at >= first - gap and one.first_at <= last + gap]
    kept: list[dict[str, object]] = []
    for one in found[:MOST_DOUBTS]:
        shown = " or ".join(units.show("temperature", one.mc, unit) for unit in "fc")
        if one.what == "spike":
            words = f"a jump to {shown} and back at {floor.say(one.first_at)}"
        else:
            words = f"{shown} and nothing else for {times.hours(one.last_at - one.first_at)} from {floor.say(one.first_at)}"
        words = (
            f"Logger {ask.sensor} in {floor.name(ask.zone)}: {words}; not credited until a lead trusts it."
        )
        kept.append({"what": one.what, "first_at": one.first_at, "last_at": one.last_at, "words": words})
    if len(found) > MOST_DOUBTS:  # such a sensor is broken: all from there on waits
        kept[-1]["last_at"] = max(one.last_at for one in found)
        kept[-1]["words"] = (
            f"{kept[-1]['words']} So are {len(found) - MOST_DOUBTS} more until {floor.say(found[-1].last_at)}."
        )
    if kept:
        more = f" There {'are' if len(found) > 2 else 'is'} {len(found) - 1} more." if len(found) > 1 else ""
        floor.note("doubtful samples", f"{kept[0]['words']}{more}", ask.zone)
    return kept
