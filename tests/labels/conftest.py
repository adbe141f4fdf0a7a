"""Labels of an invented shop, plain and hostile."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from fillbook.labels.faces import FACES, Label
from fillbook.trace.core import ids

HOST = "FILLBOOK.LOCAL"

PLAIN = {
    "side": "A",
    "system": "Northfield 60",
    "lot": "NF-A-26113",
    "supplier": "Northfield Polymers",
    "net_weight": "1000.0 kg",
    "received": "2026-02-03",
    "use_by": "2026-08-01",
    "customer": "Bay Harbor Terminal",
    "size": "23.5-25",
    "serial": "4726",
    "mix": "40 %",
    "weight": "148.0 kg",
    "filled_at": "2026-03-04 14:10",
    "pressure": "448 kPa, 65 psi",
    "move_from": "2026-03-05 14:10",
    "load_from": "2026-03-06 14:10",
    "made_of": "two reclaimed tires, rest of an earlier batch",
    "made_at": "2026-03-02 09:40",
    "poured_at": "2026-03-04 13:55",
    "line": "Line 1",
    "name": "M. Example",
}


@pytest.fixture(scope="session")
def an_id() -> Callable[[str, int], str]:
    """An ID of this kind, with the first serial from *serial* on that is given out."""

    def make(kind: str, serial: int = 417) -> str:
        return ids.mint("BH", kind, 2026, ids.next_serial("BH", kind, 2026, serial - 1))

    return make


@pytest.fixture(scope="session")
def a_label(an_id) -> Callable[..., Label]:
    """A label of this face; facts given by name replace the plain ones, None leaves one out."""

    def make(face: str, *, serial: int = 417, host: str = HOST, **facts: str | None) -> Label:
        known = {name: value for name, value in {**PLAIN, **facts}.items() if value is not None}
        return Label(face, an_id(FACES[face].kind, serial), host, known)

    return make


@pytest.fixture(scope="session")
def many_ids() -> list[str]:
    """Twenty IDs of all kinds, always the same."""
    lots = random.Random(18004)
    found = []
    for _ in range(20):
        kind = lots.choice("LGFCZUP")
        found.append(
            ids.mint("BH", kind, 2026, ids.next_serial("BH", kind, 2026, lots.randrange(1, 999_000)))
        )
    return found
