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
_WHILE_IT_CURES = f"While it cures, the tire is warm inside and under pressure. {_RATINGS_FIRST}"
_TIE = "Tie through a wheel hole, away from valve and vent."


def _head(left: float, top: float, width: float) -> tuple[Part, ...]:
    """The ID in two steps, site, kind and year above, serial and check as large as they go; 20.7 mm high."""
    return (
        Words(Box(left, top, width, 5.8), "{head}", most=17, least=8, bold=True, capitals=True),
        Words(Box(left, top + 6.2, width, 14.5), "{tail}", most=43, least=20, bold=True, capitals=True),
    )


# Dark modules begin at the margin of 4 mm: the quiet zones around them reach into it.
_BARS_AND_ID = (
    Bars(0.25, 62.4, 9, dots=3),
    Words(Box(4, 71.8, 54, 3.2), "{id}", most=7.5, bold=True),
)

_TOTE = (
    *_head(4, 3.6, 66),
    Qr(72.8, 0.6, dots=6),
    Side(Box(4, 28.6, 93.6, 11)),
    Fact(Box(4, 42.4, 44, 8.2), "lot", most=13),
    Fact(Box(50, 42.4, 47.6, 8.2), "supplier", most=13),
    Fact(Box(4, 52.6, 29, 7.4), "net_weight"),
    Fact(Box(36, 52.6, 29, 7.4), "received"),
    Fact(Box(68, 52.6, 29.6, 7.4), "use_by"),
    *_BARS_AND_ID,
    Words(Box(68, 65, 29.6, 9.4), _HAZARD_FIRST, most=6.5, least=6, lines=3),
)

_BATCH = (
    *_head(4, 3.6, 66),
    Qr(72.8, 0.6, dots=6),
    Words(Box(4, 28.6, 93.6, 9), "regrind", most=20, bold=True),
    Fact(Box(4, 40.6, 93.6, 10.2), "made_of", most=11, lines=2),
    Fact(Box(4, 52.6, 29, 7.4), "weight", caption="net weight"),
    Fact(Box(36, 52.6, 61.6, 7.4), "made_at"),
    *_BARS_AND_ID,
    Words(Box(68, 65, 29.6, 9.4), "Keep dry, covered and as warm as the room.", most=6.5, least=6, lines=3),
)

# Long and low: a cup is small, and its label goes round it.
_CUP = (
    Qr(0, 3.4, dots=4),
    Words(Box(21.1, 3, 52.4, 6.6), "{id}", most=19, least=12, bold=True, capitals=True),
    Fact(Box(21.1, 10.4, 26, 6.6), "poured_at", most=8.5, least=6),
    Fact(Box(49, 10.4, 24.5, 6.6), "line", most=8.5, least=6),
    Bars(18.6, 18.2, 5.4, dots=2),
)


def _sign(place: str, says: str) -> tuple[Part, ...]:
    """For the wall: what place this is, in large letters, and its symbols to scan from arm's length."""
    return (
        Fact(Box(4, 4, 93.6, 24), "name", most=40, least=14, lines=2, caption=place, caption_size=9),
        Qr(0.5, 29.6, dots=7),
        Words(Box(36, 33.4, 61.6, 8.2), "{id}", most=24, least=12, bold=True, capitals=True),
        Words(Box(36, 45, 61.6, 10), says, most=9, least=7, lines=2),
        *_BARS_AND_ID,
    )


_BADGE = (
    Fact(Box(4, 4, 77, 13), "name", most=24, least=10),
    Qr(1, 20, dots=6),
    Words(Box(31.5, 23, 49.5, 6.8), "{id}", most=20, least=10, bold=True, capitals=True),
    Bars(29, 33, 11.8, dots=2),
)

