"""The zones' loggers: which hung where and when, their samples as they may be credited, what is doubtful, how their files are read."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import cure

# a doubt is open until a lead trusts the samples of its file, whichever event brought them
OPEN = (
    "NOT EXISTS (SELECT 1 FROM trust t JOIN sample_block b ON b.digest = t.digest AND b.zone = t.zone "
    "WHERE b.shop = d.shop AND b.seq = d.seq)"
)


@dataclass(frozen=True)
class Hung:
    """A logger hung in a zone from ``since`` until ``until`` (epoch seconds; None: still), read with this offset, tolerance and gap."""

    sensor: str
    since: int
    until: int | None
    offset_mk: int
    tolerance_mk: int
    gap_s: int


def hung(book: Book, zone: Row) -> list[Hung]:
    """When which logger hung in *zone* (a row of `queries.zones`), by name and time.

    A logger nobody hung up on record counts from its first sample there. From the first act on record on, the record counts.
    """
    first = dict(
        book.tuples(
            "SELECT sensor, min(first_at) FROM sample_block WHERE zone = ? GROUP BY sensor", zone["item"]
        )
    )
    acts: dict[str, list[Row]] = {name: [] for name in first}
    for act in book.rows(
        "SELECT sensor, zone, at, what, offset_mk, tolerance_mk, gap_s FROM sensor_act a WHERE EXISTS (SELECT 1 FROM sensor_act mine "
        "WHERE mine.zone = ? AND mine.sensor = a.sensor AND mine.shop = a.shop) ORDER BY at, seq",
        zone["item"],
    ):
        acts.setdefault(act.sensor, []).append(act)
    found = []
    for name in sorted(acts):
        mine = next((act.at for act in acts[name] if act.zone == zone["item"]), None)
        if name in first and (mine is None or first[name] < mine):
            found.append(Hung(name, first[name], mine, 0, zone.tolerance_mk, zone.gap_s))
        there: tuple[Row, int] | None = None
        for act in acts[name]:
            if there:
                found.append(_period(zone, there[0], act.at))
            there = (act, act.at) if act.what == "hang" and act.zone == zone["item"] else None
        if there:
            found.append(_period(zone, there[0], None))
    return [one for one in found if one.until is None or one.until > one.since]


def _period(zone: Row, act: Row, until: int | None) -> Hung:
    tolerance = zone.tolerance_mk if act.tolerance_mk is None else act.tolerance_mk
    return Hung(
        act.sensor, act.at, until, act.offset_mk, tolerance, zone.gap_s if act.gap_s is None else act.gap_s
    )


def sensors(book: Book, zone: Row, start: int, end: int) -> list[cure.Sensor]:
    """The loggers of *zone* with their samples around [start, end], less the doubtful ones, as the cure clock takes them."""
    found = []
    for one in hung(book, zone):
        if one.since > end or (one.until is not None and one.until < start):
            continue
        samples = queries.samples(
            book,
            zone["item"],
            one.sensor,
            max(start, one.since),
            end if one.until is None else min(end, one.until),
        )
        samples = samples[
            _from(samples, one.since) : None if one.until is None else _past(samples, one.until)
        ]
        gone: set[int] = set()
        for doubt in doubts(book, zone["item"], one.sensor, start, end):
            gone.update(range(_from(samples, doubt.first_at), _past(samples, doubt.last_at)))
        left_out = [samples[n][0] for n in sorted(gone)]
        if left_out:
            samples = [sample for n, sample in enumerate(samples) if n not in gone]
        found.append(
            cure.Sensor(samples, one.gap_s, one.tolerance_mk, one.offset_mk, one.since, one.until, left_out)
        )
    return found


def _from(samples: list[tuple[int, int]], at: int) -> int:
    """The place of the first sample at *at* or later."""
    return bisect_left(samples, at, key=lambda sample: sample[0])


def _past(samples: list[tuple[int, int]], at: int) -> int:
    """The place of the first sample later than *at*."""
    return bisect_right(samples, at, key=lambda sample: sample[0])


def doubts(book: Book, zone: str, sensor: str, start: int, end: int) -> list[Row]:
    """The open doubts about a logger's samples that bear on [start, end]."""
    return book.rows(
        f"SELECT d.* FROM doubt d WHERE d.zone = ? AND d.sensor = ? AND d.last_at >= ? AND d.first_at <= ? AND {OPEN} ORDER BY d.seq, d.n",
        zone, sensor, start, end,
    )  # fmt: skip


def open_doubts(book: Book, shop: str) -> list[Row]:
    """Every open doubt of *shop*, newest first: zone, sensor, what, first_at, last_at, words, seq."""
    return book.rows(f"SELECT d.* FROM doubt d WHERE d.shop = ? AND {OPEN} ORDER BY d.seq DESC, d.n", shop)


def read_as(book: Book, zone: str, sensor: str) -> str | None:
    """How this logger's last file was read: its confirmed profile; None where none was, or it came in the plain format."""
    return book.value(
        "SELECT read_as FROM sample_block WHERE zone = ? AND sensor = ? AND read_as <> 'plain' ORDER BY seq DESC LIMIT 1",
        zone,
        sensor,
    )


def sending(book: Book, token_hash: str) -> Row | None:
    """The logger that may send with the token of this hash: shop, zone, sensor, who; None where none may any more."""
    row = book.one(
        "SELECT * FROM sensor_token WHERE token_hash = ? AND ended = 0 ORDER BY seq DESC LIMIT 1", token_hash
    )
    if row is None:
        return None
    newest = book.value(
        "SELECT max(seq) FROM sensor_token WHERE shop = ? AND zone = ? AND sensor = ?",
        row.shop,
        row.zone,
        row.sensor,
    )
    return row if newest == row.seq else None


def known(book: Book, zone: Row) -> list[dict[str, Any]]:
    """The zone's loggers for a page: name, from, until, offset, tolerance and gap, how its files are read, whether it may send."""
    return [
        {
            "sensor": one.sensor, "since": one.since, "until": one.until, "offset_mk": one.offset_mk, "tolerance_mk": one.tolerance_mk,
            "gap_s": one.gap_s, "read_as": read_as(book, zone["item"], one.sensor),
            "sends": not book.value(
                "SELECT coalesce((SELECT ended FROM sensor_token WHERE zone = ? AND sensor = ? ORDER BY seq DESC LIMIT 1), 1)",
                zone["item"], one.sensor,
            ),
        }
        for one in hung(book, zone)
    ]  # fmt: skip
