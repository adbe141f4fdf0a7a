"""What a verb sees while it runs: the book as it stood at that time, who acts, and what it may mint, note or stop."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from fillbook.trace.book import on_hold, queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, keyboards, reasons, times
from fillbook.trace.core.errors import Nonsense, NotAllowed, Stopped, UnknownItem
from fillbook.trace.work.ask import Ask, Words, fields_of, wrong_kind
from fillbook.trace.work.registry import ROLES


@dataclass(frozen=True)
class Finding:
    """Something out of order that is kept with the event. ``holds``: it holds the item until a second person has looked."""

    code: str
    words: str
    item: str = ""
    holds: bool = False

    def plain(self) -> dict[str, object]:
        return {"code": self.code, "words": self.words, "item": self.item, "holds": self.holds}


@dataclass
class Floor:
    """One act under way. ``at`` is when it happened, ``now`` when it is written; both seconds of UTC."""

    book: Book
    shop: str
    now: int
    at: int
    who: str
    role: str
    signed_by: str | None = None
    override: str | None = None
    reuse: list[str] | None = None  # IDs minted when the event was first written: a correction keeps them
    correcting: int | None = None  # the event's number, while a correction is tried
    ids: list[str] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    blobs: dict[str, bytes] = field(default_factory=dict)
    _next: dict[tuple[str, int], int] = field(default_factory=dict)

    # -- the shop --------------------------------------------------------------------------------------------------------------
    @property
    def timezone(self) -> str:
        return queries.timezone(self.book, self.shop)

    def say(self, at: int) -> str:
        return times.show(at, self.timezone)

    def limit(self, name: str, scope: str = "") -> int:
        return queries.limit(self.book, self.shop, name, self.at, scope)

    def state(self, item: str) -> Row:
        """The item's state and place at the time of the act."""
        return queries.state_at(self.book, item, self.at)

    def must_exist(self, item: str, what: str = "") -> Row:
        """The item's state then; refuses a time before it existed or an item that was voided."""
        then = self.state(item)
        if then.state is None:
            first = queries.first_seen(self.book, item)
            raise Nonsense(
                f"{ids.pretty(item)} was not in the book at {self.say(self.at)}"
                + (f"; it came in at {self.say(first)}" if first else "")
                + f". Give the time at which {what or 'this'} happened.",
                field="at",
            )
        if then.state == "void":
            raise Nonsense(f"{ids.pretty(item)} was voided and names nothing any more. Use the right label.")
        return then

    def not_later(self, item: str, states: tuple[str, ...], field: str, until: str = "") -> None:
        """Refuse a late entry of what the book has already, at a later time; *until* it turned into that in between."""
        for one in queries.later_states(self.book, item, self.at):
            if one.state == until:
                return
            if one.state in states:
                raise Nonsense(
                    f"{ids.pretty(item)} was {one.state} already, at {self.say(one.at)} (event {one.seq}); "
                    "correct that event if its time is wrong.",
                    field=field,
                )

    def name(self, item: str) -> str:
        return queries.name_of(self.book, item)

    def keep(self, data: bytes) -> str:
        """Keep *data* beside the journal when this act is written; returns its digest."""
        digest = hashlib.sha256(data).hexdigest()
        self.blobs[digest] = data
        return digest

    # -- what a verb may do ----------------------------------------------------------------------------------------------------
    def mint(self, kind: str, many: int = 1) -> list[str]:
        """*many* new IDs of *kind*; a correction gets those it had."""
        if self.reuse is not None:
            mine = [code for code in self.reuse if ids.kind_of(code) == kind]
            if len(mine) != many:
                raise Nonsense(f"A correction keeps the IDs that were given: {len(mine)} here, not {many}.")
            self.ids += mine
            return mine
        year = datetime.fromtimestamp(self.at, ZoneInfo(self.timezone)).year % 100
        after = self._next.get((kind, year))
        if after is None:
            after = queries.last_serial(self.book, self.shop, kind, year)
        new = []
        for _ in range(many):
            after = ids.next_serial(self.shop, kind, year, after)
            new.append(ids.mint(self.shop, kind, year, after))
        self._next[(kind, year)] = after
        self.ids += new
        return new

    def note(self, code: str, words: str, item: str = "", *, holds: bool = False) -> None:
        """Keep a finding with the event: what has happened is recorded, never refused."""
        self.findings.append(Finding(code, words, item, holds))

    def stop(self, code: str, words: str, item: str = "", *, field: str | None = None) -> None:
        """A breach before the act: refuse, or keep it as a finding where a lead or owner overrides it with a reason."""
        if self.override is None:
            raise Stopped(f"{words} A lead can override this with a reason.", field=field)
        if ROLES.index(self.role) < ROLES.index("lead"):
            raise NotAllowed(
                f"{words} Only a lead or the owner can override this; you act as a {self.role}.",
                field="override",
            )
        # One in the book stays good
        if self.correcting is None and not reasons.says_something(self.override):
            raise Nonsense(f"{words} {reasons.too_little(self.override)}", field="override")
        # signed by oneself when alone: a tire waits until a second person has looked, before it leaves
        alone = bool(item) and self.signed_by is None and ids.kind_of(item) == "F"
        self.note(code, f"{words} Overridden: {self.override}", item, holds=alone)

    def check_held(self, item: str, doing: str, field: str, *, may_be_recalled: bool = False) -> None:
        """Stop where a hold lies on *item* or its lot, or an open recall keeps it, unless that ends so: *may_be_recalled*."""
        for one in on_hold.holds_on(self.book, item):
            if one.at > self.at:  # what is entered late was done before it was held
                continue
            if not one.recall:
                words = f"{ids.pretty(item)} is on hold ({one.why}); no {doing} until it is lifted."
                self.stop("held", words, item, field=field)
            elif not may_be_recalled:
                words = f"{ids.pretty(item)} is kept by a recall ({one.why}); no {doing} until that recall is closed."
                self.stop("recalled", words, item, field=field)

    def check_listed(self, item: str, doing: str, field: str) -> None:
        """Stop where an open recall lists *item*, whatever became of it since."""
        for one in on_hold.recalled(self.book, [item], ended=True).get(item, ()):
            words = (
                f"{ids.pretty(item)} is kept by a recall ({one.why}); no {doing} until that recall is closed."
            )
            self.stop("recalled", words, item, field=field)

    def person(self, said: str) -> Row:
        return queries.person(self.book, self.shop, said)


