"""The shop's papers as PDF, for pages and commands alike: the release sheet, and the blank day sheet.

Each is in the *language* and, by *say*, in the units of whoever asks for it; the shop's units where nothing is said.
"""

from __future__ import annotations

from collections.abc import Sequence

from fillbook.labels.papers import Table, Typed, paper
from fillbook.trace.book import chain, queries
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book
from fillbook.trace.book.sheets import release_sheet
from fillbook.trace.core import ids


def release_sheet_pdf(
    book: Book, shop: str, now: int, page: str = "letter", *, say: Say | None = None, language: str = "en"
) -> bytes:
    """The release desk's sheet at *now* (seconds of UTC)."""
    sheet = release_sheet(book, shop, now, say)
    cells = ["Tire", "Customer · size", "Zone", "Cured", "Unobserved", "Cup"]
    return paper(
        "Release sheet",
        [f"{sheet.shop} · as it stood at {sheet.as_of}"],
        [
            (f"Cured: may be released ({len(sheet.ready)})",
             Table([*cells, "Rule", "May work from", "Signed"], sheet.ready, [36, 56, 26, 22, 24, 20, 18, 30, 17], typed=(0, 1, 2))),
            (f"Not to be released ({len(sheet.waiting)})",
             Table([*cells, "Why not", "Ready about"], sheet.waiting, [36, 48, 24, 20, 22, 18, 55, 26], typed=(0, 1, 2))),
            (f"Released in the last 24 hours ({len(sheet.released)})",
             Table(["Tire", "Released", "Rule", "Credited", "May be moved and mounted", "May work under load"], sheet.released,
                   [36, 34, 26, 24, 46, 46], typed=(0,))),
        ],
        head=sheet.head,
        sign=("Release lead, name and time", "Second person, where one had to look"),
        page=page,
        language=language,
    )  # fmt: skip


def day_sheet_pdf(
    book: Book, shop: str, tires: Sequence[str], page: str = "letter", *, language: str = "en"
) -> bytes:
    """A blank day sheet for the reserved IDs *tires*: to be filled in by hand while nothing else works, and entered afterwards."""
    rows = [[ids.pretty(tire), *[""] * 9] for tire in tires]
    return paper(
        "Day sheet",
        [
            Typed(queries.shop_row(book, shop).name),
            "Date ____________ · line ____________ · name ____________",
            "Write one tire per row. Side A tote, side B tote and regrind batch only where they change. Enter the sheet afterwards "
            "with the times written here.",
        ],
        [
            ("Fills", Table(["Tire", "Order or customer, size", "Start", "End", "Weight", "Mix %", "Pressure, flow stopped", "A tote",
                             "B tote", "Regrind"], rows, [36, 44, 18, 18, 20, 16, 26, 24, 24, 24], 8.5, typed=(0,))),
            ("Zones", Table(["Zone", "Time", "Temperature", "Time", "Temperature", "Time", "Temperature"],
                            [[z.name, *[""] * 6] for z in queries.zones(book, shop)], [44, 24, 30, 24, 30, 24, 30], 8.5, typed=(0,))),
        ],
        head=str(chain.position(book, shop)),
        sign=("Filled in by", "Entered by, and when"),
        page=page,
        language=language,
    )  # fmt: skip
