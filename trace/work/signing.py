"""Signing: whose act it is, whether the role covers it, and the PIN that shows it is they.

A station is trusted for everyday acts: a scanned badge or a tapped name is enough. What a lead or the owner answers for takes the
signer's PIN as well, asked each time. Wrong ones are counted per person in the book, so a restart forgives nothing; from the
fifth on signing as that person waits, twice as long each time, and each wait is an event. A shop starts without PINs; once an
owner has one, nobody signs without.

Pages and the API write through :func:`act`. The commands use ``acting.act``: whoever has the file has the book.
"""

from __future__ import annotations

import hmac
from typing import Any

from fillbook.trace.book import apply, journal, queries, sign_ins
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import times
from fillbook.trace.core.errors import Nonsense, NotAllowed, UnknownItem
from fillbook.trace.work import acting, pins, registry
from fillbook.trace.work.ask import clean

FREE_TRIES = 5
FIRST_WAIT_S = 60
LONGEST_WAIT_S = 3600
CODE_GOOD_S = 24 * 3600


class PinNeeded(NotAllowed):
    """The act takes the signer's PIN, and none was typed."""


class WrongPin(NotAllowed):
    """The PIN or code that was typed is not the one that is kept."""


class LockedOut(NotAllowed):
    """Too many wrong PINs: nobody signs as this person for a while. ``until``: epoch seconds."""

    def __init__(self, words: str, until: int) -> None:
        super().__init__(words, field="pin")
        self.until = until


class NoPin(NotAllowed):
    """The signer has no PIN yet, in a shop that signs with PINs."""


# -- who signs -----------------------------------------------------------------------------------------------------------------
def act(
    book: Book,
    action: acting.Action,
    *,
    pin: str | None,
    now: int,
    begins: bool = False,
    most: str | None = None,
) -> acting.Answer:
    """Do *action* as a page or a device asks it: as ``acting.act``, after the signer's PIN where the verb takes one, or where
    somebody else than who acts is named as having signed. Nobody acts above the role of the one whose PIN it was.

    *pin*: what was typed as the signer's PIN. *begins*: whoever asks has shown that they may begin a shop (``trace/web/setup``).
    *most*: the role above which nobody acts through this device.
    Raises ShopError; what was refused changed nothing but the count of wrong PINs.
    """
    verb = registry.find(action.verb)
    if verb.name == "set up shop":
        if not begins:
            raise NotAllowed(
                "A shop is begun on the page /setup, or at the terminal with fillbook set-up-shop.",
                field="verb",
            )
    elif verb.pin or action.override or action.signed_by:
        shop = book.the_shop(action.shop)
        if action.who:
            overrides = bool(action.override) and not verb.pin
            signer = sign(
                book, shop, role="lead" if overrides else verb.role, who=action.who, signed_by=action.signed_by, pin=pin, now=now,
                doing=verb.name, station=action.station, only_if_able=overrides,
            )  # fmt: skip
            most = min(signer.role, most or signer.role, key=_rank)
    return acting.act(book, action, now=now, most=most)


def sign(
    book: Book, shop: str, *, role: str, who: str, signed_by: str | None, pin: str | None, now: int, doing: str,
    station: str | None = None, only_if_able: bool = False,
) -> Row:  # fmt: skip
    """The person who signs: *signed_by*, else *who*. Raises NotAllowed where the role or the PIN is lacking.

    *only_if_able*: an override that nobody asked for yet; where neither has the role, the verb itself says whether it matters.
    """
    worker = queries.person(book, shop, who)
    signer = _found(book, shop, signed_by, pin) if signed_by else worker
    alone = signer["item"] == worker["item"]
    if alone and role == "hand":  # an everyday act: the badge was enough
        return signer
    if _rank(signer.role) < _rank(role):
        if only_if_able and alone:
            return signer
        raise NotAllowed(
            f"To {doing} takes {acting.ARTICLES[role]}; {signer.name} is a {signer.role}. Ask one to sign."
            if not only_if_able
            else f"An override takes a lead; {signer.name} is a {signer.role}. Ask one to sign.",
            field="signed_by" if signed_by else "who",
        )
    return check_pin(book, shop, signer["item"], pin, now, by=worker["item"], station=station, doing=doing)


def _rank(role: str) -> int:
    return registry.ROLES.index(role)


def _found(book: Book, shop: str, said: str, pin: str | None) -> Row:
    """The person *said*; where there is none, finding out takes as long as trying a PIN."""
    try:
        return queries.person(book, shop, said)
    except UnknownItem as trouble:
        pins.fits(pin or "", None)
        raise UnknownItem(str(trouble), field="signed_by", expected=trouble.expected) from None


