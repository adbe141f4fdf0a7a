"""Derived rows: links, line states, places, search. A pure function of the facts, made again wherever the facts changed."""

from __future__ import annotations

from dataclasses import dataclass, field

from fillbook.trace.book import links, queries, spans
from fillbook.trace.book.line_state import Key, LineState, line_state, state_text
from fillbook.trace.book.line_walk import derive_line
from fillbook.trace.book.links import derive_batch
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.search_words import derive_search
from fillbook.trace.book.spans import Bands
from fillbook.trace.core import limits

FLOW_LIMITS = (
    "hose_content_low",
    "hose_content_high",
    "hopper_content_low",
    "hopper_content_high",
    "mixed_content_low",
    "mixed_content_high",
    "pot_life",
    "contents_until_gone",
    "weighings_enough",
    *sorted(set(limits.BASIS_LIMITS.values())),
)


@dataclass
class Affected:
    """What a change of facts bears on."""

    lines: dict[str, Key] = field(default_factory=dict)
    items: set[str] = field(default_factory=set)
    batches: set[str] = field(default_factory=set)
    gone: set[tuple[str, int]] = field(default_factory=set)  # draws whose links must go: (child, draw)
    holds: dict[str, int] = field(default_factory=dict)  # holds by rule that it led to: words -> number

    def start(self, line: str, key: Key) -> None:
        """*line* is to be walked again from *key* on, or from earlier."""
        self.lines[line] = min(key, self.lines.get(line, key))

    def __or__(self, other: Affected) -> Affected:
        lines = dict(self.lines)
        for line, key in other.lines.items():
            lines[line] = min(key, lines.get(line, key))
        return Affected(
            lines,
            self.items | other.items,
            self.batches | other.batches,
            self.gone | other.gone,
            self.holds | other.holds,
        )


def affected_by(book: Book, shop: str, seq: int) -> Affected:
    """What the facts of event *seq* bear on, as they stand now."""
    found = Affected()
    changed: dict[str, list[Row]] = {}
    for act in book.rows(
        "SELECT line, at, rank, seq, n, what, item, stream, r_g, ran_dry FROM line_act WHERE shop = ? AND seq = ? "
        "UNION ALL SELECT line, at, rank, seq, 0, 'weigh', item, stream, 0, 0 FROM weighing WHERE shop = ? AND seq = ? AND line <> ''",
        shop, seq, shop, seq,
    ):  # fmt: skip
        changed.setdefault(act.line, []).append(act)
        if act.what == "draw":
            found.gone.add((act.item, links.draw_id(act.seq, act.n)))
    for line, acts in changed.items():
        found.start(line, _back_to(book, shop, line, acts))
        _other_lines(book, line, min(spans.key_of(act) for act in acts), found)
    _totes_changed(book, shop, seq, found)
    found.items = {
        row[0] for row in book.tuples("SELECT item FROM touch WHERE shop = ? AND seq = ?", shop, seq)
    }
    found.batches = {
        row[0] for row in book.tuples("SELECT batch FROM ingredient WHERE shop = ? AND seq = ?", shop, seq)
    }
    found.holds = dict(
        book.tuples("SELECT why, n FROM hold WHERE shop = ? AND seq = ? AND by_rule = 1", shop, seq)
    )
    for one in book.rows("SELECT name, scope, from_at FROM limit_set WHERE shop = ? AND seq = ?", shop, seq):
        if one.name in FLOW_LIMITS:
            for (line,) in book.tuples("SELECT item FROM line WHERE shop = ?", shop):
                if one.scope in ("", line):
                    found.start(line, _anchors_before(book, line, (one.from_at, -1, 0, 0)))
                    if one.name in limits.BASIS_LIMITS.values():  # a tote's own weight is bounded by it, too
                        found.start(line, (-(2**53), 0, 0, 0))
    return found


def _back_to(book: Book, shop: str, line: str, acts: list[Row]) -> Key:
    """From which act on a line is walked again when *acts* of it came or went.

    What an act bears on begins with it, but for anchors: a tote's draws are judged together once it ran dry, was weighed, or gave
    more than it held, so these begin with its hooking up; and a hopper that gave more than it held with the last time it was full.
    """
    first, last = min(map(spans.key_of, acts)), max(map(spans.key_of, acts))
    later = book.value(
        "SELECT 1 FROM line_act WHERE line = ? AND (at, rank, seq, n) > (?, ?, ?, ?) LIMIT 1", line, *last
    ) or book.value(
        "SELECT 1 FROM weighing WHERE line = ? AND (at, rank, seq, 0) > (?, ?, ?, ?) LIMIT 1", line, *last
    )
    if later:
        return _anchors_before(book, line, first)
    key, draws = first, False
    for act in acts:
        if act.what == "draw":
            draws = True
        elif act.stream in spans.SIDES and act.what in ("hook", "off", "weigh"):
            key = min(key, spans.anchor_before(book, line, act.stream, first) or key)
        elif act.what == "weigh":
            key = min(key, line_state(book, shop, line, first, first[0]).hopper_since or key)
    if draws:
        state = line_state(book, shop, line, first, first[0])
        bands = Bands(book, shop)
        taken = sum(act.r_g for act in acts)
        if taken > state.hopper_most_g >= 0:
            key = min(key, state.hopper_since or key)
        content = spans.contents(book, shop, line)
        for span in spans.on_line(book, line, first, bands=bands, content=content):
            if span.over and span.ended is None:
                key = min(key, span.began)
    return key


