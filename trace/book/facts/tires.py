"""Tires and their orders before the fill: taken in, looked over, soaked, stretched."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import PREPARE, Facts, handles, seen
from fillbook.trace.book.journal import Event
from fillbook.trace.core import ids


@handles("take in")
def _take_in(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    known = event.body["facts"]
    tires = event.body["tires"]
    for tire in tires:
        facts.row(
            "tire", item=tire, customer=known["customer"], site=known.get("site", ""), unit=known.get("unit", ""),
            position=known.get("position", ""), size=known["size"], section=known["section"], serial=said.get("serial", ""),
            wheel_serial=said.get("wheel_serial", ""), rating_pa=said.get("rating_pa"), target_pa=known.get("target_pa"),
            mix_e4=known.get("mix_e4"), earlier=said.get("earlier", ""), order_number=said.get("order", ""),
            taken_at=event.happened_at,
        )  # fmt: skip
        facts.touch(tire, f"taken in for {known['customer']}", state="taken in", place="", rank=PREPARE)
    if said.get("earlier"):
        facts.touch(said["earlier"], f"casing filled again as {ids.pretty(tires[0])}")


@handles("open order")
def _open_order(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "work_order", number=said["number"], customer=said["customer"], site=said.get("site", ""), machine=said.get("machine", ""),
        unit=said.get("unit", ""), position=said.get("position", ""), tires=said["tires"], size=said["size"],
        target_pa=said.get("target_pa"), mix_e4=said.get("mix_e4"), grade=said.get("grade", ""), billed=said["billed"],
    )  # fmt: skip


@handles("reserve ids")
def _reserve_ids(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for tire in event.body["ids"]:
        facts.touch(tire, "reserved for a paper day sheet", state="reserved", place="", rank=PREPARE)


@handles("inspect")
def _inspect(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    seen(facts, event, said["tire"], "looked at")


@handles("stretch")
def _stretch(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    seen(facts, event, said["tire"], "stands at operating pressure")
