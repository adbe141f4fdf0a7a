"""What the owner asks: kilograms bought against those in tires, and how people work."""

from __future__ import annotations

import json
from typing import Any

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of
from fillbook.trace.core.errors import Nonsense


@click.command("kilograms")
@click.option("--by", default="lot", metavar="WHAT", help="tote, lot or month.  [default: lot]")
@click.option("--json", "as_json", is_flag=True, help="Print for another program, in grams.")
@book_option
@click.pass_context
def kilograms_command(ctx: click.Context, by: str, as_json: bool) -> None:
    """Kilograms bought against kilograms in tires, per tote, lot or month.

    \b
    Example:
      fillbook --book shop.db kilograms --by month
    """
    from fillbook.trace.book import kilograms, queries
    from fillbook.trace.cli.answers import mass

    book = opened(ctx)
    shop = shop_of(ctx, book)
    rows_by = {"tote": kilograms.totes, "lot": kilograms.lots, "month": kilograms.months}.get(by)
    if rows_by is None:
        raise Nonsense(f"Kilograms are counted by tote, lot or month, not {by!r}.", field="by")
    rows: list[dict[str, Any]] = rows_by(book, shop)
    if as_json:
        click.echo(json.dumps(rows, indent=1))
        return
    if not rows:
        click.echo("No tote came in yet.")
        return
    us = queries.is_us(book, shop)
    keys = {"tote": ("tote", "lot"), "lot": ("supplier", "lot", "side"), "month": ("month", "side")}[by]
    names = ("received", "through_gun", "in_tires", "purged", "waste", "left", "unaccounted")
    widths = [max(len(key), *(len(str(row[key])) for row in rows)) for key in keys]
    click.echo(
        "  ".join(key.ljust(w) for key, w in zip(keys, widths, strict=True))
        + "".join(n.replace("_", " ").rjust(14) for n in names)
    )
    for row in rows:
        head = "  ".join(str(row[key]).ljust(w) for key, w in zip(keys, widths, strict=True))
        click.echo(head + "".join(mass(row[n], us).rjust(14) for n in names) + "  " + ", ".join(row["bases"]))


@click.command("habits")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def habits_command(ctx: click.Context, as_json: bool) -> None:
    """Overrides, acts signed alone and checks tapped through, per person; for the owner.

    \b
    Example:
      fillbook --book shop.db habits
    """
    from fillbook.trace.book.habits import habits

    book = opened(ctx)
    rows = habits(book, shop_of(ctx, book))
    if as_json:
        click.echo(json.dumps(rows, indent=1))
        return
    click.echo(
        f"{'name':16}{'role':8}{'acts':>7}{'overrides':>11}{'alone':>7}{'held':>6}{'shift starts':>14}{'tapped through':>16}"
    )
    for row in rows:
        click.echo(
            f"{row['name']:16}{row['role']:8}{row['acts']:>7}{row['overrides']:>5} {row['override_rate']:4.0%} {row['signed_alone']:>6}"
            f"{row['held']:>6}{row['shift_starts']:>14}{row['tapped_through']:>10} {row['tapped_rate']:4.0%}"
        )
