"""What a page shows at a glance: the lines, what wants looking at, what came in last, what was typed before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fillbook.trace.book import (
    closed_recalls,
    hopper,
    later,
    limits_beyond,
    loggers,
    on_hold,
    queries,
    returned,
    worked_out,
)
from fillbook.trace.book import zones as cure_zones
from fillbook.trace.book.apply import effective
from fillbook.trace.book.danger import filled_and_kept_away
from fillbook.trace.book.journal import Event
from fillbook.trace.book.line_state import LineState
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.unchanged import while_unchanged
from fillbook.trace.core import flow, ids, times, units

SOON_S = 14 * 86_400  # use-by dates nearer than this are shown
SILENT_S = 2 * 3600  # a logger that said nothing for so long is shown
UNRACKED_S = 3600


@dataclass(frozen=True)
class Source:
    """What is hooked up to a side, or was loaded last: its ID, what is left of what there was (grams), and whether it is held.

    ``drawn_g`` and ``held_g``: where more was drawn from a tote since it was hooked up than it can have held, how much, and what it
    held then; else None.
    """

    item: str
    words: str
    left_g: int
    whole_g: int
    held: bool
    use_by: int | None = None
    drawn_g: int | None = None
    held_g: int | None = None


@dataclass(frozen=True)
class LineNow:
    """One line as it stands: its sources by side (A, B, R), what the hopper holds (grams; None where nobody knows), the fill that is open."""

    item: str
    name: str
    sources: dict[str, Source]
    hopper_g: int | None
    filling: Row | None
    off_ratio: bool


def line_now(book: Book, shop: str, line: str, now: int) -> LineNow:
    """The line of compact ID *line* at *now* (seconds of UTC)."""
    there = queries.connected(book, line, now)
    held_there = on_hold.held_among(book, there.values())
    text = book.value(
        "SELECT state FROM line_state WHERE line = ? AND at <= ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1", line, now
    )  # fmt: skip
    streams = LineState.from_text(text).streams if text else {}
    sources = {}
    for side, item in there.items():
        held = item in held_there
        if side == "R":
            batch = queries.batch(book, item)
            whole = batch.grams if batch else 0
            sources[side] = Source(item, "regrind", max(0, batch_left(book, item)), whole, held)
        elif tote := queries.tote(book, item):
            left = max(0, tote.net_g - queries.used_of(book, item))
            over = flow.overdrawn(streams[side]) if side in streams else None
            drawn, lasted = over if over and streams[side].connected == item else (None, None)
            sources[side] = Source(
                item, f"{tote.system}, lot {tote.lot}", left, tote.net_g, held, tote.use_by, drawn, lasted
            )
    return LineNow(
        line,
        queries.name_of(book, line),
        sources,
        hopper.content_g(book, line, now),
        queries.open_fill(book, line, now),
        any(flow.possibly_off_ratio(stream) for stream in streams.values()),  # as queries.off_ratio_at
    )


def lines_now(book: Book, shop: str, now: int) -> list[LineNow]:
    """Each line of the shop as it stands at *now* (seconds of UTC)."""
    return [line_now(book, shop, line["item"], now) for line in queries.lines(book, shop)]


def batch_left(book: Book, item: str) -> int:
    """Grams of a regrind batch that are still in its bin: what was ground less what was loaded, ground on or scrapped."""
    whole = book.value("SELECT grams FROM batch WHERE item = ?", item) or 0
    loaded = book.value("SELECT coalesce(sum(grams), 0) FROM line_act WHERE item = ? AND what = 'load'", item)
    return int(whole) - int(loaded) - queries.given_by(book, item)


@dataclass(frozen=True)
class Alert:
    """Something that wants looking at: how urgent (``stop`` or ``look``), a sentence, and what it is about: an item, or a place."""

    urgency: str
    words: str
    item: str = ""
    place: str = ""


def alerts(book: Book, shop: str, now: int, lines: Sequence[LineNow] | None = None) -> list[Alert]:
    """What wants looking at on the floor, the urgent first. *lines*: the shop's as they stand, where they are at hand."""
    found: list[Alert] = []
    holds = on_hold.open_holds(book, shop)
    if holds:
        newest = holds[0]
        what = ids.pretty(newest["item"]) if newest["item"] else f"Lot {newest.lot}"
        why = newest.why
        if why.startswith(what):  # the rules' own sentence names it
            words = f"{len(holds)} holds are open, the newest: {why}" if len(holds) > 1 else f"On hold: {why}"
        elif len(holds) > 1:
            words = f"{len(holds)} holds are open, the newest on {what}: {why}"
        else:
            words = f"{what} is on hold: {why}"
        found.append(Alert("stop", words, place="holds"))
    for recall in on_hold.open_recalls(book, shop):
        found.append(Alert("stop", _of_recall(book, recall), place=f"recall/{recall.seq}"))
    for odd in limits_beyond.beyond(book, shop, now):  # it bears on every tire
        line_too = f"&line={odd.line}" if odd.line else ""
        found.append(Alert("look", odd.words, place=f"do/set-limit?limit={odd.name}{line_too}"))
    for line in lines_now(book, shop, now) if lines is None else lines:
        if line.off_ratio:
            found.append(
                Alert(
                    "stop",
                    f"A side ran dry on {line.name}: what follows may be off-ratio. Pour a cup.",
                    line.item,
                )
            )
        for source in line.sources.values():
            if source.held:
                found.append(
                    Alert("stop", f"{ids.pretty(source.item)} on {line.name} is on hold.", source.item)
                )
            if source.drawn_g is not None and source.held_g is not None:
                found.append(
                    Alert(
                        "look",
                        f"{ids.pretty(source.item)} on {line.name} is overdrawn: {units.kg_lb(source.drawn_g)} were drawn from it and it "
                        f"held {units.kg_lb(source.held_g)}. A change-over is missing: enter it, or correct the weights.",
                        source.item,
                    )
                )
    for row in _use_by(book, shop, now):
        past = row.use_by < now
        day = times.show_date(row.use_by, queries.timezone(book, shop))
        one = row.totes == 1
        what = ids.pretty(row["item"]) if one else f"{row.totes} totes of lot {row.lot}"
        words = (
            f"{what} {('was' if past else 'is') if one else ('were' if past else 'are')} to be used by {day}."
        )
        found.append(Alert("stop" if past else "look", words, row["item"]))
    for zone in queries.zones(book, shop):
        newest = queries.newest_sample(book, zone["item"])
        tires = book.value("SELECT count(*) FROM place WHERE state = 'racked' AND place = ?", zone["item"])
        if tires and newest and now - newest.at > max(SILENT_S, zone.gap_s):
            lie = f"{tires} {'tire lies there and earns' if tires == 1 else 'tires lie there and earn'}"
            quiet = times.lasting(now - newest.at)
            found.append(
                Alert(
                    "look",
                    f"No logger sample of {zone.name} for {quiet}; {lie} no hours.",
                    zone["item"],
                )
            )
    for one in loggers.open_doubts(book, shop)[:4]:
        found.append(Alert("look", one.words, place=f"book/{one.seq}"))
    for changed in later.alerts(book, shop):
        found.append(Alert("look" if changed.stands else "stop", changed.words, place=f"desk/{changed.item}"))
    for recall in closed_recalls.changed(book, shop, at_once=worked_out.AT_ONCE):
        found.append(Alert("stop" if recall.added else "look", recall.words, place=f"recall/{recall.seq}"))
    if warning := cure_zones.heating_warning(book, shop, now):
        found.append(Alert("look", warning.words, place="racks"))
    away = filled_and_kept_away(book, shop)
    for row in queries.in_state(book, shop, "filled", "paused"):
        since = times.lasting(now - row.since)
        if row.state == "paused":
            left = row.since + queries.limit(book, shop, "pot_life", now) - now
            if left > 0:
                words = f"The fill of {ids.pretty(row['item'])} is interrupted: {-(-left // 60)} min of its pot life are left."
            else:
                words = f"The fill of {ids.pretty(row['item'])} was interrupted {since} ago and is past its pot life: going on makes a cold joint."
            found.append(Alert("stop" if left > 0 else "look", words, row["item"]))
        elif row["item"] in away:  # it is off the rack on purpose, and that is said at once
            found.append(
                Alert(
                    "stop",
                    f"{ids.pretty(row['item'])} was filled above its lowest rating {since} ago: keep away from it. It stays where it is, "
                    "on no rack, until a lead has looked.",
                    row["item"],
                )
            )
        elif now - row.since > UNRACKED_S:
            found.append(
                Alert(
                    "look",
                    f"{ids.pretty(row['item'])} was filled {since} ago and is not on a rack.",
                    row["item"],
                )
            )
    for one in returned.unidentified(book, shop):
        found.append(Alert("look", f"A tire came back without a label: {one.complaint}", place="identify"))
    return sorted(found, key=lambda alert: alert.urgency != "stop")


