"""What a tire of a size usually takes and a tote usually holds, by the book: so that a weight ten times off is seen at once."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book

LATEST = 9  # of what was written before, the last ones
ENOUGH = 3  # below that nobody knows what is usual
FAR_OFF = 10  # so many times more or less is a slip of the decimal point or the unit, no other tire


@dataclass(frozen=True)
class Usual:
    """What was usual before: grams, and what it is compared with (a size, or a class of sections)."""

    grams: int
    of: str
    by_size: bool = True

    def times(self, grams: int) -> int:
        """How many times more (10 and up) or less (-10 and down) *grams* is; 0 where it is nothing unusual."""
        if grams >= FAR_OFF * self.grams:
            return round(grams / self.grams)
        if 0 < grams * FAR_OFF <= self.grams:
            return -round(self.grams / grams)
        return 0

    def compared(self, took: str, was: str, times: int) -> str:
        """The sentence that *took* (a mass in words) is *times* what was usual, in words *was*; see :meth:`times`."""
        if self.by_size and times > 0:
            return f"{took} is {times} times what {self.of} took before ({was})."
        if self.by_size:
            return f"{took} is one part in {-times} of what {self.of} took before ({was})."
        if times > 0:
            return f"{took} is {times} times what tires like it took before ({was})."
        return f"{took} is one part in {-times} of what tires like it took before ({was})."


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
        return Usual(round(median(grams for (grams,) in same)), row.size)
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
