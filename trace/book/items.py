"""Everything the book knows of one item, and finding items by what they bear."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fillbook.trace.book import on_hold, queries
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, times, units
from fillbook.trace.core.errors import Nonsense

SIDES = {"A": "side A · isocyanate", "B": "side B · polyol"}


class Say:
    """Values in the words of one shop, and in its units or, with *us* said, in those of who reads."""

    def __init__(self, book: Book, shop: str, us: bool | None = None) -> None:
        self.book = book
        self.us = queries.is_us(book, shop) if us is None else us
        self.zone = queries.timezone(book, shop)
        self._names: dict[str, str] = {}

    def mass(self, grams: int | None) -> str:
        return "" if grams is None else units.show("mass", grams, "lb" if self.us else "kg")

    def temperature(self, mc: int | None) -> str:
        return "" if mc is None else units.show("temperature", mc, "f" if self.us else "c")

    def pressure(self, pascals: int | None) -> str:
        return "" if pascals is None else units.show("pressure", pascals, "psi" if self.us else "kpa")

    def share(self, e4: int | None) -> str:
        return "" if e4 is None else units.show("share", e4, "pct")

    def time(self, at: int | None) -> str:
        return "" if at is None else times.show(at, self.zone)

    def name(self, item: str) -> str:
        if item not in self._names:  # the same few zones, lines and people again and again
            self._names[item] = queries.name_of(self.book, item)
        return self._names[item]


def facts(book: Book, item: str, say: Say | None = None) -> dict[str, str]:
    """The few facts of an item, in words and the units of *say*, the shop's where none is given; empty ones left out."""
    kind = ids.kind_of(item)
    say = say or Say(book, queries.shop_of(book, item))
    found: dict[str, str] = {}
    if kind == "L" and (tote := queries.tote(book, item)):
        found = {
            "Substance": SIDES[tote.side], "System": tote.system, "Supplier": tote.supplier, "Lot": tote.lot,
            "Net": f"{say.mass(tote.net_g)} ({tote.basis})", "Received": say.time(tote.received_at), "Use by": say.time(tote.use_by),
            "Supplier's item": tote.supplier_item, "Supplier's serial": tote.supplier_serial, "Supplier's code": tote.supplier_code,
        }  # fmt: skip
    elif kind == "G" and (batch := queries.batch(book, item)):
        parts = queries.ingredients(book, item)
        known = sum(p.grams for p in parts if p.source)
        found = {
            "Ground": say.time(batch.made_at), "Weight": say.mass(batch.grams),
            "From": f"{len(parts)} {'source' if len(parts) == 1 else 'sources'}, {known / batch.grams:.0%} of known origin",
        }  # fmt: skip
    elif kind == "F":
        found = _tire_facts(book, item, say)
    elif kind == "C" and (cup := book.one("SELECT * FROM cup WHERE item = ?", item)):
        verdict = queries.cup_verdict(book, item, 2**53)
        found = {
            "Poured": say.time(cup.at), "Line": say.name(cup.line), "Zone": say.name(cup.zone), "Mix": say.temperature(cup.mix_mc),
            "Read": ("set" if verdict.is_set else "not set") if verdict else "", "Hardness": verdict.hardness if verdict else "",
        }  # fmt: skip
    elif kind == "P" and (person := book.one("SELECT * FROM person WHERE item = ?", item)):
        found = {"Name": person.name, "Role": person.role}
    elif kind in "ZU":
        found = {"Name": say.name(item)}
        if kind == "Z" and (newest := queries.newest_sample(book, item)):
            found["Last sample"] = f"{say.temperature(newest.mc)} at {say.time(newest.at)}"
    return {name: value for name, value in found.items() if value}


def _tire_facts(book: Book, item: str, say: Say) -> dict[str, str]:
    tire, fill = queries.tire(book, item), queries.fill(book, item)
    found: dict[str, str] = {}
    if tire:
        found = {
            "Customer": tire.customer, "Site": tire.site, "Unit": tire.unit, "Position": tire.position, "Size": tire.size,
            "Serial": tire.serial, "Wheel serial": tire.wheel_serial, "Section": tire.section,
            "Lowest rating": say.pressure(queries.rating(book, item)), "To be filled to": say.pressure(tire.target_pa),
            "Earlier": ids.pretty(tire.earlier) if tire.earlier else "",
        }  # fmt: skip
    found["Service number"] = ids.service_number(item)
    if fill:
        found |= {
            "Filled": say.time(fill.at), "Line": say.name(fill.line), "Weight": say.mass(fill.grams), "Regrind": say.share(fill.mix_e4),
            "Pressure": say.pressure(fill.pressure_pa), "Filled by": say.name(fill.who), "Cold start": "yes" if fill.cold else "",
        }  # fmt: skip
    released = queries.releases(book, item)
    if released:
        last = released[-1]
        found |= {
            "Released": f"{say.time(last.at)}{', overridden' if last.overridden else ''}",
            "May be moved and mounted": say.time(last.moved_at), "May work under load": say.time(last.work_at),
        }  # fmt: skip
    return found


