"""Tires called at the desk, each with its verdict and why."""

from __future__ import annotations

import re
from typing import Any

from fillbook.trace.book import queries, zones
from fillbook.trace.core import times
from fillbook.trace.web import here

GONE = ("released", "dispatched", "returned", "reclaimed", "scrapped")


def rows_of(tires: list[str]) -> list[dict[str, Any]]:
    """Of each of *tires* (compact IDs): its verdict, whether it may be released (``ok``), ``why`` not, ``ready`` about when (seconds
    of UTC; None where that is past, or it left the racks), and what became of it where it is ``gone``."""
    rows = zones.verdicts(here.book(), here.shop(), tires, here.now(), say=here.say())
    for row in rows:
        state = queries.place_of(here.book(), row["item"]).state
        row["gone"] = state if state in GONE else ""
        ready = times.from_utc_text(row["ready_at"]) if row.get("ready_at") else None
        row["ready"] = ready if ready and ready > here.now() and not row["gone"] else None
        why = next(
            (f["words"] for f in row["findings"] if f["stops"]), row["words"][0] if row["words"] else ""
        )
        row["why"] = re.sub(r"\s*Ready about [^.]*\.$", "", why)  # said beside it, in the words of the day
        row["ok"] = row["ok"] and not row["gone"]
    return rows
