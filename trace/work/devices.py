"""Devices that use the book over the network: a scale, a tablet of the cage, the office's own program.

Each has a token of its own, and a role above which nobody acts through it. The journal says who admitted and who dismissed it; the
token stands nowhere, the book keeps its SHA-256.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from typing import Annotated, Literal

from pydantic import Field

from fillbook.trace.book import devices
from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core.errors import Conflict, Nonsense, UnknownItem
from fillbook.trace.work.ask import Ask, Note, Text, Words
from fillbook.trace.work.floor import Floor
from fillbook.trace.work.registry import verb

PREFIX = "fillbook-"  # so that a token left lying about is known for what it is
DeviceName = Annotated[str, Words(40)]


class AdmitDevice(Ask):
    device: DeviceName = Field(description="What the device is called in the shop")
    role: Literal["hand", "lead", "owner"] = Field(
        "hand", description="Nobody acts above this role through it, whoever is named"
    )
    token_hash: Text | None = Field(
        None, description="SHA-256 of its token, 64 hex digits; the token itself is kept nowhere"
    )


@verb("admit device", AdmitDevice, role="owner", place="office")
def admit_device(ask: AdmitDevice, floor: Floor) -> None:
    """Let a device use the book over the network, with a token and a role of its own."""
    if not ask.device:
        raise Nonsense("Give the device a name, such as dock scale.", field="device")
    if not re.fullmatch("[0-9a-f]{64}", ask.token_hash or "", re.ASCII):
        raise Nonsense(
            "The hash of the token is 64 hex digits, lower case. The page Devices and the command make the token themselves.",
            field="token_hash",
            expected="64 hex digits, lower case",
        )
    there = devices.named(floor.book, floor.shop, ask.device)
    if there:
        raise Conflict(
            f"{there.device} is admitted already (event {there.seq}). Dismiss it first, or choose another name.",
            field="device",
        )
    if devices.was_used(floor.book, ask.token_hash or ""):
        raise Conflict("That token was given to a device before. Make a new one.", field="token_hash")


class DismissDevice(Ask):
    device: DeviceName = Field(description="The device's name")
    why: Note = Field("", description="Why: lost, replaced, no longer trusted")


@verb("dismiss device", DismissDevice, role="owner", place="office")
def dismiss_device(ask: DismissDevice, floor: Floor) -> dict[str, str]:
    """Let a device use the book no longer; its token is worth nothing from now on."""
    there = devices.named(floor.book, floor.shop, ask.device)
    if there is None:
        names = ", ".join(one.device for one in devices.admitted(floor.book, floor.shop)) or "none"
        raise UnknownItem(f"No device {ask.device!r} is admitted. Those that are: {names}.", field="device")
    return {"device": there.device}


def new_token() -> str:
    """A token for a device, shown once; 256 bits, so its hash needs no salt and no slowness."""
    return PREFIX + secrets.token_urlsafe(32)


def is_token(text: str) -> bool:
    """Whether *text* has the form of a token."""
    return bool(re.fullmatch(PREFIX + "[A-Za-z0-9_-]{43}", text, re.ASCII))


def token_hash(token: str) -> str:
    """SHA-256 of a token as 64 hex digits."""
    return hashlib.sha256(token.encode()).hexdigest()


def whose(book: Book, token: str) -> Row | None:
    """The device that a token belongs to: shop, seq, device, role. None for one that never was or was dismissed."""
    return devices.bearing(book, token_hash(token)) if is_token(token) else None
