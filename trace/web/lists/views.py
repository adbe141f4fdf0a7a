"""Lists of what the book holds: filtered, searched, in order, page by page, and as a file for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from flask import Blueprint, Response, g, render_template, request, stream_with_context
from flask.typing import ResponseReturnValue

from fillbook.trace.book import customers, events, glance, lists, on_hold, queries
from fillbook.trace.book.cells import harmless
from fillbook.trace.book.list_file import csv_lines
from fillbook.trace.book.list_kinds import COUNTED, KINDS, Asked, order_of
from fillbook.trace.core import ids, keyboards, times
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.core.quote import quoted
from fillbook.trace.web import here

bp = Blueprint("lists", __name__)
LONGEST = 120
#: What each list is called, what can be looked for in it, and what to do first where it is empty: (words, address, button).
WORDS: dict[str, dict[str, Any]] = {
    "tires": {
        "title": "Tires", "one": "tire", "find": "ID, service number, customer, site, unit, serial, wheel, size, order",
        "period": "Filled", "first": ("No tire has come in yet.", "/do/take-in", "Take one in"),
    },
    "totes": {
        "title": "Totes", "one": "tote", "find": "ID, lot, supplier, system, the supplier's code",
        "period": "Received", "first": ("No tote has come in yet.", "/dock", "Book in the first lot"),
    },
    "batches": {
        "title": "Regrind batches", "one": "batch", "find": "ID", "period": "Ground",
        "first": ("No batch has been ground yet. It takes a reclaimed fill, or pieces of another shop's.", "/do/grind", "Grind a batch"),
    },
    "cups": {
        "title": "Sample cups", "one": "cup", "find": "ID", "period": "Poured",
        "first": ("No sample cup has been poured yet. One covers the fills that follow it on its line.", "/do/pour-cup", "Pour a cup"),
    },
    "customers": {
        "title": "Customers", "one": "customer", "find": "any part of the name",
        "first": ("No customer yet: one is known from the first tire taken in.", "/do/take-in", "Take a tire in"),
    },
    "events": {"title": "Events", "one": "event", "find": "the ID of an item, or an event's number", "period": "Happened",
               "first": ("Nothing is written down yet.", "/do", "What can be written down")},
}  # fmt: skip


@bp.get("/lists")
@here.one_picture
def every_list() -> str:
    return render_template("lists/every.html", words=WORDS)


@bp.get("/lists/<kind>")
@here.one_picture
def one_list(kind: str) -> ResponseReturnValue:
    words = _words(kind)
    trouble: ShopError | None = None
    try:
        found = {"customers": _customers, "events": _events}.get(kind, _items)(kind)
    except ShopError as wrong:
        trouble, found = wrong, {"rows": [], "next": None, "many": 0, "narrowed": True}
    status = 200 if trouble is None else 404 if isinstance(trouble, UnknownItem) else 422
    page = render_template(
        f"lists/{kind if kind in ('customers', 'events') else 'items'}.html", kind=kind, words=words, trouble=trouble, asked=request.args,
        choices=_choices(kind), again=_again, sheet="/lists/" + kind + ".csv" + _query(_kept("sort", "way")), counted=COUNTED, **found,
    )  # fmt: skip
    return page, status


@bp.get("/lists/<kind>.csv")
def sheet(kind: str) -> Response:
    """The same list whole, however long: read and sent piece by piece, as of one moment."""
    _words(kind)
    book, shop = here.book(), here.shop()
    lines: Iterator[str]
    if kind == "customers":
        lines = _customer_lines()
    elif kind == "events":
        lines = _event_lines(_asked_events())
    else:
        lines = csv_lines(book, shop, _asked(kind))

    def sent() -> Iterator[str]:
        with book.connected(), book.reading():  # the request's own connection is closed by now
            yield from lines

    day = times.show_date(here.now(), here.say().zone)
    answer = Response(stream_with_context(sent()), mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="{kind}-{day}.csv"'
    return answer


def _words(kind: str) -> dict[str, Any]:
    if kind not in WORDS:
        raise UnknownItem(f"There is no list of {quoted(kind)}. There are: {', '.join(WORDS)}.")
    return WORDS[kind]


# -- what is asked -------------------------------------------------------------------------------------------------------------
def _said(name: str) -> str:
    return " ".join(request.args.get(name, "").replace("\0", " ").split())[:LONGEST]


def _period() -> tuple[int | None, int | None]:
    """From the beginning of the first day to the end of the last, in the shop's time."""
    since, until = _midnight("from", 0), _midnight("to", 1)
    if since is not None and until is not None and until <= since:
        raise Nonsense("The last day lies before the first; give the earlier one first.", field="to")
    return since, until


