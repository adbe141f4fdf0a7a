"""Keeping the book: checking it, backing it up, bringing it to the newest schema, taking its journal out."""

from __future__ import annotations

import sys

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of, where
from fillbook.trace.core.errors import Nonsense


@click.command("verify")
@click.option("--replay", is_flag=True, help="Also build the tables again from the journal and compare.")
@click.option("--kept", help="A head that was kept elsewhere, as printed on papers: BH:412:9f3c….")
@book_option
@click.pass_context
def verify_command(ctx: click.Context, replay: bool, kept: str | None) -> None:
    """Check that the journal is whole; names the first bad event.

    \b
    A lost tail, or a journal rewritten whole, shows only against a head that was kept: --kept.
    Example:
      fillbook --book shop.db verify --replay --kept BH:412:9f3c2a77d01b44e5
    """
    from fillbook.trace.book import chain
    from fillbook.trace.book.replay import check_replay

    book = opened(ctx)
    heads = _kept(kept)
    for shop in book.shops():
        trouble = chain.check_chain(book, shop, heads.get(shop))
        if trouble:
            click.echo(trouble, err=True)
            sys.exit(1)
        click.echo(f"{shop}: the journal is whole. Head {chain.position(book, shop)}")
    if replay:
        trouble = chain.check_blobs(book) or check_replay(book)
        if trouble:
            click.echo(trouble, err=True)
            sys.exit(1)
        click.echo("The tables are those the journal gives.")


def _kept(text: str | None) -> dict[str, tuple[int, str]]:
    if not text:
        return {}
    parts = text.split(":")
    if len(parts) != 3 or not parts[1].isdigit() or len(parts[2]) < 8:
        raise Nonsense(
            "A kept head is written SHOP:NUMBER:HASH, with at least 8 characters of the hash.", field="kept"
        )
    return {parts[0].upper(): (int(parts[1]), parts[2].lower())}


@click.group("journal")
def journal_command() -> None:
    """The journal itself."""


@journal_command.command("export")
@book_option
@click.pass_context
def export_command(ctx: click.Context) -> None:
    """Print the journal, one event per line, exactly the bytes that were hashed.

    \b
    Example:
      fillbook --book shop.db journal export > journal.jsonl
    """
    from fillbook.trace.book import chain

    book = opened(ctx)
    for line in chain.export(book, shop_of(ctx, book)):
        click.echo(line)


@click.command("backup")
@click.argument("file", type=click.Path())
@book_option
@click.pass_context
def backup_command(ctx: click.Context, file: str) -> None:
    """Write a copy of the book to FILE, whole even while others write.

    \b
    Example:
      fillbook --book shop.db backup shop-2026-10-03.db
    """
    from fillbook.trace.book import chain
    from fillbook.trace.book.backup import backup_to

    book = opened(ctx)
    backup_to(book, file)
    heads = ", ".join(str(chain.position(book, shop)) for shop in book.shops())
    click.echo(f"Backed up to {file}. Head {heads}")


@click.command("upgrade")
@book_option
@click.pass_context
def upgrade_command(ctx: click.Context) -> None:
    """Bring the book's tables to this program's; backs it up first.

    \b
    Example:
      fillbook --book shop.db upgrade
    """
    from fillbook.trace.book.opening import upgrade

    done, backup = upgrade(where(ctx))
    if not done:
        click.echo("The book is at the newest schema already.")
        return
    click.echo(f"Done: {', '.join(done)}." + (f" The book as it was: {backup}" if backup else ""))
