"""A shop's own faces: whatever is chosen, nothing overlaps, and what cannot be had is refused in a sentence."""

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from fillbook.labels import layout, logos, preview, proof
from fillbook.labels.faces import Label, own_face
from fillbook.labels.parts import Fact, faults
from fillbook.labels.pdf import make_pdf
from fillbook.trace.core import labelling
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.labelling import LABELS, SIZES


def a_logo(size=(300, 120), kind="PNG") -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, (20, 20, 90)).save(out, kind)
    return out.getvalue()


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_whatever_a_shop_chooses_nothing_overlaps(data):
    label, size = (
        data.draw(st.sampled_from(sorted(LABELS))),
        data.draw(st.sampled_from(["usual", *sorted(SIZES)])),
    )
    may = [*LABELS[label].facts, *LABELS[label].more]
    facts = data.draw(
        st.lists(
            st.sampled_from(may),
            unique=True,
            max_size=labelling.USUAL_ROOM[label] if size == "usual" else SIZES[size].room,
        )
    )
    face = own_face(label, size, facts, {}, data.draw(st.sampled_from([b"", b"a logo"])))
    assert faults(face) == []
    shown = [part.name for page in face.pages for part in page if isinstance(part, Fact)]
    assert sorted(shown) == sorted(facts) if facts else len(shown) >= 1 or label == "tote label"


@pytest.mark.parametrize(
    ("inches", "metric"), [("2x1 in", "50x25 mm"), ("3x2 in", "75x50 mm"), ("4x6 in", "100x150 mm")]
)
def test_metric_stock_carries_the_same_as_inch_stock(inches, metric):
    for label in LABELS:
        one, other = own_face(label, inches), own_face(label, metric)
        assert one.pages == other.pages
        assert (SIZES[inches].width, SIZES[inches].height) >= (other.width, other.height)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"label": "poster"}, "no label we print"),
        ({"label": "tote label", "size": "9x9 in"}, "No face fits the size"),
        ({"label": "tote label", "size": "3x2 in", "facts": ["pressure"]}, "has no fact"),
        ({"label": "tote label", "size": "3x2 in", "facts": ["lot", "lot"]}, "twice"),
        ({"label": "tire tag", "size": "2x1 in", "facts": ["size", "serial"]}, "1 too many"),
        ({"label": "tire tag", "facts": ["size"]}, "keeps its facts"),
        ({"label": "tire tag", "words": {"colour": "Farbe"}}, "no fact to give a second word"),
        ({"label": "tire tag", "words": {"size": "x" * 41}}, "longer than 40"),
    ],
)
def test_what_cannot_be_had_is_refused(asked, words):
    with pytest.raises(Nonsense, match=words):
        own_face(**asked)


def test_second_words_stand_beside_the_first_on_every_size(a_label):
    words = {"lot": "lote", "isocyanate": "isocianato", "net_weight": "الوزن الصافي"}
    for size in ("usual", *SIZES):
        face = own_face("tote label", size, (), words)
        label = a_label("tote label")
        (page,) = layout.pages(Label(label.face, label.id, label.host, label.facts, face))
        said = [line.says for line in page.lines]
        assert "lot · lote" in said and "isocianato" in said


def test_words_in_arabic_are_joined_and_stand_from_the_right(a_label):
    """Lam-alef is one letter (U+FEFB), and the first letter spoken stands furthest to the right."""
    label = a_label("tote label", supplier="سلام 47")
    (page,) = layout.pages(label)
    (said,) = [line.says for line in page.lines if "47" in line.says]
    assert said == "47 \ufee1\ufefc\ufeb3"


def test_a_logo_is_printed_and_the_symbols_still_read(a_label):
    face = own_face("tire tag", "4x6 in", ["customer", "size"], {}, a_logo())
    label = a_label("tire tag")
    label = Label(label.face, label.id, label.host, label.facts, face)
    with_logo, without = (make_pdf([one]) for one in (label, a_label("tire tag 4x6 in")))
    assert proof.proofread(with_logo, [label]) == 3
    assert b"/Image" in with_logo and b"/Subtype /Image" not in without


@pytest.mark.parametrize(
    ("logo", "words"),
    [
        (bytes(100_000_000), "100.0 MB"),
        (b"", "no picture"),
        (b"GIF89a", "no picture"),
        (a_logo((5000, 4000), "JPEG"), "too many pixels"),
        (a_logo()[:200], "no picture"),
    ],
    ids=["100 MB", "nothing", "gif", "pixels", "cut off"],
)
def test_a_logo_that_cannot_be_printed_is_refused(logo, words):
    with pytest.raises(Nonsense, match=words) as refused:
        logos.checked(logo)
    assert refused.value.field == "logo"


def test_a_preview_shows_the_face_and_says_what_is_cut():
    png, notes = preview.face_png("tote label", "3x2 in", ["lot", "supplier"], {"lot": "lote"})
    assert Image.open(io.BytesIO(png)).size == (609, 406) and notes == []
    _, notes = preview.face_png("tote label", "3x2 in", values={"side": "A", "lot": "W" * 90})
    assert any("cut short" in note for note in notes)


def test_every_fact_a_label_may_carry_has_a_caption():
    assert {name for kind in LABELS.values() for name in (*kind.facts, *kind.more)} <= set(labelling.FACTS)


def test_the_usual_faces_have_as_many_places_as_is_said():
    for label, room in labelling.USUAL_ROOM.items():
        places = [part for part in own_face(label).pages[0] if isinstance(part, Fact)]
        assert room in (0, len(places))
