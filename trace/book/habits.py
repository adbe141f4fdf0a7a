"""What the owner sees of how people work: overrides, acts signed alone, checks tapped through, per person."""

from __future__ import annotations

import json
from collections import defaultdict
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book


def habits(book: Book, shop: str, since: int = 0) -> list[dict[str, Any]]:
    """One row per person, from *since* on (seconds of UTC): acts, overrides, those of them signed alone, findings that held an
    item, shift starts, and shift starts where every check was tapped through and nothing was weighed. Rates are fractions."""
    counts: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for (text,) in book.tuples(
        "SELECT text FROM event WHERE shop = ? AND happened_at >= ? ORDER BY seq", shop, since
    ):
        event = json.loads(text)
        mine = counts[event["who"]]
        mine["acts"] += 1
        body = event["body"]
        if body["said"].get("override") and body["findings"]:
            mine["overrides"] += 1
            mine["signed_alone"] += event["signed_by"] is None
        mine["held"] += any(found["holds"] for found in body["findings"])
        if event["kind"] == "start shift":
            said = body["said"]
            mine["shift_starts"] += 1
            mine["tapped_through"] += not any(
                name in said for name in ("weight_g", "caught_a_g", "caught_b_g")
            )
    rows = []
    for person in queries.people(book, shop):
        mine = counts[person["item"]]
        row = {
            name: mine[name]
            for name in ("acts", "overrides", "signed_alone", "held", "shift_starts", "tapped_through")
        }
        rows.append(
            {
                "person": person["item"], "name": person.name, "role": person.role, **row,
                "override_rate": mine["overrides"] / mine["acts"] if mine["acts"] else 0.0,
                "tapped_rate": mine["tapped_through"] / mine["shift_starts"] if mine["shift_starts"] else 0.0,
            }
        )  # fmt: skip
    return rows
