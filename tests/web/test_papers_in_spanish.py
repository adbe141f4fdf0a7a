"""Papers come in the language and the units of whoever asks: no word is left in English, and what people typed stays."""

import re
from types import SimpleNamespace
from typing import get_args

import pypdfium2
import pytest

from fillbook.labels import fitting, trials
from fillbook.labels import papers as drawn
from fillbook.labels.papers import Table, Typed, paper
from fillbook.labels.trials import Trial, trial_sheet
from fillbook.trace.book.items import Say
from fillbook.trace.cli import papers as commands
from fillbook.trace.languages.catalogue import LANGUAGES, catalogue
from fillbook.trace.web import papers as web_papers
from fillbook.trace.web.papers import day_sheet_pdf, release_sheet_pdf
from fillbook.trace.web.racks import morning
from fillbook.trace.web.racks.morning import morning_list_pdf
from fillbook.trace.work.labelling import ChooseLanguage
from tests.web import test_languages as pages

#: Written alike in both languages, or names of commands and their parts.
ALIKE = pages.ALIKE | {"fillbook", "trial", "paper"}
COMMAND = re.compile(r"--\w+( …)?|fillbook paper-trial")


def text_of(document):
    """The words of a PDF in the order they were drawn, line ends as blanks."""
    pdf = pypdfium2.PdfDocument(document)
    return " ".join(" ".join(page.get_textpage().get_text_range().split()) for page in pdf)


def words_of(document, names):
    text = COMMAND.sub(" ", pages.without_data(text_of(document), names))
    return {word for word in pages.NOT_WORDS.findall(text) if word not in ALIKE}


def left_in_english(spanish, english, names):
    """The words of the Spanish paper that the English one has, too, or that no Spanish sentence has."""
    mine = words_of(spanish, names)
    return sorted(
        (mine & words_of(english, names)) | {word for word in mine if word.lower() in pages.ENGLISH}
    )


@pytest.fixture
def spanish(web):
    web.send(web.form("/preferences"), language="es", units="metric")
    return web


def both(web, make):
    return make("es"), make("en")


PAPERS = {
    "release sheet": lambda web, names, language: release_sheet_pdf(
        web.book, "BH", names["now"], language=language
    ),
    "morning list": lambda web, names, language: morning_list_pdf(
        web.book, "BH", names["now"], language=language
    ),
    "day sheet": lambda web, names, language: day_sheet_pdf(
        web.book, "BH", [names["waiting"]] * 20, language=language
    ),
    "paper trial": lambda web, names, language: trial_sheet(
        [names["sent"]], [Trial("white stock", "soap", 10, 9, 8, 10, 10)], head="BH:1 00ff", language=language
    ),
}


@pytest.mark.parametrize("name", PAPERS)
def test_no_paper_says_a_word_that_is_not_spanish(web, names, name):
    web.do("hold", item=names["cured"], why="Drum found at gate")
    typed = [*pages.phrases(web.book), "white stock"]
    made = {language: PAPERS[name](web, names, language) for language in ("es", "en")}
    assert len(words_of(made["es"], typed)) > 25, "hardly a word was read"
    assert left_in_english(made["es"], made["en"], typed) == []
    drawn._DRAWN.clear()  # what was drawn is kept
    assert made["en"] == PAPERS[name](web, names, "en"), "the same input gives the same bytes"


@pytest.mark.parametrize("name", PAPERS)
@pytest.mark.parametrize("language", LANGUAGES)
def test_no_word_is_wider_than_its_column(web, names, name, language, monkeypatch):
    """Headings are 7.5 points and bold, cells 8 points, beside 6 points of padding (labels/papers.py); a wider word would be broken."""
    drawn = []

    def look(title, under, tables, **how):
        drawn.extend(table for _, table in tables)
        return b""

    for module in (web_papers, morning, trials):
        monkeypatch.setattr(module, "paper", look)
    PAPERS[name](web, names, language)
    said = catalogue(language).said
    wide = [
        (word, width)
        for table in drawn
        for bold, size, rows in ((True, 7.5, [table.headings]), (False, 8, table.rows))
        for row in rows
        for cell, width in zip(row, table.widths, strict=True)
        for word in said(cell if isinstance(cell, str) else " ".join(cell)).split()
        if fitting.width(word, bold) * size > width * 72 / 25.4 - 6
    ]
    assert drawn and wide == []


def test_a_word_left_in_english_on_a_paper_is_found():
    def made(cell, language):
        table = Table(["Tire", "Why not"], [["BH-F26-00417-Y", cell]], [40, 100])
        return paper("Release sheet", ["Kept."], [("Zones", table)], head="BH:1 00ff", language=language)

    known, unknown = "no forecast", "Weighbridge shut"
    assert left_in_english(made(known, "es"), made(known, "en"), []) == []
    assert left_in_english(made(unknown, "es"), made(unknown, "en"), []) == ["Weighbridge", "shut"]


def test_what_people_typed_stays_as_it_is_on_a_paper(web):
    """A customer called as a state is, a zone called as a place of ours is."""
    rows = [["released", "released", "released"]]
    table = Table(["Customer", "Verdict", "Why not"], rows, [40, 40, 40], typed=(0,))
    made = text_of(paper("Day sheet", [], [(Typed("dock"), table)], head="x", language="es"))
    assert made.count("released") == 1 and made.count("liberada") == 2 and "dock" in made


