"""The faces we print, and the label someone asks for.

Sizes are those of label stock sold everywhere; boxes are in millimetres from the top left corner. Where a fact is not yet
known when the label is printed (a tire is tagged before it is filled), its box has room to write by hand.

Each label comes in a usual size, and in those of `labelling.SIZES` with the facts a shop chooses. Every face has a second QR code
at another corner and bars as high as there is room: a scuffed finder mark is what ends a QR code, so several smaller symbols
outlive one large one. `tests/bench/survival.py` shows by how much.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fillbook.labels.parts import Bars, Box, Face, Fact, Hole, Logo, Part, Qr, Rule, Side, Words
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.labelling import LABELS, SIZES, USUAL, check_face
from fillbook.trace.core.quote import quoted


@dataclass(frozen=True)
class Label:
    """One label to be drawn: which face, whose ID (as the book keeps it), the host of its address, and the facts as they are
    to be read (``{"net_weight": "1000 kg"}``, names from `parts.FACTS`; ``side`` is ``A`` or ``B``).

    A face prints the facts it has room for; one that is not given leaves a line to write on. ``own`` is the shop's own face, where
    it has one (see `own_face`). ``language`` is that of the label's own words, a code of `catalogue.LANGUAGES`. ``copy`` counts the
    prints of this item's label, this one included: from the second on it stands on the label.
    """

    face: str
    id: str
    host: str
    facts: Mapping[str, str] = field(default_factory=dict)
    own: Face | None = None
    language: str = "en"
    copy: int = 1


_HAZARD_FIRST = "The supplier's hazard label and safety data sheet come first."
_RATINGS_FIRST = "Local codes and the ratings of tire, rim and wheel come first."
_WHILE_IT_CURES = f"While it cures, the tire is warm inside and under pressure. {_RATINGS_FIRST}"
_TIE = "Tie through a wheel hole, away from valve and vent."


def _copy(left: float, top: float, width: float, align: str = "right") -> Words:
    """Which copy it is, small; nothing on a first print. 3 mm high."""
    return Words(Box(left, top, width, 3), "{copy}", most=7, bold=True, capitals=True, align=align)


def _head(left: float, top: float, width: float) -> tuple[Part, ...]:
    """The ID in two steps, site, kind and year above, serial and check as large as they go; 20.7 mm high."""
    return (
        Words(Box(left, top, width - 24, 5.8), "{head}", most=17, least=8, bold=True, capitals=True),
        _copy(left + width - 22, top, 22),
        Words(Box(left, top + 6.2, width, 14.5), "{tail}", most=43, least=20, bold=True, capitals=True),
    )


# Dark modules begin at the margin of 4 mm: the quiet zones around them reach into it.
_BARS_AND_ID = (
    Bars(0.25, 61, 10.6, dots=3),
    Words(Box(4, 72, 54, 3.2), "{id}", most=7.5, bold=True),
)
_SECOND_QR = Qr(82.4, 57, dots=4)

_TOTE = (
    *_head(4, 3.6, 66),
    Qr(72.8, 0.6, dots=6),
    Side(Box(4, 28.6, 93.6, 11)),
    Fact(Box(4, 41.4, 44, 8.2), "lot", most=13),
    Fact(Box(50, 41.4, 47.6, 8.2), "supplier", most=13),
    Fact(Box(4, 51.4, 24, 7.4), "net_weight"),
    Fact(Box(30, 51.4, 24, 7.4), "received"),
    Fact(Box(56, 51.4, 24, 7.4), "use_by"),
    *_BARS_AND_ID,
    _SECOND_QR,
    Words(Box(63, 62, 18.6, 12.8), _HAZARD_FIRST, most=6.5, least=6, lines=5),
)

_BATCH = (
    *_head(4, 3.6, 66),
    Qr(72.8, 0.6, dots=6),
    Words(Box(4, 28.6, 93.6, 9), "regrind", most=20, bold=True),
    Fact(Box(4, 39.6, 93.6, 10.2), "made_of", most=11, lines=2),
    Fact(Box(4, 51.4, 29, 7.4), "weight", caption="net weight"),
    Fact(Box(36, 51.4, 44, 7.4), "made_at"),
    *_BARS_AND_ID,
    _SECOND_QR,
    Words(Box(63, 62, 18.6, 12.8), "Keep dry, covered and as warm as the room.", most=6.5, least=6, lines=4),
)

# Long and low: a cup is small, and its label goes round it.
_CUP = (
    Qr(0.2, 0.4, dots=4),
    Words(Box(20.4, 1.6, 54, 6), "{id}", most=19, least=12, bold=True, capitals=True),
    Fact(Box(20.4, 8.4, 24, 6.6), "poured_at", most=8.5, least=6),
    Fact(Box(46, 8.4, 14.6, 6.6), "line", most=8.5, least=6),
    Bars(19.4, 16.2, 8.6, dots=2),
    _copy(61.4, 7.9, 13, "left"),
    Qr(62, 11.2, dots=3),
)


def _sign(place: str, says: str) -> tuple[Part, ...]:
    """For the wall: what place this is, in large letters, and its symbols to scan from arm's length."""
    return (
        Fact(Box(4, 4, 93.6, 24), "name", most=40, least=14, lines=2, caption=place, caption_size=9),
        Qr(0.5, 28.2, dots=7),
        Words(Box(36, 33.4, 61.6, 8.2), "{id}", most=24, least=12, bold=True, capitals=True),
        _copy(36, 41.8, 61.6, "left"),
        Words(Box(36, 45, 61.6, 10), says, most=9, least=7, lines=2),
        *_BARS_AND_ID,
        _SECOND_QR,
    )


