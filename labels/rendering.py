"""PDF pages as grey pictures, as a printer of so many dots to the inch would see them."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fillbook.trace.core.errors import Nonsense

if TYPE_CHECKING:
    from PIL.Image import Image

_ONE_AT_A_TIME = (
    threading.Lock()
)  # the PDF renderer must not be used by two threads at once, the web server has several


def page_count(pdf: bytes) -> int:
    """How many pages *pdf* has. Raises Nonsense for bytes that are no PDF."""
    with _ONE_AT_A_TIME:
        document = _open(pdf)
        try:
            return len(document)
        finally:
            document.close()


def rendered(pdf: bytes, dpi: int = 203) -> Iterator[Image]:
    """The pages of *pdf* as grey pictures, one at a time (a thousand labels at once would fill the memory).

    Raises Nonsense for bytes that are no PDF.
    """
    with _ONE_AT_A_TIME:
        document = _open(pdf)
        pages = len(document)
    try:
        for number in range(pages):
            with _ONE_AT_A_TIME:
                picture = _picture(document, number, dpi)
            yield picture
    finally:
        with _ONE_AT_A_TIME:
            document.close()


def page(pdf: bytes, number: int, dpi: int = 203) -> Image:
    """Page *number* (from 0) of *pdf* as a grey picture. Raises Nonsense for bytes that are no PDF, or a page it lacks."""
    with _ONE_AT_A_TIME:
        document = _open(pdf)
        try:
            if not 0 <= number < len(document):
                raise Nonsense(f"There is no page {number + 1}: the PDF has {len(document)}.", field="page")
            return _picture(document, number, dpi)
        finally:
            document.close()


def _picture(document: Any, number: int, dpi: int) -> Image:
    page = document[number]
    drawn = page.render(scale=dpi / 72, grayscale=True)
    picture: Image = drawn.to_pil().copy()  # the renderer's own memory goes with its page
    drawn.close()
    page.close()  # a thousand open pages would fill the memory
    return picture


def _open(pdf: bytes) -> Any:
    import pypdfium2

    try:
        return pypdfium2.PdfDocument(pdf)
    except pypdfium2.PdfiumError:
        raise Nonsense("These bytes are no PDF that can be read: make the labels again.") from None
