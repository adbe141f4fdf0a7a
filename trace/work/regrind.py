"""Regrind: cutting fills out, making batches, scrapping."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from fillbook.trace.book import queries
from fillbook.trace.core import ids, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.work.ask import Ask, Item, Mass, Moment, Note, Tire
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb


class Reclaim(Ask):
    tire: Tire = Field(description="The tire whose fill is cut out")
    weight_g: Mass | None = Field(None, description="What came out; what went in, if not weighed")


@verb("reclaim", Reclaim, place="regrind")
def reclaim(ask: Reclaim, floor: Floor) -> dict[str, int]:
    """Cut a tire's fill out for regrind."""
    state = floor.must_exist(ask.tire, "cutting it out")
    name = ids.pretty(ask.tire)
    if state.state == "scrapped":
        raise Nonsense(f"{name} was scrapped: unset or spoiled fill never becomes regrind.", field="tire")
    if state.state in ("taken in", "filling", "reclaimed"):
        raise Nonsense(f"{name} is {state.state}; there is no fill to cut out.", field="tire")
    floor.not_later(ask.tire, ("reclaimed",), "tire")
    floor.check_held(ask.tire, "reclaiming", "tire", may_be_recalled=True)
    fill = queries.fill(floor.book, ask.tire)
    if fill is None:
        raise Nonsense(
            f"No fill of {name} is in the book; enter it first, or grind it as pieces of unknown origin.",
            field="tire",
        )
    if floor.at <= fill.at:
        raise Nonsense(
            f"{name} was filled until {floor.say(fill.at)}; it can't have been cut out at {floor.say(floor.at)}.",
            field="at",
        )
    if ask.weight_g is not None and ask.weight_g > fill.grams * 11 // 10:
        floor.note(
            "more than went in",
            f"{units.kg_lb(ask.weight_g)} came out of {name}; {units.kg_lb(fill.grams)} went in.",
            ask.tire,
        )
    return {"grams": fill.grams if ask.weight_g is None else ask.weight_g}


class Piece(Ask):
    source: Annotated[str, Item("FG", ("unknown",))] = Field(
        description="The reclaimed tire, an earlier batch's rest, or unknown"
    )
    weight_g: Mass = Field(description="How much of it")
    cut_no_later_than: Moment | None = Field(
        None, description="For unknown pieces: when they were cut at the latest"
    )


class Grind(Ask):
    pieces: list[Piece] = Field(description="What went in", min_length=1, max_length=200)


@verb("grind", Grind, place="regrind")
def grind(ask: Grind, floor: Floor) -> dict[str, list[str]]:
    """Make a regrind batch from reclaimed fills, rests of earlier batches and pieces of unknown origin."""
    batch = floor.mint("G")[0]
    taken: dict[str, int] = {}
    for n, piece in enumerate(ask.pieces):
        spot = f"pieces[{n}].source"
        if piece.source == "unknown":
            if piece.cut_no_later_than is not None and piece.cut_no_later_than > floor.at:
                raise Nonsense(
                    "Pieces can't have been cut after they were ground.",
                    field=f"pieces[{n}].cut_no_later_than",
                )
            continue
        name = ids.pretty(piece.source)
        if piece.source == batch:
            raise Nonsense(f"{name} can't be made from itself.", field=spot)
        if piece.cut_no_later_than is not None:
            raise Nonsense(
                f"{name} is known; a latest date of cutting belongs to unknown pieces.",
                field=f"pieces[{n}].cut_no_later_than",
            )
        state = floor.must_exist(piece.source, "grinding")
        floor.check_held(piece.source, "grinding", spot, may_be_recalled=True)
        floor.check_listed(piece.source, "grinding", spot)
        if ids.kind_of(piece.source) == "F":
            _check_tire(piece.source, state.state, floor, spot)
        else:
            _check_rest(piece.source, state.state, floor, spot)
        taken[piece.source] = taken.get(piece.source, 0) + piece.weight_g
    used_up = [source for source, grams in taken.items() if _weigh_against(source, grams, floor)]
    return {"used_up": used_up}


def _check_tire(tire: str, state: str, floor: Floor, spot: str) -> None:
    name = ids.pretty(tire)
    if state == "scrapped":
        raise Nonsense(f"{name} was scrapped: unset or spoiled fill never becomes regrind.", field=spot)
    if state != "reclaimed":
        raise Nonsense(f"{name} is {state}; enter that its fill was cut out before it is ground.", field=spot)


def _check_rest(source: str, state: str, floor: Floor, spot: str) -> None:
    made = queries.batch(floor.book, source)
    name = ids.pretty(source)
    if made is None or made.made_at >= floor.at:
        when = floor.say(made.made_at) if made else "never"
        raise Nonsense(
            f"{name} was made at {when}; it can't have gone into a batch made at {floor.say(floor.at)}.",
            field=spot,
        )
    if state in ("used up", "scrapped"):
        floor.stop("used up", f"{name} was booked {state}.", source, field=spot)


def _weigh_against(source: str, grams: int, floor: Floor) -> bool:
    """A finding where more is taken from *source* than it was: recorded, not refused. True for a batch of which nothing is left."""
    given = queries.given_by(floor.book, source)
    if ids.kind_of(source) == "F":
        had = floor.book.value(
            "SELECT grams FROM out_of WHERE item = ? AND what = 'reclaim' ORDER BY seq DESC LIMIT 1", source
        )
        if had is None:
            had = floor.book.value("SELECT grams FROM fill WHERE item = ?", source)
    else:
        had = floor.book.value("SELECT grams FROM batch WHERE item = ?", source)
        given += floor.book.value(
            "SELECT coalesce(sum(grams), 0) FROM line_act WHERE item = ? AND what = 'load'", source
        )
    if had is not None and given + grams > had * 11 // 10:
        floor.note(
            "more than there was",
            f"{ids.pretty(source)} was {units.kg_lb(had)}; {units.kg_lb(given + grams)} are booked out of it.",
            source,
        )
    return ids.kind_of(source) == "G" and had is not None and given + grams >= had * 98 // 100


class Scrap(Ask):
    item: Annotated[str, Item("LGF")] = Field(description="The tote, batch or tire")
    why: Note = Field(description="Why")
    weight_g: Mass | None = Field(None, description="How much; the rest, if not said")


@verb("scrap", Scrap, place="regrind")
def scrap(ask: Scrap, floor: Floor) -> None:
    """Scrap a tote, a batch or a tire: unset or spoiled fill never becomes regrind."""
    state = floor.must_exist(ask.item, "scrapping")
    if state.state == "scrapped":
        raise Nonsense(
            f"{ids.pretty(ask.item)} was scrapped at {floor.say(state.since)} already.", field="item"
        )
    floor.not_later(ask.item, ("scrapped",), "item")
    if not ask.why:
        raise Nonsense("Say why it is scrapped.", field="why")
