"""A shop, its people and their PINs, its devices, systems, zones, lines and limits."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import Facts, handles
from fillbook.trace.book.journal import Event


@handles("set up shop")
def _set_up_shop(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("shop", name=said["name"], timezone=said["timezone"], host=said["host"], units=said["units"])
    owner = event.body["ids"][0]
    facts.row("person", item=owner, name=said["owner"], role="owner")
    facts.touch(owner, "started the book", state="here", place="")


@handles("add person")
def _add_person(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("person", item=event.body["ids"][0], name=said["name"], role=said["role"])
    facts.touch(event.body["ids"][0], f"joined as {said['role']}", state="here", place="")


@handles("add system")
def _add_system(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("system", name=said["name"], ratio_a=said["parts_a"], ratio_b=said["parts_b"])


@handles("add zone")
def _add_zone(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "zone", item=event.body["ids"][0], name=said["name"], gap_s=said["gap_s"], tolerance_mk=said["tolerance_mk"]
    )  # fmt: skip
    facts.touch(event.body["ids"][0], "set up", state="in use", place="")


@handles("add line")
def _add_line(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("line", item=event.body["ids"][0], name=said["name"])
    facts.touch(event.body["ids"][0], "set up", state="in use", place="")


@handles("set limit")
def _set_limit(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "limit_set", name=said["limit"], scope=said.get("line", ""), value=event.body["value"], typed=said["to"],
        source=said["source"], from_at=said.get("from_when", event.happened_at),
    )  # fmt: skip


@handles("wrong PINs")
def _wrong_pins(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.touch(said["person"], f"{said['wrong']} wrong PINs; signing had to wait")


@handles("PIN changed")
def _pin_changed(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    words = {
        "set": "PIN set",
        "code given": "one-time code given for a new PIN",
        "wait lifted": "wait after wrong PINs lifted",
    }
    facts.touch(said["person"], words.get(said["what"], said["what"]))


@handles("admit device")
def _admit_device(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "device_act", device=said["device"], at=event.happened_at, who=event.signed_by or event.who, what="admitted", role=said["role"],
        token_hash=said["token_hash"], why="",
    )  # fmt: skip


@handles("dismiss device")
def _dismiss_device(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "device_act", device=event.body["device"], at=event.happened_at, who=event.signed_by or event.who, what="dismissed", role="",
        token_hash="", why=said["why"],
    )  # fmt: skip
