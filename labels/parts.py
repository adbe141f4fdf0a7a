"""What a label's face is made of.

A face is data: its size, its pages, and on each page the parts with their boxes in millimetres from the top left corner, so
that a shop can move a part or make another face without touching what draws it. `faults` tells what is wrong with one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations

from fillbook.labels.fitting import CAPITAL_LINE, LINE
from fillbook.labels.symbols import CODE128_QUIET, CODE128_WIDEST, QR_MODULES, QR_QUIET
from fillbook.trace.core.labelling import DPIS, FACTS

# Most label printers' heads have 203 dots to the inch (8 to the millimetre). Modules are whole dots, and symbols start on
# one, so that each bar is as wide as it was meant: bars that fall between dots come out one dot too wide or too narrow, and
# that is what makes a narrow Code 128 unreadable.
DOTS_PER_INCH = 203
MM_PER_INCH = 25.4
MM_PER_DOT = MM_PER_INCH / DOTS_PER_INCH
POINTS_PER_MM = 72 / MM_PER_INCH

CAPTION_PT = 6.5  # the small word above a fact


def module_dots(dots: int, dpi: int) -> int:
    """Whole dots of a printer of *dpi* to a module that is *dots* wide at 203 to the inch, or a little less.

    Up to a tenth of a dot is rounded up (2 dots at 203 are 2.96 at 300: 3, not 2).
    """
    return max(1, int(dots * dpi / DOTS_PER_INCH + 0.1))


def _widest(modules: int, dots: int) -> float:
    """Millimetres that many modules take at most, on any printer of `DPIS`."""
    return max(modules * module_dots(dots, dpi) * MM_PER_INCH / dpi for dpi in DPIS)


SIDES = {"A": "isocyanate", "B": "polyol"}


@dataclass(frozen=True)
class Box:
    """Where something lies, in millimetres from the page's top left corner."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def overlaps(self, other: Box) -> bool:
        # A thousandth of a millimetre is rounding, not overlap.
        return (
            min(self.right, other.right) - max(self.left, other.left) > 1e-3
            and min(self.bottom, other.bottom) - max(self.top, other.top) > 1e-3
        )

    def holds(self, other: Box) -> bool:
        return (
            self.left - other.left < 1e-3
            and self.top - other.top < 1e-3
            and other.right - self.right < 1e-3
            and other.bottom - self.bottom < 1e-3
        )


@dataclass(frozen=True)
class Words:
    """Fixed words, in which ``{id}`` stands for the whole ID, ``{head}`` and ``{tail}`` for its first and second half,
    ``{copy}`` for which copy of the label it is, and for nothing on a first print.

    Sizes in points. ``capitals``: nothing but capitals and digits, which need no room for accents and descenders.
    """

    box: Box
    says: str
    most: float
    least: float = 6
    lines: int = 1
    bold: bool = False
    capitals: bool = False
    align: str = "left"  # or "middle", "right"


@dataclass(frozen=True)
class Fact:
    """A fact under its caption (that of `FACTS`, unless the face has its own); a line to write on where it is not known."""

    box: Box
    name: str
    most: float = 11
    least: float = 7
    lines: int = 1
    caption: str = ""
    caption_size: float = CAPTION_PT


@dataclass(frozen=True)
class Side:
    """Side A or B of the material: a large letter (A white on black, B black in a frame, to be told apart from afar), and
    the letter with its substance in words, as the letters swap in some countries."""

    box: Box
    most: float = 18
    least: float = 9


@dataclass(frozen=True)
class Qr:
    """The QR code, with its quiet zone, by its top left corner; ``dots`` of a 203 dpi printer to a module."""

    left: float
    top: float
    dots: int

    @property
    def box(self) -> Box:
        across = _widest(QR_MODULES + 2 * QR_QUIET, self.dots)
        return Box(self.left, self.top, across, across)


@dataclass(frozen=True)
class Bars:
    """The Code 128, with its quiet zone, room for the widest ID; ``dots`` of a 203 dpi printer to a module."""

    left: float
    top: float
    height: float
    dots: int

    @property
    def box(self) -> Box:
        across = _widest(CODE128_WIDEST + 2 * CODE128_QUIET, self.dots)
        return Box(self.left, self.top, across, self.height)


@dataclass(frozen=True)
class Rule:
    """A thin line across; ``dashed`` where the paper is to be torn."""

    left: float
    top: float
    width: float
    dashed: bool = False
    thick: float = 0.25

    @property
    def box(self) -> Box:
        return Box(self.left, self.top, self.width, self.thick)


@dataclass(frozen=True)
class Hole:
    """A punched hole and the square around it where nothing may stand; by its middle."""

    across: float
    down: float
    diameter: float
    clear: float

    @property
    def box(self) -> Box:
        return Box(self.across - self.clear / 2, self.down - self.clear / 2, self.clear, self.clear)


@dataclass(frozen=True)
class Logo:
    """The shop's own mark, as large as it fits into the box; nothing where the shop has none."""

    box: Box


Part = Words | Fact | Side | Qr | Bars | Rule | Hole | Logo


@dataclass(frozen=True)
class Face:
    """A label's look: its size in millimetres, the kind of ID it is for (a letter of the IDs), and the parts of each page.

    ``words`` are second-language words by fact or substance, set beside the first; ``logo`` a picture's bytes.
    """

    name: str
    kind: str
    width: float
    height: float
    pages: tuple[tuple[Part, ...], ...]
    words: Mapping[str, str] = field(default_factory=dict)
    logo: bytes = b""


def faults(face: Face) -> list[str]:
    """Everything wrong with *face*, one sentence each: parts outside the page, overlaps, boxes too low for their letters."""
    found = []
    for number, parts in enumerate(face.pages, start=1):
        where = f"page {number} of the {face.name}"
        page = Box(0, 0, face.width, face.height)
        for part in parts:
            if not page.holds(part.box):
                found.append(f"{_called(part)} reaches outside {where}: move it or make it smaller.")
            if isinstance(part, Words | Fact | Side) and part.box.height < _least_height(part) - 1e-3:
                found.append(
                    f"{_called(part)} on {where} has no room for its smallest letters: make its box higher."
                )
            if isinstance(part, Fact) and part.name not in FACTS:
                found.append(
                    f"{_called(part)} on {where} is no fact of a label: take one of {', '.join(FACTS)}."
                )
        for one, other in combinations(parts, 2):
            if one.box.overlaps(other.box):
                found.append(f"{_called(one)} and {_called(other)} overlap on {where}: move one of them.")
    return found


def caption_height(part: Fact) -> float:
    """Height of a fact's caption in millimetres."""
    return part.caption_size * LINE / POINTS_PER_MM


def _least_height(part: Words | Fact | Side) -> float:
    line = CAPITAL_LINE if isinstance(part, Words) and part.capitals else LINE
    above = caption_height(part) if isinstance(part, Fact) else 0
    return above + part.least * line / POINTS_PER_MM


def _called(part: Part) -> str:
    match part:
        case Words():
            return f'The words "{part.says}"'
        case Fact():
            return f'The fact "{part.name}"'
        case Side():
            return "The side"
        case Qr():
            return "The QR code (with its quiet zone)"
        case Bars():
            return "The Code 128 (with its quiet zone)"
        case Rule():
            return "The line"
        case Logo():
            return "The logo"
        case Hole():
            return "The hole (with its clear square)"
