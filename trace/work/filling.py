"""The fill: a tire is taken in, started and finished."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from fillbook.trace.book import held_within, hopper, on_hold, queries, spans, usual
from fillbook.trace.book.opening import Row
from fillbook.trace.core import ids, times, tires, units
from fillbook.trace.core.errors import Conflict, Nonsense, UnknownItem
from fillbook.trace.work.ask import (
    Ask,
    Line,
    Mass,
    MassOrNone,
    Moment,
    Pressure,
    Share,
    Temperature,
    Text,
    Tire,
)
from fillbook.trace.work.dock import BASIS
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.lines import SUBSTANCE, draw
from fillbook.trace.work.registry import verb

MOST_TIRES = 60
CUP_COUNTS_S = (
    12 * 3600
)  # the mix's temperature read at a cup stands for the fills after it, until the next cup or so long
UNFILLED = ("taken in", "soaking")
UNSTARTED_S = 15 * 60  # a fill entered afterwards without its start is taken to have run this long


class TakeIn(Ask):
    customer: Text | None = Field(None, description="Whose tire it is; the order's, if one is named")
    size: Text | None = Field(None, description="Size, as on the sidewall; the order's, if one is named")
    order: Text | None = Field(None, description="The work order: then nothing else is typed")
    tires: int = Field(1, description="How many of them", ge=1, le=MOST_TIRES)
    reserved: list[Tire] = Field(
        default_factory=list,
        description="From a paper day sheet: the IDs that were used",
        max_length=MOST_TIRES,
    )
    section: Literal["small", "medium", "large"] | None = Field(
        None,
        description="Section class: how slowly it follows the room's heat; read off the size, if not said",
    )
    site: Text | None = Field(None, description="The customer's site")
    unit: Text | None = Field(None, description="The customer's unit number of the machine")
    position: Text | None = Field(None, description="Position on the machine")
    serial: Text | None = Field(None, description="Tire serial or date code")
    wheel_serial: Text | None = Field(None, description="Wheel serial: the most durable key in service")
    rating_pa: Pressure | None = Field(None, description="The lowest rating of sidewall, rim and wheel")
    target_pa: Pressure | None = Field(None, description="Operating pressure to fill to")
    mix_e4: Share | None = Field(None, description="Regrind in the mix")
    earlier: Tire | None = Field(None, description="The earlier ID, when a casing is filled again")


@verb("take in", TakeIn, place="cage")
def take_in(ask: TakeIn, floor: Floor) -> dict[str, Any]:
    """Take tires in; each gets its ID and tag."""
    many = len(ask.reserved) or ask.tires
    facts = {name: getattr(ask, name) for name in FROM_ORDER if getattr(ask, name) is not None}
    if ask.order:
        facts = {**_order_facts(ask.order, many, floor), **facts}
    if not facts.get("customer") or not facts.get("size"):
        raise Nonsense(
            "A tire needs its customer and its size, or a work order that says them.", field="customer"
        )
    if many > 1 and (ask.serial or ask.wheel_serial or ask.earlier):
        raise Nonsense(
            "A serial or an earlier ID belongs to one tire: take that one in by itself.", field="serial"
        )
    if ask.rating_pa is not None and ask.target_pa is not None and ask.target_pa > ask.rating_pa:
        floor.stop(
            "above rating", f"The operating pressure ({psi(ask.target_pa)}) lies above the lowest rating ({psi(ask.rating_pa)}).",
            field="target_kpa",
        )  # fmt: skip
    if ask.earlier:
        floor.must_exist(ask.earlier, "taking it in")
    facts["section"] = ask.section or tires.section_class(facts["size"]) or "medium"
    if ask.reserved:
        _check_reserved(ask.reserved, floor)
    return {"tires": ask.reserved or floor.mint("F", ask.tires), "facts": facts}


FROM_ORDER = ("customer", "size", "site", "unit", "position", "target_pa", "mix_e4")


def _order_facts(number: str, many: int, floor: Floor) -> dict[str, Any]:
    """What the work order says of each of its tires; a finding where more come in than were ordered."""
    order = queries.order(floor.book, floor.shop, number)
    if order is None:
        raise UnknownItem(
            f"There is no work order {number!r} in the book. Open it first, or leave it out.", field="order"
        )
    there = queries.taken_in_on(floor.book, floor.shop, order.number)
    if there + many > order.tires:
        floor.note(
            "more than ordered",
            f"Order {order.number} is for {order.tires} {'tire' if order.tires == 1 else 'tires'}; {there + many} are taken in on it now.",
        )
    return {name: order[name] for name in FROM_ORDER if order[name] not in (None, "")}


def _check_reserved(reserved: list[str], floor: Floor) -> None:
    """An ID of a paper sheet names one tire, once."""
    if len(set(reserved)) != len(reserved):
        raise Nonsense("The same reserved ID is named twice.", field="reserved")
    for tire in reserved:
        state = floor.must_exist(tire, "taking it in")
        if state.state != "reserved":
            raise Conflict(
                f"{ids.pretty(tire)} names a tire already ({state.state} since {floor.say(state.since)}). Two tires can't bear one ID: "
                "take the other in under a new one.",
                field="reserved",
            )


def psi(pascals: int) -> str:
    return f"{pascals / 1000:.0f} kPa, {pascals / 6894.757:.0f} psi"


class StartFill(Ask):
    tire: Tire = Field(description="The tire; scan its tag")
    line: Line = Field(description="The line")
    bay_mc: Temperature | None = Field(None, description="Temperature of the bay")
    casing_mc: Temperature | None = Field(None, description="Temperature of the casing")
    mix_mc: Temperature | None = Field(None, description="Temperature of the mix, read at the purge cup")


@verb("start fill", StartFill, place="cage")
def start_fill(ask: StartFill, floor: Floor) -> dict[str, int]:
    """Start filling a tire; takes the line."""
    floor.must_exist(ask.line, "the fill")
    state = floor.must_exist(ask.tire, "the fill")
    name, line = ids.pretty(ask.tire), floor.name(ask.line)
    busy = queries.open_fill(floor.book, ask.line, floor.at)
    if busy and busy["item"] != ask.tire:
        raise Nonsense(
            f"{line} is filling {ids.pretty(busy['item'])} since {floor.say(busy.at)}; finish that fill first.",
            field="line",
        )
    if state.state == "filling":
        raise Nonsense(
            f"{name} is being filled on {floor.name(state.place)} since {floor.say(state.since)}.",
            field="tire",
        )
    if state.state in ("paused", "abandoned"):
        raise Nonsense(f"The fill of {name} was interrupted; go on with it instead (resume).", field="tire")
    if state.state not in UNFILLED:
        raise Nonsense(
            f"{name} is {state.state} already; a casing that is filled again is taken in anew and gets a new tag.",
            field="tire",
        )
    started = _started_already(floor, ask.tire)
    if started:
        raise Nonsense(
            f"{name} was started at {floor.say(started.at)} already (event {started.seq}); "
            "correct that event if its time is wrong.",
            field="tire",
        )
    floor.check_held(ask.tire, "filling", "tire")
    for code, words, item in _line_findings(floor, ask.line):
        floor.stop(code, words, item or ask.tire, field="line")
    mix = mix_of(floor, ask.tire, ask.line, None)
    for source, share_e4 in held_within.in_hopper(floor.book, ask.line, floor.at, mix):
        floor.stop(
            "held within",
            f"What is in the hopper of {line} may be {share_e4 / 100:.2f} % {source}, which is on hold; with {mix / 100:g} % regrind {name} "
            "would have to wait for that. Empty the hopper first, or fill it without regrind.",
            ask.tire,
            field="line",
        )
    if mix and "R" not in queries.connected(floor.book, ask.line, floor.at):
        floor.stop(
            "no regrind loaded",
            f"{name} is to get {mix / 100:g} % regrind, and no regrind batch is loaded on {line}: load its hopper first.",
            ask.tire,
            field="line",
        )
    tire = queries.tire(floor.book, ask.tire)
    assert tire is not None
    rating = queries.rating(floor.book, ask.tire)
    if rating is not None and tire.target_pa is not None and tire.target_pa > rating:
        floor.stop(
            "above rating", f"{name} is to be filled to {psi(tire.target_pa)}, above its lowest rating of {psi(rating)}.", ask.tire
        )  # fmt: skip
    if rating is None:
        floor.note(
            "no rating",
            f"No rating of {name} is in the book: read the sidewall, the rim and the wheel first.",
            ask.tire,
        )
    _check_stretched(floor, ask.tire)
    warm = floor.limit("cure_temperature")
    for value, what in ((ask.bay_mc, "bay"), (ask.casing_mc, "casing"), (ask.mix_mc, "mix")):
        if value is not None and value < warm:
            floor.note(
                "cold",
                f"The {what} is at {fahrenheit(value)}, below the shop's limit of {fahrenheit(warm)}.",
                ask.tire,
            )
    return {"soaked_s": queries.soaked_s(floor.book, ask.tire, floor.at)}


def _started_already(floor: Floor, tire: str) -> Row | None:
    """Another start of this fill. That it was interrupted later and went on then is none, so the start itself can be corrected."""
    return floor.book.one(
        "SELECT s.at, s.seq FROM fill_start s JOIN event e ON e.shop = s.shop AND e.seq = s.seq "
        "WHERE s.item = ? AND (e.kind <> 'resume' OR s.at <= ?) ORDER BY s.at DESC, s.seq DESC LIMIT 1",
        tire, floor.at,
    )  # fmt: skip


def _check_stretched(floor: Floor, tire: str) -> None:
    """A tire known to be new stands at operating pressure for a time before it is filled."""
    casing = queries.inspected(floor.book, tire, "casing", floor.at)
    if casing is None or casing.value != "new":
        return
    stood = queries.inspected(floor.book, tire, "stretch", floor.at)
    needed = floor.limit("stretch_new")
    if stood is None or floor.at - stood.at < needed:
        so_far = (
            "was not stretched"
            if stood is None
            else f"stood at pressure for {times.hours(floor.at - stood.at)}"
        )
        floor.stop(
            "not stretched",
            f"{ids.pretty(tire)} is new and {so_far}; {times.hours(needed)} are the shop's rule.",
            tire,
            field="tire",
        )


def fahrenheit(mc: int) -> str:
    return f"{mc / 1000:.1f} °C ({mc * 9 / 5000 + 32:.0f} °F)"


def _line_findings(floor: Floor, line: str) -> list[tuple[str, str, str]]:
    """What is out of order with what is hooked up: (code, words, item)."""
    there = queries.connected(floor.book, line, floor.at)
    name = floor.name(line)
    found: list[tuple[str, str, str]] = []
    totes: dict[str, Row] = {}
    for side in ("A", "B"):
        tote = queries.tote(floor.book, there[side]) if side in there else None
        if tote is None:
            found.append(("nothing hooked up", f"{name} has no tote on {SUBSTANCE[side]}.", ""))
            continue
        totes[side] = tote
        if tote.use_by is not None and tote.use_by < floor.at:
            found.append(
                ("past use-by", f"{ids.pretty(tote['item'])} was to be used by {floor.say(tote.use_by)}.", "")
            )
    if len(totes) == 2 and totes["A"].system.lower() != totes["B"].system.lower():
        found.append(
            (
                "mixed systems",
                f"{name} has {totes['A'].system} on side A and {totes['B'].system} on side B.",
                "",
            )
        )
    for item in there.values():
        for hold in on_hold.holds_on(floor.book, item):
            if hold.at <= floor.at:
                found.append(("held source", f"{ids.pretty(item)} on {name} is on hold ({hold.why}).", ""))
    return found


class FinishFill(Ask):
    tire: Tire = Field(description="The tire; scan its tag")
    weight_g: Mass = Field(description="Main mix that went in")
    pressure_pa: Pressure | None = Field(None, description="Final pressure, read with the flow stopped")
    topup_g: MassOrNone | None = Field(None, description="Top-up at the end")
    mix_e4: Share | None = Field(None, description="Regrind in the mix; the tire's, else the last fill's")
    topup_mix_e4: Share | None = Field(None, description="Regrind in the top-up")
    basis: BASIS = Field("pump total", description="Where the weight comes from")
    flow_stopped: bool = Field(True, description="The pressure was read with the flow stopped")
    line: Line | None = Field(None, description="The line, if the start was not entered")
    started: Moment | None = Field(None, description="When it began, if the start was not entered")


@verb("finish fill", FinishFill, place="cage")
def finish_fill(ask: FinishFill, floor: Floor) -> dict[str, Any]:
    """Finish a fill: what went in and at which pressure. Never refused for being out of limits."""
    state = floor.must_exist(ask.tire, "the fill")
    name = ids.pretty(ask.tire)
    if state.state not in (*UNFILLED, "filling", "paused"):
        raise Nonsense(
            f"{name} is {state.state} already; correct its fill if something else went in.", field="tire"
        )
    done = queries.fill(floor.book, ask.tire)
    if done:
        raise Nonsense(
            f"{name} was filled until {floor.say(done.at)}; correct its fill if something else went in.",
            field="tire",
        )
    started = queries.start_of(floor.book, ask.tire)
    line = ask.line or (started.line if started else None)
    if line is None:
        raise Nonsense(f"The start of {name} was not entered; say on which line it was filled.", field="line")
    starts = queries.starts_of(floor.book, ask.tire)  # more than one, where it was interrupted
    began = ask.started if ask.started is not None else (starts[0].at if starts else floor.at - UNSTARTED_S)
    if began > floor.at:
        raise Nonsense(
            f"{name} can't have been finished at {floor.say(floor.at)}: it was started at {floor.say(began)}.",
            field="at",
        )
    first = queries.first_seen(floor.book, ask.tire)
    if ask.started is not None and first is not None and began < first:
        raise Nonsense(
            f"The fill of {name} can't have begun at {floor.say(began)}: the tire came in at {floor.say(first)}.",
            field="started",
        )
    busy = queries.open_fill(floor.book, line, floor.at)
    if started is None and busy and busy["item"] != ask.tire:
        floor.note(
            "two on one line",
            f"{floor.name(line)} was filling {ids.pretty(busy['item'])} at the time.",
            ask.tire,
            holds=True,
        )
    mix = mix_of(floor, ask.tire, line, ask.mix_e4)
    check_counted_on(floor, ask.tire)
    before = drawn_so_far(floor, ask.tire)
    if ask.weight_g < before:
        raise Nonsense(
            f"{units.kg_lb(before)} went into {name} before it was interrupted; give all that is in it now.",
            field="weight_kg",
        )
    resumed = queries.last_touch(floor.book, ask.tire, "filling", floor.at)
    elsewhere = len(starts) > 1 and starts[0].line != line
    part_from = resumed if resumed is not None and (before or elsewhere) else began
    draws = []
    if ask.weight_g > before:
        draws.append(draw(floor, line, ask.tire, "main", ask.weight_g - before, mix, ask.basis))
    if ask.topup_g:
        topup_mix = (
            ask.topup_mix_e4 if ask.topup_mix_e4 is not None else min(mix, floor.limit("topup_regrind_most"))
        )
        draws.append(draw(floor, line, ask.tire, "top-up", ask.topup_g, topup_mix, ask.basis))
    _note_findings(ask, floor, line, draws, part_from)
    known = [value for one in starts for value in (one.bay_mc, one.casing_mc, one.mix_mc)]
    if all(one.mix_mc is None for one in starts):
        known.append(_mix_at_the_cup(floor, line))
    cold = any(value is not None and value < floor.limit("cold_start_below") for value in known)
    return {
        "line": line, "began": began, "started_at": part_from, "draws": draws, "cold": cold, "mix_e4": mix,
        "grams": ask.weight_g + (ask.topup_g or 0),
    }  # fmt: skip


def _mix_at_the_cup(floor: Floor, line: str) -> int | None:
    """The mix's temperature as it was read at the line's last cup, where that was poured within the shift."""
    cup = queries.cup_covering(floor.book, Row(line=line, at=floor.at))
    return cup.mix_mc if cup and floor.at - cup.at <= CUP_COUNTS_S else None


def drawn_so_far(floor: Floor, tire: str) -> int:
    """Grams that are in a tire by the book already: the parts of a fill that was interrupted."""
    return sum(act.grams for act in queries.draws_of(floor.book, tire) if act.at <= floor.at)


def check_counted_on(floor: Floor, tire: str, field: str = "weight_kg") -> None:
    """Refuse a total under which a later one has counted on already: the grams of both would no longer add up to what was read."""
    later = next(
        (act for act in queries.draws_of(floor.book, tire) if act.at > floor.at and act.purpose == "main"),
        None,
    )
    if later:
        raise Nonsense(
            f"{ids.pretty(tire)} was weighed again at {floor.say(later.at)} (event {later.seq}), and that counted on from here: "
            "void that event first, then enter both.",
            field=field,
        )


def mix_of(floor: Floor, tire: str, line: str, said: int | None) -> int:
    """The regrind in the mix: what was said, else the order's, else as in the fill before, else none where none is loaded."""
    if said is not None:
        return said
    tire_row = queries.tire(floor.book, tire)
    if tire_row and tire_row.mix_e4 is not None:
        return int(tire_row.mix_e4)
    last = queries.last_fill_on(floor.book, line, floor.at)
    return int(last.mix_e4) if last else 0


