"""The supplier's own barcodes at the dock: what they fill in, from where, and what does not fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from flask import Request
from werkzeug.datastructures import MultiDict

from fillbook.labels import supplier_codes
from fillbook.labels.supplier_codes import Note, ReadCode
from fillbook.trace.book import deliveries, queries
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, keyboards
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted
from fillbook.trace.web.scan import photos

MOST_CODES = 60  # on the labels of one receipt, or one photograph of them
LONGEST_KEPT = 200  # characters of the supplier's code that the book keeps
#: What a code says -> the field of the receipt it fills.
FIELD = {
    "supplier": "supplier", "item": "supplier_item", "lot": "lot", "made": "made", "use_by": "use_by", "net_kg": "net_g", "net_lb": "net_g",
    "count": "totes", "serial": "supplier_serial", "container": "supplier_serial",
}  # fmt: skip
SAID = {
    "supplier": "supplier", "supplier_item": "supplier's item", "lot": "lot", "made": "date of making", "use_by": "use-by date",
    "net_g": "net weight", "totes": "count", "supplier_serial": "serial",
}  # fmt: skip


@dataclass
class Filled:
    """What the codes of one label came to: the form's values, where each is from, and sentences to show."""

    codes: list[ReadCode] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)  # the codes as they came, each read again with the next one
    # Codes that lack their beginning; said until they are scanned whole
    refused: list[str] = field(default_factory=list)
    values: dict[str, str] = field(default_factory=dict)
    sources: dict[str, str] = field(default_factory=dict)
    # The serials of several totes of one lot, in the order they were scanned
    several: list[str] = field(default_factory=list)
    troubles: list[str] = field(default_factory=list)


def photographed(photo: bytes) -> list[str]:
    """What the barcodes in a photograph say. Raises Nonsense for a file that is no picture, and where no code reads."""
    found = [seen.text for seen in photos.read_photo(photo)]
    if not found:
        raise Nonsense(
            "No barcode reads in this photograph: go closer, hold still, avoid glare, and let the whole code be in it.",
            field="photo",
        )
    return found


class Said(NamedTuple):
    """The supplier's codes of a form, and the shop's own labels (compact IDs) that stood beside them in a photograph."""

    codes: list[str]
    own: list[str]


def own_label(book: Book, text: str) -> str:
    """The compact ID where *text* is one of the shop's own labels, else empty."""
    try:
        item = keyboards.read_id(text)
    except Nonsense:
        return ""
    return item if queries.item_exists(book, item) else ""


def why_not_ours(item: str) -> str:
    """The sentence for one of the shop's own labels (compact ID) where the supplier's belongs."""
    return f"{ids.pretty(item)} is one of our own labels ({ids.KINDS[ids.kind_of(item)]}), not the supplier's: nothing was filled in from it."


def said_in(before: Sequence[str], asked: Request, book: Book, *, none_will_do: bool = False) -> Said:
    """The codes of a form: those read *before*, the one just scanned or typed, those in a photograph.

    Raises Nonsense as `photographed` does, for none at all unless *none_will_do*, where only the shop's own labels were read, and for a code that a scanner
    of another keyboard typed.
    """
    found = [code for code in before if code.strip()]
    for line in filter(str.strip, asked.form.get("code", "").splitlines()):
        if item := own_label(book, line):
            raise Nonsense(why_not_ours(item), field="code")
        if supplier_codes.is_of_another_keyboard(line):
            raise Nonsense(why_mixed_up(line), field="code")
        found.append(line)
    own: list[str] = []
    photo = asked.files.get("photo")
    if photo is not None and photo.filename:
        seen = photographed(photo.read())
        items = {code: own_label(book, code) for code in seen}
        own = [item for item in items.values() if item]
        if len(own) > 1 and len(own) == len(seen):
            raise Nonsense(
                f"All {len(own)} codes in this photograph are our own labels, not the supplier's: nothing was filled in from them.",
                field="photo",
            )
        if own and len(own) == len(seen):
            raise Nonsense(why_not_ours(own[0]), field="photo")
        found += [code for code in seen if not items[code]]
    found = list(dict.fromkeys(code.strip(" \t\r\n").replace("\x1d", "<GS>") for code in found))
    if not found and not none_will_do:
        raise Nonsense(
            "There is nothing to read: scan the supplier's label, photograph it, or type its number. To book the lot in, press Book in.",
            field="code",
        )
    return Said(found[:MOST_CODES], own)