_BADGE = (
    Fact(Box(4, 4, 66, 13), "name", most=24, least=10),
    Qr(0.4, 25.6, dots=6),
    Words(Box(31.5, 26, 49.5, 6.8), "{id}", most=20, least=10, bold=True, capitals=True),
    _copy(31.5, 32.9, 49.5, "left"),
    Bars(31, 36, 15, dots=2),
    Qr(71.3, 0.4, dots=3),
)

_TAG_FRONT = (
    Hole(38.1, 10.5, diameter=5, clear=18),
    Qr(57, 0.4, dots=4),
    *_head(4, 20, 68.2),
    Qr(1, 40.8, dots=6),
    Fact(Box(33, 43.2, 39.2, 10.8), "customer", most=11, lines=2),
    Fact(Box(33, 55.8, 39.2, 9.8), "size", most=14),
    Fact(Box(4, 69.2, 68.2, 12.4), "move_from", most=17, caption_size=8.5),
    Fact(Box(4, 84.2, 68.2, 12.4), "load_from", most=17, caption_size=8.5),
    Bars(0.25, 98.4, 11.4, dots=3),
    Words(Box(4, 110.4, 54, 3.2), "{id}", most=7.5, bold=True),
    Words(Box(4, 114.8, 68.2, 3), _RATINGS_FIRST, most=6.5, least=6),
    Rule(0, 120, 76.2, dashed=True),
    Words(Box(4, 124, 32, 5.1), "{head}", most=15, least=8, bold=True, capitals=True),
    _copy(38, 124, 16),
    Words(Box(4, 129.8, 50, 10.4), "{tail}", most=31, least=14, bold=True, capitals=True),
    Fact(Box(4, 140.4, 23, 9), "weight", most=10),
    Fact(Box(31, 140.4, 23, 9), "pressure", most=10),
    Qr(55.7, 121.2, dots=4),
    Words(Box(57.7, 140.4, 14.5, 6), "for the day's sheet", most=6.5, least=6, lines=2),
)

