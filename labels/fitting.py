"""Making words fit: which characters the label's letters cover, and at which size and in how many lines they fit a box.

A label is never spoiled by what was typed: a long value shrinks, then wraps, then ends in …; a letter that no font of ours has
loses its accent or is printed as ¿. Each time `Fitted.cut` or `Printable.changed` tells, so that a page can say so beforehand.

All letters come with packages under open licences, so a label is the same on every machine: Bitstream Vera (reportlab brings it)
for what it has, Fira Sans for other European languages, Greek and Cyrillic, Noto Sans for Hebrew and Arabic.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from importlib.util import find_spec
from itertools import accumulate
from pathlib import Path
from typing import Any, NamedTuple

from fillbook.labels import scripts


@dataclass(frozen=True, eq=False)  # asked for at every letter, so compared by being the same one
class Family:
    """Letters of one design. ``scale`` and ``lift`` (in ems) bring letters that reach higher or deeper than Vera's into the
    same line; a letter that even so does not fit into it counts as missing. ``thicker`` (plain and bold, in ems) is drawn
    around letters that come in a thin weight only, which a label printer would lose."""

    name: str
    package: str
    plain: str
    bold: str
    scale: float = 1.0
    lift: float = 0.0
    thicker: tuple[float, float] = (0.0, 0.0)


VERA = Family("Vera", "reportlab", "fonts/Vera.ttf", "fonts/VeraBd.ttf")
FAMILIES = (
    VERA,
    Family(
        "FiraSans", "fontpkg_fira_sans", "files/FiraSans-Regular.ttf", "files/FiraSans-Bold.ttf", scale=0.94
    ),
    Family(
        "NotoSansHebrew",
        "justmytype_intl_rtl",
        *["fonts/ofl/notosanshebrew/NotoSansHebrew[wdth,wght].ttf"] * 2,
        scale=0.94,
        thicker=(0.05, 0.08),
    ),
    Family(
        "NotoSansArabic",
        "justmytype_intl_rtl",
        *["fonts/ofl/notosansarabic/NotoSansArabic[wdth,wght].ttf"] * 2,
        scale=0.85,
        lift=0.11,
        thicker=(0.0, 0.03),
    ),
)

# In ems: what the letters need above and below the baseline. Å and _ go furthest; of capitals and digits 0 and J.
ASCENT, DESCENT = 0.95, 0.25
LINE = ASCENT + DESCENT
CAPITAL_ASCENT, CAPITAL_DESCENT = 0.745, 0.205
CAPITAL_LINE = CAPITAL_ASCENT + CAPITAL_DESCENT
CAPITAL = 0.729  # height of a capital itself

MISSING = "¿"
ELLIPSIS = "…"
_OTHERWISE = {ord("∕"): "/"}  # its glyph reaches far into its neighbours
_LONGEST = 500  # characters of a value that are looked at; no box of ours holds as many


@dataclass(frozen=True)
class Fitted:
    """Lines of one size (points), and whether something had to be left out."""

    size: float
    lines: tuple[str, ...]
    cut: bool = False


@cache
def _file(family: Family, bold: bool) -> Path:
    where = find_spec(family.package)
    if where is None or where.origin is None:
        raise FileNotFoundError(
            f"the package {family.package}, which brings the letters of {family.name}, is not installed"
        )
    return Path(where.origin).parent / (family.bold if bold else family.plain)


@cache
def _font(family: Family, bold: bool) -> Any:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    made = TTFont(f"{family.name}-Bold" if bold else family.name, str(_file(family, bold)))
    pdfmetrics.registerFont(made)
    return made


@cache
def _outlines(family: Family) -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(str(_file(family, True)), 1000)


def font(bold: bool, family: Family = VERA) -> str:
    """The name under which the plain or bold letters are known to the PDF writer."""
    return str(_font(family, bold).fontName)


def width(text: str, bold: bool, family: Family = VERA) -> float:
    """How wide *text* runs, in ems (points at a size of one point)."""
    return float(_font(family, bold).stringWidth(text, 1.0)) * family.scale


class Printable(NamedTuple):
    """What is printed of a value: its letters in spoken order, whether any had to be changed, and the letters' design."""

    text: str
    changed: bool
    family: Family = VERA


@lru_cache(maxsize=8192)
def printable(text: str) -> Printable:
    """*text* on one line in the first family that has all its letters, else in the one that lacks the fewest.

    Control characters go, any blank is one blank. A letter the family lacks is printed without its accent, or as its plain
    form (① as 1), and where there is none as ¿. Arabic letters are joined.

    >>> printable("Győr").text, printable("Győr").family.name
    ('Győr', 'FiraSans')
    >>> printable("日 ①")[:2]
    ('¿ 1', True)
    """
    whole = unicodedata.normalize("NFC", text[: 2 * _LONGEST])
    best: tuple[int, Printable] | None = None
    for family in FAMILIES:
        out, lacks = _written(whole, family)
        if best is None or lacks < best[0]:
            best = (lacks, Printable(out, lacks > 0, family))
        if not lacks:
            break
    assert best is not None
    return best[1]


