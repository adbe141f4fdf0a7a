"""Doing a verb: read the ask, take the chain, check, write one event, apply it, derive what follows. All of it, or nothing."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from fillbook.trace.book import apply, drafts, journal, queries
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import Conflict, Nonsense, NotAllowed, UnknownItem
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Reading, clean, read
from fillbook.trace.work.floor import Floor, find_item, keep_blob, stored

AHEAD_S = 120
ARTICLES = {"hand": "a hand", "lead": "a lead", "owner": "the owner"}


@dataclass(frozen=True)
class Action:
    """What somebody asks: a verb with its fields, and who, when and where. All as said."""

    verb: str
    fields: dict[str, Any] = field(default_factory=dict)
    at: str | int | None = None
    who: str | None = None
    signed_by: str | None = None
    override: str | None = None
    request: str | None = None
    station: str | None = None
    shop: str | None = None
    saw: int | None = None  # the shop's last event when the form was drawn
    saw_items: tuple[str, ...] = ()  # the items the form was about


@dataclass(frozen=True)
class Answer:
    """What was written. ``repeated``: this request had been done before and was not done again."""

    shop: str
    seq: int
    ids: tuple[str, ...]
    findings: tuple[dict[str, Any], ...]
    repeated: bool = False


def act(book: Book, action: Action, *, now: int, most: str | None = None) -> Answer:
    """Do *action*, or change nothing. *now* is the clock, in seconds of UTC. *most*: a role above which nobody acts here, whoever is
    named: what a signer's PIN showed, or what a device may do.

    Raises ShopError: Nonsense, UnknownItem, WrongKind, Stopped, NotAllowed, Conflict.
    """
    verb = registry.find(action.verb)
    if verb.name == "set up shop":
        return _set_up(book, verb, action, now)
    shop = book.the_shop(action.shop)
    with journal.writing(book, shop) as chain:
        timezone = queries.timezone(book, shop)
        at, typed_at = _time(action, timezone, now)
        who = queries.person(book, shop, _who(action))
        how = Reading(timezone, lambda text, kinds, field: find_item(book, shop, text, kinds, field))
        ask = read(verb.ask, action.fields, how)
        said = {**stored(ask, {}), **({"typed": how.typed} if how.typed else {})}
        if action.override:
            said["override"] = clean(action.override, "override", 500)
        signer = queries.person(book, shop, action.signed_by) if action.signed_by else who
        signed_by = signer["item"] if signer["item"] != who["item"] else None
        if answer := _done_before(book, shop, verb.name, action, said, at, (who["item"], signed_by)):
            return answer
        _nobody_was_faster(book, shop, action)
        role = max(who.role, signer.role, key=registry.ROLES.index)
        role = min(role, most or role, key=registry.ROLES.index)
        if registry.ROLES.index(role) < registry.ROLES.index(verb.role):
            raise NotAllowed(
                f"To {verb.name} takes {ARTICLES[verb.role]}; {who.name} is a {who.role}. Ask one to sign.",
                field="who",
            )
        floor = Floor(
            book, shop, now, at, who["item"], role, signed_by, said.get("override")
        )  # fmt: skip
        if typed_at:
            said["typed_at"] = typed_at
        extra = verb.do(ask, floor) or {}
        stored(ask, floor.blobs)
        for digest, data in {**extra.pop("blobs", {}), **floor.blobs}.items():
            keep_blob(book, digest, data)
        correcting, before = extra.pop("correcting", None), extra.pop("bore_on", None)
        at = extra.pop("happened_at", at)
        body = {"said": said, "ids": floor.ids, "findings": [f.plain() for f in floor.findings], **extra}
        event = journal.Event(
            shop=shop, seq=chain.seq + 1, kind=verb.name, happened_at=at, recorded_at=now, who=who["item"], body=body,
            prev=chain.head, signed_by=floor.signed_by, station=_short(action.station, "station"),
            request=_short(action.request, "request"), corrects=correcting,
        )  # fmt: skip
        answer = _write(book, chain, event, before)
        # What was typed at the tire and not sent is of no use any more, on whichever device
        if verb.name == "finish fill":
            drafts.erase(book, shop, ask.tire)  # type: ignore[attr-defined]
        if correcting is not None or (verb.name in ("finish fill", "pour cup") and at < now):
            _correct_what_follows(chain, floor, event)
        return answer


def _correct_what_follows(chain: journal.Chain, floor: Floor, event: journal.Event) -> None:
    """After a correction or a late entry: refuse it where others stand on what it pulls away, and work out anew what took something
    from it."""
    from fillbook.trace.work.corrections import check_after
    from fillbook.trace.work.following import following

    if event.corrects is not None:
        check_after(floor, event)
    for body in following(floor, event):
        correcting, before, at = body.pop("correcting"), body.pop("bore_on"), body.pop("happened_at")
        also = replace(
            event, kind="correct", seq=chain.seq + 1, prev=chain.head, happened_at=at, body=body, corrects=correcting, request=None
        )  # fmt: skip
        _write(floor.book, chain, also, before)
        check_after(floor, also)


def _write(book: Book, chain: journal.Chain, event: journal.Event, before: Any = None) -> Answer:
    chain.append(event)
    apply.apply(book, chain, event, before)
    return Answer(event.shop, event.seq, tuple(event.body["ids"]), tuple(event.body["findings"]))


def _set_up(book: Book, verb: registry.Verb, action: Action, now: int) -> Answer:
    how = Reading(str(action.fields.get("timezone") or "UTC"), lambda text, kinds, field: text)
    ask: Any = read(verb.ask, action.fields, how)
    if action.request and (seen := _seen(book, ask.site, action.request)):
        if seen.kind == verb.name and {
            k: v for k, v in seen.body["said"].items() if k != "typed_at"
        } == ask.model_dump(exclude_none=True):
            return Answer(seen.shop, seen.seq, tuple(seen.body["ids"]), tuple(seen.body["findings"]), True)
        raise Conflict(
            f"The request {action.request} was used before for something else. Send a new request id.",
            field="request",
        )
    at, typed_at = _time(action, ask.timezone, now)
    with journal.writing(book, ask.site, new=True) as chain:
        floor = Floor(book, ask.site, now, at, "", "owner")
        extra = verb.do(ask, floor) or {}
        said = ask.model_dump(exclude_none=True) | ({"typed_at": typed_at} if typed_at else {})
        event = journal.Event(
            shop=ask.site, seq=1, kind=verb.name, happened_at=at, recorded_at=now, who=floor.ids[0], prev=chain.head,
            body={"said": said, "ids": floor.ids, "findings": [], **extra},
            station=_short(action.station, "station"), request=_short(action.request, "request"),
        )  # fmt: skip
        return _write(book, chain, event)


def _short(text: str | None, field: str) -> str | None:
    return clean(text, field, 80) if text else None


def _who(action: Action) -> str:
    if not action.who:
        raise UnknownItem(
            "Nobody is named as acting. Say who: a person's name or badge.",
            field="who",
            expected="a name or badge",
        )
    return str(action.who)


def _time(action: Action, timezone: str, now: int) -> tuple[int, str | None]:
    """When it happened: what was typed, or the server's time."""
    if action.at is None or action.at == "":
        return now, None
    if isinstance(action.at, int):
        at, typed = action.at, None
    else:
        read_time = times.parse(str(action.at), timezone, field="at")
        at, typed = read_time.at, f"{read_time.typed} {read_time.zone}"
    try:
        times.check_not_ahead(at, now, AHEAD_S)
    except Nonsense as trouble:
        raise Nonsense(str(trouble), field="at") from None
    return at, typed


