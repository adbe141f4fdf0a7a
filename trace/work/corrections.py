"""Correcting: a new body for one event, or void. What was recorded stays in the journal; the tables follow the newest word."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from fillbook.trace.book import apply, chain, journal, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Conflict, Nonsense, UnknownItem
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Ask, Moment, Note, Reading, read
from fillbook.trace.work.floor import Floor, find_item, keep_blob, stored
from fillbook.trace.work.registry import verb

FIXED = (
    "correct",
    "set up shop",
    "release",
    "open recall",
    "print",
)  # what is frozen or only says what was handed out


class Correct(Ask):
    event: int = Field(description="The number of the event to correct", ge=1)
    fields: dict[str, Any] = Field(
        default_factory=dict, description="The fields that change, as the verb takes them"
    )
    void: bool = Field(False, description="Yes, to void it: it did not happen")
    happened: Moment | None = Field(None, description="When it really happened, if that was wrong")
    why: Note = Field(description="What was wrong")


@verb("correct", Correct, role="lead", place="office")
def correct(ask: Correct, floor: Floor) -> dict[str, Any]:
    """Correct one event, or void it; minted IDs stay what they are."""
    if not ask.why:
        raise Nonsense("Say what was wrong.", field="why")
    target = chain.event_at(floor.book, floor.shop, ask.event)
    if target is None:
        raise UnknownItem(f"There is no event {ask.event} in this shop's journal.", field="event")
    if target.kind in FIXED:
        raise Nonsense(
            f"Event {ask.event} is a {target.kind!r}, which stays as it was written; add a new one instead.",
            field="event",
        )
    now = apply.effective(floor.book, floor.shop, ask.event)
    if now is None:
        raise Nonsense(f"Event {ask.event} was voided already.", field="event")
    if ask.void == bool(ask.fields or ask.happened is not None):
        raise Nonsense("Give the fields that change, or void the event: one of the two.", field="fields")
    happened = now.happened_at if ask.happened is None else ask.happened
    if happened > floor.now + 120:
        raise Nonsense("That time lies ahead.", field="happened")
    if ask.void:
        _refuse_if_used(floor, target)
        body, before = None, apply.take_away(floor.book, floor.shop, ask.event)
    else:
        body, before = _new_body(ask, floor, target, now, happened)
    for item in apply.touched(target.body):
        if ids.kind_of(item) == "F" and queries.place_of(floor.book, item).state in (
            "released",
            "dispatched",
        ):
            floor.note(
                "changed after release",
                f"{ids.pretty(item)} was released before this was corrected: look at it again.",
                item,
            )
    return {
        "of": target.kind,
        "void": ask.void,
        "body": body,
        "correcting": ask.event,
        "bore_on": before,
        "happened_at": happened,
    }


def _refuse_if_used(floor: Floor, target: journal.Event) -> None:
    """An ID that others already name can't be voided away under them."""
    for item in target.body["ids"]:
        used = floor.book.one(
            "SELECT seq, words FROM touch WHERE shop = ? AND item = ? AND seq <> ? AND state IS NOT NULL ORDER BY seq LIMIT 1",
            floor.shop, item, target.seq,
        )  # fmt: skip
        other = floor.book.value("SELECT 1 FROM touch WHERE place = ? AND seq <> ? LIMIT 1", item, target.seq)
        if used or other:
            raise Conflict(
                f"{ids.pretty(item)} is used by later events"
                + (f" (event {used.seq}: {used.words})" if used else "")
                + "; void those first.",
                field="event",
            )


def _new_body(
    ask: Correct, floor: Floor, target: journal.Event, now: journal.Event, happened: int
) -> tuple[dict[str, Any], Any]:
    """The event's whole new body: its verb run again on the changed fields, with its own facts taken away and its IDs kept."""
    changed = registry.find(target.kind)
    said = {k: v for k, v in now.body["said"].items() if k not in ("typed", "typed_at", "override")}
    override = ask.fields.get("override", now.body["said"].get("override"))
    fields = {**said, **{k: v for k, v in ask.fields.items() if k != "override"}}
    for name, value in ask.fields.items():
        if value is None:
            fields.pop(name, None)
    before = apply.take_away(floor.book, floor.shop, target.seq)
    how = Reading(
        floor.timezone,
        lambda text, kinds, field: find_item(floor.book, floor.shop, text, kinds, f"fields.{field}"),
        stored=True,
    )
    again = read(changed.ask, fields, how, "")
    new = Floor(
        floor.book, floor.shop, floor.now, happened, now.who, floor.role, floor.signed_by, override,
        reuse=list(target.body["ids"]), correcting=target.seq,
    )  # fmt: skip
    extra = changed.do(again, new) or {}
    if set(new.ids) != set(target.body["ids"]):
        raise Nonsense(
            "A correction keeps the number of IDs that were given; void it and enter it anew to change that.",
            field="fields",
        )
    said_again = stored(again, new.blobs)
    for digest, data in {**extra.pop("blobs", {}), **new.blobs}.items():
        keep_blob(floor.book, digest, data)
    kept = {
        k: v for k, v in now.body["said"].get("typed", {}).items() if k not in how.typed and k in said_again
    }
    typed = {**kept, **how.typed}
    whole = said_again | ({"typed": typed} if typed else {}) | ({"override": override} if override else {})
    return {"said": whole, "ids": new.ids, "findings": [f.plain() for f in new.findings], **extra}, before
