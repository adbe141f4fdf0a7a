"""Labels that are printed in the background: what was asked, and how far it is.

These rows are no evidence. Which labels were handed out or accepted stands in the journal, written label by label; here stands
only what a page shows while a job runs, and what a program that starts again has to say about the one before it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

from fillbook.trace.book.opening import Book, Row

RUNNING = ("waiting", "drawing", "sending")
KEPT = 60  # jobs a shop still sees; older ones go
ENDED = "The program ended before the job did."


def begin(
    book: Book, job: str, shop: str, items: Sequence[str], *, asked_at: int, who: str, station: str, printer: str,
    dpi: int, sheet: str = "", start: int = 1, why: str = "",
) -> bool:  # fmt: skip
    """Write down a new job; the oldest ones go. A job that is there already stays as it is: False."""
    with book.transaction():
        if book.value("SELECT 1 FROM print_job WHERE job = ?", job):
            return False
        old = book.tuples(
            "SELECT job FROM print_job WHERE shop = ? ORDER BY asked_at DESC, job LIMIT 100 OFFSET ?",
            shop,
            KEPT - 1,
        )
        for (one,) in old:
            book.execute("DELETE FROM print_job WHERE job = ?", (one,))
        book.insert(
            "print_job",
            {
                "job": job, "shop": shop, "asked_at": asked_at, "who": who, "station": station, "printer": printer, "dpi": dpi,
                "sheet": sheet, "start": start, "why": why, "items": json.dumps(list(items)), "total": len(items), "state": "waiting",
            },
        )  # fmt: skip
    return True


def find(book: Book, shop: str, job: str) -> Row | None:
    """The job, without its document."""
    return book.one(
        "SELECT job, shop, asked_at, who, station, printer, dpi, sheet, start, why, items, total, done, state, doubt, trouble "
        "FROM print_job WHERE shop = ? AND job = ?",
        shop, job,
    )  # fmt: skip


def newest(book: Book, shop: str, most: int = 10) -> list[Row]:
    return book.rows(
        "SELECT job, asked_at, who, station, printer, total, done, state FROM print_job WHERE shop = ? ORDER BY asked_at DESC, job LIMIT ?",
        shop, most,
    )  # fmt: skip


def items(row: Row) -> list[str]:
    """The items whose labels the job prints, in their order."""
    return list(json.loads(row["items"]))  # row.items is the dict's own


def rest(row: Row) -> list[str]:
    """Those whose label is not known to be handed out or accepted."""
    return [] if row.state == "done" else items(row)[row.done :]


def is_running(book: Book, job: str) -> bool:
    """Whether the job may go on: nobody stopped it, and no program that started since gave it up."""
    return book.value("SELECT state FROM print_job WHERE job = ?", job) in RUNNING


def goes_on(book: Book, job: str, state: str, *, doubt: str = "") -> bool:
    """Say what the job does now; False where it was stopped meanwhile. *doubt*: the item whose label is on its way."""
    cursor = book.execute(
        "UPDATE print_job SET state = ?, doubt = ? WHERE job = ? AND state IN ('waiting', 'drawing', 'sending')",
        (state, doubt, job),
    )
    return bool(cursor.rowcount)


def count(book: Book, job: str, done: int) -> None:
    """So many labels are accepted, none is on its way."""
    book.execute("UPDATE print_job SET done = ?, doubt = '' WHERE job = ?", (done, job))


def shown(book: Book, job: str, done: int) -> None:
    """So many labels are drawn and read back; only while they are drawn."""
    book.execute("UPDATE print_job SET done = ? WHERE job = ? AND state = 'drawing'", (done, job))


def drawn(book: Book, job: str, document: bytes) -> None:
    """Keep the finished PDF until somebody opens it. Nothing is handed out yet."""
    book.execute(
        "UPDATE print_job SET state = 'drawn', done = 0, document = ? WHERE job = ? AND state = 'drawing'",
        (document, job),
    )


def document(book: Book, job: str) -> bytes | None:
    found = book.value("SELECT document FROM print_job WHERE job = ?", job)
    return bytes(found) if found else None


def ended(book: Book, job: str) -> None:
    """Every label is handed out or accepted."""
    book.execute("UPDATE print_job SET state = 'done', done = total, doubt = '' WHERE job = ?", (job,))


def stopped(book: Book, job: str, trouble: str, *, sure: bool = True) -> None:
    """The job goes no further. *sure*: no label is on its way any more."""
    book.execute(
        "UPDATE print_job SET state = 'stopped', trouble = ?, done = CASE WHEN state = 'drawing' THEN 0 ELSE done END WHERE job = ? AND state IN ('waiting', 'drawing', 'sending')",
        (trouble, job),
    )
    if sure:
        book.execute("UPDATE print_job SET doubt = '' WHERE job = ?", (job,))


def give_up_all(book: Book) -> None:
    """Called when the program starts: whatever still says it runs was left by one that ended, at a label that may have come out."""
    if book.value("SELECT 1 FROM print_job WHERE state IN ('waiting', 'drawing', 'sending') LIMIT 1"):
        for (job,) in book.tuples(
            "SELECT job FROM print_job WHERE state IN ('waiting', 'drawing', 'sending')"
        ):
            stopped(book, job, ENDED, sure=False)
