"""Papers: labels handed out, recalls opened."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from fillbook.trace.book import queries, recalls
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.work.ask import Ask, Item, Note, Share, Text
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class Print(Ask):
    items: list[Annotated[str, Item("LGFCZUP")]] = Field(
        description="Whose labels", min_length=1, max_length=500
    )
    how: Literal["handed out", "accepted"] = Field(
        "handed out", description="Handed to the browser, or accepted by a printer's queue"
    )
    why: Text | None = Field(None, description="For a reprint: why")
    printer: Text | None = Field(None, description="Which printer accepted them")


@verb("print", Print, place="dock")
def print_labels(ask: Print, floor: Floor) -> dict[str, Any]:
    """Record that labels were handed out or accepted by a printer; never more than is known."""
    copies, faces = [], []
    for item in ask.items:
        floor.must_exist(item, "printing")
        before = len(queries.prints_of(floor.book, item))
        copies.append(before + 1)
        faces.append(ids.KINDS[ids.kind_of(item)])
    if any(n > 1 for n in copies) and not ask.why:
        first = next(item for item, n in zip(ask.items, copies, strict=True) if n > 1)
        raise Nonsense(
            f"A label of {ids.pretty(first)} was printed before; say why it is printed again.", field="why"
        )
    return {"copies": copies, "faces": faces}


class OpenRecall(Ask):
    suspect: Text = Field(description="A lot, or the ID of a tote, a regrind batch or a tire")
    defect: Literal["setting", "contamination"] = Field(
        "contamination",
        description="setting: soft, slow, off-ratio; contamination: moisture, foreign matter, unset goo",
    )
    threshold_e4: Share | None = Field(
        None, description="Tires that hold it through regrind are listed from this share on"
    )
    why: Note = Field(description="Why")


@verb("open recall", OpenRecall, role="lead", place="office")
def open_recall(ask: OpenRecall, floor: Floor) -> dict[str, Any]:
    """Open a recall: freezes the suspect, the kind of defect, the threshold and the list."""
    if not ask.why:
        raise Nonsense("Say why the recall is opened.", field="why")
    threshold = ask.threshold_e4 if ask.threshold_e4 is not None else floor.limit("recall_threshold")
    found = recalls.recall(floor.book, floor.shop, ask.suspect, defect=ask.defect, threshold_e4=threshold)
    return {
        "suspect": found["suspect"],
        "frozen": {
            "threshold_e6": threshold * 100, "position_seq": found["position"]["seq"], "position_hash": found["position"]["hash"],
            "rules": found["rules"],
            "items": [
                {"item": ids.read(one["id"]), "tier": one["tier"], "grams": [one["grams"][k] for k in ("least", "best", "most")]}
                for one in found["items"]
            ],
        },
    }  # fmt: skip