#: The facts an item is known by in a list of what was found: name of the fact -> column, for each table.
_KNOWN_BY = {
    "F": ("tire", {"Customer": "customer", "Size": "size", "Unit": "unit", "Serial": "serial", "Wheel serial": "wheel_serial"}),
    "L": ("tote", {"Substance": "side", "Supplier": "supplier", "Lot": "lot"}),
    "G": ("batch", {"Ground": "made_at"}),
    "C": ("cup", {"Poured": "at"}),
    "P": ("person", {"Name": "name"}),
    "Z": ("zone", {"Name": "name"}),
    "U": ("line", {"Name": "name"}),
}  # fmt: skip


def known_by(book: Book, items: Iterable[str], say: Say) -> dict[str, dict[str, str]]:
    """The few facts each of *items* (compact IDs) is known by, as :func:`facts` gives them; one query for each kind."""
    found: dict[str, dict[str, str]] = {item: {} for item in items}
    kinds: dict[str, list[str]] = {}
    for item in found:
        kinds.setdefault(ids.kind_of(item), []).append(item)
    for kind, mine in kinds.items():
        table, columns = _KNOWN_BY[kind]
        for some in queries.chunks(mine):
            for row in book.rows(
                f"SELECT item, {', '.join(columns.values())} FROM {table} WHERE item IN ({', '.join('?' * len(some))})", *some
            ):  # fmt: skip
                said = {name: row[column] for name, column in columns.items()}
                if kind == "L":
                    said["Substance"] = SIDES[row.side]
                elif kind in "GC":
                    said = {name: say.time(at) for name, at in said.items()}
                found[row["item"]] = {name: value for name, value in said.items() if value}
    return found


def about(book: Book, item: str, *, with_history: bool = True, say: Say | None = None) -> dict[str, Any]:
    """Facts, place, holds, findings and history of *item*, as plain values. Times ISO 8601 in UTC, ``local`` in the shop's."""
    shop = queries.shop_of(book, item)
    say = say or Say(book, shop)
    place = queries.place_of(book, item)
    found = {
        "id": ids.pretty(item),
        "kind": ids.KINDS[ids.kind_of(item)],
        "shop": shop,
        "facts": facts(book, item, say),
        "place": {"state": place.state, "where": say.name(place.place) if place.place else "", "since": times.utc_text(place.since)},
        "holds": [
            {"hold": "" if h.recall else f"{h.seq}.{h.n}", "why": h.why, "since": times.utc_text(h.at), "lot": h.lot, "by": say.name(h.who), "recall": h.recall or None}
            for h in on_hold.holds_on(book, item)
        ],
        "findings": [{"code": f.code, "words": f.words, "seq": f.seq} for f in queries.findings_on(book, item)],
    }  # fmt: skip
    if with_history:
        found["history"] = [
            {"at": times.utc_text(t.at), "local": say.time(t.at), "words": t.words, "seq": t.seq, "state": t.state,
             "where": say.name(t.place) if t.place else "", "kind": t.kind}
            for t in queries.timeline(book, item)
        ]  # fmt: skip
    return found


def search(book: Book, shop: str, text: str, most: int = 50) -> list[dict[str, str]]:
    """Items that *text* names or that bear a word with it in it, each with the reason it was found."""
    from fillbook.trace.book import searching

    found: dict[str, tuple[str, str]] = {}
    try:
        item = ids.read(text)
        if queries.item_exists(book, item):
            found[item] = ("this ID", "")
    except Nonsense:
        try:
            number = ids.read_service_number(text)
            for (code,) in book.tuples(
                "SELECT code FROM item WHERE shop = ? AND kind = 'F' AND year = ? AND serial = ?",
                shop,
                int(number[:2]),
                int(number[2:7]),
            ):
                found[code] = ("this service number", "")
        except Nonsense:
            pass
    for row in searching.find(book, shop, text, most):
        if row["item"] not in found:
            found[row["item"]] = (row.field.replace("_", " "), searching.as_written(book, row))
    return [
        {
            "id": ids.pretty(code),
            "kind": ids.KINDS[ids.kind_of(code)],
            "why": f"{by} {word}".rstrip(),
            "by": by,
        }
        for code, (by, word) in found.items()
    ]
