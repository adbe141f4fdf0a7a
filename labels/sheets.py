"""Labels on sheets of an office printer, for shops without a label printer: any grid on Letter or A4, from any position."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from fillbook.labels import pdf, proof, rendering
from fillbook.labels.faces import Label, own_face
from fillbook.labels.layout import Page, face_of, pages
from fillbook.labels.parts import MM_PER_INCH, Face
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.labelling import LABELS, SIZES
from fillbook.trace.core.quote import quoted

#: Paper sizes in millimetres (ANSI/ASME Y14.1 for Letter, ISO 216 for A4).
PAPERS = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
OFFICE_DPI = (
    300  # office printers have 300, 600 or 1200 dots to the inch; what is whole dots at 300 is at all three
)
_MARGIN = 8.0  # mm; most office printers leave the outer 4 to 6 mm blank (*common practice*)
_WRITTEN = re.compile(
    r"(?P<paper>[a-z0-9]+):(?P<columns>\d{1,2})x(?P<rows>\d{1,2})(?:,margins=(?P<left>[\d.]+)x(?P<top>[\d.]+))?"
    r"(?:,gaps=(?P<across>[\d.]+)x(?P<down>[\d.]+))?"
)
HOW = "letter:3x8 (paper, columns x rows), with ,margins=LEFTxTOP and ,gaps=ACROSSxDOWN in millimetres where they differ"


@dataclass(frozen=True)
class Sheet:
    """A grid of labels on a paper; margins and gaps in millimetres. Left and right margins are equal, top and bottom too."""

    paper: str
    columns: int
    rows: int
    left: float = _MARGIN
    top: float = _MARGIN
    across: float = 0.0
    down: float = 0.0

    @property
    def cell(self) -> tuple[float, float]:
        """Width and height of one label's place."""
        wide, high = PAPERS[self.paper]
        return (
            (wide - 2 * self.left - (self.columns - 1) * self.across) / self.columns,
            (high - 2 * self.top - (self.rows - 1) * self.down) / self.rows,
        )

    @property
    def places(self) -> int:
        return self.columns * self.rows

    def corner(self, place: int) -> tuple[float, float]:
        """Left and top of the *place*-th label (from 0, along the rows)."""
        row, column = divmod(place, self.columns)
        wide, high = self.cell
        return self.left + column * (wide + self.across), self.top + row * (high + self.down)


def sheet(text: str) -> Sheet:
    """A sheet as it is written: ``letter:3x8``, ``a4:2x7,margins=5x15,gaps=2.5x0``.

    Raises Nonsense for anything else, an unknown paper, or a grid that leaves no room for the smallest face.

    >>> sheet("a4:2x4").cell
    (97.0, 70.25)
    """
    found = _WRITTEN.fullmatch(text.strip().lower().replace(" ", ""))
    if not found:
        raise Nonsense(f"{quoted(text)} is no sheet: write it like {HOW}.", field="sheet")
    part = found.groupdict()
    if part["paper"] not in PAPERS:
        raise Nonsense(f"{quoted(part['paper'])} is no paper we know: letter or a4.", field="sheet")
    numbers: dict[str, float] = {}
    for name in ("left", "top", "across", "down"):
        if part[name] is not None:
            try:
                numbers[name] = float(part[name])
            except ValueError:
                raise Nonsense(f"{quoted(part[name])} is no number of millimetres.", field="sheet") from None
    made = (
        Sheet(part["paper"], int(part["columns"]), int(part["rows"]), **numbers)
        if int(part["columns"]) * int(part["rows"])
        else None
    )
    smallest = min((size.width, size.height) for size in SIZES.values())
    if made is None or made.cell[0] < smallest[0] or made.cell[1] < smallest[1]:
        cell = "nothing" if made is None else f"{max(made.cell[0], 0):.1f} x {max(made.cell[1], 0):.1f} mm"
        raise Nonsense(
            f"No face fits the sheet {text}: it leaves {cell} for each label, the smallest face is {smallest[0]} x {smallest[1]} mm. "
            "Take fewer columns, rows or smaller margins.",
            field="sheet",
        )
    return made


