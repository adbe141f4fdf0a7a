"""A logger's file before it is stored: what was found in it, by which evidence, what it would do, and what has to be asked.

The file goes along with the page that shows it, packed, so that nothing is kept of a file nobody confirmed.
"""

from __future__ import annotations

import base64
import binascii
import zlib
from dataclasses import dataclass, field
from typing import Any

from flask import request
from werkzeug.datastructures import MultiDict

from fillbook.trace.book import loggers
from fillbook.trace.book.opening import Row
from fillbook.trace.core import logger, logger_formats
from fillbook.trace.core.cure import Sample
from fillbook.trace.core.errors import Nonsense, ShopError, Stopped
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.work import acting, signing

LINES = 6  # of the file shown
ASKED = ("delimiter", "decimal", "dates", "value", "unit", "zone")


@dataclass
class Sent:
    """What was posted: the file's text, its packed form, the logger's name, and which parts somebody corrected."""

    text: str
    held: str
    sensor: str
    said: dict[str, str] = field(default_factory=dict)
    read_as: str = ""
    unit_sure: bool = False


@dataclass
class Look:
    """What the page shows of a file."""

    sent: Sent
    lines: list[str]
    more: int
    known: str  # plain, as last time, or new
    parts: dict[str, str] = field(default_factory=dict)
    evidence: tuple[str, ...] = ()
    samples: list[Sample] = field(default_factory=list)
    question: str = ""
    refused: str = ""
    findings: list[str] = field(default_factory=list)
    read_as: str = ""

    @property
    def lowest(self) -> int:
        return min(s.mc for s in self.samples)

    @property
    def highest(self) -> int:
        return max(s.mc for s in self.samples)


def form(row: Row) -> Form:
    """The verb's form, whose fields this page draws itself."""
    made = Form(
        "log temperatures",
        fixed={"zone": row["item"]},
        action=f"/zones/{row['item']}/file",
        button="Take these readings in",
    )
    made.about = []
    return made


def sent() -> Sent:
    """What was posted. Raises Nonsense where no file came, or what came is no text."""
    upload = request.files.get("csv")
    held = request.form.get("held", "")
    if upload is not None and upload.filename:
        text = logger_formats.text_of(upload.read())
    elif held:
        text = _unpacked(held)
    elif request.form.get("csv", "").strip():
        text = logger_formats.text_of(request.form["csv"].replace("\r\n", "\n").encode())
    else:
        raise Nonsense("No file was chosen: choose the file that the logger's program wrote.", field="csv")
    said = {name: value for name in ASKED if (value := request.form.get(f"part-{name}", "").strip())}
    return Sent(
        text, base64.b64encode(zlib.compress(text.encode(), 6)).decode(), request.form.get("sensor", "").strip() or "logger", said,
        request.form.get("read_as", ""), request.form.get("unit_sure") == "yes",
    )  # fmt: skip


def _unpacked(held: str) -> str:
    """The text of a file that went along with its page; raises Nonsense for anything else, or for more than is ever taken."""
    try:
        packer = zlib.decompressobj()
        data = packer.decompress(base64.b64decode(held, validate=True), logger.LARGEST + 1)
        if packer.unconsumed_tail or not packer.eof:
            raise ValueError
    except (ValueError, binascii.Error, zlib.error):
        raise Nonsense(
            "The file did not come back whole from the page: choose it again.", field="csv"
        ) from None
    return logger_formats.text_of(data)


def changed(one: Sent) -> bool:
    """Whether a part was corrected after *read_as* was shown: then it is looked at again before anything is stored."""
    shown = _parts(one.read_as)
    return any(shown.get(name) != value for name, value in one.said.items())


def _parts(read_as: str) -> dict[str, str]:
    return dict(part.split("=", 1) for part in read_as.split() if "=" in part)


def fields(one: Sent) -> MultiDict:
    """What was posted as the verb's form reads it."""
    said: MultiDict = MultiDict(request.form)
    said["csv"], said["sensor"] = one.text, one.sensor
    if one.read_as == "plain":
        said.pop("read_as", None)
    return said


def look(row: Row, one: Sent, asked: Form) -> Look:
    """What is found in the file; a question where its unit is doubtful. Raises Nonsense where it can't be read at all."""
    lines = [line for line in one.text.split("\n") if line.strip()]
    found = Look(one, [line[:120] for line in lines[:LINES]], max(0, len(lines) - LINES), "new")
    now = here.now()
    if logger_formats.is_plain(one.text):
        found.known, found.read_as = "plain", "plain"
        found.samples = logger.parse_plain(one.text, now=now, unit_sure=True)
        _ask(found, lambda: logger.parse_plain(one.text, now=now))
    else:
        _find(row, one, found, now)
    if not (found.question and not one.unit_sure) and found.samples:
        _try(row, one, found)
    if isinstance(asked.error, Stopped):
        found.refused = str(asked.error)
    return found


def _find(row: Row, one: Sent, found: Look, now: int) -> None:
    known = None if one.said else loggers.read_as(here.book(), row["item"], one.sensor)
    if known and not one.said:
        try:
            profile = logger_formats.from_text(known)
            found.samples = logger_formats.read(one.text, profile, now=now, unit_sure=True)
            found.known, found.read_as, found.parts = "as last time", profile.text, _parts(profile.text)
            _ask(found, lambda: logger_formats.read(one.text, profile, now=now))
            return
        except Nonsense as trouble:
            if trouble.field != "read_as":
                raise
    said = logger_formats.parts(" ".join(f"{name}={value}" for name, value in one.said.items()))
    try:
        looked = logger_formats.look(one.text, zone=here.say().zone, now=now, said=said, unit_sure=True)
    except Nonsense as trouble:
        if trouble.field != "read_as":
            raise
        found.question, found.parts = (
            str(trouble),
            dict(one.said),
        )  # drawn with the choices, so that the answer can be picked
        return
    found.evidence, found.samples, found.read_as = looked.evidence, looked.samples, looked.profile.text
    found.parts = _parts(looked.profile.text)
    _ask(found, lambda: logger_formats.look(one.text, zone=here.say().zone, now=now, said=said))


def _ask(found: Look, strictly: Any) -> None:
    """Read once more with the unit in doubt, for the question it asks."""
    try:
        strictly()
    except Nonsense as trouble:
        if trouble.field != "unit_sure":
            raise
        found.question = str(trouble)


def _try(row: Row, one: Sent, found: Look) -> None:
    """Do it and undo it, to say beforehand what the book would say."""
    person = here.who()
    people = here.book().value("SELECT item FROM person WHERE shop = ? ORDER BY seq LIMIT 1", here.shop())
    said = {"zone": row["item"], "sensor": one.sensor, "csv": one.text, "unit_sure": "yes"}
    if found.read_as != "plain":
        said["read_as"] = found.read_as
    try:
        with acting.dry_run(here.book()):
            action = acting.Action(
                "log temperatures", said, who=person["item"] if person else people, shop=here.shop()
            )
            found.findings = [
                finding["words"]
                for finding in signing.act(here.book(), action, pin=None, now=here.now()).findings
            ]
    except ShopError as trouble:
        found.refused = str(trouble)
