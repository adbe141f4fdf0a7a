"""The picture of where an item came from and went to, drawn along time, and the same as a table."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from urllib.parse import urlencode

from flask import Blueprint, render_template, request

from fillbook.trace.book import pedigree
from fillbook.trace.core import ids, lineage, times
from fillbook.trace.core.errors import WrongKind
from fillbook.trace.web import here
from fillbook.trace.web.item.views import the_item

bp = Blueprint("lineage", __name__)
FIRST_ROWS = 12  # of each table beside the picture
MOST_ROWS = 100  # of a table on a page of its own
WAYS = {"from": "Came from, by any path", "to": "Went to, by any path"}
LANES = {"L": "Totes", "G": "Regrind batches", "F": "Tires"}


@dataclass(frozen=True)
class Tick:
    """A date along the top of the picture."""

    x: int
    words: str


@bp.get("/lineage/<path:code>")
@here.one_picture
def picture(code: str) -> str:
    item = the_item(code)
    if ids.kind_of(item) not in lineage.KINDS:
        raise WrongKind(
            f"{ids.pretty(item)} is a {ids.KINDS[ids.kind_of(item)]}; a lineage is of a tote, a regrind batch or a tire."
        )
    opened = tuple(
        dict.fromkeys(
            one[:80] for one in request.args.getlist("open") if one[1:2] == ":" and one[:1] in lineage.KINDS
        )
    )[:20]

    def address(keys: tuple[str, ...], more: str = "", without: str = "") -> str:
        """This picture with one box more unfolded, or one folded again."""
        asked = [("open", one) for one in (*keys, more) if one and one != without]
        return f"/lineage/{item}" + (f"?{urlencode(asked)}#picture" if asked else "")

    found = pedigree.pedigree(here.book(), item, opened)
    way = request.args.get("table", "")
    if way in WAYS:
        return _table(item, found, way)
    tables = [(way, found.of(way)[:FIRST_ROWS], len(found.of(way))) for way in WAYS]
    return render_template(
        "lineage/lineage.html", code=item, found=found, picture=found.picture, opened=opened, lanes=LANES,
        ticks=_ticks(found.picture), drawn=_drawn, address=address, tables=tables, words=WAYS,
    )  # fmt: skip


def _table(item: str, found: pedigree.Pedigree, way: str) -> str:
    """All that is related to *item* one way, page by page."""
    rows = found.of(way)
    last = max(1, -(-len(rows) // MOST_ROWS))
    page = min(last, max(1, here.number(request.args.get("page", "")) or 1))
    start = (page - 1) * MOST_ROWS
    return render_template(
        "lineage/table.html", code=item, way=way, words=WAYS, mine=rows[start : start + MOST_ROWS], count=len(rows),
        first=start + 1, page=page, last=last, traces=found.traces,
    )  # fmt: skip


def _ticks(picture: lineage.Picture, many: int = 6) -> list[Tick]:
    """Dates at even distances."""
    if not picture.boxes:
        return []
    span, width = picture.end - picture.start, picture.width - 2 * lineage.SIDE - lineage.MIN_W
    return [
        Tick(lineage.SIDE + round(width * n / many), times.show_date(picture.start + span * n // many, here.say().zone)) for n in range(many + 1)
    ]  # fmt: skip


def _drawn(points: tuple[tuple[int, int], ...]) -> str:
    """The path of a line through *points*: straight where x stays, else a turn that never leaves the height between the two."""
    path = f"M{points[0][0]} {points[0][1]}"
    for (x0, y0), (x1, y1) in pairwise(points):
        if x0 == x1:
            path += f" V{y1}"
            continue
        turn = (y0 + y1) // 2 if y0 != y1 else y0 + lineage.ROW_GAP - 4
        path += f" C{x0} {turn} {x1} {turn} {x1} {y1}"
    return path
