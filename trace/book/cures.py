"""The cure of a tire as the book knows it: where it lay, what the loggers and hands measured there, and what the desk says of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from fillbook.trace.book import in_parts, loggers, many_tires, on_hold, queries, reach, suspects
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import cure, exposure, ids, release, times
from fillbook.trace.core.errors import Nonsense

SHARED_S = 14 * 86_400
LOOK_BACK_S = 2 * 86_400  # samples from so long before are read: the forecast takes the zone's last two days


@dataclass(frozen=True)
class Case:
    """A tire before the release desk."""

    tire: str
    fill: Row
    cure: cure.Cure
    evidence: release.Evidence
    decision: release.Decision
    dates: release.TwoDates
    cup: str | None
    blocks: tuple[str, ...]


def rule_for(book: Book, shop: str, section: str, at: int, limit: queries.Limits | None = None) -> cure.Rule:
    """The shop's rule in force at *at*, for a section class."""
    limit = limit or queries.Limits(book, shop, at)
    return cure.Rule(
        limit_mc=limit("cure_temperature"),
        near_mk=limit("near_limit"),
        earliest_s=limit("cure_earliest"),
        standard_s=limit("cure_standard"),
        attended_gap_s=limit("attended_gap"),
        rules=queries.rules_number(book, shop, at),
        lag_s=limit(f"lag_{section}"),
        added_s=limit(f"cold_{section}"),
        activation_j_mol=limit("activation_energy"),
    )


class Zones:
    """The zones' samples and readings at *now*, and what else many tires share: the limits, what is held. Each is read once."""

    def __init__(self, book: Book, shop: str, now: int, tires: many_tires.Tires | None = None) -> None:
        self.book, self.now = book, now
        self.tires = tires or many_tires.Tires(book)
        self.facts = {zone["item"]: zone for zone in queries.zones(book, shop)}
        self._sensors: dict[str, list[tuple[int, list[cure.Sensor]]]] = {}
        self._readings: dict[tuple[str, int], list[cure.Reading]] = {}
        self._rules: dict[tuple[str, str], cure.Rule] = {}
        self._limits: dict[str, queries.Limits] = {}
        self._numbers: dict[str, int] = {}
        self._held: dict[str, dict[str, set[str]]] = {}
        self._blocks: dict[str, tuple[int, list[Row]]] = {}

    def sensors(self, zone: str, start: int) -> list[cure.Sensor]:
        """The loggers of *zone*, from two days before *start* on.

        What was read for a tire that came up to two weeks earlier serves those after it: their hours are then counted once for all.
        """
        since = start - LOOK_BACK_S
        for begun, there in self._sensors.setdefault(zone, []):
            if since - SHARED_S <= begun <= since:
                return there
        found = loggers.sensors(self.book, self.facts[zone], since, self.now)
        self._sensors[zone].append((since, found))
        return found

    def rule(self, shop: str, section: str) -> cure.Rule:
        """The rule of a section class in force now."""
        key = (shop, section)
        if key not in self._rules:
            self._rules[key] = rule_for(self.book, shop, section, self.now, self.limits(shop))
        return self._rules[key]

    def limits(self, shop: str) -> queries.Limits:
        """The limits in force now."""
        if shop not in self._limits:
            self._limits[shop] = queries.Limits(self.book, shop, self.now)
        return self._limits[shop]

    def held(self, shop: str) -> dict[str, set[str]]:
        """What is held and may be in a fill, as :func:`held_by_name` gives it."""
        if shop not in self._held:
            self._held[shop] = held_by_name(self.book, on_hold.held_sources(self.book, shop, self.now))
        return self._held[shop]

    def numbers(self, items: Iterable[str]) -> dict[str, int]:
        """The numbers of *items*."""
        new = [item for item in items if item not in self._numbers]
        if new:
            self._numbers |= in_parts.numbers(self.book, new)
        return self._numbers

    def blocks(self, zone: str, start: int) -> list[str]:
        """The digests of the samples' blocks that bear on [start, now], as they came in."""
        since, there = self._blocks.get(zone, (None, []))
        if since is None or since > start:
            since, there = self._blocks[zone] = (start, queries.blocks(self.book, zone, start, self.now))
        return [block.digest for block in there if block.last_at >= start]

    def readings(self, zone: str, start: int) -> list[cure.Reading]:
        since = start - start % 86_400
        if (zone, since) not in self._readings:
            rows = queries.readings(self.book, zone, since, self.now)
            self._readings[(zone, since)] = [cure.Reading(zone, at, mc, lowest) for at, mc, lowest in rows]
        return self._readings[(zone, since)]


