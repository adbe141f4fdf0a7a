"""A recall opened, what became of tires that did not come back, and the recall closed with what became of each item."""

from __future__ import annotations

from typing import Any

from fillbook.trace.book.facts.writing import Facts, handles
from fillbook.trace.book.journal import Event


@handles("open recall")
def _open_recall(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    frozen = event.body["frozen"]
    facts.row(
        "recall", suspect=event.body["suspect"], defect=said["defect"], threshold_e6=frozen["threshold_e6"], at=event.happened_at,
        position_seq=frozen["position_seq"], position_hash=frozen["position_hash"], why=said["why"],
    )  # fmt: skip
    for n, one in enumerate(frozen["items"]):
        facts.row("recall_item", n=n, item=one["item"], tier=one["tier"], least_g=one["grams"][0], best_g=one["grams"][1],
                  most_g=one["grams"][2])  # fmt: skip
        facts.touch(one["item"], f"listed in the recall of {event.body['suspect']}: {one['tier']}")


@handles("account for")
def _account_for(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, tire in enumerate(said["tires"]):
        facts.row(
            "accounted",
            n=n,
            recall_seq=said["recall"],
            item=tire,
            at=event.happened_at,
            outcome=said["became"],
        )
        facts.touch(tire, f"accounted for in the recall of {event.body['suspect']}: {said['became']}")


@handles("close recall")
def _close_recall(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "recall_close", recall_seq=said["recall"], at=event.happened_at, who=event.signed_by or event.who, note=said["note"],
    )  # fmt: skip
    for n, one in enumerate(event.body["frozen"]["items"]):
        facts.row("recall_outcome", n=n, item=one["item"], tier=one["tier"], outcome=one["outcome"],
                  listed_then=int(one["listed_then"]))  # fmt: skip
        facts.touch(
            one["item"],
            f"the recall of {event.body['suspect']} was closed: {one['outcome'] or 'no outcome yet'}",
        )
