"""An event's page: what stands now leads, values in the reader's units, and a look at a correction before anybody gives its reason."""

import re

import pytest

from fillbook.trace.book import queries
from fillbook.trace.core import units


@pytest.fixture
def fill(web, names):
    return web.book.value("SELECT seq FROM fill WHERE item = ?", names["sent"])


def section(page, heading):
    return page.partition(f"<h2>{heading}</h2>")[2].partition("<h2>")[0]


def test_what_would_change_is_shown_before_any_reason_is_given(web, fill):
    before = web.head()
    answer = web.send(
        web.form(f"/book/{fill}"),
        200,
        look="yes",
        why="",
        **{"new-weight_g": "160", "new-weight_g__unit": "kg"},
    )
    assert "Nothing is written yet" in web.words(answer) and "becomes" in web.words(answer)
    assert web.head() == before
    form = next(
        f for f in type(web.read("/"))(answer.get_data(as_text=True)).forms if f.action == f"/book/{fill}"
    )
    assert form.fields["why"] == [""]


def test_the_correction_itself_takes_a_reason_named_as_the_page_names_it(web, fill):
    form = web.form(f"/book/{fill}")
    for why in ("", "  "):
        words = web.words(web.send(form, 422, why=why, **{"new-weight_g": "160"}))
        assert 'The field "What was wrong" is empty' in words and '"Why"' not in words


def test_after_a_correction_what_stands_now_comes_first(web, names, fill):
    web.send(
        web.form(f"/book/{fill}"),
        why="misread the gauge",
        **{"new-weight_g": "160", "new-weight_g__unit": "kg"},
    )
    page = web.get(f"/book/{fill}").get_data(as_text=True)
    assert page.index("What stands now") < page.index("What was first written")
    grams = queries.fill(web.book, names["sent"]).grams
    assert grams == 160_000
    assert units.show("mass", grams, "lb") in section(page, "What stands now")
    assert "misread the gauge" in section(page, "What stands now")
    assert units.show("mass", 150_000, "lb") in section(page, "What was first written")
    assert units.show("mass", 150_000, "lb") not in section(page, "What stands now")


def test_what_no_one_typed_stands_in_the_form_in_the_readers_units_and_stays_as_it_is(web, names, fill):
    web.send(
        web.form(f"/book/{fill}"),
        why="misread the gauge",
        **{"new-weight_g": "160", "new-weight_g__unit": "kg"},
    )
    pressure = queries.fill(web.book, names["sent"]).pressure_pa
    form = web.form(f"/book/{fill}")
    assert (form.fields["new-pressure_pa"], form.fields["new-pressure_pa.unit"]) == (["60"], ["psi"])
    web.send(form, why="looked once more", **{"new-weight_g": "161"})
    assert queries.fill(web.book, names["sent"]).pressure_pa == pressure


def test_a_voided_event_has_nothing_that_stands(web, names):
    seq = names["purge"]
    web.send(web.form(f"/book/{seq}"), void="yes", why="it was another line")
    page = web.get(f"/book/{seq}").get_data(as_text=True)
    assert "What stands now" not in page and "What was first written" in page and "voided" in page


@pytest.mark.parametrize(
    ("theirs", "weight", "pressure"), [("metric", "150.0 kg", "414 kPa"), ("us", "330.7 lb", "60 psi")]
)
def test_values_are_in_the_readers_units_and_what_was_typed_stands_beside(
    web, fill, theirs, weight, pressure
):
    web.send(web.form("/preferences"), units=theirs)
    shown = section(web.get(f"/book/{fill}").get_data(as_text=True), "What was written")
    said = re.sub(r"<small.*?</small>", "", shown, flags=re.DOTALL)
    assert weight in said and pressure in said
    beside = " ".join(re.findall(r"<small.*?</small>", shown, re.DOTALL))
    assert ("60 psi" in beside) == (theirs == "metric") and ("150 kg" in beside) == (theirs == "us")


def test_a_mixture_of_parts_shows_each_in_the_readers_units(web):
    seq = web.book.value("SELECT seq FROM event WHERE kind = 'grind'")
    web.send(web.form("/preferences"), units="us")
    shown = section(web.get(f"/book/{seq}").get_data(as_text=True), "What was written")
    assert "308.6 lb" in shown and "44.1 lb" in shown  # 140 kg and 20 kg


def test_a_fill_follows_its_start_and_its_page_says_from_where(web, names, fill):
    """Who puts a start right sees beforehand what comes with it, and the fill's own page says why it is another now."""
    started = web.book.value("SELECT seq FROM fill_start WHERE item = ?", names["sent"])
    look = web.words(
        web.send(
            web.form(f"/book/{started}"),
            200,
            look="yes",
            why="",
            **{"new-casing_mc": "20", "new-casing_mc__unit": "f"},
        )
    )
    assert "cold start: nothing becomes yes" in look
    web.send(
        web.form(f"/book/{started}"),
        why="misread the gun",
        **{"new-casing_mc": "20", "new-casing_mc__unit": "f"},
    )
    assert queries.fill(web.book, names["sent"]).cold
    page = web.words(web.get(f"/book/{fill}"))
    assert f"follows from the correction of event {started}" in page and "misread the gun" in page
    web.get(f"/book/{web.head()}")
