"""A page that one opened and another's name sends asks once who did it; nothing is written until it is said."""

import html
import re

import pytest

from fillbook.trace.core import ids


def person(web, name):
    return web.book.value("SELECT item FROM person WHERE name = ?", name)


def asked(answer):
    """The names and values of the two buttons of the question, in order."""
    return re.findall(
        r'<button name="did_it" value="(\w+)"[^>]*>([^<]+)</button>', answer.get_data(as_text=True)
    )


@pytest.fixture
def tabs(web, names):
    """Lee opened the form for holding a tote; Sam's name was tapped in another tab."""
    web.choose("Lee")
    form = web.form("/do/hold")
    web.choose("Sam")
    return form


def test_it_is_asked_with_one_touch_each_and_keeps_what_was_typed(web, names, tabs):
    before = web.head()
    answer = web.send(tabs, 422, item=names["spare_b"], why="its valve drips")
    assert web.head() == before
    page = html.unescape(answer.get_data(as_text=True))
    assert "This page was opened by Lee; Sam works here now. Who did it?" in page
    kept = again(web, answer).fields
    assert page.count("Who did it?") == 1 and kept["why"] == ["its valve drips"]
    assert ids.read(kept["item"][0]) == names["spare_b"]
    assert asked(answer) == [(person(web, "Lee"), "Lee did it"), (person(web, "Sam"), "Sam did it")]


@pytest.mark.parametrize("name", ["Lee", "Sam"])
def test_who_is_named_stands_in_the_journal(web, names, tabs, name):
    answer = web.send(tabs, 422, item=names["spare_b"], why="its valve drips")
    form = again(web, answer)
    web.send(form, did_it=person(web, name))
    done = web.last()
    assert done["kind"] == "hold" and done["who"] == person(web, name) and not done["signed_by"]
    assert done["request"] == tabs.fields["request"][0]
    assert "Sam" in web.get("/").get_data(as_text=True).split("data-who=")[1][:60]  # the station stays Sam's


def again(web, answer):
    """The form as the answer draws it."""
    reader = type(web.read("/"))
    return next(form for form in reader(answer.get_data(as_text=True)).forms if form.action == "/do/hold")


def test_an_answer_is_kept_while_something_else_is_put_right(web, names, tabs):
    form = again(web, web.send(tabs, 422, item=names["spare_b"], why="its valve drips"))
    answer = web.send(form, 422, did_it=person(web, "Lee"), why="")
    assert not asked(answer)
    web.send(again(web, answer), why="its valve drips")
    assert web.last()["who"] == person(web, "Lee")


def test_nobody_is_asked_where_the_same_person_works_on(web, names):
    web.choose("Lee")
    form = web.form("/do/hold")
    web.choose("Sam")
    web.choose("Lee")
    web.send(form, item=names["spare_b"], why="its valve drips")
    assert web.last()["who"] == person(web, "Lee")


def test_a_name_that_is_neither_is_asked_again(web, names, tabs):
    for made_up in (person(web, "Dana"), "BHP2600001X", ":"):
        answer = web.send(tabs, 422, item=names["spare_b"], why="its valve drips", did_it=made_up)
        assert len(asked(answer)) == 2, made_up


def test_who_was_chosen_in_the_form_itself_counts_as_having_opened_it(web, names):
    web.client.post("/who/leave", data={"csrf_token": web.form("/who").fields["csrf_token"][0]})
    form = web.form("/do/hold")
    assert form.fields["opened_by"] == [""] and "who" in form.fields
    web.choose("Sam")
    answer = web.send(form, 422, item=names["spare_b"], why="its valve drips", who=person(web, "Lee"))
    assert [words for _, words in asked(answer)] == ["Lee did it", "Sam did it"]
    web.send(again(web, answer), did_it=person(web, "Lee"))
    assert web.last()["who"] == person(web, "Lee")


def test_a_page_from_before_the_field_is_taken_as_ever(web, names):
    web.choose("Lee")
    form = web.form("/do/hold")
    web.choose("Sam")
    web.send(form, opened_by=None, item=names["spare_b"], why="its valve drips")
    assert web.last()["who"] == person(web, "Sam")


def test_a_tote_change_remembers_which_of_its_two_buttons_was_touched(web, names):
    line = names["line_3"]
    path = f"/cage/{line}/change/{names['change']}"
    web.choose("Lee")
    form = web.form(path, path)
    web.choose("Sam")
    answer = web.send(form, 422, change="ran dry", how_full="1/2")
    page = answer.get_data(as_text=True)
    assert 'name="pressed" value="change:ran dry"' in page
    reader = type(web.read("/"))
    form = next(one for one in reader(page).forms if one.action == path)
    web.send(form, did_it=person(web, "Lee"))
    done = web.last()
    assert (done["kind"], done["who"]) == ("hook up", person(web, "Lee"))
    assert (done["body"]["said"]["change"], done["body"]["said"]["how_full"]) == ("ran dry", "1/2")


def test_what_was_asked_back_before_is_not_asked_twice(web, names):
    web.choose("Lee")
    form = web.form("/do/set-limit?limit=cure_standard", "/do/set-limit")
    web.choose("Dana")
    reader = type(web.read("/"))
    answer = web.send(form, 422, to="12", source="data sheet")
    questions = []
    for _ in range(3):
        form = next(
            one for one in reader(answer.get_data(as_text=True)).forms if one.action == "/do/set-limit"
        )
        questions.append(len(asked(answer)))
        if asked(answer):
            answer = web.send(form, did_it=person(web, "Dana"))
            break
        answer = web.send(form, 422)
    assert questions == [0, 2]  # the value first, then the person, and the value not once more
    assert web.last()["kind"] == "set limit" and web.last()["who"] == person(web, "Dana")


def test_looking_at_what_a_correction_would_change_asks_nobody(web, names):
    seq = web.book.value("SELECT seq FROM event WHERE kind = 'hold' ORDER BY seq LIMIT 1")
    web.choose("Lee")
    form = web.form(f"/book/{seq}", f"/book/{seq}")
    web.choose("Dana")
    before = web.head()
    assert not asked(web.send(form, 200, look="yes", **{"new-why": "found damp"})) and web.head() == before