def asks_pins(book: Book, shop: str) -> bool:
    """Whether anybody in the shop has a PIN: before that, no page asks for one."""
    return bool(sign_ins.with_pin(book, shop))


def may_do_without(book: Book, shop: str) -> bool:
    """Whether somebody without a PIN may still sign: until an owner has set theirs."""
    return "owner" not in sign_ins.with_pin(book, shop).values()


# -- the PIN -------------------------------------------------------------------------------------------------------------------
def check_pin(
    book: Book, shop: str, person: str, pin: str | None, now: int, *, by: str | None = None, station: str | None = None,
    doing: str = "sign",
) -> Row:  # fmt: skip
    """The person whose PIN was typed, if it is theirs; *person* is a name, a badge or an ID. Never inside a transaction.

    Somebody without a PIN passes while no owner of the shop has one. *by* and *station*: who stood where, for the journal.
    Raises UnknownItem, PinNeeded, WrongPin, LockedOut, NoPin.
    """
    found = _found(book, shop, person, pin)
    there = sign_ins.row(book, found["item"])
    if there.pin is None:
        if may_do_without(book, shop):
            return found
        pins.fits(pin or "", None)
        raise NoPin(
            f"{found.name} has no PIN yet, so can't sign. An owner gives a one-time code on the page Badges and PINs; with it {found.name} "
            "sets one.",
            field="pin",
        )
    if not pin or not pin.strip():
        raise PinNeeded(f"To {doing} takes {found.name}'s PIN. Type it and send this again.", field="pin")
    _prove(book, shop, found, pin.strip(), there.pin, now, by=by, station=station)
    if pins.is_outgrown(there.pin):
        with book.transaction():
            if sign_ins.row(book, found["item"]).pin == there.pin:
                sign_ins.keep(book, shop, found["item"], pin=pins.kept(pin.strip()))
    return found


def _prove(
    book: Book,
    shop: str,
    person: Row,
    secret: str,
    stored: str,
    now: int,
    *,
    by: str | None,
    station: str | None,
) -> None:
    """Compare, and count. The slow hash is taken before the row is; what it means is decided with the row in hand.

    So two guesses at once count as two, and of many at once no more are looked at than the free tries.
    """
    if book.db.in_transaction():
        raise RuntimeError(
            "a PIN is checked outside any transaction, or a refusal would forget that it was wrong"
        )
    if len(secret) > 64:
        secret = ""
    trouble: NotAllowed | None = _locked(book, shop, person, now)
    if trouble:
        raise trouble
    right = pins.fits(secret, stored)
    with journal.writing(book, shop) as chain:
        there = sign_ins.row(book, person["item"])
        trouble = _locked(book, shop, person, now)
        if trouble is None and stored not in (there.pin, there.code):
            trouble = WrongPin(f"{person.name}'s PIN was changed just now. Type the new one.", field="pin")
        elif trouble is None and right:
            if there.wrong:
                sign_ins.keep(book, shop, person["item"], wrong=0, locked_until=0)
        elif trouble is None:
            trouble = _count(book, chain, person, there.wrong + 1, now, by, station)
    if trouble:
        raise trouble


def _count(
    book: Book, chain: journal.Chain, person: Row, wrong: int, now: int, by: str | None, station: str | None
) -> NotAllowed:
    """One more wrong PIN; from so many on, a wait and an event that says so."""
    until = now + wait_after(wrong) if wrong >= FREE_TRIES else 0
    sign_ins.keep(book, chain.shop, person["item"], wrong=wrong, locked_until=until)
    if not until:
        left = FREE_TRIES - wrong
        return WrongPin(
            f"That is not what {person.name} signs with. {left} more wrong {'one' if left == 1 else 'ones'}, and signing as "
            f"{person.name} has to wait.",
            field="pin",
        )
    said = {"person": person["item"], "wrong": wrong, "until": until}
    _write(book, chain, "wrong PINs", by or person["item"], said, now, station)
    return _locked(book, chain.shop, person, now) or WrongPin("That is not the PIN.", field="pin")


def wait_after(wrong: int) -> int:
    """Seconds to wait after so many wrong ones: a minute after the fifth, twice as long after each further, at most an hour.

    >>> [wait_after(n) for n in (4, 5, 6, 10, 11, 500)]
    [0, 60, 120, 1920, 3600, 3600]
    """
    if wrong < FREE_TRIES:
        return 0
    return min(FIRST_WAIT_S * 2 ** min(wrong - FREE_TRIES, 16), LONGEST_WAIT_S)


