"""The zones' loggers: hung up, taken down, trusted, and let to send their readings themselves.

A token stands in no event: the book keeps its hash. Whoever holds the token can write temperatures of one zone and nothing else.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from typing import Annotated, Any

from pydantic import Field

from fillbook.trace.book import apply, loggers, queries
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, logger_formats
from fillbook.trace.core.errors import Nonsense, NotAllowed, UnknownItem
from fillbook.trace.work.ask import Ask, Duration, Measure, Reason, TemperatureDifference, Text, Zone
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

Offset = Annotated[int, Measure("temperature_difference", "mk", -10_000, 10_000, "between -10 and 10 °C")]


class HangSensor(Ask):
    zone: Zone = Field(description="The zone")
    sensor: Text = Field(description="The logger's name, as its files are taken in under")
    offset_mk: Offset = Field(0, description="From its calibration: what is added to every sample")
    tolerance_mk: TemperatureDifference | None = Field(
        None, description="Its stated tolerance, taken off every sample; the zone's, if not said"
    )
    gap_s: Duration | None = Field(
        None, description="The longest gap between its samples that still counts; the zone's, if not said"
    )


@verb("hang sensor", HangSensor, role="lead", place="racks")
def hang_sensor(ask: HangSensor, floor: Floor) -> None:
    """Hang a logger in a zone: from now its samples count there. One that hung elsewhere no longer does."""
    floor.must_exist(ask.zone, "hanging")
    if not ask.sensor:
        raise Nonsense("Give the logger the name its files are taken in under.", field="sensor")
    if ask.gap_s is not None and not 1 <= ask.gap_s <= 65 * 60:
        raise Nonsense(
            "The longest gap lies between a second and 65 minutes.", field="gap_s", expected="up to 65 min"
        )


class TakeDownSensor(Ask):
    zone: Zone = Field(description="The zone")
    sensor: Text = Field(description="The logger's name")


@verb("take down sensor", TakeDownSensor, role="lead", place="racks")
def take_down_sensor(ask: TakeDownSensor, floor: Floor) -> None:
    """Take a logger out of a zone: from now it is not missed there."""
    floor.must_exist(ask.zone, "taking it down")
    zone = next(row for row in queries.zones(floor.book, floor.shop) if row["item"] == ask.zone)
    there = [one for one in loggers.hung(floor.book, zone) if one.sensor == ask.sensor]
    if not any(one.since <= floor.at and (one.until is None or one.until > floor.at) for one in there):
        names = (
            ", ".join(
                dict.fromkeys(one.sensor for one in loggers.hung(floor.book, zone) if one.until is None)
            )
            or "none"
        )
        raise Nonsense(
            f"No logger {ask.sensor!r} hung in {floor.name(ask.zone)} at {floor.say(floor.at)}. Those that hang there: {names}.",
            field="sensor",
        )


class TrustSamples(Ask):
    event: int = Field(description="The number of the event that brought the doubtful samples", ge=1)
    why: Reason = Field(description="Why they are right after all")


@verb("trust samples", TrustSamples, role="lead", place="racks")
def trust_samples(ask: TrustSamples, floor: Floor) -> dict[str, Any]:
    """Let doubtful logger samples (spikes, a sensor that said the same for long) count after all."""
    if not ask.why:
        raise Nonsense("Say why they are right after all: what was looked at.", field="why")
    event = apply.effective(floor.book, floor.shop, ask.event)
    if event is None or event.kind != "log temperatures":
        raise UnknownItem(f"Event {ask.event} brought no logger samples.", field="event")
    open_ones = [d for d in loggers.open_doubts(floor.book, floor.shop) if d.seq == ask.event]
    if not open_ones:
        raise Nonsense(f"Nothing that event {ask.event} brought is in doubt.", field="event")
    return {"digest": event.body["digest"], "zone": event.body["said"]["zone"]}


class LetSensorSend(Ask):
    zone: Zone = Field(description="The zone")
    sensor: Text = Field(description="The logger's name")
    token_hash: Text | None = Field(
        None, description="SHA-256 of its token, 64 hex digits; the token itself is kept nowhere"
    )
    stop: bool = Field(False, description="Yes, to let it send no longer")


@verb("let sensor send", LetSensorSend, role="lead", place="racks")
def let_sensor_send(ask: LetSensorSend, floor: Floor) -> None:
    """Let a logger send its readings over the network with a token of its own, or no longer."""
    floor.must_exist(ask.zone, "this")
    if not ask.sensor:
        raise Nonsense("Name the logger.", field="sensor")
    if ask.stop and ask.token_hash:
        raise Nonsense("Give a new token, or stop the logger: one of the two.", field="stop")
    if not ask.stop and not re.fullmatch(r"[0-9a-f]{64}", ask.token_hash or ""):
        raise Nonsense(
            "The hash of the token is 64 hex digits.",
            field="token_hash",
            expected="64 hex digits, lower case",
        )


def new_token() -> tuple[str, str]:
    """A token for a logger, shown once, and its hash for `let sensor send`."""
    token = secrets.token_urlsafe(24)
    return token, token_hash(token)


def token_hash(token: str) -> str:
    """SHA-256 of a token as 64 hex digits; a random token of 24 bytes needs no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


def whose(book: Book, token: str) -> Row:
    """The logger a token belongs to: shop, zone, sensor, who. Raises NotAllowed for one that never was or was stopped."""
    found = loggers.sending(book, token_hash(token)) if token and len(token) <= 200 else None
    if found is None:
        raise NotAllowed(
            "This token lets no logger send. A lead can give it a new one: let sensor send.", field="token"
        )
    return found


def send(book: Book, token: str, content: bytes, *, now: int) -> Any:
    """Take in what a logger sent: the plain format, or its own file as it was confirmed by hand once. Sent twice, it is taken once.

    Raises NotAllowed for the token, Nonsense for the content, as `log temperatures` does.
    """
    from fillbook.trace.work import acting

    row = whose(book, token)
    fields = {"zone": row.zone, "sensor": row.sensor, "csv": logger_formats.text_of(content)}
    request = f"logger {hashlib.sha256(content).hexdigest()[:40]}"
    action = acting.Action(
        "log temperatures",
        fields,
        who=row.who,
        shop=row.shop,
        request=request,
        station=f"logger {ids.pretty(row.zone)}",
    )
    return acting.act(book, action, now=now)
