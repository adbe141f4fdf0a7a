"""Many random shops: ``python -m tests.simulation 300 [first seed]``. Prints each tier; exits 1 when a tire is missed.

Every third shop does not blow out after each fill.
"""

from __future__ import annotations

import sys
import time
from multiprocessing import Pool

from tests.simulation import shops

CEILING = 1.25


def one(seed: int) -> tuple[int, shops.Tally, int]:
    shop = shops.RandomShop(seed, tubes=seed % 3 == 2)
    return seed, shops.compare(shop), len(shop.unbooked)


def main(many: int, first: int = 0) -> int:
    began, total, missed = time.monotonic(), shops.Tally(), 0
    with Pool(2) as pool:
        for number, (seed, found, entries) in enumerate(
            pool.imap_unordered(one, range(first, first + many)), 1
        ):
            total, missed = total + found, missed + entries
            for words in found.wrong:
                print(f"seed {seed}: {words}")
            if number % 20 == 0 or number == many:
                print(f"{number} of {many} shops, {time.monotonic() - began:.0f} s", file=sys.stderr)
    print(f"\n{many} shops, {missed} totes never entered")
    print("\n".join(total.lines()))
    print(f"{len(total.wrong)} wrong")
    return int(bool(total.wrong) or total.ratio() > CEILING)


if __name__ == "__main__":
    sys.exit(main(*(int(word) for word in sys.argv[1:3] or ["100"])))
