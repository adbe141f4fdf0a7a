"""What a tire of a size usually takes and a tote usually holds, by the book: so that a weight far off is seen at once."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book

LATEST = 9  # of what was written before, the last ones
ENOUGH = 3  # below that nobody knows what is usual
FAR_OFF = 10  # so many times more or less is a slip of the decimal point, no other tire
OFF_E1 = 18  # tenths: where a size's earlier fills agree, so many times off may be a slip of the unit (a kilogram is 2.2 pounds)
UNIT_E1 = (20, 24)  # tenths: about the 2.2 times by which a weight is off that was read in the other unit
AGREEING = 5  # so many earlier fills at least, and three of four, lie near the middle one
NEAR_PCT = 20


@dataclass(frozen=True)
class Usual:
    """What was usual before: grams, and what it is compared with (a size, or a class of sections). *agreed*: whether what was before
    lies so close together that less than ten times off is unusual, too.
    """

    grams: int
    of: str
    by_size: bool = True
    agreed: bool = False

    def times(self, grams: int) -> int:
        """How many times more (10 and up) or less (-10 and down) *grams* is; 0 where it is nothing unusual."""
        if grams >= FAR_OFF * self.grams:
            return round(grams / self.grams)
        if 0 < grams * FAR_OFF <= self.grams:
            return -round(self.grams / grams)
        return 0

    def somewhat_off(self, grams: int) -> bool:
        """Whether *grams* is off by more than such tires differ, though not :meth:`times`: known only where those before agreed."""
        return self.agreed and grams > 0 and not self.times(grams) and self._tenths(grams) >= OFF_E1

    def meant_unit(self, grams: int, unit: str) -> str:
        """The unit (``kg`` or ``lb``) that a scale may have shown where *grams* was typed in *unit*, else nothing."""
        if grams <= 0 or not UNIT_E1[0] <= self._tenths(grams) <= UNIT_E1[1]:
            return ""
        return {("kg", True): "lb", ("lb", False): "kg"}.get((unit, grams > self.grams), "")

    def _tenths(self, grams: int) -> int:
        """How many times the larger of the two is the smaller, in tenths."""
        large, small = max(grams, self.grams), min(grams, self.grams)
        return (20 * large + small) // (2 * small)

    def compared(self, took: str, was: str, grams: int) -> str:
        """The sentence that *took* (*grams* in words) is so many times what was usual, in words *was*."""
        tenths = self._tenths(grams)
        times = f"{tenths // 10}.{tenths % 10}" if tenths < 10 * FAR_OFF else str((tenths + 5) // 10)
        if self.by_size and grams > self.grams:
            return f"{took} is {times} times what {self.of} took before ({was})."
        if self.by_size:
            return f"{took} is one part in {times} of what {self.of} took before ({was})."
        if grams > self.grams:
            return f"{took} is {times} times what tires like it took before ({was})."
        return f"{took} is one part in {times} of what tires like it took before ({was})."


def _agree(before: list[int], middle: int) -> bool:
    near = sum(abs(grams - middle) * 100 <= NEAR_PCT * middle for grams in before)
    return near >= AGREEING and near * 4 >= len(before) * 3


def of_tire(book: Book, shop: str, tire: str, at: int) -> Usual | None:
    """What tires of the size of *tire* (compact ID) took before *at* (seconds of UTC), the median of the last ones; of its class of
    sections, where too few of its size were filled. None where the book knows too few.
    """
    row = queries.tire(book, tire)
    if row is None:
        return None
    same = book.tuples(
        "SELECT f.grams FROM tire t CROSS JOIN fill f WHERE t.shop = ? AND t.size = ? AND f.item = t.item AND f.at < ? AND t.item <> ? "
        "ORDER BY t.item DESC LIMIT ?",
        shop, row.size, at, tire, LATEST,
    )  # fmt: skip
    if len(same) >= ENOUGH:
        before = [grams for (grams,) in same]
        middle = round(median(before))
        return Usual(middle, row.size, agreed=_agree(before, middle))
    alike = book.tuples(
        "SELECT f.grams FROM fill f CROSS JOIN tire t WHERE f.shop = ? AND f.at < ? AND t.item = f.item AND t.section = ? AND t.item <> ? "
        "ORDER BY f.at DESC LIMIT ?",
        shop, at, row.section, tire, LATEST,
    )  # fmt: skip
    if len(alike) >= ENOUGH:
        return Usual(round(median(grams for (grams,) in alike)), row.section, by_size=False)
    return None


def of_tote(book: Book, shop: str, system: str, side: str, at: int, but: int | None = None) -> Usual | None:
    """What totes of this side of *system* held that came in before *at* (seconds of UTC), the median of the last receipts; None where
    there were too few. *but*: the receipt that is being corrected.
    """
    rows = book.tuples(
        "SELECT seq, net_g FROM tote WHERE shop = ? AND received_at < ? AND lower(system) = lower(?) AND side = ? AND lot <> '' AND seq <> ? "
        "ORDER BY received_at DESC, item DESC LIMIT ?",
        shop, at, system, side, but or 0, LATEST * 20,
    )  # fmt: skip
    receipts = list(dict(rows).values())[:LATEST]
    return Usual(round(median(receipts)), system) if len(receipts) >= ENOUGH else None
