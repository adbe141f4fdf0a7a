"""What a shop may choose about its labels: which label, of which size, with which facts and words.

The looks themselves are drawn elsewhere; here stands what can be asked for, so that an act can be checked without drawing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

#: Every fact a label may carry: its name, and the caption printed above it.
FACTS = {
    "side": "side",
    "system": "system",
    "lot": "lot",
    "supplier": "supplier",
    "net_weight": "net weight",
    "received": "received",
    "use_by": "use by",
    "customer": "customer",
    "size": "size",
    "serial": "tire serial",
    "mix": "regrind in the mix",
    "weight": "weight of fill",
    "filled_at": "filled at",
    "pressure": "pressure",
    "move_from": "may be moved and mounted",
    "load_from": "may work under load",
    "made_of": "made of",
    "made_at": "ground at",
    "poured_at": "poured at",
    "line": "line",
    "name": "name",
    "note": "note",
}

SUBSTANCES = ("isocyanate", "polyol")


class LabelKind(NamedTuple):
    """One kind of label: the letter of the IDs it is for, the facts it prints unless the shop chooses others, and those it can."""

    letter: str
    facts: tuple[str, ...]
    more: tuple[str, ...] = ("note",)


#: The labels by name. A fact further to the left matters more: a smaller size drops those at the end.
LABELS: Mapping[str, LabelKind] = {
    "tote label": LabelKind("L", ("lot", "supplier", "net_weight", "use_by", "received", "system")),
    "batch label": LabelKind("G", ("weight", "made_at", "made_of")),
    "tire tag": LabelKind(
        "F",
        ("move_from", "load_from", "customer", "size", "serial", "mix", "weight", "pressure", "filled_at"),
    ),
    "cup label": LabelKind("C", ("poured_at", "line")),
    "zone sign": LabelKind("Z", ("name",)),
    "line sign": LabelKind("U", ("name",)),
    "badge": LabelKind("P", ("name",)),
}


class Size(NamedTuple):
    """A size of label stock: width and height in millimetres, and how many facts find room (besides a tote's side)."""

    width: float
    height: float
    room: int


_INCH = 25.4
#: Sizes every label comes in, besides its own usual one. Inch stock and the metric stock sold beside it.
SIZES: Mapping[str, Size] = {
    "2x1 in": Size(2 * _INCH, _INCH, 1),
    "3x2 in": Size(3 * _INCH, 2 * _INCH, 4),
    "4x6 in": Size(4 * _INCH, 6 * _INCH, 9),
    "50x25 mm": Size(50, 25, 1),
    "75x50 mm": Size(75, 50, 4),
    "100x150 mm": Size(100, 150, 9),
}
USUAL = "usual"
#: How many facts the usual face has places for; a tire tag's stay where they are, as its two dates must.
USUAL_ROOM = {
    "tote label": 5,
    "batch label": 3,
    "cup label": 2,
    "zone sign": 1,
    "line sign": 1,
    "badge": 1,
    "tire tag": 0,
}
DPIS = (203, 300, 600)  # dots to the inch of the label printers in use; *common practice*
LARGEST_LOGO = 1_000_000  # bytes


def check_face(label: str, size: str, facts: Sequence[str], words: Mapping[str, str]) -> None:
    """Raise Nonsense for a label, size, fact or word that cannot be had, saying which can.

    *facts* are names of `FACTS`, none: the label's own. *words* are second-language words by fact or substance.
    """
    if label not in LABELS:
        raise Nonsense(
            f"{quoted(label)} is no label we print: take one of {', '.join(LABELS)}.", field="face"
        )
    if size != USUAL and size not in SIZES:
        raise Nonsense(
            f"No face fits the size {quoted(size)}: take {USUAL} or one of {', '.join(SIZES)}, the next smaller one if need be.",
            field="size",
        )
    kind = LABELS[label]
    may = (*kind.facts, *kind.more)
    for name in facts:
        if name not in may:
            raise Nonsense(f"A {label} has no fact {quoted(name)}: take of {', '.join(may)}.", field="facts")
    if len(set(facts)) != len(facts):
        raise Nonsense("A fact is named twice: name each once.", field="facts")
    room = USUAL_ROOM[label] if size == USUAL else SIZES[size].room
    if facts and not room:
        raise Nonsense(
            f"The usual {label} keeps its facts where they are; choose a size such as 4x6 in to choose facts.",
            field="size",
        )
    if len(facts) > room:
        raise Nonsense(
            f"{len(facts)} facts are {len(facts) - room} too many for the {size} {label}, which has room for {room}: "
            "leave some out or take a larger label.",
            field="facts",
        )
    for name, word in words.items():
        if name not in FACTS and name not in SUBSTANCES:
            raise Nonsense(
                f"{quoted(name)} is no fact to give a second word to: take of {', '.join((*FACTS, *SUBSTANCES))}.",
                field="words",
            )
        if not word or len(word) > 40:
            raise Nonsense(
                f"The second word for {name} is empty or longer than 40 characters.", field="words"
            )


def check_logo(label: str, size: str) -> None:
    """Raise Nonsense where a label of this size has no room for a logo."""
    if size == USUAL or SIZES[size].room < 4:
        raise Nonsense(
            f"A {label} of the size {size} has no room for a logo: take 3x2 in or larger.", field="logo"
        )


def words_of(said: Sequence[str]) -> dict[str, str]:
    """``["lot=lote"]`` as a table. Raises Nonsense for one that is not written so."""
    found: dict[str, str] = {}
    for one in said:
        name, equals, word = one.partition("=")
        if not equals:
            raise Nonsense(
                f"{quoted(one)} is not a fact and its word: write it like lot=lote.", field="words"
            )
        found[name.strip().replace(" ", "_")] = word.strip()
    return found
