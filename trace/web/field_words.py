"""What was refused, with the field named as the page names it: the verbs say their own names, which programs and commands use."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TypeVar

from fillbook.trace.core import units
from fillbook.trace.core.errors import ShopError
from fillbook.trace.web import wording
from fillbook.trace.web.inputs import unit_order
from fillbook.trace.web.languages import choice
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Ask, Field, Measure, fields_of

Trouble = TypeVar("Trouble", bound=ShopError)


#: What an act says beside its verb's own fields.
BESIDE = ("at", "who", "signed_by", "override")


def in_captions(trouble: Trouble, *verbs: str) -> Trouble:
    """*trouble* of a form that asks the fields of *verbs*: where its sentence begins with a field's name, it begins with the caption.

    Of a measure that is no number it names every unit the form takes, since one may be typed beside the number.
    """
    field = (trouble.field or "").removeprefix("fields.")
    row = re.match(r"\w+\[\d+\]\.", field)
    name = re.sub(r"\[\d+\]$", "", field[row.end() :] if row else field)
    _name_units(trouble, name, verbs)
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


def _name_units(trouble: ShopError, name: str, verbs: tuple[str, ...]) -> None:
    known = (one for verb in verbs for one in _every(registry.find(verb).ask) if name in one.accepts)
    mark = next((one.mark for one in known), None)
    unit = name.rpartition("_")[2]
    if not isinstance(mark, Measure) or unit not in units.DIMENSIONS[mark.dimension].units:
        return
    said = units.number_in(mark.dimension, [unit])
    if trouble.expected == said and trouble.words.endswith(said + "."):
        others = [one for one in unit_order(mark.dimension, us=True) if one != unit]
        trouble.expected = units.number_in(mark.dimension, [unit, *others])
        trouble.words = trouble.words.removesuffix(said + ".") + trouble.expected + "."


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
