"""What a hopper holds by what was loaded and drawn, and where a fill takes more out of it than can have been in it."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book import spans
from fillbook.trace.book.line_state import LineState
from fillbook.trace.book.opening import Book
from fillbook.trace.core import flow

LONGEST = 7 * 86_400  # after a week of fills their weights' errors have added up to more than a hopper holds


def content_g(book: Book, line: str, at: int) -> int | None:
    """Grams in the hopper of *line* at *at* (seconds of UTC): what it held when it was weighed or emptied last, with what was
    loaded since and less what was drawn. None where it was not for a week, or where more was drawn than that.
    """
    anchor = _known_last(book, line, at)
    if anchor is None:
        return None
    grams, key = anchor
    moved = book.value(
        "SELECT coalesce(sum(CASE what WHEN 'load' THEN grams WHEN 'draw' THEN -r_g ELSE 0 END), 0) FROM line_act "
        f"WHERE line = ? AND {spans.KEY} > (?, ?, ?, ?) AND at <= ?",
        line, *key, at,
    )  # fmt: skip
    left = grams + int(moved)
    return left if left >= 0 else None


def _known_last(book: Book, line: str, at: int) -> tuple[int, spans.Key] | None:
    """Grams that were in the hopper when that was last known, by a scale or because it was emptied; and when.

    That *what* is no draw is said once more for SQLite, which takes the short index only then.
    """
    emptied = book.one(
        "SELECT at, rank, seq, n FROM line_act WHERE line = ? AND stream = 'R' AND what = 'clean' AND what <> 'draw' AND at BETWEEN ? AND ? "
        "ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, at - LONGEST, at,
    )  # fmt: skip
    weighed = book.one(
        "SELECT at, rank, seq, 0 AS n, grams FROM weighing WHERE line = ? AND stream = 'R' AND at BETWEEN ? AND ? "
        "ORDER BY at DESC, rank DESC, seq DESC LIMIT 1",
        line, at - LONGEST, at,
    )  # fmt: skip
    known = [(spans.key_of(row), row.grams if row is weighed else 0) for row in (emptied, weighed) if row]
    if not known:
        return None
    key, grams = max(known)
    return int(grams), key


def gives_too_much(
    book: Book, shop: str, line: str, began: int, at: int, draws: list[dict[str, Any]], but: int | None = None
) -> tuple[int, int] | None:
    """Where *draws* (a fill from *began* to *at*, seconds of UTC) take more regrind than the hopper of *line* can have held: the
    most it can have held and what is drawn, in grams; else None. *but*: the event that is being corrected.
    """
    drawn = sum(draw["r_g"] for draw in draws)
    text = book.value(
        "SELECT state FROM line_state WHERE line = ? AND at <= ? AND seq <> ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line, at, but or 0,
    )  # fmt: skip
    state = LineState.from_text(text) if drawn and text else None
    if state is None or state.hopper_most_g < 0:
        return None
    bands = spans.Bands(book, shop, line)
    off = sum(flow.slack(draw["r_g"], bands.of(draw["basis"], at)) for draw in draws)
    # What was loaded while the fill was pumped had room, because the fill was taking from it.
    most = state.hopper_most_g + sum(grams for when, grams in state.hopper_over if when >= began)
    return (most, drawn) if drawn - off > most else None
