"""Shifts, and the fill from its start to its end with all that happens in between."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import DRAW, PREPARE, Facts, act, draws, handles
from fillbook.trace.book.journal import Event


@handles("start shift")
def _start_shift(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("shift", line=said["line"], at=event.happened_at, what="start", caught_a_g=said.get("caught_a_g"),
              caught_b_g=said.get("caught_b_g"), who=event.who)  # fmt: skip
    draws(facts, event, said["line"])
    facts.touch(said["line"], "shift started", rank=DRAW)


@handles("end shift")
def _end_shift(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "shift",
        line=said["line"],
        at=event.happened_at,
        what="end",
        caught_a_g=None,
        caught_b_g=None,
        who=event.who,
    )
    draws(facts, event, said["line"])
    facts.touch(said["line"], "shift ended", rank=DRAW)


@handles("run pump")
def _run_pump(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    draws(facts, event, said["line"])
    facts.touch(said["line"], "pump run", rank=DRAW)


@handles("pause")
def _pause(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    draws(facts, event, event.body["line"])
    facts.touch(said["tire"], "fill interrupted", state="paused", place=event.body["line"], rank=DRAW)


@handles("resume")
def _resume(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.touch(said["tire"], "fill goes on", state="filling", place=event.body["line"], rank=PREPARE)
    facts.row("fill_start", item=said["tire"], line=event.body["line"], at=event.happened_at, bay_mc=None, casing_mc=None,
              mix_mc=None, who=event.who)  # fmt: skip


@handles("abandon")
def _abandon(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    draws(facts, event, event.body["line"])
    facts.touch(
        said["tire"], f"fill given up: {said['why']}", state="abandoned", place=event.body["line"], rank=DRAW
    )


@handles("leak")
def _leak(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    draws(facts, event, event.body["line"])
    facts.touch(said["tire"], f"leaked at the {said['where']}", rank=DRAW)


@handles("odd flow")
def _odd_flow(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, stream in enumerate("AB"):
        act(facts, n, said["line"], "odd", stream, "")
    facts.touch(said["line"], said["what"], rank=PREPARE)


@handles("start fill")
def _start_fill(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "fill_start", item=said["tire"], line=said["line"], at=event.happened_at, bay_mc=said.get("bay_mc"),
        casing_mc=said.get("casing_mc"), mix_mc=said.get("mix_mc"), who=event.who,
    )  # fmt: skip
    facts.touch(said["tire"], "fill started", state="filling", place=said["line"], rank=PREPARE)


@handles("finish fill")
def _finish_fill(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row(
        "fill", item=said["tire"], line=body["line"], started_at=body["began"], at=event.happened_at,
        grams=body["grams"], mix_e4=body["mix_e4"], pressure_pa=said.get("pressure_pa"),
        flow_stopped=int(said["flow_stopped"]), cold=int(body["cold"]), who=event.who,
    )  # fmt: skip
    draws(facts, event, body["line"])
    facts.touch(said["tire"], "filled", state="filled", place=body["line"], rank=DRAW)
