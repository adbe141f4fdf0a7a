"""Making words fit: which characters the label's letters cover, and at which size and in how many lines they fit a box.

A label is never spoiled by what was typed: a long value shrinks, then wraps, then ends in …; a letter the fonts do not have
loses its accent or is printed as ¿. Each time `Fitted.cut` or `printable` tells, so that a page can say so beforehand.
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from pathlib import Path
from typing import Any

PLAIN, BOLD = "Vera", "Vera-Bold"
_FILES = {
    PLAIN: "Vera.ttf",
    BOLD: "VeraBd.ttf",
}  # Bitstream Vera, whose licence allows embedding; reportlab brings it along

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


@lru_cache(maxsize=1)
def _fonts() -> dict[str, Any]:
    import reportlab
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(reportlab.__file__).parent / "fonts"
    fonts = {name: TTFont(name, str(folder / file)) for name, file in _FILES.items()}
    for font in fonts.values():
        pdfmetrics.registerFont(font)
    return fonts


def font(bold: bool) -> str:
    """The name under which the plain or bold letters are known to the PDF writer."""
    name = BOLD if bold else PLAIN
    _fonts()
    return name


def width(text: str, bold: bool) -> float:
    """How wide *text* runs, in ems (points at a size of one point)."""
    return float(_fonts()[font(bold)].stringWidth(text, 1.0))


def printable(text: str) -> tuple[str, bool]:
    """*text* on one line in letters the fonts have, and whether any letter had to be changed.

    Control characters go, any blank is one blank. A letter the fonts lack is printed without its accent, or as its plain
    form (ő as o, ① as 1), and where there is none as ¿.

    >>> printable("Győr  日")
    ('Gyor ¿', True)
    """
    covered = _fonts()[PLAIN].face.charToGlyph
    out, changed = [], False
    whole = unicodedata.normalize("NFC", text[: 2 * _LONGEST])
    for letter in whole.translate(_OTHERWISE):
        category = unicodedata.category(letter)
        if letter.isspace() or category.startswith("Z"):
            out.append(" ")
        elif category in ("Cc", "Cf"):
            continue
        elif category[0] != "C" and ord(letter) in covered:
            out.append(letter)
        else:
            plain = [c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c)]
            fits = all(ord(c) in covered and unicodedata.category(c)[0] != "C" for c in plain)
            out.append("".join(plain) if fits else MISSING)
            changed = True
    return " ".join("".join(out).split()), changed


def fit(
    text: str, box_width: float, box_height: float, *, bold: bool, most: float, least: float, lines: int = 1,
    line: float = LINE,
) -> Fitted:  # fmt: skip
    """The lines and the size at which *text* (printable) fits a box; all lengths in points.

    First one line shrinks from *most* to *least*, then up to *lines* lines do, then the last line ends in …. *line* is the
    height of a line in ems.
    """
    whole, text = text, text[:_LONGEST]
    least = whole_tenths(min(least, box_height / line))
    one = whole_tenths(min(most, box_height / line, box_width / max(width(text, bold), 0.01)))
    if one >= least and text == whole:
        return Fitted(one, (text,))
    widest = max(width(letter, bold) for letter in set(text) | {" "})  # no line is narrower than one letter
    for count in range(2, lines + 1):
        # In tenths of a point. The smaller the letters, the fewer lines they need, so the right size is found by halving.
        low = round(least * 10)
        high = int(min(most, box_height / (count * line), box_width / widest) * 10 + 1e-9)
        best = None
        while low <= high and text == whole:
            tenths = (low + high) // 2
            broken = _wrap(text, box_width * 10 / tenths, bold, count + 1)
            if len(broken) <= count:
                best, low = Fitted(tenths / 10, tuple(broken)), tenths + 1
            else:
                high = tenths - 1
        if best:
            return best
    count = max(1, min(lines, int(box_height / (least * line) + 1e-9)))
    *kept, last = _wrap(text, box_width / least, bold, count)
    return Fitted(least, (*kept, _ended(last, box_width / least, bold)), cut=True)


def whole_tenths(size: float) -> float:
    """*size* rounded down to tenths of a point, so that what was made to fit still does."""
    return int(size * 10 + 1e-9) / 10


def _wrap(text: str, ems: float, bold: bool, enough: int) -> list[str]:
    """*text* broken at blanks into lines of at most *ems*, the first *enough* of them; a word longer than a line is broken
    anywhere."""
    # The PDF writer does no kerning, so widths add up.
    ends = list(accumulate((width(letter, bold) for letter in text), initial=0.0))
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


def _ended(text: str, ems: float, bold: bool) -> str:
    while text and width(text + ELLIPSIS, bold) > ems:
        text = text[:-1]
    return text.rstrip() + ELLIPSIS
