"""Sending labels to a printer: the operating system's queue (``lp``) or a network printer by IPP.

IPP as in RFC 8010 (how it is written) and RFC 8011 (what it means), over HTTP and without any library: one request to look how
the printer is, one for each label. What comes back is only ever *accepted*: no printer tells us that a label was stuck on.
"""

from __future__ import annotations

import http.client
import re
import shutil
import ssl
import struct
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from fillbook.labels import proof
from fillbook.labels.faces import Label
from fillbook.labels.parts import DOTS_PER_INCH
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.core.quote import quoted

HOW = "browser, lp:QUEUE or ipp://HOST/ipp/print"
MANY = 20  # labels; more run as a job with progress
_TIMEOUT_S = 15
_QUEUE = re.compile(
    r"[A-Za-z0-9_.@][A-Za-z0-9_.@-]{0,126}"
)  # never begins with a hyphen, which lp would take for an option

PRINT_JOB, GET_PRINTER_ATTRIBUTES = 0x0002, 0x000B
# RFC 8011, appendix B: status codes.
_NOT_FOUND, _TOO_LARGE, _FORMAT, _ATTRIBUTES = 0x0406, 0x0408, 0x040A, 0x040B
_TEMPORARY, _NOT_ACCEPTING, _BUSY = 0x0505, 0x0506, 0x0507
_REFUSED = {
    0x0401: "does not let this machine print",
    0x0402: "asks for a sign-in",
    0x0403: "does not let this machine print",
    _NOT_FOUND: "has no queue of that name",
    _TOO_LARGE: "finds the label's file too large",
    _FORMAT: "does not take PDF",
    _ATTRIBUTES: "does not take PDF, or not what was asked with it",
    0x0504: "reports a fault of its own",
    _NOT_ACCEPTING: "takes no jobs at the moment",
    0x0508: "cancelled the job",
}
# RFC 8011, section 5.4.12: why a printer does not print. Their keywords, with what a person has to do.
_REASONS = {
    "media-empty": "is out of labels: load a roll",
    "media-needed": "is out of labels: load a roll",
    "media-jam": "has a jam: clear it",
    "marker-supply-empty": "is out of ribbon or ink: change it",
    "cover-open": "stands open: close it",
    "door-open": "stands open: close it",
    "interlock-open": "stands open: close it",
    "paused": "is paused: press its button",
    "shutdown": "is shutting down: switch it on",
}
_STOPPED = 5  # printer-state


class NotAccepted(ShopError):
    """The printer did not take a label; the words say why and what to do."""


class _Busy(Exception):
    pass


@dataclass(frozen=True)
class Printer:
    """Where a station prints: ``kind`` is browser, lp or ipp; ``name`` as it was written."""

    kind: str
    name: str


def printer(text: str) -> Printer:
    """A printer as it is written: ``browser``, ``lp:dock``, ``ipp://dock-printer.local/ipp/print``, ``ipps://…``.

    Raises Nonsense for anything else.
    """
    text = text.strip()
    if text.lower() == "browser":
        return Printer("browser", "browser")
    if text.startswith("lp:"):
        if not _QUEUE.fullmatch(text[3:]):
            raise Nonsense(
                f"{quoted(text[3:])} is no name of a queue: lpstat -p lists them.",
                field="printer",
                expected=HOW,
            )
        return Printer("lp", text)
    if text.startswith(("ipp://", "ipps://")):
        try:
            there = urlsplit(text)
            good = (
                bool(there.hostname)
                and there.port != 0
                and not there.username
                and text.isascii()
                and text.isprintable()
            )
        except ValueError:
            good = False
        if good and " " not in text:
            return Printer("ipp", text)
    raise Nonsense(f"{quoted(text)} is no printer: write {HOW}.", field="printer", expected=HOW)


@dataclass
class Sent:
    """What became of a job: the labels the printer took, those it did not, and why."""

    accepted: list[Label] = field(default_factory=list)
    rest: list[Label] = field(default_factory=list)
    trouble: str = ""


