"""Racks, temperatures, sensors and sample cups."""

from __future__ import annotations

import hashlib
from typing import Any

from fillbook.trace.book.facts.writing import DRAW, PREPARE, Facts, draws, handles
from fillbook.trace.book.journal import Event
from fillbook.trace.core import logger
from fillbook.trace.core.errors import Damaged


@handles("rack")
def _rack(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for tire in said["tires"]:
        before = tire in event.body["soaking"]
        facts.touch(
            tire,
            "lies in the warm to soak" if before else "racked",
            state="soaking" if before else "racked",
            place=said["zone"],
        )


@handles("read temperature")
def _read_temperature(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "reading",
        zone=said["zone"],
        at=event.happened_at,
        mc=said["reading_mc"],
        lowest_since=said.get("lowest_since"),
    )


@handles("log temperatures")
def _log_temperatures(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    block = facts.book.value("SELECT bytes FROM blob WHERE digest = ?", body["digest"])
    if block is None:
        raise Damaged(
            f"The readings of event {event.shop}:{event.seq} (digest {body['digest'][:16]}) are missing."
        )
    samples = logger.from_block(bytes(block))
    if hashlib.sha256(block).hexdigest() != body["digest"]:
        raise Damaged(
            f"The readings of event {event.shop}:{event.seq} were changed: their digest no longer fits."
        )
    facts.row(
        "sample_block", zone=said["zone"], sensor=said["sensor"], first_at=body["first_at"], last_at=body["last_at"], count=body["count"],
        digest=body["digest"], read_as=body["read_as"], late=int(body["late"]),
    )  # fmt: skip
    for n, one in enumerate(body["doubts"]):
        facts.row("doubt", n=n, zone=said["zone"], sensor=said["sensor"], **one)
    facts.book.insert_many(
        "sample",
        ("zone", "sensor", "at", "shop", "seq", "mc"),
        [(said["zone"], said["sensor"], s.at, event.shop, event.seq, s.mc) for s in samples],
    )


@handles("store")
def _store(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, tote in enumerate(said["totes"]):
        facts.touch(tote, "stored", state=event.body["states"][n], place=said["zone"], rank=PREPARE)


@handles("trust samples")
def _trust_samples(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "trust", digest=event.body["digest"], zone=event.body["zone"], at=event.happened_at, who=event.signed_by or event.who,
        why=said["why"],
    )  # fmt: skip
    facts.touch(event.body["zone"], f"doubtful samples of event {said['event']} trusted: {said['why']}")


@handles("hang sensor")
def _hang_sensor(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "sensor_act", zone=said["zone"], sensor=said["sensor"], at=event.happened_at, what="hang", offset_mk=said["offset_mk"],
        tolerance_mk=said.get("tolerance_mk"), gap_s=said.get("gap_s"),
    )  # fmt: skip
    facts.touch(said["zone"], f"logger {said['sensor']} hung")


@handles("take down sensor")
def _take_down_sensor(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "sensor_act", zone=said["zone"], sensor=said["sensor"], at=event.happened_at, what="down", offset_mk=0
    )
    facts.touch(said["zone"], f"logger {said['sensor']} taken down")


@handles("let sensor send")
def _let_sensor_send(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "sensor_token", zone=said["zone"], sensor=said["sensor"], token_hash=said.get("token_hash", ""),
        who=event.signed_by or event.who, at=event.happened_at, ended=int(said["stop"]),
    )  # fmt: skip
    facts.touch(
        said["zone"],
        f"logger {said['sensor']} may {'no longer send' if said['stop'] else 'send its readings itself'}",
    )


@handles("pour cup")
def _pour_cup(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    cup = event.body["ids"][0]
    facts.row(
        "cup",
        item=cup,
        line=said["line"],
        at=event.happened_at,
        zone=said.get("zone", ""),
        mix_mc=said.get("mix_mc"),
    )
    draws(facts, event, said["line"])
    facts.touch(cup, "poured", state="curing", place=said.get("zone", ""), rank=DRAW)


@handles("read cup")
def _read_cup(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    passed = event.body["passed"]
    facts.row(
        "cup_read", cup=said["cup"], at=event.happened_at, is_set=int(said["is_set"]),
        hardness=" ".join(str(v) for v in said["hardness"]), passed=int(passed), scale=said["scale"], dwell_s=said.get("dwell_s"),
        cup_mc=said.get("cup_mc"), thickness_dmm=said.get("thickness_dmm"),
    )  # fmt: skip
    facts.touch(said["cup"], "passed" if passed else "failed", state="passed" if passed else "failed")


@handles("keep")
def _keep(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("kept", item=said["cup"], shelf=said["shelf"], keep_until=said["until"])
    facts.touch(said["cup"], f"kept on {said['shelf']}", place=said["shelf"])
