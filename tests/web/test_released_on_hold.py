"""A tire released by a lead alone, against the rules: released and held are said in one sentence, and each tire is named once."""

import re

import pytest


@pytest.fixture
def released(web, names):
    form = web.form(f"/desk/{names['held']}")
    return web.get(web.send(form, override="customer waits").headers["Location"])


def test_released_and_may_not_leave_is_one_sentence(web, names, released):
    words = web.words(released)
    assert "is released, but may not leave until the hold is lifted." in words
    assert "is released. " not in words and not re.search(r"BH-F25-\S+ is on hold\.", words)


def test_its_page_at_the_desk_is_not_all_green_and_offers_no_sending(web, names, released):
    page = web.get(f"/desk/{names['held']}")
    assert "verdict go" not in page.get_data(as_text=True) and "/do/dispatch" not in page.get_data(
        as_text=True
    )
    assert "It may not leave until the hold is lifted." in web.words(page)


def test_one_that_nothing_holds_is_simply_released(web, names):
    page = web.get(web.send(web.form(f"/desk/{names['cured']}")).headers["Location"])
    assert "is released. " in web.words(page) and "may not leave" not in web.words(page)
    assert "/do/dispatch" in page.get_data(as_text=True)


def test_a_refusal_names_the_tire_once(web, names):
    answer = web.client.post(f"/desk/{names['filling']}", data=web.form(f"/desk/{names['held']}").fields)
    for words in (web.words(answer), web.said(web.send(web.form(f"/desk/{names['held']}"), 409))):
        assert not re.search(r"(BH-F25-\d+-\w): (?:Waits for a second person: )?\1", words)


def test_an_empty_why_is_named_as_its_field(web, names):
    words = web.said(web.do("hold", 422, item=names["cured"], why=""))
    assert "Why is missing" not in words and "The field &#34;Why&#34; is empty" in words