def send(
    labels: Sequence[Label], to: Printer, *, dpi: int = DOTS_PER_INCH, patience_s: float = 60,
    progress: Callable[[int, int], None] | None = None, taken: Callable[[Label], None] | None = None,
    sending: Callable[[Label], None] | None = None, sleep: Callable[[float], None] = time.sleep,
) -> Sent:  # fmt: skip
    """Draw, proof-read and send *labels* one by one until the printer refuses one; what was not accepted is in ``rest``.

    A busy printer is asked again for up to *patience_s* seconds. *progress* is told (how many are accepted, of how many);
    *taken* each label as it is accepted, so that it can be written down at once, *sending* each just before it is sent (it may
    raise NotAccepted to end the job there). Raises Nonsense, before anything is sent, for a label that cannot be drawn or does not
    read back, and for the browser, to which nothing can be sent.
    """
    if to.kind == "browser":
        raise Nonsense("The browser is handed a PDF; nothing can be sent to it.", field="printer")
    made = []
    for label in labels:
        made.append(proof.made([label], dpi))
    sent = Sent(rest=list(labels))
    try:
        if to.kind == "ipp":
            look(to)
        for number, (label, document) in enumerate(zip(labels, made, strict=True), start=1):
            if sending:
                sending(label)
            _send_one(document, ids.pretty(label.id), to, patience_s, sleep)
            sent.accepted.append(label)
            sent.rest.pop(0)
            if taken:
                taken(label)
            if progress:
                progress(number, len(labels))
    except NotAccepted as trouble:
        sent.trouble = str(trouble)
    return sent


def _send_one(
    document: bytes, title: str, to: Printer, patience_s: float, sleep: Callable[[float], None]
) -> None:
    if to.kind == "lp":
        _queue(document, title, to)
        return
    waited, pause = 0.0, 0.05
    while True:
        try:
            _print_job(document, title, to)
            return
        except _Busy:
            if waited >= patience_s:
                raise NotAccepted(
                    f"The printer {to.name} stayed busy for {patience_s:.0f} seconds: look whether it waits for somebody, then send again."
                ) from None
            sleep(pause)
            waited += pause
            pause = min(pause * 1.6, 2.0)


