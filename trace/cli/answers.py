"""Asking the book: recall, trace, cure, an item, a search, the limits."""

from __future__ import annotations

import json
import time
from typing import Any

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of
from fillbook.trace.core.errors import Nonsense

TIER_WORDS = {
    "certain": "holds it for certain, straight from the tote",
    "possible": "may hold it, near a change-over",
    "through regrind": "holds it through regrind, at or above the threshold",
    "not excluded": "can't be excluded",
}


def between(grams: dict[str, int], us: bool) -> str:
    """The least and the most of what an answer says in grams, in brackets; nothing where both are shown alike."""
    least, most = mass(grams["least"], us), mass(grams["most"], us)
    return "" if least == most else f"({least} to {most})"


def mass(grams: int, us: bool) -> str:
    from fillbook.trace.core import units

    return units.show("mass", grams, "lb" if us else "kg")


def _threshold(text: str | None) -> int | None:
    """A threshold written as a fraction (0.01), in ten-thousandths."""
    if text is None:
        return None
    from decimal import Decimal, InvalidOperation

    try:
        value = Decimal(text) * 10_000
    except InvalidOperation:
        value = Decimal(-1)
    if not value.is_finite() or value != int(value) or not 0 < value <= 10_000:
        raise Nonsense(
            "The threshold is a fraction of the fill from 0.0001 to 1, such as 0.01 for 1 %.",
            field="threshold",
        )
    return int(value)


@click.command("recall")
@click.argument("suspect")
@click.option("--defect", default="contamination", metavar="TEXT", help="setting (soft, slow, off-ratio: only what came straight "
              "from it) or contamination (moisture, foreign matter: through regrind too).  [default: contamination]")  # fmt: skip
@click.option(
    "--threshold",
    metavar="FRACTION",
    help="List what holds it through regrind from this share on.  [default: 0.01]",
)
@click.option(
    "--how-sure", is_flag=True, help="Explain each tier with this recall's numbers, and what they rest on."
)
@click.option("--traces", is_flag=True, help="List the traces below the threshold, too.")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def recall_command(
    ctx: click.Context,
    suspect: str,
    defect: str,
    threshold: str | None,
    how_sure: bool,
    traces: bool,
    as_json: bool,
) -> None:
    """List every tire that holds SUSPECT: a lot, or the ID of a tote, a regrind batch or a tire; several with commas between; or a
    line and a window of time.

    \b
    Example:
      fillbook --book shop.db recall LOT-2231 --defect setting
      fillbook --book shop.db recall "line 1 2026-10-03 08:00..12:00"
    """
    from fillbook.trace.book import queries, recalls

    book = opened(ctx)
    shop = shop_of(ctx, book)
    found = recalls.recall(
        book, shop, suspect, defect=defect, threshold_e4=_threshold(threshold), with_traces=traces
    )
    if how_sure:
        _say_how_sure(book, shop, found, suspect, as_json)
        return
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    us = queries.is_us(book, shop)
    items = found["items"]
    click.echo(
        f"{found['suspect']}, a defect of {found['defect']}; the book as of {shop}:{found['position']['seq']}."
    )
    if not items:
        click.echo("No tire holds any of it.")
    for tier in dict.fromkeys(one["tier"] for one in items):
        mine = [one for one in items if one["tier"] == tier]
        click.echo(
            f"\n{tier.upper()} · {len(mine)} {'tire' if len(mine) == 1 else 'tires'}: {TIER_WORDS.get(tier, 'less than that')}"
        )
        for one in mine:
            grams = one["grams"]
            bounds = between(grams, us)
            place = " ".join(filter(None, [one["place"]["state"], one["place"]["where"]]))
            click.echo(
                f"  {one['id']}  {mass(grams['best'], us):>10}  {bounds:26} {one['exposure']['best']:7.2%}  {place}"
            )
    traces_found = found["traces"]
    if traces_found["count"] and not traces:
        click.echo(
            f"\nTraces below the threshold in {traces_found['count']} more {'tire' if traces_found['count'] == 1 else 'tires'}, {mass(traces_found['best_g'], us)} in all."
        )
    _say_account(found["account"], us)


def _say_how_sure(book: Any, shop: str, found: dict[str, Any], suspect: str, as_json: bool) -> None:
    from fillbook.trace.book import how_sure

    said = how_sure.explain(book, shop, found, said=suspect)
    if as_json:
        click.echo(json.dumps(said, indent=1))
        return
    click.echo(f"How sure are we? {said['suspect']}, a defect of {found['defect']}.")
    for one in said["tiers"]:
        click.echo(f"\n{one['tier'].upper()} · {one['count']}\n  {one['sentence']}")
    if said["rests_on"]:
        click.echo("\nWHAT THIS RESTS ON")
    for words in said["rests_on"]:
        click.echo(f"  {words}")


def _say_account(rows: list[dict[str, Any]], us: bool) -> None:
    click.echo("\nWhere did every kilogram go?")
    for row in rows:
        click.echo(f"  {row['place']:28} {mass(row['grams'], us):>12}")
    click.echo(f"  {'received':28} {mass(sum(row['grams'] for row in rows), us):>12}")