def held_by_name(book: Book, sources: Iterable[str]) -> dict[str, set[str]]:
    """Totes, batches and fills by their IDs; a lot's totes by its name, together."""
    groups: dict[str, set[str]] = {}
    for item in sources:
        if ids.kind_of(item) in "LGF":
            tote = queries.tote(book, item)
            name = f"lot {tote.lot} of {tote.supplier}" if tote else ids.pretty(item)
            groups.setdefault(name, set()).add(item)
    return groups


def held_since_release(book: Book, tire: str, now: int) -> list[tuple[str, int]]:
    """What is in *tire* and was put on hold between its last release and *now*: each with its share in ten-thousandths.

    What was held when the release was signed was overridden then.
    """
    fill = queries.fill(book, tire)
    if fill is None:
        return []
    since = book.value("SELECT max(at) FROM released WHERE item = ? AND at <= ?", tire, now)
    sources = on_hold.held_sources(book, fill.shop, now, since=-on_hold.ALWAYS if since is None else since)
    if not sources:
        return []
    zones = Zones(book, fill.shop, now)
    return _source_holds(book, fill.shop, tire, zones.tires[tire].own, zones, held_by_name(book, sources))


def clock(book: Book, tire: str, fill: Row, now: int, zones: Zones | None = None) -> cure.Cure:
    """The cure clock of a filled tire at *now*, or when it was released or left."""
    zones = zones or Zones(book, fill.shop, now)
    known = zones.tires[tire]
    return _clock(fill, known.facts, known.stays(), max(known.counts_until(now), fill.at), zones)


def _clock(
    fill: Row, facts: Row | None, stays: list[tuple[str, int, int | None]], now: int, zones: Zones
) -> cure.Cure:
    lay = [cure.Stay(zone, start, end) for zone, start, end in stays if start <= now]
    sensors: dict[str, list[cure.Sensor]] = {}
    readings: list[cure.Reading] = []
    for zone in dict.fromkeys(stay.zone for stay in lay):
        start = min(stay.start for stay in lay if stay.zone == zone)
        sensors[zone] = zones.sensors(zone, start)
        readings += zones.readings(zone, start)
    rule = zones.rule(fill.shop, facts.section if facts else "medium")
    return cure.clock(fill.at, lay, sensors, readings, rule, now, cold_start=bool(fill.cold))


def case(
    book: Book,
    tire: str,
    now: int,
    *,
    tag_scanned: bool = True,
    zones: Zones | None = None,
    knowing_release: bool = False,
    say: Say | None = None,
) -> Case:
    """Everything that bears on the release of *tire* at *now*. Raises Nonsense for a tire that was never filled.

    *knowing_release*: look at a released tire again, as if the release were still to be signed. *say*: the units of its findings' words,
    the shop's where none is given; what a release freezes is always in those.
    """
    tires = zones.tires if zones else many_tires.Tires(book)
    known = tires[tire]
    fill = known.fill
    if fill is None or fill.at > now:
        raise Nonsense(
            f"{ids.pretty(tire)} has not been filled to the end; finish the fill first.", field="tire"
        )
    shop = fill.shop
    say = say or Say(book, shop)
    zones = zones or Zones(book, shop, now, tires)
    limit = zones.limits(shop)
    facts, lay = known.facts, known.stays()
    found = _clock(fill, facts, lay, max(known.counts_until(now), fill.at), zones)
    cup = tires.cup_covering(fill)
    read = tires.cup_verdict(cup["item"], now) if cup else None
    hardness = [int(v) for v in read.hardness.split()] if read and read.hardness else []
    scale = read.scale if read else "A"
    holds = [h for h in known.holds if h.at <= now]
    state = known.state_at(now)
    evidence = release.Evidence(
        fill=ids.pretty(tire),
        state=state,
        finished=True,
        cure=found,
        cup=None if cup is None else "waiting" if read is None else "passed" if read.passed else "failed",
        hardness_median=release.median_hardness(hardness),
        hardness_least=limit("hardness_least_00" if scale == "00" else "hardness_least"),
        hardness_scale=scale,
        pressure_pa=fill.pressure_pa,
        flow_stopped=bool(fill.flow_stopped),
        lowest_rating_pa=facts.rating_pa if facts else None,
        pressure_over_e4=limit("pressure_most_over"),
        holds=[h.why for h in holds if not h.by_rule and not h.recall],
        unsettled=[h.why for h in holds if h.by_rule],
        recalls=[h.why for h in holds if h.recall],
        source_holds=_source_holds(book, shop, tire, known.own, zones, zones.held(shop)),
        tag_scanned=tag_scanned,
        already_released=state in ("released", "dispatched") and not knowing_release,
    )
    decision = release.decide(evidence, say_time=say.time, say_pressure=say.pressure)
    dates = release.two_dates(
        found,
        decision,
        move_after_s=limit("move_after"),
        work_after_s=limit("work_after"),
    )
    blocks = [
        digest for zone in dict.fromkeys(zone for zone, _, _ in lay) for digest in zones.blocks(zone, fill.at)
    ]
    return Case(tire, fill, found, evidence, decision, dates, cup["item"] if cup else None, tuple(blocks))


