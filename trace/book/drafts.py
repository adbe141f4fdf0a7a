"""The side table of what was typed at a tire and not sent. It is no evidence, and is gone once the fill is in the book.

One draft per tire and device: a device replaces its own and nobody else's.
"""

from __future__ import annotations

import json

from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

LONGEST = 4000  # characters of one draft, as it is stored
MOST = 12  # devices with a draft of one tire
KEPT_S = 12 * 3600  # so long a draft is somebody's: a shift


def keep(
    book: Book,
    shop: str,
    item: str,
    *,
    tablet: str,
    who: str,
    station: str,
    said: dict[str, list[str]],
    now: int,
) -> None:
    """Keep what was typed at *item* on *tablet* instead of what was kept from it before.

    *said*: name of a field -> its values, as typed. Raises Nonsense where it is longer than a fill's form can be.
    """
    text = json.dumps(said, ensure_ascii=False, sort_keys=True)
    if len(text) > LONGEST:
        raise too_long(text)
    with book.transaction():
        book.execute("DELETE FROM draft WHERE shop = ? AND at < ?", (shop, now - KEPT_S))
        erase(book, shop, item, tablet)
        if book.value("SELECT count(*) FROM draft WHERE shop = ? AND item = ?", shop, item) >= MOST:
            raise Nonsense(
                f"{MOST} devices have typed something at {ids.pretty(item)} that was not sent: finish its fill on one of them."
            )
        row = {
            "shop": shop,
            "item": item,
            "tablet": tablet,
            "who": who,
            "station": station,
            "said": text,
            "at": now,
        }
        book.insert("draft", row)


def too_long(text: str) -> Nonsense:
    return Nonsense(
        f"What was typed is {len(text)} characters long; up to {LONGEST} are kept for other devices. Shorten it, or send it."
    )


def erase(book: Book, shop: str, item: str, tablet: str | None = None) -> None:
    """Forget what was typed at *item*: on *tablet*, or on every device."""
    if tablet is None:
        book.execute("DELETE FROM draft WHERE shop = ? AND item = ?", (shop, item))
    else:
        book.execute("DELETE FROM draft WHERE shop = ? AND item = ? AND tablet = ?", (shop, item, tablet))


def of_others(book: Book, shop: str, item: str, tablet: str, now: int) -> list[Row]:
    """What was typed at *item* on other devices within the shift, the newest first: who, station, said, at."""
    return book.rows(
        "SELECT tablet, who, station, said, at FROM draft WHERE shop = ? AND item = ? AND tablet <> ? AND at >= ? ORDER BY at DESC, tablet",
        shop, item, tablet, now - KEPT_S,
    )  # fmt: skip
