"""The commands' table of contents. Each command's module is imported when it is called, so help and version stay quick."""

from __future__ import annotations

import importlib
import os
import sys
from typing import Any

import click

from fillbook import __version__
from fillbook.trace.core.errors import ShopError

#: Reading, papers and keeping: command -> module. The verbs stand beside them; a test compares both with what there is.
COMMANDS = {
    "account": "answers",
    "backup": "keeping",
    "cure": "answers",
    "demo": "demo",
    "day-sheet": "papers",
    "enter": "entering",
    "habits": "owner",
    "item": "answers",
    "journal": "keeping",
    "kilograms": "owner",
    "label": "labelling",
    "paper-trial-sheet": "labelling",
    "read-code": "labelling",
    "show-face": "labelling",
    "limits": "answers",
    "morning-list": "papers",
    "new-pin-code": "signing",
    "recall": "answers",
    "release-sheet": "papers",
    "roles": "signing",
    "search": "answers",
    "serve": "serving",
    "trace": "answers",
    "upgrade": "keeping",
    "verbs": "entering",
    "verify": "keeping",
}
VERBS = (
    "abandon", "account-for", "add-line", "add-person", "add-system", "add-zone", "adjust-face", "admit-device", "attach", "choose-language", "choose-printer", "clean", "close-recall",
    "correct", "dismiss-device", "dispatch", "empty-waste", "end-shift", "finish-fill", "grind", "hang-sensor", "hold", "hook-up", "identify",
    "inspect", "inspect-tote", "keep", "leak", "let-sensor-send", "lift", "load", "log-temperatures", "note-supplier-code",
    "odd-flow", "open-order", "open-recall", "paper-trial", "pause", "pour-cup", "pour-heel", "print", "print-failed", "purge",
    "rack", "read-cup", "read-temperature", "receive", "reclaim", "release", "reserve-ids", "resume", "return", "run-pump",
    "scrap", "set-limit", "set-up-shop", "settle", "start-fill", "start-shift", "store", "stretch", "take-down-sensor", "take-in",
    "take-retain", "trust-samples", "unhook", "weigh",
)  # fmt: skip


class Contents(click.Group):
    """Looks up a command in its module only when it is needed; says a ShopError's words and exits 1."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted([*COMMANDS, *VERBS])

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name in COMMANDS:
            module = importlib.import_module(f"fillbook.trace.cli.{COMMANDS[name]}")
            return getattr(module, name.replace("-", "_") + "_command")
        if name in VERBS:
            from fillbook.trace.cli.entering import verb_command

            return verb_command(name)
        return None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        from fillbook.trace.cli.words import COMMAND_WORDS, VERB_WORDS

        with formatter.section("Ask and keep"):
            formatter.write_dl([(name, COMMAND_WORDS[name]) for name in sorted(COMMANDS)])
        with formatter.section("What happens in the shop"):
            formatter.write_dl([(name, VERB_WORDS[name]) for name in VERBS])

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except ShopError as trouble:
            click.echo(str(trouble), err=True)
            sys.exit(1)


@click.group(cls=Contents, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, message="fillbook %(version)s")
@click.option(
    "--book", envvar="FILLBOOK_BOOK", help="The book: a file, or a PostgreSQL address. Also FILLBOOK_BOOK."
)
@click.option("--shop", envvar="FILLBOOK_SHOP", help="The shop's two letters, where a book holds several.")
@click.pass_context
def cli(ctx: click.Context, book: str | None, shop: str | None) -> None:
    """Which material, under which conditions, is in which tire.

    \b
    Example:
      fillbook --book shop.db recall LOT-2231
    """
    ctx.obj = {"book": book, "shop": shop}


def book_option(command: Any) -> Any:
    """``--book`` and ``--shop`` after the command's name, too."""

    def put(name: str) -> Any:
        def callback(ctx: click.Context, param: click.Parameter, value: str | None) -> None:
            if value:
                ctx.ensure_object(dict)
                ctx.obj[name] = value

        return callback

    command = click.option("--shop", callback=put("shop"), expose_value=False, hidden=True)(command)
    return click.option(
        "--book", callback=put("book"), expose_value=False, help="The book; also FILLBOOK_BOOK."
    )(command)


def where(ctx: click.Context) -> str:
    """The book's address; one clear sentence where none was given."""
    book = (ctx.obj or {}).get("book") or os.environ.get("FILLBOOK_BOOK")
    if not book:
        raise click.UsageError("Which book? Give --book FILE or set FILLBOOK_BOOK.")
    return book


def opened(ctx: click.Context) -> Any:
    """The book, open until the command ends."""
    from fillbook.trace.book.opening import open_book

    book = open_book(where(ctx))
    ctx.call_on_close(book.db.close)
    return book


def shop_of(ctx: click.Context, book: Any) -> str:
    return book.the_shop((ctx.obj or {}).get("shop"))
