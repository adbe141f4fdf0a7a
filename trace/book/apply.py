"""From an event to fact rows. Nothing else writes facts, and this reads nothing but the event and the blobs it names.

Fact rows carry the number of the event that said them, so a correction can take them away and write those of the new body in
their place. Minted IDs are never taken away: a voided tire keeps its number and the word *void*.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fillbook.trace.book import derive
from fillbook.trace.book.facts.writing import HANDLERS, Facts, nameless
from fillbook.trace.book.journal import Chain, Event
from fillbook.trace.book.opening import Book
from fillbook.trace.book.tables import FACTS
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Damaged


def take_away(book: Book, shop: str, seq: int) -> derive.Affected:
    """Remove the facts of event *seq*, and tell what they bore on."""
    before = derive.affected_by(book, shop, seq)
    for table in FACTS:
        book.execute(f"DELETE FROM {table} WHERE shop = ? AND seq = ?", (shop, seq))
    return before


def apply(book: Book, chain: Chain, event: Event, before: derive.Affected | None = None) -> None:
    """Write the facts of *event* and derive again what they bear on.

    *before* is what the facts of a corrected event bore on, where they were taken away already.
    """
    _number(book, chain, event)
    if event.corrects is None:
        _write(book, event)
        derive.refresh(book, event.shop, derive.affected_by(book, event.shop, event.seq))
        return
    target = original(book, event.shop, event.corrects)
    if before is None:
        before = take_away(book, event.shop, target.seq)
    if event.body["void"]:
        _void(book, target, event)
    else:
        _write(book, replace(target, happened_at=event.happened_at, body=event.body["body"]), before.holds)
    facts = Facts(book, event)
    _findings(facts, event)
    for item in touched(target.body):
        facts.touch(item, f"{target.kind}: {'voided' if event.body['void'] else 'corrected'} · {event.body['said']['why']}",
                    at=event.recorded_at)  # fmt: skip
    derive.refresh(
        book,
        event.shop,
        before
        | derive.affected_by(book, event.shop, target.seq)
        | derive.affected_by(book, event.shop, event.seq),
    )


def original(book: Book, shop: str, seq: int) -> Event:
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", shop, seq)
    if text is None:
        raise Damaged(f"Event {shop}:{seq} is corrected but missing.")
    return Event.from_text(text)


def effective(book: Book, shop: str, seq: int) -> Event | None:
    """The event as it now stands: its newest correction's body; None when it is void or missing."""
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", shop, seq)
    if text is None:
        return None
    event = Event.from_text(text)
    newest = book.value(
        "SELECT text FROM event WHERE shop = ? AND corrects = ? ORDER BY seq DESC LIMIT 1", shop, seq
    )
    if newest is None:
        return event
    correction = Event.from_text(newest)
    if correction.body["void"]:
        return None
    return replace(event, happened_at=correction.happened_at, body=correction.body["body"])


def touched(body: dict[str, Any]) -> list[str]:
    """The items an event body names, minted or mentioned, each once and in order."""
    found: dict[str, None] = dict.fromkeys(body.get("ids", []))

    def look(value: Any) -> None:
        if isinstance(value, str) and 11 <= len(value) <= 12 and ids.is_valid(value):
            found.setdefault(value)
        elif isinstance(value, list):
            for part in value:
                look(part)
        elif isinstance(value, dict):
            for part in value.values():
                look(part)

    look(body.get("said", {}))
    return list(found)


def _number(book: Book, chain: Chain, event: Event) -> None:
    """Give the new items of an event, and its draws without an item, their numbers."""
    codes = [code for code in event.body.get("ids", []) if event.corrects is None]
    draws = (
        event.body.get("draws", []) if event.corrects is None else (event.body["body"] or {}).get("draws", [])
    )
    seq = event.corrects or event.seq
    for n, draw in enumerate(draws):
        code = nameless(event.shop, seq, n)
        if not draw["item"] and not book.value("SELECT 1 FROM item WHERE code = ?", code):
            codes.append(code)
    if not codes:
        return
    first = chain.number_items(len(codes))
    rows = []
    for offset, code in enumerate(codes):
        kind = "W" if ":" in code else ids.kind_of(code)
        year, serial = (0, 0) if kind == "W" else (int(code[3:5]), int(code[5:-1]))
        rows.append((first + offset, code, event.shop, kind, year, serial, seq))
    book.insert_many("item", ("num", "code", "shop", "kind", "year", "serial", "seq"), rows)


def _write(book: Book, event: Event, holds: dict[str, int] | None = None) -> None:
    """The facts of *event*; *holds* are those its earlier body had led to, by their words."""
    handler = HANDLERS.get(event.kind)
    if handler is None:
        raise Damaged(
            f"Event {event.shop}:{event.seq} is a {event.kind!r}, which this program does not know. Use a newer one."
        )
    facts = Facts(book, event)
    handler(facts, event, event.body["said"])
    _findings(facts, event, holds or {})


def _findings(facts: Facts, event: Event, holds: dict[str, int] | None = None) -> None:
    """Findings, and the holds they lead to. A hold keeps its number through a correction while its words stay the same; another
    gets a new one, so that what was lifted for one reason isn't lifted for another."""
    kept = holds or {}
    lifted = facts.book.value(
        "SELECT max(hold_n) FROM lift WHERE shop = ? AND hold_seq = ?", event.shop, event.seq
    )
    new = max([-1 if lifted is None else lifted, *kept.values()]) + 1
    for n, found in enumerate(event.body["findings"]):
        facts.row(
            "finding",
            n=n,
            item=found["item"],
            code=found["code"],
            words=found["words"],
            holds=int(found["holds"]),
        )
        if found["holds"]:
            number = kept.get(found["words"], new)
            new = max(new, number + 1)
            facts.row(
                "hold", n=number, item=found["item"], lot="", supplier="", why=found["words"], at=event.happened_at, by_rule=1,
                who=event.who,
            )  # fmt: skip


def _void(book: Book, target: Event, correction: Event) -> None:
    facts = Facts(book, target)
    for code in target.body["ids"]:
        facts.touch(code, f"{target.kind}: void", state="void", place="", at=target.happened_at)
