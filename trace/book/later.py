"""Releases whose evidence later readings changed. What was signed stays as it was; here stands what would be found today.

A release freezes its hours. A file that was lying in a drawer, a correction, a trusted or doubted sample, a cup read late may change
what the same clock says of the same time. More hours than were signed for are no matter; fewer raise an alert, and so does a rule
that would no longer be met, until a lead has settled it.
"""

from __future__ import annotations

import json
from bisect import bisect_left
from dataclasses import dataclass
from itertools import accumulate

from fillbook.trace.book import apply, cures, queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.unchanged import while_unchanged
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
    return list(while_unchanged(book, shop, "releases that changed", lambda: _alerts(book, shop)))


def _alerts(book: Book, shop: str) -> list[Alert]:
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
    released = _Released(book, shop, tire)
    if not released.at:
        return {}
    for seq, zone, first, last in book.tuples(_LATER, *[shop] * 5):
        released.touch(seq, first, last, zone)
    for row in book.rows(
        "SELECT x.seq, c.line, c.at, (SELECT min(o.at) FROM cup o WHERE o.line = c.line AND o.at > c.at) AS until FROM cup_read x "
        "JOIN cup c ON c.item = x.cup WHERE x.shop = ? AND x.passed = 0",
        shop,
    ):
        released.touch_line(row.seq, row.line, row.at, row.until)
    for row in book.rows(
        "SELECT e.seq, o.kind, o.text FROM event e JOIN event o ON o.shop = e.shop AND o.seq = e.corrects "
        "WHERE e.shop = ? AND e.seq > ?",
        shop, min(released.seq),
    ):  # fmt: skip
        body = json.loads(row.text)["body"]
        if row.kind in THERMAL:
            # what it said is gone from the tables, so its first word counts; a limit on time would need the samples themselves
            released.touch(
                row.seq,
                body.get("first_at", 0),
                body.get("last_at", 2**53),
                body["said"].get("zone", body.get("zone", "")),
            )
        else:
            for item in apply.touched(body):
                released.touch_tire(row.seq, item)
    return released.found


#: (event, zone, first, last) of everything that may change hours already counted; a file that only adds to its logger's end may not.
_LATER = (
    "SELECT seq, zone, first_at, last_at FROM sample_block WHERE shop = ? AND late = 1 "
    "UNION ALL SELECT seq, zone, coalesce(lowest_since, at), at FROM reading WHERE shop = ? "
    "UNION ALL SELECT seq, zone, at, 9007199254740992 FROM sensor_act WHERE shop = ? "
    "UNION ALL SELECT seq, zone, first_at, last_at FROM doubt WHERE shop = ? "
    "UNION ALL SELECT t.seq, b.zone, b.first_at, b.last_at FROM trust t JOIN sample_block b ON b.digest = t.digest AND b.zone = t.zone "
    "WHERE t.shop = ?"
)


class _Released:
    """The shop's releases by time, and which of them later events touch."""

    def __init__(self, book: Book, shop: str, tire: str | None) -> None:
        self.book = book
        which, args = ("AND item = ?", [tire]) if tire else ("", [])
        rows = book.tuples(
            f"SELECT at, seq, n, item FROM released WHERE shop = ? {which} ORDER BY at, seq, n", shop, *args
        )
        self.at = [row[0] for row in rows]
        self.seq = [row[1] for row in rows]
        self.key = [(row[1], row[2]) for row in rows]
        self.item = [row[3] for row in rows]
        self.newest = {row[3]: row[1] for row in sorted(rows, key=lambda row: row[1])}
        self.least = list(accumulate(reversed(self.seq), min))[
            ::-1
        ]  # of this and all later ones: late entries are rare
        self.rows: dict[tuple[int, int], Row | None] = {}
        self.found: dict[tuple[int, int], tuple[Row, tuple[int, ...]]] = {}

    def touch(self, by: int, first: int, last: int, zone: str) -> None:
        """Event *by* says something of *zone* between *first* and *last*."""
        n = bisect_left(self.at, first)
        while n < len(self.at) and self.least[n] < by:
            row = self._row(n, by)
            if (
                row
                and row.filled_at <= last
                and any(
                    place == zone and since <= min(last, row.at) and (until is None or until >= first)
                    for place, since, until in queries.stays(self.book, row["item"])
                )
            ):
                self._add(n, row, by)
            n += 1

    def touch_line(self, by: int, line: str, first: int, until: int | None) -> None:
        """Event *by* says something of the fills on *line* from *first* on, before *until*."""
        fills = {
            row[0]
            for row in self.book.tuples(
                "SELECT item FROM fill WHERE line = ? AND at >= ? AND at < ?", line, first, until or 2**53
            )
        }
        for n, item in enumerate(self.item):
            if item in fills and (row := self._row(n, by)):
                self._add(n, row, by)

    def touch_tire(self, by: int, tire: str) -> None:
        if tire in self.newest:
            for n, item in enumerate(self.item):
                if item == tire and (row := self._row(n, by)):
                    self._add(n, row, by)

    def _row(self, n: int, by: int) -> Row | None:
        """The release, where it is its tire's newest and neither it nor its settling came after event *by*."""
        if self.seq[n] >= by or self.newest[self.item[n]] != self.seq[n]:
            return None
        if self.key[n] not in self.rows:
            self.rows[self.key[n]] = self.book.one(
                "SELECT r.*, f.at AS filled_at, coalesce((SELECT max(s.seq) FROM settled s WHERE s.item = r.item), 0) AS settled "
                "FROM released r LEFT JOIN fill f ON f.item = r.item WHERE r.shop = (SELECT shop FROM item WHERE code = r.item) "
                "AND r.item = ? AND r.seq = ? AND r.n = ?",
                self.item[n], *self.key[n],
            )  # fmt: skip
        row = self.rows[self.key[n]]
        if row is None or row.settled > by:
            return None
        if row.filled_at is None:
            row["filled_at"] = 0
        return row

    def _add(self, n: int, row: Row, by: int) -> None:
        before = self.found.get(self.key[n], (row, ()))[1]
        self.found[self.key[n]] = (row, tuple(sorted({*before, by})))


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