def _seen(book: Book, shop: str, request: str) -> journal.Event | None:
    text = book.value("SELECT text FROM event WHERE shop = ? AND request = ?", shop, request)
    return journal.Event.from_text(text) if text else None


def _done_before(
    book: Book,
    shop: str,
    kind: str,
    action: Action,
    said: dict[str, Any],
    at: int,
    by: tuple[str, str | None],
) -> Answer | None:
    """The stored answer when this request was done before; raises Conflict when it was done with other content."""
    if not action.request or not (seen := _seen(book, shop, clean(action.request, "request", 80))):
        return None
    before = {k: v for k, v in seen.body["said"].items() if k != "typed_at"}
    same_time = not action.at or at == (seen.happened_at if seen.corrects is None else seen.body["said_at"])
    if (seen.kind, before, (seen.who, seen.signed_by)) != (kind, said, by) or not same_time:
        raise Conflict(
            f"The request {action.request} was used before for something else (event {shop}:{seen.seq}, {seen.kind}). "
            "Nothing was done; send it again with a new request id if it is meant.",
            field="request",
        )
    return Answer(shop, seen.seq, tuple(seen.body["ids"]), tuple(seen.body["findings"]), True)


def _nobody_was_faster(book: Book, shop: str, action: Action) -> None:
    """A form shows what it knew; if one of its items moved on since, the person looks again."""
    if action.saw is None:
        return
    for item in action.saw_items:
        later = book.one(
            "SELECT seq, words FROM touch WHERE shop = ? AND item = ? AND seq > ? ORDER BY seq DESC LIMIT 1",
            shop, item, action.saw,
        )  # fmt: skip
        if later:
            raise Conflict(
                f"{ids.pretty(item)} moved on while this page was open: {later.words} (event {shop}:{later.seq}). "
                "Look at it again before you go on."
            )


class _DryRun(Exception):
    pass


@contextlib.contextmanager
def dry_run(book: Book) -> Iterator[None]:
    """Whatever happens inside is undone at the end."""
    with contextlib.suppress(_DryRun), book.transaction():
        yield
        raise _DryRun
