"""Labels as one PDF, each page exactly the label.

Everything is drawn as shapes and embedded letters, never as a picture: a picture made for another number of dots than the
printer has loses narrow bars.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import Any

from fillbook.labels import fitting, logos
from fillbook.labels.faces import Label
from fillbook.labels.layout import Line, Page, pages
from fillbook.labels.parts import DOTS_PER_INCH, POINTS_PER_MM, Box
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense


def make_pdf(
    labels: Sequence[Label], dpi: int = DOTS_PER_INCH, laid_out: Iterable[Sequence[Page]] | None = None
) -> bytes:
    """The PDF of *labels* for a printer of *dpi* dots to the inch, in their order; a two-sided tag gives its front, then its back.

    *laid_out* are their pages where the caller has them already (`layout.pages`).

    The same labels always give the same bytes. Raises Nonsense or WrongKind for a label that cannot be drawn (see
    `layout.pages`), and Nonsense for none at all.
    """
    if not labels:
        raise Nonsense("There is no label to print: name at least one ID.")
    canvas, out = new_canvas()
    canvas.setTitle(
        f"Label {ids.pretty(labels[0].id)}" + (f" and {len(labels) - 1} more" if len(labels) > 1 else "")
    )
    canvas.setAuthor("fillbook")
    canvas.setSubject("Labels; print at actual size, not fitted to the page")
    for its in laid_out if laid_out is not None else (pages(label, dpi) for label in labels):
        for page in its:
            canvas.setPageSize((points(page.width, page.dpi), points(page.height, page.dpi)))
            draw(canvas, page)
            canvas.showPage()
    canvas.save()
    return out.getvalue()


def new_canvas() -> tuple[Any, io.BytesIO]:
    """A canvas to draw labels on, and where its bytes go when it is saved."""
    from reportlab import rl_config
    from reportlab.pdfgen.canvas import Canvas

    rl_config.useA85 = 0  # packed pages written as bytes: as text they take longer, and a quarter more room
    out = io.BytesIO()
    # invariant: no clock and no random ID in the file, so that equal labels are equal bytes.
    return Canvas(out, invariant=1, pageCompression=1, initialFontName=fitting.font(False)), out


def draw(canvas: Any, page: Page) -> None:
    """Everything on *page*, its lower left corner at the canvas's origin."""
    height = page.height * 72 / page.dpi
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
    for box, picture in page.logos:
        _draw_logo(canvas, box, picture, y(box.bottom))


def points(dots: int, dpi: int) -> float:
    """A hair less than the whole: a page a hair too large is given one dot more, and everything on it stretched."""
    return int(dots * 72 / dpi * 1000 - 1e-3) / 1000


def _draw_symbols(canvas: Any, page: Page) -> None:
    """All dark modules in one path and one fill: filled one by one, neighbours would show hairlines where they meet."""
    canvas.saveState()
    canvas.scale(72 / page.dpi, 72 / page.dpi)
    canvas.setFillGray(0)
    # Whole numbers, written as they are: the PDF writer's own path formats each one as a fraction, which takes most of the time.
    rectangles = [
        f"{left} {page.height - top - height} {width} {height} re"
        for symbol in page.symbols
        for left, top, width, height in symbol.dark
    ]
    canvas.addLiteral("\n".join([*rectangles, "f"]))
    canvas.restoreState()


def _draw_line(canvas: Any, line: Line, baseline: float) -> None:
    canvas.setFillGray(1 if line.white else 0)
    canvas.setFont(fitting.font(line.bold, line.family), line.size * line.family.scale)
    thicker = line.family.thicker[line.bold] * line.size
    if thicker:
        canvas.setStrokeGray(1 if line.white else 0)
        canvas.setLineWidth(thicker)
    # Mode 2 of the PDF's text rendering fills and outlines.
    canvas.drawString(
        line.left * POINTS_PER_MM, baseline + line.family.lift * line.size, line.says, mode=2 if thicker else None
    )  # fmt: skip


def _draw_logo(canvas: Any, box: Box, picture: bytes, foot: float) -> None:
    from reportlab.lib.utils import ImageReader

    canvas.drawImage(
        ImageReader(io.BytesIO(logos.checked(picture))), box.left * POINTS_PER_MM, foot, box.width * POINTS_PER_MM, box.height * POINTS_PER_MM,
        preserveAspectRatio=True, anchor="c",
    )  # fmt: skip
