"""A label as a picture, for pages and papers on screen; printers get the PDF."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

from fillbook.labels import layout, pdf, rendering
from fillbook.labels.faces import Label, own_face
from fillbook.trace.core import ids
from fillbook.trace.core.labelling import FACTS, LABELS, USUAL

#: Values of an invented shop, to show a face with.
SAMPLE = {
    "side": "A", "system": "RX-30", "lot": "A-2231", "supplier": "Northvale Polymers", "net_weight": "1000 kg", "received": "2026-02-03",
    "use_by": "2026-08-01", "customer": "Quarry Nine", "size": "23.5-25", "serial": "4726", "mix": "40 %", "weight": "148 kg",
    "filled_at": "2026-03-04 14:10", "pressure": "60 psi", "move_from": "2026-03-05 14:10", "load_from": "2026-03-06 14:10",
    "made_of": "BH-F25-00311-A, BH-F25-00312-8", "made_at": "2026-03-02 09:40", "poured_at": "2026-03-04 13:55", "line": "line 1",
    "name": "warm room", "note": "",
}  # fmt: skip


def png(pdf: bytes, page: int = 0, dpi: int = 203) -> bytes:
    """Page *page* (from 0) of *pdf* as a grey PNG. Raises Nonsense for bytes that are no PDF, or a page it lacks."""
    out = io.BytesIO()
    rendering.page(pdf, page, dpi).save(out, "PNG", optimize=True)
    return out.getvalue()


def face_png(
    label: str, size: str = USUAL, facts: Sequence[str] = (), words: Mapping[str, str] | None = None, logo: bytes = b"", *,
    host: str = "FILLBOOK.LOCAL", values: Mapping[str, str] = SAMPLE, dpi: int = 203,
) -> tuple[bytes, list[str]]:  # fmt: skip
    """What a face would look like: its front as a PNG, and what whoever sets it up should know (words cut short, …).

    *values* by fact; the sample's unless given. Raises Nonsense for what cannot be had, in the words shown beside the form.
    """
    face = own_face(label, size, facts, words, logo)
    item = ids.mint("BH", LABELS[label].letter, 2026, ids.next_serial("BH", LABELS[label].letter, 2026, 416))
    shown = Label(label, item, host, {name: value for name, value in values.items() if name in FACTS}, face)
    return png(pdf.make_pdf([shown], dpi), 0, dpi), layout.notes([shown])
