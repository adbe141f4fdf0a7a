"""What a page says after an act that left something on hold: that it is, why, what it may not do meanwhile, and who looks next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from flask import flash

from fillbook.trace.book import on_hold, queries
from fillbook.trace.book.danger import DANGER, kept_away
from fillbook.trace.book.opening import Row
from fillbook.trace.core import ids
from fillbook.trace.web import here
from fillbook.trace.work.acting import Answer
from fillbook.trace.work.filling import UNFILLED

SAID_AT_ONCE = 3  # items said one by one on the page that follows; the holds' page has them all
#: What a hand can do about it now, by the finding's code; where nothing stands here, nothing is to be done but wait.
NOW = {
    "no pressure": "Stop the flow and read the pressure; a lead then enters it by correcting the fill.",
    "flow running": "Stop the flow and read the pressure again; a lead then enters it by correcting the fill.",
    DANGER: "Keep away from the tire and tell a lead at once.",
    "unusual weight": "Read the weight and its unit again; a lead corrects it if it was typed wrong.",
    "transport damage": "Set it apart, and tell whoever ordered it.",
    "rating not legible": "Take a photograph of the sidewall for the lead.",
}


@dataclass(frozen=True)
class Reason:
    """One open hold: why, what to do at once, and which event led to it. ``by_rule``: a second person has to lift it;
    ``recall``: the event that opened the recall it is kept by."""

    why: str
    now: str
    seq: int
    by_rule: bool
    recall: int = 0


@dataclass(frozen=True)
class Held:
    """One item on hold, as the page that follows an act says it. ``means``: tire, danger (a tire to keep away from),
    casing (not filled yet), released, gone, tote, batch, other."""

    item: str
    means: str
    reasons: tuple[Reason, ...]

    @property
    def by_rule(self) -> bool:
        return any(one.by_rule for one in self.reasons)

    @property
    def recall(self) -> int | None:
        """The event that opened the recall it is kept by, where nothing else holds it."""
        opened = [one.recall for one in self.reasons]
        return opened[0] if all(opened) else None

    @property
    def correct(self) -> int | None:
        """The newest event that can be put right, where its reason may be a number typed wrong."""
        return max((one.seq for one in self.reasons if one.by_rule), default=None)


def say_after(answer: Answer, *more: str) -> None:
    """Have the next page say what of *answer*'s items is on hold by a rule; and of *more* items, whatever they are held for."""
    named = [one["item"] for one in answer.findings if one["holds"]]
    # a correction's findings stand in the corrected event's new body: its holds are those of that event
    corrected = here.book().value(
        "SELECT corrects FROM event WHERE shop = ? AND seq = ?", answer.shop, answer.seq
    )
    if corrected is not None:
        named += [
            item
            for (item,) in here.book().tuples(
                "SELECT item FROM hold WHERE shop = ? AND seq = ? AND by_rule = 1 ORDER BY n",
                answer.shop,
                corrected,
            )
        ]
    for item in list(dict.fromkeys([*named, *more]))[:SAID_AT_ONCE]:
        if item and on_hold.holds_on(here.book(), item):
            flash(item, "held")


URGENCY = {"hold": 0, "stop": 0, "held": 1, "go": 2}


def most_urgent_first(flashed: Iterable[tuple[str, str]]) -> list[tuple[str, str]]:
    """What a page says after an act, (look, words): what was refused, a tire to keep away from, other holds, what was
    done, then the notes."""

    def rank(one: tuple[str, str]) -> int:
        look, words = one
        return 0 if look == "held" and kept_away(here.book(), words) else URGENCY.get(look, 3)

    return sorted(flashed, key=rank)


def held(item: str) -> Held | None:
    """What holds *item* (compact ID) now; None where nothing does."""
    book = here.book()
    holds = on_hold.holds_on(book, item)
    if not holds:
        return None
    reasons = tuple(sorted(_reasons(holds), key=lambda one: one.now != NOW[DANGER]))  # the danger first
    means = _means(item)
    if means == "tire" and kept_away(book, item):
        means = "danger"
    return Held(item, means, reasons)


def _reasons(holds: Iterable[Row]) -> Iterator[Reason]:
    for one in holds:
        code = (
            here.book().value(
                "SELECT code FROM finding WHERE shop = ? AND seq = ? AND words = ? AND holds = 1 LIMIT 1",
                one.shop, one.seq, one.why,
            )
            if one.by_rule
            else None
        )  # fmt: skip
        yield Reason(one.why, NOW.get(code or "", ""), one.seq, bool(one.by_rule), one.recall)


def _means(item: str) -> str:
    kind = ids.kind_of(item) if ids.is_valid(item) else ""
    if kind == "F":
        state = queries.place_of(here.book(), item).state
        if state in (*UNFILLED, "paused", "abandoned"):
            return "casing"
        return {"released": "released", "dispatched": "gone"}.get(state or "", "tire")
    return {"L": "tote", "G": "batch"}.get(kind, "other")
