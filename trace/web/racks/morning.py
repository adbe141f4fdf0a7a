"""The morning list as a PDF, for the page and the command alike."""

from __future__ import annotations

from fillbook.labels.papers import Table, Typed, paper
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book
from fillbook.trace.book.sheets import morning_list

HEADINGS = (
    "Tire",
    "Customer · size",
    "Verdict",
    "Credited",
    "Attended",
    "Unobserved",
    "Ready about",
    "What blocks it",
    "Seen",
)
WIDTHS = (34, 44, 18, 20, 20, 21, 26, 56, 10)


def morning_list_pdf(
    book: Book, shop: str, now: int, page: str = "letter", *, say: Say | None = None, language: str = "en"
) -> bytes:
    """The racks' list for the morning round at *now* (seconds of UTC), in the *language* and, by *say*, in the units of who asks."""
    found = morning_list(book, shop, now, say)
    tables = [
        (
            Typed(f"{name} ({len(rows)})") if name else f"Not on a rack ({len(rows)})",
            Table(HEADINGS, rows, WIDTHS, typed=(0, 1)),
        )
        for name, rows in found.zones
    ]
    cups = Table(("Cup", "Poured", "Zone", "Set? Hardness"), found.cups, (40, 40, 40, 90), typed=(0, 2))
    tables.append((f"Cups to read ({len(found.cups)})", cups))
    under = [f"{found.shop} · as it stood at {found.as_of}", *found.look]
    return paper(
        "Morning list",
        under,
        tables,
        head=found.head,
        sign=("Checked by, name and time",),
        page=page,
        language=language,
    )