def _source_holds(
    book: Book, shop: str, tire: str, own: list[exposure.Link], zones: Zones, sources: dict[str, set[str]]
) -> list[tuple[str, int]]:
    """What of the held *sources* is in the fill, with its share in ten-thousandths: each held lot as a whole, and each held item.

    A lot's totes are judged together. What went in straight counts whatever its share; what came through regrind, from the shop's
    threshold on.
    """
    groups = {name: members - {tire} for name, members in sources.items()}
    held = set().union(*groups.values())
    if not held:
        return []
    numbers = zones.numbers([tire, *held])
    least = zones.limits(shop)("source_hold_threshold")
    found = []
    for name, members in sorted(groups.items()):
        if not members:
            continue
        share = share_of(book, tire, members, numbers, least)
        straight = exposure.direct(own, members).get(tire, exposure.NO_GRAMS)
        if share >= max(least, 1) or straight.best > 0:
            found.append((name, share))
    return found


def share_of(book: Book, tire: str, members: set[str], numbers: dict[str, int], least: int) -> int:
    """The share of *tire*, or a batch, that is *members* together, in ten-thousandths.

    Ancestors that hold less than a hundredth of the threshold are only followed where they could lift the share to it.
    """
    found, left = reach.share_in(
        book, numbers[tire], {numbers[code] for code in members}, max(least, 1) / 1_000_000
    )
    if left and round((found + left) * 10_000) >= max(least, 1):
        found = exposure.fractions(suspects.backward(book, tire), members).get(tire, 0.0)
    return round(found * 10_000)


def answer(book: Book, tire: str, now: int, *, tag_scanned: bool = True) -> dict[str, Any]:
    """The desk's answer on *tire* as plain values: verdict, hours in seconds, times in ISO 8601 UTC, findings, two dates."""
    with book.reading():
        return plain(book, case(book, tire, now, tag_scanned=tag_scanned))


def plain(book: Book, found: Case) -> dict[str, Any]:
    """A case as plain values, as `answer` gives them."""
    clock = found.cure

    def time(at: int | None) -> str | None:
        return None if at is None else times.utc_text(at)

    return {
        "id": ids.pretty(found.tire),
        "as_of": time(clock.now),
        "verdict": found.decision.verdict,
        "ok": found.decision.ok,
        "path": found.decision.path,
        "ready_at": time(found.decision.ready_at),
        "started_at": time(clock.started_at),
        "credited_s": clock.credited_s,
        "attended_s": clock.attended_s,
        "near_s": clock.near_s,
        "below_s": clock.below_s,
        "unobserved_s": clock.unobserved_s,
        "equivalent_s": clock.equivalent_s,
        "needed_s": {"earliest": clock.needed_earliest_s, "standard": clock.needed_standard_s},
        "cold_start": clock.cold_start,
        "zone": queries.name_of(book, clock.zone) if clock.zone else None,
        "basis": clock.basis,
        "cup": ids.pretty(found.cup) if found.cup else None,
        "may_be_moved_at": time(found.dates.may_be_moved_at),
        "may_work_at": time(found.dates.may_work_at),
        "words": [finding.words for finding in found.decision.findings],
        "findings": [{"code": f.code, "words": f.words, "stops": f.stops} for f in found.decision.findings],
    }


def racks(book: Book, shop: str, now: int, say: Say | None = None) -> list[dict[str, Any]]:
    """Every tire that is filled and not released yet, with its clock and what blocks it; the nearest to ready first."""
    with book.reading():
        zones = Zones(book, shop, now)
        rows = []
        lying = queries.in_state(book, shop, "racked", "filled")
        zones.tires.look_up(row["item"] for row in lying)
        zones.numbers(row["item"] for row in lying)
        for row in lying:
            try:
                found = case(book, row["item"], now, zones=zones, say=say)
            except Nonsense:  # racked by a paper whose fill was not entered: it still shows, as what it is
                rows.append({"item": row["item"], "id": ids.pretty(row["item"]), "row": row, "case": None})
                continue
            rows.append({"item": row["item"], "id": ids.pretty(row["item"]), "row": row, "case": found})
    far = 2**62
    return sorted(rows, key=lambda r: ((r["case"].decision.ready_at or far) if r["case"] else far, r["id"]))
