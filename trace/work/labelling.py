"""Labels as a shop wants them: its own faces, the printer of each station, what a printer refused, trials on paper; suppliers' codes."""

from __future__ import annotations

import base64
import binascii
from typing import Annotated, Any, Literal

from pydantic import Field

from fillbook.trace.book import apply, queries
from fillbook.trace.core import labelling, supplier_notes
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted
from fillbook.trace.work.ask import Ask, Item, Note, Text, Words
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

LABEL = Literal["tote label", "batch label", "tire tag", "cup label", "zone sign", "line sign", "badge"]
PICTURES = (b"\x89PNG", b"\xff\xd8\xff")
Pattern = Annotated[str, Words(supplier_notes.LONGEST_PATTERN)]


class AdjustFace(Ask):
    face: LABEL = Field(description="Which label")
    size: Text = Field(
        labelling.USUAL, description=f"Its size: {labelling.USUAL} or one of {', '.join(labelling.SIZES)}"
    )
    facts: list[Text] = Field(
        default_factory=list,
        description="Facts to print, the most important first; none: the label's own",
        max_length=20,
    )
    words: list[Text] = Field(
        default_factory=list,
        description="Words in a second language, such as lot=lote or isocyanate=isocianato",
        max_length=40,
    )
    logo: Annotated[str, Words(2_000_000, kept=False, lines=True, blob=False)] | None = Field(
        None, description="The shop's logo, PNG or JPEG, base64; needs the size 3x2 in or larger"
    )


@verb("adjust face", AdjustFace, role="lead", place="office")
def adjust_face(ask: AdjustFace, floor: Floor) -> dict[str, Any]:
    """Choose a label's size, facts, second-language words and logo; later prints use them."""
    facts = [name.replace(" ", "_") for name in ask.facts]
    words = labelling.words_of(ask.words)
    labelling.check_face(ask.face, ask.size, facts, words)
    return {"facts": facts, "words": words, "logo": _logo(ask, floor)}


def _logo(ask: AdjustFace, floor: Floor) -> str:
    """The digest of the logo's bytes, kept beside the journal; empty without one."""
    if not ask.logo:
        return ""
    labelling.check_logo(ask.face, ask.size)
    if ask.logo.startswith("sha256:"):
        return _stored_logo(ask.logo, floor)
    if len(ask.logo) > labelling.LARGEST_LOGO * 4 // 3 + 4:
        raise Nonsense(
            f"The logo is {len(ask.logo) * 3 / 4e6:.1f} MB; at most {labelling.LARGEST_LOGO / 1e6:.0f} MB are taken. Save it smaller.",
            field="logo",
        )
    try:
        data = base64.b64decode(ask.logo, validate=True)
    except (binascii.Error, ValueError):
        raise Nonsense("The logo did not arrive whole (no base64); send it again.", field="logo") from None
    if not data.startswith(PICTURES):
        raise Nonsense("The logo is no picture that can be read: save it as PNG or JPEG.", field="logo")
    return floor.keep(data)


def _stored_logo(said: str, floor: Floor) -> str:
    """A correction that leaves the logo alone has what stands in the event; the picture itself is kept already."""
    stands = (
        apply.effective(floor.book, floor.shop, floor.correcting) if floor.correcting is not None else None
    )
    if stands is None or stands.body["said"].get("logo") != said:
        raise Nonsense("Send the logo itself.", field="logo")
    return str(stands.body["logo"])


class ChooseLanguage(Ask):
    language: Literal["en", "es"] = Field(description="en: English; es: Spanish")


@verb("choose language", ChooseLanguage, role="lead", place="office")
def choose_language(ask: ChooseLanguage, floor: Floor) -> None:
    """Choose the language of the shop's labels, and of the papers that commands make; later prints use it."""


class ChoosePrinter(Ask):
    station: Text = Field(description="The station, such as dock")
    printer: Text = Field(description="browser, lp:QUEUE or ipp://HOST/ipp/print")
    dpi: int = Field(203, description="Dots to the inch of the printer: 203, 300 or 600")
    sheet: Text | None = Field(None, description="For an office printer: paper and grid, such as letter:3x8")


