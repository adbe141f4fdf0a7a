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
_NAMES = {"badge": "M. Example", "line sign": "line 1"}
_LONG = "Northvale Harbor and Quarry Tire Filling Works of the Upper Valley, Yard 17, Gate B, behind the old weighbridge"
_UNBROKEN = "RX30-2231-0000417-NORTHVALE-HARBOR-7733-ABCDEFGHIJKLMNOPQRSTUVWXYZ-0123456789"
_TEXTS = ("system", "lot", "supplier", "customer", "size", "serial", "line", "name", "note", "made_of")
_KNOWN_LATER = ("move_from", "load_from", "weight", "pressure", "filled_at", "use_by", "net_weight", "note")

#: What a face may be tried with: the sample, and values that are hard to print.
VALUES: Mapping[str, Mapping[str, str]] = {
    "sample": SAMPLE,
    "longest": {
        **SAMPLE, **dict.fromkeys(_TEXTS, _LONG), "lot": _UNBROKEN, "serial": _UNBROKEN, "net_weight": "1 000 000.5 kg (2 204 623.5 lb)",
        "weight": "12 345.5 kg (27 217 lb)", "pressure": "1034.2 kPa (150.0 psi), read with the flow stopped",
        "mix": "100 % in the main mix, 40 % in the top-up",
    },
    "accents": {
        **SAMPLE, "supplier": "Győri Vegyiművek és Fűrésztelep", "customer": "Łódzka Kopalnia Żwiru", "name": "Ångström Çağlayan",
        "lot": "ÄÖÜ-ßẞ-Œ-2231", "system": "Полиол 30", "note": "Ελληνικά, 日本語, ①", "line": "línea nº 1", "made_of": "Reste früherer Bündel",
    },
    "right to left": {
        **SAMPLE, "supplier": "مصنع البولي يوريثان", "customer": "מחצבה תשע 9", "name": "الغرفة الدافئة", "lot": "دفعة A-2231",
        "note": "חדר חם", "line": "الخط 1",
    },
    "not known yet": {name: value for name, value in SAMPLE.items() if name not in _KNOWN_LATER},
}  # fmt: skip


def png(pdf: bytes, page: int = 0, dpi: int = 203, greys: int = 256, shrink: int = 1) -> bytes:
    """Page *page* (from 0) of *pdf* as a grey PNG of so many greys, its sides divided by *shrink*. Raises Nonsense for bytes that are no PDF, or a page it lacks."""
    from PIL.Image import Dither

    out = io.BytesIO()
    picture = rendering.page(pdf, page, dpi)
    if shrink > 1:
        picture = picture.resize((picture.width // shrink, picture.height // shrink))
    if greys < 256:
        picture = picture.quantize(greys) if greys > 2 else picture.convert("1", dither=Dither.NONE)
    # Packed as tightly as can be it takes seven times as long, for one byte in fifteen
    picture.save(out, "PNG")
    return out.getvalue()


def face_png(
    label: str, size: str = USUAL, facts: Sequence[str] = (), words: Mapping[str, str] | None = None, logo: bytes = b"", *,
    host: str = "FILLBOOK.LOCAL", values: Mapping[str, str] = SAMPLE, dpi: int = 203, page: int = 0, greys: int = 256,
    shrink: int = 1, language: str = "en",
) -> tuple[bytes, list[str]]:  # fmt: skip
    """What a face would look like: its front (or another *page*) as a PNG, and what whoever sets it up should know (words cut
    short, …).

    *values* by fact; the sample's unless given. Raises Nonsense for what cannot be had, in the words shown beside the form.
    """
    shown = sample_label(label, size, facts, words, logo, host=host, values=values, language=language)
    return png(pdf.make_pdf([shown], dpi), page, dpi, greys, shrink), layout.notes([shown])


def sample_label(
    label: str, size: str = USUAL, facts: Sequence[str] = (), words: Mapping[str, str] | None = None, logo: bytes = b"", *,
    host: str = "FILLBOOK.LOCAL", values: Mapping[str, str] = SAMPLE, language: str = "en",
) -> Label:  # fmt: skip
    """A label of an invented item with these *values*, its words in *language*. Raises Nonsense for a face that cannot be had."""
    face = own_face(label, size, facts, words, logo)
    if values.get("name") == SAMPLE["name"]:
        values = {**values, "name": _NAMES.get(label, SAMPLE["name"])}
    item = ids.mint("BH", LABELS[label].letter, 2026, ids.next_serial("BH", LABELS[label].letter, 2026, 416))
    return Label(
        label, item, host, {name: value for name, value in values.items() if name in FACTS}, face, language
    )
