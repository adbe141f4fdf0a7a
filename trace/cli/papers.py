"""Labels and sheets as PDF files."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of
from fillbook.trace.core.errors import Nonsense

if TYPE_CHECKING:
    from fillbook.labels.faces import Label


def labels_of(book: Any, items: Sequence[str]) -> list[Label]:
    """The labels of *items* (compact IDs) with the facts the book has now, on the faces the shop chose."""
    from fillbook.labels.faces import make_label
    from fillbook.trace.book.label_facts import chosen_face, label_facts

    found = []
    for item in items:
        face, host, facts = label_facts(book, item)
        found.append(make_label(face, item, host, facts, chosen_face(book, item)))
    return found


def labels_pdf(book: Any, items: Sequence[str], dpi: int = 203) -> bytes:
    """The labels of *items* (compact IDs), one PDF page each whose size is the label; proof-read before it is handed out.

    Raises Nonsense naming the first label whose symbols don't read back.
    """
    from fillbook.labels import proof

    return proof.made(labels_of(book, items), dpi)


def release_sheet_pdf(book: Any, shop: str, now: int, page: str = "letter") -> bytes:
    """The release desk's sheet at *now* (seconds of UTC)."""
    from fillbook.labels.papers import Table, paper
    from fillbook.trace.book.sheets import release_sheet

    sheet = release_sheet(book, shop, now)
    cells = ["Tire", "Customer · size", "Zone", "Cured", "Unobserved", "Cup"]
    return paper(
        "Release sheet",
        [f"{sheet.shop} · as of {sheet.as_of}"],
        [
            (f"Cured: may be released ({len(sheet.ready)})",
             Table([*cells, "Rule", "May work from", "Signed"], sheet.ready, [36, 56, 26, 22, 24, 20, 18, 30, 17])),
            (f"Not to be released ({len(sheet.waiting)})",
             Table([*cells, "Why not", "Ready about"], sheet.waiting, [36, 48, 24, 20, 22, 18, 55, 26])),
            (f"Released in the last 24 hours ({len(sheet.released)})",
             Table(["Tire", "Released", "Rule", "Credited", "May be moved and mounted", "May work under load"], sheet.released,
                   [36, 34, 26, 24, 46, 46])),
        ],
        head=sheet.head,
        sign=("Release lead, name and time", "Second person, where one had to look"),
        page=page,
    )  # fmt: skip


def write_file(path: str, data: bytes) -> None:
    """Write a new file; raises Nonsense with what to do where that can't be."""
    try:
        Path(path).write_bytes(data)
    except OSError as trouble:
        raise Nonsense(
            f"{path} can't be written: {trouble.strerror}. Name another place.", field="out"
        ) from None


@click.command("release-sheet")
@click.option("--out", required=True, type=click.Path(), help="The PDF to write.")
@click.option("--page", default="letter", metavar="SIZE", help="letter or a4.  [default: letter]")
@book_option
@click.pass_context
def release_sheet_command(ctx: click.Context, out: str, page: str) -> None:
    """Write the release desk's sheet: what may go, what may not yet and why, and room to sign.

    \b
    Example:
      fillbook --book shop.db release-sheet --out sheet.pdf
    """
    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    book = opened(ctx)
    write_file(out, release_sheet_pdf(book, shop_of(ctx, book), int(time.time()), page.lower()))
    click.echo(f"Release sheet written to {out}.")


def day_sheet_pdf(book: Any, shop: str, tires: list[str], page: str = "letter") -> bytes:
    """A blank day sheet for the reserved IDs *tires*: to be filled in by hand while nothing else works, and entered afterwards."""
    from fillbook.labels.papers import Table, paper
    from fillbook.trace.book import chain, queries
    from fillbook.trace.core import ids

    rows = [[ids.pretty(tire), *[""] * 9] for tire in tires]
    return paper(
        "Day sheet",
        [
            f"{queries.shop_row(book, shop).name} · date ____________ · line ____________ · name ____________",
            "Write one tire per row. Side A tote, side B tote and regrind batch only where they change. Enter the sheet afterwards "
            "with the times written here.",
        ],
        [
            ("Fills", Table(["Tire", "Order or customer, size", "Start", "End", "Weight", "Mix %", "Pressure, flow stopped", "A tote",
                             "B tote", "Regrind"], rows, [36, 44, 18, 18, 20, 16, 26, 24, 24, 24], 8.5)),
            ("Zones", Table(["Zone", "Time", "Temperature", "Time", "Temperature", "Time", "Temperature"],
                            [[z.name, *[""] * 6] for z in queries.zones(book, shop)], [44, 24, 30, 24, 30, 24, 30], 8.5)),
        ],
        head=str(chain.position(book, shop)),
        sign=("Filled in by", "Entered by, and when"),
        page=page,
    )  # fmt: skip


@click.command("day-sheet")
@click.option("--out", required=True, type=click.Path(), help="The PDF to write.")
@click.option("--tires", default=20, metavar="COUNT", help="How many IDs to reserve for it.  [default: 20]")
@click.option("--who", envvar="FILLBOOK_WHO", help="Who reserves them. Also FILLBOOK_WHO.")
@click.option("--page", default="letter", metavar="SIZE", help="letter or a4.  [default: letter]")
@book_option
@click.pass_context
def day_sheet_command(ctx: click.Context, out: str, tires: int, who: str | None, page: str) -> None:
    """Reserve tire IDs and write a blank paper day sheet with them, for when the power or the tablet is out.

    \b
    Example:
      fillbook --book shop.db day-sheet --out sheet.pdf --who Sam
    """
    from fillbook.trace.work import acting

    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    book = opened(ctx)
    shop = shop_of(ctx, book)
    with book.transaction():
        done = acting.act(
            book, acting.Action("reserve ids", {"tires": tires}, who=who, shop=shop), now=int(time.time())
        )
        write_file(out, day_sheet_pdf(book, shop, list(done.ids), page.lower()))
    click.echo(f"{len(done.ids)} IDs reserved; day sheet written to {out}.")


@click.command("morning-list")
@click.option("--out", required=True, type=click.Path(), help="The PDF to write.")
@click.option("--page", default="letter", metavar="SIZE", help="letter or a4.  [default: letter]")
@book_option
@click.pass_context
def morning_list_command(ctx: click.Context, out: str, page: str) -> None:
    """Write the racks' list for the morning round: each zone's tires, their hours, what blocks them, the cups to read.

    \b
    Example:
      fillbook --book shop.db morning-list --out morning.pdf
    """
    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    from fillbook.trace.web.racks.morning import morning_list_pdf

    book = opened(ctx)
    write_file(out, morning_list_pdf(book, shop_of(ctx, book), int(time.time()), page.lower()))
    click.echo(f"Morning list written to {out}.")