def stored(ask: Ask, blobs: dict[str, bytes]) -> dict[str, Any]:
    """What stands of an ask in the event; whole files go to *blobs*, their digest stays."""
    said = ask.model_dump(exclude_none=True)
    for one in fields_of(type(ask)):
        if (
            isinstance(one.mark, Words)
            and not one.mark.kept
            and one.name in said
            and not said[one.name].startswith("sha256:")
        ):
            data = said[one.name].encode()
            digest = hashlib.sha256(data).hexdigest()
            if one.mark.blob:
                blobs[digest] = data
            said[one.name] = f"sha256:{digest}"
        elif one.kind is dict and one.name in said:
            said[one.name] = _without_files(said[one.name])
    return said


def _without_files(value: Any) -> Any:
    """What a correction said, a whole file in it named by its digest: the new body keeps the file itself."""
    if isinstance(value, dict):
        return {name: _without_files(part) for name, part in value.items()}
    if isinstance(value, list):
        return [_without_files(part) for part in value]
    if isinstance(value, str) and ("\n" in value or len(value) > 2000):
        return f"sha256:{hashlib.sha256(value.encode()).hexdigest()}"
    return value


def keep_blob(book: Book, digest: str, data: bytes) -> None:
    """Store bytes under their digest, once."""
    if not book.value("SELECT 1 FROM blob WHERE digest = ?", digest):
        book.insert("blob", {"digest": digest, "bytes": data})


def find_item(book: Book, shop: str | None, text: str, kinds: str, field: str) -> str:
    """The compact ID that *text* means: an ID, a label's address or, for lines, zones and people, a name.

    Raises UnknownItem, WrongKind, or Nonsense where the check character is wrong.
    """
    if any(kind in "ZUP" for kind in kinds):
        for kind in kinds:
            if kind in "ZUP" and shop:
                named = queries.by_name(book, shop, kind, text)
                if named:
                    return named
    try:
        compact = keyboards.read_id(text)
    except Nonsense as trouble:
        raise ids.in_letters_of(trouble, shop or "", kinds[0], field) from None
    if not queries.item_exists(book, compact):
        raise UnknownItem(
            f"{ids.pretty(compact)} reads well, but no such label was given out in this book. Check that it is this shop's.",
            field=field,
        )
    owner = queries.shop_of(book, compact)
    if shop and owner != shop:
        raise UnknownItem(
            f"{ids.pretty(compact)} belongs to the shop {owner}; this is {shop}. Scan one of this shop's labels.",
            field=field,
        )
    if ids.kind_of(compact) not in kinds:
        raise wrong_kind(compact, kinds, field)
    return compact