def _anchors_before(book: Book, line: str, key: Key) -> Key:
    """The act from which everything is judged together with what happened at *key*."""
    found = [key]
    for side in spans.SIDES:
        found.append(spans.anchor_before(book, line, side, key) or key)
    text = state_text(book, line, key)
    if text is not None:
        found.append(LineState.from_text(text).hopper_since or key)
    return min(found)


def _other_lines(book: Book, line: str, key: Key, found: Affected) -> None:
    """Totes on *line* at *key* that were hooked up elsewhere, too, at any time: what they held there may be another amount now."""
    for side in spans.SIDES:
        for before in (
            key,
            (*key[:3], key[3] + 1),
        ):  # what was on until then, and what was hooked up just then
            tote = book.value(
                "SELECT item FROM line_act WHERE line = ? AND what = 'hook' AND stream = ? AND (at, rank, seq, n) < (?, ?, ?, ?) "
                "ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
                line, side, *before,
            )  # fmt: skip
            if tote:
                _every_hooking(book, tote, found, apart_from=line)


def _every_hooking(book: Book, tote: str, found: Affected, apart_from: str = "") -> None:
    for act in book.rows(
        "SELECT line, at, rank, seq, n FROM line_act WHERE item = ? AND what = 'hook'", tote
    ):
        if act.line != apart_from:
            found.start(act.line, spans.key_of(act))


def _totes_changed(book: Book, shop: str, seq: int, found: Affected) -> None:
    """Totes whose weight, or what was poured out of them, event *seq* says."""
    for (tote,) in book.tuples(
        "SELECT item FROM tote WHERE shop = ? AND seq = ? UNION SELECT source FROM ingredient WHERE shop = ? AND seq = ? "
        "UNION SELECT item FROM weighing WHERE shop = ? AND seq = ? AND item <> ''",
        shop, seq, shop, seq, shop, seq,
    ):  # fmt: skip
        if tote[2:3] == "L":
            _every_hooking(book, tote, found)


def refresh(book: Book, shop: str, what: Affected) -> None:
    """Derive again what *what* names."""
    for child, draw in what.gone:
        number = book.value("SELECT num FROM item WHERE code = ?", child)
        if number is not None:
            links.remove(book, number, draw)
    items = set(what.items)
    for line, key in what.lines.items():
        derive_line(book, shop, line, key)
        items |= hooked_up(book, line, key[0])
    for batch in what.batches:
        derive_batch(book, batch)
    for item in items:
        derive_place(book, item)
        derive_search(book, item)


def hooked_up(book: Book, line: str, since: int) -> set[str]:
    """The totes whose being on *line* may have changed with an act at *since*: those hooked up from then on, and those before."""
    rows = book.tuples("SELECT item FROM place WHERE place = ? AND state = 'hooked up'", line)
    rows += book.tuples(
        "SELECT item FROM line_act WHERE line = ? AND what = 'hook' AND at >= ("
        "SELECT coalesce(min(at), ?) FROM (SELECT max(at) AS at FROM line_act WHERE line = ? AND what = 'hook' AND at <= ? GROUP BY stream) AS last)",
        line, since, line, since,
    )  # fmt: skip
    return {item for (item,) in rows}


def derive_place(book: Book, item: str) -> None:
    """Where an item is and in what state: the last touch that says so."""
    book.execute("DELETE FROM place WHERE item = ?", (item,))
    last = queries.state_at(book, item, 2**53)
    if last.state is not None:
        book.insert(
            "place",
            {"item": item, "state": last.state, "place": last.place, "since": last.since, "seq": last.seq},
        )


def derive_all(book: Book) -> None:
    """Every derived row anew from the facts."""
    for table in ("link", "whole", "line_state", "place", "search", "word_part"):
        book.execute(f"DELETE FROM {table}")
    for shop, line in book.tuples("SELECT shop, item FROM line ORDER BY item"):
        derive_line(book, shop, line, (-(2**53), 0, 0, 0))
    for (batch,) in book.tuples("SELECT DISTINCT batch FROM ingredient ORDER BY batch"):
        derive_batch(book, batch)
    for (item,) in book.tuples("SELECT DISTINCT item FROM touch ORDER BY item"):
        derive_place(book, item)
        derive_search(book, item)
