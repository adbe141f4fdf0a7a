"""Where did every kilogram go? What was received, by the place it is in now, to the gram.

Material flows from totes into draws, stays in fills, cups, purges and waste, and comes round through batches. What an item
holds now of it is its exposure times what it has not passed on. Summed over all items, with what the totes have not given, this
is exactly what was received, whatever the grams say; where they contradict each other (a tote gave more than it held) the
difference is *unaccounted*, and may be negative.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from math import floor
from typing import NamedTuple

from fillbook.trace.core import exposure
from fillbook.trace.core.errors import Nonsense

UNACCOUNTED = "unaccounted"


class Row(NamedTuple):
    """One place and the whole grams in it; below 0 only where *unaccounted*."""

    place: str
    grams: int


def account(
    links: exposure.Links,
    received: Mapping[str, int],
    place: Callable[[str], str],
    *,
    in_vessels: Mapping[str, Sequence[tuple[str, float]]] | None = None,
    left: Mapping[str, tuple[str, float]] | None = None,
) -> list[Row]:
    """Where the grams *received* (by tote; or by batch, for the account of a batch) are now.

    *links*: all links of every child reached from them. *place* names where an item is, in the words the page shows: ``"fills,
    in service"``, ``"purge"``, ``"batches"``, ``"grinding loss"`` for a fill that was cut out, ``"totes"``; it is asked of each
    source and of each child that holds something. Only what an item has not passed on to later draws and batches is counted
    there.

    *in_vessels*: of a tote or batch, what of it stands in hoses or hopper: ``{"L-1": [("hoses", 4500)]}``; it left the tote and
    reached no draw yet. *left*: of a tote, batch or fill whose remains are known (weighed off, ran dry, emptied): ``{"L-1":
    ("totes", 0)}``; then what is neither drawn, in vessels nor left is *unaccounted*. Without it the whole rest is where the
    item is. Both count grams of the item, of which a batch holds only its exposure.

    Rows: largest first, *unaccounted* always and last; places without a whole gram are left out. They sum to what was
    received (largest remainder). Raises Nonsense for negative grams, or where one source was made from another.
    """
    family = exposure.read(links)
    vessels, remains = in_vessels or {}, left or {}
    for source, grams in received.items():
        if grams < 0:
            raise Nonsense(
                f"{source} can't have been received with {grams} g. Correct its weight.", field="received"
            )
    held = exposure.fractions(family, received)
    given = dict.fromkeys(held, 0)
    for row in family.links():
        if row.parent in given:
            given[row.parent] += row.best_g
        if row.child in received and row.best_g and row.parent in held:
            raise Nonsense(
                f"{row.child} holds material of {row.parent}, so the two can't be counted together. Ask for one at a time.",
                field="received",
            )
    return place_all(held, family.total, given, received, place, in_vessels=vessels, left=remains)


def place_all(
    held: Mapping[str, float],
    total: Mapping[str, int],
    given: Mapping[str, int],
    received: Mapping[str, int],
    place: Callable[[str], str],
    *,
    in_vessels: Mapping[str, Sequence[tuple[str, float]]],
    left: Mapping[str, tuple[str, float]],
) -> list[Row]:
    """The account from exposures that are known: *held* the fraction of each item, *total* its grams, *given* what it passed on."""
    found = {UNACCOUNTED: 0.0}
    for item, share in held.items():
        if not share:
            continue
        rest = float((received[item] if item in received else total.get(item, 0)) - given.get(item, 0))
        known = list(in_vessels.get(item, ()))
        if item in left:
            known.append(left[item])
        for where, there in known:
            found[where] = found.get(where, 0.0) + share * there
            rest -= there
        if rest:
            where = UNACCOUNTED if item in left or rest < 0 else place(item)
            found[where] = found.get(where, 0.0) + share * rest
    return _whole(found, sum(received.values()))


def _whole(found: Mapping[str, float], total: int) -> list[Row]:
    """*found* in whole grams that sum to *total*: rounded down, the missing grams to the largest remainders."""
    grams = {where: floor(value) for where, value in found.items()}
    missing = total - sum(grams.values())
    for where in sorted(found, key=lambda where: (grams[where] - found[where], where))[:missing]:
        grams[where] += 1
    rows = [Row(where, g) for where, g in grams.items() if g and where != UNACCOUNTED]
    return [*sorted(rows, key=lambda row: (-row.grams, row.place)), Row(UNACCOUNTED, grams[UNACCOUNTED])]


def band_g(weights: Iterable[tuple[int, int]]) -> int:
    """The grams by which an account may be out, from its weights: (grams, band of their basis in ten-thousandths) each.

    Bands add up, as all weights of one scale err alike: 900 000 g at 1 % (100) and 50 000 g at 10 % (1000) may be out by 14 kg.

    >>> band_g([(900_000, 100), (50_000, 1000)])
    14000
    """
    return -(-sum(abs(grams) * band for grams, band in weights) // 10_000)


def within_band(rows: Iterable[Row], band: int) -> bool:
    """Whether what is *unaccounted* in *rows* lies within *band* grams: then the account stands as it is, with no need to touch it."""
    return all(abs(row.grams) <= band for row in rows if row.place == UNACCOUNTED)