_TAG_BACK = (
    Hole(38.1, 10.5, diameter=5, clear=18),
    Qr(57, 0.4, dots=4),
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

_USUAL: Mapping[str, Face] = {
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

# What stands at the foot of a large label.
_SAYS = {
    "tote label": _HAZARD_FIRST,
    "tire tag": _RATINGS_FIRST,
    "batch label": "Keep dry, covered and as warm as the room.",
}
_CAPTIONS = {
    ("batch label", "weight"): "net weight",
    ("zone sign", "name"): "zone",
    ("line sign", "name"): "line",
}


def _fact(
    label: str, name: str, box: Box, most: float, least: float, caption_size: float, lines: int = 1
) -> Fact:
    return Fact(box, name, most, least, lines, _CAPTIONS.get((label, name), ""), caption_size)


def _first_row(
    label: str, facts: list[str], box: Box, most: float, least: float, caption_size: float, lines: int = 1
) -> Part:
    """The row over the whole width: a tote's side, the word *regrind*, else the first of the facts."""
    if label == "tote label":
        return Side(box, most=most, least=least)
    if label == "batch label":
        return Words(box, "regrind", most=min(most, 20), least=least, bold=True)
    return _fact(label, facts.pop(0), box, most, least, caption_size, lines)


def _small(label: str, facts: list[str]) -> tuple[Part, ...]:
    """2 x 1 in: the ID between two QR codes, one row, the bars."""
    middle = Box(14.6, 9.6, 20.8, 4.8)
    row = Box(1.2, 14.4, 47.6, 4.7)
    parts: list[Part] = [
        Qr(0.2, 0.3, dots=3),
        Qr(35.9, 0.3, dots=3),
        Words(Box(14.6, 0.9, 20.8, 3.4), "{head} {copy}", most=11, least=5, bold=True, capitals=True),
        Words(Box(14.6, 4.5, 20.8, 4.8), "{tail}", most=16, least=8, bold=True, capitals=True),
        _first_row(label, facts, row, 10, 6, 5),
        Bars(4.1, 19.2, 5.4, dots=2),
    ]
    if facts:
        parts.append(_fact(label, facts[0], middle, 9, 5, 5))
    return tuple(parts)


def _middling(label: str, facts: list[str], logo: bool) -> tuple[Part, ...]:
    """3 x 2 in: QR codes at three corners, the bars between the lower two."""
    alone = label not in ("tote label", "batch label") and len(facts) == 1
    first = Box(3, 17.4, 50.6, 10.8 if alone else 6.4)
    parts: list[Part] = [
        Words(Box(3, 1.8, 34, 4.8), "{head}", most=15, least=8, bold=True, capitals=True),
        _copy(38, 1.8, 15.6),
        Words(Box(3, 6.8, 50.6, 10.2), "{tail}", most=32, least=14, bold=True, capitals=True),
        Qr(55.9, 0.3, dots=4),
        Qr(0.2, 30.9, dots=4),
        Qr(61.1, 36, dots=3),
        Bars(19.1, 38.2, 11.4, dots=2),
        _first_row(label, facts, first, 30 if alone else 14, 6.5, 5.5),
    ]
    if logo:
        parts.append(Logo(Box(55, 19.4, 17.6, 4.4)))
    columns = 1 if len(facts) <= 2 else 2
    for n, name in enumerate(facts):
        down, across = divmod(n, columns)
        wide = 51.6 if n == len(facts) - 1 and not across else 25.2
        parts.append(
            _fact(label, name, Box(20.4 + across * 26.4, 24.2 + down * 5.9, wide, 5.5), 10, 5.5, 5.5)
        )
    return tuple(parts)


def _large(label: str, facts: list[str], logo: bool) -> tuple[Part, ...]:
    """4 x 6 in: everything large; a tag has a hole to tie it by."""
    tag = label == "tire tag"
    top = 20.0 if tag else 3.6
    parts: list[Part] = [
        Words(Box(4, top, 42, 6), "{head}", most=18, least=8, bold=True, capitals=True),
        _copy(48, top, 22),
        Words(Box(4, top + 6.6, 66, 15), "{tail}", most=46, least=20, bold=True, capitals=True),
        Qr(71.6, 0.5, dots=6),
        Qr(0.4, 121.6, dots=6),
        Bars(33, 126.2, 17.4, dots=3),
        Words(Box(37, 144.4, 54, 3.6), "{id}", most=8.5, bold=True),
    ]
    if tag:
        parts.append(Hole(36, 10, diameter=5, clear=18))
    if label in _SAYS:
        parts.append(Words(Box(33, 119.6, 63, 6), _SAYS[label], most=7, least=6, lines=2))
    top += 24.8
    # A sign: read from afar, in two lines if it must
    alone = len(facts) <= 3 and label not in ("tote label", "batch label")
    high = (24.0 if len(facts) > 1 else 38.0) if alone else 15.0
    row = Box(4, top, 62 if logo else 92, high)
    parts.append(_first_row(label, facts, row, 48 if alone else 21, 10, 8, 2 if alone else 1))
    if logo:
        parts.append(Logo(Box(69, max(top, 30), 27, 15)))
    top += high + 2.6
    columns = 1 if len(facts) <= 3 else 2
    rows = -(-len(facts) // columns)
    high = min(16.0, (117.6 - top) / max(rows, 1) - 1.6)
    for n, name in enumerate(facts):
        down, across = divmod(n, columns)
        wide = 45.0 if columns == 2 else 92.0
        box = Box(4 + across * 47, top + down * (high + 1.6), wide, high)
        parts.append(_fact(label, name, box, 17, 8, 8, lines=2))
    return tuple(parts)


def _refilled(page: tuple[Part, ...], facts: list[str]) -> tuple[Part, ...]:
    """*page* with *facts* in the places of its own, in their order; places left over stay empty."""
    made: list[Part] = []
    for part in page:
        if not isinstance(part, Fact):
            made.append(part)
        elif facts:
            name = facts.pop(0)
            made.append(replace(part, name=name, caption=part.caption if name == part.name else ""))
    return tuple(made)


def own_face(
    label: str,
    size: str = USUAL,
    facts: Sequence[str] = (),
    words: Mapping[str, str] | None = None,
    logo: bytes = b"",
) -> Face:
    """The face of *label* in *size* (of `labelling.SIZES`, or ``usual``) with these *facts* (none: its own, as many as find room),
    second-language *words* by fact or substance, and the shop's *logo* (PNG or JPEG).

    Raises Nonsense for what cannot be had.
    """
    words = dict(words or {})
    check_face(label, size, facts, words)
    if size == USUAL:
        face = replace(_USUAL[label], words=words)
        return (
            replace(face, pages=tuple(_refilled(page, list(facts)) for page in face.pages)) if facts else face
        )
    stock, kind = SIZES[size], LABELS[label]
    # The batch label's headline is a word and the tote's its side; elsewhere the first fact takes that row.
    room = stock.room + (label not in ("tote label", "batch label"))
    chosen = list(facts or kind.facts)[:room]
    made = {1: _small, 4: _middling, 9: _large}[stock.room]
    parts = made(label, chosen) if made is _small else made(label, chosen, bool(logo))
    return Face(f"{label} {size}", kind.letter, stock.width, stock.height, (parts,), words, logo)


def make_label(
    face: str, item: str, host: str, facts: Mapping[str, str], chosen: Mapping[str, Any] | None = None, language: str = "en",
    copy: int = 1,
) -> Label:  # fmt: skip
    """The label of *item* in the shop's *language*: *face* as the book names it, and what the shop chose for it, ``{"size", "facts",
    "words", "logo"}``. *copy*: how often its label was printed, this time included."""
    return Label(
        face, item, host, facts, None if chosen is None else own_face(face, **chosen), language, copy
    )


#: The faces by name: the usual ones first, then each in the other sizes.
FACES: Mapping[str, Face] = {
    **_USUAL,
    **{face.name: face for size in SIZES for face in (own_face(label, size) for label in LABELS)},
}


def face_for(compact: str) -> Face:
    """The usual face for an ID's kind. Raises Nonsense for an invalid ID."""
    kind = ids.kind_of(compact)
    return next(face for face in FACES.values() if face.kind == kind)  # a test holds that every kind has one


def face_named(name: str) -> Face:
    """The face of this name, such as ``tote label`` or ``tote label 3x2 in``. Raises Nonsense for an unknown one."""
    if name not in FACES:
        raise Nonsense(
            f"{quoted(name)} is no label we print: take one of {', '.join(_USUAL)}, alone or with a size ({', '.join(SIZES)}).",
            field="face",
        )
    return FACES[name]
