"""A line walked act by act: the links of each draw, and the line's state after each act.

A line is walked in the order (time, rank, event, part): hooking up, loading and cleaning come before a draw of the same second.
After each act its state is kept, so a late entry or a correction walks on from the last state before it, not from the beginning.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fillbook.trace.book import links, spans
from fillbook.trace.book.in_parts import numbers
from fillbook.trace.book.line_state import STREAMS, Key, LineState, line_state, vessel
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.book.spans import Bands
from fillbook.trace.core import flow, mixed_zone
from fillbook.trace.core import spans as rules


def derive_line(book: Book, shop: str, line: str, start: Key) -> None:
    """Walk *line* from *start* on: links of each draw, state after each act."""
    book.execute(
        "DELETE FROM line_state WHERE line = ? AND (at, rank, seq, n) >= (?, ?, ?, ?)", (line, *start)
    )
    acts = spans.acts_of(book, line, start)
    if not acts:
        return
    walk = Walk(book, shop, line, line_state(book, shop, line, start, acts[0].at), start, acts)
    for act in acts:
        walk.step(act)
    columns = ("line", "at", "rank", "seq", "n", "off_ratio", "state")
    book.insert_many("line_state", columns, walk.states)
    links.insert(book, walk.links, walk.numbers.values())


class Walk:
    """One walk along a line. What has to be known beforehand is gathered first: how much a fill takes in all, what a tote held by
    its anchors, and where a hopper gave more than can have been in it."""

    def __init__(
        self, book: Book, shop: str, line: str, state: LineState, start: Key, acts: list[Row]
    ) -> None:
        self.book, self.shop, self.line, self.state = book, shop, line, state
        self.bands = Bands(book, shop, line)
        self.vessels: dict[tuple[str, int], flow.Vessel] = {}
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
        self.numbers = numbers(book, codes)
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
        off = flow.slack(act.r_g, self._band("R", act))
        began = act.at if act.started_at is None else act.started_at
        meanwhile = sum(grams for at, grams in state.hopper_over if at >= began)
        left = state.hopper_most_g + meanwhile - act.r_g + off
        room = min(left, state.hopper_most_g)
        # What is still over may go into the same fill's top-up; for a later fill it can't have been in the hopper.
        state.hopper_over = [[act.at, left - room]] if left > room else []
        state.hopper_most_g = max(0, room)
        more_g = _part_of(self._mixed_content(act.at)[1], act, act.r_g)  # to fill a tube that was blown out
        state.hopper_least_g = max(0, state.hopper_least_g - act.r_g - off - more_g)
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
            low, high = self._mixed_content(act.at)
            state.mixed = mixed_zone.blow_out(state.mixed or mixed_zone.Zone(low, high)) if high else None
        else:
            name = act.stream
            stream = replace(state.streams[name], vessel=self._vessel(name, act.at))
            state.streams[name] = self._change(stream, act, key)
            if act.what == "clean" and state.mixed:
                state.mixed = replace(state.mixed, at=0)  # what flushed it may have left through tube and gun
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
        child, draw = self.numbers[act.item], links.draw_id(act.seq, act.n)
        self.book.execute("DELETE FROM link WHERE child = ? AND draw = ?", (child, draw))
        grams = {"A": act.a_g, "B": act.b_g, "R": act.r_g}
        before, held, together = dict(state.streams), {}, False
        fills_g = zone.hi_g if zone and (not zone.parts or self._may_be_blown_out(zone, act)) else 0
        for name in STREAMS:
            state.streams[name], held[name] = flow.draw(
                before[name],
                grams[name],
                band_e4=self._band(name, act),
                more_g=_part_of(fills_g, act, grams[name]),
            )
        if zone:
            held, together = self._through_zone(zone, act, before, held, fills_g)
        for name, shares in held.items():
            self._link(act, child, draw, name, shares, together)
        self._hopper_gave(state, act)

    def _link(
        self, act: Row, child: int, draw: int, stream: str, shares: tuple[flow.Share, ...], together: bool
    ) -> None:
        unknown = [share.parent for share in shares if share.parent and share.parent not in self.numbers]
        if unknown:
            self.numbers.update(numbers(self.book, unknown))
        for share in shares:
            parent = self.numbers[share.parent] if share.parent else 0
            cut_at = None if share.parent else act.at
            self.links.append(
                (child, draw, stream, parent, links.order(act.at, 1), share.least_g, share.best_g, share.most_g, cut_at, int(together))
            )  # fmt: skip

    # -- the mixed zone --------------------------------------------------------------------------------------------------------
    def _zone(self, act: Row) -> mixed_zone.Zone | None:
        """The mixed zone before a draw; None where nothing stays in it from one fill to the next.

        Nobody knows what stands in it when the first draw of all goes through it, nor whether another hose was hung when its content
        was set anew: that draw allows for both contents, and for a zone that was blown out.
        """
        low, high = self._mixed_content(act.at)
        before = self.state.mixed
        if before is None:
            return mixed_zone.unknown(low, high) if high else None
        if (before.lo_g, before.hi_g) == (low, high):
            return before
        if not high:  # from now on it is blown out after each fill; what the last one left is in this one
            return replace(before, at=0) if before.parts else None
        return replace(before, lo_g=min(before.lo_g, low), hi_g=max(before.hi_g, high), at=0)

    def _mixed_content(self, at: int) -> tuple[int, int]:
        low, high = (self.bands.limit(f"mixed_content_{end}", at) for end in ("low", "high"))
        return min(low, high), max(low, high)

    def _may_be_blown_out(self, zone: mixed_zone.Zone, act: Row) -> bool:
        """Whether the zone stood so long that it would have set, had nobody blown it out."""
        began = act.at if act.started_at is None else act.started_at
        return began - zone.at > self.bands.limit("pot_life", act.at)

    def _through_zone(
        self,
        zone: mixed_zone.Zone,
        act: Row,
        before: dict[str, flow.Stream],
        came: dict[str, tuple[flow.Share, ...]],
        fills_g: int,
    ) -> mixed_zone.Drawn:
        """What *came* from the streams, as they were *before*, drawn through the zone; *fills_g*: what may have filled it first."""
        grams = {"A": act.a_g, "B": act.b_g, "R": act.r_g}
        bands = {name: self._band(name, act) for name in STREAMS}
        whole, band_e4 = sum(grams.values()), max(bands.values())
        contents = self.bands.limit("contents_until_gone", act.at)
        low, high = self._mixed_content(act.at)
        last_g = mixed_zone.window(zone, whole, band_e4, contents)
        coming = {}
        for name in STREAMS:
            of = -(-last_g * grams[name] // max(1, whole))
            last = came[name]
            if of < grams[name] and high:  # else what went in all along may be what is in it afterwards
                more_g = _part_of(fills_g, act, grams[name])
                earlier, _ = flow.draw(before[name], grams[name] - of, band_e4=bands[name], more_g=more_g)
                _, last = flow.draw(earlier, of, band_e4=bands[name])
            coming[name] = mixed_zone.Coming(grams[name], came[name], last)
        after, drawn = mixed_zone.draw(
            zone, coming, act.at, band_e4=band_e4, after_contents=contents, perhaps_blown_out=bool(fills_g and zone.parts),
        )  # fmt: skip
        self.state.mixed = replace(after, lo_g=low, hi_g=high) if high else None
        return drawn


def _part_of(zone_g: int, act: Row, grams: int) -> int:
    """What a stream that gives *grams* of a draw gives besides to fill a zone of *zone_g*, rounded up."""
    return -(-zone_g * grams // max(1, act.a_g + act.b_g + act.r_g))
