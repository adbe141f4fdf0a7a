"""The anchors of a line: which tote was on, what it held, what was drawn from it, and when it ran dry or was weighed.

Everything here comes from facts, so a line can be walked again from any act. See :mod:`fillbook.trace.core.spans`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, limits
from fillbook.trace.core.spans import CHANGED, EMPTY, RAN_DRY, STILL_ON, WEIGHED, Span

Key = tuple[int, int, int, int]
SIDES = ("A", "B")
FOREVER: Key = (2**53, 0, 0, 0)
FIRST: Key = (-(2**53), 0, 0, 0)
KEY = "(at, rank, seq, n)"


class Bands:
    """By how many ten-thousandths a weight of a basis may be off, by the limit in force at its time."""

    def __init__(self, book: Book, shop: str) -> None:
        self.said: dict[str, list[tuple[int, int]]] = {}
        for name, from_at, value in book.tuples(
            "SELECT name, from_at, value FROM limit_set WHERE shop = ? AND scope = '' ORDER BY from_at, seq",
            shop,
        ):
            self.said.setdefault(name, []).append((from_at, value))

    def limit(self, name: str, at: int) -> int:
        for from_at, value in reversed(self.said.get(name, ())):
            if from_at <= at:
                return value
        return limits.limit(name).default

    def of(self, basis: str, at: int) -> int:
        return self.limit(limits.band_of(basis), at)


def acts_of(book: Book, line: str, since: Key) -> list[Row]:
    """What happened on *line* from *since* on, in its order; weighings among it."""
    acts = book.rows(
        f"SELECT * FROM line_act WHERE line = ? AND {KEY} >= (?, ?, ?, ?) ORDER BY at, rank, seq, n",
        line,
        *since,
    )
    weighings = book.rows(
        "SELECT line, stream, item, at, rank, seq, 0 AS n, 'weigh' AS what, grams, basis, 0 AS ran_dry FROM weighing "
        "WHERE line = ? AND (at, rank, seq, 0) >= (?, ?, ?, ?)",
        line, *since,
    )  # fmt: skip
    if weighings:
        acts = sorted([*acts, *weighings], key=key_of)
    return acts


def key_of(act: Row) -> Key:
    return act.at, act.rank, act.seq, act.n


def anchor_before(book: Book, line: str, side: str, key: Key) -> Key | None:
    """The hooking up, taking off or weighing on *side* that came last before *key*."""
    hook = book.one(
        f"SELECT at, rank, seq, n FROM line_act WHERE line = ? AND stream = ? AND what IN ('hook', 'off') AND {KEY} < (?, ?, ?, ?) "
        "ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, side, *key,
    )  # fmt: skip
    weigh = book.one(
        "SELECT at, rank, seq, 0 AS n FROM weighing WHERE line = ? AND stream = ? AND (at, rank, seq, 0) < (?, ?, ?, ?) "
        "ORDER BY at DESC, rank DESC, seq DESC LIMIT 1",
        line, side, *key,
    )  # fmt: skip
    return max((key_of(row) for row in (hook, weigh) if row), default=None)


def on_line(
    book: Book,
    line: str,
    since: Key = FIRST,
    *,
    bands: Bands,
    content: Callable[[int], int],
    acts: list[Row] | None = None,
) -> list[Span]:
    """The spans of *line* that end after *since* or are still on, in order."""
    begins = [anchor_before(book, line, side, since) for side in SIDES]
    earliest = min((key for key in begins if key), default=since)
    if acts is None or earliest < since:
        acts = acts_of(book, line, min(earliest, since))
    found: list[Span] = []
    for side in SIDES:
        begin: Row | None = None
        drawn = slack = draws = by_pump = 0
        for act in acts:
            if act.what == "draw":
                grams = act.a_g if side == "A" else act.b_g
                if begin is not None and grams:
                    drawn += grams
                    slack += -(-grams * bands.of(act.basis, act.at) // 10_000)
                    draws += 1
                    by_pump += grams if act.basis == "pump total" else 0
                continue
            if act.stream != side or act.what not in ("hook", "off", "weigh"):
                continue
            if begin is not None:
                found.append(
                    _span(book, line, side, begin, act, drawn, slack, draws, by_pump, bands, content)
                )
            begin = None if act.what == "off" else act
            drawn = slack = draws = by_pump = 0
        if begin is not None:
            found.append(_span(book, line, side, begin, None, drawn, slack, draws, by_pump, bands, content))
    return [
        span
        for span in sorted(found, key=lambda s: (s.began, s.side))
        if span.ended is None or span.ended >= since
    ]


def _span(
    book: Book, line: str, side: str, begin: Row, end: Row | None, drawn: int, slack: int, draws: int, by_pump: int, bands: Bands,
    content: Callable[[int], int],
) -> Span:  # fmt: skip
    if end is None:
        how, left = STILL_ON, None
    elif end.what == "weigh":
        how, left = WEIGHED, end.grams
    elif end.ran_dry:
        how, left = (RAN_DRY if end.what == "hook" else EMPTY), 0
    else:
        how, left = CHANGED, None
    held, off = _held(book, begin, key_of(end) if end is not None else FOREVER, bands)
    if left and end is not None:
        off += -(-left * bands.of(end.basis, end.at) // 10_000)
    return Span(
        line, side, begin["item"], key_of(begin), key_of(end) if end is not None else None, how, held, off, left, drawn, slack,
        draws, by_pump * 10 >= drawn * 9, content(begin.at),
    )  # fmt: skip


def _held(book: Book, begin: Row, end: Key, bands: Bands) -> tuple[int, int]:
    """What the tote of a span held when it began, and by how much that may be off: its last weight, less what went elsewhere."""
    item, began = begin["item"], key_of(begin)
    weight = book.one(
        "SELECT at, rank, seq, 0 AS n, grams, basis FROM weighing WHERE item = ? AND (at, rank, seq, 0) <= (?, ?, ?, ?) "
        "ORDER BY at DESC, rank DESC, seq DESC LIMIT 1",
        item, *began,
    )  # fmt: skip
    if weight is not None:
        grams, off, since = (
            weight.grams,
            -(-weight.grams * bands.of(weight.basis, weight.at) // 10_000),
            key_of(weight),
        )
    else:
        tote = book.one("SELECT net_g, basis, received_at FROM tote WHERE item = ?", item)
        if tote is None:
            return 0, 0
        grams, off, since = (
            tote.net_g,
            -(-tote.net_g * bands.of(tote.basis, tote.received_at) // 10_000),
            FIRST,
        )
    for other in book.rows(
        "SELECT line, stream, at, rank, seq, n FROM line_act WHERE item = ? AND what = 'hook'", item
    ):
        if key_of(other) == began or (other.line == begin.line and key_of(other) > began):
            continue
        until = book.one(
            f"SELECT at, rank, seq, n FROM line_act WHERE line = ? AND stream = ? AND what IN ('hook', 'off') AND {KEY} > (?, ?, ?, ?) "
            "ORDER BY at, rank, seq, n LIMIT 1",
            other.line, other.stream, *key_of(other),
        )  # fmt: skip
        to = min(end if other.line != begin.line else began, key_of(until) if until else FOREVER)
        column = "a_g" if other.stream == "A" else "b_g"
        for basis, at, drawn in book.tuples(
            f"SELECT basis, max(at), sum({column}) FROM line_act WHERE line = ? AND what = 'draw' AND {KEY} > (?, ?, ?, ?) "
            f"AND {KEY} < (?, ?, ?, ?) GROUP BY basis",
            other.line, *max(key_of(other), since), *to,
        ):  # fmt: skip
            grams -= drawn
            off += -(-drawn * bands.of(basis, at) // 10_000)
    for poured, at in book.tuples(
        "SELECT g.grams, b.made_at FROM ingredient g JOIN batch b ON b.item = g.batch WHERE g.source = ? AND b.made_at < ? AND b.made_at >= ?",
        item, end[0], since[0],
    ):  # fmt: skip
        grams -= poured
        off += -(-poured * bands.of("scale", at) // 10_000)
    return max(0, grams), off


def contents(book: Book, shop: str, line: str) -> Callable[[int], int]:
    """The most a hose of *line* takes when a tote is hooked up to it, in grams, by the limits at that time."""
    found: dict[int, int] = {}

    def at_time(at: int) -> int:
        if at not in found:
            names = ("hose_content_low", "hose_content_high")
            found[at] = max(queries.limit(book, shop, name, at, line) for name in names)
        return found[at]

    return at_time


def now_on(book: Book, shop: str, line: str, side: str, at: int) -> Span | None:
    """The span on *side* of *line* that *at* lies in, as if it ended then."""
    key: Key = (at, 1, 2**53, 0)
    began = anchor_before(book, line, side, key)
    if began is None:
        return None
    acts = [act for act in acts_of(book, line, began) if key_of(act) < key]
    found = on_line(book, line, began, bands=Bands(book, shop), content=contents(book, shop, line), acts=acts)
    return next((span for span in reversed(found) if span.side == side and span.ended is None), None)


def given_too_much(book: Book, shop: str, line: str, at: int, draws: list[dict[str, Any]]) -> list[Span]:
    """The totes on *line* that gave more than they held, once *draws* (a fill that is being finished) are taken from them."""
    bands, found = Bands(book, shop), []
    for side in SIDES:
        span = now_on(book, shop, line, side, at)
        if span is not None:
            grams = [(draw[f"{side.lower()}_g"], bands.of(draw["basis"], at)) for draw in draws]
            span = replace(
                span,
                drawn_g=span.drawn_g + sum(g for g, _ in grams),
                slack_g=span.slack_g + sum(-(-g * band // 10_000) for g, band in grams),
            )
            if span.over:
                found.append(span)
    return found


def _key(since: int | None) -> Key:
    return FIRST if since is None else (since, 0, 0, 0)


# -- for a page ----------------------------------------------------------------------------------------------------------------
def table(book: Book, shop: str, line: str, since: int | None = None) -> list[dict[str, Any]]:
    """The spans of *line* that end after *since* (seconds of UTC; all, if not said) or are still on, oldest first, in plain values for a page: grams, seconds of UTC, the factor as a fraction."""
    bands = Bands(book, shop)
    rows = []
    for span in on_line(book, line, _key(since), bands=bands, content=contents(book, shop, line)):
        factor = span.factor_e4
        rows.append(
            {
                "line": queries.name_of(book, line), "side": span.side, "tote": ids.pretty(span.item),
                "from": span.began[0], "until": span.ended[0] if span.ended else None, "how": span.how,
                "held_g": span.held_g, "left_g": span.left_g, "drawn_g": span.drawn_g, "may_be_off_g": span.slack_g + span.held_off_g,
                "factor": None if factor is None else factor / 10_000, "flagged": span.flagged or span.over, "over": span.over,
            }
        )  # fmt: skip
    return rows


def regrind_shares(book: Book, shop: str, line: str, since: int | None = None) -> list[dict[str, Any]]:
    """The true share of regrind between two anchors of the hopper (weighed, or emptied clean), beside the panel's.

    One row per pair of anchors: grams drawn in all, regrind by the panel, regrind by the account (at the first anchor, plus
    loaded, less at the second), both as a share of the fills between. The account's takes the liquid as it was read.
    """
    rows: list[dict[str, Any]] = []
    began: tuple[int, int] | None = None  # (at, grams held)
    sums: dict[str, int] = defaultdict(int)
    for act in acts_of(book, line, _key(since)):
        if act.what == "draw":
            sums["liquid"] += act.a_g + act.b_g
            sums["panel"] += act.r_g
        elif act.what == "load":
            sums["loaded"] += act.grams
        elif act.stream == "R" and act.what in ("weigh", "clean"):
            held = act.grams if act.what == "weigh" else 0
            if began is not None and sums["panel"] + sums["loaded"]:
                true = began[1] + sums["loaded"] - (held if act.what == "weigh" else 0)
                if act.what == "weigh":  # what a cleaning took out was not weighed
                    rows.append(_shares(began[0], act.at, sums, true))
            began, sums = (act.at, held), defaultdict(int)
    return rows


def _shares(start: int, end: int, sums: dict[str, int], true: int) -> dict[str, Any]:
    whole, read = sums["liquid"] + true, sums["liquid"] + sums["panel"]
    return {
        "from": start, "until": end, "liquid_g": sums["liquid"], "loaded_g": sums["loaded"],
        "panel_g": sums["panel"], "account_g": true, "panel_share": sums["panel"] / read if read else 0.0,
        "account_share": true / whole if whole > 0 else 0.0,
    }  # fmt: skip


def own_band(book: Book, line: str, side: str) -> int | None:
    """The band that the line's own weighings give its pump now, in ten-thousandths; None while there are too few."""
    text = book.value(
        "SELECT state FROM line_state WHERE line = ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line,
    )
    return json.loads(text).get("own", {}).get(side) if text else None
