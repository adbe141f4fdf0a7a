"""How a request is read: whose token it is, its id, strict JSON, and the words of its address."""

from __future__ import annotations

import json
import re
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NoReturn

from flask import request
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fillbook.trace.book.opening import Row
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted
from fillbook.trace.web import here
from fillbook.trace.web.api.problems import Refused
from fillbook.trace.work import devices
from fillbook.trace.work.ask import clean

DEEPEST = 32
REQUEST_ID = "[A-Za-z0-9._~:/+=-]{1,60}"
WRONG_TOKENS, WITHIN_S = 20, 60


# -- whose token ---------------------------------------------------------------------------------------------------------------
class Tries:
    """How often wrong tokens came from one address within a minute. In memory: 256 bits are not guessed, but the log stays short."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        self.wrong: dict[str, list[int]] = {}

    def wait(self, address: str, now: int) -> int:
        """Count one more wrong token; the seconds to wait, 0 while there were few."""
        with self.lock:
            if len(self.wrong) > 1_000:
                self.wrong = {one: at for one, at in self.wrong.items() if at[-1] > now - WITHIN_S}
            if len(self.wrong) > 10_000:
                self.wrong.clear()
            recent = [at for at in self.wrong.get(address, []) if now - WITHIN_S < at <= now][-WRONG_TOKENS:]
            self.wrong[address] = [*recent, now]
            return max(1, recent[0] + WITHIN_S - now) if len(recent) >= WRONG_TOKENS else 0


def device(tries: Tries) -> Row:
    """The device whose token came with the request. Raises Refused."""
    said = request.headers.get("Authorization", "")
    scheme, _, token = said.partition(" ")
    if not said:
        raise Refused(
            "no-token", "No token came with this. Send the header Authorization: Bearer with the device's token.",
            headers={"WWW-Authenticate": 'Bearer realm="fillbook"'},
        )  # fmt: skip
    found = devices.whose(here.book(), token.strip()) if scheme.lower() == "bearer" else None
    if found:
        return found
    wait = tries.wait(request.remote_addr or "", here.now())
    if wait:
        raise Refused(
            "locked-out", f"{WRONG_TOKENS} wrong tokens came from this address within a minute. Wait, then send the right one.",
            headers={"Retry-After": str(wait)},
        )  # fmt: skip
    raise Refused(
        "no-token", "This token belongs to no device of this book, or to one that was dismissed. An owner admits devices on the page Devices.",
        headers={"WWW-Authenticate": 'Bearer realm="fillbook", error="invalid_token"'},
    )  # fmt: skip


def request_id() -> str:
    """The id of this request: the header Idempotency-Key, in quotation marks or without."""
    said = request.headers.get("Idempotency-Key", "").strip()
    found = re.fullmatch(f'"({REQUEST_ID})"|({REQUEST_ID})', said, re.ASCII)
    if found:
        return found[1] or found[2]
    raise Refused(
        "no-request-id",
        "The header Idempotency-Key is missing." if not said else "The header Idempotency-Key holds no id that is taken.",
        field="Idempotency-Key", expected="1 to 60 letters, digits or . _ ~ : / + = -, such as a UUID; the same again when it is sent again",
    )  # fmt: skip


# -- JSON ----------------------------------------------------------------------------------------------------------------------
def body() -> dict[str, Any]:
    """The JSON object that was sent; numbers with a point as they were written. Raises Refused."""
    kind = request.mimetype
    charset = request.mimetype_params.get("charset", "utf-8").lower()
    if kind != "application/json" or charset not in ("utf-8", "utf8", "us-ascii"):
        raise Refused(
            "wrong-media",
            f"The body comes as {quoted(request.content_type or 'nothing')}.",
            expected="application/json in UTF-8",
        )
    if request.headers.get("Content-Encoding", "identity").lower() != "identity":
        raise Refused("wrong-media", "The body is compressed.", expected="application/json as it is")
    return strict(request.get_data(cache=False))


def strict(sent: bytes) -> dict[str, Any]:
    """A JSON object, as RFC 8259 has it and nothing beside.

    >>> strict(b'{"net_kg": 950.10}')
    {'net_kg': Decimal('950.10')}

    Raises Refused for other bytes, a key that is there twice, NaN, numbers too long to be true, half characters, deep nesting.
    """

    def no(what: str, expected: str = "one JSON object") -> NoReturn:
        raise Refused("unreadable", f"The body is no JSON that is taken here: {what}.", expected=expected)

    try:
        found = json.loads(
            sent.decode("utf-8"), parse_float=_number, parse_constant=_no_number, object_pairs_hook=_once
        )
    except UnicodeDecodeError as trouble:
        no(f"byte {trouble.start + 1} is not UTF-8")
    except json.JSONDecodeError as trouble:
        no(f"{trouble.msg} at character {trouble.pos + 1}")
    except RecursionError:
        no(f"it is nested more than {DEEPEST} deep")
    except ValueError:
        no("it holds a number of thousands of digits")
    if not isinstance(found, dict):
        no("it is no object")
    waiting: list[tuple[Any, int]] = [(found, 1)]
    while waiting:
        value, depth = waiting.pop()
        if depth > DEEPEST:
            no(f"it is nested more than {DEEPEST} deep")
        if isinstance(value, dict):
            waiting += [(key, depth) for key in value]
            waiting += [(part, depth + 1) for part in value.values()]
        elif isinstance(value, list):
            waiting += [(part, depth + 1) for part in value]
        elif isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value):
            no("a text in it holds half a character (a lone surrogate)")
    return found


def _number(text: str) -> Decimal:
    if len(text) > 400:
        raise ValueError("too long")
    return Decimal(text)


def _no_number(text: str) -> NoReturn:
    raise Refused(
        "unreadable",
        f"The body holds {text}, which JSON has no number for.",
        expected="a number, or the field left out",
    )


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise Refused(
                "unreadable", f"The body says {quoted(key)} twice in one object; which is meant?", field=key
            )
        found[key] = value
    return found


class Envelope(BaseModel):
    """What is said around a verb's fields."""

    model_config = ConfigDict(extra="forbid", strict=True)

    who: str = Field(description="Who did it: a person's name or badge", max_length=200, min_length=1)
    fields: dict[str, Any] = Field(default_factory=dict, description="The verb's own fields")
    at: str | None = Field(
        None,
        description="When it happened: ISO 8601, or YYYY-MM-DD HH:MM in the shop's zone; now, if not said",
        max_length=80,
    )
    signed_by: str | None = Field(
        None, description="Who signs, if somebody else: a name or badge", max_length=200
    )
    pin: str | None = Field(
        None,
        description="The signer's PIN, where the verb or an override takes one or somebody else signs; never kept",
        max_length=64,
    )
    override: str | None = Field(None, description="A lead's reason to go on against a stop", max_length=500)
    station: str | None = Field(
        None, description="Where the device stands; its name is kept with it", max_length=30
    )
    shop: str | None = Field(
        None, description="The shop's two letters; the device's own shop, if not said", max_length=2
    )
    saw: int | None = Field(
        None, description="The shop's last event when the items were looked at", ge=0, le=2**53 - 1
    )
    saw_items: list[str] = Field(default_factory=list, description="The items that were looked at; if one moved on since, it is a conflict", max_length=500)  # fmt: skip


