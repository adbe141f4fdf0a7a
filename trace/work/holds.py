"""Holding and lifting."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from fillbook.trace.book import on_hold, queries
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, NotAllowed, UnknownItem
from fillbook.trace.work.ask import Ask, Item, Note, Reason, Text
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

from typing import Annotated  # isort: skip

AnyItem = Annotated[str, Item("LGFCZU")]


class Hold(Ask):
    item: AnyItem | None = Field(None, description="The tote, batch, tire, line or zone to hold")
    lot: Text | None = Field(
        None, description="Or a supplier's lot: every tote of it, also those still to come"
    )
    why: Note = Field(description="Why")


@verb("hold", Hold, place="office")
def hold(ask: Hold, floor: Floor) -> dict[str, Any]:
    """Put an item or a whole lot on hold."""
    if bool(ask.item) == bool(ask.lot):
        raise Nonsense("Hold an item or a lot: name one of the two.", field="item")
    if not ask.why:
        raise Nonsense("Say why it is held, so that whoever finds it knows.", field="why")
    if ask.item:
        floor.must_exist(ask.item)
        return {"lot": "", "supplier": "", "covers": [ask.item]}
    lot = queries.find_lot(floor.book, floor.shop, ask.lot or "")
    if lot is None:
        raise UnknownItem(f"No lot {ask.lot!r} came in. Write it as on the tote's label.", field="lot")
    totes = queries.lot_totes(floor.book, floor.shop, lot.supplier, lot.lot)
    return {"lot": lot.lot, "supplier": lot.supplier, "covers": [t["item"] for t in totes]}


class Lift(Ask):
    item: AnyItem | None = Field(None, description="The item whose hold is lifted")
    lot: Text | None = Field(None, description="Or the lot")
    hold: Text | None = Field(
        None, description="Which hold, as shown (such as 41.0), where several lie on it"
    )
    why: Reason = Field(description="What was looked at, and why it may go on")


@verb("lift", Lift, role="lead", place="office")
def lift(ask: Lift, floor: Floor) -> dict[str, Any]:
    """Lift one hold."""
    if bool(ask.item) == bool(ask.lot):
        raise Nonsense("Lift the hold of an item or of a lot: name one of the two.", field="item")
    if not ask.why:
        raise Nonsense("Say what was looked at before the hold is lifted.", field="why")
    if ask.item:
        what = ids.pretty(ask.item)
        there = [h for h in on_hold.open_holds(floor.book, floor.shop) if h["item"] == ask.item]
    else:
        lot = queries.find_lot(floor.book, floor.shop, ask.lot or "")
        if lot is None:
            raise UnknownItem(f"No lot {ask.lot!r} came in. Write it as on the tote's label.", field="lot")
        what = f"lot {lot.lot}"
        there = [
            h
            for h in on_hold.open_holds(floor.book, floor.shop)
            if (h.lot, h.supplier) == (lot.lot, lot.supplier)
        ]
    if ask.hold:
        there = [h for h in there if f"{h.seq}.{h.n}" == ask.hold]
    if not there:
        raise UnknownItem(f"No such hold lies on {what}.", field="hold" if ask.hold else "item")
    if len(there) > 1:
        names = "; ".join(f"{h.seq}.{h.n} {h.why}" for h in there)
        raise Nonsense(f"Several holds lie on {what}; lift them one by one: {names}.", field="hold")
    one = there[0]
    if one.at > floor.at:
        raise Nonsense(
            f"The hold on {what} was put on at {floor.say(one.at)}, after the time given.", field="at"
        )
    signer = floor.signed_by or floor.who
    if one.by_rule and signer == one.who:
        raise NotAllowed(
            f"{floor.name(signer)} recorded what led to this hold; a second person has to look before it is lifted.",
            field="who",
        )
    covers = (
        [one["item"]]
        if one["item"]
        else [t["item"] for t in queries.lot_totes(floor.book, floor.shop, one.supplier, one.lot)]
    )
    return {"hold_seq": one.seq, "hold_n": one.n, "covers": covers}