def why_mixed_up(code: str) -> str:
    """The sentence for a code that a scanner of another keyboard typed."""
    return (
        f"{quoted(code)} comes from a scanner whose keyboard layout (language) is wrong for this computer, so it was not kept. "
        "Set both to the same and scan it again; or photograph the label."
    )


def notes_of(book: Book, shop: str) -> list[Note]:
    """How the shop reads its suppliers' codes."""
    return [Note(row.supplier, row.pattern, row.dates) for row in queries.supplier_notes(book, shop).values()]


def fill_in(book: Book, shop: str, codes: Sequence[str], said: MultiDict) -> Filled:
    """Read *codes* and tell what they fill in over what was *said* so far.

    Raises Nonsense for a code that is too long or no text.
    """
    notes = notes_of(book, shop)
    filled = Filled()
    for code in codes:
        one = supplier_codes.read(code, notes)
        if not one.fields and supplier_codes.is_torn(code):
            filled.refused.append(code)
        else:
            filled.codes.append(one)
            filled.kept.append(code)
    filled.several = _serials(filled.codes)
    for one in filled.codes:
        filled.troubles += [words for words in one.troubles if words not in filled.troubles]
        if (
            not one.fields
            and "(" not in one.code
            and any(other.code.startswith("(") for other in filled.codes)
        ):
            filled.troubles.append(
                f"{quoted(one.code)} is built unlike the other codes of this label. If its beginning is missing, begin again and scan it once more."
            )
        for name, part in one.fields.items():
            value, how = _in_time(name, part.value)
            where = f", in {quoted(one.code)}" if len(filled.codes) > 1 else ""
            _put(filled, name, value, f"{part.source}{how}{where}")
    if filled.several:
        _several_totes(filled, said)
    else:
        _serial_of_several(filled)
    _as_last_time(filled, book, shop, said)
    _over_what_was_typed(filled, said)
    _keep_code(filled)
    return filled


def still_refused(refused: Sequence[str], kept: Sequence[str]) -> list[str]:
    """The codes without a beginning that were not scanned whole since."""
    still = [torn for torn in dict.fromkeys(refused) if not any(whole.endswith(torn) for whole in kept)]
    return still[-MOST_CODES:]


def why_refused(code: str) -> str:
    """The sentence for a code that lacks its beginning."""
    return f"{quoted(code)} begins in the middle of a code: the scanner's first characters were lost, so it was not kept. Scan that barcode again."


def _in_time(name: str, value: str) -> tuple[str, str]:
    """A day of a label as the form takes a time: made from its beginning, used up to its end."""
    if name == "made":
        return f"{value}T00:00", " (the day; its beginning is taken)"
    if name == "use_by":
        return f"{value}T23:59", " (the day; its end is taken)"
    return value, ""


def _put(filled: Filled, name: str, value: str, source: str) -> None:
    to = FIELD.get(name)
    if to is None:
        return
    there = filled.values.get(to)
    if there is None:
        filled.values[to], filled.sources[to] = value, source
        if to == "net_g":
            filled.values["net_g.unit"] = name.removeprefix("net_")
    elif (
        there != value
        and name != "container"
        and not (to == "supplier_serial" and filled.several)
        and not (to == "net_g" and name[4:] != filled.values["net_g.unit"])
    ):
        filled.troubles.append(
            f"Two codes of this label say different things for the {SAID[to]}: {quoted(there)} and {quoted(value)}. Look at the label; the first stands below."
        )


