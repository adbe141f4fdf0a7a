"""The faces we print, and the label someone asks for.

Sizes are those of label stock sold everywhere; boxes are in millimetres from the top left corner. Where a fact is not yet
known when the label is printed (a tire is tagged before it is filled), its box has room to write by hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from fillbook.labels.parts import Bars, Box, Face, Fact, Hole, Part, Qr, Rule, Side, Words
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted


@dataclass(frozen=True)
class Label:
    """One label to be drawn: which face, whose ID (as the book keeps it), the host of its address, and the facts as they are
    to be read (``{"net_weight": "1000 kg"}``, names from `parts.FACTS`; ``side`` is ``A`` or ``B``).

    A face prints the facts it has room for; one that is not given leaves a line to write on.
    """

    face: str
    id: str
    host: str
    facts: Mapping[str, str] = field(default_factory=dict)


_HAZARD_FIRST = "The supplier's hazard label and safety data sheet come first."
_RATINGS_FIRST = "Local codes and the ratings of tire, rim and wheel come first."


def _head(left: float, top: float, width: float) -> tuple[Part, ...]:
    """The ID in two steps, site, kind and year above, serial and check as large as they go; 18 mm high."""
    return (
        Words(Box(left, top, width, 4.4), "{head}", most=17, least=8, bold=True, capitals=True),
        Words(Box(left, top + 6.4, width, 11.2), "{tail}", most=43, least=20, bold=True, capitals=True),
    )


_TOTE = (
    *_head(4, 4.6, 66),
    Qr(72.8, 1.6, dots=6),
    Side(Box(4, 30, 93.6, 12)),
    Fact(Box(4, 44.6, 44, 8.2), "lot", most=13),
    Fact(Box(50, 44.6, 47.6, 8.2), "supplier", most=13),
    Fact(Box(4, 53.4, 29, 7.6), "net_weight"),
    Fact(Box(36, 53.4, 29, 7.6), "received"),
    Fact(Box(68, 53.4, 29.6, 7.6), "use_by"),
    Bars(0.3, 62.2, 9, dots=3),
    Words(Box(4, 71.6, 64, 3.2), "{id}", most=7.5, bold=True),
    Words(Box(74, 62.2, 23.6, 12.6), _HAZARD_FIRST, most=6.5, least=6, lines=4),
)

_TAG_FRONT = (
    Hole(38.1, 10.5, diameter=5, clear=18),
    *_head(4, 21.6, 68.2),
    Qr(1, 41.6, dots=6),
    Fact(Box(33, 44.4, 39.2, 11), "customer", most=11, lines=2),
    Fact(Box(33, 57, 39.2, 10), "size", most=14),
    Fact(Box(4, 71.4, 68.2, 12.4), "move_from", most=16),
    Fact(Box(4, 85.4, 68.2, 12.4), "load_from", most=16),
    Bars(2.2, 100.4, 10, dots=3),
    Words(Box(6, 110.8, 64.2, 3.2), "{id}", most=7.5, bold=True, align="middle"),
    Words(Box(4, 115.2, 68.2, 3), _RATINGS_FIRST, most=6.5, least=6),
    Rule(0, 120, 76.2, dashed=True),
    Words(Box(4, 124.4, 50, 4), "{head}", most=14, least=8, bold=True, capitals=True),
    Words(Box(4, 130.2, 50, 8), "{tail}", most=31, least=14, bold=True, capitals=True),
    Fact(Box(4, 140.4, 22, 9), "weight"),
    Fact(Box(30, 140.4, 22, 9), "pressure"),
    Qr(55.6, 121.6, dots=4),
    Words(Box(55.6, 143, 18.5, 6), "for the day's sheet", most=6.5, least=6, lines=2, align="middle"),
)

_TAG_BACK = (
    Hole(38.1, 10.5, diameter=5, clear=18),
    *_head(4, 21.6, 68.2),
    Fact(Box(4, 42.6, 68.2, 9.4), "customer", most=13),
    Fact(Box(4, 53.6, 32.6, 9.4), "size", most=13),
    Fact(Box(39.6, 53.6, 32.6, 9.4), "serial", most=13),
    Fact(Box(4, 64.6, 32.6, 9.4), "mix", most=13),
    Fact(Box(39.6, 64.6, 32.6, 9.4), "weight", most=13),
    Fact(Box(4, 75.6, 32.6, 9.4), "filled_at", most=13),
    Fact(Box(39.6, 75.6, 32.6, 9.4), "pressure", most=13),
    Qr(1, 87.6, dots=6),
    Words(Box(33, 91, 39.2, 20), _RATINGS_FIRST, most=8, least=6, lines=5),
    Rule(0, 120, 76.2, dashed=True),
    Words(Box(4, 124.4, 68.2, 4), "{id}", most=14, least=8, bold=True, capitals=True),
)

FACES: Mapping[str, Face] = {
    face.name: face
    for face in (
        Face("tote label", "L", 101.6, 76.2, (_TOTE,)),
        Face("tire tag", "F", 76.2, 152.4, (_TAG_FRONT, _TAG_BACK)),
    )
}


def face_for(compact: str) -> Face:
    """The face for an ID's kind. Raises Nonsense for an invalid ID or a kind without a face."""
    kind = ids.kind_of(compact)
    for face in FACES.values():
        if face.kind == kind:
            return face
    raise Nonsense(f"There is no label for a {ids.KINDS[kind]} yet.")


def face_named(name: str) -> Face:
    """The face of this name. Raises Nonsense for an unknown one."""
    if name not in FACES:
        raise Nonsense(f"{quoted(name)} is no label we print: take one of {', '.join(FACES)}.", field="face")
    return FACES[name]