def envelope(said: Mapping[str, Any]) -> Envelope:
    """*said* as an envelope. Raises Nonsense naming the key; what was sent is never repeated, for it may be a PIN."""
    try:
        return Envelope.model_validate(said)
    except ValidationError as trouble:
        first = trouble.errors(include_input=False, include_url=False)[0]
        spot = ".".join(str(part) for part in first["loc"])
        takes = ", ".join(Envelope.model_fields)
        match first["type"]:
            case "extra_forbidden":
                raise Nonsense(
                    f"{quoted(spot)} does not belong around a verb.", field=spot, expected=takes
                ) from None
            case "missing":
                raise Nonsense(
                    f"{spot} is missing: say who did it.", field=spot, expected="a name or badge"
                ) from None
            case "string_type":
                raise Nonsense(
                    f"{spot} is a text.", field=spot, expected="a text in quotation marks"
                ) from None
            case "string_too_long" | "too_long":
                raise Nonsense(
                    f"{spot} is too long; at most {first['ctx']['max_length']}.", field=spot
                ) from None
            case "string_too_short":
                raise Nonsense(
                    f"{spot} is empty: say who did it.", field=spot, expected="a name or badge"
                ) from None
            case "list_type":
                raise Nonsense(f"{spot} is a list.", field=spot, expected="[…]") from None
            case "dict_type":
                raise Nonsense(f"{spot} is a JSON object.", field=spot, expected="{…}") from None
        raise Nonsense(
            f"{spot} is a whole number from 0 on.", field=spot, expected="a whole number"
        ) from None


# -- the words of an address ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Param:
    """One word of a query. *shape* is its JSON Schema, and the rule it is read by."""

    name: str
    words: str
    shape: dict[str, Any] = field(default_factory=lambda: {"type": "string", "maxLength": 200})
    needed: bool = False

    def read(self, text: str) -> Any:
        """*text* as the value meant. Raises Nonsense."""
        if "enum" in self.shape:
            if text not in self.shape["enum"]:
                raise Nonsense(
                    f"{self.name} is not {quoted(text)}.",
                    field=self.name,
                    expected=" | ".join(self.shape["enum"]),
                )
            return text
        if self.shape["type"] == "boolean":
            if text not in ("true", "false"):
                raise Nonsense(
                    f"{self.name} is true or false, not {quoted(text)}.",
                    field=self.name,
                    expected="true | false",
                )
            return text == "true"
        if self.shape["type"] == "integer":
            low, high = self.shape["minimum"], self.shape["maximum"]
            if not re.fullmatch("[0-9]{1,16}", text, re.ASCII) or not low <= int(text) <= high:
                raise Nonsense(
                    f"{self.name} is a whole number from {low} to {high}, not {quoted(text)}.",
                    field=self.name,
                    expected=f"{low} to {high}",
                )
            return int(text)
        return clean(text, self.name, self.shape.get("maxLength", 200))


def query(params: tuple[Param, ...]) -> dict[str, Any]:
    """What the address asks, by name; what it leaves out is not there. Raises Nonsense for anything it does not take."""
    takes = {one.name: one for one in params}
    found: dict[str, Any] = {}
    for name in request.args:
        if name not in takes:
            raise Nonsense(
                f"{quoted(name)} is no question here.",
                field=name,
                expected=", ".join(takes) or "nothing after the ?",
            )
        values = request.args.getlist(name)
        if len(values) > 1:
            raise Nonsense(f"{name} is asked {len(values)} times; keep one.", field=name)
        if values[0] != "" or takes[name].shape["type"] != "string" or "enum" in takes[name].shape:
            found[name] = takes[name].read(values[0])
    lacking = next((one for one in params if one.needed and not found.get(one.name)), None)
    if lacking:
        raise Nonsense(
            f"{lacking.name} is missing: {lacking.words[0].lower()}{lacking.words[1:]}.",
            field=lacking.name,
            expected=lacking.words,
        )
    return found
