"""Release, dispatch and what comes back."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from fillbook.trace.book.facts.writing import Facts, handles
from fillbook.trace.book.journal import Event


@handles("release")
def _release(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, frozen in enumerate(event.body["frozen"]):
        facts.row(
            "released", n=n, item=frozen["item"], at=event.happened_at, path=frozen["path"], overridden=int(frozen["overridden"]),
            credited_s=frozen["credited_s"], attended_s=frozen["attended_s"], moved_at=frozen["moved_at"], work_at=frozen["work_at"],
        )  # fmt: skip
        words = "released, overridden" if frozen["overridden"] else "released"
        facts.touch(frozen["item"], words, state="released", place="")


@handles("settle")
def _settle(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "settled", item=said["tire"], at=event.happened_at, who=event.signed_by or event.who, why=said["why"]
    )
    facts.touch(said["tire"], f"later readings looked at: {said['why']}")


@handles("dispatch")
def _dispatch(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    overridden = int(any(f["code"] for f in event.body["findings"]))
    for n, tire in enumerate(said["tires"]):
        to = event.body["to"][n]
        facts.row("dispatch", n=n, item=tire, at=event.happened_at, sent_to=to, overridden=overridden)
        facts.touch(tire, f"dispatched to {to}", state="dispatched", place=to)


@handles("return")
def _return(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    tire = said.get("tire", "")
    facts.row(
        "came_back", item=tire, at=event.happened_at, return_seq=event.seq, complaint=said["complaint"], customer=said.get("customer", ""),
        size=said.get("size", ""), clues=event.body["clues"], verdict="ours" if tire else "undetermined",
    )  # fmt: skip
    _candidates(facts, event.seq, event.body["candidates"])
    if tire:
        facts.touch(tire, f"came back: {said['complaint']}", state="returned", place="")


@handles("identify")
def _identify(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row(
        "came_back", item=body["item"], at=body["returned_at"], return_seq=body["return_seq"], complaint=body["complaint"], customer=body["customer"],
        size=body["size"], clues=body["clues"], verdict=said["verdict"],
    )  # fmt: skip
    _candidates(facts, body["return_seq"], body["candidates"])
    if body["item"]:
        facts.touch(body["item"], f"came back without a label: {body['complaint']}; {said['why']}", state="returned", place="",
                    at=body["returned_at"])  # fmt: skip


def _candidates(facts: Facts, return_seq: int, candidates: Iterable[dict[str, str]]) -> None:
    for n, one in enumerate(candidates):
        facts.row(
            "candidate",
            n=n,
            return_seq=return_seq,
            item=one["item"],
            speaks_for=one["for"],
            speaks_against=one["against"],
        )
