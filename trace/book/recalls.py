"""The book's answers about material: a recall, a backward trace, an account. Plain values, ready for a page, a file or a paper."""

from __future__ import annotations

import csv
import io
import json
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from fillbook.trace.book import chain, many_tires, queries, reach, suspects
from fillbook.trace.book.cells import harmless
from fillbook.trace.book.in_parts import numbers, parts
from fillbook.trace.book.line_state import LineState
from fillbook.trace.book.opening import Book
from fillbook.trace.core import account, exposure, ids, onepass, times
from fillbook.trace.core import recall as rules

CUT_PART = 100  # a screen follows nothing below the threshold divided by this
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
    exact: bool = True,
    with_account: bool = True,
) -> dict[str, Any]:
    """Every tire that holds the suspect *said*, by tier, with where it is now; and where all of the suspect's material went.

    *threshold_e4*: in ten-thousandths of a fill. Not *exact*, for a screen: what was made from a tire that holds less than a
    hundredth of the threshold is not followed; ``left_out`` is by how much any fill may hold more, which is added before comparing,
    and there is no account. Exposures are fractions, grams whole; times ISO 8601 in UTC.
    """
    if threshold_e4 is None:
        threshold_e4 = rules_threshold(book, shop)
    rules.check(defect, threshold_e4 / 10_000)
    with book.reading():
        suspect = suspects.suspect(book, shop, said)
        if not exact:
            found = reach.bounded(
                book, suspect, through=defect == rules.CONTAMINATION, cut=threshold_e4 / 10_000 / CUT_PART
            )
        else:
            found = holding(book, suspect, defect)
        answer = {
            **heading(book, suspect, defect, threshold_e4),
            **_listing(book, shop, found, threshold_e4 / 10_000, with_traces),
        }
        if exact and with_account:
            answer["account"] = account_of(book, suspect, found, defect)
        if not exact:
            answer["left_out"] = found.left_out
        return answer


def heading(book: Book, suspect: suspects.Suspect, defect: str, threshold_e4: int) -> dict[str, Any]:
    """What a recall says before its list: of what, how, and as of which event."""
    at = chain.position(book, suspect.shop)
    return {
        "suspect": suspect.words,
        "members": [pretty(item) for item in suspect.items],
        "defect": defect,
        "threshold": threshold_e4 / 10_000,
        "position": {"shop": suspect.shop, "seq": at.seq, "hash": at.hash},
        "rules": rules.RULES,
    }


def holding(book: Book, suspect: suspects.Suspect, defect: str) -> reach.Reach:
    """All that counts as holding the suspect, exactly."""
    return reach.exact(book, suspect) if defect == rules.CONTAMINATION else reach.straight(book, suspect)


def listing(
    book: Book, shop: str, found: reach.Reach, threshold_e4: int, *, with_traces: bool = False
) -> dict[str, Any]:
    """The list of a recall of what was *found*: its ``items`` and ``traces``."""
    return _listing(book, shop, found, threshold_e4 / 10_000, with_traces)


def listing_straight(book: Book, suspect: suspects.Suspect) -> dict[str, Any]:
    """The tiers *certain* and *possible* of a recall, which no threshold cuts and no regrind changes; with what went in straight and
    nothing of what came through regrind, so that grams and shares are those of a list that is not finished.
    """
    found = reach.straight(book, suspect, unknown=False)
    for item in found.held.items.values():
        if item.value and item.value is not exposure.ALL:
            grams = item.direct
            item.value = exposure.Interval(*(part / item.total if item.total else 0.0 for part in grams))
    return _listing(book, suspect.shop, found, 1.0, False)


