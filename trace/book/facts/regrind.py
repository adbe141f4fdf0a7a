"""Grinding, reclaiming and scrapping."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import PREPARE, Facts, handles
from fillbook.trace.book.journal import Event
from fillbook.trace.core import ids


@handles("grind")
def _grind(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    batch = event.body["ids"][0]
    facts.row(
        "batch", item=batch, made_at=event.happened_at, grams=sum(p["weight_g"] for p in said["pieces"])
    )
    for n, piece in enumerate(said["pieces"]):
        source = "" if piece["source"] == "unknown" else piece["source"]
        cut_at = piece.get("cut_no_later_than", event.happened_at) if not source else None
        facts.row("ingredient", n=n, batch=batch, source=source, grams=piece["weight_g"], cut_at=cut_at)
        if source:
            state = "used up" if source in event.body["used_up"] else None
            facts.touch(source, f"ground into {ids.pretty(batch)}", state=state, place="" if state else None)
    facts.touch(batch, "ground", state="in store", place="", rank=PREPARE)


@handles("reclaim")
def _reclaim(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "out_of", n=0, item=said["tire"], what="reclaim", at=event.happened_at, grams=event.body["grams"]
    )
    facts.touch(said["tire"], "fill cut out for regrind", state="reclaimed", place="")


@handles("scrap")
def _scrap(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "out_of", n=0, item=said["item"], what="scrap", at=event.happened_at, grams=said.get("weight_g")
    )
    facts.touch(said["item"], f"scrapped: {said['why']}", state="scrapped", place="")
