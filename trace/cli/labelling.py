"""Labels from the command line: as a PDF, on sheets, to a printer; faces looked at; suppliers' codes read; stock tried."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import click

from fillbook.trace.cli.commands import book_option, opened, shop_of
from fillbook.trace.cli.papers import labels_of, language_option, write_file
from fillbook.trace.core import ids as the_ids
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.languages.catalogue import LANGUAGES


@click.command("label")
@click.argument("ids", nargs=-1)
@click.option("--out", type=click.Path(), help="The PDF to write.")
@click.option("--to", metavar="PRINTER", help="Or the printer: lp:QUEUE, or ipp://HOST/ipp/print.")
@click.option("--station", help="Print where this station prints (fillbook choose-printer).")
@click.option("--rest", is_flag=True, help="The labels that a printer did not accept, and only those.")
@click.option(
    "--dpi",
    type=click.Choice(["203", "300", "600"]),
    help="Dots to the inch of the printer.  [default: 203; sheets 300]",
)
@click.option(
    "--sheet",
    metavar="GRID",
    help="On sheets of an office printer, such as letter:3x8 or a4:2x7,margins=5x15,gaps=2.5x0.",
)
@click.option("--start", type=int, default=1, help="The first free place on the sheet.  [default: 1]")
@click.option(
    "--who",
    envvar="FILLBOOK_WHO",
    help="Record the labels as handed out or accepted, by this person. Also FILLBOOK_WHO.",
)
@click.option("--why", help="For a reprint: why.")
@book_option
@click.pass_context
def label_command(ctx: click.Context, ids: tuple[str, ...], rest: bool, **how: Any) -> None:
    """Print the labels of IDS, or write them to a PDF; each symbol is read back first.

    \b
    With --who the labels are recorded: handed out with --out, accepted with --to. What a printer refuses is recorded too, and
    --rest sends only that.
    Examples:
      fillbook --book shop.db label BH-L26-00001-Q BH-F26-00417-Y --out labels.pdf
      fillbook --book shop.db label BH-L26-00001-Q --sheet letter:3x8 --start 5 --out sheet.pdf
      fillbook --book shop.db label BH-L26-00001-Q --to lp:dock --who Sam
    """
    from fillbook.trace.book import queries
    from fillbook.trace.work.floor import find_item

    book = opened(ctx)
    shop = shop_of(ctx, book)
    items = [find_item(book, shop, said, "LGFCZUP", "ids") for said in ids]
    if rest:
        items = list(dict.fromkeys([*items, *queries.not_accepted(book, shop)]))
        if not items:
            click.echo("Every label that was sent has been accepted.")
            return
    if not items:
        raise Nonsense("There is no label to print: name at least one ID.", field="ids")
    if how["station"]:
        _as_the_station_prints(book, shop, how)
    if bool(how["out"]) == bool(how["to"]):
        raise Nonsense("Say where the labels go: a PDF with --out, or a printer with --to.", field="out")
    if how["to"]:
        if not how["who"]:
            raise Nonsense("What a printer accepts is recorded: say --who sends it.", field="who")
        _print(book, shop, items, how)
    else:
        _write(book, shop, items, how)


def _as_the_station_prints(book: Any, shop: str, how: dict[str, Any]) -> None:
    from fillbook.trace.book import queries

    row = queries.printer_of(book, shop, how["station"])
    if row is None:
        raise Nonsense(
            f"No printer was chosen for the station {how['station']!r}: fillbook choose-printer does it.",
            field="station",
        )
    how["dpi"] = how["dpi"] or str(row.dpi)
    how["sheet"] = how["sheet"] or row.sheet or None
    if row.printer != "browser" and not how["out"]:
        how["to"] = how["to"] or row.printer


def _progress(ctx_many: int) -> Any:
    """Tells how far a job of more than 20 labels is."""
    from fillbook.labels.printing import MANY

    def tell(done: int, of: int) -> None:
        if ctx_many > MANY and (done == of or done % 10 == 0):
            click.echo(f"{done} of {of}", err=True)

    return tell


def _count(many: int) -> str:
    return f"{many} {'label' if many == 1 else 'labels'}"


def _write(book: Any, shop: str, items: list[str], how: dict[str, Any]) -> None:
    from fillbook.labels import layout, proof, sheets

    labels = labels_of(book, items)
    if how["sheet"]:
        onto = sheets.sheet(how["sheet"])
        made = sheets.make_sheets(labels, onto, how["start"], int(how["dpi"] or sheets.OFFICE_DPI))
        labels = [sheets.fitted(label, onto) for label in labels]
    else:
        made = proof.made(labels, int(how["dpi"] or 203), _progress(len(labels)))
    if how["who"]:
        with book.transaction():
            _record(book, shop, "print", how, items=items, how="handed out", why=how["why"])
            write_file(how["out"], made)
    else:
        write_file(how["out"], made)
    for note in layout.notes(labels):
        click.echo(note, err=True)
    click.echo(f"{_count(len(items))} written to {how['out']}; every symbol reads back.")


def _print(book: Any, shop: str, items: list[str], how: dict[str, Any]) -> None:
    """Send the labels; each is recorded as the printer accepts it, so that a machine that fails knows what is left."""
    from fillbook.labels import printing

    if how["sheet"]:
        raise Nonsense(
            "Sheets are written with --out and printed from there; --to prints single labels.", field="sheet"
        )
    to = printing.printer(how["to"])
    labels = labels_of(book, items)
    _would_be_recorded(book, shop, items, how, to.name)
    sent = printing.send(
        labels, to, dpi=int(how["dpi"] or 203), progress=_progress(len(labels)),
        taken=lambda label: _record(book, shop, "print", how, items=[label.id], how="accepted", why=how["why"], printer=to.name),
    )  # fmt: skip
    if not sent.rest:
        click.echo(f"{_count(len(items))} accepted by {to.name}.")
        return
    left = [label.id for label in sent.rest]
    _record(book, shop, "print failed", how, items=left, printer=to.name, trouble=sent.trouble)
    names = ", ".join(the_ids.pretty(one) for one in left[:5]) + (
        f" and {len(left) - 5} more" if len(left) > 5 else ""
    )
    done = f"{_count(len(sent.accepted))} accepted; " if sent.accepted else ""
    raise Nonsense(f"{sent.trouble} {done}not accepted: {names}. Send only those with --rest --to {to.name}.")


def _would_be_recorded(book: Any, shop: str, items: list[str], how: dict[str, Any], printer: str) -> None:
    """A reprint without its reason, or somebody unknown, is refused before anything leaves the printer."""
    from fillbook.trace.work import acting

    with acting.dry_run(book):
        _record(book, shop, "print", how, items=items, how="accepted", why=how["why"], printer=printer)


def _record(book: Any, shop: str, verb: str, asked: dict[str, Any], **fields: Any) -> None:
    from fillbook.trace.work import acting

    acting.act(
        book,
        acting.Action(verb, fields, who=asked["who"], shop=shop, station=asked["station"]),
        now=int(time.time()),
    )


@click.command("show-face")
@click.argument("face")
@click.option("--out", required=True, type=click.Path(), help="The PNG to write.")
@click.option("--size", default="usual", help="usual, or a size such as 3x2 in.  [default: usual]")
@click.option("--fact", "facts", multiple=True, help="A fact to print, the most important first.")
@click.option("--word", "words", multiple=True, help="A word in a second language, such as lot=lote.")
@click.option("--logo", type=click.Path(), help="The logo's file, PNG or JPEG.")
@click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    default="en",
    help="Of the label's own words.  [default: en]",
)
@click.pass_context
def show_face_command(
    ctx: click.Context,
    face: str,
    out: str,
    size: str,
    facts: tuple[str, ...],
    words: tuple[str, ...],
    logo: str | None,
    language: str,
) -> None:
    """Draw what FACE would look like, before it is chosen.

    \b
    Example:
      fillbook show-face "tote label" --size "3x2 in" --fact lot --fact use_by --word lot=lote --out face.png
    """
    from fillbook.labels import preview
    from fillbook.trace.core import labelling

    picture = _bytes(logo, "logo", labelling.LARGEST_LOGO) if logo else b""
    made, notes = preview.face_png(
        face,
        size,
        [one.replace(" ", "_") for one in facts],
        labelling.words_of(words),
        picture,
        language=language,
    )
    write_file(out, made)
    for note in notes:
        click.echo(note, err=True)
    click.echo(f"{face}, {size}, drawn to {out}.")


def _bytes(path: str, field: str, most: int) -> bytes:
    try:
        if Path(path).stat().st_size > most:
            raise Nonsense(
                f"{path} is {Path(path).stat().st_size / 1e6:.1f} MB; at most {most / 1e6:.0f} MB are taken.",
                field=field,
            )
        return Path(path).read_bytes()
    except OSError as trouble:
        raise Nonsense(f"{path} can't be read: {trouble.strerror}.", field=field) from None


@click.command("read-code")
@click.argument("text", required=False)
@click.option("--photo", type=click.Path(), help="A photograph of the supplier's label instead.")
@click.option("--pattern", help="Try this pattern on TEXT instead of the shop's notes.")
@click.option("--dates", default="YYMMDD", help="How the pattern's dates are written.  [default: YYMMDD]")
@book_option
@click.pass_context
def read_code_command(
    ctx: click.Context, text: str | None, photo: str | None, pattern: str | None, dates: str
) -> None:
    """Show what a supplier's barcode fills in on receiving, from where, and what is wrong with it.

    \b
    With --book the shop's notes on its suppliers' codes are used.
    Examples:
      fillbook read-code "(01)09521234543213(10)LOT-7(17)260831"
      fillbook read-code A2231-1000 --pattern "(?P<lot>[A-Z]\\d{4})-(?P<net_kg>\\d+)"
    """
    from fillbook.labels import proof, supplier_codes

    if bool(text) == bool(photo):
        raise Nonsense("Give the code as text, or a photograph with --photo: one of the two.", field="text")
    if pattern:
        for name, filled in supplier_codes.preview(pattern, text or "", dates).items():
            click.echo(f"{name}: {filled.value}")
        return
    said = [text] if text else proof.read_codes(_bytes(photo or "", "photo", 30_000_000))
    if not said:
        raise Nonsense("No code reads in this photograph: go closer, hold still, avoid glare.", field="photo")
    for one in said:
        found = supplier_codes.read(one or "", _notes(ctx))
        click.echo(f"{found.kind}: {found.code}")
        for name, filled in found.fields.items():
            click.echo(f"  {name}: {filled.value}   from {filled.source}")
        for trouble in found.troubles:
            click.echo(f"  ! {trouble}")


def _notes(ctx: click.Context) -> list[Any]:
    from fillbook.labels.supplier_codes import Note
    from fillbook.trace.book import queries

    try:
        book = opened(ctx)
    except (click.UsageError, ShopError):
        return []
    return [
        Note(row.supplier, row.pattern, row.dates)
        for row in queries.supplier_notes(book, shop_of(ctx, book)).values()
    ]


@click.command("paper-trial-sheet")
@click.argument("ids", nargs=-1, required=True)
@click.option("--out", required=True, type=click.Path(), help="The PDF to write.")
@click.option("--page", default="letter", metavar="SIZE", help="letter or a4.  [default: letter]")
@language_option
@book_option
@click.pass_context
def paper_trial_sheet_command(
    ctx: click.Context, ids: tuple[str, ...], out: str, page: str, language: str | None
) -> None:
    """Write a sheet to try tag stock with: what to do, what to count, and what earlier trials showed.

    \b
    Print the labels of IDS on the stock (fillbook label), treat them as the sheet says, and enter each count with
    fillbook paper-trial.
    Example:
      fillbook --book shop.db paper-trial-sheet BH-F26-00417-Y --out trial.pdf
    """
    from fillbook.labels.trials import Trial, trial_sheet
    from fillbook.trace.book import chain, queries
    from fillbook.trace.work.floor import find_item

    if page.lower() not in ("letter", "a4"):
        raise Nonsense(f"The page is letter or a4, not {page!r}.", field="page")
    book = opened(ctx)
    shop = shop_of(ctx, book)
    items = [find_item(book, shop, said, "LGFCZUP", "ids") for said in ids]
    earlier = [
        Trial(row.stock, row.step, row.tags, row.qr, row.bars, row.either, row.readable, row.why)
        for row in queries.paper_trials(book, shop)
    ]
    head = chain.position(book, shop)
    write_file(
        out,
        trial_sheet(
            [the_ids.pretty(one) for one in items],
            earlier,
            head=f"{shop}:{head.seq} {head.hash}",
            page=page.lower(),
            language=language or queries.language(book, shop),
        ),
    )
    click.echo(f"Paper trial sheet written to {out}.")
