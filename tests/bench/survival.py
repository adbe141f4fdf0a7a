"""Do labels survive the shop? Printed faces are scuffed, blotted, blurred, tilted, dimmed and photographed, and read again.

Run: python tests/bench/survival.py [trials]      (300 trials of each; the seed is fixed, so a run can be repeated)

Each face of ours stands beside a label of the same size with one QR code (level H, the same address) that takes as much area as
all the face's symbols together, quiet zones included. Both get the same damage to the square millimetre. "Typed" is an estimate:
the ID can still be read by eye where no letter of its large lines is covered by more than 40 %.
"""

from __future__ import annotations

import math
import random
import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy
import zxingcpp
from PIL import Image, ImageDraw, ImageFilter

from fillbook.labels import layout, rendering, symbols
from fillbook.labels.faces import FACES, Label
from fillbook.labels.pdf import make_pdf
from fillbook.trace.core import ids

DPI = 203
DOT = 25.4 / DPI  # mm
FAR = {"near": 10.0, "middle": 6.5, "far": 4.2}  # pixels of the camera to a millimetre of the label
FACTS = {"side": "A", "lot": "A-2231", "supplier": "Northvale", "net_weight": "1000 kg", "use_by": "2026-08-01", "customer": "Quarry Nine",
         "size": "23.5-25", "move_from": "2026-03-05 14:10", "load_from": "2026-03-06 14:10"}  # fmt: skip
SHOWN = ("tote label 3x2 in", "tire tag 2x1 in", "tote label", "tire tag", "tire tag 4x6 in")
FORMATS = (zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.Code128)


@dataclass
class Print:
    """A label as it came from the printer: its picture, the area its symbols take (dots), and the boxes of its ID's letters."""

    picture: Image.Image
    area: int
    letters: list[tuple[int, int, int, int]]


def printed(face: str) -> Print:
    """The front of a face, as a 203 dpi printer prints it."""
    kind = FACES[face].kind
    label = Label(
        face, ids.mint("BH", kind, 2026, ids.next_serial("BH", kind, 2026, 416)), "FILLBOOK.LOCAL", FACTS
    )
    page = layout.pages(label, DPI)[0]
    letters = []
    for line in page.lines:
        if line.capitals and line.bold:
            box, step = line.extent, line.extent.width / len(line.says)
            letters += [
                tuple(
                    round(mm / DOT)
                    for mm in (box.left + n * step, box.top, box.left + (n + 1) * step, box.bottom)
                )
                for n, letter in enumerate(line.says)
                if letter != "-"
            ]
    return Print(
        rendering.page(make_pdf([label], DPI), 0, DPI), sum(s.width * s.height for s in page.symbols), letters
    )


