"""Papers for the wall and the file: plain rows in, a PDF out. Every paper carries the journal's head, so that a lost tail shows.

What is handed in is English, as the program says it; a paper in another language looks each text up in the catalogue of the pages, as
a page does. What people typed is marked (`Table.typed`, `Typed`) and stays as it is.
"""

from __future__ import annotations

import io
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from fillbook.labels import fitting, scripts
from fillbook.trace.languages.catalogue import catalogue

CAUTION = (
    "The supplier's data sheets, the makers' ratings and local codes come first. A tire that is curing is warm inside and under "
    "pressure; work on it only in the cage, with the pressure known."
)
KEPT = 2_000_000  # bytes of papers drawn last, by all that stands on them: a browser's reader of PDF files asks for the same one again
_DRAWN: OrderedDict[Any, bytes] = OrderedDict()
_LOCK = threading.Lock()


class Typed(str):
    """What people typed, an ID or a name: printed as it is in every language."""


Cell = str | Sequence[str]  # one text, or several sentences one after the other


@dataclass(frozen=True)
class Table:
    """Rows under their headings. ``widths`` and, for rows to write on by hand, ``row_mm`` in millimetres.

    ``typed``: the columns (from 0) that hold what people typed, which no language changes.
    """

    headings: Sequence[str]
    rows: Sequence[Sequence[Cell]]
    widths: Sequence[float]
    row_mm: float | None = None
    typed: Sequence[int] = ()


def paper(title: str, under: Sequence[str], tables: Sequence[tuple[str, Table]], *, head: str, sign: Sequence[str] = (),
          wide: bool = True, page: str = "letter", language: str = "en") -> bytes:  # fmt: skip
    """A paper with *title*, lines *under* it, named tables, and lines to sign; *head* stands in the foot of every page.

    *page*: ``letter`` or ``a4``. *language*: a code of `catalogue.LANGUAGES`. The same input gives the same bytes.
    """
    key = (_named(title), _named(under), _named(tables), head, _named(sign), wide, page, language)
    with _LOCK:
        made = _DRAWN.get(key)
    if made is None:
        made = _drawn(title, under, tables, head, sign, wide, page, language)
        with _LOCK:
            _DRAWN[key] = made
            while sum(map(len, _DRAWN.values())) > KEPT:
                _DRAWN.popitem(last=False)
    return made


def _named(value: Any) -> Any:
    """*value* as part of a name: what people typed is another text than the same words of ours, which a language changes."""
    if isinstance(value, str):
        return (Typed, value) if isinstance(value, Typed) else value
    if isinstance(value, Table):
        return tuple(_named(getattr(value, field.name)) for field in fields(value))
    return tuple(map(_named, value)) if isinstance(value, Sequence) else value


def _drawn(title: str, under: Sequence[str], tables: Sequence[tuple[str, Table]], head: str, sign: Sequence[str], wide: bool,
           page: str, language: str) -> bytes:  # fmt: skip
    from reportlab import rl_config
    from reportlab.lib import colors, pagesizes
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.lib.units import mm
    from reportlab.platypus import CondPageBreak, Paragraph, SimpleDocTemplate, Spacer
    from reportlab.platypus import Table as Grid

    rl_config.useA85 = 0  # packed pages written as bytes, as in the labels' PDF
    regular, strong = fitting.font(False), fitting.font(True)
    said = catalogue(language).said
    size = {"letter": pagesizes.letter, "a4": pagesizes.A4}[page]
    if wide:
        size = pagesizes.landscape(size)
    big = ParagraphStyle("big", fontName=strong, fontSize=17, leading=21)
    plain = ParagraphStyle("plain", fontName=regular, fontSize=8.5, leading=11.5)
    cell = ParagraphStyle("cell", fontName=regular, fontSize=8, leading=10)
    heading = ParagraphStyle("heading", fontName=strong, fontSize=7.5, leading=10)
    section = ParagraphStyle(
        "section", fontName=strong, fontSize=11, leading=14, spaceBefore=5 * mm, spaceAfter=2 * mm
    )

    likes: dict[str, Any] = {}

    def paragraph(text: str, style: ParagraphStyle) -> Paragraph:
        """Most cells are a word or two: without markup and loose blanks there is nothing to read letter by letter."""
        if not text or "&" in text or "<" in text or text != " ".join(text.split()):
            return Paragraph(text, style)
        if style.name not in likes:
            likes[style.name] = Paragraph("x", style).frags[0]
        return Paragraph("", style, frags=[likes[style.name].clone(text=text)])

    def shown(value: Cell, as_typed: bool = False) -> str:
        parts = [value] if isinstance(value, str) else value
        return _lettered(" ".join(p if as_typed or isinstance(p, Typed) else said(p) for p in parts))

    story: list[Any] = [paragraph(shown(title), big), Spacer(1, 1.5 * mm)]
    story += [paragraph(shown(line), plain) for line in under]
    for name, table in tables:
        story.append(CondPageBreak(30 * mm))  # no heading at the foot of a page
        story.append(paragraph(shown(name), section))
        rows = [[paragraph(shown(h), heading) for h in table.headings]]
        rows += [
            [paragraph(shown(value, n in table.typed), cell) for n, value in enumerate(row)]
            for row in table.rows
        ]
        style = [
            ("LINEBELOW", (0, 0), (-1, 0), 0.9, colors.black),
            ("LINEBELOW", (0, 1), (-1, -1), 0.25, colors.grey),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("TOPPADDING", (0, 0), (-1, -1), 2.2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
        ]
        story.append(
            Grid(
                rows,
                colWidths=[w * mm for w in table.widths],
                rowHeights=[None, *[table.row_mm and table.row_mm * mm] * len(table.rows)],
                repeatRows=1,
                style=style,
                hAlign="LEFT",
            )
        )
        if not table.rows:
            story.append(paragraph(shown("None."), plain))
    if sign:
        story.append(Spacer(1, 12 * mm))
        story.append(
            Grid(
                [[paragraph(shown(line), plain) for line in sign]],
                colWidths=[70 * mm] * len(sign),
                style=[("LINEABOVE", (n, 0), (n, 0), 0.6, colors.black) for n in range(len(sign))],
                hAlign="LEFT",
            )
        )
    story += [Spacer(1, 6 * mm), paragraph(shown(CAUTION), plain)]

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(regular, 7)
        canvas.drawString(15 * mm, 8 * mm, f"{said('Journal')} {head}")
        canvas.drawRightString(size[0] - 15 * mm, 8 * mm, f"{said(title)} · {said(f'page {document.page}')}")

    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=size, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=14 * mm, bottomMargin=16 * mm, title=said(title),
        author="fillbook", lang=language, invariant=1,
    )  # fmt: skip
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _lettered(text: str) -> str:
    """*text* as a paragraph's markup, in the letters of a family that has them all: a name is printed as it is written."""
    found = fitting.printable(text)
    if found.family is fitting.VERA:
        return _escape(found.text if found.changed else text)
    return f'<font name="{fitting.font(False, found.family)}">{_escape(scripts.as_seen(found.text))}</font>'


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
