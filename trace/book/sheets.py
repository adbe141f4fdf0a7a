"""What stands on the shop's papers, as plain rows."""

from __future__ import annotations

from dataclasses import dataclass

from fillbook.trace.book import chain, cures, later, loggers, queries
from fillbook.trace.book import zones as cure_zones
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, times, units

CUPS = {"passed": "passed", "failed": "FAILED", "waiting": "not read yet", None: "none"}


@dataclass(frozen=True)
class ReleaseSheet:
    """The release desk's paper: what may go, what may not yet, and what was released in the last day."""

    shop: str
    as_of: str
    head: str
    ready: list[list[str]]
    waiting: list[list[str]]
    released: list[list[str]]


def release_sheet(book: Book, shop: str, now: int, say: Say | None = None) -> ReleaseSheet:
    """Every tire on the racks with its verdict, and the releases of the last 24 hours; in the units of *say*, else the shop's."""
    say = say or Say(book, shop)
    ready, waiting = [], []
    for row in cures.racks(book, shop, now, say):
        found, facts = row["case"], row["row"]
        who = f"{facts.customer} · {facts.size}"
        zone = say.name(facts.place) if facts.place else ""
        if found is None:
            waiting.append([row["id"], who, zone, "", "", "", "No fill in the book", ""])
            continue
        cure = found.cure
        hours = times.hours(cure.credited_s + cure.attended_s)
        cells = [row["id"], who, zone, hours, times.hours(cure.unobserved_s), CUPS[found.evidence.cup]]
        if found.decision.ok:
            ready.append([*cells, found.decision.path or "", say.time(found.dates.may_work_at), ""])
        else:
            stop = found.decision.stops[0].words
            about = say.time(found.decision.ready_at) if found.decision.ready_at else "no forecast"
            verdict = f"{found.decision.verdict}: "
            waiting.append([*cells, stop if stop.startswith(verdict) else verdict + stop, about])
    rows = book.rows(
        "SELECT * FROM released WHERE shop = ? AND at BETWEEN ? AND ? ORDER BY at, seq",
        shop,
        now - 86_400,
        now,
    )
    released = [
        [ids.pretty(r["item"]), say.time(r.at), "overridden" if r.overridden else r.path, times.hours(r.credited_s),
         say.time(r.moved_at), say.time(r.work_at)]
        for r in rows
    ]  # fmt: skip
    shop_name = queries.shop_row(book, shop).name
    return ReleaseSheet(shop_name, say.time(now), str(chain.position(book, shop)), ready, waiting, released)


@dataclass(frozen=True)
class MorningList:
    """What to look at on the racks first thing: what wants doing, the cups to read, and each zone's tires, the nearest to ready first."""

    shop: str
    as_of: str
    head: str
    look: list[str]
    cups: list[list[str]]
    # By the zone's name, "" for those on no rack; what blocks a tire is several sentences
    zones: list[tuple[str, list[list[str | list[str]]]]]


def morning_list(book: Book, shop: str, now: int, say: Say | None = None) -> MorningList:
    """The printable list of the racks at *now* (seconds of UTC), in the units of *say*, else the shop's."""
    say = say or Say(book, shop)
    look = [one.words for one in later.alerts(book, shop)] + [
        one.words for one in loggers.open_doubts(book, shop)
    ]
    if warning := cure_zones.heating_warning(book, shop, now):
        look.append(warning.words)
    look = [units.own_first(words, say.us) for words in look]
    by_zone: dict[str, list[list[str | list[str]]]] = {}
    for row in cure_zones.rack_rows(book, shop, now, say):
        ready = "now" if row["ok"] else say.time(row["ready_at"]) if row["ready_at"] else "no forecast"
        hours = [times.hours(row.get(name, 0)) for name in ("credited_s", "attended_s", "unobserved_s")]
        by_zone.setdefault(row["zone_name"], []).append(
            [
                row["id"],
                f"{row['customer']} · {row['size']}",
                row["verdict"],
                *hours,
                ready,
                row["blocks"],
                "",
            ]
        )
    for one in queries.zones(book, shop):
        newest, zone = queries.newest_sample(book, one["item"]), one.name
        if zone in by_zone and newest:
            look.append(f"{zone}: last logged {say.temperature(newest.mc)} at {say.time(newest.at)}.")
    cups = [
        [ids.pretty(row["item"]), say.time(row.at), say.name(row.zone) if row.zone else "", ""]
        for row in book.rows(
            "SELECT c.item, c.at, c.zone FROM cup c JOIN place p ON p.item = c.item WHERE c.shop = ? AND p.state = 'curing' ORDER BY c.at",
            shop,
        )
    ]
    zones = sorted(by_zone.items(), key=lambda one: (not one[0], one[0]))
    return MorningList(
        queries.shop_row(book, shop).name, say.time(now), str(chain.position(book, shop)), look, cups, zones
    )
