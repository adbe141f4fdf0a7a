"""The demo: an invented shop's weeks, written through the same verbs, and its recall held against what truly happened."""

from __future__ import annotations

import hashlib
import json
import shlex
import sys
import time
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fillbook.trace.cli.commands import book_option, where
from fillbook.trace.core.errors import Nonsense, ShopError

if TYPE_CHECKING:
    from fillbook.fixtures.story import Story
    from fillbook.trace.book.opening import Book

TRUTH = "truth.json"
UNFINISHED = ".unfinished"
OPENS = "06:00"


class BookHands:
    """Does the story's acts in a book: the same verbs as everybody's, at the story's time."""

    def __init__(self, book: Any) -> None:
        self.book = book
        self.acts = 0

    def do(
        self, verb: str, now: int, who: str, fields: dict[str, Any], *, at: str | None = None, signed_by: str | None = None,
        override: str | None = None,
    ) -> Any:  # fmt: skip
        from fillbook.fixtures.shopfloor import Written
        from fillbook.trace.work.acting import Action, act

        action = Action(verb, fields, at=at, who=who, signed_by=signed_by, override=override)
        try:
            done = act(self.book, action, now=now)
        except ShopError as trouble:
            raise RuntimeError(f"the story can't {verb} {fields}: {trouble}") from trouble
        self.acts += 1
        return Written(done.seq, done.ids, done.findings)

    def cured(self, tires: Sequence[str], now: int) -> dict[str, bool]:
        from fillbook.trace.book import cures

        zones = cures.Zones(self.book, self.book.the_shop(), now)
        return {tire: cures.case(self.book, tire, now, zones=zones).decision.ok for tire in tires}

    def kept(self, tires: Sequence[str]) -> set[str]:
        from fillbook.trace.book import on_hold

        return on_hold.held_among(self.book, tires)

    def recalled(self, tires: Sequence[str]) -> set[str]:
        from fillbook.trace.book import on_hold

        return set(on_hold.recalled(self.book, tires, ended=True))

    def open_returns(self) -> dict[int, list[str]]:
        from fillbook.trace.book import returned

        found = returned.unidentified(self.book, self.book.the_shop())
        return {one.seq: [candidate["item"] for candidate in one.candidates] for one in found}


def build(
    book: Book,
    until: int,
    weeks: int,
    seed: int,
    heard: Callable[[Story, int], None] = lambda story, days: None,
) -> dict[str, Any]:
    """Live the story in an empty *book*, a day in one transaction; *heard(story, days)* is called after each. Gives back the truth.

    *until*: epoch seconds at which the story ends. The same until, weeks and seed give the same journal.
    """
    from fillbook.fixtures.story import Story

    story = Story(BookHands(book), until, weeks, seed)
    for n, day in enumerate(story.dates, 1):
        with book.transaction():
            story.live(day)
        heard(story, n)
    return story.truth()


class Teller:
    """Says each step of the story as it comes, and on a terminal how far it is."""

    def __init__(self, zone: str) -> None:
        self.zone, self.said, self.terminal = zone, 0, sys.stdout.isatty()

    def __call__(self, story: Story, days: int) -> None:
        from fillbook.trace.core import times

        self.clear()
        for at, words in story.world.told[self.said :]:
            click.echo(f"  {times.show(at, self.zone)[:16]}  {words}")
        self.said = len(story.world.told)
        if self.terminal:
            done = 30 * days // len(story.dates)
            click.echo(f"\r  [{'#' * done}{'.' * (30 - done)}] day {days} of {len(story.dates)}", nl=False)

    def clear(self) -> None:
        if self.terminal:
            click.echo("\r" + " " * 60 + "\r", nl=False)


# -- the file --------------------------------------------------------------------------------------------------------------------
def _is_demo(path: Path) -> bool:
    """Whether the book at *path* is an earlier demo's. Raises Nonsense where it is somebody's own, or no book at all."""
    from fillbook.fixtures import names
    from fillbook.trace.book import queries
    from fillbook.trace.book.opening import open_book

    if path.is_dir():
        raise Nonsense(f"{path} is a folder: name a file in it for the demo's book.", field="book")
    if not path.exists() or not path.stat().st_size:
        return False
    book = open_book(str(path))
    try:
        shops = [(shop, queries.shop_row(book, shop).name) for shop in book.shops()]
    finally:
        book.db.close()
    if shops != [(names.SITE, names.SHOP)]:
        raise Nonsense(
            f"{path} is a book of its own ({', '.join(name for _, name in shops) or 'no shop yet'}) and stays as it is. "
            "Name another file for the demo.",
            field="book",
        )
    return True