_TAG_FRONT = (
    Hole(38.1, 10.5, diameter=5, clear=18),
    *_head(4, 20, 68.2),
    Qr(1, 40.8, dots=6),
    Fact(Box(33, 43.2, 39.2, 10.8), "customer", most=11, lines=2),
    Fact(Box(33, 55.8, 39.2, 9.8), "size", most=14),
    Fact(Box(4, 69.2, 68.2, 12.4), "move_from", most=17, caption_size=8.5),
    Fact(Box(4, 84.2, 68.2, 12.4), "load_from", most=17, caption_size=8.5),
    Bars(0.25, 99.6, 9.6, dots=3),
    Words(Box(4, 109.6, 54, 3.2), "{id}", most=7.5, bold=True),
    Words(Box(4, 114.4, 68.2, 3), _RATINGS_FIRST, most=6.5, least=6),
    Rule(0, 120, 76.2, dashed=True),
    Words(Box(4, 124, 50, 5.1), "{head}", most=15, least=8, bold=True, capitals=True),
    Words(Box(4, 129.8, 50, 10.4), "{tail}", most=31, least=14, bold=True, capitals=True),
    Fact(Box(4, 140.4, 23, 9), "weight", most=10),
    Fact(Box(31, 140.4, 23, 9), "pressure", most=10),
    Qr(55.7, 121.8, dots=4),
    Words(Box(57.7, 140.4, 14.5, 6), "for the day's sheet", most=6.5, least=6, lines=2),
)

_TAG_BACK = (
    Hole(38.1, 10.5, diameter=5, clear=18),
    Words(Box(4, 3, 24, 9), _TIE, most=6.5, least=6, lines=3),
    *_head(4, 20, 68.2),
    Fact(Box(4, 42.8, 68.2, 9), "customer", most=13),
    Fact(Box(4, 54, 32.6, 9), "size", most=12),
    Fact(Box(39.6, 54, 32.6, 9), "serial", most=12),
    Fact(Box(4, 65.2, 32.6, 9), "mix", most=12),
    Fact(Box(39.6, 65.2, 32.6, 9), "weight", most=12),
    Fact(Box(4, 76.4, 32.6, 9), "filled_at", most=10),
    Fact(Box(39.6, 76.4, 32.6, 9), "pressure", most=10),
    Qr(1, 87, dots=6),
    Words(Box(33, 89.6, 39.2, 24), _WHILE_IT_CURES, most=8, least=6, lines=6),
    Rule(0, 120, 76.2, dashed=True),
    Words(Box(4, 124, 68.2, 5.1), "{id}", most=15, least=8, bold=True, capitals=True),
    Fact(Box(4, 133, 68.2, 14), "note"),
)

#: The faces by name. Widths and heights in millimetres: 4 x 3 in, 3 x 6 in, 3 x 1 in, and a card for a badge holder.
FACES: Mapping[str, Face] = {
    face.name: face
    for face in (
        Face("tote label", "L", 101.6, 76.2, (_TOTE,)),
        Face("batch label", "G", 101.6, 76.2, (_BATCH,)),
        Face("tire tag", "F", 76.2, 152.4, (_TAG_FRONT, _TAG_BACK)),
        Face("cup label", "C", 76.2, 25.4, (_CUP,)),
        Face(
            "zone sign",
            "Z",
            101.6,
            76.2,
            (_sign("zone", "Cure zone: scan it once, then each tire laid here."),),
        ),
        Face(
            "line sign",
            "U",
            101.6,
            76.2,
            (_sign("line", "Line: scan it, then what is hooked up or filled here."),),
        ),
        Face("badge", "P", 85.6, 54, (_BADGE,)),
    )
}


def face_for(compact: str) -> Face:
    """The face for an ID's kind. Raises Nonsense for an invalid ID."""
    kind = ids.kind_of(compact)
    return next(face for face in FACES.values() if face.kind == kind)  # a test holds that every kind has one


def face_named(name: str) -> Face:
    """The face of this name. Raises Nonsense for an unknown one."""
    if name not in FACES:
        raise Nonsense(f"{quoted(name)} is no label we print: take one of {', '.join(FACES)}.", field="face")
    return FACES[name]
