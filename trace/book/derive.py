"""Derived rows: links, line states, places, search. A pure function of the facts, made again wherever the facts changed.

A line is walked in the order (time, rank, event, part): hooking up, loading and cleaning come before a draw of the same second.
After each act its state is kept, so a late entry or a correction walks on from the last state before it, not from the beginning.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import flow, limits

Key = tuple[int, int, int, int]  # at, rank, seq, n
STREAMS = ("A", "B", "R")
FLOW_LIMITS = (
    "hose_content_low",
    "hose_content_high",
    "hopper_content_low",
    "hopper_content_high",
    "contents_until_gone",
    *sorted(set(limits.BASIS_LIMITS.values())),
)
BATCH_DRAW = 0  # a batch has one group of ingredients


@dataclass
class Affected:
    """What a change of facts bears on."""

    lines: dict[str, Key] = field(default_factory=dict)
    items: set[str] = field(default_factory=set)
    batches: set[str] = field(default_factory=set)
    gone: set[tuple[str, int]] = field(default_factory=set)  # draws whose links must go: (child, draw)
    holds: dict[str, int] = field(default_factory=dict)  # holds by rule that it led to: words -> number

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


def draw_id(seq: int, n: int) -> int:
    return seq * 64 + n


def affected_by(book: Book, shop: str, seq: int) -> Affected:
    """What the facts of event *seq* bear on, as they stand now."""
    found = Affected()
    for act in book.rows(
        "SELECT line, at, rank, seq, n, what, item FROM line_act WHERE shop = ? AND seq = ?", shop, seq
    ):
        key = (act.at, act.rank, act.seq, act.n)
        found.lines[act.line] = min(key, found.lines.get(act.line, key))
        if act.what == "draw":
            found.gone.add((act.item, draw_id(act.seq, act.n)))
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
                    found.lines[line] = min(
                        (one.from_at, -1, 0, 0), found.lines.get(line, (one.from_at, 0, 0, 0))
                    )
    return found


def refresh(book: Book, shop: str, what: Affected) -> None:
    """Derive again what *what* names."""
    for child, draw in what.gone:
        number = book.value("SELECT num FROM item WHERE code = ?", child)
        if number is not None:
            book.execute("DELETE FROM link WHERE child = ? AND draw = ?", (number, draw))
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


# -- lines ---------------------------------------------------------------------------------------------------------------------
@dataclass
class LineState:
    """What the three streams of a line hold between two acts."""

    streams: dict[str, flow.Stream]

    def off_ratio(self) -> bool:
        return any(flow.possibly_off_ratio(stream) for stream in self.streams.values())

    def text(self) -> str:
        plain = {name: flow.to_plain(stream) for name, stream in self.streams.items()}
        return json.dumps(plain, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_text(cls, text: str) -> LineState:
        return cls({name: flow.from_plain(plain) for name, plain in json.loads(text).items()})


def line_state(book: Book, shop: str, line: str, before: Key, first: int | None = None) -> LineState:
    """The line just before *before*: the last state kept, or with nothing hooked up and the contents of the time of its *first* act."""
    text = book.value(
        "SELECT state FROM line_state WHERE line = ? AND (at, rank, seq, n) < (?, ?, ?, ?) "
        "ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, *before,
    )  # fmt: skip
    if text is not None:
        return LineState.from_text(text)
    at = before[0] if first is None else first
    return LineState({name: flow.Stream(vessel(book, shop, line, name, at)) for name in STREAMS})


def vessel(book: Book, shop: str, line: str, stream: str, at: int) -> flow.Vessel:
    """The vessel between a source and the gun, with the contents the shop's limits gave at that time."""
    kind = "hopper" if stream == "R" else "hose"
    low = queries.limit(book, shop, f"{kind}_content_low", at, line)
    high = queries.limit(book, shop, f"{kind}_content_high", at, line)
    return flow.Vessel(
        kind, min(low, high), max(low, high), queries.limit(book, shop, "contents_until_gone", at)
    )


