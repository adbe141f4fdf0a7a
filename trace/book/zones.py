"""What a zone's page, the racks and the desk show of the cure: plain values, times in epoch seconds, temperatures in thousandths of °C."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fillbook.trace.book import cures, loggers, queries
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book
from fillbook.trace.core import cure, ids, times
from fillbook.trace.core.errors import Nonsense, UnknownItem

POINTS = 1_200  # of one logger in a picture: each stands for a stretch, by its lowest and highest sample


def history(book: Book, shop: str, zone: str, start: int, end: int) -> dict[str, Any]:
    """A zone (compact ID) over [start, end], for a page and a picture.

    ``limit_mc``; ``loggers``: each with ``sensor``, ``since``, ``until``, ``offset_mk``, ``tolerance_mk``, ``gap_s`` and ``points``
    (at, lowest, highest; as credited, with offset and less tolerance); ``gaps``: spans nobody measured by logger; ``doubts``;
    ``readings`` by hand (at, mc, lowest_since); ``tires`` that lay there (item, id, from, until).

    Raises UnknownItem for what is no zone of *shop*, Nonsense for a span that ends before it starts.
    """
    if end < start:
        raise Nonsense("The hours asked for end before they start: swap the two times.", field="start")
    fact = next((row for row in queries.zones(book, shop) if row["item"] == zone), None)
    if fact is None:
        raise UnknownItem(f"{ids.pretty(zone)} is no zone here.", field="zone")
    with book.reading():
        sensors = loggers.sensors(book, fact, start, end)
        names = [
            one
            for one in loggers.hung(book, fact)
            if one.since <= end and (one.until is None or one.until >= start)
        ]
        spans = []
        shown = []
        for one, sensor in zip(names, sensors, strict=True):
            shift = sensor.offset_mk - sensor.tolerance_mk
            inside = [(at, mc + shift) for at, mc in sensor.samples if start <= at <= end]
            shown.append({
                "sensor": one.sensor, "since": one.since, "until": one.until, "offset_mk": one.offset_mk, "tolerance_mk": one.tolerance_mk,
                "gap_s": one.gap_s, "points": _thinned(inside, start, end), "newest": sensor.samples[-1][0] if sensor.samples else None,
            })  # fmt: skip
            spans.append(
                _silent(sensor, max(start, one.since), end if one.until is None else min(end, one.until))
            )
        return {
            "zone": zone,
            "name": fact.name,
            "start": start,
            "end": end,
            "limit_mc": queries.limit(book, shop, "cure_temperature", end),
            "near_mk": queries.limit(book, shop, "near_limit", end),
            "loggers": shown,
            "gaps": _unobserved(spans, sensors, start, end),
            "doubts": [
                dict(row)
                for one in dict.fromkeys(n.sensor for n in names)
                for row in loggers.doubts(book, zone, one, start, end)
            ],
            "readings": [r for r in queries.readings(book, zone, start, end) if start <= r[0] <= end],
            "tires": lay_there(book, zone, start, end),
        }


def _thinned(points: list[tuple[int, int]], start: int, end: int) -> list[tuple[int, int, int]]:
    """At most `POINTS` points: (at, lowest, highest) of each stretch of time that has samples."""
    if len(points) <= POINTS:
        return [(at, mc, mc) for at, mc in points]
    wide = -(-(end - start) // POINTS) or 1
    found: list[tuple[int, int, int]] = []
    bucket = None
    for at, mc in points:
        if (at - start) // wide != bucket:
            bucket = (at - start) // wide
            found.append((at, mc, mc))
        else:
            first, low, high = found[-1]
            found[-1] = (first, min(low, mc), max(high, mc))
    return found


def _silent(sensor: Any, start: int, end: int) -> list[tuple[int, int]]:
    """The spans of [start, end] in which this logger, hanging there, told nothing that counts."""
    found = []
    before = None
    broken = iter(sensor.breaks)
    broke = next(broken, None)
    for at, _ in sensor.samples:
        since = start if before is None else before
        while broke is not None and before is not None and broke < before:
            broke = next(broken, None)
        gap = before is None or at - before > sensor.gap_s or (broke is not None and broke < at)
        if gap and at > start and since < end:
            found.append((max(since, start), min(at, end)))
        before = at
    if before is None:
        found.append((start, end))
    elif before < end:
        found.append((max(before, start), end))
    return [span for span in found if span[0] < span[1]]


def _unobserved(
    silent: list[list[tuple[int, int]]], sensors: Iterable[Any], start: int, end: int
) -> list[tuple[int, int]]:
    """Spans in which one of the hanging loggers was silent, or none hung; joined."""
    edges = sorted((max(start, s.since), end if s.until is None else min(end, s.until)) for s in sensors)
    bare, at = [], start
    for since, until in edges:
        if since > at:
            bare.append((at, since))
        at = max(at, until)
    if at < end:
        bare.append((at, end))
    found: list[tuple[int, int]] = []
    for a, b in sorted([*bare, *(span for spans in silent for span in spans)]):
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(b, found[-1][1]))
        else:
            found.append((a, b))
    return found


def lay_there(book: Book, zone: str, start: int, end: int) -> list[dict[str, Any]]:
    """The tires that lay in *zone* within [start, end], by the time they came: item, id, from, until (None: still there)."""
    items = [  # those that left again before *start* are passed over here, whatever the years before hold
        row[0]
        for row in book.tuples(
            "SELECT DISTINCT r.item FROM touch r WHERE r.place = ? AND r.state = 'racked' AND r.at <= ? AND NOT EXISTS "
            "(SELECT 1 FROM touch l WHERE l.item = r.item AND l.state IS NOT NULL AND l.at > r.at AND l.at < ?)",
            zone, end, start,
        )
    ]  # fmt: skip
    found = [
        {"item": item, "id": ids.pretty(item), "from": since, "until": until}
        for item in items
        for place, since, until in queries.stays(book, item)
        if place == zone and since <= end and (until is None or until >= start)
    ]
    return sorted(found, key=lambda one: (one["from"], one["item"]))


def storage(book: Book, tote: str, now: int) -> dict[str, Any] | None:
    """How warm a tote (compact ID) was kept: ``mean_kinetic_mc``, ``lowest_mc``, ``highest_mc``, ``observed_s``, ``unobserved_s``, ``zones``.

    Counted over its stays in zones with loggers (verb *store*); of several loggers each counts for itself. ``mean_kinetic_mc`` is the
    steady temperature that would have aged it as much (`cure.mean_kinetic_of`). None where it was stored in no zone.
    """
    rows = book.rows(
        "SELECT coalesce(place, '') AS place, at FROM touch WHERE item = ? AND state IS NOT NULL AND at <= ? ORDER BY at, rank, seq, n",
        tote,
        now,
    )
    facts = {zone["item"]: zone for zone in queries.zones(book, queries.shop_of(book, tote))}
    parts, values, seen, length = [], [], [], 0
    for row, later in zip(rows, [*rows[1:], None], strict=True):
        end = now if later is None else later.at
        if row.place not in facts or end <= row.at:
            continue
        seen.append(row.place)
        length += end - row.at
        for sensor in loggers.sensors(book, facts[row.place], row.at, end):
            samples = [(at, mc + sensor.offset_mk) for at, mc in sensor.samples]
            parts.append((samples, row.at, end, sensor.gap_s))
            values += [mc for at, mc in samples if row.at <= at <= end]
    if not seen:
        return None
    found = cure.mean_kinetic_of(parts)
    return {
        "zones": list(dict.fromkeys(seen)), "mean_kinetic_mc": round(found[0]) if found else None, "observed_s": found[1] if found else 0,
        "unobserved_s": max(0, length - (found[1] if found else 0)), "lowest_mc": min(values, default=None), "highest_mc": max(values, default=None),
    }  # fmt: skip


# -- racks and desk ------------------------------------------------------------------------------------------------------------
def rack_rows(book: Book, shop: str, now: int, say: Say | None = None) -> list[dict[str, Any]]:
    """The racks as plain values, for a page that keeps itself fresh: every curing tire with its hours (seconds), what blocks it, when it is ready.

    *say*: the units of what blocks it; the shop's where none is given.
    """
    say = say or Say(book, shop)
    rows = []
    for one in cures.racks(book, shop, now, say):
        case, row = one["case"], one["row"]
        plain: dict[str, Any] = {
            "item": one["item"], "id": one["id"], "customer": row.customer, "size": row.size, "section": row.section,
            "zone": row.place if row.state == "racked" else "", "zone_name": say.name(row.place) if row.state == "racked" else "",
        }  # fmt: skip
        if case is None:
            rows.append(
                plain
                | {
                    "verdict": "Look again",
                    "ok": False,
                    "blocks": ["No fill is in the book."],
                    "ready_at": None,
                }
            )
            continue
        clock = case.cure
        rows.append(
            plain
            | {
                "verdict": case.decision.verdict, "ok": case.decision.ok, "path": case.decision.path, "filled_at": clock.started_at,
                "credited_s": clock.credited_s, "attended_s": clock.attended_s, "near_s": clock.near_s, "below_s": clock.below_s,
                "unobserved_s": clock.unobserved_s, "equivalent_s": clock.equivalent_s, "needed_standard_s": clock.needed_standard_s,
                "needed_earliest_s": clock.needed_earliest_s, "cold_start": clock.cold_start, "ready_at": case.decision.ready_at,
                "basis": clock.basis, "cup": case.evidence.cup, "blocks": [f.words for f in case.decision.stops],
                "may_be_moved_at": case.dates.may_be_moved_at, "may_work_at": case.dates.may_work_at,
            }
        )  # fmt: skip
    return rows


def verdicts(
    book: Book,
    shop: str,
    tires: Iterable[str],
    now: int,
    *,
    tag_scanned: bool = True,
    say: Say | None = None,
) -> list[dict[str, Any]]:
    """The desk's answer on each of several tires (compact IDs), in order; one that was never filled answers *Look again*.

    As `cures.answer`, with ``item`` beside ``id``. All of one picture of the book. *say*: the units of the findings' words.
    """
    found = []
    with book.reading():
        zones = cures.Zones(book, shop, now)
        for tire in dict.fromkeys(tires):
            try:
                found.append(
                    {
                        "item": tire,
                        **cures.plain(
                            book,
                            cures.case(book, tire, now, tag_scanned=tag_scanned, zones=zones, say=say),
                        ),
                    }
                )
            except Nonsense as trouble:
                found.append(
                    {
                        "item": tire,
                        "id": ids.pretty(tire),
                        "verdict": "Look again",
                        "ok": False,
                        "words": [str(trouble)],
                        "findings": [],
                    }
                )
    return found


# -- the heating ---------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class HeatingWarning:
    """What still cures when the heating is turned down at ``off_at``: (compact ID, zone, ready at or None), and one sentence."""

    off_at: int
    tires: tuple[tuple[str, str, int | None], ...]
    words: str


def heating_down(book: Book, shop: str, now: int) -> int | None:
    """When the heating is turned down next, where that is within a day from *now* by the shop's week (limits heating_down_…)."""
    day, hour = (queries.limit(book, shop, f"heating_down_{part}", now) for part in ("day", "hour"))
    if not day:
        return None
    zone = ZoneInfo(queries.timezone(book, shop))
    here = datetime.fromtimestamp(now, zone)
    for ahead in (0, 1):
        then = (here + timedelta(days=ahead)).replace(hour=hour, minute=0, second=0, microsecond=0, fold=0)
        if then.isoweekday() == day and 0 <= then.timestamp() - now <= 86_400:
            return int(then.timestamp())
    return None


