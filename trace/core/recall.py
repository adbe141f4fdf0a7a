"""Which tires hold a suspect, how much, and how sure that is.

With regrind in every tire a lot's traces reach half of all later tires, while those at 1 % or more stay a few hundred. So a
recall lists what went in directly without any threshold (a tire isn't stirred: 8 kg of a bad slug is one soft pocket), what came
through regrind from a threshold on, and counts the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from fillbook.trace.core import exposure
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.exposure import Grams, Interval, Link

RULES = 1  # the number of these rules; a frozen recall names the one it was made by
CERTAIN, POSSIBLE, THROUGH_REGRIND, NOT_EXCLUDED, TRACES = TIERS = (
    "certain",
    "possible",
    "through regrind",
    "not excluded",
    "traces",
)
SETTING, CONTAMINATION = DEFECTS = ("setting", "contamination")

# A fraction that is the threshold but for rounding counts as reaching it: no tire is lost to the last bit.
AT_THRESHOLD = 1 - 1e-9
WHOLE_GRAM = 1e-6  # the same for grams: 29.9999999 is 30


class Item(NamedTuple):
    """One tire (or other item) of a recall. ``exposure``: fractions of the whole fill; ``grams``: the same in grams."""

    id: str
    tier: str
    exposure: Interval
    grams: Grams  # of the suspect, through regrind too where that counts
    direct: Grams  # of the suspect, straight from it
    side_share: float  # fraction of the side(s) the suspect is directly in: all of the B is 1, however much regrind beside it
    unknown_share: float  # fraction of the fill that is directly of unknown origin
    total_g: int
    path: tuple[str, ...]  # strongest way from a suspect; empty where only unknown origin speaks for it


class Listing(NamedTuple):
    """A recall's list: by tier, then most of the suspect first, then by ID; traces as a count and the grams in them."""

    items: tuple[Item, ...]
    traces_count: int
    traces_best_g: int


def listing(
    links: exposure.Links,
    suspects: Collection[str],
    *,
    threshold: Fraction | float = 0.01,
    defect: str,
    unknown_may_hold: Callable[[Link], bool],
    is_listed: Callable[[str], bool],
    with_traces: bool = False,
) -> Listing:
    """The items that hold, or may hold, *suspects* (totes, batches, fills), by tier; the first tier that fits:

    1. ``certain``: straight from the suspect, least grams over 0;
    2. ``possible``: straight from it, most grams over 0; no threshold cuts these two;
    3. ``through regrind``: best exposure reaches *threshold*;
    4. ``not excluded``: the upper bound of the exposure reaches it, through bounds or through unknown origin;
    5. ``traces``: less; counted, and listed only *with_traces* (for the file).

    *defect* ``"contamination"`` (moisture, foreign matter, unset material) counts every way. ``"setting"`` (slow, soft, off
    ratio) counts direct links only, since cured pieces are inert: no third tier, and in the fourth only unknown material of the
    two liquid sides.

    *links*: all links of every child that is reached, and of those whose unknown origin may matter with what was made from
    them. *unknown_may_hold* says of a link from unknown origin whether that material can be the suspect's (a piece cut before
    the lot was made can't). *is_listed* chooses the items: fills for a recall of tires. A suspect that is itself listed is
    certain.

    Raises Nonsense for a threshold outside (0, 1] or a defect that isn't one of the two.
    """
    check(defect, threshold)
    through = defect == CONTAMINATION
    family = exposure.read(links)
    held = exposure.intervals(family, suspects, unknown_may_hold, through_regrind=through)
    straight = exposure.direct(family, suspects)
    least_share = float(threshold) * AT_THRESHOLD
    names = frozenset(suspects)
    tiers = {
        item: _tier(held[item], straight.get(item, exposure.NO_GRAMS), least_share)
        for item in held
        if is_listed(item)
    }
    tiers |= {item: CERTAIN for item in names if item in tiers}
    traces = [item for item, tier in tiers.items() if tier == TRACES]
    listed = [item for item, tier in tiers.items() if with_traces or tier != TRACES]
    unknown = exposure.unknown_grams(family)
    sides = exposure.direct_sides(family, suspects)
    ways = exposure.paths(family, suspects, listed, through_regrind=through)
    items = []
    for item in listed:
        total = family.total.get(item, 0)
        parts = sides.get(item, {}).values()
        of_set, of_side = sum(part[0] for part in parts), sum(part[1] for part in parts)
        items.append(
            Item(
                id=item,
                tier=tiers[item],
                exposure=held[item],
                grams=_grams(held[item], total),
                direct=straight.get(item, exposure.NO_GRAMS),
                side_share=of_set / of_side if of_side else 0.0,
                unknown_share=unknown.get(item, exposure.NO_GRAMS).best / total if total else 0.0,
                total_g=total,
                path=ways.get(item, ()),
            )
        )
    items.sort(key=lambda one: (TIERS.index(one.tier), -round(one.exposure.best, 12), one.id))
    in_traces = sum(held[item].best * family.total.get(item, 0) for item in sorted(traces))
    return Listing(tuple(items), len(traces), round(in_traces))


def tier_of(held: Interval, straight: Grams, threshold: float) -> str:
    """The first tier that fits an item by what it holds: see :func:`listing`."""
    return _tier(held, straight, threshold * AT_THRESHOLD)


def grams_of(held: Interval, total: int) -> Grams:
    """*held* of *total* grams: least rounded down, most up, best to the nearest gram."""
    return _grams(held, total)


def check(defect: str, threshold: Fraction | float) -> None:
    """Raises Nonsense for a threshold outside (0, 1] or a defect that isn't one of the two."""
    if defect not in DEFECTS:
        raise Nonsense(
            f"The kind of defect {defect!r} is not known: say 'setting' (slow, soft, off-ratio) or 'contamination' "
            "(moisture, foreign matter, unset material).",
            field="defect",
            expected="setting or contamination",
        )
    if not 0 < threshold <= 1:
        raise Nonsense(
            f"The threshold {threshold} is not a fraction above 0 and up to 1; 0.01 is 1 % of the fill.",
            field="threshold",
            expected="above 0, up to 1",
        )


def _tier(held: Interval, straight: Grams, least_share: float) -> str:
    if straight.least > 0:
        return CERTAIN
    if straight.most > 0:
        return POSSIBLE
    if held.best >= least_share:
        return THROUGH_REGRIND
    if held.upper >= least_share:
        return NOT_EXCLUDED
    return TRACES


def _grams(held: Interval, total: int) -> Grams:
    """Least rounded down, most up, best to the nearest gram."""
    return Grams(
        floor(held.lower * total + WHOLE_GRAM),
        round(held.best * total),
        ceil(held.upper * total - WHOLE_GRAM),
    )