def _written(whole: str, family: Family) -> tuple[str, int]:
    """*whole* in the letters *family* has, and how many it lacks."""
    out, lacks = [], 0
    for letter in scripts.join(whole).translate(_OTHERWISE):
        category = unicodedata.category(letter)
        if letter.isspace() or category.startswith("Z"):
            out.append(" ")
        elif category in ("Cc", "Cf"):
            continue
        elif _has(family, letter):
            out.append(letter)
        else:
            plain = [c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c)]
            fits = all(_has(family, c) for c in plain)
            out.append("".join(plain) if fits else MISSING)
            lacks += 1
    return " ".join("".join(out).split()), lacks


@lru_cache(maxsize=4096)
def _has(family: Family, letter: str) -> bool:
    """Whether *family* has *letter*, and it lies within the line."""
    if unicodedata.category(letter)[0] in "CM" or any(  # a lone accent would lie over its neighbour
        ord(letter) not in _font(family, bold).face.charToGlyph for bold in (False, True)
    ):
        return False
    if family is VERA:  # measured once for all its letters: see ASCENT and DESCENT
        return True
    _, top, _, bottom = (v / 1000 * family.scale for v in _outlines(family).getbbox(letter, anchor="ls"))
    return bool(-top + family.lift <= ASCENT and bottom - family.lift <= DESCENT)


def fit(
    text: str, box_width: float, box_height: float, *, bold: bool, most: float, least: float, lines: int = 1,
    line: float = LINE, family: Family = VERA,
) -> Fitted:  # fmt: skip
    """The lines and the size at which *text* (printable) fits a box; all lengths in points.

    First one line shrinks from *most* to *least*, then up to *lines* lines do, then the last line ends in …. *line* is the
    height of a line in ems. Lines written from right to left come in the order of the eye.
    """
    fitted = _fit(text, box_width, box_height, bold, most, least, lines, line, family)
    return (
        replace(fitted, lines=tuple(map(scripts.as_seen, fitted.lines)))
        if scripts.right_to_left(text)
        else fitted
    )


def _fit(
    text: str,
    box_width: float,
    box_height: float,
    bold: bool,
    most: float,
    least: float,
    lines: int,
    line: float,
    family: Family,
) -> Fitted:
    whole, text = text, text[:_LONGEST]
    least = whole_tenths(min(least, box_height / line))
    one = whole_tenths(min(most, box_height / line, box_width / max(width(text, bold, family), 0.01)))
    if one >= least and text == whole:
        return Fitted(one, (text,))
    widest = max(
        width(letter, bold, family) for letter in set(text) | {" "}
    )  # no line is narrower than one letter
    for count in range(2, lines + 1):
        # In tenths of a point. The smaller the letters, the fewer lines they need, so the right size is found by halving.
        low = round(least * 10)
        high = int(min(most, box_height / (count * line), box_width / widest) * 10 + 1e-9)
        best = None
        while low <= high and text == whole:
            tenths = (low + high) // 2
            broken = _wrap(text, box_width * 10 / tenths, bold, count + 1, family)
            if len(broken) <= count:
                best, low = Fitted(tenths / 10, tuple(broken)), tenths + 1
            else:
                high = tenths - 1
        if best:
            return best
    count = max(1, min(lines, int(box_height / (least * line) + 1e-9)))
    *kept, last = _wrap(text, box_width / least, bold, count, family)
    return Fitted(least, (*kept, _ended(last, box_width / least, bold, family)), cut=True)


def whole_tenths(size: float) -> float:
    """*size* rounded down to tenths of a point, so that what was made to fit still does."""
    return int(size * 10 + 1e-9) / 10


def _wrap(text: str, ems: float, bold: bool, enough: int, family: Family) -> list[str]:
    """*text* broken at blanks into lines of at most *ems*, the first *enough* of them; a word longer than a line is broken
    anywhere."""
    # The PDF writer does no kerning, so widths add up.
    ends = list(accumulate((width(letter, bold, family) for letter in text), initial=0.0))
    lines: list[str] = []
    start = 0
    while start < len(text) and len(lines) < enough:
        end = max(start + 1, bisect_right(ends, ends[start] + ems + 1e-9) - 1)
        if end < len(text) and text[end] != " ":
            blank = text.rfind(" ", start, end)
            end = blank if blank > start else end
        lines.append(text[start:end])
        start = end + (text[end : end + 1] == " ")
    return lines or [""]


def _ended(text: str, ems: float, bold: bool, family: Family) -> str:
    while text and width(text + ELLIPSIS, bold, family) > ems:
        text = text[:-1]
    return text.rstrip() + ELLIPSIS