def derive_line(book: Book, shop: str, line: str, start: Key) -> None:
    """Walk *line* from *start* on: links of each draw, state after each act."""
    book.execute(
        "DELETE FROM line_state WHERE line = ? AND (at, rank, seq, n) >= (?, ?, ?, ?)", (line, *start)
    )
    acts = book.rows(
        "SELECT * FROM line_act WHERE line = ? AND (at, rank, seq, n) >= (?, ?, ?, ?) ORDER BY at, rank, seq, n",
        line,
        *start,
    )
    state = line_state(book, shop, line, start, acts[0].at if acts else None)
    vessels: dict[tuple[str, int], flow.Vessel] = {}
    fill_total: dict[int, dict[str, int]] = {}
    for act in acts:
        if act.what == "draw":
            totals = fill_total.setdefault(act.seq, {"A": 0, "B": 0, "R": 0})
            totals["A"] += act.a_g
            totals["B"] += act.b_g
            totals["R"] += act.r_g
    numbers = _numbers(book, [act.item for act in acts if act.what == "draw"])
    bands = Bands(book, shop)
    settled: set[int] = set()
    states = []
    for act in acts:
        off_ratio = False
        if act.what == "draw":
            if act.seq not in settled:
                settled.add(act.seq)
                for name in STREAMS:
                    state.streams[name] = flow.settle(
                        state.streams[name], fill_total[act.seq][name], act.started_at
                    )
            off_ratio = state.off_ratio()
            _draw(book, act, state, numbers, bands)
        else:
            name = act.stream
            key = (name, act.at)
            if key not in vessels:
                vessels[key] = vessel(book, shop, line, name, act.at)
            stream = replace(state.streams[name], vessel=vessels[key])
            state.streams[name] = _change(stream, act, bands)
        states.append((line, act.at, act.rank, act.seq, act.n, int(off_ratio), state.text()))
    book.insert_many("line_state", ("line", "at", "rank", "seq", "n", "off_ratio", "state"), states)


class Bands:
    """By how many ten-thousandths a weight of a basis may be off, by the limit in force at its time."""

    def __init__(self, book: Book, shop: str) -> None:
        self.said: dict[str, list[tuple[int, int]]] = {}
        for name, from_at, value in book.tuples(
            "SELECT name, from_at, value FROM limit_set WHERE shop = ? AND scope = '' ORDER BY from_at, seq",
            shop,
        ):
            self.said.setdefault(name, []).append((from_at, value))

    def of(self, basis: str, at: int) -> int:
        name = limits.band_of(basis)
        for from_at, value in reversed(self.said.get(name, ())):
            if from_at <= at:
                return value
        return limits.limit(name).default


def _change(stream: flow.Stream, act: Row, bands: Bands) -> flow.Stream:
    if act.what == "hook":
        return flow.hook_up(stream, act.item, act.at, ran_dry=bool(act.ran_dry), how_full=act.how_full)
    if act.what == "off":
        return flow.disconnect(stream, act.at)
    if (
        act.what == "odd"
    ):  # as after running dry: what follows is not trusted until the hose has been through once
        return replace(stream, off_ratio_left_g=max(1, stream.vessel.hi_g, stream.off_ratio_left_g))
    if act.what == "load":
        return flow.load(stream, act.item, act.at, act.grams, band_e4=bands.of(act.basis, act.at))
    return flow.restart(stream, act.at)


def _draw(book: Book, act: Row, state: LineState, numbers: dict[str, int], bands: Bands) -> None:
    child, draw = numbers[act.item], draw_id(act.seq, act.n)
    book.execute("DELETE FROM link WHERE child = ? AND draw = ?", (child, draw))
    rows = []
    band_e4 = bands.of(act.basis, act.at)
    for name, grams in (("A", act.a_g), ("B", act.b_g), ("R", act.r_g)):
        state.streams[name], shares = flow.draw(state.streams[name], grams, band_e4=band_e4)
        parents = _numbers(book, [share.parent for share in shares if share.parent])
        rows += [
            (
                child, draw, name, parents.get(share.parent, 0), order(act.at, 1), share.least_g, share.best_g, share.most_g,
                None if share.parent else act.at,
            )
            for share in shares
        ]  # fmt: skip
    _insert_links(book, rows)


def order(at: int, step: int) -> int:
    """The order key of a child: a batch comes before a draw of the same second, and after every fill of an earlier one."""
    return at * 2 + step


def _insert_links(book: Book, rows: list[tuple[Any, ...]]) -> None:
    columns = ("child", "draw", "stream", "parent", "ord", "least_g", "best_g", "most_g", "cut_at")
    book.insert_many("link", columns, rows)


def _numbers(book: Book, codes: list[str]) -> dict[str, int]:
    found: dict[str, int] = {}
    wanted = sorted(set(codes))
    for start in range(0, len(wanted), 500):
        part = wanted[start : start + 500]
        marks = ", ".join("?" * len(part))
        found.update(book.tuples(f"SELECT code, num FROM item WHERE code IN ({marks})", *part))
    return found


