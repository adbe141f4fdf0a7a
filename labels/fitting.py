"""Making words fit: which characters the label's letters cover, and at which size and in how many lines they fit a box.

A label is never spoiled by what was typed: a long value shrinks, then wraps, then ends in …; a letter the fonts do not have
loses its accent or is printed as ¿. Each time `Fitted.cut` or `printable` tells, so that a page can say so beforehand.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

PLAIN, BOLD = "Vera", "Vera-Bold"
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf"}  # Bitstream Vera, whose licence allows embedding; reportlab brings it along

# In ems. What any covered letter needs above and below the baseline (Å and Ç are the tallest and deepest), and the height of
# digits and plain capitals.
ASCENT, DESCENT = 0.95, 0.25
CAPITAL = 0.73
LINE = ASCENT + DESCENT

MISSING = "¿"
ELLIPSIS = "…"
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
    for letter in whole:
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
    one = min(most, box_height / line, box_width / max(width(text, bold), 0.01))
    if one >= least:
        return Fitted(_down(one), (text,))
    for count in range(2, lines + 1):
        size = _down(min(most, box_height / (count * line)))
        while size >= least:
            broken = _wrap(text, box_width / size, bold)
            if len(broken) <= count:
                return Fitted(size, tuple(broken))
            size = round(size - 0.1, 1)
    size = _down(min(least, box_height / line))
    count = max(1, min(lines, int(box_height / (size * line) + 1e-9)))
    kept = _wrap(text[:_LONGEST], box_width / size, bold)
    if len(kept) <= count:
        return Fitted(size, tuple(kept), cut=len(text) > _LONGEST)
    last = _ended(kept[count - 1], box_width / size, bold)
    return Fitted(size, (*kept[: count - 1], last), cut=True)


def _down(size: float) -> float:
    return int(size * 10 + 1e-9) / 10


def _wrap(text: str, ems: float, bold: bool) -> list[str]:
    """*text* broken at blanks into lines of at most *ems*; a word longer than a line is broken anywhere."""
    lines, current = [], ""
    for word in text.split(" "):
        together = f"{current} {word}" if current else word
        if width(together, bold) <= ems:
            current = together
            continue
        if current:
            lines.append(current)
        while len(word) > 1 and width(word, bold) > ems:
            end = len(word) - 1
            while end > 1 and width(word[:end], bold) > ems:
                end -= 1
            lines.append(word[:end])
            word = word[end:]
        current = word
    return [*lines, current]


def _ended(text: str, ems: float, bold: bool) -> str:
    while text and width(text + ELLIPSIS, bold) > ems:
        text = text[:-1]
    return text.rstrip() + ELLIPSIS
