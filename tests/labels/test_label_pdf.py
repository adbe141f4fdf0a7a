"""The PDF: exactly the label's size, equal bytes, whole printer dots, and nothing overlapping however long the words."""

from itertools import combinations

import numpy
import pypdfium2
import pytest

from fillbook.labels import layout, preview, rendering, scripts
from fillbook.labels.faces import FACES, Label
from fillbook.labels.parts import FACTS, MM_PER_DOT, POINTS_PER_MM, Box, module_dots
from fillbook.labels.pdf import make_pdf
from fillbook.labels.symbols import code128, qr
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

HOSTILE = {
    "long": "A warehouse with a name that goes on and on, and then some more, until no label could ever hold it "
    * 3,
    "one word": "W" * 300,
    "narrow": "i" * 600,
    "accents": "ÅÇÉÑÖŠŽğıŞŁ gjpqy|()[]{}_" * 4,
    "tall and deep": "Å",
    "right to left": "שלום עולם (12) מפעל הצמיגים " * 9,
    "arabic": "مصنع الإطارات الشمالي رقم 47، الرصيف 3 " * 9,
    "cyrillic": "Шиномонтажная мастерская «Щёлково», Ђурђевдан " * 6,
    "mixed": "Łódź שלום Москва 東京 مرحبا (A-12) " * 8,
    "strange": "日本\x00\u202e\n\t🛞①<b>&amp;%s{id}",
}


def hostile(face: str, words: str, an_id) -> Label:
    facts = {name: words for name in FACTS if name != "side"}
    return Label(face, an_id(FACES[face].kind, 123_456), "A-LONG-NAME.EXAMPLE:65535", {**facts, "side": "B"})


def overlapping(page: layout.Page) -> list[str]:
    """Pairs of things on the page that lie over each other; the big letter in its square belongs there."""
    things = [(line.says, line.extent) for line in page.lines if line.says not in ("A", "B")]
    things += [
        (
            f"{s.kind} {n}",
            Box(s.left * MM_PER_DOT, s.top * MM_PER_DOT, s.width * MM_PER_DOT, s.height * MM_PER_DOT),
        )
        for n, s in enumerate(page.symbols)
    ]
    things += [("block", box) for box in page.blocks]
    things += [("frame", box) for box, _ in page.frames]
    things += [("tear line", box) for box in page.dashes]
    things += [("hole", Box(x - d / 2, y - d / 2, d, d)) for x, y, d in page.rings]
    return [f"{a} / {b}" for (a, one), (b, other) in combinations(things, 2) if one.overlaps(other)]


def widened(line: layout.Line) -> Box:
    """Outlines of letters like J, K or í reach up to 0.06 em over their advance; that much lies between all our boxes."""
    hair, box = 0.06 * line.size / POINTS_PER_MM, line.extent
    return Box(box.left - hair, box.top, box.width + 2 * hair, box.height)