def _note_unusual(floor: Floor, tire: str, grams: int) -> None:
    """A weight ten times off what such tires took before is kept, and a second person looks whether it was typed so. One that is off
    by less, where those before agreed, is noted and no more: a casing may be half worn, a fill may have been given up.
    """
    before = usual.of_tire(floor.book, floor.shop, tire, floor.at)
    far = bool(before and before.times(grams))
    if not before or not (far or before.somewhat_off(grams)):
        return
    words = before.compared(units.kg_lb(grams), units.kg_lb(before.grams), grams)
    words = f"{ids.pretty(tire)}: {words} Look at the weight and its unit."
    floor.note("unusual weight", words, tire, holds=far)


def _note_findings(ask: FinishFill, floor: Floor, line: str, draws: list[dict[str, Any]], began: int) -> None:
    name = ids.pretty(ask.tire)
    rating = queries.rating(floor.book, ask.tire)

    def note(code: str, words: str) -> None:
        floor.note(code, words, ask.tire, holds=True)

    if ask.pressure_pa is None:
        note("no pressure", f"No final pressure of {name} was given.")
    elif not ask.flow_stopped:
        note("flow running", f"The pressure of {name} was read while material flowed, which does not count.")
    _note_unusual(floor, ask.tire, ask.weight_g + (ask.topup_g or 0))
    most = None if rating is None else rating * (10_000 + floor.limit("pressure_most_over")) // 10_000
    if ask.pressure_pa is not None and most is not None and rating is not None and ask.pressure_pa > most:
        note(
            "above rating",
            f"{name} was filled to {psi(ask.pressure_pa)}; its lowest rating is {psi(rating)}.",
        )
    for one, limit in zip(draws, ("regrind_most", "topup_regrind_most"), strict=False):
        most = floor.limit(limit)
        if one["mix_e4"] > most:
            note(
                "too much regrind",
                f"The {one['purpose']} mix had {one['mix_e4'] / 100:g} % regrind; the limit is {most / 100:g} %.",
            )
    for code, words, _ in _line_findings(floor, line):
        note(code, words)
    if any(one["r_g"] for one in draws) and "R" not in queries.connected(floor.book, line, floor.at):
        note(
            "regrind of unknown origin",
            f"No regrind batch was loaded on {floor.name(line)}: its regrind is of unknown origin.",
        )
    for span in spans.given_too_much(floor.book, floor.shop, line, floor.at, draws):
        floor.note(
            "more than it held",
            f"{ids.pretty(span.item)} held {units.kg_lb(span.held_g)} when it was hooked up to {floor.name(line)}; with this fill "
            f"{units.kg_lb(span.drawn_g)} are drawn from it. What is more counts as of unknown origin: enter the change-over that "
            "is missing, or correct the weight.",
            span.item,
        )
    batch = queries.connected(floor.book, line, floor.at).get("R", "")
    over = hopper.gives_too_much(floor.book, floor.shop, line, began, floor.at, draws, floor.correcting)
    if batch and over:
        floor.note(
            "more than the hopper held",
            f"The hopper gave more than was loaded: it can have held {units.kg_lb(over[0])} at most; this fill takes "
            f"{units.kg_lb(over[1])} of regrind on {floor.name(line)}. What is more counts as of unknown origin: enter the load that is "
            "missing, or correct the weight or the mix.",
            batch,
        )
    if queries.off_ratio_at(floor.book, line, floor.at, floor.correcting):
        note(
            "possibly off-ratio",
            f"A side ran dry on {floor.name(line)} shortly before: {name} may be off-ratio.",
        )
    for hold in on_hold.holds_on(floor.book, ask.tire):
        if hold.at <= floor.at:
            floor.note(
                "filled while held", f"{name} was on hold ({hold.why}) and was filled all the same.", ask.tire
            )
