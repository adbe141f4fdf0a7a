"""Papers for the wall and the file: plain rows in, a PDF out. Every paper carries the journal's head, so that a lost tail shows."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

REGULAR, BOLD = "Vera", "VeraBd"
CAUTION = (
    "The supplier's data sheets, the makers' ratings and local codes come first. A tire that is curing is warm inside and under "
    "pressure; work on it only in the cage, with the pressure known."
)


@dataclass(frozen=True)
class Table:
    """Rows under their headings. ``widths`` and, for rows to write on by hand, ``row_mm`` in millimetres."""

    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    widths: Sequence[float]
    row_mm: float | None = None


def paper(title: str, under: Sequence[str], tables: Sequence[tuple[str, Table]], *, head: str, sign: Sequence[str] = (),
          wide: bool = True, page: str = "letter") -> bytes:  # fmt: skip
    """A paper with *title*, lines *under* it, named tables, and lines to sign; *head* stands in the foot of every page.

    *page*: ``letter`` or ``a4``. The same input gives the same bytes.
    """
    from reportlab.lib import colors, pagesizes
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.lib.units import mm
    from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer
    from reportlab.platypus import Table as Grid

    _fonts()
    size = {"letter": pagesizes.letter, "a4": pagesizes.A4}[page]
    if wide:
        size = pagesizes.landscape(size)
    big = ParagraphStyle("big", fontName=BOLD, fontSize=17, leading=21)
    plain = ParagraphStyle("plain", fontName=REGULAR, fontSize=8.5, leading=11.5)
    cell = ParagraphStyle("cell", fontName=REGULAR, fontSize=8, leading=10)
    heading = ParagraphStyle("heading", fontName=BOLD, fontSize=7.5, leading=10)
    section = ParagraphStyle(
        "section", fontName=BOLD, fontSize=11, leading=14, spaceBefore=5 * mm, spaceAfter=2 * mm
    )
    story: list[Any] = [Paragraph(_escape(title), big), Spacer(1, 1.5 * mm)]
    story += [Paragraph(_escape(line), plain) for line in under]
    for name, table in tables:
        story.append(Paragraph(_escape(name), section))
        rows = [[Paragraph(_escape(h), heading) for h in table.headings]]
        rows += [[Paragraph(_escape(value), cell) for value in row] for row in table.rows]
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
            story.append(Paragraph("None.", plain))
    if sign:
        story.append(Spacer(1, 12 * mm))
        story.append(
            Grid(
                [[Paragraph(_escape(line), plain) for line in sign]],
                colWidths=[70 * mm] * len(sign),
                style=[("LINEABOVE", (n, 0), (n, 0), 0.6, colors.black) for n in range(len(sign))],
                hAlign="LEFT",
            )
        )
    story += [Spacer(1, 6 * mm), Paragraph(CAUTION, plain)]

    def foot(canvas: Any, document: Any) -> None:
        canvas.setFont(REGULAR, 7)
        canvas.drawString(15 * mm, 8 * mm, f"Journal {head}")
        canvas.drawRightString(size[0] - 15 * mm, 8 * mm, f"{title} · page {document.page}")

    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=size, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=14 * mm, bottomMargin=16 * mm, title=title,
        author="fillbook", invariant=1,
    )  # fmt: skip
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


def _fonts() -> None:
    """Fonts that ship with the PDF library under an open licence, so that a paper is equal on every machine."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    known = pdfmetrics.getRegisteredFontNames()
    for name in (REGULAR, BOLD):
        if name not in known:
            pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
