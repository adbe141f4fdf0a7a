"""From hooked up to ran dry: what a tote held against what the pump says was drawn from it.

A tote hooked up with a known weight and run dry, or weighed, is an anchor: between two anchors the draws must add up to what
left the tote. The factor between the two is shown. It never alters the weight of a fill; it widens the bands of the draws
between, and where more was drawn than there was, something else must have been hooked up: unknown origin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isqrt

RAN_DRY, WEIGHED, EMPTY, CHANGED, STILL_ON = "ran dry", "weighed", "empty", "changed early", "still on"
FACTOR_LEAST, FACTOR_MOST = (
    9_000,
    11_000,
)  # outside 0.90 to 1.10 something is missing from the book: shown, and left out of spreads
LOOK_BACK = 20  # how many of the latest factors speak for a shop's pump


@dataclass(frozen=True)
class Span:
    """One tote on one side of a line between two anchors; grams.

    ``held_g`` was in it at the beginning, give or take ``held_off_g``; ``left_g`` at the end, where that is known.
    ``drawn_g`` by the draws between, give or take ``slack_g`` by their bases. ``content_g``: by how much the hose's content may
    have changed meanwhile.
    """

    line: str
    side: str
    item: str
    began: tuple[int, ...]
    ended: tuple[int, ...] | None
    how: str
    held_g: int
    held_off_g: int
    left_g: int | None
    drawn_g: int
    slack_g: int
    draws: int
    by_pump: bool
    content_g: int

    @property
    def used_g(self) -> int | None:
        """What left the tote between its two weights; None where the end is not known."""
        return None if self.left_g is None else self.held_g - self.left_g

    @property
    def factor_e4(self) -> int | None:
        """What left the tote by what was drawn, in ten-thousandths: 10 300 where the pump says 3 % too little."""
        if self.used_g is None or not self.drawn_g:
            return None
        return max(0, round(self.used_g * 10_000 / self.drawn_g))

    @property
    def flagged(self) -> bool:
        """Whether the factor lies outside 0.90 to 1.10: then a draw or a change-over is missing from the book."""
        return self.factor_e4 is not None and not FACTOR_LEAST <= self.factor_e4 <= FACTOR_MOST

    @property
    def there_g(self) -> int:
        """The most that can have come out of the tote between, best."""
        return max(0, self.held_g - (self.left_g or 0))

    @property
    def over(self) -> bool:
        """Whether more was drawn than there was, beyond all bands and by over a tenth: something else was hooked up, too."""
        most = self.there_g + self.held_off_g + self.content_g
        return self.drawn_g - self.slack_g > most and self.there_g * 10_000 < self.drawn_g * FACTOR_LEAST

    @property
    def off_e4(self) -> int:
        """By how much the draws between are known to be off together, in ten-thousandths."""
        factor = self.factor_e4
        return 0 if factor is None or self.over else min(5_000, abs(factor - 10_000))


def own_spread(factors: Sequence[tuple[int, int]], enough: int, default_e4: int) -> int | None:
    """The band of a shop's own pump, in ten-thousandths, from its latest spans: (factor, number of draws) each.

    None with fewer than *enough*. The largest deviation seen is taken, not a mean. A whole tote evens out what single draws
    err by, so unless it is larger than the default a single draw is given √draws times as much, up to the default.

    >>> own_spread([(9_950, 4)] * 8, 8, 300), own_spread([(9_400, 25)] * 8, 8, 300), own_spread([], 8, 300)
    (100, 600, None)
    """
    if len(factors) < enough:
        return None
    together = max(abs(factor - 10_000) for factor, _ in factors)
    alone = max(abs(factor - 10_000) * (isqrt(draws - 1) + 1 if draws else 1) for factor, draws in factors)
    return max(together, min(default_e4, alone))
