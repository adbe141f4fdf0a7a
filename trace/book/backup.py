"""A copy of the book that is whole, made while others write."""

from __future__ import annotations

from pathlib import Path

from fillbook.trace.book.opening import Book
from fillbook.trace.core.errors import Nonsense


def backup_to(book: Book, path: str) -> str:
    """Write a copy of *book* to a new file at *path*. Never copy the file itself: what the writer holds back would be lost."""
    if book.postgres:
        raise Nonsense("This book lies in PostgreSQL: back it up with that server's own tools.")
    if Path(path).exists():
        raise Nonsense(
            f"{path} exists already; name a file that does not, so that no earlier backup is lost.",
            field="file",
        )
    if not Path(path).resolve().parent.is_dir():
        raise Nonsense(f"There is no folder {Path(path).resolve().parent}; make it first.", field="file")
    book.execute("VACUUM INTO ?", (path,))
    return path
