"""From a label to what is drawn: every line of words, every mark and every rule, with its place.

Nothing is drawn here, so the same figures serve the PDF, the proof-reading (which looks for each symbol where it was put)
and the tests (which look whether anything overlaps). Words lie in millimetres from the top left corner, symbols in whole
printer dots.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate, groupby

from fillbook.labels import fitting, symbols
from fillbook.labels.faces import Label, face_named
from fillbook.labels.parts import (
    DOTS_PER_INCH,
    FACTS,
    MM_PER_INCH,
    POINTS_PER_MM,
    SIDES,
    Bars,
    Box,
    Face,
    Fact,
    Hole,
    Logo,
    Part,
    Qr,
    Rule,
    Side,
    Words,
    caption_height,
    module_dots,
)  # fmt: skip
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, WrongKind
from fillbook.trace.core.quote import quoted
from fillbook.trace.languages.catalogue import catalogue

# IDs, and words of ours between them; every other fact is a number, a time or what somebody typed
OF_OURS = {"made_of"}

QR, CODE128 = "QR code", "Code 128"
Dots = tuple[int, int, int, int]  # left, top, width, height in printer dots, from the top left corner


@dataclass(frozen=True)
class Line:
    """One line of words: its baseline in millimetres from the top left corner, its size in points."""

    says: str
    left: float
    baseline: float
    size: float
    bold: bool = False
    white: bool = False
    capitals: bool = False
    family: fitting.Family = fitting.VERA

    @property
    def extent(self) -> Box:
        """The room it may take, accents and descenders included."""
        up = fitting.CAPITAL_ASCENT if self.capitals else fitting.ASCENT
        down = fitting.CAPITAL_DESCENT if self.capitals else fitting.DESCENT
        mm = self.size / POINTS_PER_MM
        across = fitting.width(self.says, self.bold, self.family) * mm
        return Box(self.left, self.baseline - up * mm, across, (up + down) * mm)


@dataclass(frozen=True)
class Placed:
    """A symbol on the page: what it must say, the dots it takes with its quiet zone, and its dark rectangles."""

    kind: str
    says: str
    left: int
    top: int
    width: int
    height: int
    dark: tuple[Dots, ...]


@dataclass
class Page:
    """Everything on one page; ``width`` and ``height`` are whole dots of a printer of ``dpi`` to the inch."""

    width: int
    height: int
    dpi: int = DOTS_PER_INCH
    lines: list[Line] = field(default_factory=list)
    symbols: list[Placed] = field(default_factory=list)
    blocks: list[Box] = field(default_factory=list)  # filled black
    frames: list[tuple[Box, float]] = field(default_factory=list)  # outlined inwards, thickness in mm
    dashes: list[Box] = field(default_factory=list)
    rings: list[tuple[float, float, float]] = field(
        default_factory=list
    )  # middle across, middle down, diameter
    logos: list[tuple[Box, bytes]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def mm_per_dot(self) -> float:
        return MM_PER_INCH / self.dpi

    def dots(self, mm: float) -> int:
        """The nearest whole printer dot."""
        return round(mm / self.mm_per_dot)


def face_of(label: Label) -> Face:
    """The shop's own face of *label*, else the one of its name."""
    return label.own or face_named(label.face)


def pages(label: Label, dpi: int = DOTS_PER_INCH) -> list[Page]:
    """The pages of *label* for a printer of *dpi* dots to the inch, front first.

    Raises Nonsense for an unknown face or fact, a side that is neither A nor B, an address too long for the QR code, and
    WrongKind for an ID of another kind than the face is for.
    """
    face = face_of(label)
    kind = ids.kind_of(label.id)
    if kind != face.kind:
        raise WrongKind(
            f"{ids.pretty(label.id)} is a {ids.KINDS[kind]}; a {face.name} is for a {ids.KINDS[face.kind]}: take its own label."
        )
    for name in label.facts:
        if name not in FACTS:
            raise Nonsense(
                f"{quoted(name)} is no fact of a label: take one of {', '.join(FACTS)}.", field="facts"
            )
    return [_page(label, face, parts, dpi) for parts in face.pages]