def _locked(book: Book, shop: str, person: Row, now: int) -> LockedOut | None:
    there = sign_ins.row(book, person["item"])
    if there.locked_until <= now:
        return None
    minute = -(-there.locked_until // 60) * 60  # told to the minute, never too early
    return LockedOut(
        f"{there.wrong} wrong PINs for {person.name}: nobody signs as {person.name} until "
        f"{times.show(minute, queries.timezone(book, shop))}. An owner can lift this on the page Badges and PINs.",
        there.locked_until,
    )


# -- setting and giving ----------------------------------------------------------------------------------------------------------
def needs_proof(book: Book, shop: str, person: Row) -> bool:
    """Whether setting a PIN takes the old one or a one-time code; the first owner of a shop without PINs starts freely."""
    return not (
        person.role == "owner"
        and sign_ins.row(book, person["item"]).pin is None
        and may_do_without(book, shop)
    )


def set_pin(
    book: Book, shop: str, person: str, new: str, *, proof: str | None, now: int, station: str | None = None
) -> Row:
    """Set a person's own PIN. *proof*: the PIN until now, or a one-time code, which is used up.

    Raises Nonsense (field ``new`` or ``proof``), NotAllowed.
    """
    found = _found(book, shop, person, proof)
    there = sign_ins.row(book, found["item"])
    pin = pins.checked(new)
    if needs_proof(book, shop, found):
        _prove_own(book, shop, found, there, (proof or "").strip(), now, station)
    stored = pins.kept(pin)
    with journal.writing(book, shop) as chain:
        again = sign_ins.row(book, found["item"])
        if (again.pin, again.code) != (there.pin, there.code):
            raise NotAllowed(f"{found.name}'s PIN or code was changed just now, elsewhere.", field="proof")
        sign_ins.keep(
            book, shop, found["item"], pin=stored, code=None, code_until=0, wrong=0, locked_until=0
        )  # fmt: skip
        said = {"person": found["item"], "what": "set"}
        _write(book, chain, "PIN changed", found["item"], said, now, station)
    return found


def _prove_own(
    book: Book, shop: str, person: Row, there: Row, proof: str, now: int, station: str | None
) -> None:
    if not proof:
        wanted = (
            "the PIN until now, or a one-time code" if there.pin else "the one-time code that an owner gives"
        )
        raise Nonsense(f"Type {wanted}.", field="proof")
    if proof.isdigit():
        stored, secret = there.pin, proof
    else:
        stored, secret = there.code, pins.read_code(proof)
        if stored and there.code_until <= now:
            raise NotAllowed(
                "That code has run out; it was good for a day. Ask an owner for a new one.", field="proof"
            )
    if stored is None:
        pins.fits(secret, None)
        raise NotAllowed(
            f"{person.name} has no {'PIN' if proof.isdigit() else 'code'} to compare with. Ask an owner for a one-time code.",
            field="proof",
        )
    try:
        _prove(book, shop, person, secret, stored, now, by=None, station=station)
    except (WrongPin, LockedOut) as trouble:
        trouble.field = "proof"
        raise


def give_code(
    book: Book, shop: str, person: str, *, by: str | None, now: int, station: str | None = None
) -> str:
    """A one-time code for *person* to set a PIN with, good for a day; a wait after wrong ones ends. The old PIN stays until then.

    *by*: the owner who gives it; None at the machine's own terminal. The journal says that it was given, never the code.
    """
    found = queries.person(book, shop, person)
    code = pins.new_code()
    stored = pins.kept(pins.read_code(code))
    with journal.writing(book, shop) as chain:
        sign_ins.keep(
            book, shop, found["item"], code=stored, code_until=now + CODE_GOOD_S, wrong=0, locked_until=0
        )  # fmt: skip
        said = {"person": found["item"], "what": "code given"}
        _write(book, chain, "PIN changed", by or found["item"], said, now, station)
    return code


def lift_wait(book: Book, shop: str, person: str, *, by: str, now: int, station: str | None = None) -> Row:
    """End the wait after wrong PINs."""
    found = queries.person(book, shop, person)
    with journal.writing(book, shop) as chain:
        sign_ins.keep(book, shop, found["item"], wrong=0, locked_until=0)
        _write(book, chain, "PIN changed", by, {"person": found["item"], "what": "wait lifted"}, now, station)
    return found


def same_code(typed: str, given: str) -> bool:
    """Whether a code kept in memory was typed; the time it takes tells nothing."""
    return hmac.compare_digest(pins.read_code(typed).encode(), pins.read_code(given).encode())


def _write(
    book: Book, chain: journal.Chain, kind: str, who: str, said: dict[str, Any], now: int, station: str | None
) -> None:
    """An event that the program writes by itself."""
    event = journal.Event(
        shop=chain.shop, seq=chain.seq + 1, kind=kind, happened_at=now, recorded_at=now, who=who, prev=chain.head,
        body={"said": said, "ids": [], "findings": []}, station=clean(station, "station", 80) if station else None,
    )  # fmt: skip
    chain.append(event)
    apply.apply(book, chain, event)