@click.command("account")
@click.argument("suspect")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def account_command(ctx: click.Context, suspect: str, as_json: bool) -> None:
    """Say where all the material of a lot, a tote or a batch is now.

    \b
    Example:
      fillbook --book shop.db account LOT-2231
    """
    from fillbook.trace.book import queries, recalls

    book = opened(ctx)
    shop = shop_of(ctx, book)
    found = recalls.recall(book, shop, suspect)
    if as_json:
        click.echo(
            json.dumps(
                {"suspect": found["suspect"], "position": found["position"], "account": found["account"]},
                indent=1,
            )
        )
        return
    click.echo(found["suspect"], nl=False)
    _say_account(found["account"], queries.is_us(book, shop))


def _item(ctx: click.Context, book: Any, said: str, kinds: str = "LGFCZUP") -> str:
    from fillbook.trace.work.floor import find_item

    return find_item(book, shop_of(ctx, book), said, kinds, "id")


@click.command("trace")
@click.argument("id")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def trace_command(ctx: click.Context, id: str, as_json: bool) -> None:
    """Say what the item ID was made from, by any path, and what was made from it.

    \b
    Example:
      fillbook --book shop.db trace BH-F26-00417-Y
    """
    from fillbook.trace.book import queries, recalls

    book = opened(ctx)
    found = recalls.trace(book, _item(ctx, book, id))
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    us = queries.is_us(book, shop_of(ctx, book))
    click.echo(f"{found['id']} came from")
    for one in found["came_from"]:
        grams = one["grams"]
        click.echo(
            f"  {one['id']:16} {'/'.join(one['streams']):4} {mass(grams['best'], us):>10}  {between(grams, us)}".rstrip()
        )
    if not found["came_from"]:
        click.echo("  nothing in this book: it came in as it is.")
    if found["origins"]:
        click.echo("in the end from")
        for one in found["origins"]:
            lot = f"  {one['supplier']} lot {one['lot']}, side {one['side']}" if one.get("lot") else ""
            click.echo(f"  {one['id']:16} {one['share']:8.3%}{lot}")
    click.echo("and went to" if found["went_to"] else "Nothing was made from it.")
    for one in found["went_to"]:
        click.echo(f"  {one['id']:16} {mass(one['grams'], us):>10}")


@click.command("cure")
@click.argument("id")
@click.option("--at", "at_text", help="As of this time; now, if not given.")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def cure_command(ctx: click.Context, id: str, at_text: str | None, as_json: bool) -> None:
    """Say whether the tire ID has cured, on what evidence, and if not, when.

    \b
    Example:
      fillbook --book shop.db cure BH-F26-00417-Y
    """
    from fillbook.trace.book import cures, queries
    from fillbook.trace.core import times

    book = opened(ctx)
    tire = _item(ctx, book, id, "F")
    shop = queries.shop_of(book, tire)
    now = int(time.time()) if at_text is None else times.parse(at_text, queries.timezone(book, shop)).at
    found = cures.answer(book, tire, now)
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    click.echo(f"{found['id']}: {found['verdict']}")
    for words in found["words"]:
        click.echo(f"  {words}")


@click.command("item")
@click.argument("id")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def item_command(ctx: click.Context, id: str, as_json: bool) -> None:
    """Say everything the book knows of ID: facts, state, holds, history.

    \b
    Example:
      fillbook --book shop.db item BH-L26-00001-Q
    """
    from fillbook.trace.book import items

    book = opened(ctx)
    found = items.about(book, _item(ctx, book, id))
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    place = found["place"]
    click.echo(
        f"{found['id']} · {found['kind']} · {' '.join(filter(None, [place['state'], place['where']]))}"
    )
    for name, value in found["facts"].items():
        click.echo(f"  {name:18} {value}")
    for one in found["holds"]:
        click.echo(f"  ON HOLD {one['hold'] or 'by event ' + str(one['recall'])}: {one['why']}")
    for one in found["history"]:
        click.echo(f"  {one['local']}  {one['words']}")


@click.command("search")
@click.argument("words")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def search_command(ctx: click.Context, words: str, as_json: bool) -> None:
    """Find items by ID, lot, supplier, customer, unit number or serial.

    \b
    Example:
      fillbook --book shop.db search "LOADER 12"
    """
    from fillbook.trace.book import items

    book = opened(ctx)
    found = items.search(book, shop_of(ctx, book), words)
    if as_json:
        click.echo(json.dumps(found, indent=1))
        return
    for one in found:
        click.echo(f"{one['id']:16} {one['kind']:13} {one['why']}")
    if not found:
        click.echo(f"Nothing here bears {words!r}.")


@click.command("limits")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
@book_option
@click.pass_context
def limits_command(ctx: click.Context, as_json: bool) -> None:
    """List the shop's limits, where each comes from, and why.

    \b
    Example:
      fillbook --book shop.db limits
    """
    from fillbook.trace.book import queries
    from fillbook.trace.core import limits

    book = opened(ctx)
    shop = shop_of(ctx, book)
    us = queries.is_us(book, shop)
    rows = queries.limits_now(book, shop, int(time.time()))
    if as_json:
        click.echo(json.dumps([dict(row) for row in rows], indent=1))
        return
    for row in rows:
        scope = f" ({queries.name_of(book, row.scope)})" if row.scope else ""
        click.echo(
            f"{row.name + scope:26} {limits.show(row.name, row.value, us):>12}  {row.source:14} {row.why}"
        )
