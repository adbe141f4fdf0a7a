"""What came in at the dock, what is poured together or kept of it, and holds."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import PREPARE, Facts, handles, seen
from fillbook.trace.book.journal import Event
from fillbook.trace.core import ids


@handles("receive")
def _receive(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    serials = said.get("serials") or [said.get("supplier_serial", "")] * len(event.body["ids"])
    for tote, serial in zip(event.body["ids"], serials, strict=True):
        facts.row(
            "tote", item=tote, supplier=said["supplier"], lot=said["lot"], side=said["side"], system=said["system"], grade=said.get("grade", ""),
            net_g=said["net_g"], basis=said["basis"], received_at=event.happened_at, made_at=said.get("made"),
            use_by=said.get("use_by"), supplier_code=said.get("supplier_code", ""), supplier_item=said.get("supplier_item", ""),
            supplier_serial=serial,
        )  # fmt: skip
        facts.touch(
            tote,
            f"received from {said['supplier']}, lot {said['lot']}",
            state="in store",
            place="",
            rank=PREPARE,
        )


@handles("hold")
def _hold(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "hold", n=0, item=said.get("item", ""), lot=event.body["lot"], supplier=event.body["supplier"], why=said["why"],
        at=event.happened_at, by_rule=0, who=event.who,
    )  # fmt: skip
    for item in event.body["covers"]:
        facts.touch(item, f"put on hold: {said['why']}")


@handles("lift")
def _lift(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row("lift", hold_seq=body["hold_seq"], hold_n=body["hold_n"], at=event.happened_at, who=event.signed_by or event.who,
              why=said["why"])  # fmt: skip
    for item in body["covers"]:
        facts.touch(item, f"hold lifted: {said['why']}")


@handles("pour heel")
def _pour_heel(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    mixture = body["mixture"]
    facts.row(
        "tote", item=mixture, supplier="", lot="", side=body["side"], system=body["system"], grade=body["grade"],
        net_g=said["weight_g"] + body["rest_g"], basis=said["basis"], received_at=event.happened_at, made_at=None, use_by=None, supplier_code="",
    )  # fmt: skip
    facts.row("batch", item=mixture, made_at=event.happened_at, grams=said["weight_g"] + body["rest_g"])
    for n, (source, grams) in enumerate(((said["tote"], said["weight_g"]), (said["into"], body["rest_g"]))):
        facts.row("ingredient", n=n, batch=mixture, source=source, grams=grams, cut_at=None)
    facts.touch(
        said["tote"], f"rest poured into {ids.pretty(mixture)}", state="empty", place="", rank=PREPARE
    )
    facts.touch(
        said["into"], f"mixed; is {ids.pretty(mixture)} from now on", state="mixed", place="", rank=PREPARE
    )
    facts.touch(mixture, f"mixed from {ids.pretty(said['tote'])} and {ids.pretty(said['into'])}", state="in store", place="",
                rank=PREPARE)  # fmt: skip


@handles("take retain")
def _take_retain(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    retain = event.body["retain"]
    facts.row("batch", item=retain, made_at=event.happened_at, grams=said["weight_g"])
    facts.row("ingredient", n=0, batch=retain, source=said["tote"], grams=said["weight_g"], cut_at=None)
    facts.row("kept", item=retain, shelf=said["shelf"], keep_until=said["until"])
    facts.touch(said["tote"], f"liquid retain {ids.pretty(retain)} taken", rank=PREPARE)
    facts.touch(
        retain,
        f"liquid retain of {ids.pretty(said['tote'])}",
        state="kept",
        place=said["shelf"],
        rank=PREPARE,
    )


@handles("inspect tote")
def _inspect_tote(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    seen(facts, event, said["tote"], "looked at")
