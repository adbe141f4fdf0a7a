"""The release desk and after: release, dispatch, return, identify."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from fillbook.trace.book import cures, later, queries, returned
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, Stopped, UnknownItem
from fillbook.trace.core.release import two_dates
from fillbook.trace.work.ask import Ask, Note, Reason, Text, Tire
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class Release(Ask):
    tire: Tire | None = Field(None, description="The tire; scan its tag")
    tires: list[Tire] = Field(
        default_factory=list, description="Several tires, released with one signature", max_length=60
    )
    tag_scanned: bool = Field(False, description="The tags were scanned, not typed")


@verb("release", Release, role="lead", place="desk")
def release(ask: Release, floor: Floor) -> dict[str, Any]:
    """Release cured tires; freezes the evidence."""
    tires = [*([ask.tire] if ask.tire else []), *ask.tires]
    field = "tires" if ask.tires else "tire"
    if not tires:
        raise Nonsense("Name the tire: scan its tag.", field="tire")
    if len(set(tires)) != len(tires):
        raise Nonsense("The same tire is named twice.", field="tires")
    for tire in tires:
        _may_be_asked(floor, tire, field)
    zones = cures.Zones(floor.book, floor.shop, floor.at)
    cases = [
        cures.case(floor.book, tire, floor.at, tag_scanned=ask.tag_scanned, zones=zones) for tire in tires
    ]
    kept_back = [case for case in cases if not case.decision.ok]
    if kept_back and len(tires) > 1:  # one signature, one reason: an override is for one tire
        each = " ".join(f"{_named(case.tire, case.decision.stops[0].words)}" for case in kept_back[:5])
        raise Stopped(
            f"{len(kept_back)} of these {len(tires)} tires can't be released, so none was. {each} Leave them out, or release each by itself.",
            field="tires",
        )
    for case in cases:
        for finding in case.decision.findings:
            if finding.stops:
                floor.stop(
                    f"release {finding.code}",
                    _named(case.tire, finding.words),
                    case.tire,
                    field=field,
                )
            elif finding.code in ("typed", "rating"):
                floor.note(finding.code, finding.words, case.tire)
    return {"frozen": [_frozen(floor, case) for case in cases]}


def _named(tire: str, words: str) -> str:
    """*words* with the tire they are about, once."""
    name = ids.pretty(tire)
    return words if name in words else f"{name}: {words}"


def _may_be_asked(floor: Floor, tire: str, field: str) -> None:
    state = floor.must_exist(tire, "the release")
    name = ids.pretty(tire)
    if state.state in ("released", "dispatched"):
        raise Nonsense(
            f"{name} was released already; it is {state.state} since {floor.say(state.since)}.", field=field
        )
    floor.not_later(tire, ("released", "dispatched"), field, until="returned")
    if state.state not in ("filled", "racked"):
        raise Nonsense(f"{name} is {state.state}; only a filled tire is released.", field=field)


def _frozen(floor: Floor, case: cures.Case) -> dict[str, Any]:
    """What the decision stood on, as it stays for ever."""
    dates = two_dates(
        case.cure,
        case.decision,
        move_after_s=floor.limit("move_after"),
        work_after_s=floor.limit("work_after"),
        released_at=floor.at,
    )
    clock = case.cure
    return {
        "item": case.tire,
        "path": case.decision.path or "override",
        "overridden": not case.decision.ok,
        "verdict": case.decision.verdict,
        "credited_s": clock.credited_s,
        "attended_s": clock.attended_s,
        "near_s": clock.near_s,
        "below_s": clock.below_s,
        "unobserved_s": clock.unobserved_s,
        "equivalent_s": clock.equivalent_s,
        "limit_mc": clock.limit_mc,
        "rules": clock.rules,
        "cold_start": clock.cold_start,
        "cup": case.cup,
        "blocks": list(case.blocks),
        "findings": [{"code": f.code, "words": f.words, "stops": f.stops} for f in case.decision.findings],
        "moved_at": dates.may_be_moved_at,
        "work_at": dates.may_work_at,
    }


class Settle(Ask):
    tire: Tire = Field(description="The released tire")
    why: Reason = Field(description="What was looked at and done")


@verb("settle", Settle, role="lead", place="desk")
def settle(ask: Settle, floor: Floor) -> dict[str, Any]:
    """Settle the alert on a released tire whose evidence later readings changed."""
    floor.must_exist(ask.tire, "settling it")
    if not ask.why:
        raise Nonsense("Say what was looked at and done.", field="why")
    found = later.alert(floor.book, floor.shop, ask.tire)
    if found is None:
        raise Nonsense(
            f"No later reading changed the release of {ids.pretty(ask.tire)}; there is nothing to settle.",
            field="tire",
        )
    return {"alert": found.words}


class Dispatch(Ask):
    tires: list[Tire] = Field(description="The tires that leave", min_length=1, max_length=200)
    to: Text | None = Field(None, description="Where to; the customer, if not said")


@verb("dispatch", Dispatch, place="desk")
def dispatch(ask: Dispatch, floor: Floor) -> dict[str, Any]:
    """Send released tires out."""
    if len(set(ask.tires)) != len(ask.tires):
        raise Nonsense("The same tire is named twice.", field="tires")
    to = []
    for tire in ask.tires:
        state = floor.must_exist(tire, "dispatching")
        name = ids.pretty(tire)
        if state.state == "dispatched":
            raise Nonsense(f"{name} left at {floor.say(state.since)} already.", field="tires")
        if state.state in ("taken in", "filling", "reclaimed", "scrapped"):
            raise Nonsense(f"{name} is {state.state}; there is no filled tire to send.", field="tires")
        floor.not_later(tire, ("dispatched",), "tires", until="returned")
        # What keeps it here is said before that nobody released it
        floor.check_held(tire, "dispatch", "tires")
        if state.state != "released":
            floor.stop("not released", f"{name} is not released ({state.state}).", tire, field="tires")
        _check_sources(floor, tire)
        facts = queries.tire(floor.book, tire)
        to.append(ask.to or (facts.customer if facts else ""))
    return {"to": to}


def _check_sources(floor: Floor, tire: str) -> None:
    """Stop where what went into the tire was put on hold after its release."""
    for name, share_e4 in cures.held_since_release(floor.book, tire, floor.at):
        share = f"{share_e4 / 100:.2f} %" if share_e4 else "less than 0.01 %"
        floor.stop(
            "source hold",
            f"{ids.pretty(tire)} was released before {name}, {share} of its fill, was put on hold; no dispatch until a lead has looked.",
            tire,
            field="tires",
        )


class Return(Ask):
    complaint: Note = Field(description="What is wrong, in the customer's words")
    tire: Tire | None = Field(None, description="The tire, if it is known")
    customer: Text | None = Field(None, description="Who brought it")
    size: Text | None = Field(None, description="Its size")
    unit: Text | None = Field(None, description="The customer's unit number of the machine")
    serial: Text | None = Field(None, description="Tire serial or date code, as far as it can be read")
    wheel_serial: Text | None = Field(None, description="Wheel serial, as far as it can be read")
    months: int | None = Field(None, description="About how many months it was in service", ge=0, le=600)


@verb("return", Return, place="desk")
def take_back(ask: Return, floor: Floor) -> dict[str, Any]:
    """Take back a tire; without a label, keep the set of those it can be."""
    if not ask.complaint:
        raise Nonsense("Say what is wrong with it.", field="complaint")
    clues = {
        "customer": ask.customer or "", "size": ask.size or "", "unit": ask.unit or "", "serial": ask.serial or "",
        "wheel_serial": ask.wheel_serial or "",
    }  # fmt: skip
    words = "; ".join(f"{name.replace('_', ' ')} {value}" for name, value in clues.items() if value)
    if ask.months is not None:
        words = "; ".join(
            filter(None, [words, f"about {ask.months} {'month' if ask.months == 1 else 'months'} in service"])
        )
    if ask.tire:
        state = floor.must_exist(ask.tire, "the return")
        if state.state in ("taken in", "filling"):
            raise Nonsense(
                f"{ids.pretty(ask.tire)} is {state.state}; it was never filled, so it can't come back.",
                field="tire",
            )
        if state.state == "returned":
            raise Nonsense(
                f"{ids.pretty(ask.tire)} came back at {floor.say(state.since)} already.", field="tire"
            )
        floor.not_later(ask.tire, ("returned",), "tire", until="dispatched")
        if state.state != "dispatched":
            floor.note(
                "never dispatched",
                f"{ids.pretty(ask.tire)} came back, but it was {state.state} here.",
                ask.tire,
            )
        return {"clues": words, "candidates": []}
    if not words:
        raise Nonsense(
            "A tire without a label needs at least one clue: customer, size, unit, a serial or months in service.",
            field="customer",
        )
    return {
        "clues": words,
        "candidates": returned.candidates(floor.book, floor.shop, clues, ask.months, floor.at),
    }


class Identify(Ask):
    event: int = Field(description="The number of the return without a label", ge=1)
    verdict: Literal["ours", "not ours", "undetermined"] = Field(description="ours, not ours or undetermined")
    tire: Tire | None = Field(None, description="Which one it is, if it is known")
    rule_out: list[Tire] = Field(default_factory=list, description="Candidates it is not", max_length=500)
    why: Reason = Field(description="What was looked at")


@verb("identify", Identify, role="lead", place="desk")
def identify(ask: Identify, floor: Floor) -> dict[str, Any]:
    """Narrow a returned tire's set of candidates, or name the one it is."""
    case = returned.open_return(floor.book, floor.shop, ask.event)
    if case is None:
        raise UnknownItem(f"Event {ask.event} is no return without a label.", field="event")
    if not ask.why:
        raise Nonsense("Say what was looked at.", field="why")
    if case.item:
        raise Nonsense(
            f"That return was identified as {ids.pretty(case.item)} already; correct that event if it was wrong.",
            field="event",
        )
    if ask.tire and ask.verdict != "ours":
        raise Nonsense(f"If it is {ids.pretty(ask.tire)}, it is ours.", field="verdict")
    if ask.tire:
        state = floor.must_exist(ask.tire, "identifying it")
        if state.state in ("taken in", "filling"):
            raise Nonsense(
                f"{ids.pretty(ask.tire)} is {state.state}; it never left, so it can't have come back.",
                field="tire",
            )
    left = [one for one in case.candidates if one["item"] not in ask.rule_out and ask.verdict != "not ours"]
    if ask.tire:
        left = [one for one in left if one["item"] == ask.tire] or [
            {"item": ask.tire, "for": ask.why, "against": ""}
        ]
    return {
        "return_seq": ask.event, "returned_at": case.at, "complaint": case.complaint, "customer": case.customer, "size": case.size,
        "clues": case.clues, "item": ask.tire or "", "candidates": left,
    }  # fmt: skip
