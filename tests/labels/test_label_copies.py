"""A reprint says which copy it is, in small letters; a first print does not, and every copy reads back as the first does."""

from dataclasses import replace
from itertools import combinations

import pytest

from fillbook.labels import layout, pdf, proof
from fillbook.labels.faces import FACES
from fillbook.labels.parts import Box


def words(label):
    return [line.says for page in layout.pages(label) for line in page.lines]


@pytest.mark.parametrize("face", FACES)
def test_a_reprint_says_which_copy_it_is_and_reads_back(face, a_label):
    again = replace(a_label(face), copy=2)
    assert any("COPY 2" in line for line in words(again))
    assert (
        proof.made([again], 203)[:4] == b"%PDF"
    )  # every symbol was found again in the bytes that are handed out


@pytest.mark.parametrize("face", FACES)
def test_a_first_print_says_nothing_of_copies(face, a_label):
    first = a_label(face)
    assert first.copy == 1 and not any("COPY" in line for line in words(first))
    assert pdf.make_pdf([replace(first, copy=1)], 203) == pdf.make_pdf([first], 203)


@pytest.mark.parametrize("face", FACES)
@pytest.mark.parametrize(("language", "copy", "says"), [("en", 12, "COPY 12"), ("es", 100, "COPIA 100")])
def test_the_copy_overlaps_nothing_and_stays_small(face, language, copy, says, a_label):
    label = replace(a_label(face), copy=copy, language=language)
    for page in layout.pages(label):
        lines = [line for line in page.lines if says in line.says]
        symbols = [
            Box(*(part * page.mm_per_dot for part in (one.left, one.top, one.width, one.height)))
            for one in page.symbols
        ]
        paper = Box(0, 0, page.width * page.mm_per_dot, page.height * page.mm_per_dot)
        others = [line.extent for line in page.lines if line not in lines]
        for line in lines:
            assert line.size <= 11 and paper.holds(line.extent)
            assert [one for one in (*others, *symbols) if one.overlaps(line.extent)] == []
        assert not any(one.overlaps(other) for one, other in combinations([line.extent for line in lines], 2))


def test_the_id_stays_as_large_as_on_the_first_print(a_label):
    """But on the smallest stock, where the copy shares the line of site, kind and year."""
    for face in FACES:
        if "2x1" in face or "50x25" in face:
            continue
        first, again = layout.pages(a_label(face)), layout.pages(replace(a_label(face), copy=2))
        for one, other in zip(first, again, strict=True):
            kept = [
                (line.says, line.size, line.left, line.baseline)
                for line in other.lines
                if "COPY" not in line.says
            ]
            assert [(line.says, line.size, line.left, line.baseline) for line in one.lines] == kept