# -- the operating system's queue ----------------------------------------------------------------------------------------------
def _queue(document: bytes, title: str, to: Printer) -> None:
    queue = to.name[3:]
    lp = shutil.which("lp")
    if lp is None:
        raise NotAccepted(
            "This machine has no command lp: print from the browser, or give the printer's ipp:// address."
        )
    try:
        done = subprocess.run(
            [lp, "-d", queue, "-t", title, "-o", "print-scaling=none"], input=document, capture_output=True, timeout=60, check=False
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise NotAccepted(
            f"The queue {queue} did not answer within a minute: look at it, then send again."
        ) from None
    if done.returncode:
        said = " ".join(done.stderr.decode("utf-8", "replace").split())[:120]
        words = (
            "".join(c if c.isprintable() else "?" for c in said).removeprefix("lp: ").rstrip(".")
            or "lp gives no reason"
        )
        raise NotAccepted(
            f"The queue {queue} did not take the label ({words}): lpstat -p shows the queues and how they are."
        )


# -- IPP -----------------------------------------------------------------------------------------------------------------------
def look(to: Printer) -> None:
    """Ask how the printer is; raise NotAccepted, naming what somebody has to do, where it would not print."""
    status, found = _ask(GET_PRINTER_ATTRIBUTES, to, [(0x44, "requested-attributes", b"printer-state"),
                                                      (0x44, "", b"printer-state-reasons"),
                                                      (0x44, "", b"printer-is-accepting-jobs")])  # fmt: skip
    if status in (_BUSY, _TEMPORARY):
        return
    _refuse(status, to)
    stopped = found.get("printer-state") == [struct.pack(">i", _STOPPED)]
    for said in found.get("printer-state-reasons", []):
        reason = said.decode("ascii", "replace")
        weight = reason.rsplit("-", 1)[-1]
        keyword = reason.removesuffix("-error").removesuffix("-warning").removesuffix("-report")
        if keyword in _REASONS and (stopped or weight not in ("warning", "report")):
            raise NotAccepted(f"The printer {to.name} {_REASONS[keyword]}, then send again.")
    if stopped:
        raise NotAccepted(f"The printer {to.name} has stopped: look at it, then send again.")
    if found.get("printer-is-accepting-jobs") == [b"\x00"]:
        raise NotAccepted(f"The printer {to.name} {_REFUSED[_NOT_ACCEPTING]}: look at it, then send again.")


def _print_job(document: bytes, title: str, to: Printer) -> None:
    status, _ = _ask(
        PRINT_JOB,
        to,
        [(0x42, "job-name", title.encode()), (0x49, "document-format", b"application/pdf")],
        document,
    )
    if status in (_BUSY, _TEMPORARY):
        raise _Busy
    _refuse(status, to)


def _refuse(status: int, to: Printer) -> None:
    if status > 0x00FF:  # 0x0000 to 0x00ff are successful
        words = _REFUSED.get(status, f"answers with the status 0x{status:04x}")
        raise NotAccepted(f"The printer {to.name} {words}: check its address and settings, then send again.")


def _attribute(tag: int, name: str, value: bytes) -> bytes:
    return struct.pack(">BH", tag, len(name)) + name.encode() + struct.pack(">H", len(value)) + value


def _ask(
    operation: int, to: Printer, more: Sequence[tuple[int, str, bytes]], document: bytes = b""
) -> tuple[int, dict[str, list[bytes]]]:
    """One IPP 2.0 request: its status, and the attributes of the answer."""
    there = urlsplit(to.name)
    attributes = [
        (0x47, "attributes-charset", b"utf-8"), (0x48, "attributes-natural-language", b"en"),
        (0x45, "printer-uri", to.name.encode()), (0x42, "requesting-user-name", b"fillbook"), *more,
    ]  # fmt: skip
    body = (
        struct.pack(">BBHI", 2, 0, operation, 1)
        + b"\x01"
        + b"".join(_attribute(*one) for one in attributes)
        + b"\x03"
        + document
    )
    make = http.client.HTTPSConnection if there.scheme == "ipps" else http.client.HTTPConnection
    line = make(there.hostname or "", there.port or 631, timeout=_TIMEOUT_S)
    try:
        line.request("POST", there.path or "/", body, {"Content-Type": "application/ipp"})
        answer = line.getresponse()
        content = answer.read(1_000_000)
    except ConnectionRefusedError:
        raise NotAccepted(
            f"Nothing answers at {to.name}: is the printer switched on, and the address right?"
        ) from None
    except TimeoutError:
        raise NotAccepted(
            f"The printer {to.name} did not answer within {_TIMEOUT_S} seconds: switch it off and on, then send again."
        ) from None
    except ssl.SSLError:
        raise NotAccepted(
            f"The printer {to.name} has no certificate this machine trusts: use its ipp:// address, or install one."
        ) from None
    except (OSError, http.client.HTTPException):
        raise NotAccepted(
            f"The printer {to.name} can't be reached: check its cable and address, then send again."
        ) from None
    finally:
        line.close()
    if answer.status == 404:
        _refuse(_NOT_FOUND, to)
    if answer.status != 200 or len(content) < 8:
        raise NotAccepted(
            f"What answers at {to.name} is no printer (HTTP status {answer.status}): check the address."
        )
    return int.from_bytes(content[2:4], "big"), _attributes(content)


def _attributes(content: bytes) -> dict[str, list[bytes]]:
    """The attributes of an answer by name; what is damaged ends the list."""
    found: dict[str, list[bytes]] = {}
    name = ""
    for said, value in _read(content):
        name = said or name  # a further value of the same attribute has no name
        found.setdefault(name, []).append(value)
    return found


def _read(content: bytes) -> Iterator[tuple[str, bytes]]:
    at = 8
    while at < len(content):
        tag = content[at]
        if tag == 0x03:
            return
        if tag < 0x10:  # a new group begins
            at += 1
            continue
        parts = []
        at += 1
        for _ in range(2):
            if at + 2 > len(content):
                return
            length = int.from_bytes(content[at : at + 2], "big")
            parts.append(content[at + 2 : at + 2 + length])
            at += 2 + length
        yield parts[0].decode("ascii", "replace"), parts[1]
