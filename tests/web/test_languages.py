"""The pages in Spanish: every word of them is in the catalogue, and what people typed stays as they typed it."""

import ast
import json
import re
from html.parser import HTMLParser

import jinja2
import pytest
from babel.messages.pofile import read_po

from fillbook.trace.languages.catalogue import LANGUAGES, PLACE, Catalogue, po_file
from fillbook.trace.web.help import jobs
from fillbook.trace.web.languages import runs, script
from fillbook.trace.web.languages.runs import HUMAN, VOID
from fillbook.trace.work import registry
from tests import words
from tests.web import conftest as pages

OTHERS = [code for code in LANGUAGES if code != "en"]

#: Words that both languages write alike, symbols and names of standards; and what is an example of something typed.
ALIKE = {
    "a",
    "no",
    "base",
    "lote",
    "PIN",
    "QR",
    "ID",
    "IDs",
    "CSV",
    "PDF",
    "JSON",
    "MB",
    "kg",
    "lb",
    "kPa",
    "psi",
    "bar",
    "mm",
    "in",
    "h",
    "min",
    "s",
    "A",
    "B",
    "C",
    "D",
    "R",
    "Shore",
    "hardness00",
    "fillbook",
    "Total",
    "total",
    "error",
    "final",
    "normal",
    "sensor",
    "factor",
    "Factor",
    "Code",
    "Data",
    "Matrix",
    "PNG",
    "JPEG",
    "browser",
    "IPP",
    "ipp",
    "lp",
    "usual",
    "Veredicto",
    "Zona",
    "decimal",
}
#: Words that stand in English sentences and in no Spanish one.
ENGLISH = {
    "the",
    "of",
    "is",
    "not",
    "and",
    "with",
    "was",
    "were",
    "by",
    "from",
    "it",
    "its",
    "to",
    "on",
    "at",
    "yet",
    "this",
    "that",
    "these",
    "those",
    "are",
    "been",
    "has",
    "have",
    "had",
    "when",
    "where",
    "which",
    "what",
    "who",
    "how",
    "for",
    "or",
    "may",
    "can",
    "be",
    "as",
    "an",
    "into",
    "out",
    "off",
    "up",
    "down",
    "only",
    "still",
    "needs",
    "here",
    "there",
    "your",
    "you",
    "they",
    "them",
    "then",
    "than",
    "until",
    "since",
    "everything",
    "nothing",
    "none",
    "tire",
    "tires",
    "tote",
    "totes",
    "fill",
    "filled",
    "lot",
    "lots",
    "hold",
    "held",
    "recall",
    "release",
    "released",
    "racked",
}
#: Where a text shows how something is written in the program's own language: names of parts, printers, forms of a date.
EXAMPLES = re.compile(
    r"browser, lp:QUEUE or ipp|lp:QUEUE|lot=lote|isocyanate=isocianato|[YMD-]{5,10}|junto a lot\b|\b(item|lot|made|count|serial)\b(?=,| y |\.)|unknown|browser"
)
NOT_WORDS = re.compile(r"(?<![^\W\d_])[^\W\d_]{2,}(?![^\W\d_])")


class Said(HTMLParser):
    """Every text a person reads or hears on a page, in order: (where, text), but for what is marked as no words."""

    def __init__(self, html):
        super().__init__()
        self.found, self._open = [], []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        has = dict(attributes)
        quiet = bool(self._open and self._open[-1][1])
        mine = (
            quiet
            or tag in ("script", "style", "code", "pre", "textarea", "svg")
            or has.get("translate") == "no"
        )
        for name in sorted(HUMAN & has.keys()):
            if not mine and has[name]:
                self.found.append((f"{tag} {name}", has[name]))
        if tag not in VOID:
            self._open.append((tag, mine))

    def handle_endtag(self, tag):
        while self._open:
            if self._open.pop()[0] == tag:
                break

    def handle_data(self, data):
        if data.strip() and not (self._open and self._open[-1][1]):
            self.found.append((self._open[-1][0] if self._open else "", " ".join(data.split())))


#: Fields of the verbs whose texts people make up themselves.
MADE_UP = {
    "name", "owner", "customer", "supplier", "lot", "why", "complaint", "site", "size", "unit", "serial", "system", "device", "sensor", "station", "number", "wheel_serial",
    "host", "timezone", "to", "became", "position", "shelf", "printer", "source",
}  # fmt: skip


def phrases(book):
    """What was typed into the book, the longest first: names, reasons, lots, sizes."""
    found = set()

    def walk(value, name=""):
        if isinstance(value, dict):
            for key, part in value.items():
                walk(part, key)
        elif isinstance(value, list):
            for part in value:
                walk(part, name)
        elif isinstance(value, str) and name in MADE_UP and len(value) > 1:
            found.add(value)

    for (text,) in book.tuples("SELECT text FROM event"):
        walk(json.loads(text)["body"].get("said", {}))
    return sorted(found, key=len, reverse=True)


