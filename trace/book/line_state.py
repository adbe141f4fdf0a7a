"""What a line holds between two acts, as it is kept after each: its three streams, its hopper, what stays in tube and gun."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from fillbook.trace.book import queries, spans
from fillbook.trace.book.opening import Book
from fillbook.trace.core import flow, mixed_zone

Key = tuple[int, int, int, int]  # at, rank, seq, n
STREAMS = ("A", "B", "R")


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
        most, least, since = [*plain.get("hopper", (-1, 0)), None][:3]  # an older state says no time
        return cls(
            {name: flow.from_plain(plain[name]) for name in STREAMS}, plain.get("factors", {}), plain.get("own", {}), most, least,
            tuple(since) if since else None, plain.get("over", []), mixed_zone.from_plain(plain["mixed"]) if "mixed" in plain else None,
        )  # fmt: skip


def state_text(book: Book, line: str, before: Key) -> str | None:
    return book.value(
        "SELECT state FROM line_state WHERE line = ? AND (at, rank, seq, n) < (?, ?, ?, ?) "
        "ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, *before,
    )  # fmt: skip


def line_state(book: Book, shop: str, line: str, before: Key, first: int | None = None) -> LineState:
    """The line just before *before*: the last state kept, or with nothing hooked up and the contents of the time of its *first* act."""
    text = state_text(book, line, before)
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
