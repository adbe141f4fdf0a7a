"""Labels as the browser gets them, drawn from the book's facts and read back; and where this station prints."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass

from flask import session

from fillbook.labels import proof, sheets
from fillbook.labels.faces import Label, make_label
from fillbook.labels.layout import notes
from fillbook.labels.parts import DOTS_PER_INCH
from fillbook.trace.book import queries
from fillbook.trace.book.label_facts import chosen_face, label_facts
from fillbook.trace.book.opening import Book
from fillbook.trace.core import labelling


@dataclass(frozen=True)
class Where:
    """Where a station prints: ``browser``, ``lp:QUEUE`` or ``ipp://…``, at how many dots to the inch, and the sheets it holds."""

    printer: str = "browser"
    dpi: int = DOTS_PER_INCH
    sheet: str = ""

    @property
    def words(self) -> str:
        """As a person calls it."""
        if self.printer == "browser":
            return "a PDF in the browser"
        return (
            f"the queue {self.printer[3:]}"
            if self.printer.startswith("lp:")
            else f"the printer at {self.printer}"
        )


def here_prints(book: Book, shop: str) -> Where:
    """Where this station prints; in the browser, unless somebody chose otherwise."""
    station = session.get("station", "")
    row = queries.printer_of(book, shop, station) if station else None
    return Where(row.printer, row.dpi, row.sheet) if row else Where()


def queues() -> list[str]:
    """The queues of this machine's printing system; none where it has no such system or does not answer at once."""
    tool = shutil.which("lpstat")
    if tool is None:
        return []
    try:
        said = subprocess.run([tool, "-e"], capture_output=True, timeout=3, check=False).stdout
    except (subprocess.TimeoutExpired, OSError):
        return []
    return sorted(line.strip() for line in said.decode("utf-8", "replace").splitlines() if line.strip())[:20]


def labels_for(book: Book, items: Sequence[str]) -> list[Label]:
    """The labels of *items* (compact IDs) with the facts the book has now."""
    made = []
    languages: dict[str, str] = {}  # by shop
    chosen: dict[
        tuple[str, str], dict | None
    ] = {}  # the same for all of a shop's labels of a kind, and a logo is large
    for item in items:
        face, host, facts = label_facts(book, item)
        kind = (face, item[:2])
        if kind not in chosen:
            chosen[kind] = chosen_face(book, item)
            languages.setdefault(item[:2], queries.language(book, queries.shop_of(book, item)))
        copy = len(queries.prints_of(book, item)) + 1
        made.append(make_label(face, item, host, facts, chosen[kind], languages[item[:2]], copy))
    return made


def labels_pdf(book: Book, items: Sequence[str], dpi: int = DOTS_PER_INCH) -> bytes:
    """One page per label side, its size the label's; raises Nonsense naming the first label whose symbols don't read back."""
    return proof.made(labels_for(book, items), dpi)


def sheets_pdf(book: Book, items: Sequence[str], sheet: str, start: int, dpi: int) -> bytes:
    """The labels on sheets, the first in place *start*. Raises Nonsense for a sheet that can't be, or a start that is not on it."""
    return sheets.make_sheets(labels_for(book, items), sheets.sheet(sheet), start, office_dpi(dpi))


def office_dpi(dpi: int) -> int:
    """An office printer has at least 300 dots to the inch, whatever stands for the label printer."""
    return max(dpi, sheets.OFFICE_DPI)


def warnings(labels: Sequence[Label]) -> list[str]:
    """What whoever prints these should know beforehand: values cut short, letters replaced."""
    return notes(labels)


def by_name(label: Label) -> tuple[str, str]:
    """The kind of label, and its size in words."""
    base = next(
        name for name in sorted(labelling.LABELS, key=len, reverse=True) if label.face.startswith(name)
    )
    return base, (label.own.name.removeprefix(base).strip() if label.own else "") or labelling.USUAL
