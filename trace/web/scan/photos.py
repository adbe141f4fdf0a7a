"""The codes in a photograph of a label, read here because a browser may use its camera for pages only over HTTPS.

A telephone's picture comes sideways, dark, too near or from too far; so it is looked at again and again, each time treated
differently, until something reads or the time is up.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, NamedTuple

from fillbook.labels import proof
from fillbook.trace.core.errors import Nonsense

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST_FILE = 20_000_000  # bytes; a telephone's largest JPEG has about 12 million
LONGEST_LOOK_S = 2.0  # so long a hand waits before the tag; then it is photographed again, nearer
SMALL = 900  # pixels of the longer side; symbols of a picture below that are drawn larger before they are looked for
FULL_LOOK = 3000  # pixels of the longer side, more than any symbol needs that is meant to be read


class Seen(NamedTuple):
    """One code of a photograph. ``text`` is what a hand scanner would send: GS1 data begin with their symbology identifier
    (ISO/IEC 15424) and have FNC1 as U+001D. ``kind`` is the symbol's name, such as ``QR Code`` or ``Code 128``."""

    text: str
    kind: str


def read_photo(data: bytes) -> list[Seen]:
    """The codes in the photograph *data* (JPEG, PNG or WebP), each text once, left to right and top to bottom.

    QR, Data Matrix, Code 128, EAN and UPC, ITF-14 are looked for, whichever way up. Takes at most about
    `LONGEST_LOOK_S` seconds more than unpacking the picture does. An empty list where nothing reads.

    Raises Nonsense for a file that is no picture, is damaged, or has more bytes or pixels than a telephone's camera makes;
    the pixels are counted before they are unpacked.
    """
    if not data:
        raise Nonsense("No photograph came with it: take one, or type the ID below the code.", field="photo")
    if len(data) > LARGEST_FILE:
        raise Nonsense(
            f"The photograph has {len(data) / 1e6:.0f} MB, more than {LARGEST_FILE / 1e6:.0f}: take it at a lower resolution.",
            field="photo",
        )
    until = time.monotonic() + LONGEST_LOOK_S
    first, smaller = proof.opened(data, draft=True)
    found = _codes(first)
    whole = proof.opened(data, draft=False)[0] if smaller else first
    if max(whole.size) > FULL_LOOK:
        whole.thumbnail((FULL_LOOK, FULL_LOOK))
    if (
        smaller
    ):  # a second, smaller label beside the first must not go unseen: then it is asked which one is meant
        found = _together(found, _codes(whole))
    for treat in _TREATMENTS:
        if found or time.monotonic() > until:
            break
        for picture in treat(whole):
            found = _together(found, _codes(picture))
            if found or time.monotonic() > until:
                break
    return found


def _codes(picture: Image) -> list[Seen]:
    import zxingcpp

    kinds = zxingcpp.BarcodeFormat
    names = {
        kinds.QRCode: "QR Code", kinds.DataMatrix: "Data Matrix", kinds.Code128: "Code 128", kinds.EAN13: "EAN-13",
        kinds.UPCA: "UPC-A", kinds.ITF: "ITF",
    }  # fmt: skip
    read = zxingcpp.read_barcodes(picture, formats=tuple(names), text_mode=zxingcpp.TextMode.Plain)
    there = []
    for one in read:
        if one.valid and one.text:
            gs1 = one.content_type == zxingcpp.ContentType.GS1
            corner = one.position.top_left
            row = corner.y // max(1, picture.height // 8)  # symbols about as high stand in one row
            text = (one.symbology_identifier if gs1 else "") + one.text
            there.append((row, corner.x, Seen(text, names.get(one.format, one.format.name))))
    return _together([], [seen for _, _, seen in sorted(there)])


def _together(some: list[Seen], more: list[Seen]) -> list[Seen]:
    return list({one.text: one for one in (*some, *more)}.values())


# -- treatments: from what helps most often to what helps seldom ---------------------------------------------------------------
def _lightened(picture: Image) -> Iterator[Image]:
    """Dark, pale or unevenly lit: stretched to the full range, then each spot against the light around it."""
    from PIL import ImageChops, ImageFilter, ImageOps

    yield ImageOps.autocontrast(picture, cutoff=2)
    small = picture.copy()
    small.thumbnail((1600, 1600))
    around = small.filter(ImageFilter.BoxBlur(max(small.size) / 24))
    yield ImageOps.autocontrast(ImageChops.subtract(small, around, scale=1, offset=128), cutoff=1)


def _larger(picture: Image) -> Iterator[Image]:
    """From too far away: drawn larger, so that a module has several pixels."""
    from PIL import Image as Pictures
    from PIL import ImageOps

    if max(picture.size) <= SMALL:
        for times in (2, 3):
            size = (picture.width * times, picture.height * times)
            yield ImageOps.autocontrast(picture.resize(size, Pictures.Resampling.BICUBIC), cutoff=2)


def _calmed(picture: Image) -> Iterator[Image]:
    """Grainy, out of focus: half the size, then without grain, then sharper."""
    from PIL import ImageFilter, ImageOps

    half = picture.copy()
    half.thumbnail((max(300, picture.width // 2), max(300, picture.height // 2)))
    yield ImageOps.autocontrast(half, cutoff=2)
    yield ImageOps.autocontrast(half.filter(ImageFilter.MedianFilter(3)), cutoff=2)
    yield half.filter(ImageFilter.UnsharpMask(radius=4, percent=250, threshold=2))


def _turned(picture: Image) -> Iterator[Image]:
    """Held aslant: a reader of bars looks along rows and columns only."""
    from PIL import ImageOps

    small = picture.copy()
    small.thumbnail((1600, 1600))
    for degrees in (30, 60, 45, 15, 75):
        yield ImageOps.autocontrast(small.rotate(degrees, expand=True, fillcolor=255), cutoff=2)


_TREATMENTS: tuple[Callable[[Image], Iterator[Image]], ...] = (_lightened, _larger, _calmed, _turned)
