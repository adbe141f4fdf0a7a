"""Labels in Spanish: every word of ours on every face, nothing cut off, every symbol where it stands in English and read back."""

from dataclasses import replace

import pytest

from fillbook.labels import layout, preview, proof, sheets
from fillbook.labels.faces import FACES, Label, make_label
from fillbook.trace.core import labelling
from fillbook.trace.core.labelling import LABELS, SIZES, USUAL
from fillbook.trace.languages.catalogue import LANGUAGES, catalogue

OTHERS = [code for code in LANGUAGES if code != "en"]
EVERY = [(label, size) for label in LABELS for size in (USUAL, *SIZES)]


def lines(label):
    return [line for page in layout.pages(label) for line in page.lines]


def in_one_text(label):
    return " ".join(line.says for line in lines(label))


def left_in_english(label, size, language):
    """The lines of a face that its English twin has, too, and that are no fact, ID or letter of a side."""
    twins = [preview.sample_label(label, size, language=code) for code in (language, "en")]
    data = {*twins[0].facts.values(), "A", "B"}
    english = {line.says for line in lines(twins[1])}
    return [
        line.says
        for line in lines(twins[0])
        if line.says in english and line.says not in data and any(map(str.islower, line.says))
    ]


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize(("label", "size"), EVERY)
def test_no_word_of_a_face_stays_english_and_none_is_cut_off(label, size, language):
    assert left_in_english(label, size, language) == []
    for values in (preview.SAMPLE, preview.VALUES["not known yet"]):
        made = preview.sample_label(label, size, values=values, language=language)
        assert [line.says for line in lines(made) if line.says.endswith("…")] == []
        assert layout.notes([made]) == []
        english = min(line.size for line in lines(preview.sample_label(label, size, values=values)))
        # 4.4 points is the smallest an English face goes down to, the system's name on 2 x 1 in
        assert min(line.size for line in lines(made)) >= min(english, 4.4)


def test_an_english_word_left_on_a_face_is_found(monkeypatch):
    def forgetful(label, words):
        return words if words == "use by" else catalogue(label.language).said(words)

    monkeypatch.setattr(layout, "_said", forgetful)
    assert left_in_english("tote label", USUAL, "es") == ["use by"]


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("side", ["A", "B"])
def test_the_side_and_its_substance_and_what_comes_first_are_said(side, language):
    """The letters swap in some countries, so the substance always stands beside them (*common practice*)."""
    said = catalogue(language).here
    substance = {"A": "isocyanate", "B": "polyol"}[side]
    for size in (USUAL, *SIZES):
        made = preview.sample_label(
            "tote label", size, values={**preview.SAMPLE, "side": side}, language=language
        )
        text = in_one_text(made)
        assert said[substance] in text and substance not in text
        assert side in {line.says for line in lines(made)}
        if size == USUAL or SIZES[size].room == 9:
            assert said["The supplier's hazard label and safety data sheet come first."] in text


@pytest.mark.parametrize("language", OTHERS)
def test_a_tag_says_in_full_what_is_minded_under_pressure(language):
    text = in_one_text(preview.sample_label("tire tag", language=language))
    for words in (
        "Local codes and the ratings of tire, rim and wheel come first.",
        "Tie through a wheel hole, away from valve and vent.",
        "may be moved and mounted",
        "may work under load",
        "While it cures, the tire is warm inside and under pressure. "
        "Local codes and the ratings of tire, rim and wheel come first.",
    ):
        assert catalogue(language).here[words] in text, words


@pytest.mark.parametrize("language", OTHERS)
@pytest.mark.parametrize("dpi", labelling.DPIS)
def test_every_face_reads_back_and_its_symbols_stand_where_the_english_ones_do(language, dpi):
    made = [
        preview.sample_label(label, size, language=language)
        for label in LABELS
        for size in ((USUAL, *SIZES) if dpi == 203 else (USUAL,))
    ]
    assert proof.made(made, dpi).startswith(b"%PDF")
    for label in made:
        english = Label(label.face, label.id, label.host, label.facts, label.own)
        for mine, theirs in zip(layout.pages(label, dpi), layout.pages(english, dpi), strict=True):
            assert mine.symbols == theirs.symbols and mine.rings == theirs.rings


@pytest.mark.parametrize("values", ["longest", "accents", "right to left"])
def test_what_is_hard_to_print_overlaps_nothing_in_any_language(values):
    for label, size in EVERY:
        for page in layout.pages(
            preview.sample_label(label, size, values=preview.VALUES[values], language="es")
        ):
            boxes = [line.extent for line in page.lines if line.says not in ("A", "B")]
            assert not [
                (one, other)
                for n, one in enumerate(boxes)
                for other in boxes[:n]
                if one.overlaps(other) and min(one.width, other.width) > 0
            ], (label, size)


@pytest.mark.parametrize("language", OTHERS)
def test_a_copy_is_called_so_in_its_language(language):
    for label, size in EVERY:
        made = replace(preview.sample_label(label, size, language=language), copy=12)
        assert catalogue(language).said("copy 12").upper() in in_one_text(made), (label, size)
        assert "COPY" not in in_one_text(made)
        assert [line.says for line in lines(made) if line.says.endswith("…")] == []


def test_labels_on_a_sheet_keep_their_language():
    onto = sheets.sheet("a4:3x8")
    made = preview.sample_label("tire tag", language="es")
    small = sheets.fitted(made, onto)
    assert small.own != made.own and small.language == "es"
    assert sheets.make_sheets([made], onto).startswith(b"%PDF")


def test_what_somebody_typed_stays_and_words_of_ours_among_ids_do_not(an_id):
    """A customer called as a state is; a batch made of more than its label has room for."""
    tag = make_label("tire tag", an_id("F"), "HOST", {"customer": "released", "size": "name"}, None, "es")
    assert {"released", "name"} <= {line.says for line in lines(tag)}
    batch = make_label(
        "batch label", an_id("G"), "HOST", {"made_of": "BH-F25-00311-A and 3 more, pieces of unknown origin"}, None, "es"
    )  # fmt: skip
    assert "BH-F25-00311-A y 3 más, pedazos de origen desconocido" in in_one_text(batch)


def test_a_second_language_that_says_the_same_is_not_said_twice():
    made = preview.sample_label(
        "tote label",
        words={"lot": "lote", "isocyanate": "isocianato", "supplier": "fornecedor"},
        language="es",
    )
    text = in_one_text(made)
    assert text.count("lote") == 1 and text.count("isocianato") == 1 and "proveedor · fornecedor" in text
    assert "sistema RX-30" in text


def test_every_face_there_is_was_looked_at():
    assert {label if size == USUAL else f"{label} {size}" for label, size in EVERY} == FACES.keys()
