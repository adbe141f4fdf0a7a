"""What was refused, with the field named as the page names it: the verbs say their own names, which programs and commands use."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TypeVar

from fillbook.trace.core.errors import ShopError
from fillbook.trace.web import wording
from fillbook.trace.web.languages import choice
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Ask, Field, fields_of

Trouble = TypeVar("Trouble", bound=ShopError)


#: What an act says beside its verb's own fields.
BESIDE = ("at", "who", "signed_by", "override")


def in_captions(trouble: Trouble, *verbs: str) -> Trouble:
    """*trouble* of a form that asks the fields of *verbs*: where its sentence begins with a field's name, it begins with the caption."""
    field = (trouble.field or "").removeprefix("fields.")
    row = re.match(r"\w+\[\d+\]\.", field)
    name = re.sub(r"\[\d+\]$", "", field[row.end() :] if row else field)
    caption = next((found for verb in verbs if (found := _caption(verb, name))), None)
    if caption is None:
        return trouble
    prefix = row[0] if row else ""
    for begins in (prefix + (trouble.expected or ""), f"fields.{field}", field):
        rest = trouble.words.removeprefix(begins)
        if begins and rest != trouble.words and rest[:1] in (" ", ":"):
            trouble.words = f'"{choice.in_words(caption)}"{rest}'
            break
    return trouble


def _caption(verb: str, name: str) -> str | None:
    if name in BESIDE:
        return wording.caption(verb, name)
    known = (one.name for one in _every(registry.find(verb).ask) if name in (one.name, *one.accepts))
    return next((wording.caption(verb, one) for one in known), None)


def _every(model: type[Ask]) -> Iterator[Field]:
    for one in fields_of(model):
        yield one
        if one.sub is not None:
            yield from fields_of(one.sub)
