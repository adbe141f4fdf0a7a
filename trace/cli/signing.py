"""What people sign with, at the server's own terminal: a code for a lost PIN, and the table of who may do what."""

from __future__ import annotations

import json
import tempfile
import time

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of


@click.command("new-pin-code")
@click.argument("name")
@book_option
@click.pass_context
def new_pin_code_command(ctx: click.Context, name: str) -> None:
    """Print a one-time code with which NAME sets a new PIN, good for a day.

    \b
    Who can run this has the book's file, and could read and write it anyway. The journal says that a code was given.
    Example:
      fillbook --book shop.db new-pin-code Dana
    """
    from fillbook.trace.book import queries
    from fillbook.trace.work import signing

    book = opened(ctx)
    shop = shop_of(ctx, book)
    person = queries.person(book, shop, name)
    code = signing.give_code(book, shop, person["item"], by=None, now=int(time.time()), station="terminal")
    click.echo(f"{person.name}'s one-time code: {code}")
    click.echo("Good for a day. On the pages: Who works here, then Set or change my PIN.")


@click.command("roles")
@click.option("--json", "as_json", is_flag=True, help="Print for another program.")
def roles_command(as_json: bool) -> None:
    """Print which role each act takes and whether the signer's PIN is asked, and what each page takes.

    \b
    Example:
      fillbook roles
    """
    from fillbook.trace.web import roles
    from fillbook.trace.web.app import create_app
    from fillbook.trace.work import registry

    verbs = [{"verb": one.name, "role": one.role, "pin": one.pin} for one in registry.everything().values()]
    with tempfile.TemporaryDirectory() as folder:  # the pages need a book to stand on; this one holds nothing
        app = create_app(f"{folder}/empty.db")
        pages = roles.table(app)
    if as_json:
        click.echo(json.dumps({"verbs": verbs, "pages": pages}, indent=1))
        return
    for one in verbs:
        click.echo(f"{one['verb']:20}{one['role']:8}{'PIN' if one['pin'] else ''}".rstrip())
    click.echo("An override takes a lead's PIN, whatever the act.")
    click.echo()
    for page in pages:
        click.echo(f"{page['method']:8}{page['path']:48}{page['needs']:16}{page['verb']}".rstrip())
