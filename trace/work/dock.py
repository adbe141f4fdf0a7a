"""The dock: totes come in."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from fillbook.trace.book import queries, usual
from fillbook.trace.core import ids, units
from fillbook.trace.core.errors import Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, Mass, Moment, Text
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

MOST_TOTES = 200
BASIS = Literal["scale", "supplier's label", "pump total", "usual empty weight", "chart", "run time", "guess"]


class Receive(Ask):
    supplier: Text = Field(description="Who delivered it")
    lot: Text = Field(description="The supplier's lot, as on the label")
    side: Literal["A", "B"] = Field(
        description="A is the isocyanate, B the polyol: read the substance, the letters swap in places"
    )
    system: Text = Field(description="The two-part material it belongs to")
    grade: Text | None = Field(None, description="Hardness grade, as on the label")
    totes: int = Field(1, description="How many totes of this lot", ge=1, le=MOST_TOTES)
    net_g: Mass = Field(description="Net weight of each tote")
    basis: BASIS = Field("supplier's label", description="Where the weight comes from")
    made: Moment | None = Field(
        None, description="When it was made, as on the label: pieces cut before that can't hold it"
    )
    use_by: Moment | None = Field(None, description="Use by, as on the label")
    supplier_code: Text | None = Field(None, description="The supplier's own code, as scanned from its label")
    supplier_item: Text | None = Field(
        None, description="The supplier's number of the material, such as its GTIN"
    )
    supplier_serial: Text | None = Field(None, description="The supplier's serial of this one tote")
    serials: list[Text] | None = Field(
        None, description="The supplier's serials of several totes, one for each", max_length=MOST_TOTES
    )


@verb("receive", Receive, place="dock")
def receive(ask: Receive, floor: Floor) -> None:
    """Book in the totes of a lot; each gets its ID."""
    if not ask.supplier or not ask.lot:
        raise Nonsense(
            "A tote needs its supplier and its lot: without them nothing can be recalled.", field="lot"
        )
    known = queries.system(floor.book, floor.shop, ask.system)
    if known is None:
        names = ", ".join(s.name for s in queries.systems(floor.book, floor.shop)) or "none yet"
        raise UnknownItem(
            f"The system {ask.system!r} is not in this book. Known: {names}. Add it first, with its ratio.",
            field="system",
            expected=names,
        )
    earlier = queries.lot_totes(floor.book, floor.shop, ask.supplier, ask.lot)
    if earlier and (earlier[0].side, earlier[0].system.lower()) != (ask.side, ask.system.lower()):
        raise Nonsense(
            f"Lot {ask.lot} of {ask.supplier} came in before as side {earlier[0].side} of {earlier[0].system}. "
            "One lot is one side of one system: look at the label again.",
            field="side",
        )
    if ask.made is not None and ask.made > floor.at:
        raise Nonsense(
            f"Lot {ask.lot} can't have been made after it came in; look at the label again.", field="made"
        )
    if ask.serials:
        _check_serials(ask.serials, ask)
    elif ask.supplier_serial and ask.totes > 1:
        raise Nonsense(
            f"The serial {ask.supplier_serial} belongs to one tote: name the serial of each among those of the totes, or leave it out.",
            field="supplier_serial",
        )
    if ask.use_by is not None and ask.use_by < floor.at:
        floor.note("past use-by", f"Lot {ask.lot} came in after its use-by date ({floor.say(ask.use_by)}).")
    totes = floor.mint("L", ask.totes)
    before = usual.of_tote(floor.book, floor.shop, known.name, ask.side, floor.at, floor.correcting)
    times_off = before.times(ask.net_g) if before else 0
    for tote in totes if before and times_off else ():
        _note_unusual(tote, ask.net_g, before.grams, times_off, known.name, floor)


def _check_serials(serials: list[str], ask: Receive) -> None:
    """One serial for each tote, each once."""
    twice = next((one for n, one in enumerate(serials) if one in serials[:n]), None)
    if twice is not None:
        raise Nonsense(f"The serial {twice} is named twice; each tote has its own.", field="serials")
    if ask.supplier_serial:
        raise Nonsense(
            f"The serial {ask.supplier_serial} stands by itself beside the serials of several totes: put it among them, or leave it out.",
            field="supplier_serial",
        )
    if len(serials) != ask.totes:
        raise Nonsense(
            f"{len(serials)} {'serial is' if len(serials) == 1 else 'serials are'} named for {ask.totes} {'tote' if ask.totes == 1 else 'totes'}: "
            "scan the labels that are missing, or correct how many came in.",
            field="serials",
        )


def _note_unusual(tote: str, net_g: int, before_g: int, times_off: int, system: str, floor: Floor) -> None:
    """A net weight ten times off what such totes held before is kept, and a second person looks whether it was typed so."""
    name, net, was = ids.pretty(tote), units.kg_lb(net_g), units.kg_lb(before_g)
    if times_off > 0:
        words = f"{name} came in with {net}, {times_off} times what totes of {system} held before ({was}): look at its label and the unit."
    else:
        words = f"{name} came in with {net}, one part in {-times_off} of what totes of {system} held before ({was}): look at its label and the unit."
    floor.note("unusual weight", words, tote, holds=True)