def without_data(text, names):
    """*text* without IDs, times, numbers with their units, addresses, and phrases that were typed."""
    for name in names:
        text = re.sub(rf"(?<!\w){re.escape(name)}(?!\w)", " ", text, flags=re.IGNORECASE)
    text = EXAMPLES.sub(" ", text)
    text = re.sub(r"\S*[/@]\S*|\S+\.\S+\.\S+|[A-Z]{2}-?[A-Z]\d{2}\S*|\S*\d\S*|\b[a-z]+_[a-z_]+\b", " ", text)
    return text


@pytest.fixture
def spanish(web):
    """The same station with Lee, who reads Spanish."""
    web.send(web.form("/preferences"), language="es")
    return web


def left_in_english(html, english, names):
    """The texts of a page that are not in Spanish: said the same in both languages, or holding an English word."""
    alike = {text for _, text in Said(english).found}
    found = []
    for where, text in Said(html).found:
        left = without_data(text, names)
        left_words = [w for w in NOT_WORDS.findall(left) if w not in ALIKE]
        if (text in alike and left_words) or any(w.lower() in ENGLISH for w in left_words):
            found.append((where, text))
    return found


def looked_at(web, addresses):
    """What is left in English on these pages: one line each."""
    names = [*phrases(web.book), "quarry"]  # typed into an address
    wrong = {}
    for path in addresses:
        html, english = (in_language(web, path, language) for language in ("es", "en"))
        if html is None:
            continue
        assert '<html lang="es"' in html or "<html" not in html, path
        for where, text in left_in_english(html, english, names):
            wrong.setdefault((where, text), path)
    return "\n".join(f"{path}: <{where}> {text}" for (where, text), path in wrong.items())


def in_language(web, path, language):
    web.book.execute("UPDATE preference SET language = ?", [language])
    page = web.client.get(path, buffered=True, follow_redirects=True)
    return page.get_data(as_text=True) if page.mimetype == "text/html" else None


def test_no_page_says_a_word_that_is_not_spanish(spanish, names):
    """/api is for who writes programs, and English as the description it explains."""
    addresses = [path for rule, path in pages.places_to_look(names).items() if rule != "/api"]
    assert looked_at(spanish, addresses) == ""


def test_no_further_face_of_a_page_says_a_word_that_is_not_spanish(spanish, names):
    assert looked_at(spanish, pages.more_to_look(names)) == ""


def test_no_form_of_a_verb_asks_in_english(spanish):
    assert looked_at(spanish, [f"/do/{verb.command}" for verb in registry.everything().values()]) == ""


def test_no_help_is_in_english(spanish):
    assert looked_at(spanish, [f"/help/{job.name}" for job in jobs.JOBS]) == ""


def test_a_finding_of_the_test_is_a_word_left_in_english(spanish):
    """The test above would see it: a page of English words, said to be Spanish, is found out."""
    page = "<html><body><p>Lay it on the rack</p><p>42 kg</p><p>Llanta the ready</p></body></html>"
    assert [text for _, text in left_in_english(page, "", [])] == ["Lay it on the rack", "Llanta the ready"]
    assert [text for _, text in left_in_english("<p>Weighbridge</p>", "<p>Weighbridge</p>", [])] == [
        "Weighbridge"
    ]


@pytest.mark.parametrize("language", OTHERS)
def test_every_message_has_words_in_every_language_with_the_same_places(language):
    with po_file(language).open("rb") as file:
        made = read_po(file, language)
    wrong = [
        (message.id, message.string)
        for message in made
        if message.id
        and (
            not message.string
            or message.fuzzy
            or sorted(set(PLACE.findall(message.id))) != sorted(set(PLACE.findall(message.string)))
        )
    ]
    assert wrong == [], "write their words into the catalogue"
    assert not made.fuzzy and not made.obsolete


@pytest.mark.parametrize("language", OTHERS)
def test_the_catalogue_holds_what_the_pages_say_and_nothing_else(language):
    _, added, gone = words.up_to_date(language, words.gather())
    assert (added, gone) == ([], []), "run python -m tests.words, then write the words of what is new"


def test_a_new_sentence_is_gathered_wherever_it_is_written():
    heard = []
    tree = jinja2.Environment().parse(
        '<p title="Take care">Only {{ n }} {{ "tire" if n == 1 else "tires" }} <b>here</b></p>{{ go("Look at it") }}'
    )
    runs.in_runs(tree, jinja2.Environment(), lambda message, line: heard.append(message))
    assert heard == ["Take care", "Only {n} tire", "Only {n} tires", "here", "Look at it"]
    heard.clear()
    words.Python(lambda message, line: heard.append(message)).visit(
        ast.parse("raise Stopped(f\"{tire} is {'hot' if x else 'cold'} since {at(time)}.\")")
    )
    assert heard == ["{tire} is hot since {time}.", "{tire} is cold since {time}."]