@verb("choose printer", ChoosePrinter, role="lead", place="office")
def choose_printer(ask: ChoosePrinter, floor: Floor) -> None:
    """Say where a station prints its labels, and at which resolution."""
    if not ask.station:
        raise Nonsense("Name the station whose printer it is.", field="station")
    if ask.dpi not in labelling.DPIS:
        raise Nonsense(
            f"{ask.dpi} dots to the inch is no label printer we draw for: 203, 300 or 600.", field="dpi"
        )
    if ask.printer != "browser" and not ask.printer.startswith(("lp:", "ipp://", "ipps://")):
        raise Nonsense(
            f"{quoted(ask.printer)} is no printer: write browser, lp:QUEUE or ipp://HOST/ipp/print.",
            field="printer",
        )


class PrintFailed(Ask):
    items: list[Annotated[str, Item("LGFCZUP")]] = Field(
        description="Whose labels were not accepted", min_length=1, max_length=500
    )
    printer: Text = Field(description="Which printer")
    trouble: Note = Field(description="What it said")


@verb("print failed", PrintFailed, place="dock")
def print_failed(ask: PrintFailed, floor: Floor) -> None:
    """Record that a printer did not accept labels, and why."""
    if not ask.trouble:
        raise Nonsense("Say what the printer said.", field="trouble")
    for item in ask.items:
        floor.must_exist(item, "printing")


STEPS = Literal["new", "48 h in the zone", "solvent rub", "soap", "freezer", "scrape"]


class PaperTrial(Ask):
    stock: Text = Field(description="Which stock and ribbon, as the shop calls them")
    step: STEPS = Field(description="After which step the tags were scanned")
    tags: int = Field(description="How many tags were tried", ge=1, le=200)
    qr: int = Field(description="On how many a QR code read", ge=0, le=200)
    bars: int = Field(description="On how many the bars read", ge=0, le=200)
    either: int = Field(description="On how many any of them read", ge=0, le=200)
    readable: int = Field(description="On how many the ID could be read by eye", ge=0, le=200)
    why: Note | None = Field(None, description="What was seen")


@verb("paper trial", PaperTrial, place="office")
def paper_trial(ask: PaperTrial, floor: Floor) -> None:
    """Keep what a trial of tag stock showed: how many tags still read after a step."""
    if not ask.stock:
        raise Nonsense("Name the stock that was tried.", field="stock")
    for name in ("qr", "bars", "either", "readable"):
        if getattr(ask, name) > ask.tags:
            raise Nonsense(f"{getattr(ask, name)} of {ask.tags} tags can't be: count again.", field=name)
    if not max(ask.qr, ask.bars) <= ask.either <= ask.qr + ask.bars:
        raise Nonsense(
            f"If the QR code read on {ask.qr} and the bars on {ask.bars}, either read on {max(ask.qr, ask.bars)} to {ask.qr + ask.bars}, not {ask.either}.",
            field="either",
        )


class NoteSupplierCode(Ask):
    supplier: Text = Field(description="The supplier")
    pattern: Pattern = Field(
        description=f"How its code reads: a regular expression with the named parts {', '.join(supplier_notes.PARTS)}"
    )
    dates: Literal["YYMMDD", "YYYYMMDD", "DDMMYY", "DDMMYYYY", "MMDDYY", "YYYY-MM-DD", "YYDDD"] = Field(
        "YYMMDD", description="How it writes dates; YYDDD is year and day of the year"
    )
    example: Text = Field(description="A code of that supplier; it must fit")


@verb("note supplier code", NoteSupplierCode, role="lead", place="dock")
def note_supplier_code(ask: NoteSupplierCode, floor: Floor) -> dict[str, Any]:
    """Note how one supplier's own codes are read, so that receiving fills itself in."""
    if not ask.supplier:
        raise Nonsense("Name the supplier.", field="supplier")
    found = supplier_notes.parts(ask.pattern, ask.example)
    if found is None:
        raise Nonsense(
            f"The example {quoted(ask.example)} does not fit the pattern as a whole (up to {supplier_notes.LONGEST_CODE} characters).",
            field="example",
        )
    before = queries.supplier_notes(floor.book, floor.shop).get(ask.supplier)
    return {"read": found, "instead_of": before.seq if before else 0}
