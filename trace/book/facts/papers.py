"""Labels and printers, suppliers' codes, and what is attached to an item."""

from __future__ import annotations

import json
from typing import Any

from fillbook.trace.book.facts.writing import Facts, handles
from fillbook.trace.book.journal import Event


@handles("print")
def _print(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, item in enumerate(said["items"]):
        facts.row(
            "print",
            n=n,
            item=item,
            at=event.happened_at,
            face=event.body["faces"][n],
            how=said["how"],
            why=said.get("why", ""),
            copy=event.body["copies"][n],
            printer=said.get("printer", ""),
        )
        facts.touch(
            item,
            f"label {said['how']}"
            + (f", copy {event.body['copies'][n]}" if event.body["copies"][n] > 1 else ""),
        )


@handles("print failed")
def _print_failed(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, item in enumerate(said["items"]):
        facts.row(
            "print_failed",
            n=n,
            item=item,
            at=event.happened_at,
            printer=said["printer"],
            trouble=said["trouble"],
        )
        facts.touch(item, f"label not accepted by {said['printer']}")


@handles("adjust face")
def _adjust_face(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row("face_set", face=said["face"], size=said["size"], facts=json.dumps(body["facts"]), logo=body["logo"],
              words=json.dumps(body["words"], sort_keys=True))  # fmt: skip


@handles("choose language")
def _choose_language(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("language_set", language=said["language"])


@handles("choose printer")
def _choose_printer(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "printer_set",
        station=said["station"],
        printer=said["printer"],
        dpi=said["dpi"],
        sheet=said.get("sheet", ""),
    )


@handles("paper trial")
def _paper_trial(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    counts = {name: said[name] for name in ("stock", "step", "tags", "qr", "bars", "either", "readable")}
    facts.row("paper_trial", at=event.happened_at, why=said.get("why", ""), **counts)


@handles("note supplier code")
def _note_supplier_code(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "supplier_note",
        supplier=said["supplier"],
        pattern=said["pattern"],
        dates=said["dates"],
        example=said["example"],
    )


@handles("attach")
def _attach(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row(
        "attachment", item=said.get("item", ""), lot=body["lot"], supplier=body["supplier"], what=said["what"], media=body["media"],
        digest=body["digest"], at=event.happened_at,
    )  # fmt: skip
    if said.get("item"):
        facts.touch(said["item"], f"{said['what']} attached")