COUNTED_OUTCOMES = 2_000  # of a longer list nobody waits for the count


def _of_recall(book: Book, recall: Row) -> str:
    words = f"The recall of {recall.suspect} is open"
    if not recall.listed:
        return f"{words}; it lists no tire."
    if recall.listed > COUNTED_OUTCOMES:
        return f"{words}; it lists {recall.listed} tires."
    left = on_hold.without_outcome(book, recall)
    if not left:
        return f"{words}; every tire it lists has an outcome. Close it."
    if recall.listed == 1:
        return f"{words}; the tire it lists has no outcome yet."
    return f"{words}; {left} of the {recall.listed} tires it lists {'has' if left == 1 else 'have'} no outcome yet."


def _use_by(book: Book, shop: str, now: int) -> list[Row]:
    among, args = _in_other_states(book, shop, "L", ("empty", "scrapped", "void"))
    return book.rows(
        f"SELECT min(t.item) AS item, count(*) AS totes, t.lot, t.use_by FROM place p CROSS JOIN tote t WHERE {among} AND t.item = p.item "
        "AND t.use_by < ? GROUP BY t.supplier, t.lot, t.use_by ORDER BY t.use_by, t.lot LIMIT 8",
        *args, now + SOON_S,
    )  # fmt: skip


def _in_other_states(book: Book, shop: str, kind: str, gone: Sequence[str]) -> tuple[str, list[str]]:
    """The condition on ``place p`` for items of *kind* in any state but *gone*, which most of a large book's items have reached.

    CROSS JOIN from there: the few that are left, never from all items.
    """
    here = [state for state in queries.states(book) if state not in gone]
    marks = ", ".join("?" * len(here)) or "NULL"
    return f"p.state IN ({marks}) AND p.item BETWEEN ? AND ?", [*here, shop + kind, shop + kind + "Z"]


