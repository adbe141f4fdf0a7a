"""What the calls answer, as models: the description of the API is made from them, and the tests hold the answers against it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Kind = Literal["tote", "regrind batch", "tire", "sample cup", "zone", "line", "person"]


class Shape(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Loose(BaseModel):
    """Further keys may come; those that stand here stay."""

    model_config = ConfigDict(extra="allow")


class Finding(Shape):
    code: str = Field(description="What kind of finding it is")
    words: str
    item: str = Field(description="The item it is about; empty where it is about the act")
    holds: bool = Field(description="Whether the item is held until a second person has looked")


class Written(Shape):
    """What a verb wrote."""

    shop: str
    seq: int = Field(description="The event's number in the shop's journal")
    ids: list[str] = Field(description="The IDs that were minted")
    findings: list[Finding]
    repeated: bool = Field(description="Whether this request had been done before and was not done again")


class Problem(Shape):
    """Problem details (RFC 9457)."""

    type: str = Field(description="Which kind of problem: an address whose page says what to do about it")
    title: str
    status: int
    detail: str = Field(description="What is wrong, why, and what to do, in one or two sentences")
    field: str | None = Field(None, description="The field at fault")
    expected: str | None = Field(None, description="What would have been taken")


class VerbDescribed(Shape):
    """One verb: who may do it, and the JSON Schema of its fields."""

    verb: str
    command: str = Field(description="Its name in an address")
    role: Literal["hand", "lead", "owner"]
    pin: bool = Field(description="Whether the signer's PIN is asked as well")
    place: str
    words: str
    fields: dict[str, Any]


class Verbs(Shape):
    verbs: list[VerbDescribed]


class ItemInList(Shape):
    id: str
    kind: Kind
    state: str
    where: str = Field(description="The zone or line it is at, by name; empty where none is")
    since: str | None = Field(description="Since when, ISO 8601 in UTC")


class Items(Shape):
    items: list[ItemInList]
    next: str | None = Field(description="Where the next page is; null on the last")


class Place(Shape):
    state: str
    where: str
    since: str


class Item(Loose):
    """One item: its facts in words and the shop's units, where it is, what holds it."""

    id: str
    kind: Kind
    shop: str
    facts: dict[str, str]
    place: Place
    holds: list[dict[str, Any]]
    findings: list[dict[str, Any]]


class Happened(Shape):
    at: str = Field(description="ISO 8601 in UTC")
    local: str = Field(description="The same in the shop's time zone")
    words: str
    seq: int
    state: str | None
    where: str
    kind: str = Field(description="The verb")


class Timeline(Shape):
    id: str
    timeline: list[Happened]
    next: str | None


class Trace(Loose):
    """What an item was made from by any path, and what was made from it. Grams are whole."""

    id: str
    came_from: list[dict[str, Any]]
    origins: list[dict[str, Any]]
    went_to: list[dict[str, Any]]


class Position(Shape):
    shop: str
    seq: int
    hash: str


class Recall(Loose):
    """Every tire that holds a suspect, by tier, with where it is now; and where all of the suspect's material went."""

    suspect: str
    members: list[str]
    defect: Literal["setting", "contamination"]
    threshold: float
    position: Position
    items: list[dict[str, Any]]
    traces: dict[str, Any]
    account: list[dict[str, Any]]


class Desk(Loose):
    """The release desk's answer on one tire: hours in seconds, times ISO 8601 in UTC."""

    id: str
    as_of: str | None
    verdict: str
    ok: bool
    words: list[str]


class Rack(Loose):
    """One tire on the racks. Without a clock where its fill was not entered yet."""

    id: str
    state: str
    where: str
    since: str
    customer: str
    size: str
    clock: Desk | None


class Racks(Shape):
    racks: list[Rack]


class Limit(Loose):
    name: str
    value: int
    source: str
    why: str


class Limits(Shape):
    limits: list[Limit]


class Event(Shape):
    """One event as it stands in the journal. Its hash is the SHA-256 of its canonical text, which the media type application/x-ndjson gives."""

    seq: int
    hash: str
    event: dict[str, Any]


class Events(Shape):
    events: list[Event]
    next: str | None


class Here(Shape):
    """What the token is worth, and how far the journal reaches."""

    device: str
    role: Literal["hand", "lead", "owner"]
    shop: str
    name: str
    timezone: str
    units: Literal["us", "metric"]
    now: str
    position: Position