def _listing(
    book: Book, shop: str, found: reach.Reach, threshold: float, with_traces: bool
) -> dict[str, Any]:
    """The tires that were reached, by tier, most of the suspect first; the rest as a count."""
    held, more = found.held, found.left_out
    low, high = reach.range_of(book, shop)
    tiers: dict[int, str] = {}
    shares: dict[int, exposure.Interval] = {}
    traces, traces_g = 0, 0.0
    reached = [*held.items, *(one for one in found.members if one not in held.items)]
    tires = _tires_among(book, reached, low, high)
    for number in tires:
        share = held.value(number)
        if number in held.suspects:
            tier = rules.CERTAIN
        elif not share.upper:
            continue
        else:  # what was left out is added before comparing
            if more:
                share = exposure.Interval(share.lower, share.best, min(1.0, share.upper + more))
            item = held.items[number]
            counted = share._replace(best=min(1.0, share.best + more)) if more else share
            tier = rules.tier_of(counted, item.direct, threshold)
        shares[number] = share
        if tier == rules.TRACES:
            traces += 1
            traces_g += share.best * held.items[number].total
            if not with_traces:
                continue
        tiers[number] = tier
    rows = _rows_of(book, tires, tiers)
    listed = sorted(
        tiers, key=lambda n: (rules.TIERS.index(tiers[n]), -round(shares[n].best, 12), rows[n][0])
    )
    sides = _sides(book, [n for n in listed if n in held.items and held.items[n].direct_most], held.suspects)
    paths = {n: held.path(n) for n in listed}
    codes = _codes(book, {step for path in paths.values() for step in path} - set(rows))
    shown = {n: pretty(code) for n, code in codes.items()} | {n: pretty(row[0]) for n, row in rows.items()}
    names: dict[str, str] = {}
    items = []
    for number in listed:
        _, state, place, since = rows[number]
        item, share = held.items.get(number, _NOTHING), shares[number]
        grams = rules.grams_of(share, item.total)
        if place and place not in names:
            names[place] = queries.name_of(book, place)
        items.append(
            {
                "id": shown[number],
                "tier": tiers[number],
                "exposure": {"least": _share(share.lower), "best": _share(share.best), "most": _share(share.upper)},
                "grams": {"least": grams.least, "best": grams.best, "most": grams.most},
                "side_share": _share(sides.get(number, 0.0)),
                "unknown": _share(item.unknown / item.total if item.total else 0.0),
                "path": [shown[step] for step in paths[number]],
                "place": {"state": state, "where": names[place] if place else "", "since": times.utc_text(since)},
            }
        )  # fmt: skip
    return {"items": items, "traces": {"count": traces, "best_g": round(traces_g)}}


_NOTHING = onepass.Held()


def _tires_among(book: Book, numbers: list[int], low: int, high: int) -> list[int]:
    """Which of *numbers* are tires: one look at each, or one walk over the shop's items where there are many."""
    if len(numbers) > 20_000:
        wanted = set(numbers)
        rows = book.execute("SELECT num FROM item WHERE num BETWEEN ? AND ? AND kind = 'F'", (low, high))
        return [number for (number,) in rows if number in wanted]
    found: list[int] = []
    for part, marks in parts(numbers):
        found += [
            row[0]
            for row in book.tuples(f"SELECT num FROM item WHERE num IN ({marks}) AND kind || '' = 'F'", *part)
        ]
    return found


def _codes(book: Book, numbers: Iterable[int]) -> dict[int, str]:
    found: dict[int, str] = {}
    for part, marks in parts(numbers):
        found.update(book.tuples(f"SELECT num, code FROM item WHERE num IN ({marks})", *part))
    return found


def _rows_of(
    book: Book, tires: list[int], listed: Iterable[int]
) -> dict[int, tuple[str, str | None, str, int]]:
    """ID, state, place and since when, of each listed tire."""
    found: dict[int, tuple[str, str | None, str, int]] = {}
    for part, marks in parts(listed):
        for number, code, state, place, since in book.tuples(
            f"SELECT i.num, i.code, p.state, p.place, p.since FROM item i LEFT JOIN place p ON p.item = i.code WHERE i.num IN ({marks})",
            *part,
        ):
            found[number] = code, state, place or "", since or 0
    return found


def _sides(book: Book, tires: list[int], suspects_: Iterable[int]) -> dict[int, float]:
    """Of each tire's grams of the side(s) a suspect is directly in, the fraction that came straight from the suspects."""
    members = frozenset(suspects_)
    sums: dict[int, dict[str, list[int]]] = {}
    for part, marks in parts(tires):
        for child, stream, parent, best in book.tuples(
            f"SELECT child, stream, parent, best_g FROM link WHERE child IN ({marks})", *part
        ):
            side = sums.setdefault(child, {}).setdefault(stream, [0, 0, 0])
            side[1] += best
            if parent in members:
                side[0] += best
                side[2] = 1
    shares = {}
    for child, by_stream in sums.items():
        touched = [side for side in by_stream.values() if side[2]]
        whole = sum(side[1] for side in touched)
        shares[child] = sum(side[0] for side in touched) / whole if whole else 0.0
    return shares


def rules_threshold(book: Book, shop: str) -> int:
    """The shop's threshold now, in ten-thousandths."""
    return queries.limit(book, shop, "recall_threshold", 2**53)


def is_tire(code: str) -> bool:
    return ids.is_valid(code) and ids.kind_of(code) == "F"


def pretty(code: str) -> str:
    """An ID of the book as it is printed; the code of a purge or of unknown origin as it is.

    What stands in the book was checked when it was minted, so nothing is checked here again: a recall says thousands.
    """
    if not code or ":" in code:
        return code or "unknown origin"
    return f"{code[:2]}-{code[2:5]}-{code[5:-1]}-{code[-1]}"


