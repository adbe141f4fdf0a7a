"""How the rows of one event are written, and which function writes those of each kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import Book

#: Order of touches within one second.
PREPARE, DRAW, AFTER = 1, 2, 3


@dataclass
class Facts:
    """Writes the rows of one event."""

    book: Book
    event: Event
    touches: int = 0

    def row(self, table: str, **columns: Any) -> None:
        self.book.insert(table, {"shop": self.event.shop, "seq": self.event.seq, **columns})

    def touch(
        self,
        item: str,
        words: str,
        *,
        state: str | None = None,
        place: str | None = None,
        at: int | None = None,
        rank: int = AFTER,
    ) -> None:
        """One line of the item's history; *state* and *place* where they change."""
        self.row(
            "touch", n=self.touches, item=item, at=self.event.happened_at if at is None else at, rank=rank,
            state=state, place=place, words=words,
        )  # fmt: skip
        self.touches += 1


Handler = Callable[[Facts, Event, dict[str, Any]], None]
HANDLERS: dict[str, Handler] = {}


def handles(kind: str) -> Callable[[Handler], Handler]:
    """Marks the function that writes the facts of events of *kind*: it gets the facts' writer, the event, and what was said."""

    def register(handler: Handler) -> Handler:
        HANDLERS[kind] = handler
        return handler

    return register


def nameless(shop: str, seq: int, n: int) -> str:
    """The name of a draw that went into no item: a purge, waste, a pump run."""
    return f"{shop}:{seq}.{n}"


def act(facts: Facts, n: int, line: str, what: str, stream: str, item: str, **more: Any) -> None:
    """One act on a line, by which its state is walked on."""
    facts.row(
        "line_act", n=n, line=line, at=facts.event.happened_at, rank=DRAW if what == "draw" else PREPARE, what=what,
        stream=stream, item=item, **more,
    )  # fmt: skip


def draws(facts: Facts, event: Event, line: str) -> None:
    """What was drawn from a line, into an item or into nothing that bears a label."""
    for n, draw in enumerate(event.body["draws"]):
        facts.row(
            "line_act", n=n, line=line, at=event.happened_at, rank=DRAW, what="draw", stream="",
            item=draw["item"] or nameless(event.shop, event.seq, n), started_at=event.body["started_at"], grams=draw["grams"],
            a_g=draw["a_g"], b_g=draw["b_g"], r_g=draw["r_g"], mix_e4=draw["mix_e4"], purpose=draw["purpose"], basis=draw["basis"],
        )  # fmt: skip


def seen(facts: Facts, event: Event, item: str, words: str) -> None:
    """What was looked at on an item: one row each."""
    for n, one in enumerate(event.body["seen"]):
        facts.row(
            "inspection",
            n=n,
            item=item,
            at=event.happened_at,
            name=one["name"],
            value=one["value"],
            good=int(one["good"]),
        )
    bad = [one["name"].replace("_", " ") for one in event.body["seen"] if not one["good"]]
    facts.touch(item, f"{words}: not good: {', '.join(bad)}" if bad else words)
