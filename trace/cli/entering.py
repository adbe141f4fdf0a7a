"""Doing verbs: one typed as a command, or many from a file of action lines."""

from __future__ import annotations

import json
import time
from decimal import Decimal
from pathlib import Path
from typing import Any

import click

from fillbook.trace.cli.commands import book_option, opened, where
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError


def say_ids(codes: tuple[str, ...]) -> str:
    return ", ".join(ids.pretty(code) for code in codes)


def verb_command(name: str) -> click.Command:
    """The command of one verb, its options made from the verb's model."""
    from fillbook.trace.work import registry
    from fillbook.trace.work.ask import Field, fields_of

    verb = registry.find(name)
    options: list[click.Parameter] = []

    def option_names(field: Field, said: str) -> str:
        return "--" + said.replace("_", "-")

    for field in fields_of(verb.ask):
        for said in field.accepts:
            words = field.words.rstrip(".")
            if field.choices:
                words += f" ({', '.join(field.choices)})"
            if field.kind is bool:
                words += " (yes or no)"
            if len(field.accepts) > 1 and said != field.accepts[0]:
                words = f"The same, in {said.rsplit('_', 1)[1]}."
            if not field.needed and field.default not in (None, [], {}, "") and said == field.accepts[0]:
                words += f" [default: {_default_words(field)}]"
            options.append(
                click.Option(
                    [option_names(field, said), said], multiple=field.many, help=words or None, metavar="TEXT"
                )
            )
    options += [
        click.Option(
            ["--at"], help="When it happened (ISO 8601, or the shop's local time); now, if not given."
        ),
        click.Option(["--who"], envvar="FILLBOOK_WHO", help="Who did it: name or badge. Also FILLBOOK_WHO."),
        click.Option(["--signed-by"], help="Who signs, if somebody else."),
        click.Option(["--override"], help="A lead's reason to go on against a stop."),
        click.Option(["--request"], help="An id of this request: sent twice, it is done once."),
        click.Option(["--dry-run"], is_flag=True, help="Check it, and change nothing."),
        click.Option(["--json", "as_json"], is_flag=True, help="Print for another program."),
    ]
    if any(field.name == "csv" for field in fields_of(verb.ask)):
        options.append(click.Option(["--file"], type=click.Path(), help="Read the csv from this file."))

    @click.pass_context
    def run(ctx: click.Context, **given: Any) -> None:
        _run_verb(ctx, verb, given)

    command = click.Command(
        verb.command, callback=run, params=options, help=f"{verb.words}\n\nFor a {verb.role} or above."
    )
    return book_option(command)


def _default_words(field: Any) -> str:
    from fillbook.trace.core import units
    from fillbook.trace.work.ask import Measure

    if isinstance(field.mark, Measure):
        return units.show(field.mark.dimension, field.default, field.accepts[0].rsplit("_", 1)[1])
    if isinstance(field.default, bool):
        return "yes" if field.default else "no"
    return str(field.default)


def _run_verb(ctx: click.Context, verb: Any, given: dict[str, Any]) -> None:
    from fillbook.trace.book.opening import create
    from fillbook.trace.book.queries import is_us
    from fillbook.trace.core.units import own_first
    from fillbook.trace.work import acting

    act = {key: given.pop(key) for key in ("at", "who", "signed_by", "override", "request")}
    as_json, dry = given.pop("as_json"), given.pop("dry_run")
    if file := given.pop("file", None):
        given["csv"] = read_log(file)
    token = ""
    if verb.name == "let sensor send" and not given["token_hash"] and not given["stop"]:
        from fillbook.trace.work import sensors

        token, given["token_hash"] = sensors.new_token()
    elif verb.name == "admit device" and not given["token_hash"]:
        from fillbook.trace.work import devices

        token = devices.new_token()
        given["token_hash"] = devices.token_hash(token)
    fields = {
        name: list(value) if isinstance(value, tuple) else value
        for name, value in given.items()
        if value not in (None, ())
    }
    if isinstance(fields.get("fields"), str):
        fields["fields"] = _json(fields["fields"], "fields")
    if verb.name == "set up shop" and not _there(where(ctx)):
        book = create(":memory:" if dry else where(ctx))
        ctx.call_on_close(book.db.close)
        new = not dry
    else:
        book, new = opened(ctx), False
    action = acting.Action(verb.name, fields, shop=(ctx.obj or {}).get("shop"), **act)
    try:
        if dry:
            with acting.dry_run(book):
                answer = acting.act(book, action, now=int(time.time()))
        else:
            answer = acting.act(book, action, now=int(time.time()))
    except ShopError:
        if new:  # a book that was begun for a shop that could not be set up
            book.db.close()
            for ending in ("", "-wal", "-shm"):
                Path(where(ctx) + ending).unlink(missing_ok=True)
        raise
    if as_json:
        click.echo(
            json.dumps(
                {
                    "seq": answer.seq,
                    "ids": [ids.pretty(i) for i in answer.ids],
                    "findings": list(answer.findings),
                    **({"token": token} if token else {}),
                }
            )
        )
        return
    done = "Would be" if dry else ("Was done before," if answer.repeated else "Done,")
    click.echo(
        f"{done} event {answer.shop}:{answer.seq}" + (f": {say_ids(answer.ids)}" if answer.ids else ".")
    )
    if token and not dry:
        click.echo(f"Its token, shown this once and kept nowhere: {token}")
    for finding in answer.findings:
        click.echo(
            f"  ! {own_first(finding['words'], is_us(book, answer.shop))}"
            + ("  On hold until a second person has looked." if finding["holds"] else "")
        )


