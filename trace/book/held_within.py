"""What is on hold inside regrind: in a batch before it is loaded, and in a hopper before a fill takes from it.

From the share on at which a fill made with it would not be released: held lots and items as the release desk counts them.
"""

from __future__ import annotations

from collections.abc import Iterable

from fillbook.trace.book import cures, in_parts, on_hold, queries
from fillbook.trace.book.line_state import LineState
from fillbook.trace.book.opening import Book
from fillbook.trace.core import flow


def in_batch(book: Book, batch: str, now: int) -> list[tuple[str, int]]:
    """What is in *batch* and on hold at *now* (seconds of UTC): each held lot as a whole and each held item, with its share in
    ten-thousandths; where a fill with as much regrind as the shop allows would have to wait for it."""
    shop = queries.shop_of(book, batch)
    limits = queries.Limits(book, shop, now)
    most = max(limits("regrind_most"), limits("topup_regrind_most"), 1)
    return _held(book, shop, {batch: 1.0}, now, most)


def in_hopper(book: Book, line: str, now: int, mix_e4: int) -> list[tuple[str, int]]:
    """The same of what the hopper of *line* gives next: where a fill with *mix_e4* ten-thousandths of regrind would have to wait for it.

    That is what it most likely holds by what was loaded and drawn, as the desk reckons; and each batch by itself that was loaded last
    or from which nothing was drawn yet, since nobody knows how much of it the fill will reach. A clean batch on top hides nothing.
    """
    text = book.value(
        "SELECT state FROM line_state WHERE line = ? AND at <= ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, now,
    )  # fmt: skip
    if not text or not mix_e4:
        return []
    stream = LineState.from_text(text).streams["R"]
    there = flow.content(stream)
    whole = sum(one.best_g for one in there) or 1
    holds = {one.parent: one.best_g / whole for one in there if one.parent and one.most_g}
    alone = {one.parent for one in stream.sources[-1:]} | {
        one.parent for one in stream.sources if one.c0 == stream.total_g
    }
    return _held(book, queries.shop_of(book, line), holds, now, mix_e4, alone & holds.keys()) if holds else []


def _held(
    book: Book, shop: str, holds: dict[str, float], now: int, mix_e4: int, alone: Iterable[str] = ()
) -> list[tuple[str, int]]:
    """*holds*: batch -> the part of the regrind that it is, from 0 to 1; *alone*: those of them that may be all of it."""
    sources = [item for item in on_hold.held_sources(book, shop, now) if item not in holds]
    if not sources:
        return []
    limits = queries.Limits(book, shop, now)
    least = max(1, -(-limits("source_hold_threshold") * 10_000 // mix_e4))
    groups = cures.held_by_name(book, sources)
    numbers = in_parts.numbers(book, [*holds, *set().union(*groups.values())])
    found = []
    for name, members in sorted(groups.items()):
        shares = {batch: cures.share_of(book, batch, members, numbers, least) for batch in holds}
        together = round(sum(part * shares[batch] for batch, part in holds.items()))
        most = max([together, *(shares[batch] for batch in alone)])
        if most >= least:
            found.append((name, most))
    return found
