"""Labels and sheets as PDF files."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.languages.catalogue import LANGUAGES

if TYPE_CHECKING:
    from fillbook.labels.faces import Label


def labels_of(book: Any, items: Sequence[str]) -> list[Label]:
    """The labels of *items* (compact IDs) with the facts the book has now, on the faces the shop chose."""
    from fillbook.labels.faces import make_label
    from fillbook.trace.book import queries
    from fillbook.trace.book.label_facts import chosen_face, label_facts

    found = []
    for item in items:
        face, host, facts = label_facts(book, item)
        language = queries.language(book, queries.shop_of(book, item))
        copy = len(queries.prints_of(book, item)) + 1
        found.append(make_label(face, item, host, facts, chosen_face(book, item), language, copy))
    return found


def labels_pdf(book: Any, items: Sequence[str], dpi: int = 203) -> bytes:
    """The labels of *items* (compact IDs), one PDF page each whose size is the label; proof-read before it is handed out.

    Raises Nonsense naming the first label whose symbols don't read back.
    """
    from fillbook.labels import proof

    return proof.made(labels_of(book, items), dpi)


def language_option(command: Any) -> Any:
    """``--language`` of a paper; the shop's own where it is not said."""
    return click.option(
        "--language",
        type=click.Choice(list(LANGUAGES)),
        help="The paper's language.  [default: the shop's, see fillbook choose-language]",
    )(command)


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
@language_option
@book_option
@click.pass_context
def release_sheet_command(ctx: click.Context, out: str, page: str, language: str | None) -> None:
    """Write the release desk's sheet: what may go, what may not yet and why, and room to sign.

    \b
    Example:
      fillbook --book shop.db release-sheet --out sheet.pdf
    """
    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    from fillbook.trace.book import queries
    from fillbook.trace.web.papers import release_sheet_pdf

    book = opened(ctx)
    shop = shop_of(ctx, book)
    language = language or queries.language(book, shop)
    write_file(out, release_sheet_pdf(book, shop, int(time.time()), page.lower(), language=language))
    click.echo(f"Release sheet written to {out}.")


@click.command("day-sheet")
@click.option("--out", required=True, type=click.Path(), help="The PDF to write.")
@click.option("--tires", default=20, metavar="COUNT", help="How many IDs to reserve for it.  [default: 20]")
@click.option("--who", envvar="FILLBOOK_WHO", help="Who reserves them. Also FILLBOOK_WHO.")
@click.option("--page", default="letter", metavar="SIZE", help="letter or a4.  [default: letter]")
@language_option
@book_option
@click.pass_context
def day_sheet_command(
    ctx: click.Context, out: str, tires: int, who: str | None, page: str, language: str | None
) -> None:
    """Reserve tire IDs and write a blank paper day sheet with them, for when the power or the tablet is out.

    \b
    Example:
      fillbook --book shop.db day-sheet --out sheet.pdf --who Sam
    """
    from fillbook.trace.book import queries
    from fillbook.trace.web.papers import day_sheet_pdf
    from fillbook.trace.work import acting

    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    book = opened(ctx)
    shop = shop_of(ctx, book)
    with book.transaction():
        done = acting.act(
            book, acting.Action("reserve ids", {"tires": tires}, who=who, shop=shop), now=int(time.time())
        )
        language = language or queries.language(book, shop)
        write_file(out, day_sheet_pdf(book, shop, done.ids, page.lower(), language=language))
    click.echo(f"{len(done.ids)} IDs reserved; day sheet written to {out}.")


@click.command("morning-list")
@click.option("--out", required=True, type=click.Path(), help="The PDF to write.")
@click.option("--page", default="letter", metavar="SIZE", help="letter or a4.  [default: letter]")
@language_option
@book_option
@click.pass_context
def morning_list_command(ctx: click.Context, out: str, page: str, language: str | None) -> None:
    """Write the racks' list for the morning round: each zone's tires, their hours, what blocks them, the cups to read.

    \b
    Example:
      fillbook --book shop.db morning-list --out morning.pdf
    """
    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    from fillbook.trace.book import queries
    from fillbook.trace.web.racks.morning import morning_list_pdf

    book = opened(ctx)
    shop = shop_of(ctx, book)
    language = language or queries.language(book, shop)
    write_file(out, morning_list_pdf(book, shop, int(time.time()), page.lower(), language=language))
    click.echo(f"Morning list written to {out}.")