def heating_warning(book: Book, shop: str, now: int, off_at: int | None = None) -> HeatingWarning | None:
    """The warning before the heating is turned down while something cures; None where nothing does, or it stays on.

    *off_at*: when it is turned down; by the shop's week, if not said, and then only within the day before. A tire counts where the
    forecast of its zone makes it ready later than that, or makes no forecast.
    """
    off_at = heating_down(book, shop, now) if off_at is None else off_at
    if off_at is None:
        return None
    say = Say(book, shop)
    late = []
    for one in cures.racks(book, shop, now):
        case = one["case"]
        if case is None or case.decision.path is not None:
            continue
        if case.decision.ready_at is None or case.decision.ready_at > off_at:
            late.append((one["item"], case.cure.zone or "", case.decision.ready_at))
    if not late:
        return None
    known = [at for _, _, at in late if at is not None]
    places = ", ".join(dict.fromkeys(say.name(zone) for _, zone, _ in late if zone))
    nowhere = sum(not zone for _, zone, _ in late)
    down_at = times.show(off_at, queries.timezone(book, shop))
    many = f"{len(late)} tires still cure" if len(late) > 1 else f"{ids.pretty(late[0][0])} still cures"
    words = (
        f"{many} when the heating is turned down at {down_at}, {f'in {places}' if places else 'in no zone'}."
    )
    if places and nowhere:
        words += f" {nowhere} of them {'lies' if nowhere == 1 else 'lie'} in no zone."
    if known:
        words += f" The last of those with a forecast is ready about {say.time(max(known))}."
    if len(known) < len(late):
        words += f" For {len(late) - len(known)} there is no forecast."
    return HeatingWarning(off_at, tuple(late), f"{words} Leave it on there, or they wait.")
