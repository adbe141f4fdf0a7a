"""The picture of where an item came from and went to, drawn along time, and the same as a table."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from flask import Blueprint, render_template, request

from fillbook.trace.book import pedigree
from fillbook.trace.core import ids, lineage, times
from fillbook.trace.core.errors import WrongKind
from fillbook.trace.web import here
from fillbook.trace.web.item.views import the_item

bp = Blueprint("lineage", __name__)
MOST_ROWS = 200
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
    return render_template(
        "lineage/lineage.html", code=item, found=found, picture=found.picture, opened=opened, lanes=LANES,
        ticks=_ticks(found.picture), address=address, rows=found.rows[:MOST_ROWS], more=max(0, len(found.rows) - MOST_ROWS),
    )  # fmt: skip


def _ticks(picture: lineage.Picture, many: int = 6) -> list[Tick]:
    """Dates at even distances."""
    if not picture.boxes:
        return []
    span, width = picture.end - picture.start, picture.width - lineage.MIN_W
    return [
        Tick(round(width * n / many), times.show_date(picture.start + span * n // many, here.say().zone)) for n in range(many + 1)
    ]  # fmt: skip