def _share(value: float) -> float:
    return round(value, 9)


CSV_COLUMNS = (
    "id", "tier", "least_kg", "best_kg", "most_kg", "exposure_best", "side_share", "unknown", "state", "where", "since",
    "customer", "serials", *many_tires.FOUND_BY[1:],
)  # fmt: skip


def recall_csv(found: dict[str, Any], book: Book) -> str:
    """The list of a recall (as :func:`recall` gives it) for a spreadsheet: one line per tire, ``CSV_COLUMNS`` first.

    Weights in kg to the gram, shares as fractions, times in UTC. Lines end in CR LF (RFC 4180); a text that a spreadsheet would
    take for a formula gets an apostrophe before it.
    """
    out = io.StringIO()
    lines = csv.writer(out)
    lines.writerow(CSV_COLUMNS)
    codes = [ids.read(one["id"]) for one in found["items"]]
    tires = many_tires.found_by(book, codes)
    for one, code in zip(found["items"], codes, strict=True):
        tire = tires[code]
        grams, place = one["grams"], one["place"]
        serials = [
            f"{name} {tire[key]}"
            for key, name in (("tire_serial", "tire"), ("wheel_serial", "wheel"))
            if tire[key]
        ]
        lines.writerow([
            one["id"], one["tier"], *(_kg(grams[bound]) for bound in ("least", "best", "most")),
            one["exposure"]["best"], one["side_share"], one["unknown"], place["state"], harmless(place["where"]),
            place["since"], harmless(tire["customer"]), harmless("; ".join(serials)),
            *(harmless(tire[name]) for name in many_tires.FOUND_BY[1:]),
        ])  # fmt: skip
    return out.getvalue()


def _kg(grams: int) -> str:
    return f"{grams // 1000}.{grams % 1000:03d}"


# -- where did every kilogram go? ----------------------------------------------------------------------------------------------
def account_of(
    book: Book, suspect: suspects.Suspect, found: reach.Reach, defect: str
) -> list[dict[str, Any]]:
    """Where all of the suspect's material went, by any path. *found*: what holds it, by :func:`holding`."""
    whole = found if defect == rules.CONTAMINATION else reach.exact(book, suspect)
    return _account(book, suspect.shop, suspect, whole)


def _account(book: Book, shop: str, suspect: suspects.Suspect, found: reach.Reach) -> list[dict[str, Any]]:
    members = numbers(book, suspect.items)
    roots = tuple(code for code, number in members.items() if not found.held.items[number].every_way)
    if len(roots) < len(members):
        # A member that was made from another holds its material already: it is counted once, from where it came first.
        suspect = replace(suspect, items=roots)
        found = reach.exact(book, suspect)
    items = found.held.items
    shares = found.held.shares()
    there = _places(book, shares)
    code_of = {number: place[0] for number, place in there.items()}
    rows = account.place_all(
        {code_of[number]: share for number, share in shares.items()},
        {code_of[number]: items[number].total for number in shares if number in items},
        {code_of[number]: items[number].given for number in shares if number in items},
        {code: _received(book, code) for code in suspect.items},
        _words_for({code: (kind, state) for code, kind, state in there.values()}, book),
        in_vessels=_in_vessels(
            book, shop, {code_of[n]: items[n].given_regrind if n in items else 0 for n in shares}
        ),
        left=_left(book, there.values()),
    )
    return [{"place": row.place, "grams": row.grams} for row in rows]


def _places(book: Book, numbers: Iterable[int]) -> dict[int, tuple[str, str, str]]:
    """ID, kind and state of each item."""
    found: dict[int, tuple[str, str, str]] = {}
    for part, marks in parts(numbers):
        for number, code, kind, state in book.tuples(
            f"SELECT i.num, i.code, i.kind, p.state FROM item i LEFT JOIN place p ON p.item = i.code WHERE i.num IN ({marks})",
            *part,
        ):
            found[number] = code, kind, state or ""
    return found


def _words_for(places: dict[str, tuple[str, str]], book: Book) -> Callable[[str], str]:
    def words(code: str) -> str:
        kind, state = places[code]
        if kind == "W":
            purpose = book.value("SELECT purpose FROM line_act WHERE item = ? AND what = 'draw'", code)
            return PURPOSES.get(purpose or "", "waste")
        fixed = {"C": "sample cups", "G": "in regrind batches", "L": "in totes"}
        return fixed.get(kind) or STATES.get(state, "in tires here")

    return words


def _received(book: Book, item: str) -> int:
    kind = ids.kind_of(item)
    table, column = {"L": ("tote", "net_g"), "G": ("batch", "grams"), "F": ("fill", "grams")}[kind]
    return int(book.value(f"SELECT {column} FROM {table} WHERE item = ?", item) or 0)


