"""Where a scan leads, given the page it came from."""

from __future__ import annotations

import re

from flask import Request, flash, session
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.sansio.multipart import Data, Epilogue, Field, File, MultipartDecoder, NeedData

from fillbook.trace.book import queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import UnknownItem
from fillbook.trace.web import here

PAGE = re.compile("[a-z]{0,20}(:[A-Z0-9,]{0,1000})?")  # a place, and the line, zone or tires it is about
FIRST = 16_384  # bytes of a form that is too large, in which the fields before its file stand
MOVING_S = 120  # so long after a tire was scanned at the racks, the zone scanned next is where it goes


def page_said(text: str) -> str:
    """The page a scan came from, as our pages say it; nothing where *text* is none of theirs, since addresses are made of it."""
    return text if PAGE.fullmatch(text) else ""


def said_first(asked: Request) -> dict[str, str]:
    """The fields that stand before the file in a form too large to be taken: where a photograph was taken is not lost with it."""
    found: dict[str, str] = {}
    boundary = asked.mimetype_params.get("boundary", "")
    if asked.mimetype != "multipart/form-data" or not boundary:
        return found
    parts, name = MultipartDecoder(boundary.encode(), max_form_memory_size=FIRST), ""
    try:
        parts.receive_data(asked.environ["wsgi.input"].read(FIRST))
        while not isinstance(part := parts.next_event(), NeedData | Epilogue | File):
            if isinstance(part, Field):
                name = part.name
            elif isinstance(part, Data):
                found[name] = found.get(name, "") + part.data.decode(errors="replace")
    except (ValueError, RequestEntityTooLarge):  # no form after all
        return {}
    return found


def back_to(came_from: str) -> str:
    """The address of the page a scan came from; empty for one that reads scans as any page does."""
    place, _, detail = came_from.partition(":")
    if place in ("cage", "lay") and not detail:
        return ""
    return {
        "desk": "/desk", "dock": "/dock", "racks": "/racks", "laid": "/racks", "cage": f"/cage/{detail}", "lay": f"/racks/{detail}",
        "moving": f"/racks?tires={detail}" if detail else "/racks",
        "several": f"/desk/several?tires={detail}" if detail else "/desk/several",
    }.get(place, "")  # fmt: skip


def work_here(person: str) -> None:
    """The badge of *person* was scanned. Raises UnknownItem where it was voided."""
    shop = queries.shop_of(here.book(), person)
    if not any(person == one["item"] for one in queries.people(here.book(), shop)):
        raise UnknownItem(
            f"{ids.pretty(person)} is the badge of nobody any more: it was voided. Scan another, or pick a name at the top.",
            field="code",
        )
    here.choose(person)
    flash(f"{queries.name_of(here.book(), person)} works at this station now.", "go")


def page_for(item: str, came_from: str) -> str:
    """The address of the page where somebody who scanned *item* most likely wants to be, given the page they were on."""
    kind = ids.kind_of(item)
    place, _, detail = came_from.partition(":")
    if kind == "P":
        work_here(item)
        return "/"
    if place == "cage" and detail:
        there = {
            "F": f"/cage/{detail}?tire={item}", "L": f"/cage/{detail}/change/{item}",
            "G": f"/do/load?line={detail}&batch={item}", "C": f"/do/read-cup?cup={item}",
        }  # fmt: skip
        if kind in there:
            return there[kind]
    if place == "several" and kind == "F":
        return f"/desk/several?tires={detail},{item}" if detail else f"/desk/several?tires={item}"
    if (
        place == "moving" and detail
    ):  # tires scanned in the page before; this one by photograph, or without its script
        if kind == "F":
            return f"/racks?tires={detail},{item}"
        if kind == "Z":
            return f"/do/rack?tires={detail}&zone={item}"
    if place in ("racks", "moving", "laid") and kind == "F":
        session["moving"] = (item, here.now())
        return f"/do/rack?tires={item}"
    tire, since = session.pop("moving", ("", 0))
    if kind == "Z" and tire and 0 <= here.now() - since <= MOVING_S:
        return f"/do/rack?tires={tire}&zone={item}"
    if place == "desk" and kind == "F":
        return f"/desk/{item}"
    return {"U": f"/cage/{item}", "Z": f"/racks/{item}"}.get(kind, f"/i/{item}")
