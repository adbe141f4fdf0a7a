"""A fill without its final pressure waits for a second person: the form says so, and asks once before it is written."""

import pytest

from fillbook.trace.book import queries

SAID = {"weight_g": "330", "weight_g__unit": "lb", "pressure_pa__unit": "psi", "mix_e4": "0"}


@pytest.fixture
def place(names):
    return f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}"


def again(web, answer, action):
    reader = type(web.read("/"))(answer.get_data(as_text=True))
    return next(form for form in reader.forms if form.action == action)


@pytest.mark.parametrize("path", ["{cage}", "/do/finish-fill"])
def test_the_label_says_what_an_empty_pressure_means(web, place, path):
    page = web.get(path.format(cage=place[0])).get_data(as_text=True)
    label = page.partition(">Final pressure")[2].partition("</label>")[0]
    assert "if known" not in label and "empty: on hold" in label


def test_asked_once_then_written_and_held(web, names, place):
    answer = web.send(web.form(*place), 422, pressure_pa="", **SAID)
    words = web.words(answer)
    assert (
        "second person" in words
        and "Press DONE again" in words
        and "aria-invalid" in answer.get_data(as_text=True)
    )
    assert queries.fill(web.book, names["filling"]) is None
    form = again(web, answer, place[1])
    assert form.fields["weight_g"] == ["330"]
    page = web.get(web.send(form).headers["Location"])
    assert "is on hold" in web.words(page) and queries.fill(web.book, names["filling"]).pressure_pa is None


def test_typed_when_asked_it_goes_in_without_a_hold(web, names, place):
    form = again(web, web.send(web.form(*place), 422, pressure_pa="", **SAID), place[1])
    page = web.get(web.send(form, pressure_pa="60").headers["Location"])
    assert "is on hold" not in web.words(page) and queries.fill(web.book, names["filling"]).pressure_pa


def test_with_an_unusual_weight_both_are_asked_at_once(web, names, place):
    said = {**SAID, "weight_g": "33000"}
    answer = web.send(web.form(*place), 422, pressure_pa="", **said)
    words = web.words(answer)
    assert "100 times" in words and "second person" in words
    assert web.send(again(web, answer, place[1])).status_code == 303
    assert queries.fill(web.book, names["filling"]) is not None


def test_an_answer_to_the_one_is_none_to_the_other(web, place):
    form = again(web, web.send(web.form(*place), 422, pressure_pa="", **SAID), place[1])
    assert "100 times" in web.words(web.send(form, 422, weight_g="33000"))
    form = again(
        web, web.send(web.form(*place), 422, **{**SAID, "weight_g": "33000", "pressure_pa": "60"}), place[1]
    )
    assert "second person" in web.words(web.send(form, 422, pressure_pa=""))