# -- batches, places, search ---------------------------------------------------------------------------------------------------
def derive_batch(book: Book, batch: str) -> None:
    """The links of a regrind batch to what was ground into it. Pieces of unknown origin are one parent per date they were cut by."""
    child = _numbers(book, [batch])[batch]
    book.execute("DELETE FROM link WHERE child = ? AND stream = 'G'", (child,))
    made_at = book.value("SELECT made_at FROM batch WHERE item = ?", batch)
    if made_at is None:
        return
    pieces = book.rows("SELECT source, grams, cut_at FROM ingredient WHERE batch = ? ORDER BY n", batch)
    together: dict[tuple[str, int | None], int] = {}
    for piece in pieces:
        together[(piece.source, piece.cut_at)] = together.get((piece.source, piece.cut_at), 0) + piece.grams
    numbers = _numbers(book, [source for source, _ in together if source])
    whole = sum(together.values())
    basis = (
        book.value("SELECT basis FROM tote WHERE item = ?", batch) or "scale"
    )  # a mixture's own, pieces are weighed
    band_e4 = Bands(book, queries.shop_of(book, batch)).of(basis, made_at)
    rows = []
    unknown = 0
    for (source, cut_at), grams in together.items():
        draw = BATCH_DRAW
        if not source:  # one row per date: the draw number keeps them apart within one batch
            draw, unknown = unknown, unknown + 1
        least, most = part_of(grams, whole, band_e4)
        rows.append((child, draw, "G", numbers.get(source, 0), order(made_at, 0), least, grams, most, cut_at))
    _insert_links(book, rows)


def part_of(grams: int, whole: int, band_e4: int) -> tuple[int, int]:
    """The least and most that *grams* can be of *whole*, when each weight in it may be *band_e4* ten-thousandths off.

    As a part of the whole as it was written: least where this weight is as low and the others as high as can be.

    >>> part_of(100, 200, 100)
    (99, 101)
    >>> part_of(200, 200, 100)
    (200, 200)
    """
    rest, low, high = whole - grams, 10_000 - min(band_e4, 9_000), 10_000 + band_e4
    return whole * grams * low // (grams * low + rest * high), -(
        -whole * grams * high // (grams * high + rest * low)
    )


def derive_place(book: Book, item: str) -> None:
    """Where an item is and in what state: the last touch that says so."""
    book.execute("DELETE FROM place WHERE item = ?", (item,))
    last = queries.state_at(book, item, 2**53)
    if last.state is not None:
        book.insert(
            "place",
            {"item": item, "state": last.state, "place": last.place, "since": last.since, "seq": last.seq},
        )


SEARCHED = {
    "tote": ("supplier", "lot", "system"),
    "tire": ("customer", "site", "unit", "serial", "wheel_serial", "size", "order_number"),
    "person": ("name",),
    "zone": ("name",),
    "line": ("name",),
}


def plain_word(text: str) -> str:
    """*text* as it is searched for: upper case, letters and digits only."""
    return "".join(c for c in text.upper() if c.isalnum())


def derive_search(book: Book, item: str) -> None:
    """The words under which an item is found."""
    book.execute("DELETE FROM search WHERE item = ?", (item,))
    words: set[tuple[str, str, str]] = set()
    for table, columns in SEARCHED.items():
        for row in book.rows(f"SELECT {', '.join(columns)} FROM {table} WHERE item = ?", item):
            words |= {(plain_word(row[c]), item, c) for c in columns if plain_word(row[c] or "")}
    for row in book.rows(
        "SELECT name, value FROM inspection WHERE item = ? AND name IN ('serial', 'date_code', 'wheel_serial')",
        item,
    ):
        if word := plain_word(row.value):
            words.add((word, item, row.name))
    if words:
        book.insert_many("search", ("word", "item", "field"), sorted(words))


def derive_all(book: Book) -> None:
    """Every derived row anew from the facts."""
    for table in ("link", "line_state", "place", "search"):
        book.execute(f"DELETE FROM {table}")
    for shop, line in book.tuples("SELECT shop, item FROM line ORDER BY item"):
        derive_line(book, shop, line, (-(2**53), 0, 0, 0))
    for (batch,) in book.tuples("SELECT DISTINCT batch FROM ingredient ORDER BY batch"):
        derive_batch(book, batch)
    for (item,) in book.tuples("SELECT DISTINCT item FROM touch ORDER BY item"):
        derive_place(book, item)
        derive_search(book, item)
