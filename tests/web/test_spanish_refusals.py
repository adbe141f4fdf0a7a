"""What a page answers to a wrong number, and what it says by itself, in Spanish: no word of it is left in English."""

import re

import pytest

from fillbook.labels import faces, layout
from fillbook.trace.core import ids, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.languages.catalogue import catalogue
from fillbook.trace.work import ask, registry

LEFT = {
    "a", "and", "at", "be", "between", "can't", "comma", "cut", "decimals", "from", "give", "is", "it", "its", "kind", "label", "leave",
    "may", "mean", "most", "not", "nothing", "number", "of", "or", "out", "plain", "point", "short", "so", "than", "the", "there",
    "thousands", "too", "true", "write", "year", "regrind", "batch", "loaded", "origin", "unknown", "newest", "holds", "open",
}  # fmt: skip


def english_in(text):
    return {word for word in re.findall(r"[a-z']+", text.lower()) if word in LEFT - {"a", "no"}}


def measures():
    """Every measure of every verb, in each of its units: (field as stored, mark, field as said, unit)."""
    found = {}
    for verb in registry.everything().values():
        asked = list(ask.fields_of(verb.ask))
        asked += [part for one in asked if one.sub is not None for part in ask.fields_of(one.sub)]
        for one in asked:
            if isinstance(one.mark, ask.Measure):
                for said_as in one.accepts:
                    unit = said_as.removeprefix(one.name.removesuffix("_" + one.mark.canonical) + "_")
                    if unit in units.DIMENSIONS[one.mark.dimension].units:
                        found[(one.name, said_as)] = (one.name, one.mark, said_as, unit)
    return list(found.values())


@pytest.mark.parametrize("typed", ["abc", "1,000", "", "9" * 40, "-999999999"])
def test_a_measure_that_is_refused_is_refused_in_spanish(typed):
    said, wrong = catalogue("es").said, []
    for name, mark, said_as, _ in measures():
        how = ask.Reading("UTC", lambda text, kinds, field: text)
        try:
            ask._measure(mark, name, said_as, typed, how, said_as)
        except Nonsense as refused:
            words = said(str(refused))
            if english_in(words) or words == str(refused):
                wrong.append(words)
    assert len(measures()) > 20 and wrong == []


def test_a_name_of_two_words_is_said_whole():
    with pytest.raises(Nonsense) as refused:
        units.parse("mass", "kg", "abc", field="pieces[0].caught_a_kg")
    assert str(refused.value) == 'Caught a "abc" is not a plain number: give a number in kg.'
    assert (
        catalogue("es").said(str(refused.value))
        == 'Recogido de A "abc" no es un número simple: dé un número en kg.'
    )


def test_what_is_cut_short_on_a_label_is_said_in_spanish():
    label = faces.Label(
        "tire tag", ids.mint("BH", "F", 2026, 12), "fb.local", {"serial": "W" * 400, "customer": "M" * 400}
    )
    notes = layout.notes([label])
    assert any("cut short" in note for note in notes)
    for note in notes:
        assert english_in(catalogue("es").said(note)) == set(), note


@pytest.mark.parametrize("many", ["On hold: ", "3 holds are open, the newest: "])
def test_the_newest_hold_of_the_floor_is_said_in_spanish(many):
    words = f"{many}No regrind batch was loaded on línea 1: its regrind is of unknown origin."
    assert english_in(catalogue("es").said(words)) == set()


@pytest.fixture
def spanish(web):
    web.send(web.form("/preferences"), language="es")
    return web


def test_the_floor_says_the_newest_hold_in_spanish(spanish):
    spanish.do("hold", lot="A-11", why="drum found open")
    words = spanish.words(spanish.get("/"))
    assert "drum found open" in words and "is on hold" not in words and "the newest" not in words


def test_without_a_connection_the_page_says_so_in_its_own_language(spanish, helpers):
    words = "No connection. What is typed is kept on this device."
    assert "Sin conexión. Lo que se escribe se guarda en este dispositivo." in spanish.words(spanish.get("/"))
    style = spanish.get("/static/fillbook.css").get_data(as_text=True)
    assert words not in style and not re.findall(
        r'content:\s*"[^"]*[A-Za-z]{3}', style
    )  # words of a style sheet are in no catalogue


def test_the_buttons_of_a_fill_are_in_spanish(spanish, names):
    page = spanish.get(f"/cage/{names['line']}?tire={names['waiting']}").get_data(as_text=True)
    buttons = [
        re.sub(r"<[^>]+>", "", one).strip()
        for one in re.findall(r"<button[^>]*>(.*?)</button>", page, re.DOTALL)
    ]
    assert "EMPEZAR" in buttons and "GO" not in buttons and "DONE" not in buttons
