"""Labels printed in the background: a thread for each job, its progress in the book, so that it survives a closed browser.

What a printer accepts is written into the journal label by label, and at once; so a program that ends half-way knows what is left.
One label may be on its way at that moment: the job's page names it, since nobody can know whether it came out.
"""

from __future__ import annotations

import logging
import re
import threading
import time
import uuid
from collections import defaultdict
from collections.abc import Callable

from fillbook.labels import printing as printers
from fillbook.labels import proof, sheets
from fillbook.labels.faces import Label
from fillbook.trace.book import print_jobs
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web.printing import labels_for
from fillbook.trace.work import acting

OUR_FAULT = "Something went wrong in the program, not in what you did; please tell whoever keeps it."
BY_HAND = "Somebody stopped it."
_ONE_AT_A_TIME: dict[str, threading.Lock] = defaultdict(threading.Lock)  # by printer: jobs follow one another
_READ_AT_ONCE = 5  # labels between two words about how far a PDF is


class _Stopped(Exception):
    """Somebody stopped the job, or a program that started since gave it up."""


class _Unwritten(ShopError):
    """A label was accepted, and the book did not take the note."""


def name_of(request: str) -> str:
    """A job's name from its form's request id, so that a form sent twice is one job."""
    return request if re.fullmatch("[0-9a-f]{32}", request) else uuid.uuid4().hex


def start(book: Book, clock: Callable[[], float], shop: str, job: str, wait_s: float = 0) -> None:
    """Run the job in a thread of its own; wait up to *wait_s* seconds for it, as a few labels are soon done."""
    thread = threading.Thread(
        target=_run, args=(book, clock, shop, job), name=f"labels {job[:8]}", daemon=True
    )
    thread.start()
    if wait_s:
        thread.join(wait_s)


def _run(book: Book, clock: Callable[[], float], shop: str, job: str) -> None:
    with book.connected():
        row = print_jobs.find(book, shop, job)
        if row is None:
            return
        try:
            with _ONE_AT_A_TIME[row.printer]:
                _Job(book, clock, row).run()
        except _Stopped:
            pass
        except ShopError as trouble:
            print_jobs.stopped(book, job, str(trouble), sure=not isinstance(trouble, _Unwritten))
        except Exception:
            logging.getLogger("fillbook").exception("a print job failed: %s", job)
            print_jobs.stopped(book, job, OUR_FAULT, sure=False)


class _Job:
    def __init__(self, book: Book, clock: Callable[[], float], row: Row) -> None:
        self.book, self.clock, self.row = book, clock, row
        self.job: str = row.job
        self.done = 0

    def run(self) -> None:
        self._go_on("drawing")
        labels = labels_for(self.book, print_jobs.items(self.row))
        if self.row.printer == "browser":
            self._draw(labels)
        else:
            self._send(labels)

    def _go_on(self, state: str, doubt: str = "") -> None:
        if not print_jobs.goes_on(self.book, self.job, state, doubt=doubt):
            raise _Stopped

    # -- a PDF for the browser -------------------------------------------------------------------------------------------------
    def _draw(self, labels: list[Label]) -> None:
        def far(done: int, of: int = 0) -> None:
            self._go_on("drawing")
            print_jobs.shown(self.book, self.job, done)

        if self.row.sheet:
            made = sheets.make_sheets(labels, sheets.sheet(self.row.sheet), self.row.start, self.row.dpi, far)
        else:
            made = proof.made(labels, self.row.dpi, far, at_once=_READ_AT_ONCE)
        print_jobs.drawn(self.book, self.job, made)

    # -- a printer -------------------------------------------------------------------------------------------------------------
    def _send(self, labels: list[Label]) -> None:
        sent = printers.send(
            labels, printers.printer(self.row.printer), dpi=self.row.dpi, sending=self._sending, taken=self._taken,
            sleep=self._sleep,
        )  # fmt: skip
        if not sent.rest:
            print_jobs.ended(self.book, self.job)
            return
        with self.book.transaction():
            self._act(
                "print failed",
                items=[label.id for label in sent.rest],
                printer=self.row.printer,
                trouble=sent.trouble[:900],
            )
            print_jobs.stopped(self.book, self.job, sent.trouble)

    def _sending(self, label: Label) -> None:
        if not print_jobs.goes_on(self.book, self.job, "sending", doubt=label.id):
            raise printers.NotAccepted(BY_HAND)

    def _sleep(self, seconds: float) -> None:
        """Wait while the printer is busy, unless somebody stops the job meanwhile."""
        time.sleep(seconds)
        if not print_jobs.is_running(self.book, self.job):
            raise printers.NotAccepted(BY_HAND)

    def _taken(self, label: Label) -> None:
        """The printer has it: written down before the next one is sent."""
        why = {"why": self.row.why} if self.row.why else {}
        try:
            with self.book.transaction():
                self._act("print", items=[label.id], how="accepted", printer=self.row.printer, **why)
                self.done += 1
                print_jobs.count(self.book, self.job, self.done)
        except ShopError as trouble:
            raise _Unwritten(
                f"The printer took the label of {ids.pretty(label.id)}, but the book does not take the note: {trouble}"
            ) from None

    def _act(self, verb: str, **fields: object) -> None:
        request = f"{self.job}-{self.done}" + ("-failed" if verb == "print failed" else "")
        acting.act(
            self.book,
            acting.Action(
                verb,
                fields,
                who=self.row.who,
                shop=self.row.shop,
                station=self.row.station or None,
                request=request,
            ),
            now=int(self.clock()),
        )


def hand_out(book: Book, shop: str, job: str, *, station: str | None, now: int) -> tuple[bytes, int]:
    """The finished PDF of *job*, recorded as handed out; the event's number. A second touch of the button hands out the same.

    Raises Nonsense where it isn't finished.
    """
    row = print_jobs.find(book, shop, job)
    made = print_jobs.document(book, job) if row and row.state in ("drawn", "done") else None
    if row is None or made is None:
        raise Nonsense(
            "These labels are not drawn yet: wait until the page says so, then open them.", field="job"
        )
    why = {"why": row.why} if row.why else {}
    with book.transaction():
        answer = acting.act(
            book,
            acting.Action(
                "print", {"items": print_jobs.items(row), "how": "handed out", **why}, who=row.who, shop=shop,
                station=station, request=job,
            ),
            now=now,
        )  # fmt: skip
        print_jobs.ended(book, job)
    return made, answer.seq