COUNTED = 10_000


def counts(book: Book, shop: str) -> dict[str, int]:
    """How many tires are in each state, counted up to :data:`COUNTED` + 1."""
    return dict(while_unchanged(book, shop, "tires by state", lambda: _counts(book, shop)))


def _counts(book: Book, shop: str) -> dict[str, int]:
    found = {}
    for state in queries.states(book):
        many = book.value(
            "SELECT count(*) FROM (SELECT 1 FROM place WHERE state = ? AND item BETWEEN ? AND ? LIMIT ?) x",
            state, shop + "F", shop + "FZ", COUNTED + 1,
        )  # fmt: skip
        if many and state != "void":
            found[state] = many
    return found


def receipts(book: Book, shop: str, most: int = 12) -> list[Row]:
    """The newest receipts: lot, side, totes, net grams, and how many of its labels were printed."""
    return book.rows(
        "SELECT t.seq, t.supplier, t.lot, t.side, t.system, count(*) AS totes, sum(t.net_g) AS net_g, t.received_at, "
        "sum(CASE WHEN EXISTS (SELECT 1 FROM print p WHERE p.item = t.item) THEN 1 ELSE 0 END) AS printed "
        "FROM (SELECT * FROM tote WHERE shop = ? ORDER BY received_at DESC, item DESC LIMIT 1000) t GROUP BY t.seq, t.supplier, t.lot, t.side, t.system, t.received_at "
        "ORDER BY t.received_at DESC, t.seq DESC LIMIT ?",
        shop, most,
    )  # fmt: skip