def single(like: Print) -> Print:
    """A label of the same size with one QR code, as large as all symbols of *like* together, in its middle."""
    code = symbols.qr(ids.address("FILLBOOK.LOCAL", "BHF2600417Y"))
    square = numpy.pad(numpy.where(code.rows, 0, 255).astype("uint8"), symbols.QR_QUIET, constant_values=255)
    side = round(math.sqrt(like.area))
    drawn = Image.fromarray(numpy.kron(square, numpy.ones((16, 16), "uint8"))).resize(
        (side, side), Image.Resampling.BOX
    )
    width, height = (max(like.picture.width, side), max(like.picture.height, side))
    picture = Image.new("L", (width, height), 255)
    picture.paste(drawn, ((width - side) // 2, (height - side) // 2))
    return Print(picture, side * side, [])


# -- what happens to a label ---------------------------------------------------------------------------------------------------
def marks(
    size: tuple[int, int],
    share: float,
    draw: Callable[[ImageDraw.ImageDraw, random.Random, int, int], None],
    lots: random.Random,
) -> Image.Image:
    """A mask with marks over *share* of it."""
    mask = Image.new("L", size)
    pen, wanted = ImageDraw.Draw(mask), share * size[0] * size[1]
    while mask.histogram()[255] < wanted:
        draw(pen, lots, *size)
    return mask


def scratch(pen: ImageDraw.ImageDraw, lots: random.Random, width: int, height: int) -> float:
    """5 to 25 mm long, a quarter to three quarters of a millimetre wide."""
    x, y, turn, half = (
        lots.uniform(0, width),
        lots.uniform(0, height),
        lots.uniform(0, math.pi),
        lots.uniform(2.5, 12.5) / DOT,
    )
    dx, dy = half * math.cos(turn), half * math.sin(turn)
    thick = lots.choice((2, 3, 4, 6))
    pen.line([x - dx, y - dy, x + dx, y + dy], fill=255, width=thick)
    return 2 * half * thick


def blot(pen: ImageDraw.ImageDraw, lots: random.Random, width: int, height: int) -> float:
    """Half a millimetre to 1.75 mm in radius."""
    x, y, r = lots.uniform(0, width), lots.uniform(0, height), lots.uniform(0.5, 1.75) / DOT
    flat = lots.uniform(0.5, 1)
    pen.ellipse([x - r, y - r * flat, x + r, y + r * flat], fill=255)
    return math.pi * r * r * flat


def scuffed(share: float):
    def do(picture: Image.Image, lots: random.Random) -> tuple[Image.Image, Image.Image]:
        mask = marks(picture.size, share, scratch, lots)
        return Image.composite(Image.new("L", picture.size, 250), picture, mask), mask

    return do


def blotted(share: float):
    def do(picture: Image.Image, lots: random.Random) -> tuple[Image.Image, Image.Image]:
        mask = marks(picture.size, share, blot, lots)
        return Image.composite(Image.new("L", picture.size, 30), picture, mask), mask

    return do


def blurred(mm: float):
    def do(picture: Image.Image, lots: random.Random) -> tuple[Image.Image, None]:
        return picture.filter(ImageFilter.GaussianBlur(mm / DOT)), None

    return do


def tilted(share: float):
    def do(picture: Image.Image, lots: random.Random) -> tuple[Image.Image, None]:
        w, h = picture.size
        a, b = share * w * lots.uniform(0.5, 1), share * h * lots.uniform(0.2, 0.6)
        return picture.transform(
            (w, h),
            Image.Transform.QUAD,
            (-a, -b, -a / 2, h + b, w + a, h, w, 0),
            Image.Resampling.BICUBIC,
            fillcolor=200,
        ), None

    return do


def dimmed(contrast: float):
    def do(picture: Image.Image, lots: random.Random) -> tuple[Image.Image, None]:
        grey = 128 - (255 * contrast) / 2 + numpy.asarray(picture, dtype=float) * contrast
        grey += numpy.random.default_rng(lots.randrange(2**32)).normal(0, 8, grey.shape)
        return Image.fromarray(grey.clip(0, 255).astype("uint8")), None

    return do


HARM = {
    "as printed": lambda picture, lots: (picture, None),
    "scuffed 1 %": scuffed(0.01), "scuffed 2.5 %": scuffed(0.025), "scuffed 5 %": scuffed(0.05), "scuffed 10 %": scuffed(0.10),
    "blotted 2.5 %": blotted(0.025), "blotted 5 %": blotted(0.05), "blotted 10 %": blotted(0.10),
    "blurred 0.1 mm": blurred(0.1), "blurred 0.15 mm": blurred(0.15), "tilted": tilted(0.25), "dimmed to 20 %": dimmed(0.2),
}  # fmt: skip


def photographed(picture: Image.Image, pixels_per_mm: float, lots: random.Random) -> Image.Image:
    """Seen by a phone: turned by up to 15 degrees, on a grey floor, a little out of focus."""
    ground = Image.new("L", (picture.width + 60, picture.height + 60), 150)
    ground.paste(picture, (30, 30))
    turned = ground.rotate(lots.uniform(-15, 15), Image.Resampling.BICUBIC, expand=True, fillcolor=150)
    scale = pixels_per_mm * DOT
    return turned.resize(
        (round(turned.width * scale), round(turned.height * scale)), Image.Resampling.LANCZOS
    ).filter(ImageFilter.GaussianBlur(0.5))


def read(picture: Image.Image) -> set[str]:
    found = zxingcpp.read_barcodes(picture, formats=FORMATS)
    return {"QR" if one.format == zxingcpp.BarcodeFormat.QRCode else "bars" for one in found if one.valid}


def legible(mask: Image.Image | None, letters: list[tuple[int, int, int, int]]) -> bool:
    if mask is None:
        return True
    return all(numpy.asarray(mask.crop(box)).mean() / 255 <= 0.4 for box in letters)


def tried(one: Print, harm: str, pixels_per_mm: float, trials: int, seed: str) -> Counter[str]:
    """In how many of *trials* each kind of symbol read."""
    lots, found = random.Random(f"{seed} {harm} {pixels_per_mm}"), Counter()
    for _ in range(trials):
        hurt, mask = HARM[harm](one.picture, lots)
        got = read(photographed(hurt, pixels_per_mm, lots))
        found.update(got)
        found["either"] += bool(got)
        found["typed"] += legible(mask, one.letters)
    return found


def ratio(ours: int, theirs: int) -> str:
    return f"{ours / theirs:.1f}x" if theirs else "-" if not ours else "all"


def outcomes(face: str, trials: int) -> list[list[object]]:
    """The rows of one face; last, for scuffs and blots of 5 %, over all distances, by how much it outlives the single QR code."""
    one = printed(face)
    alone = single(one)
    found: list[list[object]] = []
    at_five: dict[str, list[int]] = {}
    for harm in HARM:
        many = trials if harm.endswith("%") and not harm.startswith("dimmed") else max(20, trials // 5)
        for where in FAR if harm == "as printed" or harm.endswith(" 5 %") else ("middle",):
            theirs = tried(alone, harm, FAR[where], many, "single")["either"]
            ours = tried(one, harm, FAR[where], many, face)
            cells = [
                round(100 * n / many)
                for n in (theirs, ours["QR"], ours["bars"], ours["either"], ours["typed"])
            ]
            found.append([face, harm, where, *cells, ratio(ours["either"], theirs)])
            if harm.endswith(" 5 %"):
                sums = at_five.setdefault(harm, [0, 0])
                sums[0] += ours["either"]
                sums[1] += theirs
    found += [[face, harm, "all", "", "", "", "", "", ratio(*sums)] for harm, sums in at_five.items()]
    return found


def rows(trials: int = 300) -> list[list[object]]:
    """Shares in %; single: one QR code of the same area as all the face's symbols."""
    with ProcessPoolExecutor(2) as hands:
        tables = list(hands.map(outcomes, SHOWN, [trials] * len(SHOWN)))
    return [
        ["face", "harm", "distance", "single", "QR", "bars", "either", "typed", "either/single"],
        *(row for table in tables for row in table),
    ]


if __name__ == "__main__":
    for row in rows(int(sys.argv[1]) if len(sys.argv) > 1 else 300):
        print(
            "".join(
                str(cell).ljust(width)
                for cell, width in zip(row, (20, 18, 10, 8, 6, 6, 8, 7, 8), strict=True)
            )
        )
