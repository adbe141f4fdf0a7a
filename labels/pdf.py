"""Labels as one PDF, each page exactly the label.

Everything is drawn as shapes and embedded letters, never as a picture: a picture made for another number of dots than the
printer has loses narrow bars.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from fillbook.labels import fitting
from fillbook.labels.faces import Label
from fillbook.labels.layout import Line, Page, pages
from fillbook.labels.parts import DOTS_PER_INCH, POINTS_PER_MM
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

_POINTS_PER_DOT = 72 / DOTS_PER_INCH


def make_pdf(labels: Sequence[Label]) -> bytes:
    """The PDF of *labels*, in their order; a two-sided tag gives its front, then its back.

    The same labels always give the same bytes. Raises Nonsense or WrongKind for a label that cannot be drawn (see
    `layout.pages`), and Nonsense for none at all.
    """
    if not labels:
        raise Nonsense("There is no label to print: name at least one ID.")
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    # invariant: no clock and no random ID in the file, so that equal labels are equal bytes.
    canvas = Canvas(out, invariant=1, pageCompression=1, initialFontName=fitting.font(False))
    canvas.setTitle(
        f"Label {ids.pretty(labels[0].id)}" + (f" and {len(labels) - 1} more" if len(labels) > 1 else "")
    )
    canvas.setAuthor("fillbook")
    canvas.setSubject("Labels; print at actual size, not fitted to the page")
    for label in labels:
        for page in pages(label):
            _draw(canvas, page)
    canvas.save()
    return out.getvalue()


def _draw(canvas: Any, page: Page) -> None:
    height = page.height * _POINTS_PER_DOT
    canvas.setPageSize((_points(page.width), _points(page.height)))
    _draw_symbols(canvas, page)

    def y(mm: float) -> float:
        return height - mm * POINTS_PER_MM

    canvas.setFillGray(0)
    canvas.setStrokeGray(0)
    for box in page.blocks:
        canvas.rect(
            box.left * POINTS_PER_MM,
            y(box.bottom),
            box.width * POINTS_PER_MM,
            box.height * POINTS_PER_MM,
            0,
            1,
        )
    for box, thick in page.frames:
        canvas.setLineWidth(thick * POINTS_PER_MM)
        inner = thick / 2
        canvas.rect(
            (box.left + inner) * POINTS_PER_MM, y(box.bottom - inner),
            (box.width - thick) * POINTS_PER_MM, (box.height - thick) * POINTS_PER_MM, 1, 0,
        )  # fmt: skip
    canvas.setLineWidth(0.7)
    canvas.setDash(4, 3)
    for box in page.dashes:
        canvas.line(box.left * POINTS_PER_MM, y(box.top), box.right * POINTS_PER_MM, y(box.top))
    canvas.setDash(1.5, 1.5)
    for across, down, diameter in page.rings:
        canvas.circle(across * POINTS_PER_MM, y(down), diameter / 2 * POINTS_PER_MM, 1, 0)
    canvas.setDash()
    for line in page.lines:
        _draw_line(canvas, line, y(line.baseline))
    canvas.showPage()


def _points(dots: int) -> float:
    """Rounded down to what the file keeps: a page a hair too large is given one dot more, and everything on it stretched."""
    return int(dots * _POINTS_PER_DOT * 1000 + 1e-6) / 1000


def _draw_symbols(canvas: Any, page: Page) -> None:
    """All dark modules in one path and one fill: filled one by one, neighbours would show hairlines where they meet."""
    canvas.saveState()
    canvas.scale(_POINTS_PER_DOT, _POINTS_PER_DOT)
    path = canvas.beginPath()
    for symbol in page.symbols:
        for left, top, width, height in symbol.dark:
            path.rect(left, page.height - top - height, width, height)
    canvas.setFillGray(0)
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()


def _draw_line(canvas: Any, line: Line, baseline: float) -> None:
    canvas.setFillGray(1 if line.white else 0)
    canvas.setFont(fitting.font(line.bold), line.size)
    canvas.drawString(line.left * POINTS_PER_MM, baseline, line.says)
