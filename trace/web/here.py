"""What a page asks of the request it answers: the book, the shop, the time, and who works at this station."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, TypeVar

from flask import Flask, current_app, g, request, session

from fillbook.trace.book import chain, queries
from fillbook.trace.book import preferences as preferred
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book, Row

ROLES = ("hand", "lead", "owner")
SHIFT_S = 12 * 3600  # a station forgets who works there so long after its last use


@dataclass(frozen=True)
class Served:
    """What one running program serves: a book, and the clock it goes by (seconds of UTC)."""

    book: Book
    clock: Callable[[], float]
    first_code: str = ""  # what the terminal shows while the book is empty: whoever begins it types it
    names: tuple[str, ...] = ()  # names of this machine beside that on the labels


def served() -> Served:
    return current_app.extensions["fillbook"]


def book() -> Book:
    return served().book


def now() -> int:
    return int(served().clock())


def shop() -> str:
    """The shop this station belongs to; chosen by :func:`find_shop` before any view runs."""
    return g.shop


def say() -> Say:
    try:  # each value a page shows asks for it
        return g.say
    except AttributeError:
        units = preferences().units
        g.say = Say(book(), shop(), units == "us" if units else None)
    return g.say


def preferences() -> Row:
    """What who works here chose to read: language and units, each empty where nothing was chosen."""
    if "preferences" not in g:
        person = who() if g.get("shop") and not request.path.startswith("/api/") else None
        g.preferences = preferred.of(book(), person["item"]) if person else preferred.NONE
    return g.preferences


def saw() -> int:
    """The shop's last event when this request began: what the page shows is at least that new."""
    return g.saw


def who() -> Row | None:
    """The person who works at this station, or None while nobody said so."""
    if "who" not in g:
        forget_after_the_shift()
        chosen = session.get("who")
        people = queries.people(book(), shop()) if chosen and g.get("shop") else []
        g.who = next((p for p in people if p["item"] == chosen), None)
    return g.who


def choose(person: str) -> None:
    """Keep *person* (compact ID) as the one who works at this station."""
    session["who"] = person
    session["shop"] = queries.shop_of(book(), person)
    session["used"] = now()
    session.pop("expired", None)
    session.permanent = True
    g.pop("who", None)


def leave() -> None:
    """Nobody works at this station any more; it keeps its name and its shop."""
    session.pop("who", None)
    g.pop("who", None)


def forget_after_the_shift() -> None:
    """A station that stood unused for a shift no longer knows who works there; any use begins the time anew."""
    if "who" not in session:
        return
    at = now()
    if not 0 <= at - session.get("used", at) <= SHIFT_S:
        session.pop("who")
        session["expired"] = True
    else:
        session["used"] = at


def is_at_least(role: str) -> bool:
    person = who()
    return person is not None and ROLES.index(person.role) >= ROLES.index(role)


def number(text: str) -> int | None:
    """A whole number somebody put into an address or a hidden field, None for anything else."""
    return int(text) if re.fullmatch("[0-9]{1,15}", text, re.ASCII) else None


def find_shop() -> str | None:
    """The shop of this station: the one chosen, else the only one; None while the book is empty or it must be chosen."""
    shops = book().shops()
    chosen = session.get("shop") or request.form.get("shop")  # a form still knows, where the cookie is gone
    found = chosen if chosen in shops else shops[0] if len(shops) == 1 else None
    g.shop = found
    if found:
        g.position = chain.position(book(), found)
        g.saw = g.position.seq
    return found


def connect_per_request(app: Flask) -> None:
    """Each request has its own connection, closed at its end whatever happened."""

    @app.before_request
    def connect() -> None:
        g.opened_here = book().db.connect(reuse_if_open=True)

    @app.teardown_request
    def close(_: BaseException | None) -> None:
        if g.get("opened_here") and not book().db.is_closed():
            book().db.close()


def numbers(text: str, many: int) -> tuple[int, ...] | None:
    """So many whole numbers with commas between, as the address of a list's next part has them; None for anything else."""
    parts = text.split(",")
    found = [int(part) for part in parts if re.fullmatch(r"-?[0-9]{1,15}", part, re.ASCII)]
    return tuple(found) if len(found) == many == len(parts) else None


View = TypeVar("View", bound=Callable[..., Any])


def one_picture(view: View) -> View:
    """A view that only reads sees the book as of one moment, though others write meanwhile."""

    @wraps(view)
    def looking(*args: Any, **kwargs: Any) -> Any:
        with book().reading():
            return view(*args, **kwargs)

    return looking  # type: ignore[return-value]