def _serials(codes: Sequence[ReadCode]) -> list[str]:
    """The serials of several totes whose labels were scanned one after the other; none where the codes are those of one tote.

    A number of the container counts where no label bears a serial. A tote of another lot is not one of them.
    """
    lot = next((one.fields["lot"].value for one in codes if "lot" in one.fields), None)
    of_it = [one.fields for one in codes if "lot" not in one.fields or one.fields["lot"].value == lot]
    for name in ("serial", "container"):
        found = list(dict.fromkeys(fields[name].value for fields in of_it if name in fields))
        if found:
            return found if len(found) > 1 else []
    return []


def _several_totes(filled: Filled, said: MultiDict) -> None:
    """As many totes as serials; what was typed by hand among them stays."""
    counted = filled.values.pop("totes", "1")
    filled.sources.pop("totes", None)
    filled.values.pop("supplier_serial", None)
    source = filled.sources.pop("supplier_serial", "")
    stands = [line.strip() for line in said.get("serials", "").splitlines() if line.strip()]
    typed = [] if stands == said.get("was-serials", "").splitlines() else stands
    serials = list(dict.fromkeys([*typed, *filled.several]))
    filled.values["serials"], filled.sources["serials"] = "\n".join(serials), source.split(", in ")[0]
    expected = said.get("totes", "").strip()
    if not said.get("from-totes") and expected.isdecimal() and int(expected) >= len(serials):
        return  # so many are on the truck: what is not scanned yet is asked for when they are booked in
    filled.values["totes"], filled.sources["totes"] = str(len(serials)), "the serials that were scanned"
    if counted not in ("1", str(len(serials))):
        filled.troubles.append(
            f"The labels count {counted}, and {len(serials)} serials were scanned: see how many totes came in."
        )


def _serial_of_several(filled: Filled) -> None:
    count = filled.values.get("totes", "1")
    if not count.isdigit() or int(count) <= 1:
        return
    if "supplier_serial" in filled.values:
        serial = filled.values.pop("supplier_serial")
        filled.sources.pop("supplier_serial")
        filled.troubles.append(
            f"The label counts {count}, so its number {serial} is not any one tote's: it stays in the supplier's code."
        )
    if "net_g" in filled.values:
        filled.troubles.append(
            f"The label counts {count} and says {filled.values['net_g']} {filled.values['net_g.unit']} net: see whether that is each tote's or all of theirs."
        )


def _as_last_time(filled: Filled, book: Book, shop: str, said: MultiDict) -> None:
    """The same item came in before: its supplier, side and system, where nobody says otherwise."""
    item = filled.values.get("supplier_item")
    before = deliveries.last_of_item(book, shop, item) if item else None
    if before is None:
        return
    for name in ("supplier", "side", "system"):
        if name not in filled.values and not said.get(name):
            filled.values[name] = before[name]
            filled.sources[name] = f"the last delivery of the item {item}"


def _over_what_was_typed(filled: Filled, said: MultiDict) -> None:
    for name, value in filled.values.items():
        typed = said.get(name, "").strip()
        if (
            name in SAID
            and typed
            and typed != value
            and not said.get(f"from-{name}")
            and (name, typed) != ("totes", "1")
        ):
            filled.troubles.append(
                f"For the {SAID[name]} you had {quoted(typed)}; the label says {quoted(value)}, which stands below."
            )


def _of_the_first(filled: Filled) -> list[ReadCode]:
    """The codes that go with the receipt: of several totes those of the first, since the others differ in the serial alone."""
    others = set(filled.several[1:])
    return [
        one for one in filled.codes if not any(part.value in others for name, part in one.fields.items() if name in ("serial", "container"))
    ]  # fmt: skip


def _keep_code(filled: Filled) -> None:
    kept: list[str] = []
    for one in _of_the_first(filled):
        if len(" ".join([*kept, one.code])) <= LONGEST_KEPT:
            kept.append(one.code)
        else:
            filled.troubles.append(
                f"The code {quoted(one.code)} is too long to be kept with the others; what it says stands below."
            )
    if kept:
        filled.values["supplier_code"] = " ".join(kept)
        filled.sources["supplier_code"] = "the label, as it was read; it can be searched for"
