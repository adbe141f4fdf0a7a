"""Labels on sheets: the grid lies where it should, symbols read where they lie, and nothing falls off."""

import pypdfium2
import pytest

from fillbook.labels import proof, sheets
from fillbook.labels.layout import face_of
from fillbook.labels.parts import MM_PER_INCH, POINTS_PER_MM
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense


# Letter is 8.5 x 11 in (ANSI/ASME Y14.1), A4 210 x 297 mm (ISO 216).
@pytest.mark.parametrize(("paper", "size"), [("letter", (8.5 * 25.4, 11 * 25.4)), ("a4", (210, 297))])
def test_a_sheet_is_of_the_papers_size(paper, size, a_label):
    made = sheets.make_sheets([a_label("tote label")], sheets.sheet(f"{paper}:2x3"))
    document = pypdfium2.PdfDocument(made)
    found = [points / POINTS_PER_MM for points in document[0].get_size()]
    assert found == pytest.approx(size, abs=0.09)  # a dot of a 300 dpi printer
    document.close()


def test_the_grid_fills_the_paper_between_its_margins():
    one = sheets.sheet("letter:3x8,margins=4.8x12.7,gaps=3x0")
    wide, high = one.cell
    assert 3 * wide + 2 * 3 + 2 * 4.8 == pytest.approx(215.9)
    assert 8 * high + 2 * 12.7 == pytest.approx(279.4)
    assert one.corner(0) == (4.8, 12.7)
    assert one.corner(4) == pytest.approx((4.8 + wide + 3, 12.7 + high))


@pytest.mark.parametrize(
    "text",
    ["letter:3x8", "a4:2x7", "letter:2x5,margins=4x12.7,gaps=5x0", "a4:1x1", "letter:4x10,margins=4x8"],
)
def test_every_label_lies_in_its_own_place_and_reads(text, many_ids):
    from fillbook.labels.faces import Label, face_for

    labels = [Label(face_for(one).name, one, "FILLBOOK.LOCAL", {"side": "B"}) for one in many_ids]
    onto = sheets.sheet(text)
    dpi = sheets.OFFICE_DPI
    arranged = sheets.arranged(labels, onto, start=onto.places)
    assert len(arranged[0]) == 1  # the last place of a sheet that was begun
    for sheet in arranged:
        taken = []
        for placed in sheet:
            face = face_of(placed.label)
            wide, high = (round(mm * dpi / MM_PER_INCH) for mm in onto.cell)
            assert placed.page.width <= wide + 1 and placed.page.height <= high + 1, face.name
            taken.append(
                (placed.left, placed.top, placed.left + placed.page.width, placed.top + placed.page.height)
            )
        for n, one in enumerate(taken):
            for other in taken[n + 1 :]:
                assert (
                    one[2] <= other[0] + 1
                    or other[2] <= one[0] + 1
                    or one[3] <= other[1] + 1
                    or other[3] <= one[1] + 1
                )
    made = sheets.make_sheets(labels, onto, start=onto.places)
    found = {ids.read(said) for page in proof.read_back(made, dpi) for said in page}
    assert found == set(many_ids)


def test_the_start_leaves_used_places_blank(a_label):
    onto = sheets.sheet("letter:3x8")
    (placed,) = sheets.arranged([a_label("tote label")], onto, start=5)[0]
    left, top = onto.corner(4)
    assert placed.left * MM_PER_INCH / sheets.OFFICE_DPI >= left - 0.1
    assert placed.top * MM_PER_INCH / sheets.OFFICE_DPI >= top - 0.1


def test_a_label_keeps_its_face_where_it_fits(a_label):
    assert face_of(sheets.fitted(a_label("tote label"), sheets.sheet("a4:1x2"))).name == "tote label"
    assert (
        face_of(sheets.fitted(a_label("tote label"), sheets.sheet("letter:3x8"))).name == "tote label 2x1 in"
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("letter", "write it like"),
        ("legal:2x2", "no paper"),
        ("letter:0x3", "No face fits"),
        ("letter:9x30", "No face fits"),
        ("letter:3x8,margins=100x10", "No face fits"),
        ("letter:3x8,margins=1.2.3x4", "no number"),
        ("letter:3x8,margins=-1x4", "write it like"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(text, words):
    with pytest.raises(Nonsense, match=words) as refused:
        sheets.sheet(text)
    assert refused.value.field == "sheet"


@pytest.mark.parametrize("start", [0, 25, -3])
def test_a_start_off_the_sheet_is_refused(start, a_label):
    with pytest.raises(Nonsense, match="places 1 to 24"):
        sheets.arranged([a_label("tote label")], sheets.sheet("letter:3x8"), start=start)