def fitted(label: Label, onto: Sheet) -> Label:
    """*label* with its own face where that fits the sheet's places, else with the largest of its sizes that does."""
    face = face_of(label)
    if _fits(face, onto):
        return label
    base = next(name for name in sorted(LABELS, key=len, reverse=True) if label.face.startswith(name))
    sizes = sorted(
        (name for name, size in SIZES.items() if _within(size.width, size.height, onto)),
        key=lambda n: -SIZES[n].width * SIZES[n].height,
    )
    own = own_face(base, sizes[0], (), face.words, face.logo)  # a sheet that has no such place was refused
    return replace(label, own=own)


def _within(width: float, height: float, onto: Sheet) -> bool:
    return width <= onto.cell[0] + 0.05 and height <= onto.cell[1] + 0.05


def _fits(face: Face, onto: Sheet) -> bool:
    return _within(face.width, face.height, onto)


@dataclass(frozen=True)
class Placed:
    """One label page on the sheet, its corner in whole printer dots."""

    label: Label
    page: Page
    left: int
    top: int


def arranged(
    labels: Sequence[Label], onto: Sheet, start: int = 1, dpi: int = OFFICE_DPI
) -> list[list[Placed]]:
    """Which label lies where, sheet by sheet; the first in place *start* (from 1, along the rows), each in the middle of its place.

    The two sides of a tag take two places. Raises Nonsense for a start that is not on the sheet, and for no label at all.
    """
    if not labels:
        raise Nonsense("There is no label to print: name at least one ID.")
    if not 1 <= start <= onto.places:
        raise Nonsense(
            f"The sheet has the places 1 to {onto.places}; {start} is none of them.", field="start"
        )
    all_pages = [
        (label, page) for label in (fitted(one, onto) for one in labels) for page in pages(label, dpi)
    ]
    sheets: list[list[Placed]] = []
    for number, (label, page) in enumerate(all_pages, start=start - 1):
        nth, place = divmod(number, onto.places)
        if nth >= len(sheets):
            sheets.append([])
        left, top = onto.corner(place)
        face = face_of(label)
        left += max(0.0, (onto.cell[0] - face.width) / 2)
        top += max(0.0, (onto.cell[1] - face.height) / 2)
        sheets[nth].append(
            Placed(label, page, round(left * dpi / MM_PER_INCH), round(top * dpi / MM_PER_INCH))
        )
    return sheets


def make_sheets(
    labels: Sequence[Label], onto: Sheet, start: int = 1, dpi: int = OFFICE_DPI,
    progress: Callable[[int], None] | None = None,
) -> bytes:  # fmt: skip
    """The PDF of *labels* on sheets, every symbol read back where it lies; *progress* is told how many labels are, sheet by sheet.

    Raises Nonsense as `arranged` and `proof.proofread` do.
    """
    sheets = arranged(labels, onto, start, dpi)
    wide, high = _dots(onto, dpi)
    canvas, out = pdf.new_canvas()
    canvas.setTitle(f"{len(labels)} labels on {onto.paper}")
    canvas.setSubject("Labels; print at actual size, not fitted to the page")
    for one in sheets:
        canvas.setPageSize((pdf.points(wide, dpi), pdf.points(high, dpi)))
        for placed in one:
            canvas.saveState()
            canvas.translate(placed.left * 72 / dpi, (high - placed.top - placed.page.height) * 72 / dpi)
            pdf.draw(canvas, placed.page)
            canvas.restoreState()
        canvas.showPage()
    canvas.save()
    made = out.getvalue()
    _proofread(made, sheets, dpi, progress)
    return made


def _dots(onto: Sheet, dpi: int) -> tuple[int, int]:
    wide, high = PAPERS[onto.paper]
    return int(wide * dpi / MM_PER_INCH + 1e-6), int(high * dpi / MM_PER_INCH + 1e-6)


def _proofread(
    made: bytes, sheets: Sequence[Sequence[Placed]], dpi: int, progress: Callable[[int], None] | None
) -> None:
    pictures: Iterator = rendering.rendered(made, dpi)
    read: dict[str, None] = {}  # a tag's two sides are one label
    for number, (one, picture) in enumerate(zip(sheets, pictures, strict=True), start=1):
        for placed in one:
            for symbol in placed.page.symbols:
                proof.check_symbol(symbol, picture, placed.label, number, (placed.left, placed.top))
            read[placed.label.id] = None
        if progress:
            progress(len(read))
