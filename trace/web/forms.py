"""One form for every verb: drawn from its model, read back, done, and drawn again with what was typed when it is refused."""

from __future__ import annotations

import contextlib
import re
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from flask import flash, g, request, session
from werkzeug.datastructures import MultiDict

from fillbook.trace.book import queries, sign_ins
from fillbook.trace.core import keyboards
from fillbook.trace.core.errors import Conflict, Nonsense, NotAllowed, ShopError, Stopped, UnknownItem
from fillbook.trace.web import field_words, held, here, inputs, late, wording
from fillbook.trace.web.inputs import Input
from fillbook.trace.web.scan.named import keyboards_differ
from fillbook.trace.web.trouble import status_of
from fillbook.trace.work import acting, registry, signing
from fillbook.trace.work.ask import Item, fields_of

# Notes after an act; they travel in a cookie, of which browsers take 4 kB
SAID_AT_ONCE, LONGEST_SAID = 4, 500
#: What is over by the time its button is touched: where there was no connection, it is entered as of then. What a page lets somebody do
#: first, such as to begin a fill, begins when the book says so.
OVER_WHEN_PRESSED = (
    "finish fill", "pause", "abandon", "hook up", "unhook", "odd flow", "leak", "purge", "pour cup", "read cup", "read temperature",
)  # fmt: skip
REQUEST = re.compile("[A-Za-z0-9_-]{1,64}")
#: A caption that begins so is set in quotation marks: "Why is missing" would read as a question.
ASKING = re.compile(r"(?:why|what|how|which|who|whose|where|when)\b", re.IGNORECASE)


class OtherHands(Nonsense):
    """The page was opened by somebody else than who works here by now: whose act it is has to be said, and nothing is written."""


def at_fault(one: Input, field: str) -> Input:
    """The input that *field* of an error names: of a repeated group, such as ``pieces[1].source``, the one in its row."""
    row = re.match(r"\w+\[(\d+)\]\.(\w+)", field)
    filled = [group for group in one.groups if any(part.said for part in group)]  # empty rows were not sent
    if row and int(row[1]) < len(filled):
        return next((part for part in filled[int(row[1])] if row[2] in part.stored), one)
    return one


