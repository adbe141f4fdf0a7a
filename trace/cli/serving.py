"""Opening the book to the shop's browsers."""

from __future__ import annotations

import os
import socket
from pathlib import Path

import click
from flask import Flask

from fillbook.trace.cli.commands import book_option, where
from fillbook.trace.core.errors import Nonsense

THREADS = 8


@click.command("serve")
@click.option("--host", default="127.0.0.1", metavar="ADDRESS", help="Where to listen; 0.0.0.0 lets the shop's other machines in."
              "  [default: 127.0.0.1]")  # fmt: skip
@click.option(
    "--port", default=8470, metavar="NUMBER", type=click.IntRange(1, 65_535), help="[default: 8470]"
)
@click.option("--name", "names", multiple=True, metavar="NAME", help="What else this machine is called in the shop's network, such as "
              "book.shop.example; its number and the labels' host are known.")  # fmt: skip
@book_option
@click.pass_context
def serve_command(ctx: click.Context, host: str, port: int, names: tuple[str, ...]) -> None:
    """Open the book to the shop's browsers, until Ctrl+C. Starts a new book where there is none.

    \b
    Nothing is fetched from elsewhere. Whoever reaches the address can write: keep it inside the shop's network.
    Example:
      fillbook --book shop.db serve --host 0.0.0.0
    """
    from waitress.server import create_server

    from fillbook.trace.web.app import LARGEST_UPLOAD, create_app
    from fillbook.trace.web.refusing import answer_in_words

    book = where(ctx)
    listening = listen(host, port)  # before a new book is begun: a taken port leaves nothing behind
    with listening:
        fresh = "://" not in book and not Path(book).exists()
        app = create_app(book, names=names)
        server = create_server(
            app,
            sockets=[listening],
            threads=THREADS,
            ident="fillbook",
            max_request_body_size=8
            * LARGEST_UPLOAD,  # what is too large for a page is refused by it, in words
        )
        answer_in_words(server, app)
        click.echo(f"{'A new book was begun at' if fresh else 'Serving'} {book}. Stop with Ctrl+C.")
        for address in addresses(host, port):
            click.echo(f"  {address}")
        if code := code_of_this_start(app):
            click.echo(f"Nobody has begun this book yet. The first page asks for this code: {code}")
        if host not in ("127.0.0.1", "localhost", "::1"):
            click.echo(
                "Whoever reaches this address can write into the book: keep it inside the shop's network."
            )
        server.run()


def code_of_this_start(app: Flask) -> str | None:
    """What the first page asks for while the book is empty; it is shown here and nowhere else."""
    served = app.extensions["fillbook"]
    with served.book.connected():
        return None if served.book.shops() else served.first_code


def listen(host: str, port: int) -> socket.socket:
    """A socket on *host* and *port*. Raises Nonsense where that can't be."""
    listening = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    try:
        if os.name == "posix":  # else a port stays taken for a minute after the last visit
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(128)
    except (OSError, UnicodeError) as trouble:
        listening.close()
        if isinstance(trouble, socket.gaierror | UnicodeError):
            raise Nonsense(
                f"{host!r} is no address of this machine. Try 127.0.0.1, or 0.0.0.0 for all of them.",
                field="host",
            ) from None
        raise Nonsense(
            f"{host}:{port} can't be listened on ({trouble.strerror or trouble}): another program has it, or this machine has no such "
            "address. Choose another --port or --host.",
            field="port",
        ) from None
    return listening


def addresses(host: str, port: int) -> list[str]:
    """The addresses to type into a browser."""
    if host not in ("0.0.0.0", "::"):
        return [f"http://{f'[{host}]' if ':' in host else host}:{port}/"]
    return [f"http://127.0.0.1:{port}/", f"http://{socket.gethostname()}:{port}/"]