# -- what is shown, and what is kept -------------------------------------------------------------------------------------------------
def test_a_refusal_is_told_in_spanish_and_nothing_is_written(spanish, names):
    before = spanish.head()
    answer = spanish.do("hook up", 422, line=names["line"], tote="nonsense")
    assert "no es un ID" in spanish.said(answer)
    assert spanish.head() == before
    assert "No hay tal página." in spanish.words(spanish.get("/nowhere", 404))


def test_what_people_typed_stays_as_they_typed_it_and_the_journal_stays_english(spanish, names):
    """A reason in English, a customer called as a state is: neither is touched."""
    spanish.do("hold", item=names["waiting"], why="Drum found at gate, valve half shut")
    assert "Drum found at gate, valve half shut" in spanish.words(spanish.get("/holds"))
    spanish.do("take in", customer="Released", size="23.5-25", tires="1")
    html = spanish.get("/lists/tires").get_data(as_text=True)
    assert "Released" in html
    assert spanish.last()["body"]["said"]["customer"] == "Released"


def test_one_tap_in_the_footer_changes_the_language_and_comes_back_to_the_page(web):
    page = web.read("/racks?tire=1")
    tap = next(form for form in page.forms if form.action == "/preferences" and "back" in form.fields)
    answer = web.send(tap, language="es")
    assert answer.location == "/racks?tire=1"
    assert '<html lang="es"' in web.get("/racks").get_data(as_text=True)
    web.send(next(f for f in web.read("/racks").forms if f.action == "/preferences"), language="en")
    assert '<html lang="en"' in web.get("/racks").get_data(as_text=True)


@pytest.mark.parametrize(
    "back", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example", "/a\nb"]
)
def test_nobody_is_led_to_another_host(web, back):
    form = next(f for f in web.read("/").forms if f.action == "/preferences")
    assert web.send(form, language="es", back=back).location == "/preferences"


def test_a_station_without_a_person_asks_the_browser(web):
    web.client.post("/who/leave", data={"csrf_token": web.form("/who", "/who/leave").fields["csrf_token"][0]})
    for asked, got in (("es-MX,es;q=0.9,en;q=0.5", "es"), ("de", "en"), ("en-US", "en"), ("", "en")):
        html = web.client.get("/", headers={"Accept-Language": asked}).get_data(as_text=True)
        assert f'<html lang="{got}"' in html, asked


def test_a_person_s_language_comes_with_them_to_another_station(spanish):
    other = pages.Web(spanish.app, spanish.book)
    assert '<html lang="en"' in other.get("/who").get_data(as_text=True)
    other.choose("Lee")
    assert '<html lang="es"' in other.get("/").get_data(as_text=True)


def test_an_unknown_language_is_refused(web):
    form = next(
        f for f in web.read("/preferences").forms if "back" not in f.fields and f.action == "/preferences"
    )
    assert "There is no language" in web.said(web.send(form, 422, language="xx"))
    assert web.get("/static/words.js?language=xx", 404)


def test_the_scripts_have_their_words(spanish):
    said = spanish.get("/static/words.js?language=es").get_data(as_text=True)
    known = json.loads(said.removeprefix("window.ourWords = ").rstrip(";\n"))
    wanted = {one for said in script.words_of_scripts().values() for one in said}
    assert wanted and known.keys() == wanted
    assert 'src="/static/words.js?language=es&amp;v=' in spanish.get("/").get_data(as_text=True)


def test_the_api_answers_in_the_words_of_its_description(spanish):
    answer = spanish.client.get("/api/items", headers={"Accept-Language": "es"})
    assert (
        answer.status_code == 401
        and "ñ" not in answer.get_data(as_text=True)
        and "la " not in answer.get_json()["detail"]
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Tote is empty", "Está vacío el contenedor"), ("tote is empty.", "está vacío el contenedor."),
        ("A-1 is on hold since 16:40.", "A-1 está retenido desde las 16:40."), ("Nothing; A-1 is on hold since 16:40.", "Nothing; A-1 está retenido desde las 16:40."),
        ("Drum is by the gate", "Drum is by the gate"), ("", ""), ("42 kg", "42 kg"),
    ],
)  # fmt: skip
def test_a_sentence_of_the_rules_is_found_again_by_its_fixed_words(text, said):
    known = Catalogue(
        {
            "Tote is empty": "Está vacío el contenedor",
            "{item} is on hold since {when}.": "{item} está retenido desde las {when}.",
            "{a} is {b}": "{a} es {b}",
        }
    )
    assert known.said(text) == said


def test_words_in_a_template_are_written_as_html():
    known = Catalogue({"a < b": "a < b & <i>", "{x} here": "aquí {x}"})
    assert str(known.fill("a < b", {})) == "a &lt; b &amp; &lt;i&gt;"
    assert str(known.fill("{x} here", {"x": "<b>"})) == "aquí &lt;b&gt;"
