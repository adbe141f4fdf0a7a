"""The floor: what is hooked up, what the hopper holds, what cures, and what wants looking at."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

from flask import Blueprint, render_template

from fillbook.trace.book import cures, glance, queries
from fillbook.trace.web import here

bp = Blueprint("floor", __name__)
SHOWN = 6  # tires per zone; the racks' page has them all


@bp.get("/")
@here.one_picture
def floor() -> str:
    book, shop, now = here.book(), here.shop(), here.now()
    lines = glance.lines_now(book, shop, now)
    zones: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in cures.racks(book, shop, now, here.say()):
        zones[row["row"].place if row["row"].state == "racked" else ""].append(row)
    return render_template(
        "floor/floor.html", lines=lines, zones=zones, zone_rows=queries.zones(book, shop), shown=SHOWN,
        alerts=glance.alerts(book, shop, now, lines), counts=glance.counts(book, shop), steps=first_steps(),
    )  # fmt: skip


def first_steps() -> list[tuple[str, str, str]]:
    """What a new shop still lacks before the first fill: (words, address, why); empty once all of it is there."""
    book, shop = here.book(), here.shop()
    lacking = []
    if not queries.systems(book, shop):
        lacking.append(
            ("Add a system", "/do/add-system", "the two-part material and its ratio, from the data sheet")
        )
    if not queries.lines(book, shop):
        lacking.append(("Add a line", "/do/add-line", "one pump with its hoses, hopper and gun"))
    if not queries.zones(book, shop):
        lacking.append(("Add a zone", "/do/add-zone", "where tires lie and cure"))
    if len(queries.people(book, shop)) < 2:
        lacking.append(("Add the people", "/do/add-person", "who fills, who signs releases"))
    return lacking