def _midnight(name: str, later: int) -> int | None:
    """The midnight that begins the day somebody chose, or one *later*; where clocks change just then, the earlier of the two."""
    text = _said(name)
    if not text:
        return None
    try:
        if not re.fullmatch(r"[12]\d{3}-\d\d-\d\d", text, re.ASCII):
            raise ValueError
        day = datetime.fromisoformat(text) + timedelta(days=later)
        return int(day.replace(tzinfo=ZoneInfo(here.say().zone)).timestamp())
    except ValueError:
        raise Nonsense(f"{quoted(text)} is not a day; write it as 2026-10-31.", field=name) from None


def _asked(kind: str) -> Asked:
    one = KINDS[kind]
    filters = {name: _said(name) for name in one.filters if _said(name)}
    if "place" in filters:
        filters["place"] = _place(filters["place"])
    since, until = _period()
    chosen = next((o for o in one.orders if o.name == _said("sort")), one.orders[0])
    down = _down(chosen.number or chosen.name == "id")
    after = None
    if "after" in request.args and "item" in request.args:
        value: int | str = request.args["after"][:400]
        if chosen.number:
            value = int(value) if re.fullmatch(r"-?\d{1,15}", str(value), re.ASCII) else str(value)
        after = (value, request.args["item"][:40])
    return Asked(kind, _said("q"), filters, since, until, chosen.name, down, after)


def _down(usual: bool) -> bool:
    return {"up": False, "down": True}.get(_said("way"), usual)


def _place(text: str) -> str:
    """A zone or a line by its name; anything else as it is written."""
    for kind in "ZU":
        if item := queries.by_name(here.book(), here.shop(), kind, text):
            return item
    try:
        return keyboards.read_id(text)
    except Nonsense:
        return text


#: What an address of a list may say: what is kept from page to page, and what a page's own head changes.
KEPT = tuple(
    dict.fromkeys(("q", "from", "to", "kind", *(name for one in KINDS.values() for name in one.filters)))
)


def _kept(*more: str) -> dict[str, str]:
    if "lists_said" not in g:  # each link of the page asks
        g.lists_said = {name: said for name in (*KEPT, "sort", "way") if (said := _said(name))}
    return {name: said for name, said in g.lists_said.items() if name in KEPT or name in more}


def _query(asked: dict[str, Any]) -> str:
    return "?" + urlencode(asked) if asked else ""


def _again(**changed: Any) -> str:
    """This page's address with something changed; from its first page on."""
    return request.path + _query(
        {**_kept("sort", "way"), **{k: v for k, v in changed.items() if v is not None}}
    )


def _choices(kind: str) -> dict[str, Any]:
    """What the filters offer."""
    book, shop = here.book(), here.shop()
    found: dict[str, Any] = {}
    if kind in KINDS:
        one = KINDS[kind]
        found["state"] = one.states
        found["place"] = [row.name for row in (*queries.zones(book, shop), *queries.lines(book, shop))]
    if kind == "totes":
        found |= {"supplier": True, "lot": True, "side": ("A", "B")}
    if kind == "tires":
        found |= {"customer": True, "size": True}
    if kind == "events":
        found["kind"] = events.kinds(book, shop)
    return found