class Form:
    """A verb as a page asks it.

    *fixed*: values the page itself names, such as the tire whose page it is; they are sent, never asked. *first*: which fields
    stand at once, the others under *more*. *prefill*: what stands in the fields before anybody typed.
    """

    def __init__(
        self, verb: str, *, fixed: Mapping[str, Any] | None = None, first: Iterable[str] | None = None,
        prefill: Mapping[str, Any] | None = None, action: str | None = None, button: str | None = None,
        hidden: Iterable[str] = (),
    ) -> None:  # fmt: skip
        self.verb = registry.find(verb)
        self.captions_of = self.verb  # the verb by whose captions an error names a field
        self.role = self.verb.role  # whoever signs has at least this one
        self.fixed = dict(fixed or {})
        self.hidden = set(hidden)
        self.action = action or f"/do/{self.verb.command}"
        self.button = button or wording.button(self.verb.name)
        self.caution = wording.cautions(self.verb.name, self.verb.place)
        self.all_fields = list(fields_of(self.verb.ask))
        needed = tuple(one.name for one in self.all_fields if one.needed)
        self.first = tuple(first) if first is not None else wording.FIRST.get(self.verb.name, needed)
        self.said: MultiDict = MultiDict({k: v for k, v in (prefill or {}).items() if v not in (None, "")})
        self.error: ShopError | None = None
        self.request_id = uuid.uuid4().hex
        self.saw = g.get("saw", 0)
        self.about = [v for v in self.fixed.values() if isinstance(v, str)]
        items = {one.name for one in self.all_fields if isinstance(one.mark, Item)}
        self.about += [v for k, v in self.said.items() if k in items and isinstance(v, str)]
        self.posted = False
        # Whether the page sends it itself and stays where the connection breaks (static/sending.js)
        self.stays = False
        self.draft = ""  # where a script keeps what was typed for other devices (static/drafts.js)
        # Items whose holds the next page says, whenever they were put on
        self.looked_at_after: tuple[str, ...] = ()
        # What stops it is known before it is sent: the reason to override is asked at once
        self.stopped = False
        self.waited = 0  # seconds since its button was touched first, where no connection let it through
        self.asked = ""  # what was asked back: sent once more as it is, it is meant
        self.begins = False  # the first page says so, once it has seen the code
        person = here.who() if g.get("shop") else None
        # For whom the page was drawn; somebody else may work here by then
        self.opened_by = person["item"] if person else ""
        self.did_it = ""  # which of the two did it, once that was asked
        self.two: list[Any] = []  # whom to ask about: who opened it, who works here now
        self.pin = ""  # kept apart from what was said, so that no page can show it

    # -- reading what was sent -------------------------------------------------------------------------------------------------
    def send(self) -> acting.Answer | None:
        """Do the verb with what was posted; None where it was refused, the reason kept for drawing the form again."""
        self.take(request.form)
        try:
            answer = self.act()
        except ShopError as trouble:
            self.refuse(trouble)
            return None
        self.done(answer)
        return answer

    def act(self) -> acting.Answer:
        """Do what was posted. The one way from a page into the book; raises ShopError where it is refused."""
        if too_old := g.get("too_old"):
            with contextlib.suppress(ShopError):
                self.read()  # a file's lines are kept with what was typed
            raise too_old
        action = self.read()
        self.ask_who_did_it()
        if action.who is None and session.get("expired"):
            raise UnknownItem(
                "This station stood unused for a shift, so it no longer knows who works here. What you typed is kept: pick your name and "
                "send it again.",
                field="who",
            )
        try:
            return self._sign(action)
        except Nonsense:
            if action.at is None or self.said.get("at", "").strip():
                raise
            # The device's clock was set meanwhile, so that it would be before what it followed: then as of now
            return self._sign(replace(action, at=None))

    def _sign(self, action: acting.Action) -> acting.Answer:
        return signing.act(here.book(), action, pin=self.pin, now=here.now(), begins=self.begins)

    def doer(self) -> Any:
        """Whose act it is: who works here, or who opened the page and was named as having done it; None where nobody is known."""
        person = here.who() if g.get("shop") else None
        if person and self.did_it and self.did_it == self.opened_by:
            return next(
                (p for p in queries.people(here.book(), here.shop()) if p["item"] == self.did_it), person
            )
        return person

    def ask_who_did_it(self) -> None:
        """Raise :class:`OtherHands` where the page was opened by somebody else than who works here now, and nobody said who did it."""
        person = here.who() if g.get("shop") else None
        opened = self.opened_by or self.said.get("who", "")
        if person is None or opened in ("", person["item"]) or self.did_it in (opened, person["item"]):
            return
        opener = next((p for p in queries.people(here.book(), here.shop()) if p["item"] == opened), None)
        if opener is None:
            return
        self.opened_by, self.did_it, self.two = opened, "", [opener, person]
        raise OtherHands(
            f"This page was opened by {opener.name}; {person.name} works here now. Who did it?",
            field="opened_by",
        )

    def take(self, said: MultiDict) -> None:
        """Keep what was posted."""
        self.posted = True
        self.said = MultiDict(said)
        self.opened_by = (
            self.said.pop("opened_by", "") if "opened_by" in self.said else request.form.get("opened_by", "")
        )
        self.did_it = self.said.pop("did_it", "") or request.form.get("did_it", "")
        # What was touched before it was asked
        if self.did_it and ":" in (pressed := self.said.pop("pressed", "")):
            name, _, value = pressed.partition(":")
            self.said.setdefault(name, value)
        self.asked = self.said.get("asked", "") or self.asked
        self.pin = self.said.pop("pin", "")
        self.waited = late.waited(said)
        sent = said.get("request", "")
        if REQUEST.fullmatch(sent):  # a device's requests begin otherwise: no page uses up their numbers
            self.request_id = sent
        seen = here.number(said.get("saw", ""))
        self.saw = self.saw if seen is None else seen
        self.about = said.getlist("about") or self.about

    def read(self) -> acting.Action:
        """The action that was posted. Raises Nonsense where a field is missing or a file is no text."""
        asked = [one for one in self.all_fields if one.name not in self.fixed]
        typed = inputs.fields_said(self.verb.name, asked, self.said, request.files)
        inputs.check_points(asked, typed)
        fields = typed | self.fixed
        for one in asked:
            if one.mark is not None and hasattr(one.mark, "lines") and one.mark.lines and one.name in fields:
                self.said[one.name] = fields[one.name]
            if one.needed and not any(accepts in fields for accepts in one.accepts):
                name = wording.caption(self.verb.name, one.name)
                hint = one.words[:1].lower() + one.words[1:]
                if hint.rstrip(".").lower() == name.lower():
                    raise Nonsense(f'The field "{name}" is empty: fill it in.', field=one.accepts[0])
                if ASKING.match(name):
                    raise Nonsense(f'The field "{name}" is empty: {hint.rstrip(".")}.', field=one.accepts[0])
                raise Nonsense(f"{name} is missing: {hint.rstrip('.')}.", field=one.accepts[0])
        person = self.doer()
        override = self.said.get("override", "").strip()
        signed_by = self.said.get("signed_by") or None
        if person and signed_by == person["item"]:
            signed_by = None  # who works here signs for themself
        return acting.Action(
            self.verb.name, fields, at=self.said.get("at", "").strip() or self._as_of(),
            who=person["item"] if person else self.said.get("who") or None, signed_by=signed_by,
            override=override or None, request=self.request_id, station=session.get("station"), shop=g.get("shop"),
            saw=self.saw, saw_items=tuple(self.about),
        )  # fmt: skip

    @property
    def is_over(self) -> bool:
        """Whether what it says has happened by the time its button is touched."""
        return self.verb.name in OVER_WHEN_PRESSED

    def _as_of(self) -> int | None:
        """When its button was touched, if that is a while ago and the book has not heard of it since: seconds of UTC, else None."""
        if not self.is_over or not self.waited:
            return None
        heard = queries.event_of_request(here.book(), here.shop(), self.request_id) if g.get("shop") else None
        return here.now() - self.waited if heard is None else None

    def refuse(self, trouble: ShopError) -> None:
        """Keep why it was refused; after a conflict the form is a new one, drawn with what the book says now."""
        self.error = field_words.in_captions(trouble, self.captions_of.name, self.verb.name)
        if trouble.field == "read_as" and trouble.expected:
            self.said["read_as"] = (
                trouble.expected
            )  # how the logger's file would be read: sent again, it is confirmed
        if isinstance(trouble, Conflict):
            self.request_id = uuid.uuid4().hex
            self.saw = g.get("saw", 0)

    def done(self, answer: acting.Answer) -> None:
        """After it was done: remember who worked here, and say what was found on the way."""
        if here.who() is None and self.said.get("who"):
            g.shop = answer.shop
            here.choose(queries.person(here.book(), answer.shop, self.said["who"])["item"])
        # what is said alike of several tires is said once
        notes = list(dict.fromkeys(finding["words"] for finding in answer.findings if not finding["holds"]))
        for words in notes[:SAID_AT_ONCE]:
            flash(words[:LONGEST_SAID], "look")
        if len(notes) > SAID_AT_ONCE:
            flash(f"More was noted with event {answer.seq}: {len(notes) - SAID_AT_ONCE}.", "look")
        held.say_after(answer, *self.looked_at_after)
        labels = [self.said.getlist(one.name) for one in self.all_fields if isinstance(one.mark, Item)]
        lines = (line for texts in labels for text in texts for line in text.splitlines())
        if mixed := next(filter(None, map(keyboards.meant, lines)), None):
            flash(keyboards_differ(mixed), "look")
        if answer.repeated:
            flash(f"This was sent before and stands as event {answer.seq}; it was not done twice.", "look")

    @property
    def status(self) -> int:
        return 200 if self.error is None else status_of(self.error)

    # -- drawing ---------------------------------------------------------------------------------------------------------------
    def inputs(self) -> list[Input]:
        """All inputs, the error beside the one at fault."""
        drawn = [
            inputs.draw(self.verb.name, one, self.said)
            for one in self.all_fields
            if one.name not in self.fixed and one.name not in self.hidden
        ]
        field = (self.error.field or "") if self.error else ""
        for one in drawn:
            if field.split("[")[0] in one.stored:
                at_fault(one, field).error = str(self.error)
        return drawn

    def at_once(self, drawn: list[Input]) -> list[Input]:
        order = {name: n for n, name in enumerate(self.first)}
        shown = [one for one in drawn if one.name in order or one.error or one.groups]
        return sorted(shown, key=lambda one: order.get(one.name, len(order)))

    def under_more(self, drawn: list[Input]) -> list[Input]:
        shown = {one.name for one in self.at_once(drawn)}
        return [one for one in drawn if one.name not in shown]

    @property
    def error_at_top(self) -> bool:
        """Whether the error stands above the form: where it is about more than one field, or about none that is shown."""
        if isinstance(self.error, OtherHands):  # asked inside the form, with its two buttons
            return False
        if self.error is None or isinstance(self.error, Stopped | NotAllowed | Conflict):
            return self.error is not None
        shown = self.shown()
        parts = [part for one in shown for group in one.groups for part in group]
        return not (self.at_error or any(one.error for one in [*shown, *parts]))

    def shown(self) -> list[Input]:
        """Every input of the page that may be at fault."""
        return self.inputs()

    @property
    def asks_did(self) -> bool:
        """Whether it is asked who of the two did it."""
        return isinstance(self.error, OtherHands)

    @property
    def sent_to(self) -> str:
        """Where the form was sent, where its button leads elsewhere than the form itself; the answer goes there, too."""
        return request.path if request.path != self.action.split("?")[0] else ""

    @property
    def pressed(self) -> str:
        """The button that was touched, of a form that says something by which it is."""
        return next((f"{name}:{self.said[name]}" for name in ("change",) if self.said.get(name)), "")

    @property
    def at_error(self) -> str:
        return str(self.error) if self.error and self.error.field in ("at", "happened") else ""

    @property
    def asks_who(self) -> bool:
        return self.verb.name != "set up shop" and here.who() is None

    @property
    def asks_signature(self) -> bool:
        """Whether somebody of a higher role has to sign: for the verb itself, or for an override."""
        if self.verb.name == "set up shop":
            return False
        role = "lead" if self.asks_override and self.role == "hand" else self.role
        return role != "hand" and not here.is_at_least(role)

    @property
    def asks_pin(self) -> bool:
        """Whether the signer's PIN is asked: once anybody who may sign has one."""
        if self.verb.name == "set up shop" or not (self.verb.pin or self.asks_override):
            return False
        with_pin = sign_ins.with_pin(here.book(), here.shop())
        return any(one["item"] in with_pin for one in self.signers())

    @property
    def signs(self) -> str:
        """Who stands as the signer before anybody chose: who was chosen, else who works here, where the role is theirs."""
        person = here.who()
        return self.said.get("signed_by") or (person["item"] if person else "")

    @property
    def asks_override(self) -> bool:
        wanted = isinstance(self.error, Stopped) or (
            isinstance(self.error, NotAllowed) and self.error.field == "override"
        )
        return wanted or self.stopped or bool(self.said.get("override"))

    def signers(self) -> list[Any]:
        """Who may sign: everyone of the role that is needed."""
        role = "lead" if self.asks_override and self.role == "hand" else self.role
        least = here.ROLES.index(role)
        return [p for p in queries.people(here.book(), here.shop()) if here.ROLES.index(p.role) >= least]

    @property
    def unknown_who(self) -> bool:
        return isinstance(self.error, UnknownItem) and self.error.field == "who"
