"""The book's answers about material: a recall, a backward trace, an account. Plain values, ready for a page, a file or a paper."""

from __future__ import annotations

import csv
import io
import json
from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from fillbook.trace.book import chain, queries, suspects
from fillbook.trace.book.derive import LineState
from fillbook.trace.book.opening import Book
from fillbook.trace.core import account, exposure, flow, ids, times
from fillbook.trace.core import recall as rules
from fillbook.trace.core.errors import Nonsense

IN_VESSELS = {"A": "in hoses", "B": "in hoses", "R": "in hoppers"}
PURPOSES = {"purge": "purged to waste", "sample": "sample cups", "waste": "waste", "run": "pump runs"}
STATES = {
    "filled": "in tires here", "filling": "in tires here", "racked": "in tires here", "released": "in tires here",
    "taken in": "in tires here", "dispatched": "in tires in service", "returned": "in tires that came back",
    "reclaimed": "cut out, not ground yet", "scrapped": "scrapped",
}  # fmt: skip


def recall(
    book: Book,
    shop: str,
    said: str,
    *,
    defect: str = rules.CONTAMINATION,
    threshold_e4: int | None = None,
    with_traces: bool = False,
) -> dict[str, Any]:
    """Every tire that holds the suspect *said*, by tier, with where it is now; and where all of the suspect's material went.

    *threshold_e4*: in ten-thousandths of a fill. Exposures are fractions, grams whole; times ISO 8601 in UTC.
    """
    if threshold_e4 is None:
        threshold_e4 = rules_threshold(book, shop)
    if defect not in rules.DEFECTS:
        raise Nonsense(f"The kind of defect is {' or '.join(rules.DEFECTS)}, not {defect!r}.", field="defect")
    with book.reading():
        suspect = suspects.suspect(book, shop, said)
        family = exposure.read(suspects.forward(book, suspect))
        found = rules.listing(
            family,
            suspect.items,
            threshold=threshold_e4 / 10_000,
            defect=defect,
            unknown_may_hold=lambda link: suspects.may_hold(suspect, link),
            is_listed=is_tire,
            with_traces=with_traces,
        )
        at = chain.position(book, shop)
        return {
            "suspect": suspect.words,
            "defect": defect,
            "threshold": threshold_e4 / 10_000,
            "position": {"shop": shop, "seq": at.seq, "hash": at.hash},
            "rules": rules.RULES,
            "items": [_item(book, one) for one in found.items],
            "traces": {"count": found.traces_count, "best_g": found.traces_best_g},
            "account": _account(book, shop, suspect, family),
        }


def rules_threshold(book: Book, shop: str) -> int:
    """The shop's threshold now, in ten-thousandths."""
    return queries.limit(book, shop, "recall_threshold", 2**53)


def is_tire(code: str) -> bool:
    return ids.is_valid(code) and ids.kind_of(code) == "F"


def pretty(code: str) -> str:
    """An ID as it is printed; the code of a purge or of unknown origin as it is."""
    return ids.pretty(code) if ids.is_valid(code) else (code or "unknown origin")


def _item(book: Book, one: rules.Item) -> dict[str, Any]:
    place = queries.place_of(book, one.id)
    return {
        "id": pretty(one.id),
        "tier": one.tier,
        "exposure": {
            "least": _share(one.exposure.lower),
            "best": _share(one.exposure.best),
            "most": _share(one.exposure.upper),
        },
        "grams": {"least": one.grams.least, "best": one.grams.best, "most": one.grams.most},
        "side_share": _share(one.side_share),
        "unknown": _share(one.unknown_share),
        "path": [pretty(step) for step in one.path],
        "place": {
            "state": place.state,
            "where": queries.name_of(book, place.place) if place.place else "",
            "since": times.utc_text(place.since),
        },
    }


def _share(value: float) -> float:
    return round(value, 9)


CSV_COLUMNS = (
    "id", "tier", "least_kg", "best_kg", "most_kg", "exposure_best", "side_share", "unknown", "state", "where", "since",
    "customer", "serials",
)  # fmt: skip


def recall_csv(found: dict[str, Any], book: Book) -> str:
    """The list of a recall (as :func:`recall` gives it) for a spreadsheet: one line per tire, ``CSV_COLUMNS`` first.

    Weights in kg to the gram, shares as fractions, times in UTC. Lines end in CR LF (RFC 4180); a text that a spreadsheet would
    take for a formula gets an apostrophe before it.
    """
    out = io.StringIO()
    lines = csv.writer(out)
    lines.writerow(CSV_COLUMNS)
    for one in found["items"]:
        tire = queries.tire(book, ids.read(one["id"]))
        grams, place = one["grams"], one["place"]
        serials = [f"{name} {tire[key]}" for key, name in (("serial", "tire"), ("wheel_serial", "wheel")) if tire and tire[key]]
        lines.writerow([
            one["id"], one["tier"], *(_kg(grams[bound]) for bound in ("least", "best", "most")),
            one["exposure"]["best"], one["side_share"], one["unknown"], place["state"], _plain(place["where"]),
            place["since"], _plain(tire.customer if tire else ""), _plain("; ".join(serials)),
        ])  # fmt: skip
    return out.getvalue()


def _kg(grams: int) -> str:
    return f"{grams // 1000}.{grams % 1000:03d}"


def _plain(text: str) -> str:
    return f"'{text}" if text[:1] in ("=", "+", "-", "@") else text