def _set_aside(path: Path) -> Path:
    """Give an earlier demo's book another name."""
    if Path(f"{path}-wal").exists():
        raise Nonsense(f"{path} is open elsewhere. Stop what serves it, then try again.", field="book")
    number = 1
    while (aside := path.with_name(f"{path.name}.old-{number}")).exists():
        number += 1
    path.rename(aside)
    return aside


def _make(path: Path, out: Path, until: int, weeks: int, seed: int) -> None:
    """The book and its truth; what is half made when something goes wrong is taken away again."""
    from fillbook.fixtures import names
    from fillbook.trace.book import chain
    from fillbook.trace.book.opening import create
    from fillbook.trace.cli.papers import write_file

    began = time.monotonic()
    unfinished = path.with_name(path.name + UNFINISHED)
    _remove(unfinished)
    write_file(str(unfinished), b"")  # says in words where nothing can be written
    teller = Teller(names.TIMEZONE)
    book = create(str(unfinished))
    try:
        truth = build(book, until, weeks, seed, teller)
        teller.clear()
        head = chain.position(book, names.SITE)
        book.db.close()
        truth["until"], truth["head"] = until, {"seq": head.seq, "hash": head.hash}
        write_file(str(out / TRUTH), (json.dumps(truth, indent=1) + "\n").encode())
        unfinished.replace(path)
    except BaseException:
        teller.clear()
        book.db.close()
        _remove(unfinished)
        raise
    click.echo(
        f"{head.seq} events, {len(truth['tires'])} fills, in {time.monotonic() - began:.0f} s. Journal head {head}"
    )


def _remove(path: Path) -> None:
    for ending in ("", "-wal", "-shm"):
        Path(f"{path}{ending}").unlink(missing_ok=True)


def _truth_of(book: Book, out: Path) -> dict[str, Any] | None:
    """The truth that was written when this book was made; None where it is lost or another book's."""
    from fillbook.trace.book import chain

    try:
        truth: dict[str, Any] = json.loads((out / TRUTH).read_text(encoding="utf-8"))
        event = chain.event_at(book, truth["shop"], truth["head"]["seq"])
        same = (
            event is not None and hashlib.sha256(event.text().encode()).hexdigest() == truth["head"]["hash"]
        )
    except (OSError, ValueError, KeyError):
        return None
    return truth if same else None


# -- the papers ------------------------------------------------------------------------------------------------------------------
def _last_truck(book: Book, shop: str) -> list[str]:
    """The totes that came with the newest truck: all lots received within five minutes."""
    from fillbook.trace.book import queries

    lots = queries.lots(book, shop)
    newest = lots[0].received_at
    return [
        tote["item"]
        for lot in lots
        for tote in queries.lot_totes(book, shop, lot.supplier, lot.lot)
        if tote.received_at > newest - 300
    ]


def _papers(book: Book, out: Path, now: int) -> None:
    """Labels, release sheet and recall, each into its file."""
    from fillbook.fixtures.names import BAD, SITE
    from fillbook.trace.book import recalls
    from fillbook.trace.cli.papers import labels_pdf, write_file
    from fillbook.trace.web.papers import release_sheet_pdf

    truck = _last_truck(book, SITE)
    write_file(str(out / "labels.pdf"), labels_pdf(book, truck))
    click.echo(
        f"  {out / 'labels.pdf'}: the labels of the last truck's {len(truck)} totes; every symbol reads back"
    )
    write_file(str(out / "release-sheet.pdf"), release_sheet_pdf(book, SITE, now))
    click.echo(f"  {out / 'release-sheet.pdf'}: what may leave the racks and what may not yet")
    found = recalls.recall(book, SITE, BAD)
    write_file(str(out / "recall.json"), (json.dumps(found, indent=1) + "\n").encode())
    write_file(str(out / "recall.csv"), recalls.recall_csv(found, book).encode())
    click.echo(
        f"  {out / 'recall.json'}, {out / 'recall.csv'}: the recall of lot {BAD}, {len(found['items'])} tires listed"
    )


def _held_against_the_truth(book: Book, out: Path) -> bool:
    """Print the book's recall beside the truth; whether they agree."""
    from fillbook.fixtures.names import SITE
    from fillbook.trace.book import recalls
    from fillbook.trace.cli.comparing import compare

    truth = _truth_of(book, out)
    if truth is None:
        click.echo(
            f"The truth of this book is not in {out / TRUTH}, so its recall can't be held against it. --fresh makes both anew."
        )
        return True
    found = compare(recalls.recall(book, SITE, truth["bad_lot"], with_traces=True), truth)
    click.echo(
        f"The recall of lot {found.suspect}, and what truly is in the tires (from {out / TRUTH}, written by the story itself):"
    )
    for line in found.words():
        click.echo(f"  {line}")
    return found.clean