@pytest.mark.parametrize("words", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("face", FACES)
def test_nothing_overlaps_or_runs_off_however_long_the_words(face, words, an_id):
    for page in layout.pages(hostile(face, words, an_id)):
        whole = Box(0, 0, page.width * MM_PER_DOT, page.height * MM_PER_DOT)
        assert overlapping(page) == []
        for line in page.lines:
            assert whole.holds(line.extent), line.says
        for symbol in page.symbols:
            assert symbol.left >= 0 and symbol.left + symbol.width <= page.width
            assert symbol.top >= 0 and symbol.top + symbol.height <= page.height


@pytest.mark.parametrize(
    "words",
    [
        HOSTILE[name]
        for name in ("accents", "strange", "tall and deep", "right to left", "arabic", "cyrillic")
    ],
    ids=["accents", "strange", "tall", "hebrew", "arabic", "cyrillic"],
)
@pytest.mark.parametrize("face", ["tote label", "tire tag", "batch label 4x6 in"])
def test_the_renderer_finds_every_letter_inside_the_line_it_was_counted_in(face, words, an_id):
    """The letters' own outlines, as PDFium measures them, against the extents the layout reckons with."""
    label = hostile(face, words, an_id)
    document = pypdfium2.PdfDocument(make_pdf([label]))
    for number, page in enumerate(layout.pages(label)):
        text = document[number].get_textpage()
        high = document[number].get_height()
        letters = 0
        for at in range(text.count_chars()):
            if not text.get_text_range(at, 1).strip():
                continue
            left, bottom, right, top = (v / POINTS_PER_MM for v in text.get_charbox(at))
            box = Box(left, high / POINTS_PER_MM - top, right - left, top - bottom)
            assert any(widened(line).holds(box) for line in page.lines), text.get_text_range(at, 1)
            letters += 1
        said = "".join(line.says.replace(" ", "") for line in page.lines)
        if scripts.right_to_left(
            words
        ):  # the renderer tells a lam-alef as two letters, and adds marks of direction
            assert letters >= len(said)
        else:
            assert letters == len(said)
    document.close()


def test_the_words_can_be_searched_for_in_the_pdf(a_label):
    document = pypdfium2.PdfDocument(make_pdf([a_label("tote label", supplier="Łódź Søn & Co")]))
    said = document[0].get_textpage().get_text_range()
    for words in ("BH-L26-00417-", "side A · isocyanate", "hazard", "2026-08-01"):
        assert words in said
    document.close()


@pytest.mark.parametrize("face", FACES.values(), ids=lambda face: face.name)
def test_a_page_is_exactly_the_label(face, a_label):
    document = pypdfium2.PdfDocument(make_pdf([a_label(face.name)]))
    assert len(document) == len(face.pages)
    for page in document:
        wide, high = (points / POINTS_PER_MM for points in page.get_size())
        assert abs(wide - face.width) < 0.07 and abs(high - face.height) < 0.07  # half a dot
    document.close()


def test_the_same_labels_are_the_same_bytes(a_label):
    labels = [a_label("tote label"), a_label("tire tag")]
    assert make_pdf(labels) == make_pdf(labels)
    assert make_pdf(labels) != make_pdf([a_label("tote label", lot="other"), a_label("tire tag")])


def pure(grey: numpy.ndarray) -> bool:
    """Nothing half dark; six grey steps of 255 are the renderer's rounding."""
    return bool(((grey <= 6) | (grey >= 249)).all())


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize(
    "face", ["tote label", "tire tag", "tote label 2x1 in", "tote label 3x2 in", "tire tag 100x150 mm"]
)
def test_modules_are_whole_dots_of_the_printer(face, dpi, a_label):
    """Rendered at the printer's dots to the inch, each module of every symbol is purely dark or purely light and where it
    should be, and the quiet zones of ISO/IEC 18004 (4 modules) and ISO/IEC 15417 (10) are light."""
    label = a_label(face)
    made = make_pdf([label], dpi)
    for number, page in enumerate(layout.pages(label, dpi)):
        grey = numpy.array(rendering.page(made, number, dpi))
        for one in page.symbols:
            cut = grey[one.top : one.top + one.height, one.left : one.left + one.width]
            assert pure(cut)
            if one.kind == layout.QR:
                dots, rest = divmod(one.width, 37)  # 29 modules and 4 of quiet zone on either side
                assert rest == 0
                dark = cut[dots // 2 :: dots, dots // 2 :: dots] < 128
                assert (dark[4:-4, 4:-4] == numpy.array(qr(ids.address(label.host, label.id)).rows)).all()
                assert (
                    not dark[:4].any()
                    and not dark[-4:].any()
                    and not dark[:, :4].any()
                    and not dark[:, -4:].any()
                )
            else:
                code = code128(label.id)
                dots, rest = divmod(one.width, code.modules + 20)
                assert rest == 0
                row = cut[one.height // 2]
                assert (row < 128).sum() == dots * sum(code.widths[::2])
                assert (row[: 10 * dots] > 128).all() and (row[-10 * dots :] > 128).all()


@pytest.mark.parametrize(
    ("dots", "dpi", "whole"), [(2, 300, 3), (3, 300, 4), (6, 300, 8), (2, 600, 6), (4, 203, 4), (6, 600, 17)]
)
def test_a_module_is_the_nearest_whole_dots_that_still_fit(dots, dpi, whole):
    assert module_dots(dots, dpi) == whole


def test_every_letter_is_embedded(a_label):
    """A printer's own letters would be of other widths than those reckoned with."""
    pdf = make_pdf([a_label("tire tag")])
    document = pypdfium2.PdfDocument(pdf)
    fonts = [
        piece.get_font()
        for page in document
        for piece in page.get_objects()
        if isinstance(piece, pypdfium2.PdfTextObj)
    ]
    assert {font.get_base_name().split("+")[-1] for font in fonts} == {
        "BitstreamVeraSans-Roman",
        "BitstreamVeraSans-Bold",
    }
    assert all(font.is_embedded for font in fonts)
    assert b"Helvetica" not in pdf
    document.close()


def test_no_label_at_all_is_refused():
    with pytest.raises(Nonsense, match="no label to print"):
        make_pdf([])


def test_a_too_long_host_is_refused_by_the_label(a_label):
    with pytest.raises(Nonsense, match="2 characters too long"):
        make_pdf([a_label("tote label", host="H" * 42)])


def test_a_preview_is_a_picture_of_one_page(a_label):
    png = preview.png(make_pdf([a_label("tire tag")]), page=1, dpi=100)
    assert png.startswith(b"\x89PNG")
    with pytest.raises(Nonsense, match="no page 3"):
        preview.png(make_pdf([a_label("tire tag")]), page=2)
    with pytest.raises(Nonsense, match="no PDF"):
        preview.png(b"%PDF-nothing")