# -- where did every kilogram go? ----------------------------------------------------------------------------------------------
def _account(
    book: Book, shop: str, suspect: suspects.Suspect, family: exposure.Genealogy
) -> list[dict[str, Any]]:
    received = {item: _received(book, item) for item in suspect.items}
    holding = exposure.fractions(family, suspect.items)
    rows = account.account(
        family,
        received,
        lambda item: _place_words(book, item),
        in_vessels=_in_vessels(book, shop, holding),
        left=_left(book, holding),
    )
    return [{"place": row.place, "grams": row.grams} for row in rows]


def _received(book: Book, item: str) -> int:
    kind = ids.kind_of(item)
    table, column = {"L": ("tote", "net_g"), "G": ("batch", "grams"), "F": ("fill", "grams")}[kind]
    return int(book.value(f"SELECT {column} FROM {table} WHERE item = ?", item) or 0)


def _place_words(book: Book, item: str) -> str:
    if not ids.is_valid(item):
        purpose = book.value("SELECT purpose FROM line_act WHERE item = ? AND what = 'draw'", item)
        return PURPOSES.get(purpose or "", "waste")
    kind = ids.kind_of(item)
    if kind == "C":
        return "sample cups"
    if kind == "G":
        return "in regrind batches"
    if kind == "L":
        return "in totes"
    return STATES.get(queries.place_of(book, item).state or "", "in tires here")


def _in_vessels(book: Book, shop: str, items: Iterable[str]) -> dict[str, list[tuple[str, float]]]:
    """What of each tote and batch stands in hoses and hoppers now, by the lines' last states."""
    wanted = set(items)
    found: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for line in queries.lines(book, shop):
        text = book.value(
            "SELECT state FROM line_state WHERE line = ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
            line["item"],
        )
        if text is None:
            continue
        for name, stream in LineState.from_text(text).streams.items():
            if name == "R":  # what is in the hopper was loaded out of the bin: loaded less drawn, below
                continue
            for share in flow.content(stream):
                if share.parent in wanted and share.best_g:
                    found[share.parent].append((IN_VESSELS[name], share.best_g))
    for item in wanted:
        if ids.is_valid(item) and ids.kind_of(item) == "G":
            loaded = book.value(
                "SELECT coalesce(sum(grams), 0) FROM line_act WHERE item = ? AND what = 'load'", item
            )
            drawn = book.value(
                "SELECT coalesce(sum(k.best_g), 0) FROM link k JOIN item i ON i.num = k.parent WHERE i.code = ? AND k.stream = 'R'",
                item,
            )
            if loaded > drawn:
                found[item].append(("in hoppers", loaded - drawn))
    return dict(found)


def _left(book: Book, items: Iterable[str]) -> dict[str, tuple[str, float]]:
    """Of totes and batches booked empty, used up or scrapped: nothing is left in them, or the rest is scrap."""
    found: dict[str, tuple[str, float]] = {}
    for item in items:
        if not ids.is_valid(item):
            continue
        kind, state = ids.kind_of(item), queries.place_of(book, item).state
        if state in ("empty", "used up"):
            found[item] = ("in totes" if kind == "L" else "in regrind batches", 0.0)
        elif kind == "L" and state == "scrapped":
            grams = book.value(
                "SELECT grams FROM out_of WHERE item = ? AND what = 'scrap' ORDER BY seq DESC LIMIT 1", item
            )
            if grams:
                found[item] = ("scrapped", float(grams))
    return found


# -- backward ------------------------------------------------------------------------------------------------------------------
def trace(book: Book, said: str) -> dict[str, Any]:
    """What *said* was made from, by any path, as fractions that sum to 1; and what was made from it, one step on."""
    item = ids.read(said)
    with book.reading():
        links = suspects.backward(book, item)
        origins = exposure.origins(links, item) if links else {}
        on = suspects.made_from_it(book, item)
        sums: dict[str, int] = defaultdict(int)
        for link in on:
            sums[link.child] += link.best_g
        came: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
        streams: dict[str, set[str]] = defaultdict(set)
        for link in links:
            if link.child == item:
                for n, grams in enumerate((link.least_g, link.best_g, link.most_g)):
                    came[link.parent][n] += grams
                streams[link.parent].add(link.stream)
        lots: dict[tuple[str, str], float] = defaultdict(float)
        for source, share in origins.items():
            tote = queries.tote(book, source) if source else None
            if tote:
                lots[(tote.supplier, tote.lot)] += share
        return {
            "id": pretty(item),
            "origins": [
                {"id": pretty(source), "share": _share(share), **_tote_words(book, source)}
                for source, share in sorted(origins.items(), key=lambda pair: (-pair[1], pair[0]))
            ],
            "lots": [
                {"supplier": supplier, "lot": lot, "share": _share(share)}
                for (supplier, lot), share in sorted(lots.items(), key=lambda pair: (-pair[1], pair[0]))
            ],
            "came_from": [
                {
                    "id": pretty(parent),
                    "streams": sorted(streams[parent]),
                    "grams": {"least": g[0], "best": g[1], "most": g[2]},
                }
                for parent, g in sorted(came.items(), key=lambda pair: (-pair[1][1], pair[0]))
            ],
            "went_to": [
                {"id": pretty(child), "grams": grams}
                for child, grams in sorted(sums.items(), key=lambda p: (-p[1], p[0]))
            ],
        }


def _tote_words(book: Book, source: str) -> dict[str, str]:
    tote = queries.tote(book, source) if source else None
    return {"supplier": tote.supplier, "lot": tote.lot, "side": tote.side} if tote else {}


def frozen(book: Book, shop: str, seq: int) -> dict[str, Any] | None:
    """A recall as it was opened: what stood on its list then."""
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ? AND kind = 'open recall'", shop, seq)
    return json.loads(text) if text else None