# -- the lists -----------------------------------------------------------------------------------------------------------------
def _items(kind: str) -> dict[str, Any]:
    asked = _asked(kind)
    found = lists.page(here.book(), here.shop(), asked)
    names: dict[str, str] = {}
    for row in found.rows:
        for item in (row.place, row.get("line", ""), row.get("zone", "")):
            if item not in names:
                names[item] = here.say().name(item)
    held = on_hold.held_among(here.book(), [row["item"] for row in found.rows])
    order = order_of(asked)
    goes_on = {"after": found.after[0], "item": found.after[1]} if found.after else None
    return {
        "rows": found.rows, "many": found.many, "next": _again(**goes_on) if goes_on else None, "narrowed": asked.narrowed, "names": names,
        "held": held, "orders": KINDS[kind].orders, "order": order, "down": asked.down, "further": asked.after is not None,
    }  # fmt: skip


def _customers(kind: str) -> dict[str, Any]:
    after = request.args.get("after", "")[:400]
    rows, goes_on = customers.page(here.book(), here.shop(), _said("q"), after)
    return {
        "rows": rows, "next": _again(after=goes_on) if goes_on else None, "narrowed": bool(_said("q")), "further": bool(after),
        "many": None if goes_on or after else len(rows), "most": customers.MOST_TIRES,
    }  # fmt: skip


def _asked_events() -> events.Asked:
    item, text = "", _said("q")
    after = None
    down = _down(True)
    if text and (number := here.number(text)) is not None and len(text) < 10:
        after = (0, number + 1 if down else number - 1)
    elif text:
        item = keyboards.read_id(text)
    since, until = _period()
    if (
        here.number(request.args.get("after", "")) is not None
        and here.number(request.args.get("at", "")) is not None
    ):
        after = (int(request.args["at"]), int(request.args["after"]))
    return events.Asked(_said("kind"), item, since, until, _said("sort") == "happened", down, after)


def _events(kind: str) -> dict[str, Any]:
    asked = _asked_events()
    rows, goes_on = events.page(here.book(), here.shop(), asked)
    touched = glance.touched_by_each(here.book(), here.shop(), [one.seq for one in rows])
    items = {seq: codes[:4] for seq, codes in touched.items()}
    shown = {code for one in rows for code in (one.who, one.signed_by or "", *items[one.seq])}
    names = {code: here.say().name(code) for code in shown}
    narrowed = bool(asked.kind or asked.item or asked.since is not None or asked.until is not None)
    return {
        "rows": rows, "next": _again(at=goes_on[0], after=goes_on[1]) if goes_on else None, "narrowed": narrowed, "items": items, "names": names,
        "many": None, "down": asked.down, "by_time": asked.by_time, "further": "after" in request.args,
    }  # fmt: skip


# -- as files ------------------------------------------------------------------------------------------------------------------
def _line(*cells: object) -> str:
    out = io.StringIO()
    csv.writer(out).writerow([harmless(str(cell)) for cell in cells])
    return out.getvalue()


def _customer_lines() -> Iterator[str]:
    yield _line("customer", "tires")
    after: str | None = ""
    while after is not None:
        rows, after = customers.page(here.book(), here.shop(), _said("q"), after, 500)
        for row in rows:
            yield _line(
                row.customer,
                row.tires if row.tires <= customers.MOST_TIRES else f"more than {customers.MOST_TIRES}",
            )


def _event_lines(asked: events.Asked) -> Iterator[str]:
    yield _line(
        "number", "kind", "happened", "written_down", "who", "signed_by", "station", "corrects", "ids"
    )
    say = here.say()
    while True:
        rows, goes_on = events.page(here.book(), here.shop(), replace(asked, most=500))
        for one in rows:
            yield _line(
                one.seq, one.kind, times.utc_text(one.happened_at), times.utc_text(one.recorded_at), say.name(one.who),
                say.name(one.signed_by or ""), one.station or "", one.corrects or "", " ".join(map(ids.pretty, one.body.get("ids", []))),
            )  # fmt: skip
        if goes_on is None:
            return
        asked = replace(asked, after=goes_on)
