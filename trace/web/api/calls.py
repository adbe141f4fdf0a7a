"""The calls that answer without writing: one table, from which the routes and their description both come."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode

from flask import Response, g, request
from pydantic import BaseModel

from fillbook import __version__
from fillbook.trace.book import chain, cures, items, paged, queries, recalls, worked_out
from fillbook.trace.core import ids, times, units
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.web import here
from fillbook.trace.web.api import shapes
from fillbook.trace.web.api.reading import Param, query
from fillbook.trace.work import registry
from fillbook.trace.work.floor import find_item

PAGE, MOST = 50, 200
NOT_HERE = ("set up shop",)  # a shop is begun before it has devices
LINES = "application/x-ndjson"


@dataclass(frozen=True)
class Call:
    """One address that is read. *still*: its answer changes only when an event is written, so that it carries an ETag."""

    path: str
    words: str
    gives: type[BaseModel]
    view: Callable[..., dict[str, Any]]
    params: tuple[Param, ...] = ()
    still: bool = True
    role: str = "hand"

    @property
    def name(self) -> str:
        return self.view.__name__


CALLS: list[Call] = []


def call(
    path: str, words: str, gives: type[BaseModel], *params: Param, still: bool = True
) -> Callable[[Callable[..., dict[str, Any]]], Callable[..., dict[str, Any]]]:
    """Put the function below into the table."""

    def put(view: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
        CALLS.append(Call(path, words, gives, view, params, still))
        return view

    return put


def answer(one: Call, **names: str) -> Response:
    """Answer a call: its query read strictly, the book as of one moment, an ETag where the answer has one."""
    asked = query(one.params)
    with here.book().reading():
        mark = _mark() if one.still else None
        if mark and request.if_none_match.contains_weak(mark):
            return _kept(Response(status=304), mark)
        said = one.view(**names, **asked)
    if LINES in request.headers.get("Accept", "") and one.name == "events":
        return _kept(
            linked(Response("".join(row["text"] + "\n" for row in g.lines), content_type=LINES), said), mark
        )
    return _kept(linked(sent(said), said), mark)


def sent(said: Any, status: int = 200) -> Response:
    return Response(
        json.dumps(said, ensure_ascii=False, separators=(",", ":")), status, content_type="application/json"
    )


def linked(response: Response, said: dict[str, Any]) -> Response:
    """The next page also as a Link (RFC 8288), for programs that know only headers."""
    if said.get("next"):
        response.headers["Link"] = f'<{said["next"]}>; rel="next"'
    return response


def _kept(response: Response, mark: str | None) -> Response:
    """A client may keep the answer if it asks each time whether it still holds."""
    response.headers["Cache-Control"] = "private, no-cache"
    response.headers["Vary"] = "Authorization, Accept"
    if mark:
        response.set_etag(mark)
    return response


def _mark() -> str:
    """What changes when the book, the program or the question does."""
    at = chain.position(here.book(), here.shop())
    text = f"{__version__} {at} {request.full_path} {request.headers.get('Accept', '')}"
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:24]


def _next(after: str | None, **asked: Any) -> str | None:
    """The address of the next page: the same question, from where this page ended."""
    if after is None:
        return None
    said = {name: value for name, value in asked.items() if value not in (None, "")}
    return f"{quote(request.path)}?{urlencode({**said, 'after': after})}"


def _item(said: str, kinds: str = "LGFCZUP") -> str:
    try:
        return find_item(here.book(), here.shop(), said, kinds, "id")
    except Nonsense as trouble:  # an address that is no ID is an address of nothing
        raise UnknownItem(str(trouble), field="id", expected=trouble.expected) from None


LIMIT = Param("limit", "At most so many", {"type": "integer", "minimum": 1, "maximum": MOST, "default": PAGE})
AFTER = Param("after", "Where the page before ended; take it from next", {"type": "string", "maxLength": 80})


def every_verb() -> list[registry.Verb]:
    """The verbs that a device may be asked for, by name."""
    return [one for _, one in sorted(registry.everything().items()) if one.name not in NOT_HERE]


# -- what there is -----------------------------------------------------------------------------------------------------------------
@call(
    "/device",
    "Which device this token is, what it may do, and how far the journal reaches",
    shapes.Here,
    still=False,
)
def device() -> dict[str, Any]:
    mine, shop = here.book(), here.shop()
    row, at = queries.shop_row(mine, shop), chain.position(mine, shop)
    return {
        "device": g.device.device, "role": g.device.role, "shop": shop, "name": row.name, "timezone": row.timezone, "units": row.units,
        "now": times.utc_text(here.now()), "position": {"shop": shop, "seq": at.seq, "hash": at.hash},
    }  # fmt: skip


@call("/verbs", "Every verb, who may do it, and the schema of its fields", shapes.Verbs)
def verbs() -> dict[str, Any]:
    return {"verbs": [registry.describe(one) for one in every_verb()]}


@call("/verbs/<verb>", "One verb", shapes.VerbDescribed)
def verb(verb: str) -> dict[str, Any]:
    return registry.describe(registry.find(verb))


@call(
    "/limits",
    "The shop's limits now, in whole canonical units, with source and reason",
    shapes.Limits,
    still=False,
)
def limits() -> dict[str, Any]:
    return {"limits": [dict(row) for row in queries.limits_now(here.book(), here.shop(), here.now())]}


# -- items ---------------------------------------------------------------------------------------------------------------------
@call(
    "/items", "Items in the order of their IDs", shapes.Items,
    Param("search", "Words they bear (lot, supplier, customer, unit, serial, size, order), or the beginning of an ID"),
    Param("kind", "Only this kind", {"type": "string", "enum": list(ids.KINDS.values())}),
    Param("state", "Only those in this state, such as racked", {"type": "string", "maxLength": 40}),
    AFTER, LIMIT,
)  # fmt: skip
def items_(
    search: str = "", kind: str = "", state: str = "", after: str = "", limit: int = PAGE
) -> dict[str, Any]:
    letter = next((one for one, words in ids.KINDS.items() if words == kind), "")
    try:
        begin = ids.read(after) if after else ""
    except Nonsense:
        raise Nonsense(
            "after is not what a page gave as next.", field="after", expected="the next of the page before"
        ) from None
    rows, last = paged.items(
        here.book(), here.shop(), kind=letter, state=state, words=search, after=begin, most=limit
    )
    return {
        "items": [
            {
                "id": ids.pretty(row["item"]), "kind": ids.KINDS[ids.kind_of(row["item"])], "state": row.state or "",
                "where": here.say().name(row.place) if row.place else "", "since": times.utc_text(row.since) if row.since is not None else None,
            }
            for row in rows
        ],
        "next": _next(last and ids.pretty(last), search=search, kind=kind, state=state, limit=limit if limit != PAGE else None),
    }  # fmt: skip


@call("/items/<id>", "Everything the book knows of one item, but its history", shapes.Item)
def item(id: str) -> dict[str, Any]:
    return items.about(here.book(), _item(id), with_history=False)


@call("/items/<id>/timeline", "What happened to one item, oldest first", shapes.Timeline, AFTER, LIMIT)
def timeline(id: str, after: str = "", limit: int = PAGE) -> dict[str, Any]:
    code, say = _item(id), here.say()
    parts = after.split(".") if after else []
    if parts and (len(parts) != 4 or any(here.number(part) is None for part in parts)):
        raise Nonsense(
            "after is not what a page gave as next.", field="after", expected="the next of the page before"
        )
    rows, last = paged.history(here.book(), code, tuple(map(int, parts)) or None, limit)
    return {
        "id": ids.pretty(code),
        "timeline": [
            {"at": times.utc_text(t.at), "local": say.time(t.at), "words": t.words, "seq": t.seq, "state": t.state,
             "where": say.name(t.place) if t.place else "", "kind": t.kind}
            for t in rows
        ],
        "next": _next(".".join(map(str, last)) if last else None, limit=limit if limit != PAGE else None),
    }  # fmt: skip


@call(
    "/items/<id>/trace", "What one item was made from, by any path, and what was made from it", shapes.Trace
)
def trace(id: str) -> dict[str, Any]:
    return recalls.trace(here.book(), _item(id))


# -- answers ---------------------------------------------------------------------------------------------------------------------
@call(
    "/recall", "Every tire that holds a suspect, how sure that is, and where all of the material went", shapes.Recall,
    Param("suspect", "A lot, or the ID of a tote, a regrind batch or a tire; several with commas between; or a line and a window of time",
          {"type": "string", "maxLength": 2000}, True),
    Param("defect", "setting: only what came straight from it; contamination: through regrind too",
          {"type": "string", "enum": ["setting", "contamination"], "default": "contamination"}),
    Param("threshold_pct", "List what holds it through regrind from this share on, in percent of the fill", {"type": "string", "maxLength": 20}),
    Param("traces", "List the traces below the threshold, too", {"type": "boolean", "default": False}),
)  # fmt: skip
def recall(
    suspect: str, defect: str = "contamination", threshold_pct: str | None = None, traces: bool = False
) -> dict[str, Any]:
    least = None
    if threshold_pct is not None:
        least = units.parse("share", "pct", threshold_pct, field="threshold_pct").value
        if not 1 <= least <= 10_000:
            raise Nonsense(
                "The threshold lies between 0.01 and 100 % of the fill.",
                field="threshold_pct",
                expected="such as 1",
            )
    found = worked_out.recall(
        here.book(), here.shop(), suspect, defect=defect, threshold_e4=least, with_traces=traces
    )
    return {name: value for name, value in found.items() if name != "lacking"}


@call(
    "/racks",
    "Every tire that is filled and not released yet, the nearest to ready first",
    shapes.Racks,
    still=False,
)
def racks() -> dict[str, Any]:
    mine, say = here.book(), here.say()
    return {
        "racks": [
            {
                "id": one["id"], "state": one["row"].state, "where": say.name(one["row"].place) if one["row"].place else "",
                "since": times.utc_text(one["row"].since), "customer": one["row"].customer, "size": one["row"].size,
                "clock": cures.plain(mine, one["case"]) if one["case"] else None,
            }
            for one in cures.racks(mine, here.shop(), here.now())
        ]
    }  # fmt: skip


@call(
    "/desk/<id>", "Has a tire cured, on what evidence, and if not, when", shapes.Desk,
    Param("at", "As of this time; now, if not said", {"type": "string", "maxLength": 40}), still=False,
)  # fmt: skip
def desk(id: str, at: str | None = None) -> dict[str, Any]:
    tire = _item(id, "F")
    now = (
        here.now()
        if at is None
        else times.parse(at, queries.timezone(here.book(), here.shop()), field="at").at
    )
    return cures.answer(here.book(), tire, now)


# -- the journal -----------------------------------------------------------------------------------------------------------------
@call(
    "/events", f"The journal from an event on; as {LINES} each line is an event's canonical text", shapes.Events,
    Param("after", "The number of the last event that is known", {"type": "integer", "minimum": 0, "maximum": 2**53 - 1, "default": 0}), LIMIT,
)  # fmt: skip
def events(after: int = 0, limit: int = PAGE) -> dict[str, Any]:
    rows = paged.events(here.book(), here.shop(), after, limit + 1)
    g.lines = rows[:limit]
    more = str(g.lines[-1].seq) if len(rows) > limit else None
    return {
        "events": [{"seq": row.seq, "hash": row.hash, "event": json.loads(row.text)} for row in g.lines],
        "next": _next(more, limit=limit if limit != PAGE else None),
    }


@call("/events/<seq>", "One event of the journal", shapes.Event)
def event(seq: str) -> dict[str, Any]:
    number = here.number(seq)
    rows = paged.events(here.book(), here.shop(), number - 1, 1) if number else []
    if not rows or rows[0].seq != number:
        raise UnknownItem(f"This shop's journal has no event {seq[:20]}.", field="seq")
    return {"seq": rows[0].seq, "hash": rows[0].hash, "event": json.loads(rows[0].text)}
