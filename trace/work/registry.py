"""Every verb of the shop, once: the form, the command, the action line and the schema all come from here."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fillbook.trace.core.errors import UnknownItem
from fillbook.trace.work.ask import Ask, schema

if TYPE_CHECKING:
    from fillbook.trace.work.floor import Floor

ROLES = ("hand", "lead", "owner")
#: Kinds of events that no verb writes and nobody asks for: the program notes them itself.
BY_ITSELF = ("wrong PINs", "PIN changed")


@dataclass(frozen=True)
class Verb:
    """One thing that happens in the shop.

    ``do`` checks the ask against the book and returns what apply needs beside it; it writes nothing itself.
    """

    name: str
    ask: type[Ask]
    role: str
    words: str
    place: str  # the place in the shop it belongs to, for help and pages
    do: Callable[[Any, Floor], dict[str, Any] | None]
    pin: bool = False  # whether the signer's PIN is asked as well

    @property
    def command(self) -> str:
        return self.name.replace(" ", "-")


VERBS: dict[str, Verb] = {}


def verb(
    name: str, ask: type[Ask], *, role: str = "hand", place: str, pin: bool | None = None
) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Register the function below as the verb *name*.

    *pin*: whether its signer types a PIN. What takes a lead or the owner does, unless it is said otherwise; so does any override.
    """

    def register(do: Callable[..., Any]) -> Callable[..., Any]:
        words = (do.__doc__ or "").strip().split("\n")[0]
        VERBS[name] = Verb(name, ask, role, words, place, do, role != "hand" if pin is None else pin)
        return do

    return register


def find(name: str) -> Verb:
    """The verb of this name, with blanks, hyphens or underscores between its words."""
    everything()
    found = VERBS.get(" ".join(str(name).replace("-", " ").replace("_", " ").lower().split()))
    if found is None:
        raise UnknownItem(f"There is no verb {name!r}. The verbs are: {', '.join(VERBS)}.", field="verb")
    return found


MODULES = ("setup", "dock", "holds", "lines", "filling", "regrind", "zones", "sensors", "cups", "desk", "papers", "corrections",
           "shifts", "interruptions", "orders", "materials", "labelling", "weighing", "devices", "recalling")  # fmt: skip


def everything() -> dict[str, Verb]:
    """All verbs, their modules imported."""
    for name in MODULES:
        importlib.import_module(f"fillbook.trace.work.{name}")
    return VERBS


def describe(one: Verb) -> dict[str, Any]:
    """One verb for another program: its name, who may do it, and the schema of its fields."""
    return {"verb": one.name, "command": one.command, "role": one.role, "pin": one.pin, "place": one.place, "words": one.words,
            "fields": schema(one.ask)}  # fmt: skip