def items_of(book: Book, shop: str, seq: int) -> list[str]:
    """The IDs that event *seq* gave out."""
    rows = book.tuples(
        "SELECT code FROM item WHERE shop = ? AND seq = ? AND kind <> 'W' ORDER BY code", shop, seq
    )
    return [code for (code,) in rows if ids.is_valid(code)]


GONE = ("empty", "used up", "scrapped", "void", "dispatched", "reclaimed", "returned")


LOOKED_AT = 5_000  # of each kind and state, the newest: nobody waits for the label of an older one


def unprinted(book: Book, shop: str, kind: str, most: int = 200) -> list[str]:
    """Items of *kind* in the shop whose label was never printed, newest first; what is empty, gone or void is left out."""
    here = [state for state in queries.states(book) if state not in GONE]
    return _unprinted(book, shop, kind, here, most)


def _unprinted(book: Book, shop: str, kind: str, states: Sequence[str], most: int) -> list[str]:
    if not states:
        return []
    of_one_state = (  # by state: most of what a large book holds has left long ago
        "SELECT p.item FROM (SELECT item FROM place WHERE state = ? AND item BETWEEN ? AND ? ORDER BY item DESC LIMIT ?) p "
        "WHERE NOT EXISTS (SELECT 1 FROM print x WHERE x.item = p.item)"
    )
    rows = book.tuples(
        f"SELECT item FROM ({' UNION ALL '.join([of_one_state] * len(states))}) found ORDER BY item DESC LIMIT ?",
        *(arg for state in states for arg in (state, shop + kind, shop + kind + "Z", LOOKED_AT)), most,
    )  # fmt: skip
    return [code for (code,) in rows]


def labels_waiting(book: Book, shop: str) -> dict[str, int]:
    """For each kind of item how many of its labels were never printed, as :func:`unprinted` finds them, up to 200."""
    return dict(while_unchanged(book, shop, "labels never printed", lambda: _labels_waiting(book, shop)))


def _labels_waiting(book: Book, shop: str) -> dict[str, int]:
    here = [state for state in queries.states(book) if state not in GONE]
    return {kind: len(_unprinted(book, shop, kind, here, 200)) for kind in ids.KINDS}


def totes_in_store(book: Book, shop: str, most: int = 60) -> list[Row]:
    """Totes that can be hooked up, oldest first: first in, first out."""
    return book.rows(
        "SELECT t.item, t.side, t.system, t.lot, t.net_g, t.use_by, p.state FROM place p CROSS JOIN tote t "
        "WHERE p.state IN ('in store', 'part used') AND p.item BETWEEN ? AND ? AND t.item = p.item ORDER BY t.received_at, t.item LIMIT ?",
        shop + "L", shop + "LZ", most,
    )  # fmt: skip


def batches(book: Book, shop: str, most: int = 40) -> list[Row]:
    """Regrind batches with something left in them, newest first; ``left_g`` beside each."""
    among, args = _in_other_states(book, shop, "G", ("used up", "scrapped", "void"))
    rows = book.rows(
        f"SELECT b.item, b.made_at, b.grams, p.state FROM place p CROSS JOIN batch b WHERE {among} AND b.item = p.item "
        "ORDER BY b.made_at DESC, b.item DESC LIMIT ?",
        *args, most,
    )  # fmt: skip
    return [Row(left_g=max(0, batch_left(book, row["item"])), **row) for row in rows]


def cups_waiting(book: Book, shop: str, most: int = 40) -> list[Row]:
    """Sample cups that were not read yet, oldest first."""
    return book.rows(
        "SELECT c.item, c.line, c.at, c.zone FROM cup c WHERE c.shop = ? "
        "AND NOT EXISTS (SELECT 1 FROM cup_read r WHERE r.cup = c.item) ORDER BY c.at, c.item LIMIT ?",
        shop, most,
    )  # fmt: skip


