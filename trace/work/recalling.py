"""Saying what became of listed tires that stay away; and closing a recall, once each tire it lists has an outcome, or those without one
are named and confirmed with a reason."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from fillbook.trace.book import chain, closed_recalls, queries
from fillbook.trace.book.opening import Row
from fillbook.trace.book.outcomes import OPEN
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, Note, Tire
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

NAMED = 12  # tires named in a sentence; the event holds them all


class AccountFor(Ask):
    recall: int = Field(description="The number of the event that opened the recall", ge=1)
    tires: list[Tire] = Field(
        description="The listed tires it was the same with", min_length=1, max_length=200
    )
    became: Literal["looked at, stays", "destroyed there", "out of reach"] = (
        Field(  # as in outcomes.STAYS_AWAY
            description="What became of them where they are"
        )
    )
    found: Note = Field(description="Who says so or looked at them, and what was found")


@verb("account for", AccountFor, role="lead", place="office")
def account_for(ask: AccountFor, floor: Floor) -> dict[str, Any]:
    """Say what became of listed tires that did not come back."""
    opened = _open_recall(floor, ask.recall)
    if len(set(ask.tires)) != len(ask.tires):
        raise Nonsense("The same tire is named twice.", field="tires")
    if not ask.found:
        raise Nonsense("Say who looked at the tires or gave word of them, and what was found.", field="found")
    there = closed_recalls.on_list(floor.book, floor.shop, opened, ask.tires)
    for tire in ask.tires:
        name = ids.pretty(tire)
        if tire not in there:
            raise Nonsense(
                f"{name} is not on the list of the recall of {opened.suspect}. The recall's page says which tires are.",
                field="tires",
            )
        state = floor.must_exist(tire, "this").state
        if state != "dispatched":
            raise Nonsense(
                f"{name} was not away but {state} then: what becomes of it here is said by releasing it, cutting it out or scrapping it.",
                field="tires",
            )
    return {"suspect": opened.suspect}


class CloseRecall(Ask):
    recall: int = Field(description="The number of the event that opened it", ge=1)
    note: Note = Field(description="What was done, and what was found")


@verb("close recall", CloseRecall, role="lead", place="office")
def close_recall(ask: CloseRecall, floor: Floor) -> dict[str, Any]:
    """Close a recall: freezes what became of each tire it lists; any without an outcome takes a reason."""
    opened = _open_recall(floor, ask.recall)
    if not ask.note:
        raise Nonsense("Say what was done before the recall is closed.", field="note")
    tires = closed_recalls.listed(floor.book, floor.shop, opened, floor.at)
    left = [one for one in tires if one.outcome == OPEN]
    if left:
        names = ", ".join(f"{ids.pretty(one.item)} ({one.state})" for one in left[:NAMED])
        more = f" and {len(left) - NAMED} more" if len(left) > NAMED else ""
        floor.stop(
            "no outcome",
            f"{len(left)} of {len(tires)} listed tires {'has' if len(left) == 1 else 'have'} no outcome yet: {names}{more}. A tire has one "
            "once it came back, was released, cut out or scrapped after the recall was opened, or once it was said what became of it elsewhere.",
        )
    at = chain.position(floor.book, floor.shop)
    return {
        "suspect": opened.suspect,
        "frozen": {
            "position_seq": at.seq, "position_hash": at.hash,
            "items": [
                {"item": one.item, "tier": one.tier, "outcome": one.outcome, "listed_then": one.today} for one in tires
            ],
        },
    }  # fmt: skip


def _open_recall(floor: Floor, seq: int) -> Row:
    """The recall that event *seq* opened; refuses one that is closed, or was opened after the time given."""
    opened = queries.opened_recall(floor.book, floor.shop, seq)
    if opened is None:
        raise UnknownItem(
            f"Event {seq} opened no recall. The recall page lists those that were opened.", field="recall"
        )
    closed = closed_recalls.closing(floor.book, floor.shop, seq)
    if closed:
        raise Nonsense(
            f"The recall of {opened.suspect} was closed at {floor.say(closed.at)} by {floor.name(closed.who)} (event {closed.seq}). "
            "To open it again, void that event.",
            field="recall",
        )
    if opened.at > floor.at:
        raise Nonsense(
            f"The recall of {opened.suspect} was opened at {floor.say(opened.at)}, after the time given.",
            field="at",
        )
    return opened
