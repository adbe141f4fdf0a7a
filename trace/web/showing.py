"""What every template may use: places, people, values in the shop's units, states as word, shape and colour."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from typing import Any

from babel.dates import format_datetime
from flask import Flask, g, request, url_for

from fillbook.trace.book import queries
from fillbook.trace.core import ids, times, units
from fillbook.trace.web import held, here
from fillbook.trace.web.kept import kept
from fillbook.trace.web.languages import choice
from fillbook.trace.work import signing

PLACES = (
    ("floor", "/", "Floor"),
    ("dock", "/dock", "Dock"),
    ("cage", "/cage", "Cage"),
    ("racks", "/racks", "Racks"),
    ("desk", "/desk", "Desk"),
    ("regrind", "/regrind", "Regrind"),
    ("holds", "/holds", "Holds"),
    ("recall", "/recall", "Recall"),
    ("identify", "/identify", "Identify"),
    ("office", "/book", "Book"),
)

#: A state or verdict -> how it looks: go, wait, stop, look, or plain. The word always stands beside the shape.
LOOKS = {
    "Cured": "go", "released": "go", "passed": "go", "in use": "go", "hooked up": "go", "dispatched": "plain", "Not yet": "wait",
    "racked": "wait", "filled": "wait", "filling": "wait", "curing": "wait", "On hold": "stop", "failed": "stop", "Look again": "look",
    "returned": "look", "paused": "look", "abandoned": "stop", "soaking": "wait", "scrapped": "plain", "void": "plain", "empty": "plain", "used up": "plain", "reclaimed": "plain",
    "certain": "stop", "possible": "look", "through regrind": "look", "not excluded": "wait",
    "closed": "go", "still open": "look",
}  # fmt: skip


def look(word: str | None) -> str:
    return LOOKS.get(word or "", "plain")


def shape(word: str) -> str:
    """The word for the shape of a look, as the style sheet draws it."""
    return f"shape-{look(word)}"


def hours(seconds: int | None) -> str:
    return "" if seconds is None else times.hours(seconds)


def short_times(now: int) -> Callable[[int | None], str]:
    """How a page shows a time: as short as it can be without a doubt, 16:40 today, Thu 16:40 within the week, else in full."""
    zone, language = here.say().zone, choice.language()
    today = times.local(now, zone).toordinal()

    def short(at: int | None) -> str:
        return "" if at is None else _short(at, today, zone, language)

    return short


@lru_cache(maxsize=8192)  # the same tires are looked at again and again
def _short(at: int, today: int, zone: str, language: str) -> str:
    full, there = times.show(at, zone), times.local(at, zone)
    if len(full) > 16:  # an hour that happens twice is never shortened
        return full
    days = there.toordinal() - today
    if not days:
        return f"{there:%H:%M} today"
    if abs(days) < 6:
        return (
            there.strftime("%a %H:%M")
            if language == "en"
            else format_datetime(there, "EEE HH:mm", locale=language)
        )
    return full


def percent(part: float | Fraction | None, digits: int = 1) -> str:
    """A fraction in percent; what is more than nothing never shows as nothing."""
    if part is None:
        return ""
    value = float(part) * 100
    if 0 < value < 10**-digits:
        return f"< {10**-digits:g} %"
    return f"{value:.{digits}f} %"


def about(grams: int) -> str:
    """Grams as an estimate is shown: no tenths from ten units on, where they would pretend to be known."""
    return _about(grams, "lb" if here.say().us else "kg")


@lru_cache(maxsize=4096)
def _about(grams: int, unit: str) -> str:
    digits = 1 if 0 < units.in_unit("mass", grams, unit) < 10 else 0
    return units.show("mass", grams, unit, digits)


def pretty(code: str) -> str:
    return ids.pretty(code) if code and ids.is_valid(code) else code


def compact(text: str) -> str:
    """A written ID as it stands in an address."""
    return text.replace("-", "")


def kind(code: str) -> str:
    return ids.KINDS.get(ids.kind_of(code), "") if ids.is_valid(code) else ""


def teach_templates(app: Flask, mark: Callable[[str], str]) -> None:
    """Give the templates what this module has, and each page its frame: shop, places, who works here."""
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.globals.update(
        pretty=pretty, compact=compact, kind=kind, look=look, shape=shape, hours=hours, lasting=times.lasting, percent=percent, about=about,
        held=held.held, most_urgent_first=held.most_urgent_first, is_id=lambda text: bool(text) and ids.is_valid(compact(text)), kept=kept,
        all_people=lambda: queries.people(here.book(), here.shop()), nobody_has_a_pin=lambda: not signing.asks_pins(here.book(), here.shop()),
        shop_of_several=lambda: g.get("shop") if len(here.book().shops()) > 1 else None,
        static=lambda name: url_for("static", filename=name, v=mark(name)),
    )  # fmt: skip

    @app.context_processor
    def frame() -> dict[str, Any]:
        if not g.get("shop"):
            return {"shop": None, "places": (), "place": "", "person": None, "say": None}
        now = here.now()
        return {
            "shop": queries.shop_row(here.book(), here.shop()), "places": PLACES, "place": (request.blueprint or ""),
            "person": here.who(), "say": here.say(), "now": now, "position": g.position, "short_time": short_times(now),
            "scan_from": g.get("scan_from", ""),
        }  # fmt: skip