def notes(labels: Iterable[Label]) -> list[str]:
    """What whoever prints *labels* should know, one sentence each: values cut short, letters replaced, a long address."""
    found = (note for label in labels for page in pages(label) for note in page.notes)
    return list(dict.fromkeys(found))


def _page(label: Label, face: Face, parts: Sequence[Part], dpi: int) -> Page:
    page = Page(round(face.width * dpi / MM_PER_INCH), round(face.height * dpi / MM_PER_INCH), dpi)
    for part in parts:
        match part:
            case Words():
                _words(page, part, label)
            case Fact():
                _fact(page, part, label, face)
            case Side():
                _side(page, part, label, face)
            case Qr():
                _qr(page, part, label)
            case Bars():
                _bars(page, part, label)
            case Rule():
                (page.dashes if part.dashed else page.blocks).append(part.box)
            case Logo():
                if face.logo:
                    page.logos.append((part.box, face.logo))
            case Hole():
                page.rings.append((part.across, part.down, part.diameter))
    return page


def _said(label: Label, words: str) -> str:
    """Words of ours in the label's language; what people typed is never asked for here."""
    return catalogue(label.language).said(words)


def _words(page: Page, part: Words, label: Label) -> None:
    whole = ids.pretty(label.id)
    head, tail = whole[: whole.index("-", 3)], whole[whole.index("-", 3) + 1 :]
    copy = _said(label, f"copy {label.copy}").upper() if label.copy > 1 else ""
    says = _said(label, part.says).format(id=whole, head=head, tail=tail, copy=copy).strip()
    if not says:  # a first print says nothing of copies
        return
    _set(page, says, part.box, part.most, part.least, part.lines, part.bold, part.capitals, part.align)


def _fact(page: Page, part: Fact, label: Label, face: Face) -> None:
    box, above = part.box, caption_height(part)
    caption = part.caption or FACTS[part.name]
    both = _with_second(_said(label, caption), face.words.get(part.name, ""))
    if _set(
        page, both.text, Box(box.left, box.top, box.width, above), part.caption_size, 4, family=both.family
    ):
        page.notes.append(
            f"The caption {quoted(both.text)} is cut short on the {face.name}, as it is too long."
        )
    value, family = _value(page, label, part.name)
    if not value:
        page.blocks.append(Box(box.left, box.bottom - 0.2, box.width, 0.2))
        return
    room = Box(box.left, box.top + above, box.width, box.height - above)
    # One line stands on the bottom, so that neighbours of different size share a baseline; several hang from the caption.
    align = "foot" if part.lines == 1 else "left"
    if _set(page, value, room, part.most, part.least, part.lines, bold=True, align=align, family=family):
        page.notes.append(
            f"The {caption} of {ids.pretty(label.id)} is cut short on its label, as it is too long."
        )


def _with_second(first: str, second: str) -> fitting.Printable:
    return fitting.printable(f"{first} · {second}" if second and second != first else first)


def _value(page: Page, label: Label, name: str) -> tuple[str, fitting.Family]:
    known = label.facts.get(name, "")
    value, changed, family = fitting.printable(_said(label, known) if name in OF_OURS else known)
    if changed:
        page.notes.append(
            f"The {FACTS[name]} of {ids.pretty(label.id)} is printed as {quoted(value)}, as the label's fonts lack some of its letters."
        )
    return value, family


