"""Closing a recall: once each tire it lists has an outcome, or those without one are named and confirmed with a reason."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from fillbook.trace.book import chain, closed_recalls, queries
from fillbook.trace.book.outcomes import OPEN
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, Note
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

NAMED = 12  # tires named in a sentence; the event holds them all


class CloseRecall(Ask):
    recall: int = Field(description="The number of the event that opened it", ge=1)
    note: Note = Field(description="What was done, and what was found")


@verb("close recall", CloseRecall, role="lead", place="office")
def close_recall(ask: CloseRecall, floor: Floor) -> dict[str, Any]:
    """Close a recall: freezes what became of each tire it lists; any without an outcome takes a reason."""
    opened = queries.opened_recall(floor.book, floor.shop, ask.recall)
    if opened is None:
        raise UnknownItem(
            f"Event {ask.recall} opened no recall. The recall page lists those that were opened.",
            field="recall",
        )
    closed = closed_recalls.closing(floor.book, floor.shop, ask.recall)
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
            "once it came back, was released, cut out or scrapped after the recall was opened.",
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
