"""Correcting: a new body for one event, or void. What was recorded stays in the journal; the tables follow the newest word."""

from __future__ import annotations

import re
from typing import Any

from pydantic import Field

from fillbook.trace.book import apply, chain, journal, queries
from fillbook.trace.core import ids, reasons
from fillbook.trace.core.errors import Conflict, Nonsense, NotAllowed, UnknownItem
from fillbook.trace.work import registry
from fillbook.trace.work.acting import ARTICLES
from fillbook.trace.work.ask import Ask, Moment, Note, Reading, clean, fields_of, read
from fillbook.trace.work.floor import Floor, find_item, keep_blob, stored
from fillbook.trace.work.registry import verb

FIXED = (
    "correct",
    "admit device",
    "dismiss device",
    "set up shop",
    "release",
    "open recall",
    "print",
    "print failed",
    *registry.BY_ITSELF,
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
    role = registry.find(target.kind).role
    # Or a lead would make owners by correcting people
    if registry.ROLES.index(floor.role) < registry.ROLES.index(role):
        raise NotAllowed(
            f"Event {ask.event} is a {target.kind!r}, which takes {ARTICLES[role]} to correct as well; who signs this is a {floor.role}. "
            "Ask one to sign.",
            field="signed_by" if floor.signed_by else "who",
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
        body, before = new_body(ask, floor, target, now, happened)
        if target.kind == "add system":
            _note_the_ratio(floor, now.body["said"], body["said"])
    for item in dict.fromkeys([*apply.touched(now.body), *apply.touched(body or {})]):
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
        "said_at": floor.at,
    }


def _note_the_ratio(floor: Floor, before: dict[str, Any], now: dict[str, Any]) -> None:
    """What was drawn is not split anew, a shop's whole past in one act: it is said."""
    drawn = floor.book.value(
        "SELECT 1 FROM line_act a JOIN tote t ON t.item = a.item WHERE a.shop = ? AND a.what = 'hook' AND lower(t.system) = lower(?) LIMIT 1",
        floor.shop, now["name"],
    )  # fmt: skip
    if drawn and any(before[part] != now[part] for part in ("parts_a", "parts_b")):
        floor.note(
            "split as before",
            f"What was drawn of {now['name']} until now keeps the shares of side A and side B it was booked with; the corrected ratio "
            "splits what is drawn from now on.",
        )


#: Facts that name a line or a zone without moving anything: (kind, table, column).
NAMING = (
    ("U", "line_act", "line"), ("U", "limit_set", "scope"), ("U", "cup", "line"), ("Z", "reading", "zone"),
    ("Z", "sample_block", "zone"), ("Z", "cup", "zone"), ("Z", "sensor_act", "zone"), ("Z", "sensor_token", "zone"),
)  # fmt: skip


def _refuse_if_used(floor: Floor, target: journal.Event) -> None:
    """An ID that others already name can't be voided away under them, nor a return that was identified."""
    signed = floor.book.value(
        "SELECT seq FROM came_back WHERE shop = ? AND return_seq = ? AND seq <> ? ORDER BY seq LIMIT 1",
        floor.shop, target.seq, target.seq,
    )  # fmt: skip
    if signed:
        raise Conflict(
            f"The return of event {target.seq} was identified by event {signed}; void that first.",
            field="event",
        )
    for item in target.body["ids"]:
        used = floor.book.one(
            "SELECT seq, words FROM touch WHERE shop = ? AND item = ? AND seq <> ? AND state IS NOT NULL ORDER BY seq LIMIT 1",
            floor.shop, item, target.seq,
        )  # fmt: skip
        other = floor.book.value("SELECT 1 FROM touch WHERE place = ? AND seq <> ? LIMIT 1", item, target.seq)
        named = any(
            floor.book.value(f"SELECT 1 FROM {table} WHERE {column} = ? LIMIT 1", item)
            for kind, table, column in NAMING
            if kind == ids.kind_of(item)
        )
        if used or other or named:
            raise Conflict(
                f"{ids.pretty(item)} is used by later events"
                + (f" (event {used.seq}: {used.words})" if used else "")
                + "; void those first.",
                field="event",
            )


def new_body(
    ask: Correct, floor: Floor, target: journal.Event, now: journal.Event, happened: int
) -> tuple[dict[str, Any], Any]:
    """The event's whole new body: its verb run again on the changed fields, with its own facts taken away and its IDs kept."""
    changed = registry.find(target.kind)
    said = {k: v for k, v in now.body["said"].items() if k not in ("typed", "typed_at", "override")}
    override = ask.fields.get("override", now.body["said"].get("override"))
    if override is not None:
        if not isinstance(override, str) or not clean(override, "override", 500):
            raise Nonsense(
                "override is the lead's reason to go on against a stop, in words.", field="override"
            )
        override = clean(override, "override", 500)
        if "override" in ask.fields:
            reasons.check(override, "override")
    fields = {**said, **{k: v for k, v in ask.fields.items() if k != "override"}}
    for name in [name for name, value in ask.fields.items() if value is None and name != "override"]:
        kept_as = next((one.name for one in fields_of(changed.ask) if name in (one.name, *one.accepts)), None)
        if kept_as is None:
            raise Nonsense(f"{name} is not a field of {target.kind!r}.", field=name)
        fields.pop(name, None)
        fields.pop(kept_as, None)
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
    asked = {name: one.name for one in fields_of(changed.ask) for name in (one.name, *one.accepts)}
    anew = {asked.get(name, name) for name in ask.fields}

    def is_new(spot: str) -> bool:
        """Whether what was typed at *spot*, such as ``pieces[0].weight_kg``, is of a field that this correction says anew."""
        return asked.get(re.split(r"[.\[]", spot)[0]) in anew

    # What it leaves alone still says what was typed when it was written
    typed = {k: v for k, v in now.body["said"].get("typed", {}).items() if not is_new(k)}
    typed |= {k: v for k, v in how.typed.items() if is_new(k)}
    whole = said_again | ({"typed": typed} if typed else {}) | ({"override": override} if override else {})
    if ask.happened is None and "typed_at" in now.body["said"]:
        whole["typed_at"] = now.body["said"]["typed_at"]
    return {"said": whole, "ids": new.ids, "findings": [f.plain() for f in new.findings], **extra}, before


def check_after(floor: Floor, event: journal.Event) -> None:
    """Refuse a correction that pulls something away under what others stand on: called once its facts are written.

    Order is time: what an event brought into being is not used before, a fill is cut out before it is ground. So no batch can come
    to hold what it went into.
    """
    target = apply.original(floor.book, floor.shop, event.corrects or 0)
    if not event.body["void"]:
        for item in target.body["ids"]:
            _not_used_before(floor, item, target.seq, event.happened_at)
    bodies = [target.body] + [
        journal.Event.from_text(text).body["body"] or {}
        for (text,) in floor.book.tuples(
            "SELECT text FROM event WHERE shop = ? AND corrects = ?", floor.shop, target.seq
        )
    ]
    if event.body["void"] and target.kind in ("pause", "abandon"):
        _nothing_counted_on(floor, bodies, target.happened_at)
    for item in dict.fromkeys(item for body in bodies for item in apply.touched(body)):
        if ids.kind_of(item) == "F":
            _cut_out_before_it_was_ground(floor, item)
    if target.kind == "take in":
        for item in dict.fromkeys(item for body in bodies for item in body.get("tires", [])):
            _still_taken_in(floor, item)
    if target.kind == "add system":
        name = floor.book.value(
            "SELECT t.system FROM tote t WHERE t.shop = ? AND NOT EXISTS "
            "(SELECT 1 FROM system s WHERE s.shop = t.shop AND lower(s.name) = lower(t.system)) LIMIT 1",
            floor.shop,
        )
        if name:
            raise Conflict(
                f"There are totes of {name}, which need its ratio: correct or void their receipt first.",
                field="event",
            )


def _not_used_before(floor: Floor, item: str, seq: int, happened: int) -> None:
    uses = [
        floor.book.one(
            "SELECT at, words FROM touch WHERE (item = ? OR place = ?) AND NOT (shop = ? AND seq = ?) ORDER BY at LIMIT 1",
            item, item, floor.shop, seq,
        )
    ]  # fmt: skip
    for kind, table, column in NAMING:
        if kind == ids.kind_of(item) and table in ("line_act", "reading"):
            uses.append(
                floor.book.one(
                    f"SELECT at, 'used' AS words FROM {table} WHERE {column} = ? ORDER BY at LIMIT 1", item
                )
            )
    first = min((use for use in uses if use), key=lambda use: use.at, default=None)
    if first and first.at < happened:
        raise Conflict(
            f"{ids.pretty(item)} can't have come in at {floor.say(happened)}, because the book uses it from "
            f"{floor.say(first.at)} on ({first.words}): correct that first.",
            field="event",
        )


def _still_taken_in(floor: Floor, tire: str) -> None:
    """An ID of a paper sheet was not minted here; its tire isn't taken away either once something was done with it."""
    if queries.tire(floor.book, tire) is not None:
        return
    used = floor.book.one(
        "SELECT seq, words FROM touch WHERE item = ? AND state NOT IN ('reserved', 'void') ORDER BY at, seq LIMIT 1",
        tire,
    )
    if used:
        raise Conflict(
            f"{ids.pretty(tire)} is used by later events (event {used.seq}: {used.words}); void those first.",
            field="event",
        )


def _cut_out_before_it_was_ground(floor: Floor, tire: str) -> None:
    fill = queries.fill(floor.book, tire)
    cut = floor.book.value("SELECT min(at) FROM out_of WHERE item = ? AND what = 'reclaim'", tire)
    ground = floor.book.one(
        "SELECT i.batch, b.made_at FROM ingredient i JOIN batch b ON b.item = i.batch WHERE i.source = ? ORDER BY b.made_at LIMIT 1",
        tire,
    )
    if ground and (cut is None or cut > ground.made_at):
        when = "" if cut is None else f", before it was cut out at {floor.say(cut)}"
        raise Conflict(
            f"{ids.pretty(tire)} was ground into {ids.pretty(ground.batch)} at {floor.say(ground.made_at)}{when}: "
            "correct or void that first.",
            field="event",
        )
    if cut is not None and (fill is None or fill.at >= cut):
        also = f" and was ground into {ids.pretty(ground.batch)}" if ground else ""
        what = "its fill" if fill is None else f"a fill that ends at {floor.say(fill.at)}"
        raise Conflict(
            f"{ids.pretty(tire)} was cut out at {floor.say(cut)}{also}, so {what} can't be taken away or moved after it: correct or void that first.",
            field="event",
        )


def _nothing_counted_on(floor: Floor, bodies: list[dict[str, Any]], at: int) -> None:
    """A part of a fill isn't voided under a later total that counted on from it."""
    for body in bodies:
        for draw in body.get("draws", []):
            later = floor.book.one(
                "SELECT at, seq FROM line_act WHERE item = ? AND what = 'draw' AND purpose = 'main' AND at >= ? ORDER BY at LIMIT 1",
                draw["item"], at,
            )  # fmt: skip
            if draw["item"] and later:
                raise Conflict(
                    f"{ids.pretty(draw['item'])} was weighed again at {floor.say(later.at)} (event {later.seq}), and that counted on "
                    "from here: void that event first.",
                    field="event",
                )