def _in_vessels(book: Book, shop: str, drawn: dict[str, int]) -> dict[str, list[tuple[str, float]]]:
    """What of each tote and batch stands in hoses and hoppers now, by the lines' last states. *drawn*: by item, what left it as
    regrind."""
    found: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for line in queries.lines(book, shop):
        text = book.value(
            "SELECT state FROM line_state WHERE line = ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
            line["item"],
        )
        if text is None:
            continue
        # what is in the hopper was loaded out of the bin: loaded less drawn, below
        for parent, grams in LineState.from_text(text).in_hoses().items():
            if parent in drawn and grams:
                found[parent].append(("in hoses", grams))
    for part, marks in parts(code for code in drawn if code[2:3] == "G"):
        for item, loaded in book.tuples(
            f"SELECT item, sum(grams) FROM line_act WHERE item IN ({marks}) AND what = 'load' GROUP BY item",
            *part,
        ):
            if loaded > drawn[item]:
                found[item].append(("in hoppers", loaded - drawn[item]))
    return dict(found)


def _left(book: Book, places: Iterable[tuple[str, str, str]]) -> dict[str, tuple[str, float]]:
    """Of totes and batches booked empty, used up or scrapped: nothing is left in them, or the rest is scrap."""
    found: dict[str, tuple[str, float]] = {}
    for code, kind, state in places:
        if state in ("empty", "used up") and kind != "W":
            found[code] = ("in totes" if kind == "L" else "in regrind batches", 0.0)
        elif kind == "L" and state == "scrapped":
            grams = book.value(
                "SELECT grams FROM out_of WHERE item = ? AND what = 'scrap' ORDER BY seq DESC LIMIT 1", code
            )
            if grams:
                found[code] = ("scrapped", float(grams))
    return found


# -- backward ------------------------------------------------------------------------------------------------------------------
def trace(book: Book, said: str, *, cut: float = 1e-5, with_origins: bool = True) -> dict[str, Any]:
    """What *said* was made from, by any path, as fractions that sum to 1; and what was made from it, one step on.

    Not *with_origins*: the lots without the single totes.

    What makes up less than *cut* of it (a fraction) is not followed further back and stands as ``remaining traces``; 0 follows all.
    """
    item = ids.read(said)
    with book.reading():
        number = book.value("SELECT num FROM item WHERE code = ?", item)
        links = suspects.made_of(book, item)
        by_number, left = reach.origins(book, number, cut) if links else ({}, 0.0)
        origins, words = _named(book, by_number)
        on = suspects.made_from_it(book, item)
        sums: dict[str, int] = defaultdict(int)
        for link in on:
            sums[link.child] += link.best_g
        came: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
        streams: dict[str, set[str]] = defaultdict(set)
        for link in links:
            for n, grams in enumerate((link.least_g, link.best_g, link.most_g)):
                came[link.parent][n] += grams
            streams[link.parent].add(link.stream)
        lots: dict[tuple[str, str], float] = defaultdict(float)
        for source, share in origins.items():
            if words[source]:
                lots[(words[source]["supplier"], words[source]["lot"])] += share
        rows = [
            {"id": pretty(source), "share": _share(share), **words[source]}
            for source, share in sorted(origins.items(), key=lambda pair: (-pair[1], pair[0]))
            if with_origins
        ]
        if left and with_origins:
            rows.append({"id": "remaining traces", "share": _share(left)})
        return {
            "id": pretty(item),
            "origins": rows,
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


def _named(book: Book, by_number: dict[int, float]) -> tuple[dict[str, float], dict[str, dict[str, str]]]:
    """The shares by ID; and supplier, lot and side of each that is a tote, nothing of the others."""
    shares: dict[str, float] = {}
    words: dict[str, dict[str, str]] = {}
    codes: dict[int, tuple[str, dict[str, str]]] = {0: ("", {})}
    for part, marks in parts(number for number in by_number if number):
        for number, code, supplier, lot, side in book.tuples(
            "SELECT i.num, i.code, t.supplier, t.lot, t.side FROM item i LEFT JOIN tote t ON t.item = i.code "
            f"WHERE i.num IN ({marks})",
            *part,
        ):
            codes[number] = code, {} if lot is None else {"supplier": supplier, "lot": lot, "side": side}
    for number, share in by_number.items():
        code, said = codes[number]
        shares[code], words[code] = share, said
    return shares, words


def frozen(book: Book, shop: str, seq: int) -> dict[str, Any] | None:
    """A recall as it was opened: what stood on its list then."""
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ? AND kind = 'open recall'", shop, seq)
    return json.loads(text) if text else None