def _side(page: Page, part: Side, label: Label, face: Face) -> None:
    side = label.facts.get("side", "")
    if side not in SIDES:
        raise Nonsense(
            f"The label of {ids.pretty(label.id)} needs its side, A (isocyanate) or B (polyol), not {quoted(side)}.",
            field="side",
        )
    box = part.box
    square = Box(box.left, box.top, box.height, box.height)
    if side == "A":
        page.blocks.append(square)
    else:
        page.frames.append((square, box.height / 12))
    size = fitting.whole_tenths(box.height * 0.62 * POINTS_PER_MM / fitting.CAPITAL)
    across = fitting.width(side, True) * size / POINTS_PER_MM
    up = fitting.CAPITAL * size / POINTS_PER_MM
    page.lines.append(
        Line(
            side,
            square.left + (square.width - across) / 2,
            square.top + (square.height + up) / 2,
            size,
            bold=True,
            white=side == "A",
            capitals=True,
        )
    )
    left = square.right + 3
    words = Box(left, box.top, box.right - left, box.height * 0.6)
    below = Box(left, words.bottom, words.width, box.bottom - words.bottom)
    said = fitting.printable(_said(label, f"side {side} · {SIDES[side]}"))
    system, family = _value(page, label, "system")
    second = fitting.printable(face.words.get(SIDES[side], ""))
    if second.text and second.text not in said.text:
        # Its own line: a name in another script is set in other letters than the first.
        words = Box(left, box.top, box.right - left, box.height * 0.5)
        below = Box(left, words.bottom, words.width, box.bottom - words.bottom)
        _set(page, second.text, below, 11, 4, bold=True, family=second.family)
        system = ""
    _set(page, said.text, words, part.most, part.least, bold=True)
    if system and _set(page, f"{_said(label, 'system')} {system}", below, 10, 4, family=family):
        page.notes.append(
            f"The system of {ids.pretty(label.id)} is cut short on its label, as it is too long."
        )


def _qr(page: Page, part: Qr, label: Label) -> None:
    code = symbols.qr(ids.address(label.host, label.id))
    if code.note:
        page.notes.append(code.note)
    left, top = page.dots(part.left), page.dots(part.top)
    module = module_dots(part.dots, page.dpi)
    quiet = symbols.QR_QUIET * module
    dark = [
        (left + quiet + start * module, top + quiet + down * module, length * module, module)
        for down, start, length in _dark_runs(code.says)
    ]
    across = code.modules * module + 2 * quiet
    page.symbols.append(Placed(QR, code.says, left, top, across, across, tuple(dark)))


@lru_cache(maxsize=64)
def _dark_runs(text: str) -> tuple[tuple[int, int, int], ...]:
    """Row, start and length of every run of dark modules in the QR code of *text*; a label carries the same code twice."""
    found = []
    for down, row in enumerate(symbols.qr(text).rows):
        at = 0
        for is_dark, run in groupby(row):
            length = len(list(run))
            if is_dark:
                found.append((down, at, length))
            at += length
    return tuple(found)


def _bars(page: Page, part: Bars, label: Label) -> None:
    code = symbols.code128(label.id)
    left, top, height = page.dots(part.left), page.dots(part.top), page.dots(part.height)
    module = module_dots(part.dots, page.dpi)
    first = left + symbols.CODE128_QUIET * module
    starts = accumulate(code.widths, initial=0)
    dark = [
        (first + start * module, top, wide * module, height)
        for start, wide in list(zip(starts, code.widths, strict=False))[::2]  # every second one is a space
    ]
    across = (code.modules + 2 * symbols.CODE128_QUIET) * module
    page.symbols.append(Placed(CODE128, code.says, left, top, across, height, tuple(dark)))


def _set(
    page: Page, says: str, box: Box, most: float, least: float, lines: int = 1, bold: bool = False, capitals: bool = False,
    align: str = "left", family: fitting.Family = fitting.VERA,
) -> bool:  # fmt: skip
    """Put words into a box; whether they had to be cut short. Text hangs from the top; capitals and ``foot`` stand on the
    bottom, so that neighbours of different size share a baseline."""
    line = fitting.CAPITAL_LINE if capitals else fitting.LINE
    fitted = fitting.fit(
        says,
        box.width * POINTS_PER_MM,
        box.height * POINTS_PER_MM,
        bold=bold,
        most=most,
        least=least,
        lines=lines,
        line=line,
        family=family,
    )
    mm = fitted.size / POINTS_PER_MM
    top = box.top
    if capitals or align == "foot":
        top = box.bottom - len(fitted.lines) * line * mm
    for number, text in enumerate(fitted.lines):
        spare = box.width - fitting.width(text, bold, family) * mm
        left = box.left + {"middle": spare / 2, "right": spare}.get(align, 0)
        baseline = top + number * line * mm + (fitting.CAPITAL_ASCENT if capitals else fitting.ASCENT) * mm
        page.lines.append(Line(text, left, baseline, fitted.size, bold, False, capitals, family))
    return fitted.cut
