"""Derived rows: links, line states, places, search. A pure function of the facts, made again wherever the facts changed.

A line is walked in the order (time, rank, event, part): hooking up, loading and cleaning come before a draw of the same second.
After each act its state is kept, so a late entry or a correction walks on from the last state before it, not from the beginning.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import Any

from fillbook.trace.book import queries, spans
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.spans import Bands
from fillbook.trace.core import flow, limits, mixed_zone
from fillbook.trace.core import spans as rules

Key = tuple[int, int, int, int]  # at, rank, seq, n
STREAMS = ("A", "B", "R")
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
BATCH_DRAW = 0  # a batch has one group of ingredients


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


def draw_id(seq: int, n: int) -> int:
    return seq * 64 + n


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
            found.gone.add((act.item, draw_id(act.seq, act.n)))
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
    text = _state_text(book, line, key)
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
    """What the three streams of a line hold between two acts, and what its pump and hopper are known for so far.

    ``factors``: of each side, the latest totes run dry or weighed by what was drawn (factor in ten-thousandths, number of draws).
    ``own``: the pump's own band, once there are enough of them. ``hopper_most_g`` and ``hopper_least_g``: the most and least the hopper
    can hold by what went in and out, -1 and 0 before the first load; ``hopper_since``: the load at which it may have been full last.
    ``hopper_over``: loads (at, grams) that had no room left by that account: there was room if a fill was being pumped meanwhile.
    ``mixed``: what stays in tube, fill hose and gun from one fill to the next, where the shop's limits say that anything does.
    """

    streams: dict[str, flow.Stream]
    factors: dict[str, list[list[int]]] = field(default_factory=dict)
    own: dict[str, int] = field(default_factory=dict)
    hopper_most_g: int = -1
    hopper_least_g: int = 0
    hopper_since: Key | None = None
    hopper_over: list[list[int]] = field(default_factory=list)
    mixed: mixed_zone.Zone | None = None

    def off_ratio(self) -> bool:
        return any(flow.possibly_off_ratio(stream) for stream in self.streams.values())

    def in_hoses(self) -> dict[str, int]:
        """Grams of each tote that most likely stand in the two hoses, and in tube, fill hose and gun where anything stays there."""
        found: dict[str, int] = {}
        for side in spans.SIDES:
            for share in flow.content(self.streams[side]):
                found[share.parent] = found.get(share.parent, 0) + share.best_g
        for (stream, parent), grams in mixed_zone.content(self.mixed).items() if self.mixed else ():
            if stream in spans.SIDES:
                found[parent] = found.get(parent, 0) + grams
        return found

    def text(self) -> str:
        plain: dict[str, Any] = {name: flow.to_plain(stream) for name, stream in self.streams.items()}
        if self.factors:
            plain["factors"] = self.factors
        if self.own:
            plain["own"] = self.own
        if self.hopper_most_g >= 0:
            since = list(self.hopper_since) if self.hopper_since else None
            plain["hopper"] = [self.hopper_most_g, self.hopper_least_g, since]
        if self.hopper_over:
            plain["over"] = self.hopper_over
        if self.mixed:
            plain["mixed"] = mixed_zone.to_plain(self.mixed)
        return json.dumps(plain, sort_keys=True, separators=(",", ":"))

    @classmethod
    def from_text(cls, text: str) -> LineState:
        plain = json.loads(text)
        most, least, since = plain.get("hopper", (-1, 0, None))
        return cls(
            {name: flow.from_plain(plain[name]) for name in STREAMS}, plain.get("factors", {}), plain.get("own", {}), most, least,
            tuple(since) if since else None, plain.get("over", []), mixed_zone.from_plain(plain["mixed"]) if "mixed" in plain else None,
        )  # fmt: skip


def _state_text(book: Book, line: str, before: Key) -> str | None:
    return book.value(
        "SELECT state FROM line_state WHERE line = ? AND (at, rank, seq, n) < (?, ?, ?, ?) "
        "ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, *before,
    )  # fmt: skip


def line_state(book: Book, shop: str, line: str, before: Key, first: int | None = None) -> LineState:
    """The line just before *before*: the last state kept, or with nothing hooked up and the contents of the time of its *first* act."""
    text = _state_text(book, line, before)
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
    acts = spans.acts_of(book, line, start)
    if not acts:
        return
    walk = _Walk(book, shop, line, line_state(book, shop, line, start, acts[0].at), start, acts)
    for act in acts:
        walk.step(act)
    columns = ("line", "at", "rank", "seq", "n", "off_ratio", "state")
    book.insert_many("line_state", columns, walk.states)
    _insert_links(book, walk.links)


class _Walk:
    """One walk along a line. What has to be known beforehand is gathered first: how much a fill takes in all, what a tote held by
    its anchors, and where a hopper gave more than can have been in it."""

    def __init__(
        self, book: Book, shop: str, line: str, state: LineState, start: Key, acts: list[Row]
    ) -> None:
        self.book, self.shop, self.line, self.state = book, shop, line, state
        self.bands = Bands(book, shop)
        self.vessels: dict[tuple[str, int], flow.Vessel] = {}
        self.mixed: dict[int, tuple[int, int]] = {}
        self.settled: set[int] = set()
        self.states: list[tuple[Any, ...]] = []
        self.links: list[tuple[Any, ...]] = []
        self.fill_total: dict[int, dict[str, int]] = {}
        codes = []
        for act in acts:
            if act.what == "draw":
                totals = self.fill_total.setdefault(act.seq, {"A": 0, "B": 0, "R": 0})
                totals["A"] += act.a_g
                totals["B"] += act.b_g
                totals["R"] += act.r_g
                codes.append(act.item)
        self.numbers = _numbers(book, codes)
        content = spans.contents(book, shop, line)
        self.spans: dict[str, list[rules.Span]] = {name: [] for name in spans.SIDES}
        for span in spans.on_line(book, line, start, bands=self.bands, content=content, acts=acts):
            self.spans[span.side].append(span)
        self.short = self._short_loads(acts)

    def _short_loads(self, acts: list[Row]) -> dict[Key, int]:
        """Loads after which the hopper gave more than can have been in it -> grams after which another must have gone in."""
        found: dict[Key, int] = {}
        now = replace(self.state, streams={})
        window: list[Key] = []
        taken = 0
        for act in acts:
            key = spans.key_of(act)
            if act.what == "draw":
                taken += act.r_g
                if self._hopper_gave(now, act):
                    for load in window:
                        found.setdefault(load, taken)
            elif act.stream == "R":
                most = now.hopper_most_g
                self._hopper(now, act)
                if act.what == "load":
                    window = [key] if now.hopper_since == key else [*window, key]
                    taken = 0
                elif act.what == "weigh" and act.grams - self._off(act) > most >= 0:
                    for load in window:
                        found.setdefault(load, taken)
        return found

    def _off(self, act: Row) -> int:
        return flow.slack(act.grams, self.bands.of(act.basis, act.at))

    def _hopper(self, state: LineState, act: Row) -> None:
        """What the hopper can hold after *act*, and the load at which it may have been full last."""
        if act.what == "load":
            off, high = self._off(act), self._vessel("R", act.at).hi_g
            before = state.hopper_most_g if state.hopper_most_g >= 0 else high
            most = before + act.grams + off
            # A load that cannot have fitted shows that the hopper takes more than was said.
            fits = state.hopper_least_g + act.grams - off <= high
            if state.hopper_most_g < 0 or most >= high:
                state.hopper_since = spans.key_of(act)
            state.hopper_most_g = min(most, high) if fits else most
            if most > state.hopper_most_g:
                state.hopper_over = [*state.hopper_over, [act.at, most - state.hopper_most_g]]
            state.hopper_least_g += act.grams - off
        elif act.what == "weigh" and state.hopper_most_g >= 0:
            off = self._off(act)
            state.hopper_most_g, state.hopper_least_g = act.grams + off, max(0, act.grams - off)
            state.hopper_over = []
        elif act.what == "clean":
            state.hopper_most_g, state.hopper_least_g, state.hopper_since = -1, 0, None
            state.hopper_over = []

    def _hopper_gave(self, state: LineState, act: Row) -> bool:
        """Take a draw out of the hopper; whether it was more than can have been in it."""
        if state.hopper_most_g < 0:
            return False
        off = flow.slack(act.r_g, self._band("R", act)) + self._fills_zone(act, act.r_g)
        began = act.at if act.started_at is None else act.started_at
        meanwhile = sum(grams for at, grams in state.hopper_over if at >= began)
        left = state.hopper_most_g + meanwhile - act.r_g + off
        room = min(left, state.hopper_most_g)
        # What is still over may go into the same fill's top-up; for a later fill it can't have been in the hopper.
        state.hopper_over = [[act.at, left - room]] if left > room else []
        state.hopper_most_g = max(0, room)
        state.hopper_least_g = max(0, state.hopper_least_g - act.r_g - off)
        return left < 0

    def _vessel(self, name: str, at: int) -> flow.Vessel:
        if (name, at) not in self.vessels:
            self.vessels[name, at] = vessel(self.book, self.shop, self.line, name, at)
        return self.vessels[name, at]

    def _span(self, side: str, key: Key) -> rules.Span | None:
        """The span that an act at *key* lies in."""
        for span in self.spans.get(side, ()):
            if span.began < key and (span.ended is None or key < span.ended):
                return span
        return None

    def _band(self, side: str, act: Row) -> int:
        """By how much a draw may be off, in ten-thousandths: by its basis, the pump's own spread, and what the anchors round it say."""
        band_e4 = self.bands.of(act.basis, act.at)
        if act.basis == "pump total":
            band_e4 = self.state.own.get(side, band_e4)
        span = self._span(side, spans.key_of(act))
        return band_e4 if span is None else max(band_e4, span.off_e4)

    def step(self, act: Row) -> None:
        state, key, off_ratio = self.state, spans.key_of(act), False
        if act.what == "draw":
            if act.seq not in self.settled:
                self.settled.add(act.seq)
                for name in STREAMS:
                    state.streams[name] = flow.settle(
                        state.streams[name], self.fill_total[act.seq][name], act.started_at
                    )
            off_ratio = state.off_ratio()
            self._draw(act)
        elif not act.stream:
            state.mixed = state.mixed and mixed_zone.blow_out(state.mixed)
        else:
            name = act.stream
            stream = replace(state.streams[name], vessel=self._vessel(name, act.at))
            state.streams[name] = self._change(stream, act, key)
            if name == "R":
                self._hopper(state, act)
            else:
                self._learn(name, act, key)
        if act.what != "weigh" or act.stream:
            self.states.append((self.line, act.at, act.rank, act.seq, act.n, int(off_ratio), state.text()))

    def _learn(self, side: str, act: Row, key: Key) -> None:
        """A tote that ran dry or was weighed tells what the pump's total is worth."""
        ended = next((span for span in self.spans[side] if span.ended == key), None)
        if ended is None or ended.factor_e4 is None or ended.flagged or ended.over or not ended.by_pump:
            return
        state = self.state
        known = [*state.factors.get(side, []), [ended.factor_e4, ended.draws]][-rules.LOOK_BACK :]
        state.factors = {**state.factors, side: known}
        enough, usual = self.bands.limit("weighings_enough", act.at), self.bands.of("pump total", act.at)
        own = rules.own_spread([(factor, draws) for factor, draws in known], enough, usual)
        if own is not None:
            state.own = {**state.own, side: own}

    def _change(self, stream: flow.Stream, act: Row, key: Key) -> flow.Stream:
        over = next((s for s in self.spans.get(act.stream, ()) if s.began == key and s.over), None)
        lasts_g = over.there_g if over else None
        if act.what == "hook":
            return flow.hook_up(
                stream, act.item, act.at, ran_dry=bool(act.ran_dry), how_full=act.how_full, lasts_g=lasts_g
            )
        if act.what == "weigh":
            return stream if lasts_g is None else flow.weighed(stream, act.at, lasts_g)
        if act.what == "off":
            return flow.disconnect(stream, act.at)
        if (
            act.what == "odd"
        ):  # as after running dry: what follows is not trusted until the hose has been through once
            return replace(stream, off_ratio_left_g=max(1, stream.vessel.hi_g, stream.off_ratio_left_g))
        if act.what == "load":
            band_e4 = self.bands.of(act.basis, act.at)
            return flow.load(
                stream,
                act.item,
                act.at,
                act.grams,
                band_e4=band_e4,
                lasts_g=self.short.get(key),
                held_g=self.state.hopper_least_g,
            )
        return flow.restart(stream, act.at)

    def _draw(self, act: Row) -> None:
        """Draw from the three streams, through the mixed zone where something stays in it; and write the links."""
        state, zone = self.state, self._zone(act)
        child, draw = self.numbers[act.item], draw_id(act.seq, act.n)
        self.book.execute("DELETE FROM link WHERE child = ? AND draw = ?", (child, draw))
        grams = {"A": act.a_g, "B": act.b_g, "R": act.r_g}
        bands = {name: self._band(name, act) for name in STREAMS}
        before, held, together = dict(state.streams), {}, False
        for name in STREAMS:
            more_g = self._fills_zone(act, grams[name]) if zone else 0
            state.streams[name], held[name] = flow.draw(
                before[name], grams[name], band_e4=bands[name], more_g=more_g
            )
        if zone:
            state.mixed, (held, together) = self._through_zone(zone, act, before, grams, bands, held)
        for name, shares in held.items():
            self._link(act, child, draw, name, shares, together)
        self._hopper_gave(state, act)

    def _link(
        self, act: Row, child: int, draw: int, stream: str, shares: tuple[flow.Share, ...], together: bool
    ) -> None:
        unknown = [share.parent for share in shares if share.parent and share.parent not in self.numbers]
        if unknown:
            self.numbers.update(_numbers(self.book, unknown))
        for share in shares:
            parent = self.numbers[share.parent] if share.parent else 0
            cut_at = None if share.parent else act.at
            self.links.append(
                (
                    child,
                    draw,
                    stream,
                    parent,
                    order(act.at, 1),
                    share.least_g,
                    share.best_g,
                    share.most_g,
                    cut_at,
                    int(together),
                )
            )

    # -- the mixed zone --------------------------------------------------------------------------------------------------------
    def _zone(self, act: Row) -> mixed_zone.Zone | None:
        """The mixed zone before a draw; None where nothing stays in it from one fill to the next."""
        low, high = self._mixed_content(act.at)
        if not high:
            self.state.mixed = None
            return None
        zone = self.state.mixed or mixed_zone.Zone(low, high)
        return replace(zone, lo_g=low, hi_g=high)

    def _mixed_content(self, at: int) -> tuple[int, int]:
        if at not in self.mixed:
            low, high = (
                queries.limit(self.book, self.shop, f"mixed_content_{end}", at, self.line)
                for end in ("low", "high")
            )
            self.mixed[at] = (min(low, high), max(low, high))
        return self.mixed[at]

    def _fills_zone(self, act: Row, grams: int) -> int:
        """What a stream may have given besides, to fill a zone that was blown out, noted or not."""
        high = self._mixed_content(act.at)[1]
        return -(-high * grams // max(1, act.a_g + act.b_g + act.r_g))

    def _through_zone(
        self,
        zone: mixed_zone.Zone,
        act: Row,
        before: dict[str, flow.Stream],
        grams: dict[str, int],
        bands: dict[str, int],
        came: dict[str, tuple[flow.Share, ...]],
    ) -> tuple[mixed_zone.Zone, mixed_zone.Drawn]:
        """What *came* from the streams, as they were *before*, drawn through the zone."""
        whole, band_e4 = sum(grams.values()), max(bands.values())
        contents = before["A"].vessel.after_contents
        last_g = mixed_zone.window(zone, whole, band_e4, contents)
        coming = {}
        for name in STREAMS:
            of = -(-last_g * grams[name] // max(1, whole))
            earlier, _ = flow.draw(before[name], grams[name] - of, band_e4=bands[name], more_g=self._fills_zone(act, grams[name]))
            _, last = flow.draw(earlier, of, band_e4=bands[name])
            coming[name] = mixed_zone.Coming(grams[name], came[name], last)
        began = act.at if act.started_at is None else act.started_at
        stood = began - zone.at > queries.limit(self.book, self.shop, "pot_life", act.at)
        return mixed_zone.draw(
            zone, coming, act.at, band_e4=band_e4, after_contents=contents, perhaps_blown_out=stood
        )


def order(at: int, step: int) -> int:
    """The order key of a child: a batch comes before a draw of the same second, and after every fill of an earlier one."""
    return at * 2 + step


def _insert_links(book: Book, rows: list[tuple[Any, ...]]) -> None:
    columns = ("child", "draw", "stream", "parent", "ord", "least_g", "best_g", "most_g", "cut_at", "together")
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
        rows.append((child, draw, "G", numbers.get(source, 0), order(made_at, 0), least, grams, most, cut_at, 0))
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
    "tote": ("supplier", "lot", "system", "supplier_code", "supplier_item", "supplier_serial"),
    "tire": ("customer", "site", "unit", "serial", "wheel_serial", "size", "order_number"),
    "person": ("name",),
    "zone": ("name",),
    "line": ("name",),
}


def plain_word(text: str) -> str:
    """*text* as it is searched for: upper case, letters and digits only."""
    return "".join(c for c in text.upper() if c.isalnum())


SHORTEST_PART, LONGEST_PART, PARTS_OF = 3, 24, 64


def parts_of(word: str) -> list[str]:
    """The endings of a plain word under which any part of it is found; long ones cut.

    >>> parts_of("DOT44")
    ['DOT44', 'OT44', 'T44']
    """
    return [word[n : n + LONGEST_PART] for n in range(min(len(word) - SHORTEST_PART + 1, PARTS_OF))]


def derive_search(book: Book, item: str) -> None:
    """The words under which an item is found, and the parts of each; most acts change none of them, and then nothing is written."""
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
    there = set(book.tuples("SELECT word, item, field FROM search WHERE item = ?", item))
    if words == there:
        return
    for row in sorted(there - words):
        book.execute("DELETE FROM search WHERE word = ? AND item = ? AND field = ?", row)
    if words - there:
        book.insert_many("search", ("word", "item", "field"), sorted(words - there))
    _derive_parts(book, queries.shop_of(book, item), {word for word, _, _ in words ^ there})


def _derive_parts(book: Book, shop: str, words: set[str]) -> None:
    """The parts of each of these words, as long as anything of *shop* bears it."""
    for word in sorted(words):
        borne = book.value(
            "SELECT 1 FROM search WHERE word = ? AND item BETWEEN ? AND ? LIMIT 1", word, shop, shop + "ZZ"
        )
        known = book.value("SELECT 1 FROM word_part WHERE shop = ? AND word = ? LIMIT 1", shop, word)
        if borne and not known:
            rows = sorted({(shop, part, word) for part in parts_of(word)})
            book.insert_many("word_part", ("shop", "part", "word"), rows)
        elif known and not borne:
            book.execute("DELETE FROM word_part WHERE shop = ? AND word = ?", (shop, word))


def derive_all(book: Book) -> None:
    """Every derived row anew from the facts."""
    for table in ("link", "line_state", "place", "search", "word_part"):
        book.execute(f"DELETE FROM {table}")
    for shop, line in book.tuples("SELECT shop, item FROM line ORDER BY item"):
        derive_line(book, shop, line, (-(2**53), 0, 0, 0))
    for (batch,) in book.tuples("SELECT DISTINCT batch FROM ingredient ORDER BY batch"):
        derive_batch(book, batch)
    for (item,) in book.tuples("SELECT DISTINCT item FROM touch ORDER BY item"):
        derive_place(book, item)
        derive_search(book, item)
