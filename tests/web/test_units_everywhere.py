"""Whoever chose other units than the shop's meets no value in the shop's alone, on any page, in any picture, whichever way round."""

import ast
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fillbook.trace.core import labelling, units
from fillbook.trace.web.help import jobs
from fillbook.trace.work import registry
from tests.web import conftest as pages

ROOT = Path(__file__).resolve().parents[2]
UNITS = {"us": "°F|lb|psi|in(?! doubt)", "metric": "°C|kg|kPa|bar|mm|cm"}
#: Attributes of the markup that hold no words.
NO_WORDS = {"href", "src", "action", "d", "class", "id", "name", "content", "points", "transform", "viewbox"}
#: Label stock is called by its size in the unit it is sold in.
STOCK = re.compile("|".join(re.escape(size) for size in labelling.SIZES))


class Values(HTMLParser):
    """Every text of a page, those of its pictures and attributes too; but the journal's own lines and what somebody typed."""

    def __init__(self, html):
        super().__init__()
        self.found, self._quiet = [], []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        if tag in ("script", "style", "pre", "textarea"):
            self._quiet.append(tag)
        self.found += [value for name, value in attributes if value and name not in NO_WORDS]

    def handle_endtag(self, tag):
        if self._quiet and self._quiet[-1] == tag:
            self._quiet.pop()

    def handle_data(self, data):
        if not self._quiet:
            self.found.append(" ".join(data.split()))


def only_in(theirs, text):
    """Whether *text* has a value in units that are not those of *theirs*, and none in theirs beside it."""
    other = next(name for name in UNITS if name != theirs)
    has = {name: re.search(rf"\d ?({UNITS[name]})(?![\w-])", text) for name in UNITS}
    return bool(has[other] and not has[theirs])


def left_in_other_units(html, theirs, typed=()):
    texts = (STOCK.sub(" ", text) for text in Values(html).found)
    return [text for text in texts if only_in(theirs, text) and text not in typed]


@pytest.mark.parametrize(("theirs", "of_the_shop"), [("metric", "us"), ("us", "metric")])
def test_no_page_shows_a_value_in_the_shops_units_alone(web, names, theirs, of_the_shop):
    web.book.execute("UPDATE shop SET units = ?", [of_the_shop])
    typed = {
        part
        for (text,) in web.book.tuples("SELECT text FROM event")
        for part in re.findall(r'": ?"([\d.]+ [^"]{1,4})"', text)
    }
    addresses = [
        *pages.places_to_look(names).values(),
        *pages.more_to_look(names),
        *(f"/do/{verb.command}" for verb in registry.everything().values()),
        *(f"/help/{job.name}" for job in jobs.JOBS),
    ]
    wrong, looked = {}, 0
    for path in (
        addresses
    ):  # somebody who reads the shop's looked first: nothing that was kept for them is shown to others
        web.client.get(path, buffered=True, follow_redirects=True)
    web.send(web.form("/preferences"), units=theirs)
    for path in addresses:
        page = web.client.get(path, buffered=True, follow_redirects=True)
        if page.mimetype == "text/html":
            looked += 1
            for text in left_in_other_units(page.get_data(as_text=True), theirs, typed):
                wrong.setdefault(text, path)
    assert looked > 100
    assert "\n".join(f"{path}: {text}" for text, path in wrong.items()) == ""


def test_what_blocks_a_tire_on_the_racks_and_at_the_desk_is_said_in_the_readers_units(web, names):
    """90 psi over 75 psi; NIST SP 811: 1 psi = 6.894 757 kPa, so 621 over 517 kPa."""
    for path in ("/racks", f"/racks/{names['zone']}", f"/desk/{names['held']}"):
        assert "90 psi lies above the lowest rating, 75 psi" in web.words(web.get(path)), path
    web.send(web.form("/preferences"), units="metric")
    for path in ("/racks", f"/racks/{names['zone']}", f"/desk/{names['held']}"):
        assert "621 kPa lies above the lowest rating, 517 kPa" in web.words(web.get(path)), path


def test_an_event_shows_what_nobody_typed_in_the_readers_units_too(web):
    """A cup takes half a kilogram where nothing was said: 0.5 kg are 1.1 lb. A zone's longest gap is a quarter of an hour."""
    cup = web.book.value("SELECT seq FROM cup")
    gap = web.book.value("SELECT min(seq) FROM zone")
    for theirs, weight in (("us", "1.1 lb"), ("metric", "0.5 kg")):
        web.send(web.form("/preferences"), units=theirs)
        assert f"Weight {weight}" in web.words(web.get(f"/book/{cup}")).replace("Weight", "Weight ").replace(
            "  ", " "
        )
        assert "0.25 h" in web.words(web.get(f"/book/{gap}"))


def test_the_test_above_would_see_one():
    page = '<p>At 72 °F</p><td data-name="32.5 lb"></td><svg><text>4 in</text></svg><p>72 °F (22.2 °C)</p><p>1 in doubt</p>'
    assert left_in_other_units(page, "metric") == ["At 72 °F", "32.5 lb", "4 in"]
    assert left_in_other_units("<p>22 °C</p>", "us") == ["22 °C"] and not left_in_other_units(
        "<p>22 °C</p>", "metric"
    )


#: Where a sentence speaks of a file's own column, whose unit is what is asked about.
OF_A_FILE = {"trace/core/logger.py", "trace/core/logger_formats.py", "trace/core/units.py"}


def test_a_sentence_that_is_frozen_says_both_units():
    """A finding is kept as it was written and read by people who count in either: whatever measures, measures twice."""
    wrong, seen = [], 0
    for folder in ("trace/core", "trace/book", "trace/work"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if name in OF_A_FILE:
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if not isinstance(node, ast.JoinedStr):
                    continue
                said = "".join(
                    str(part.value) if isinstance(part, ast.Constant) else "1" for part in node.values
                )
                said = STOCK.sub(" ", said)
                has = [re.search(rf"\d ?({UNITS[one]})(?![\w-])", said) for one in UNITS]
                measures = any(one and one[1] != "in" for one in has) and not re.fullmatch(r"1 \S+", said)
                seen += measures
                if measures and not all(has):
                    wrong.append(f"{name}:{node.lineno}: {said}")
    assert seen, "nothing was found to look at"
    assert wrong == [], "write them with units.kg_lb, units.c_f or units.mm_in"


def test_both_units_stand_side_by_side():
    """NIST SP 811, Appendix B: 1 lb = 0.453 592 37 kg, 1 in = 25.4 mm, t/°F = 1.8 t/°C + 32."""
    assert units.kg_lb(1_000) == "1.0 kg (2.2 lb)" and units.kg_lb(453, digits=2) == "0.45 kg (1.00 lb)"
    assert units.c_f(-40_000) == "-40 °C (-40 °F)" and units.mm_in(60) == "6 mm (0.24 in)"