def _there(where: str) -> bool:
    from fillbook.trace.book.opening import is_there

    return is_there(where)


def read_text(path: str) -> str:
    """The text of a file; raises Nonsense where it can't be read or is no text."""
    try:
        return Path(path).read_bytes().decode("utf-8-sig")
    except OSError as trouble:
        raise Nonsense(f"{path} can't be read: {trouble.strerror}.", field="file") from None
    except UnicodeDecodeError:
        raise Nonsense(f"{path} is no text file (not UTF-8). Export it as CSV first.", field="file") from None


def read_log(path: str) -> str:
    """The text of a logger's file; raises Nonsense where it can't be read, is no text, or is too large to be one."""
    from fillbook.trace.core import logger, logger_formats

    try:
        with Path(path).open("rb") as file:
            return logger_formats.text_of(file.read(logger.LARGEST + 1))
    except OSError as trouble:
        raise Nonsense(f"{path} can't be read: {trouble.strerror}.", field="file") from None


def _json(text: str, field: str) -> Any:
    try:
        return json.loads(text, parse_float=Decimal)
    except json.JSONDecodeError as trouble:
        raise Nonsense(f"--{field} is JSON, such as '{{\"net_kg\": 950}}': {trouble}.", field=field) from None


@click.command("enter")
@click.argument("file", type=click.Path())
@click.option("--dry-run", is_flag=True, help="Check every line, and change nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer per line for another program.")
@book_option
@click.pass_context
def enter_command(ctx: click.Context, file: str, dry_run: bool, as_json: bool) -> None:
    """Enter the actions of FILE, one JSON object per line. The whole file, or nothing.

    \b
    A line:   {"verb": "receive", "at": "2026-10-03T08:00:00-05:00", "who": "Dana", "name": "@tote",
               "fields": {"supplier": "...", "lot": "...", "side": "A", "system": "...", "net_kg": 1000}}
    Example:
      fillbook --book shop.db enter monday.jsonl --dry-run
    """
    from fillbook.trace.book.opening import create
    from fillbook.trace.work import action_lines

    text = read_text(file)
    fresh = not _there(where(ctx))
    if fresh and "set up shop" in text.replace("-", " "):
        book = create(":memory:" if dry_run else where(ctx))
        ctx.call_on_close(book.db.close)
    else:
        book, fresh = opened(ctx), False
    try:
        answers = action_lines.enter(
            book, text, now=int(time.time()), dry_run=dry_run, shop=(ctx.obj or {}).get("shop")
        )
    except action_lines.LineError as trouble:
        if fresh and not dry_run:
            book.db.close()
            for ending in ("", "-wal", "-shm"):
                Path(where(ctx) + ending).unlink(missing_ok=True)
        if as_json:
            click.echo(json.dumps(trouble.plain()))
        raise
    if as_json:
        click.echo(json.dumps([answer.plain() for answer in answers]))
        return
    for answer in answers:
        click.echo(
            f"line {answer.line}: event {answer.seq}" + (f": {', '.join(answer.ids)}" if answer.ids else "")
        )
        for finding in answer.findings:
            click.echo(f"  ! {finding['words']}")
    click.echo(f"{len(answers)} actions {'checked; nothing was changed' if dry_run else 'entered'}.")


@click.command("verbs")
@click.option("--json", "as_json", is_flag=True, help="Print each verb's schema for another program.")
def verbs_command(as_json: bool) -> None:
    """List every verb; with --json, the schema of each one's fields.

    \b
    Example:
      fillbook verbs --json
    """
    from fillbook.trace.work import registry

    verbs = registry.everything().values()
    if as_json:
        click.echo(json.dumps([registry.describe(verb) for verb in verbs], indent=1))
        return
    for verb in sorted(verbs, key=lambda v: v.name):
        click.echo(f"{verb.name:18} {verb.role:6} {verb.words}")
