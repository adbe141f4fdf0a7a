"""The anchors of a line: which tote was on, what it held, what was drawn from it, and when it ran dry or was weighed.

Everything here comes from facts, so a line can be walked again from any act. See :mod:`fillbook.trace.core.spans`.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
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
AT_ONCE = 500  # items that one query takes


class Bands:
    """By how many ten-thousandths a weight of a basis may be off, by the limit in force at its time; and the other limits of *line*."""

    def __init__(self, book: Book, shop: str, line: str = "") -> None:
        self.said: dict[str, list[tuple[int, int]]] = {}
        # what was set for the line counts before what was set for the shop, as in queries.limit
        for name, from_at, value in book.tuples(
            "SELECT name, from_at, value FROM limit_set WHERE shop = ? AND scope IN ('', ?) ORDER BY scope, from_at, seq",
            shop, line,
        ):  # fmt: skip
            self.said.setdefault(name, []).append((from_at, value))

    def limit(self, name: str, at: int) -> int:
        for from_at, value in reversed(self.said.get(name, ())):
            if from_at <= at:
                return value
        return limits.limit(name).default

    def of(self, basis: str, at: int) -> int:
        return self.limit(limits.band_of(basis), at)


def acts_of(book: Book, line: str, since: Key, until: Key | None = None) -> list[Row]:
    """What happened on *line* from *since* on, up to and with *until* where that is said, in its order; weighings among it."""
    to, within = ((), "") if until is None else (until, f" AND {KEY} <= (?, ?, ?, ?)")
    acts = book.rows(
        f"SELECT * FROM line_act WHERE line = ? AND {KEY} >= (?, ?, ?, ?){within} ORDER BY at, rank, seq, n",
        line,
        *since,
        *to,
    )
    weighings = book.rows(
        "SELECT line, stream, item, at, rank, seq, 0 AS n, 'weigh' AS what, grams, basis, 0 AS ran_dry FROM weighing "
        f"WHERE line = ? AND (at, rank, seq, 0) >= (?, ?, ?, ?){within.replace('seq, n', 'seq, 0')}",
        line, *since, *to,
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
    return [
        span
        for span in _between(book, line, acts, bands, content)
        if span.ended is None or span.ended >= since
    ]


def _between(
    book: Book,
    line: str,
    acts: list[Row],
    bands: Bands,
    content: Callable[[int], int],
    wanted: Callable[[Key, str], bool] = lambda began, side: True,
) -> list[Span]:
    """The spans that begin with one of *acts*, in order; of these only those that are *wanted*, by when they began and their side."""
    found: list[tuple[Any, ...]] = []
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
            if begin is not None and wanted(key_of(begin), side):
                found.append((side, begin, act, drawn, slack, draws, by_pump))
            begin = None if act.what == "off" else act
            drawn = slack = draws = by_pump = 0
        if begin is not None and wanted(key_of(begin), side):
            found.append((side, begin, None, drawn, slack, draws, by_pump))
    before = _Before(book, {begin["item"] for _, begin, *_ in found})
    spans = [_span(line, before, bands, content, *one) for one in found]
    return sorted(spans, key=lambda s: (s.began, s.side))


def _span(
    line: str, before: _Before, bands: Bands, content: Callable[[int], int], side: str, begin: Row, end: Row | None, drawn: int,
    slack: int, draws: int, by_pump: int,
) -> Span:  # fmt: skip
    if end is None:
        how, left = STILL_ON, None
    elif end.what == "weigh":
        how, left = WEIGHED, end.grams
    elif end.ran_dry:
        how, left = (RAN_DRY if end.what == "hook" else EMPTY), 0
    else:
        how, left = CHANGED, None
    held, off = before.held(begin, key_of(end) if end is not None else FOREVER, bands)
    if left and end is not None:
        off += -(-left * bands.of(end.basis, end.at) // 10_000)
    return Span(
        line, side, begin["item"], key_of(begin), key_of(end) if end is not None else None, how, held, off, left, drawn, slack,
        draws, by_pump * 10 >= drawn * 9, content(begin.at),
    )  # fmt: skip


class _Before:
    """What is known of the weight of some totes, read for all of them together."""

    def __init__(self, book: Book, items: Collection[str]) -> None:
        self.book = book
        self.totes: dict[str, Row] = {}
        self.weighings: dict[str, list[Row]] = defaultdict(list)
        self.hooks: dict[str, list[Row]] = defaultdict(list)
        self.poured: dict[str, list[tuple[int, int]]] = defaultdict(list)
        every = sorted(items)
        for start in range(0, len(every), AT_ONCE):
            part = every[start : start + AT_ONCE]
            marks = ", ".join("?" * len(part))
            for row in book.rows(
                f"SELECT item, net_g, basis, received_at FROM tote WHERE item IN ({marks})", *part
            ):
                self.totes[row["item"]] = row
            for row in book.rows(
                f"SELECT item, at, rank, seq, 0 AS n, grams, basis FROM weighing WHERE item IN ({marks}) ORDER BY at, seq",
                *part,
            ):
                self.weighings[row["item"]].append(row)
            for row in book.rows(
                f"SELECT item, line, stream, at, rank, seq, n FROM line_act WHERE item IN ({marks}) AND what = 'hook'",
                *part,
            ):
                self.hooks[row["item"]].append(row)
            for item, grams, at in book.tuples(
                f"SELECT g.source, g.grams, b.made_at FROM ingredient g JOIN batch b ON b.item = g.batch WHERE g.source IN ({marks})",
                *part,
            ):
                self.poured[item].append((grams, at))

    def held(self, begin: Row, end: Key, bands: Bands) -> tuple[int, int]:
        """What the tote of a span held when it began, and by how much that may be off: its last weight, less what went elsewhere."""
        item, began = begin["item"], key_of(begin)
        tote = self.totes.get(item)
        if weights := [row for row in self.weighings.get(item, ()) if key_of(row) <= began]:
            grams, basis, at, since = (
                weights[-1].grams,
                weights[-1].basis,
                weights[-1].at,
                key_of(weights[-1]),
            )
        elif tote is not None:
            grams, basis, at, since = tote.net_g, tote.basis, tote.received_at, FIRST
        else:
            return 0, 0
        off = -(-grams * bands.of(basis, at) // 10_000)
        for other in self.hooks.get(item, ()):
            if key_of(other) == began or (other.line == begin.line and key_of(other) > began):
                continue
            until = self.book.one(
                f"SELECT at, rank, seq, n FROM line_act WHERE line = ? AND stream = ? AND what IN ('hook', 'off') AND {KEY} > (?, ?, ?, ?) "
                "ORDER BY at, rank, seq, n LIMIT 1",
                other.line, other.stream, *key_of(other),
            )  # fmt: skip
            to = min(end if other.line != begin.line else began, key_of(until) if until else FOREVER)
            column = "a_g" if other.stream == "A" else "b_g"
            for drawn_by, at, drawn in self.book.tuples(
                f"SELECT basis, max(at), sum({column}) FROM line_act WHERE line = ? AND what = 'draw' AND {KEY} > (?, ?, ?, ?) "
                f"AND {KEY} < (?, ?, ?, ?) GROUP BY basis",
                other.line, *max(key_of(other), since), *to,
            ):  # fmt: skip
                grams -= drawn
                off += -(-drawn * bands.of(drawn_by, at) // 10_000)
        for poured, at in self.poured.get(item, ()):
            if since[0] <= at < end[0]:
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
    found = on_line(book, line, _key(since), bands=bands, content=contents(book, shop, line))
    return _plain(book, line, found)


def page(
    book: Book, shop: str, line: str, *, since: int | None = None, before: Key | None = None, most: int = 40
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], Key | None]:
    """The newest spans of *line*, at most *most*, as :func:`table` gives them but newest first; the shares of regrind of the same
    time, as :func:`regrind_shares` gives them; and the *before* of the next page, None where this is the last.

    *before*: only what began before it. Only what lies in the page's time is read, however long the line has been there.
    """
    begins = [
        key
        for what in ("hook", "weigh")
        for key in _latest(book, line, what, SIDES, before or FOREVER, most + 1)
    ]
    begins.sort(reverse=True)
    first, key = FIRST, _key(since)
    if since is not None:
        began = [anchor_before(book, line, side, key) for side in SIDES]
        first = min((one for one in began if one), default=key)
    more = len(begins) > most and begins[most - 1] > first
    low = begins[most - 1] if more else first
    ends = [_next_anchor(book, line, side, before) for side in SIDES] if before else [None]
    acts = acts_of(book, line, low, None if None in ends else max(ends))  # type: ignore[type-var]
    bands, content = Bands(book, shop), contents(book, shop, line)
    mine = _between(book, line, acts, bands, content, lambda began, side: before is None or began < before)
    mine = [span for span in mine if span.ended is None or span.ended >= key]
    shares = _shares_between(book, line, max(low if more else FIRST, key), before, key)
    return _plain(book, line, mine)[::-1], shares[::-1], low if more else None


def _latest(book: Book, line: str, what: str, streams: Sequence[str], before: Key, most: int) -> list[Key]:
    """When *what* was done on *streams* of *line*, the last before *before* first."""
    marks = ", ".join("?" * len(streams))
    if what == "weigh":
        rows = book.tuples(
            f"SELECT at, rank, seq, 0 FROM weighing WHERE line = ? AND stream IN ({marks}) AND (at, rank, seq, 0) < (?, ?, ?, ?) "
            "ORDER BY at DESC, rank DESC, seq DESC LIMIT ?",
            line, *streams, *before, most,
        )  # fmt: skip
    else:
        rows = book.tuples(
            f"SELECT at, rank, seq, n FROM line_act WHERE line = ? AND what = ? AND what <> 'draw' AND stream IN ({marks}) "
            f"AND {KEY} < (?, ?, ?, ?) ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT ?",
            line, what, *streams, *before, most,
        )  # fmt: skip
    return [(at, rank, seq, n) for at, rank, seq, n in rows]


def _next_anchor(book: Book, line: str, side: str, key: Key) -> Key | None:
    """The hooking up, taking off or weighing on *side* that came first at or after *key*; None where there is none."""
    found = [
        row
        for what in ("hook", "off")
        for row in book.rows(
            f"SELECT at, rank, seq, n FROM line_act WHERE line = ? AND what = ? AND what <> 'draw' AND stream = ? AND {KEY} >= (?, ?, ?, ?) "
            "ORDER BY at, rank, seq, n LIMIT 1",
            line, what, side, *key,
        )
    ]  # fmt: skip
    found += book.rows(
        "SELECT at, rank, seq, 0 AS n FROM weighing WHERE line = ? AND stream = ? AND (at, rank, seq, 0) >= (?, ?, ?, ?) "
        "ORDER BY at, rank, seq LIMIT 1",
        line, side, *key,
    )  # fmt: skip
    return min((key_of(row) for row in found), default=None)


def of_totes(book: Book, shop: str, line: str, items: Collection[str]) -> list[dict[str, Any]]:
    """The spans of *line* in which one of *items* (compact IDs) was on, as :func:`table` gives them."""
    marks = ", ".join("?" * len(items))
    begins = book.rows(
        f"SELECT stream, at, rank, seq, n FROM line_act WHERE item IN ({marks}) AND line = ? AND what = 'hook' UNION ALL "
        f"SELECT stream, at, rank, seq, 0 AS n FROM weighing WHERE item IN ({marks}) AND line = ?",
        *items, line, *items, line,
    )  # fmt: skip
    bands, content = Bands(book, shop), contents(book, shop, line)
    found: list[Span] = []
    for begin in begins:
        key, stream = key_of(begin), begin.stream
        end = _next_anchor(book, line, stream, (*key[:3], key[3] + 1))
        acts = acts_of(book, line, key, end)
        found += _between(
            book, line, acts, bands, content,
            lambda began, side, key=key, stream=stream: began == key and side == stream,  # type: ignore[misc]
        )  # fmt: skip
    return _plain(book, line, sorted(found, key=lambda s: (s.began, s.side)))


def _plain(book: Book, line: str, spans: list[Span]) -> list[dict[str, Any]]:
    name, rows = queries.name_of(book, line), []
    for span in spans:
        factor = span.factor_e4
        rows.append(
            {
                "line": name, "side": span.side, "tote": ids.pretty(span.item),
                "from": span.began[0], "until": span.ended[0] if span.ended else None, "how": span.how,
                "held_g": span.held_g, "left_g": span.left_g, "drawn_g": span.drawn_g, "may_be_off_g": span.slack_g + span.held_off_g,
                "factor": None if factor is None else factor / 10_000, "flagged": span.flagged or span.over, "over": span.over,
            }
        )  # fmt: skip
    return rows


def _shares_between(book: Book, line: str, low: Key, before: Key | None, since: Key) -> list[dict[str, Any]]:
    """The shares of regrind whose second anchor lies from *low* on and before *before*, and whose first from *since* on."""
    ends = _hopper_anchors(book, line, low, before or FOREVER)
    if not ends:
        return []
    first = [
        key
        for what in ("weigh", "clean")
        for key in _latest(book, line, what, ("R",), ends[0], 1)
        if key >= since
    ]
    return _shares_of(acts_of(book, line, max(first, default=ends[0]), ends[-1]))


def _hopper_anchors(book: Book, line: str, low: Key, before: Key) -> list[Key]:
    rows = book.tuples(
        f"SELECT at, rank, seq, n FROM line_act WHERE line = ? AND what = 'clean' AND what <> 'draw' AND stream = 'R' "
        f"AND {KEY} >= (?, ?, ?, ?) AND {KEY} < (?, ?, ?, ?)",
        line, *low, *before,
    )  # fmt: skip
    rows += book.tuples(
        "SELECT at, rank, seq, 0 FROM weighing WHERE line = ? AND stream = 'R' AND (at, rank, seq, 0) >= (?, ?, ?, ?) "
        "AND (at, rank, seq, 0) < (?, ?, ?, ?)",
        line, *low, *before,
    )  # fmt: skip
    return sorted((at, rank, seq, n) for at, rank, seq, n in rows)


def regrind_shares(book: Book, shop: str, line: str, since: int | None = None) -> list[dict[str, Any]]:
    """The true share of regrind between two anchors of the hopper (weighed, or emptied clean), beside the panel's.

    One row per pair of anchors: grams drawn in all, regrind by the panel, regrind by the account (at the first anchor, plus
    loaded, less at the second), both as a share of the fills between. The account's takes the liquid as it was read.
    """
    return _shares_of(acts_of(book, line, _key(since)))


def _shares_of(acts: list[Row]) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    began: tuple[int, int] | None = None  # (at, grams held)
    sums: dict[str, int] = defaultdict(int)
    for act in acts:
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
