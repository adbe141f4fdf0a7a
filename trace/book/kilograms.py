"""Kilograms bought against kilograms in tires: per tote, lot and month, with the basis of the weights beside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.line_state import LineState
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, times

COLUMNS = (
    "received",
    "poured_in",
    "poured_out",
    "in_tires",
    "cups",
    "purged",
    "waste",
    "in_hoses",
    "left",
    "unaccounted",
)
WHERE = {
    "main": "in_tires",
    "top-up": "in_tires",
    "sample": "cups",
    "purge": "purged",
    "waste": "waste",
    "run": "waste",
}
GONE = ("empty", "scrapped", "mixed")


def totes(book: Book, shop: str, only: Collection[str] | None = None) -> list[dict[str, Any]]:
    """One row per tote, oldest first, in grams: what came in, where it went (best), what is left, what nobody can account for.

    ``through_gun`` is all that was drawn. What was poured over into another tote is counted there again, as ``poured_in``. A tote booked empty has nothing left; the rest of one in use is what it has not given.
    *only*: these totes, by compact ID; all, if not said. ``bases`` are those of the weights that went into the row, the widest being the one to doubt first.
    """
    if only is None:
        chosen, args = "t.shop = ?", [shop]
    else:  # these are the shop's already; asked for it as well, SQLite would walk through all of its totes
        chosen, args = f"t.item IN ({', '.join('?' * len(only)) or 'NULL'})", list(only)
    drawn: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    bases: dict[str, set[str]] = defaultdict(set)
    for code, purpose, basis, grams in book.tuples(
        "SELECT t.item, a.purpose, a.basis, sum(k.best_g) FROM tote t JOIN item i ON i.code = t.item "
        "JOIN link k ON k.parent = i.num JOIN item c ON c.num = k.child "
        "JOIN line_act a ON a.item = c.code AND a.what = 'draw' AND a.seq * 64 + a.n = k.draw "
        f"WHERE {chosen} GROUP BY t.item, a.purpose, a.basis",
        *args,
    ):
        drawn[code][WHERE.get(purpose, "waste")] += int(grams)
        bases[code].add(basis)
    hoses = in_hoses(book, shop)
    poured: dict[str, int] = defaultdict(int)
    for code, child, grams in book.tuples(
        "SELECT g.source, g.batch, g.grams FROM ingredient g JOIN tote t ON t.item = g.source WHERE "
        + chosen,
        *args,
    ):
        if ids.kind_of(child) == "L":
            poured[code] += int(grams)
        else:  # a liquid retain
            drawn[code]["cups"] += int(grams)
    scraps: dict[str, int] = dict(
        book.tuples(
            "SELECT o.item, coalesce(sum(o.grams), 0) FROM out_of o JOIN tote t ON t.item = o.item "
            f"WHERE o.what = 'scrap' AND {chosen} GROUP BY o.item",
            *args,
        )
    )
    rows = []
    for tote in book.rows(
        "SELECT t.*, p.state AS state_now FROM tote t LEFT JOIN place p ON p.item = t.item "
        f"WHERE {chosen} ORDER BY t.received_at, t.item",
        *args,
    ):
        code = tote["item"]
        mixture = tote.lot == ""
        went = drawn[code]
        scrapped = scraps.get(code, 0)
        went["waste"] += int(scrapped)
        through = sum(went.values()) - int(scrapped)
        standing = hoses.get(code, 0)
        rest = tote.net_g - sum(went.values()) - standing - poured[code]
        gone = tote.state_now in GONE
        rows.append(
            {
                "tote": ids.pretty(code), "supplier": tote.supplier, "lot": tote.lot or "mixture", "side": tote.side,
                "received_at": tote.received_at, "received": 0 if mixture else tote.net_g,
                "poured_in": tote.net_g if mixture else 0, "poured_out": poured[code], "through_gun": through,
                "in_tires": went["in_tires"], "cups": went["cups"], "purged": went["purged"], "waste": went["waste"],
                "in_hoses": standing, "left": 0 if gone else max(rest, 0), "unaccounted": rest if gone else min(rest, 0),
                "bases": sorted({tote.basis, *bases[code]}),
            }
        )  # fmt: skip
    return rows


def in_hoses(book: Book, shop: str) -> dict[str, int]:
    found: dict[str, int] = defaultdict(int)
    for line in queries.lines(book, shop):
        text = book.value(
            "SELECT state FROM line_state WHERE line = ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
            line["item"],
        )
        for parent, grams in LineState.from_text(text).in_hoses().items() if text else ():
            found[parent] += grams
    return found


def _together(rows: list[dict[str, Any]], *keys: str) -> list[dict[str, Any]]:
    found: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in rows:
        key = tuple(row[name] for name in keys)
        into = found.setdefault(
            key,
            {
                **dict(zip(keys, key, strict=True)),
                "totes": 0,
                "through_gun": 0,
                **dict.fromkeys(COLUMNS, 0),
                "bases": [],
            },
        )
        into["totes"] += 1
        for name in ("through_gun", *COLUMNS):
            into[name] += row[name]
        into["bases"] = sorted({*into["bases"], *row["bases"]})
    return list(found.values())


def window(
    book: Book, shop: str, by: str, before: int | None = None, most: int = 40
) -> tuple[int | None, list[str]]:
    """The totes of one page by ``lot``, ``month`` or ``tote``, about *most* of them, received before *before* (seconds of UTC).

    Months and lots come whole: a lot belongs to the page of its first tote. Returns also before when the next page's were received;
    None where this is the last.
    """
    latest = 2**53 if before is None else before
    since = book.value(
        "SELECT min(received_at) FROM (SELECT received_at FROM tote WHERE shop = ? AND received_at < ? ORDER BY received_at DESC LIMIT ?) newest",
        shop, latest, most,
    )  # fmt: skip
    if since is None:
        return None, []
    if by == "month":
        zone = queries.timezone(book, shop)
        first = times.local(since, zone).replace(day=1, hour=0, minute=0, second=0)
        since = int(first.timestamp())
    rows = book.rows(
        "SELECT item, supplier, lot FROM tote WHERE shop = ? AND received_at >= ? AND received_at < ?",
        shop,
        since,
        latest,
    )
    items = [row["item"] for row in rows]
    if by == "lot":
        items = []
        for supplier, lot in {(row.supplier, row.lot) for row in rows}:
            whole = (
                queries.lot_totes(book, shop, supplier, lot) if lot else [row for row in rows if not row.lot]
            )
            if not lot or min(tote.received_at for tote in whole) >= since:
                items += [tote["item"] for tote in whole]
    more = book.value("SELECT 1 FROM tote WHERE shop = ? AND received_at < ? LIMIT 1", shop, since)
    return (since if more else None), items


def lots(book: Book, shop: str, only: Collection[str] | None = None) -> list[dict[str, Any]]:
    """The totes' rows added up by supplier, lot and side."""
    return _together(totes(book, shop, only), "supplier", "lot", "side")


def months(book: Book, shop: str, only: Collection[str] | None = None) -> list[dict[str, Any]]:
    """The totes' rows added up by the month they came in, in the shop's zone of time, and by side."""
    zone = queries.timezone(book, shop)
    rows = [
        {**row, "month": times.show_date(row["received_at"], zone)[:7]} for row in totes(book, shop, only)
    ]
    return _together(rows, "month", "side")