def said_before(book: Book, shop: str, what: str, most: int = 80) -> list[str]:
    """What was typed last for *what* (supplier, lot, customer, size), most used first: offered, never forced."""
    table, letter = {
        "supplier": ("tote", "L"),
        "lot": ("tote", "L"),
        "customer": ("tire", "F"),
        "size": ("tire", "F"),
    }[what]
    rows = book.tuples(
        f"SELECT {what} FROM (SELECT {what} FROM {table} WHERE item BETWEEN ? AND ? ORDER BY item DESC LIMIT 1000) newest "
        f"WHERE {what} <> '' GROUP BY {what} ORDER BY count(*) DESC, {what} LIMIT ?",
        shop + letter, shop + letter + "Z", most,
    )  # fmt: skip
    return [value for (value,) in rows]


def newest_events(book: Book, shop: str, before: int | None = None, most: int = 40) -> list[Event]:
    """Events, newest first, from below number *before* on."""
    rows = book.tuples(
        "SELECT text FROM event WHERE shop = ? AND (? IS NULL OR seq < ?) ORDER BY seq DESC LIMIT ?",
        shop, before, before, most,
    )  # fmt: skip
    return [Event.from_text(text) for (text,) in rows]


def corrections_of(book: Book, shop: str, seq: int) -> list[int]:
    """The numbers of the events that correct event *seq*, oldest first."""
    return [
        n
        for (n,) in book.tuples(
            "SELECT seq FROM event WHERE shop = ? AND corrects = ? ORDER BY seq", shop, seq
        )
    ]


def recall_list(book: Book, shop: str, seq: int) -> tuple[Row, list[dict[str, Any]]] | None:
    """A recall as it was opened and the tires it listed, each with where it is now."""
    opened = book.one("SELECT * FROM recall WHERE shop = ? AND seq = ?", shop, seq)
    if opened is None:
        return None
    rows = book.rows(
        "SELECT r.item, r.tier, r.least_g, r.best_g, r.most_g, p.state, p.place FROM recall_item r "
        "LEFT JOIN place p ON p.item = r.item WHERE r.shop = ? AND r.seq = ? ORDER BY r.n",
        shop, seq,
    )  # fmt: skip
    return opened, list(rows)


def event_now(book: Book, shop: str, seq: int) -> Event | None:
    """Event *seq* as it now stands, its newest correction's body in it; None when it is void or missing."""
    return effective(book, shop, seq)


def touched_by(book: Book, shop: str, seq: int) -> list[str]:
    """The items whose history event *seq* is part of."""
    return touched_by_each(book, shop, [seq])[seq]


def touched_by_each(book: Book, shop: str, seqs: Sequence[int]) -> dict[int, list[str]]:
    """For each of these events the items whose history it is part of."""
    found: dict[int, list[str]] = {seq: [] for seq in seqs}
    for some in queries.chunks(list(found)):
        for seq, code in book.tuples(
            f"SELECT DISTINCT seq, item FROM touch WHERE shop = ? AND seq IN ({', '.join('?' * len(some))}) ORDER BY seq, item",
            shop, *some,
        ):  # fmt: skip
            found[seq].append(code)
    return found


def make_ups(book: Book, shop: str) -> dict[str, tuple[tuple[Any, ...], ...]]:
    """What every item was made from, draw by draw: compact ID -> (draw, stream, source, least, best, most)."""
    found: dict[str, list[tuple[Any, ...]]] = {}
    for code, *link in book.tuples(
        "SELECT c.code, k.draw, k.stream, k.parent, k.least_g, k.best_g, k.most_g FROM link k JOIN item c ON c.num = k.child "
        "WHERE c.shop = ? ORDER BY c.code, k.draw, k.stream, k.parent",
        shop,
    ):
        found.setdefault(code, []).append(tuple(link))
    return {code: tuple(links) for code, links in found.items()}