# -- the command -----------------------------------------------------------------------------------------------------------------
def _end(text: str | None) -> int:
    """When the story ends: as typed in the shop's time, or the last six o'clock in the morning there."""
    from fillbook.fixtures.diary import moment, wall
    from fillbook.fixtures.names import TIMEZONE
    from fillbook.trace.core import times

    now = int(time.time())
    if text:
        end = times.parse(text, TIMEZONE, "until").at
        times.check_not_ahead(end, now, field="until")
        return end
    today = wall(now, TIMEZONE).date()
    morning = moment(today, OPENS, TIMEZONE)
    return morning if morning <= now else moment(today - timedelta(1), OPENS, TIMEZONE)


@click.command("demo")
@click.option("--out", required=True, type=click.Path(file_okay=False), help="The folder for its papers.")
@click.option("--no-serve", is_flag=True, help="Don't open the book to the browser at the end.")
@click.option(
    "--fresh", is_flag=True, help="Make it anew; an earlier demo's book is kept under another name."
)
@click.option(
    "--until", metavar="TIME", help="When the story ends, in the shop's time.  [default: this morning at six]"
)
@click.option("--weeks", default="10", metavar="NUMBER", help="How many weeks, 3 to 26.  [default: 10]")
@click.option("--seed", default=None, metavar="NUMBER", help="Another story of the same kind.")
@click.option(
    "--host", default="127.0.0.1", metavar="TEXT", help="The address to serve at.  [default: 127.0.0.1]"
)
@click.option("--port", default="8470", metavar="NUMBER", help="The port to serve at.  [default: 8470]")
@book_option
@click.pass_context
def demo_command(
    ctx: click.Context, out: str, no_serve: bool, fresh: bool, until: str | None, weeks: str, seed: str | None, host: str, port: str
) -> None:  # fmt: skip
    """Make an invented shop's book, ten weeks of it, with its papers, and hold its recall against what truly happened.

    \b
    A demo made earlier is used again; a book of your own is never touched.
    Example:
      fillbook demo --book demo.db --out demo --no-serve
    """
    from fillbook.fixtures import names
    from fillbook.fixtures.story import SEED
    from fillbook.trace.book.opening import open_book

    path, folder = _file(where(ctx)), Path(out)
    number = {
        "weeks": _number("weeks", weeks, 3, 26), "seed": _number("seed", seed or str(SEED), 0, 10**9),
        "port": _number("port", port, 1, 65_535),
    }  # fmt: skip
    end = _end(until)
    there = _is_demo(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as trouble:
        raise Nonsense(
            f"{trouble.filename} can't be made: {trouble.strerror}. Name another place.", field="out"
        ) from None
    if there and fresh:
        click.echo(f"The earlier demo is kept as {_set_aside(path)}.")
        there = False
    if there:
        click.echo(f"{path} holds {names.SHOP} already and is used as it is; --fresh makes it anew.")
    else:
        click.echo(
            f"{names.SHOP}, an invented shop, {number['weeks']} weeks of it, through the same verbs as yours:"
        )
        _make(path, folder, end, number["weeks"], number["seed"])
    book = open_book(str(path))
    try:
        click.echo("Papers:")
        _papers(book, folder, int(time.time()) if there else end)
        click.echo("")
        agrees = _held_against_the_truth(book, folder)
    finally:
        book.db.close()
    _say_what_next(path, folder)
    if not agrees:
        click.echo("The recall and the truth do not agree: that is a fault of this program.", err=True)
        sys.exit(1)
    if not no_serve:
        from fillbook.trace.cli.serving import serve_command

        click.echo("")
        ctx.invoke(serve_command, host=host, port=number["port"])


def _file(book: str) -> Path:
    if "://" in book or book == ":memory:":
        raise Nonsense("The demo's book is a file: give --book a path, such as demo.db.", field="book")
    return Path(book)


def _number(name: str, text: str, least: int, most: int) -> int:
    if not text.isdecimal() or len(text) > 10 or not least <= int(text) <= most:
        raise Nonsense(f"--{name} is a whole number from {least} to {most}, not {text!r}.", field=name)
    return int(text)


def _say_what_next(path: Path, folder: Path) -> None:
    from fillbook.fixtures.names import BAD

    book = shlex.quote(str(path))
    click.echo("\nTry next:")
    for words in (
        f"fillbook --book {book} recall {BAD} --defect setting",
        f"fillbook --book {book} account {BAD}",
        f"fillbook --book {book} search 'Quarry Nine'",
        f"fillbook --book {book} verify --replay",
        f"fillbook --book {book} serve",
    ):
        click.echo(f"  {words}")
