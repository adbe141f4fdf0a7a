"""Which tote, batch or bin is in a draw, and between which bounds.

Between what is hooked up and the gun lies a vessel, a hose or a hopper, that still holds what went in before. A stream is one
such vessel with what entered it and when, counted in its own running total: the grams drawn from it so far. What comes out of a
source in a draw follows from the vessel's curves (see vessels.py):

    grams since a change-over = Φ(b − c0) − Φ(a − c0)      for a draw from running total a to b, the source entering at c0
    grams of one source       = since its change-over − since the next one

so that the sources of a draw add up to the draw. *best* takes the likely curve and the middle content; *least* and *most* hold
for every curve of the vessel's family and any content between its lowest and highest, another at each change-over.

A hopper is filled by loads, so its level is not steady: what has gone in runs ahead of or behind what has come out by at most
what the level can change. In bounds a change-over therefore counts up to the grams poured since (at most the highest content)
earlier, and up to the height of the level band later.

Weights are never exact: each draw has a band by its basis (scale, pump total, chart ...). What was drawn before what is certain,
how many kilograms lay between is not. So each stream sums the bands of its draws, and what flowed since a change-over is known to
within the bands since then: the sum starts anew at each change-over, and only the draws near one get wider. A draw's own grams
stay as they were written; its shares are fractions of them, whatever it truly weighed.

Everything is a plain frozen value; each act gives a new stream. Grams are whole, times seconds of UTC since 1970.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, NamedTuple

from fillbook.trace.core import vessels
from fillbook.trace.core.errors import Nonsense

UNKNOWN = ""  # the parent of material of unknown origin
NOISE_G = 1e-6  # a microgram: far above the noise of the sums, far below anything weighed


def _whole(value: Any, what: str, least: int = 0) -> None:
    if type(value) is not int:
        raise Nonsense(f"{what} is {value!r}; it must be a whole number.", expected="a whole number")
    if value < least:
        raise Nonsense(f"{what} is {value}; it cannot be below {least}.", expected=f"{least} or more")


@dataclass(frozen=True)
class Vessel:
    """A hose or hopper: grams it holds, at least and at most, and after how many contents it counts as clean."""

    kind: str
    lo_g: int
    hi_g: int
    after_contents: int = 5

    def __post_init__(self) -> None:
        if self.kind not in vessels.KINDS:
            raise Nonsense(f"A vessel is a hose or a hopper, not {self.kind!r}.", expected="hose or hopper")
        _whole(self.lo_g, "The least a vessel holds (grams)")
        _whole(self.hi_g, "The most a vessel holds (grams)")
        _whole(self.after_contents, "The number of contents after which a vessel is clean", 1)
        if self.lo_g > self.hi_g:
            raise Nonsense(
                f"The {self.kind} cannot hold at least {self.lo_g} g and at most {self.hi_g} g: "
                "give the smaller weight as the least."
            )


@dataclass(frozen=True)
class Source:
    """One change-over: from here on *parent* went into the vessel.

    ``c0`` is the stream's running total (grams) at which it began to enter, most likely; it was between ``c0_lo`` and ``c0_hi``.
    ``lo_g`` and ``hi_g`` bound what the vessel held just then (0 and 0: it was empty or flushed). ``how_full``: quarters of
    the fill done when it was changed inside one. ``poured_g``: grams poured into a hopper since, up to the next change-over.
    ``nothing_since``: when what was on before was taken off, if nothing was on in between. ``likely_g``: what it most likely
    held, where that is not the middle. ``slack_g``: the stream's summed bands when it entered.
    ``lasts_g``: where more was drawn than it held, what it held; something unknown went in as well, from anywhere since it entered
    but most likely once it was used up.
    """

    parent: str
    at: int
    c0_lo: int
    c0: int
    c0_hi: int
    lo_g: int
    hi_g: int
    how_full: int | None = None
    poured_g: int = 0
    nothing_since: int | None = None
    likely_g: int | None = None
    slack_g: int = 0
    lasts_g: int | None = None

    def best_g(self) -> float:
        """What the vessel most likely held at this change-over, in grams."""
        return (self.lo_g + self.hi_g) / 2 if self.likely_g is None else self.likely_g


@dataclass(frozen=True)
class Stream:
    """A vessel, what went into it, and how much has come out (``total_g``).

    ``before`` is the parent of all that went in before the first of ``sources``; ``connected`` what is hooked up now.
    ``off_ratio_left_g``: grams still to come through after running dry until draws are trusted again. ``level_g``: what a hopper
    holds while it is being filled again after it was emptied, -1 when it works in its usual band. ``slack_g``: the bands of all
    draws so far, summed; ``level_slack_g``: those of what was poured and drawn since a hopper was emptied.
    """

    vessel: Vessel
    total_g: int = 0
    sources: tuple[Source, ...] = ()
    connected: str = UNKNOWN
    before: str = UNKNOWN
    off_ratio_left_g: int = 0
    level_g: int = -1
    slack_g: int = 0
    level_slack_g: int = 0


@dataclass(frozen=True)
class Share:
    """What a draw (or a vessel) holds of one parent, in whole grams: 0 ≤ least ≤ best ≤ most ≤ the whole."""

    parent: str
    least_g: int
    best_g: int
    most_g: int


class Amount(NamedTuple):
    """What a draw holds of a set of parents, in whole grams."""

    least_g: int
    best_g: int
    most_g: int


# ---- what happens to a stream -------------------------------------------------------------------------------------------------


def overdrawn(stream: Stream) -> tuple[int, int] | None:
    """Where more was drawn from what feeds *stream* than it held: grams drawn since it entered, and grams it held; else None."""
    last = stream.sources[-1] if stream.sources else None
    if last is None or last.lasts_g is None or last.parent != stream.connected:
        return None
    drawn = stream.total_g - last.c0
    return (drawn, last.lasts_g) if drawn > last.lasts_g else None


def hook_up(
    stream: Stream,
    parent: str,
    at: int,
    *,
    ran_dry: bool = False,
    how_full: int | None = None,
    lasts_g: int | None = None,
) -> Stream:
    """*parent* (a tote, or a bin that feeds the hopper) was hooked up at *at* and enters from here on.

    *ran_dry*: the one before ran dry, so the vessel may have held nothing and the next draws may be off-ratio.
    *how_full*: 1, 2 or 3 quarters of the running fill were done. *lasts_g*: it is known that more was drawn than it held, which was
    so much. Raises Nonsense for another value or a time out of order.
    """
    if how_full is not None and (type(how_full) is not int or how_full not in (1, 2, 3)):
        raise Nonsense(
            f"How full the tire was is given in quarters, 1, 2 or 3, not {how_full!r}.", field="how_full"
        )
    vessel = stream.vessel
    hopper = vessel.kind == vessels.HOPPER
    entering = Source(
        parent,
        at,
        *(stream.total_g,) * 3,
        lo_g=0 if ran_dry else vessel.lo_g,
        hi_g=vessel.hi_g,
        how_full=how_full,
        poured_g=vessel.hi_g if hopper else 0,  # unweighed: as much as the hopper can take
        lasts_g=lasts_g,
    )
    after = replace(_entered(stream, entering, merge=not ran_dry), connected=parent, level_g=-1)
    return replace(after, off_ratio_left_g=max(1, vessel.hi_g)) if ran_dry else after


def load(
    stream: Stream,
    parent: str,
    at: int,
    grams: int,
    *,
    band_e4: int = 0,
    lasts_g: int | None = None,
    held_g: int = 0,
) -> Stream:
    """*grams* of *parent* were poured into the hopper at once at *at*; by its basis the weight may be *band_e4* ten-thousandths off.

    What feeds the hopper besides goes on feeding it afterwards. *lasts_g*: it is known that another load went in that is not in
    the book, and most likely after so many grams more. *held_g*: the hopper held at least that before, by what went in and out. Raises Nonsense for a hose, or less than one gram.
    """
    vessel = stream.vessel
    if vessel.kind != vessels.HOPPER:
        raise Nonsense(f"A {vessel.kind} cannot be loaded; hook the tote up instead.")
    _whole(grams, "The weight of a load (grams)", 1)
    level, fed_by = stream.level_g, stream.connected
    poured_g = grams + slack(grams, band_e4)
    lo_g = vessel.lo_g if level < 0 else 0
    # A load that does not fit in the band shows that the hopper takes more than was said.
    hi_g = max(vessel.hi_g, max(lo_g, held_g, level + stream.level_slack_g) + poured_g)
    stream = replace(
        stream, sources=tuple(replace(s, hi_g=max(s.hi_g, hi_g)) if s.hi_g else s for s in stream.sources)
    )
    entering = Source(
        parent, at, *(stream.total_g,) * 3, lo_g=lo_g, hi_g=hi_g, poured_g=poured_g, lasts_g=lasts_g
    )
    stream = _entered(stream, entering, merge=True)
    if level >= 0:
        off = stream.level_slack_g + poured_g - grams
        stream = replace(stream, level_g=level + grams, level_slack_g=off)
    if fed_by != UNKNOWN and fed_by != parent:
        c0 = stream.total_g
        again = Source(
            fed_by, at, c0, c0 + grams, c0 + poured_g, lo_g=lo_g, hi_g=hi_g, poured_g=vessel.hi_g,
            slack_g=stream.slack_g,
        )  # fmt: skip
        stream = replace(stream, sources=(*stream.sources, again))
    return stream


def weighed(stream: Stream, at: int, lasts_g: int) -> Stream:
    """What is hooked up was weighed at *at*, and from then on more was drawn than the *lasts_g* grams it still held."""
    if stream.connected == UNKNOWN:
        return stream
    vessel = stream.vessel
    again = Source(
        stream.connected, at, *(stream.total_g,) * 3, lo_g=vessel.lo_g, hi_g=vessel.hi_g, lasts_g=lasts_g
    )
    return _entered(stream, again, merge=True)


def restart(stream: Stream, at: int) -> Stream:
    """The vessel was emptied clean or flushed at *at*: nothing of before remains, and what is hooked up fills it anew.

    With nothing hooked up it is empty until the next hook-up or load.
    """
    now, lasts_g = stream.total_g, None
    if stream.connected != UNKNOWN and stream.sources and stream.sources[-1].parent == stream.connected:
        latest = stream.sources[-1]  # what is hooked up is no fuller for the cleaning
        lasts_g = None if latest.lasts_g is None else max(0, latest.c0 + latest.lasts_g - now)
    entering = Source(stream.connected, at, now, now, now, lo_g=0, hi_g=0, lasts_g=lasts_g)
    empty = stream.vessel.kind == vessels.HOPPER and stream.connected == UNKNOWN
    stream = _entered(stream, entering, merge=False)
    return replace(stream, off_ratio_left_g=0, level_g=0 if empty else -1, level_slack_g=0)


def disconnect(stream: Stream, at: int) -> Stream:
    """What was hooked up was taken off at *at*. What is drawn before anything else is hooked up is of unknown origin."""
    if stream.connected == UNKNOWN:
        return stream
    vessel = stream.vessel
    nothing = Source(UNKNOWN, at, *(stream.total_g,) * 3, lo_g=vessel.lo_g, hi_g=vessel.hi_g)
    return replace(_entered(stream, nothing, merge=False), connected=UNKNOWN)


def settle(stream: Stream, grams: int, started_at: int) -> Stream:
    """Place the change-overs that happened inside an act of *grams* begun at *started_at*. Call once, before its draws.

    A change-over after *started_at* lies anywhere in the act, or within an eighth of it around the quarter that was noted.
    Several keep their order. While nothing was hooked up inside the act, something unknown may have flowed; most likely
    nothing did. A tote that was taken off before anything flowed is forgotten. Raises Nonsense for negative grams.
    """
    _whole(grams, "The weight of a fill (grams)")
    a, b = stream.total_g, stream.total_g + grams
    during = [s.at > started_at and s.c0_lo >= a for s in stream.sources]
    first_inside = during.index(True) if True in during else len(during)
    placed = list(stream.sources[:first_inside])
    if stream.vessel.kind == vessels.HOSE:
        placed = _without_those_that_never_flowed(placed)
    inside = list(stream.sources[first_inside:])
    taken_off = inside.pop() if inside and inside[-1].parent == UNKNOWN else None
    low = a
    for s in _placed(inside, a, grams):
        if s.nothing_since is not None and s.nothing_since < s.at:
            s, nothing_on = _with_nothing_on_before(
                s, stream.vessel, low, a if s.nothing_since <= started_at else None
            )
            placed.append(nothing_on)
        placed.append(s)
        low = s.c0_lo
    if taken_off:
        placed.append(replace(taken_off, c0_lo=low, c0=b, c0_hi=b))
    off_ratio_left_g = stream.off_ratio_left_g
    if off_ratio_left_g and any(s.lo_g == 0 for s in inside):
        off_ratio_left_g += grams
    return replace(stream, sources=tuple(placed), off_ratio_left_g=off_ratio_left_g)


def draw(
    stream: Stream, grams: int, *, band_e4: int = 0, more_g: int = 0
) -> tuple[Stream, tuple[Share, ...]]:
    """Draw *grams*: the stream after it, and what each parent gave.

    *band_e4*: by how many ten-thousandths the weight may be off, by its basis; *more_g*: how much more may have flowed besides. They
    widen what later draws (and this one, after a change-over) hold of what, never the draw itself. The best grams add up to *grams*. A parent that entered more than once is one share, by the rule for sets. Parents that can
    have given nothing are left out. Raises Nonsense for negative grams.
    """
    _whole(grams, "The weight of a draw (grams)")
    if not grams:
        return stream, ()
    a, b = stream.total_g, stream.total_g + grams
    off = slack(grams, band_e4)
    whole = _with_what_is_not_in_the_book(stream)
    since = _since_each(whole, a, b, off, more_g)
    parts = [
        (
            parent,
            max(0.0, this.least - following.most),
            this.best - following.best,
            this.most - following.least,
        )
        for parent, this, following in zip(
            (whole.before, *(s.parent for s in whole.sources)), since, [*since[1:], _NONE], strict=True
        )
    ]
    level = max(0, stream.level_g - grams) if stream.level_g >= 0 else -1
    if 2 * level >= stream.vessel.lo_g + stream.vessel.hi_g:
        level = -1  # back in its usual band
    after = replace(
        stream, total_g=b, off_ratio_left_g=max(0, stream.off_ratio_left_g - grams), level_g=level,
        slack_g=stream.slack_g + off + more_g, level_slack_g=stream.level_slack_g + off + more_g if level >= 0 else 0,
    )  # fmt: skip
    return _without_those_all_gone(after), whole_shares(parts, grams)


def slack(grams: int, band_e4: int) -> int:
    """By how many grams *grams* may be off, rounded up; never all of it.

    >>> slack(148_000, 300)
    4440
    """
    return -(-grams * min(max(0, band_e4), 9_000) // 10_000)


def possibly_off_ratio(stream: Stream) -> bool:
    """Whether a draw from here on may be off-ratio, because a side ran dry and air may still come through."""
    return stream.off_ratio_left_g > 0


# ---- sums of shares -----------------------------------------------------------------------------------------------------------


def set_bounds(shares: Iterable[Share], members: Collection[str]) -> Amount:
    """What one draw holds of a set of parents together; *shares* are all shares of that draw, each parent once.

    least = the larger of the members' leasts and what the others cannot have given; most likewise. This is tighter than
    adding the members' mosts, and the right amount to judge a lot in several totes by.
    """
    everything = list(shares)
    inside = [s for s in everything if s.parent in members]
    outside = [s for s in everything if s.parent not in members]
    whole = sum(s.best_g for s in everything)
    return Amount(
        max(sum(s.least_g for s in inside), whole - sum(s.most_g for s in outside)),
        sum(s.best_g for s in inside),
        min(sum(s.most_g for s in inside), whole - sum(s.least_g for s in outside)),
    )


def split(grams: int, mix: int, ratio_a: int, ratio_b: int) -> tuple[int, int, int]:
    """Grams of side A, side B and regrind in *grams* of a fill; they add up to it.

    *mix* is the part of regrind in ten-thousandths, *ratio_a* to *ratio_b* the parts by weight of the liquid. What rounding
    leaves over goes to the largest remainders. Raises Nonsense for a mix above 10 000 or a ratio without a part of both.
    """
    _whole(grams, "The weight of a draw (grams)")
    _whole(mix, "The regrind in the mix (ten-thousandths)")
    _whole(ratio_a, "Side A's part of the ratio", 1)
    _whole(ratio_b, "Side B's part of the ratio", 1)
    if mix > 10_000:
        raise Nonsense(
            f"The regrind in the mix is {mix} ten-thousandths; it cannot be more than all of it, 10000."
        )
    parts = ratio_a + ratio_b
    wanted = (grams * (10_000 - mix) * ratio_a, grams * (10_000 - mix) * ratio_b, grams * mix * parts)
    unit = 10_000 * parts
    given = [want // unit for want in wanted]
    hand_out(given, [want % unit for want in wanted], grams)
    return given[0], given[1], given[2]


def content(stream: Stream) -> tuple[Share, ...]:
    """What the vessel holds now of each parent, in grams, oldest first: what went in and has not left.

    The best grams add up to the middle content; an emptied hopper that is being filled again holds what was poured in less
    what was drawn. Bounds come from the vessel's curves and contents as for draws.
    """
    vessel, now = stream.vessel, stream.total_g
    kind, k = vessel.kind, vessel.after_contents
    if stream.sources and stream.connected == UNKNOWN:
        latest = stream.sources[-1]
        if latest.parent == UNKNOWN and latest.hi_g == 0 and latest.c0_lo == now:
            return ()  # emptied, and nothing has gone in since
    if stream.level_g >= 0:
        held = _Span(stream.level_g, stream.level_g, stream.level_g)
    else:
        held = _Span(vessel.lo_g, (vessel.lo_g + vessel.hi_g) / 2, vessel.hi_g)
    # Grams that went in before each change-over and are still there, the latest first: no more than before the next one, so
    # that what was lost when the vessel ran dry or was flushed is lost to all before.
    stream = _with_what_is_not_in_the_book(stream)
    older = [held]
    for number in reversed(range(len(stream.sources))):
        s, younger = stream.sources[number], older[-1]
        lead, lag = _lead_and_lag(stream, number)
        middle = s.best_g()
        off = stream.slack_g - s.slack_g
        u, early, late = max(0, now - s.c0), max(0, now - s.c0_lo + lead + off), now - s.c0_hi - lag - off
        best = 0.0 if u >= k * middle else middle - u + vessels.likely_left(kind, u, middle, k)
        if late < 0:
            most = held.most  # it may not have begun to enter
        else:  # the curve that mixes most leaves most behind
            most = 0.0 if late >= k * s.hi_g else s.hi_g - late + vessels.likely_left(kind, late, s.hi_g, k)
        older.append(
            _Span(
                min(younger.least, max(0.0, s.lo_g - early)),
                min(younger.best, best),
                min(younger.most, most),
            )
        )
    older = [_NONE, *reversed(older)]
    parts = [
        (
            parent,
            max(0.0, following.least - this.most),
            following.best - this.best,
            following.most - this.least,
        )
        for parent, this, following in zip(
            (stream.before, *(s.parent for s in stream.sources)), older, older[1:], strict=False
        )
    ]
    return whole_shares(parts, held)


# ---- keeping a stream ---------------------------------------------------------------------------------------------------------


def to_plain(stream: Stream) -> dict[str, Any]:
    """The stream as whole numbers and strings in dictionaries and lists, for a JSON column; see :func:`from_plain`."""
    plain: dict[str, Any] = {f.name: getattr(stream, f.name) for f in fields(Stream)}
    plain["vessel"] = _plain(stream.vessel)
    plain["sources"] = [_plain(s) for s in stream.sources]
    return plain


def from_plain(plain: dict[str, Any]) -> Stream:
    """The stream that :func:`to_plain` wrote. Raises Nonsense when something is missing or of the wrong kind."""
    try:
        rest = dict(plain)
        vessel = Vessel(**rest.pop("vessel"))
        sources = tuple(Source(**s) for s in rest.pop("sources"))
        stream = Stream(vessel=vessel, sources=sources, **rest)
    except (TypeError, KeyError, ValueError) as wrong:
        raise Nonsense(
            f"The stored state of a stream cannot be read ({wrong}); derive the line again."
        ) from None
    parts: tuple[Stream | Source, ...] = (stream, *stream.sources)
    for part in parts:
        for f in fields(part):
            value = getattr(part, f.name)
            if f.type == "str" and not isinstance(value, str):
                raise Nonsense(
                    f"The stored state of a stream has {value!r} as {f.name}; derive the line again."
                )
            if str(f.type).startswith("int") and not (
                type(value) is int or (value is None and "None" in str(f.type))
            ):
                raise Nonsense(
                    f"The stored state of a stream has {value!r} as {f.name}; derive the line again."
                )
    return stream


def _plain(part: Vessel | Source) -> dict[str, Any]:
    return {f.name: value for f in fields(part) if (value := getattr(part, f.name)) is not None}


# ---- inside -------------------------------------------------------------------------------------------------------------------


class _Span(NamedTuple):
    least: float
    best: float
    most: float


_NONE = _Span(0, 0, 0)
_NEVER = 10**15  # grams: more than any line will ever draw


def _entered(stream: Stream, entering: Source, *, merge: bool) -> Stream:
    """The stream with one more change-over, at the present running total."""
    now, sources = stream.total_g, stream.sources
    entering = replace(entering, slack_g=stream.slack_g)
    if not isinstance(entering.parent, str):
        raise Nonsense(f"What is hooked up is named by its ID, not by {entering.parent!r}.")
    if type(entering.at) is not int:
        raise Nonsense(f"The time of a change-over is {entering.at!r}; it must be whole seconds.")
    if sources and entering.at < sources[-1].at:
        raise Nonsense(
            f"A change-over at {entering.at} cannot follow one at {sources[-1].at} on the same line: "
            "give the acts of a line in the order of their times."
        )
    emptied = entering.hi_g == 0
    nothing_on = stream.connected == UNKNOWN and sources and sources[-1].parent == UNKNOWN
    if nothing_on and sources[-1].c0_lo == now and not emptied:
        # Nothing has flowed since: what comes now takes that place, in a vessel as empty or full as it was.
        gap, sources = sources[-1], sources[:-1]
        if gap.hi_g == 0:
            entering = replace(entering, lo_g=0, hi_g=0)
        since = gap.at if gap.nothing_since is None else gap.nothing_since
        entering = replace(entering, nothing_since=since)
    # Something that was expected to enter only later, after a load, has been overtaken.
    sources = tuple(
        replace(s, c0=min(s.c0, now), c0_hi=min(s.c0_hi, now)) if s.c0_hi > now else s for s in sources
    )
    latest = sources[-1].parent if sources else stream.before
    alike = entering.lasts_g is None and not (sources and sources[-1].lasts_g is not None)
    if merge and alike and entering.parent == latest and entering.nothing_since is None:
        if sources:
            more = replace(sources[-1], poured_g=sources[-1].poured_g + entering.poured_g)
            sources = (*sources[:-1], more)
        return replace(stream, sources=sources)
    return replace(stream, sources=(*sources, entering))


def _with_what_is_not_in_the_book(stream: Stream) -> Stream:
    """The stream with one more change-over after each source that gave more than it held: to unknown origin.

    Nobody noted it, so it lies anywhere between that source's and the next, and the vessel may have run empty.
    """
    if all(s.lasts_g is None for s in stream.sources):
        return stream
    found = []
    for s, following in zip(stream.sources, [*stream.sources[1:], None], strict=False):
        found.append(s)
        if s.lasts_g is not None:
            c0, c0_hi = s.c0 + s.lasts_g, _NEVER
            if following is not None:
                c0, c0_hi = min(c0, following.c0), following.c0_hi
            poured = stream.vessel.hi_g if stream.vessel.kind == vessels.HOPPER else 0
            found.append(
                Source(UNKNOWN, s.at, s.c0_lo, c0, c0_hi, lo_g=0, hi_g=max(s.hi_g, stream.vessel.hi_g), poured_g=poured,
                       slack_g=s.slack_g)
            )  # fmt: skip
    return replace(stream, sources=tuple(found))


def _without_those_that_never_flowed(sources: list[Source]) -> list[Source]:
    """Leave out a tote that was taken off again before anything flowed; not where the hose itself was empty."""
    return [
        s
        for s, following in zip(sources, [*sources[1:], None], strict=False)
        if following is None
        or not (s.lo_g and following.lo_g and s.c0_lo == s.c0_hi == following.c0_lo == following.c0_hi)
    ]


def _with_nothing_on_before(s: Source, vessel: Vessel, low: int, since: int | None) -> tuple[Source, Source]:
    """A change-over inside an act, and the one before it: from when nothing was hooked up (*since*, or unknown) until then."""
    nothing_on = Source(
        UNKNOWN,
        s.nothing_since if s.nothing_since is not None else s.at,
        c0_lo=low if since is None else since,
        c0=s.c0 if since is None else since,
        c0_hi=s.c0_hi if since is None else since,
        lo_g=s.lo_g,
        hi_g=s.hi_g,
        slack_g=s.slack_g,
    )
    if s.hi_g == 0:  # empty until then, or filled by what was unknown
        s = replace(s, lo_g=0, hi_g=vessel.hi_g, likely_g=0)
    if since is not None and s.how_full is None:
        s = replace(s, c0=since)
    return replace(s, nothing_since=None), nothing_on


def _placed(inside: Sequence[Source], a: int, grams: int) -> list[Source]:
    """Where in an act from running total *a* each change-over inside it lies: lowest, best, highest."""
    windows = []
    for s in inside:
        if s.how_full is None:
            windows.append((a, a + grams))
        else:
            eighth = 2 * s.how_full
            windows.append((a + grams * (eighth - 1) // 8, a - (-grams * (eighth + 1) // 8)))
    lows = [max(low for low, _ in windows[: n + 1]) for n in range(len(windows))]
    highs = [min(high for _, high in windows[n:]) for n in range(len(windows))]
    if any(low > high for low, high in zip(lows, highs, strict=True)):
        # The quarters noted contradict the order; nothing but the act itself is sure then.
        return _placed([replace(s, how_full=None) for s in inside], a, grams)
    bests: list[int] = []
    for n, s in enumerate(inside):
        if s.how_full is not None:
            best = a + grams * s.how_full // 4
        else:
            # Evenly between the last place that is known and the next.
            left = bests[-1] if bests else a
            known = [m for m in range(n, len(inside)) if inside[m].how_full is not None]
            if known:
                right, steps = a + grams * (inside[known[0]].how_full or 0) // 4, known[0] - n + 1
            else:
                right, steps = a + grams, len(inside) - n + 1
            best = left + (right - left) // steps
        bests.append(min(max(best, lows[n]), highs[n]))
    return [
        replace(s, c0_lo=low, c0=best, c0_hi=high)
        for s, low, best, high in zip(inside, lows, bests, highs, strict=True)
    ]


def _lead_and_lag(stream: Stream, number: int) -> tuple[int, int]:
    """By how many grams what enters a hopper may run ahead of what leaves it, and lag behind, since a change-over.

    With the level V between lo and hi, in − out = V now − V then: at most what was poured since, and at most hi; and at least
    −(hi − lo). A hose is always full, so it has neither.
    """
    s = stream.sources[number]
    if stream.vessel.kind == vessels.HOSE:
        return 0, 0
    poured = sum(later.poured_g for later in stream.sources[number:])
    return min(poured, s.hi_g), s.hi_g - s.lo_g


def _since_each(stream: Stream, a: int, b: int, off: int, more: int = 0) -> list[_Span]:
    """Of a draw from *a* to *b* that may be *off* grams off, and *more* above: the grams that went in since each change-over, the first for 'ever'.

    F rises with what has flowed, so its mean over the draw is highest where both ends lie as far on as the bands allow, and
    lowest where both lie as far back.
    """
    kind, k = stream.vessel.kind, stream.vessel.after_contents
    own = []
    for number, s in enumerate(stream.sources):
        lead, lag = _lead_and_lag(stream, number)
        middle = s.best_g()
        before = stream.slack_g - s.slack_g
        a_lo, a_hi = a - s.c0_hi - lag - before, a - s.c0_lo + lead + before
        b_lo, b_hi = a_lo + (b - a) - off, a_hi + (b - a) + off + more
        own.append(
            _Span(
                # Past the last step of a curve the draw is all new: say so in whole grams, without the noise of the sums.
                b - a
                if a_lo >= k * s.hi_g
                else (vessels.least_left(kind, b_lo, s.hi_g, k) - vessels.least_left(kind, a_lo, s.hi_g, k))
                * ((b - a) / (b_lo - a_lo)),
                b - a
                if a - s.c0 >= k * middle
                else vessels.likely_left(kind, b - s.c0, middle, k)
                - vessels.likely_left(kind, a - s.c0, middle, k),
                b - a
                if a_hi >= s.lo_g
                else (vessels.most_left(kind, b_hi, s.lo_g) - vessels.most_left(kind, a_hi, s.lo_g))
                * ((b - a) / (b_hi - a_hi)),
            )
        )
    # What went in since a change-over includes what went in since every later one. A later one at which the vessel may have
    # lost what it held (ran dry, flushed) lifts the most of the earlier ones by all it can have let through.
    ever = _Span(b - a, b - a, b - a)
    since: list[_Span] = []
    for number in reversed(range(len(own))):
        s, this = stream.sources[number], own[number]
        later = since[-1] if since else _NONE
        lost = max(
            (since[number - m].most for m in range(number + 1, len(own)) if stream.sources[m].lo_g < s.lo_g),
            default=0.0,
        )
        since.append(
            _Span(
                max(this.least, later.least),
                max(this.best, later.best),
                min(b - a, max(this.most + lost, later.most)),
            )
        )
    return [ever, *reversed(since)]


def _without_those_all_gone(stream: Stream) -> Stream:
    """Forget the change-overs whose 'before' can no longer come out."""
    k = stream.vessel.after_contents
    for number in reversed(range(len(stream.sources))):
        s = stream.sources[number]
        off = stream.slack_g - s.slack_g
        if stream.total_g - off >= s.c0_hi + _lead_and_lag(stream, number)[1] + k * s.hi_g:
            if s.lasts_g is None:
                return replace(stream, before=s.parent, sources=stream.sources[number + 1 :])
            before = stream.sources[number - 1].parent if number else stream.before
            return replace(stream, before=before, sources=stream.sources[number:])
    return stream


def whole_shares(parts: Sequence[tuple[str, float, float, float]], whole: _Span | int) -> tuple[Share, ...]:
    """Merge (parent, least, best, most) by parent and round: least down, most up, best so that it adds up to *whole*, grams."""
    if isinstance(whole, int):
        whole = _Span(whole, whole, whole)
    parents = list(dict.fromkeys(parent for parent, *_ in parts))
    merged = []
    for parent in parents:
        inside = [p for p in parts if p[0] == parent]
        outside = [p for p in parts if p[0] != parent]
        least = max(sum(p[1] for p in inside), whole.least - sum(p[3] for p in outside))
        most = min(sum(p[3] for p in inside), whole.most - sum(p[1] for p in outside))
        merged.append((least, sum(p[2] for p in inside), most))
    given = [max(0, math.floor(best)) for _, best, _ in merged]
    hand_out(given, [best - math.floor(best) for _, best, _ in merged], int(whole.best))
    leasts = [max(0, min(best_g, _down(least))) for (least, _, _), best_g in zip(merged, given, strict=True)]
    mosts = [max(best_g, _up(most)) for (_, _, most), best_g in zip(merged, given, strict=True)]
    if (
        whole.least == whole.most
    ):  # rounding apart, each is at least what the others cannot be, and at most what they leave
        all_least, all_most, of = sum(leasts), sum(mosts), int(whole.best)
        leasts, mosts = (
            [max(least_g, of - (all_most - most_g)) for least_g, most_g in zip(leasts, mosts, strict=True)],
            [min(most_g, of - (all_least - least_g)) for least_g, most_g in zip(leasts, mosts, strict=True)],
        )
    return tuple(
        Share(parent, least_g, best_g, most_g)
        for parent, least_g, best_g, most_g in zip(parents, leasts, given, mosts, strict=True)
        if most_g > 0
    )


def _down(grams: float) -> int:
    return int(grams) if grams == int(grams) else math.floor(grams - NOISE_G)


def _up(grams: float) -> int:
    if grams == int(grams):
        return int(grams)
    return math.ceil(grams + NOISE_G) if grams > NOISE_G else 0


def hand_out(given: list[int], remainders: Sequence[float], whole: int) -> None:
    """Add single grams to *given*, in place, largest remainder first, until it adds up to *whole*."""
    order = sorted(range(len(given)), key=lambda n: -remainders[n])
    for n in order[: max(0, whole - sum(given))]:
        given[n] += 1
