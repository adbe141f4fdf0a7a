"""A scan that a page takes without leaving it: what it does there, and how the next one is read.

The page's script (``static/rush.js``) sends its scans one after the other, each with where the one before led (*came_from*), so that
a hand scanner may be faster than any page loads. Where a scan asks for a look or a choice, nothing is done and the script stops there.
"""

from __future__ import annotations

from dataclasses import dataclass

from flask import flash

from fillbook.trace.book import danger, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, Stopped
from fillbook.trace.web import called, here
from fillbook.trace.web.desk.rows import rows_of
from fillbook.trace.web.racks import laying
from fillbook.trace.web.scan import leading
from fillbook.trace.web.showing import look

#: Scan contexts: "racks"; "moving:<tires>", tires that wait for their zone; "laid:<zone>", tires just laid there; "lay:<zone>", the
#: zone's own page; "several:<tires>", tires for one signature.


@dataclass(frozen=True)
class Taken:
    """How the next scan is read, and the address of the page that shows what was scanned so far; empty: the page as it is."""

    came_from: str
    where: str = ""


@dataclass(frozen=True)
class Elsewhere:
    """A scan that is none of this page's: the page it leads to. ``asked``: not to be left for it without a touch."""

    where: str
    asked: bool


def take(item: str, came_from: str, at: int | None) -> Taken | Elsewhere:
    """Do on the page *came_from* what a scan of *item* (compact ID) means there, and say it (flashed).

    *at*: when it was scanned (seconds of UTC), None for just now. Raises ShopError where it can't be; then nothing was done.
    """
    place, _, detail = came_from.partition(":")
    kind = ids.kind_of(item)
    if kind == "P":
        leading.work_here(item)
        return Taken(came_from)
    if place == "several" and kind == "F":
        return _call(item, called.tires(detail))
    if place in ("racks", "moving", "laid", "lay") and kind in "FZ":
        if place == "lay":
            return _at_a_zone(detail, item, at)
        tires = called.tires(detail) if place == "moving" else []
        return (
            _move(item, tires)
            if kind == "F"
            else _to_zone(item, tires, detail if place == "laid" else "", at)
        )
    flash(f"{ids.pretty(item)} is a {ids.KINDS[kind]}: nothing is done with it on this page.", "look")
    waits = place in ("several", "moving") and bool(detail)
    return Elsewhere(leading.page_for(item, "" if waits else came_from), asked=waits)


def _call(tire: str, tires: list[str]) -> Taken:
    if tire not in tires:
        if len(tires) >= called.MOST:
            raise Nonsense(
                f"{len(tires)} tires are on the list, as many as go at once. Sign for these first, then scan it again."
            )
        if there := danger.kept_away(here.book(), tire):
            raise Stopped(f"{there.why} It is not released: keep away from the tire and tell a lead at once.")
    (row,) = rows_of([tire])
    name, verdict = row["id"], row["gone"] or row["verdict"]
    if row["ok"]:
        flash(f"{name} may be released.", "go")
    else:
        flash(f"{name} may not be released: {verdict}.", "hold" if look(verdict) == "stop" else "look")
    now = list(dict.fromkeys([*tires, tire]))
    return Taken(f"several:{','.join(now)}", f"/desk/several?tires={','.join(now)}")


def _at_a_zone(zone: str, item: str, at: int | None) -> Taken:
    if ids.kind_of(item) == "F":
        laying.lay_all(zone, [item], at)
        return Taken(f"lay:{zone}", f"/racks/{zone}")
    return _open_zone(item, same=item == zone)


def _open_zone(zone: str, *, same: bool = False) -> Taken:
    name = queries.name_of(here.book(), zone)
    flash(f"Each tire you scan now is laid in {name}.", "look" if same else "go")
    return Taken(f"lay:{zone}", f"/racks/{zone}")


def _move(tire: str, tires: list[str]) -> Taken:
    if tire in tires:
        flash(f"{ids.pretty(tire)} waits for its zone already.", "look")
    else:
        if len(tires) >= called.MOST:
            raise Nonsense(
                f"{len(tires)} tires are on the list, as many as go at once. Scan their zone first, then this one again."
            )
        laying.may_be_laid(tire)
        tires = [*tires, tire]
        flash(f"{ids.pretty(tire)} waits for its zone.", "go")
    return Taken(f"moving:{','.join(tires)}", f"/racks?tires={','.join(tires)}")


def _to_zone(zone: str, tires: list[str], just_laid: str, at: int | None) -> Taken:
    if tires:
        laying.lay_all(zone, tires, at)
        return Taken(f"laid:{zone}", "/racks")
    if zone == just_laid:  # the sign scanned once more: what it was for is done
        flash(
            f"The tires before it lie in {queries.name_of(here.book(), zone)}. Scan the next tires.", "look"
        )
        return Taken(f"laid:{zone}", "/racks")
    return _open_zone(zone)
