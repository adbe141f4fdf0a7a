"""A weight ten times off what such tires took before is asked back once at the tire, and recorded when it is sent again."""

import pytest

from fillbook.trace.book import queries


@pytest.fixture
def place(names):
    return f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}"


SAID = {"weight_g__unit": "lb", "pressure_pa": "60", "pressure_pa__unit": "psi", "mix_e4": "0"}


def again(web, answer, action):
    """The form as the answering page drew it."""
    reader = type(web.read("/"))(answer.get_data(as_text=True))
    return next(form for form in reader.forms if form.action == action)


def test_asked_once_then_recorded_and_held(web, names, place):
    answer = web.send(web.form(*place), 422, weight_g="33000", **SAID)
    said = web.words(answer)
    assert (
        "33000.0 lb is 100 times what 23.5-25 took before (330.7 lb). Press DONE again if it is so." in said
    )
    assert queries.fill(web.book, names["filling"]) is None
    form = again(web, answer, place[1])
    assert form.fields["weight_g"] == ["33000"]
    page = web.get(web.send(form).headers["Location"])
    assert "took" in web.words(page) and "Read the weight and its unit again" in web.words(page)
    assert queries.fill(web.book, names["filling"]) is not None


def test_another_weight_far_off_is_asked_anew(web, place):
    form = again(web, web.send(web.form(*place), 422, weight_g="33000", **SAID), place[1])
    assert "one part in 110 of what 23.5-25 took" in web.words(web.send(form, 422, weight_g="3", **SAID))


def test_put_right_it_goes_in_without_a_word(web, names, place):
    form = again(web, web.send(web.form(*place), 422, weight_g="33000", **SAID), place[1])
    page = web.get(web.send(form, weight_g="330", **SAID).headers["Location"])
    assert "is on hold" not in web.words(page)


def test_before_go_it_says_that_no_regrind_is_loaded(web, names):
    web.do("finish fill", tire=names["filling"], weight_g="330", pressure_pa="60", mix_e4="20")
    words = web.words(web.get(f"/cage/{names['line_3']}?tire={names['waiting']}"))
    assert "20 % regrind, and no regrind batch is loaded on line 3: load its hopper first." in words
    assert "A lead can override this with a reason." in words
