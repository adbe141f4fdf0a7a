"""Releases whose evidence later readings changed. What was signed stays as it was; here stands what would be found today.

A release freezes its hours. A file that was lying in a drawer, a correction, a trusted or doubted sample, a cup read late may change
what the same clock says of the same time. More hours than were signed for are no matter; fewer raise an alert, and so does a rule
that would no longer be met, until a lead has settled it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from fillbook.trace.book import cures, queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Nonsense

# kinds of events whose correction may change the hours of every tire that lay in their zone
THERMAL = ("log temperatures", "read temperature", "hang sensor", "take down sensor", "trust samples")


@dataclass(frozen=True)
class Alert:
    """A release that later readings changed: compact ID, its event, when, by which rule it was released, hours then and now (seconds).

    ``stands`` says whether it would still have been released by a rule. ``by`` are the events that came later.
    """

    item: str
    seq: int
    at: int
    path: str
    signed_s: int
    now_s: int
    stands: bool
    by: tuple[int, ...]
    words: str


def alerts(book: Book, shop: str) -> list[Alert]:
    """Every unsettled alert of *shop*, the newest release first."""
    found = []
    for row, by in _touched(book, shop).values():
        if one := _judge(book, row, by):
            found.append(one)
    return sorted(found, key=lambda one: (one.at, one.item), reverse=True)


def alert(book: Book, shop: str, tire: str) -> Alert | None:
    """The unsettled alert on *tire* (compact ID), if there is one."""
    mine = [_judge(book, row, by) for row, by in _touched(book, shop, tire).values()]
    return next((one for one in mine if one), None)


def _touched(
    book: Book, shop: str, tire: str | None = None
) -> dict[tuple[int, int], tuple[Row, tuple[int, ...]]]:
    """The newest release of each tire that an event after it (and after the last settling) may have changed, with those events."""
    which, args = ("AND r.item = ?", [tire]) if tire else ("", [])
    newest = (
        "SELECT r.*, f.at AS filled_at, coalesce((SELECT max(s.seq) FROM settled s WHERE s.item = r.item), r.seq) AS known FROM released r "
        f"JOIN fill f ON f.item = r.item WHERE r.shop = ? {which} AND NOT EXISTS (SELECT 1 FROM released o WHERE o.item = r.item AND o.seq > r.seq)"
    )
    lay = "EXISTS (SELECT 1 FROM touch t WHERE t.item = n.item AND t.state = 'racked' AND t.place = {zone})"
    after = "x.shop = n.shop AND x.seq > CASE WHEN n.known > n.seq THEN n.known ELSE n.seq END"
    sources = (
        f"JOIN sample_block x ON {after} AND x.last_at >= n.filled_at AND x.first_at <= n.at AND {lay.format(zone='x.zone')}",
        f"JOIN reading x ON {after} AND x.at >= n.filled_at AND coalesce(x.lowest_since, x.at) <= n.at AND {lay.format(zone='x.zone')}",
        f"JOIN sensor_act x ON {after} AND x.at <= n.at AND {lay.format(zone='x.zone')}",
        f"JOIN doubt x ON {after} AND x.last_at >= n.filled_at AND x.first_at <= n.at AND {lay.format(zone='x.zone')}",
        f"JOIN trust x ON {after} AND {lay.format(zone='x.zone')}",
        f"JOIN cup_read x ON {after} AND x.passed = 0",
    )
    rows: dict[tuple[int, int], Row] = {}
    by: dict[tuple[int, int], set[int]] = {}
    for source in sources:
        for row in book.rows(
            f"WITH n AS ({newest}) SELECT n.*, x.seq AS by_seq FROM n {source}", shop, *args
        ):
            rows[row.seq, row.n] = row
            by.setdefault((row.seq, row.n), set()).add(row.by_seq)
    for correction in book.rows(
        "SELECT e.seq, o.text, o.kind FROM event e JOIN event o ON o.shop = e.shop AND o.seq = e.corrects WHERE e.shop = ? "
        "AND e.seq > coalesce((SELECT min(seq) FROM released WHERE shop = ?), 0) AND e.corrects IS NOT NULL",
        shop, shop,
    ):  # fmt: skip
        said = json.loads(correction.text)["body"]
        zone = said["said"].get("zone", said.get("zone", ""))
        there = (
            lay.format(zone="?")
            if correction.kind in THERMAL
            else "EXISTS (SELECT 1 FROM touch t WHERE t.item = n.item AND t.seq = ?)"
        )
        for row in book.rows(
            f"WITH n AS ({newest}) SELECT n.* FROM n WHERE n.known < ? AND {there}", shop, *args, correction.seq,
            zone if correction.kind in THERMAL else correction.seq,
        ):  # fmt: skip
            rows[row.seq, row.n] = row
            by.setdefault((row.seq, row.n), set()).add(correction.seq)
    return {key: (row, tuple(sorted(by[key]))) for key, row in rows.items()}


def _judge(book: Book, row: Row, by: tuple[int, ...]) -> Alert | None:
    """What the same clock says of the same time today, where it is less than was signed for."""
    tire = row["item"]
    signed = row.credited_s + row.attended_s
    try:
        case = cures.case(book, tire, row.at, knowing_release=True)
    except Nonsense:  # its fill was corrected away
        words = f"{ids.pretty(tire)} was released, and its fill is no longer in the book."
        return Alert(tire, row.seq, row.at, row.path, signed, 0, False, by, words)
    now = case.cure.credited_s + case.cure.attended_s
    cup_failed = case.evidence.cup == "failed" or (
        case.cup is not None
        and (read := queries.cup_verdict(book, case.cup, 2**53)) is not None
        and not read.passed
        and read.seq > row.seq
    )
    stands = (
        case.decision.path is not None
        and not cup_failed
        and (row.path != "earliest" or case.decision.path == "earliest" or now >= case.cure.needed_standard_s)
    )
    if now >= signed and (stands or row.overridden) and not cup_failed:
        return None
    said = f"{ids.pretty(tire)} was released with {times.hours(signed)}; by what the book knows now it had {times.hours(now)}"
    if cup_failed:
        said = f"{ids.pretty(tire)} was released, and the sample cup that covers it failed later"
    rest = (
        ""
        if row.overridden
        else "; it would still have been released"
        if stands
        else "; it would not have been released"
    )
    where = queries.place_of(book, tire)
    gone = (
        f" It is {where.state}{' to ' + where.place if where.state == 'dispatched' and where.place else ''}."
        if where.state
        else ""
    )
    return Alert(tire, row.seq, row.at, row.path, signed, now, bool(stands), by, f"{said}{rest}.{gone}")
