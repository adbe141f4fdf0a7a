"""A label as a picture, for pages and papers on screen; printers get the PDF."""

from __future__ import annotations

import io

from fillbook.labels import rendering


def png(pdf: bytes, page: int = 0, dpi: int = 203) -> bytes:
    """Page *page* (from 0) of *pdf* as a grey PNG. Raises Nonsense for bytes that are no PDF, or a page it lacks."""
    out = io.BytesIO()
    rendering.page(pdf, page, dpi).save(out, "PNG", optimize=True)
    return out.getvalue()
