"""The faces themselves: nothing overlaps, quiet zones are kept, every kind has one, and what is wrong with one is told."""

from dataclasses import replace

import pytest

from fillbook.labels import layout
from fillbook.labels.faces import FACES, face_for, face_named
from fillbook.labels.parts import FACTS, Bars, Box, Fact, Hole, Qr, Words, faults
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, WrongKind


@pytest.mark.parametrize("face", FACES.values(), ids=lambda face: face.name)
def test_nothing_is_wrong_with_a_face_of_ours(face):
    assert faults(face) == []


def test_every_kind_of_id_has_its_face(an_id):
    assert {kind: face_for(an_id(kind)).kind for kind in ids.KINDS} == {kind: kind for kind in ids.KINDS}


@pytest.mark.parametrize("face", FACES.values(), ids=lambda face: face.name)
def test_every_face_carries_a_qr_code_and_bars(face):
    kinds = {type(part) for part in face.pages[0]}
    assert {Qr, Bars} <= kinds


def test_both_sides_of_a_tire_tag_scan_and_keep_the_hole_clear():
    for parts in FACES["tire tag"].pages:
        assert any(isinstance(part, Qr) for part in parts)
        assert any(isinstance(part, Hole) for part in parts)


def test_the_two_dates_of_a_tire_tag_have_their_own_words():
    assert FACTS["move_from"] == "may be moved and mounted"
    assert FACTS["load_from"] == "may work under load"
    front = {part.name for part in FACES["tire tag"].pages[0] if isinstance(part, Fact)}
    assert {"move_from", "load_from"} <= front


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (Words(Box(98, 70, 10, 5), "over the edge", most=6), "reaches outside"),
        (Words(Box(4, 60, 20, 1), "too low", most=6), "no room for its smallest letters"),
        (Qr(60, 0.6, dots=6), "overlap"),  # its quiet zone reaches into the ID
        (Fact(Box(4, 61, 5, 8), "colour"), "no fact of a label"),
    ],
)
def test_a_changed_face_is_told_what_is_wrong(part, words):
    face = FACES["tote label"]
    changed = replace(face, pages=((*face.pages[0], part),))
    assert any(words in fault for fault in faults(changed))


@pytest.mark.parametrize("side", [None, "C", "a", "isocyanate", ""])
def test_a_tote_label_without_its_side_is_refused(a_label, side):
    with pytest.raises(Nonsense, match="needs its side"):
        layout.pages(a_label("tote label", side=side))


@pytest.mark.parametrize(("side", "words"), [("A", "side A · isocyanate"), ("B", "side B · polyol")])
def test_the_letter_always_comes_with_the_substance(a_label, side, words):
    (page,) = layout.pages(a_label("tote label", side=side))
    said = [line.says for line in page.lines]
    assert side in said and words in said


def test_an_unknown_fact_is_refused(a_label):
    with pytest.raises(Nonsense, match='"lott" is no fact of a label'):
        layout.pages(a_label("tote label", lott="X"))


def test_a_tire_gets_no_tote_label(a_label, an_id):
    wrong = replace(a_label("tote label"), id=an_id("F"))
    with pytest.raises(WrongKind, match="BH-F26-00417-Y is a tire; a tote label is for a tote"):
        layout.pages(wrong)


def test_an_unknown_face_is_refused():
    with pytest.raises(Nonsense, match="take one of tote label"):
        face_named("poster")


def test_what_is_not_known_leaves_a_line_to_write_on(a_label):
    known = layout.pages(a_label("tire tag"))[0]
    blank = layout.pages(a_label("tire tag", move_from=None, load_from=None))[0]
    lines = [box for box in blank.blocks if box not in known.blocks]
    assert len(lines) == 2
    for box in lines:  # a marker's letters are 6 to 8 mm high
        above = max(line.extent.bottom for line in blank.lines if line.extent.bottom < box.top)
        assert box.top - above > 7


def test_notes_say_what_will_not_stand_on_the_label_as_typed(a_label):
    label = a_label("tote label", supplier="東京 Kft", lot="L" * 200, host="A" * 20)
    found = layout.notes([label, label])
    assert len(found) == 3
    assert any("supplier of BH-L26-00417-" in note and '"¿¿ Kft"' in note for note in found)
    assert any("lot of" in note and "cut short" in note for note in found)
    assert any("level M" in note for note in found)
    assert layout.notes([a_label("tote label")]) == []
