"""A recall held against the truth: which tires it named, which truly hold the lot, and whether the grams lie within the bounds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fillbook.trace.core import ids
from fillbook.trace.core.recall import CERTAIN, TIERS, TRACES

HOLDS_G = 1.0  # less of a lot than a gram in a whole tire is none
ROUNDING_G = 3.0  # each draw is split into whole grams of A, B and regrind
NOT_NAMED = "not named"


@dataclass(frozen=True)
class Comparison:
    """``rows``: tier, tires in it, those that truly hold the lot, those that hold enough to have to be listed."""

    suspect: str
    threshold: float
    rows: tuple[tuple[str, int, int, int], ...]
    to_be_listed: int
    missed: tuple[str, ...]
    wrongly_certain: tuple[str, ...]
    outside: tuple[str, ...]
    tires: int

    @property
    def clean(self) -> bool:
        return not (self.missed or self.wrongly_certain or self.outside)

    def words(self) -> list[str]:
        """The comparison as lines to print."""
        enough = f"{self.threshold * 100:g} %"
        lines = [f"{'As the book lists it':24}{'tires':>8}{'truly hold it':>16}{'have to be listed':>20}"]
        lines += [f"{tier:24}{listed:8}{hold:16}{must:20}" for tier, listed, hold, must in self.rows]
        lines += [
            f"Have to be listed (any of it straight from the tote, or {enough} of the fill by any path): {self.to_be_listed}. "
            f"Missed: {len(self.missed)}{_names(self.missed)}.",
            f"Called certain without holding any: {len(self.wrongly_certain)}{_names(self.wrongly_certain)}.",
            f"True grams between the book's least and most: {self.tires - len(self.outside)} of {self.tires} {'tire' if self.tires == 1 else 'tires'}"
            f"{_names(self.outside)}.",
        ]
        return lines


def _names(codes: tuple[str, ...]) -> str:
    return (
        f" ({', '.join(ids.pretty(code) for code in codes[:10])}{' …' if len(codes) > 10 else ''})"
        if codes
        else ""
    )


def compare(found: dict[str, Any], truth: dict[str, Any]) -> Comparison:
    """*found*: a recall with its traces, as ``recalls.recall`` gives it; *truth*: what the story wrote of its own ledger."""
    lot, threshold = truth["bad_lot"], found["threshold"]
    named = {ids.read(one["id"]): one for one in found["items"]}
    count = {tier: [0, 0, 0] for tier in (*TIERS, NOT_NAMED)}
    to_be_listed, missed, wrong, outside = 0, [], [], []
    for tire, of in truth["tires"].items():
        grams, whole = of["made_of"].get(lot, 0.0), sum(of["made_of"].values())
        straight = of["straight"].get(lot, 0.0) >= HOLDS_G
        must = straight or grams >= threshold * whole
        one = named.get(tire)
        tier = one["tier"] if one else NOT_NAMED
        for n, counts in enumerate((True, grams >= HOLDS_G, must)):
            count[tier][n] += counts
        to_be_listed += must
        if must and tier in (TRACES, NOT_NAMED):
            missed.append(tire)
        if tier == CERTAIN and not straight:
            wrong.append(tire)
        least, most = (one["grams"]["least"], one["grams"]["most"]) if one else (0, 0)
        if not least - ROUNDING_G <= grams <= most + ROUNDING_G:
            outside.append(tire)
    rows = tuple((tier, n[0], n[1], n[2]) for tier, n in count.items() if n[0])
    return Comparison(
        found["suspect"], threshold, rows, to_be_listed, tuple(missed), tuple(wrong), tuple(outside), len(truth["tires"])
    )  # fmt: skip
