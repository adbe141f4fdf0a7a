"""A list as a file for a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from typing import Any

from fillbook.trace.book import lists, queries
from fillbook.trace.book.cells import harmless
from fillbook.trace.book.items import SIDES
from fillbook.trace.book.list_kinds import Asked
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, times

CSV_COLUMNS = {
    "tires": ("id", "state", "place", "since", "customer", "site", "unit", "size", "serial", "wheel_serial", "order", "taken_in", "filled",
              "weight_kg", "pressure_kpa"),
    "totes": ("id", "state", "place", "since", "supplier", "lot", "side", "substance", "system", "net_kg", "received", "use_by", "supplier_code"),
    "batches": ("id", "state", "place", "since", "ground", "weight_kg"),
    "cups": ("id", "state", "place", "since", "line", "poured"),
}  # fmt: skip


def csv_lines(book: Book, shop: str, asked: Asked) -> Iterator[str]:
    """The whole list for a spreadsheet, some rows at a time: weights in kg to the gram, pressures in kPa, times in UTC (ISO 8601).

    Lines end in CR LF (RFC 4180); a text that a spreadsheet would take for a formula gets an apostrophe before it.
    """
    names: dict[str, str] = {"": ""}

    def name(item: str) -> str:
        if item not in names:
            names[item] = queries.name_of(book, item)
        return names[item]

    out = io.StringIO()
    lines = csv.writer(out)
    lines.writerow(CSV_COLUMNS[asked.kind])
    for n, row in enumerate(lists.every(book, shop, asked)):
        lines.writerow([harmless(cell) for cell in _cells(asked.kind, row, name)])
        if n % 500 == 499:
            yield out.getvalue()
            out.seek(0)
            out.truncate()
    yield out.getvalue()


def _cells(kind: str, row: Row, name: Any) -> list[str]:
    first = [ids.pretty(row["item"]), row.state, name(row.place), _utc(row.since)]
    match kind:
        case "tires":
            return [
                *first, row.customer, row.site, row.unit, row.size, row.serial, row.wheel_serial, row.order_number, _utc(row.taken_at),
                _utc(row.filled_at), _kg(row.grams), "" if row.pressure_pa is None else f"{row.pressure_pa / 1000:.1f}",
            ]  # fmt: skip
        case "totes":
            return [
                *first, row.supplier, row.lot, row.side, SIDES[row.side].split(" · ")[1], row.system, _kg(row.net_g), _utc(row.received_at),
                _utc(row.use_by), row.supplier_code,
            ]  # fmt: skip
        case "batches":
            return [*first, _utc(row.made_at), _kg(row.grams)]
        case _:
            return [*first, name(row.line), _utc(row.at)]


def _utc(at: int | None) -> str:
    return "" if at is None else times.utc_text(at)


def _kg(grams: int | None) -> str:
    return "" if grams is None else f"{grams // 1000}.{grams % 1000:03d}"
