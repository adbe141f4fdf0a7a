"""The shop chooses the language of its labels; who prints them reads the pages in their own."""

import pypdfium2
import pytest

from fillbook.trace.core.errors import Nonsense
from tests.web.test_papers_in_spanish import text_of


def labels_pdf(web, item, **more):
    form = web.form(f"/labels?ids={item}", "/labels.pdf")
    answer = web.send(form, 200, **more)
    assert answer.mimetype == "application/pdf"
    return answer.data


def test_labels_speak_the_shops_language_whoever_prints_them(web, names):
    assert "side A · isocyanate" in text_of(labels_pdf(web, names["a"], why="torn"))
    web.do("choose language", language="es")
    assert web.last()["body"]["said"] == {"language": "es"}
    english_reader = text_of(labels_pdf(web, names["a"], why="torn"))
    assert "lado A · isocianato" in english_reader and "isocyanate" not in english_reader
    web.send(web.form("/preferences"), language="es")
    web.do("choose language", language="en")
    spanish_reader = text_of(labels_pdf(web, names["a"], why="torn"))
    assert "side A · isocyanate" in spanish_reader and "isocianato" not in spanish_reader


def test_a_label_keeps_the_shops_units(web, names):
    web.send(web.form("/preferences"), units="metric")
    assert "2204.0 lb" in text_of(labels_pdf(web, names["a"], why="torn"))


def test_sheets_and_faces_are_drawn_in_it_too(web, names):
    web.do("choose language", language="es")
    assert "What stands on labels is in Spanish." in web.words(web.get("/labels/faces"))
    page = web.get("/labels/faces/tire-tag").get_data(as_text=True)
    assert "language=es" in page  # a browser that kept the English picture asks again
    pictures = [
        web.get(f"/labels/face.png?face=tire+tag{more}").data for more in ("", "&language=es", "&language=xx")
    ]
    assert pictures[0] != pictures[1] and pictures[0] == pictures[2]
    sheet = labels_pdf(
        web, names["sent"], why="torn", paper="letter", columns="2", rows="3", left="8", top="8", across="0", down="0"
    )  # fmt: skip
    assert "puede trabajar con carga" in text_of(sheet)
    assert len(pypdfium2.PdfDocument(sheet)) == 1


def test_a_language_there_is_not_is_refused_and_changes_nothing(web, names):
    before = web.head()
    web.do("choose language", 422, language="xx")
    assert web.head() == before
    web.choose("Kim")
    web.do("choose language", 403, language="es")
    assert web.head() == before


def test_an_earlier_choice_holds_again_once_a_later_one_is_voided(web, names):
    from fillbook.trace.book import queries

    web.do("choose language", language="es")
    chosen = web.head()
    assert queries.language(web.book, "BH") == "es"
    web.do("correct", event=str(chosen), void="yes", why="not agreed")
    assert queries.language(web.book, "BH") == "en"


def test_the_command_prints_in_it_as_well(web, names, tmp_path):
    from click.testing import CliRunner

    from fillbook.trace.cli.commands import cli

    web.do("choose language", language="es")
    out = tmp_path / "label.pdf"
    told = CliRunner().invoke(
        cli, ["--book", web.book.where, "label", names["a"], "--out", str(out), "--who", "Lee", "--why", "torn"]
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    assert "lado A · isocianato" in text_of(out.read_bytes())
    for language, same in (("en", False), ("es", True)):
        face = tmp_path / f"{language}.png"
        told = CliRunner().invoke(
            cli, ["show-face", "tote label", "--out", str(face), "--language", language]
        )
        assert told.exit_code == 0, told.output
        assert (face.read_bytes() == web.get("/labels/face.png?face=tote+label&language=es").data) is False
        assert (face.read_bytes() != (tmp_path / "en.png").read_bytes()) is same


def test_no_word_is_taken_for_a_language(web):
    from fillbook.trace.work import acting

    with pytest.raises(Nonsense):
        acting.act(
            web.book,
            acting.Action("choose language", {"language": "English"}, who="Lee", shop="BH"),
            now=2**31,
        )
