"""Proof-reading: the symbols are read back from the very bytes that are handed out; and symbols in a photograph are read.

Only QR Code and Code 128 are looked for: looking for every kind of symbol takes many times as long and finds things that are
not there.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fillbook.labels import pdf, rendering
from fillbook.labels.faces import Label
from fillbook.labels.layout import CODE128, QR, Page, Placed, pages
from fillbook.labels.parts import DOTS_PER_INCH
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

if TYPE_CHECKING:
    from PIL.Image import Image

# The largest picture that is unpacked, in pixels. A few kilobytes can claim billions; a telephone's largest photograph has
# some 50 million. A JPEG is unpacked grey, the others in up to four colours, so they may be a quarter as large.
MOST_PIXELS = {"JPEG": 64_000_000, "PNG": 16_000_000, "WEBP": 16_000_000}
# Pixels; a JPEG is first read at the smallest half, quarter or eighth that is at least as wide and high
_FIRST_LOOK = 1008


def read_back(document: bytes, dpi: int = DOTS_PER_INCH) -> list[set[str]]:
    """What the symbols on each page of *document* say, as a printer of *dpi* dots to the inch would print them.

    Raises Nonsense for bytes that are no PDF.
    """
    return [set(_texts(picture)) for picture in rendering.rendered(document, dpi)]


def proofread(
    document: bytes,
    labels: Sequence[Label],
    dpi: int = DOTS_PER_INCH,
    laid_out: Sequence[Sequence[Page]] | None = None,
) -> int:
    """Read every symbol of *labels* where it stands on its page of *document*, drawn at the printer's *dpi*; how many there are.

    A symbol counts as read only by itself, so that a good QR code does not cover for bad bars beside it.

    Raises Nonsense naming the first ID of which a symbol does not read, or reads as something else, and where the PDF has
    more or fewer pages than the labels.
    """
    return _proofread(document, labels, dpi, laid_out or [pages(label, dpi) for label in labels], None, 1)


def _proofread(
    document: bytes, labels: Sequence[Label], dpi: int, laid_out: Sequence[Sequence[Page]],
    progress: Callable[[int, int], None] | None, at_once: int,
) -> int:  # fmt: skip
    wanted = [(label, page) for label, its in zip(labels, laid_out, strict=True) for page in its]
    there = rendering.page_count(document)
    if there != len(wanted):
        raise Nonsense(
            f"The PDF has {there} {'page' if there == 1 else 'pages'}, the labels need {len(wanted)}: make the labels again."
        )
    count = 0
    pictures = rendering.rendered(document, dpi)
    for number, ((label, page), picture) in enumerate(zip(wanted, pictures, strict=True), start=1):
        if picture.size != (page.width, page.height):
            raise Nonsense(
                f"Page {number} is not of the size of the label of {ids.pretty(label.id)}: make the labels again."
            )
        for symbol in page.symbols:
            check_symbol(symbol, picture, label, number)
            count += 1
        if progress and (number % at_once == 0 or number == len(wanted)):
            progress(number, len(wanted))
    return count


def made(
    labels: Sequence[Label],
    dpi: int = DOTS_PER_INCH,
    progress: Callable[[int, int], None] | None = None,
    *,
    at_once: int = 100,
) -> bytes:
    """The PDF of *labels*, each laid out once, drawn, and read back from the finished bytes.

    *progress* is told (how many are read back, of how many) every so often. Raises as `pdf.make_pdf` and `proofread` do.
    """
    laid_out: list[list[Page]] = []

    def one_by_one() -> Iterator[list[Page]]:
        for label in labels:
            its = pages(label, dpi)
            yield its
            # Drawn: where each symbol lies is all that is needed from here; a thousand labels' modules would fill the memory.
            laid_out.append(
                [
                    Page(p.width, p.height, p.dpi, symbols=[replace(s, dark=()) for s in p.symbols])
                    for p in its
                ]
            )

    document = pdf.make_pdf(labels, dpi, one_by_one())
    _proofread(document, labels, dpi, laid_out, progress, at_once)
    return document


def read_photo(photo: bytes) -> list[str]:
    """What the QR codes and Code 128 in a photograph say, each once; an empty list where there is none that reads.

    Takes JPEG, PNG or WebP, whichever way up. Raises Nonsense for a file that is no picture, is damaged, or is larger than
    `MOST_PIXELS`.
    """
    picture, draft = opened(photo, draft=True)
    return _texts(picture) or (_texts(opened(photo, draft=False)[0]) if draft else [])


def read_codes(photo: bytes) -> list[str]:
    """What the barcodes on a supplier's label say, each once, as a scanner would send them: GS1 data begin with their symbology
    identifier (ISO/IEC 15424) and have FNC1 as U+001D. QR, Data Matrix, Code 128, EAN and UPC, ITF-14 are looked for.

    Raises Nonsense as `read_photo` does.
    """
    import zxingcpp

    kinds = zxingcpp.BarcodeFormat
    formats = (kinds.QRCode, kinds.DataMatrix, kinds.Code128, kinds.EAN13, kinds.UPCA, kinds.ITF)
    found: list[str] = []
    for draft in (True, False):
        picture, smaller = opened(photo, draft=draft)
        for one in zxingcpp.read_barcodes(picture, formats=formats, text_mode=zxingcpp.TextMode.Plain):
            if one.valid:
                gs1 = one.content_type == zxingcpp.ContentType.GS1
                found.append((one.symbology_identifier if gs1 else "") + one.text)
        if found or not smaller:
            break
    return list(dict.fromkeys(found))


def check_symbol(
    symbol: Placed, picture: Image, label: Label, page: int, corner: tuple[int, int] = (0, 0)
) -> None:
    """Read one symbol of a label whose left top *corner* lies there on *picture*, in dots. Raises Nonsense where it does not read."""
    left, top = symbol.left + corner[0], symbol.top + corner[1]
    found = _texts(picture.crop((left, top, left + symbol.width, top + symbol.height)), symbol.kind)
    if found == [symbol.says]:
        return
    where = f"The {symbol.kind} of {ids.pretty(label.id)} on page {page}"
    if found:
        raise Nonsense(
            f"{where} reads as {' and '.join(found)} instead of {symbol.says}: make the labels again."
        )
    raise Nonsense(f"{where} can't be read back: nothing was handed out; mend the {label.face}'s face.")


def _texts(picture: Image, kind: str | None = None) -> list[str]:
    import zxingcpp

    known = {QR: zxingcpp.BarcodeFormat.QRCode, CODE128: zxingcpp.BarcodeFormat.Code128}
    formats = (known[kind],) if kind else (known[QR], known[CODE128])
    found = zxingcpp.read_barcodes(picture, formats=formats)
    return list(dict.fromkeys(symbol.text for symbol in found if symbol.valid))


def opened(photo: bytes, *, draft: bool) -> tuple[Image, bool]:
    """The photograph, grey and upright, and whether it is smaller than what was sent."""
    from PIL import Image

    bombs = (Image.DecompressionBombError, Image.DecompressionBombWarning)
    try:
        picture = Image.open(io.BytesIO(photo), formats=tuple(MOST_PIXELS))
    except bombs:
        raise _too_large() from None
    except Exception:  # the readers of damaged files raise whatever they stumble over
        raise _unreadable() from None
    with picture:
        whole = picture.size
        if whole[0] * whole[1] > MOST_PIXELS[picture.format or "PNG"]:
            raise _too_large()
        picture.draft("L", (_FIRST_LOOK, _FIRST_LOOK) if draft else whole)  # does nothing unless it is a JPEG
        smaller = picture.size != whole
        try:
            picture.load()
            return _upright(_grey(picture)), smaller
        except Exception:
            raise _unreadable() from None


def _grey(picture: Image) -> Image:
    if picture.has_transparency_data:  # a screenshot's clear ground is white paper, not black
        from PIL import Image

        ground = Image.new("RGBA", picture.size, "white")
        return Image.alpha_composite(ground, picture.convert("RGBA")).convert("L")
    return picture.convert("L")


def _upright(picture: Image) -> Image:
    from PIL import ImageOps

    try:
        return ImageOps.exif_transpose(picture)
    except Exception:  # what the camera noted about itself is damaged; the picture may be good
        return picture


def _too_large() -> Nonsense:
    return Nonsense(
        "The picture has too many pixels to be unpacked: take it at a lower resolution.", field="photo"
    )


def _unreadable() -> Nonsense:
    return Nonsense(
        "This file is no picture that can be read: take the photograph again, as JPEG or PNG.",
        field="photo",
        expected="a JPEG or PNG photograph",
    )