def test_a_page_s_paper_is_in_the_language_and_units_of_who_asks(spanish, names):
    """What blocks a tire: 90 psi over 75 psi; NIST SP 811: 1 psi = 6.894 757 kPa."""
    made = text_of(spanish.get("/racks/morning.pdf").data)
    assert "Lista de la mañana" in made
    assert "621 kPa pasa de la presión máxima más baja, 517 kPa" in made
    assert made.count("psi") == made.count("621 kPa, 90 psi") + made.count("517 kPa, 75 psi") == 2  # frozen
    trial = spanish.client.post(
        "/labels/trial.pdf",
        data={
            "tags_tried": names["sent"],
            "csrf_token": spanish.form("/labels/trial").fields["csrf_token"][0],
        },
    )
    assert trial.status_code == 200 and "Prueba" in text_of(trial.data)
    spanish.send(spanish.form("/preferences"), language="en", units="us")
    made = text_of(spanish.get("/racks/morning.pdf").data)
    assert "Morning list" in made and "lies above the lowest rating, 75 psi" in made


def test_a_paper_that_takes_its_units_from_a_reader_has_no_others(web, names):
    for us, theirs, others in ((True, "75 psi", "517 kPa lies"), (False, "517 kPa", "75 psi lies")):
        say = Say(web.book, "BH", us)
        made = text_of(morning_list_pdf(web.book, "BH", names["now"], say=say))
        assert theirs in made and others not in made


def test_accents_and_other_letters_are_printed():
    """Spanish, and the names of customers from elsewhere; read back from the PDF itself."""
    table = Table(["Cliente"], [["Ñandú, pingüino, ¿ácido? Łódź Győr"]], [120], typed=(0,))
    made = text_of(paper("Día", [], [("Relación", table)], head="x", language="es"))
    assert "Ñandú, pingüino, ¿ácido? Łódź Győr" in made and "Relación" in made and "Día" in made


# -- commands -------------------------------------------------------------------------------------------------------------------
def made_by(command, web, out, *more):
    from click.testing import CliRunner

    from fillbook.trace.cli.commands import cli

    told = CliRunner().invoke(cli, ["--book", web.book.where, command, "--out", str(out), *more])
    assert told.exit_code == 0, told.output
    return text_of(out.read_bytes())


@pytest.mark.parametrize(
    ("command", "english", "in_spanish"),
    [
        ("release-sheet", "Release sheet", "Hoja de liberación"),
        ("morning-list", "Morning list", "Lista de la mañana"),
        ("day-sheet", "Day sheet", "Hoja del día"),
    ],
)
def test_a_command_makes_its_paper_in_the_shops_language_or_the_one_asked_for(
    web, tmp_path, monkeypatch, names, command, english, in_spanish
):
    monkeypatch.setattr(commands, "time", SimpleNamespace(time=lambda: float(names["now"])))
    who = ["--who", "Lee"] if command == "day-sheet" else []
    assert english in made_by(command, web, tmp_path / "a.pdf", *who)
    assert in_spanish in made_by(command, web, tmp_path / "b.pdf", "--language", "es", *who)
    web.do("choose language", language="es")
    assert in_spanish in made_by(command, web, tmp_path / "c.pdf", *who)
    assert english in made_by(command, web, tmp_path / "d.pdf", "--language", "en", *who)


def test_the_shop_may_choose_whatever_language_there_is():
    assert set(get_args(ChooseLanguage.model_fields["language"].annotation)) == set(LANGUAGES)


def test_the_heating_warning_is_whole_in_spanish_with_and_without_a_zone(web, names):
    """Told on the floor, on the racks and on the morning list."""
    from fillbook.trace.book import zones

    said = catalogue("es").said
    warned = zones.heating_warning(web.book, "BH", names["now"], off_at=names["now"] + 60)
    web.book.execute("DELETE FROM touch WHERE state = 'racked'", [])
    nowhere = zones.heating_warning(web.book, "BH", names["now"], off_at=names["now"] + 60)
    assert "in warm room." in warned.words and "in no zone." in nowhere.words
    for one in (warned, nowhere):
        text = pages.without_data(said(one.words), pages.phrases(web.book))
        assert not {word for word in pages.NOT_WORDS.findall(text) if word.lower() in pages.ENGLISH}, said(
            one.words
        )


def test_the_desks_papers_come_in_the_language_and_units_of_who_asks(spanish, names):
    assert "Hoja de liberación" in text_of(spanish.get("/desk/sheet.pdf").data)
    assert "621 kPa" in text_of(spanish.get("/desk/sheet.pdf").data)
    spanish.send(spanish.form("/preferences"), language="en", units="us")
    made = spanish.get("/desk/sheet.pdf")
    assert "Release sheet" in text_of(made.data) and "release-sheet-" in made.headers["Content-Disposition"]
    assert "621 kPa pasa" not in text_of(made.data)


def test_a_day_sheet_is_for_the_ids_an_event_reserved_or_for_all_that_wait(web, names):
    web.do("reserve ids", tires="2", line=names["line"])
    first = web.head()
    web.do("reserve ids", tires="3", line=names["line"])
    assert f"/desk/day-sheet.pdf?event={web.head()}" in web.read(f"/book/{web.head()}").addresses
    rows = {
        address: len(re.findall(r"BH-F25-\d{5}-\w", text_of(web.get(address).data)))
        for address in ("/desk/day-sheet.pdf", f"/desk/day-sheet.pdf?event={first}")
    }
    assert list(rows.values()) == [5, 2]
    assert web.get("/desk/day-sheet.pdf?event=1")  # it reserved none: an empty sheet, for the zones
