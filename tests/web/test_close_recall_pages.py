"""Closing a recall on its page: what is open is shown first, a reason is asked for it, and the closed one says by whom and when."""

import pytest

from fillbook.trace.core import ids


@pytest.fixture
def path(names):
    return f"/recall/{names['recall']}"


def test_the_page_of_an_open_recall_leads_to_its_closing(web, path):
    page = web.get(path)
    assert "still open" in web.words(page) and f'href="{path}/close"' in page.get_data(as_text=True)
    assert "no outcome yet" in web.words(page)


def test_what_has_no_outcome_is_listed_with_whose_it_is_and_where(web, names, path):
    words = web.words(web.get(f"{path}/close"))
    assert "Without an outcome" in words and ids.pretty(names["held"]) in words and "racked" in words
    assert "Quarry Nine" in words


def test_closing_with_open_tires_asks_a_reason_and_then_freezes_all(web, names, path):
    before = web.head()
    answer = web.send(web.form(f"{path}/close"), 409, note="all called")
    assert "of 2 listed tires has no outcome yet" in web.said(answer) and web.head() == before
    form = next(f for f in web_forms(web, answer) if f.action == f"{path}/close")
    assert form.fields["note"] == ["all called"] and "override" in form.fields
    web.send(form, override="the quarry keeps them and knows")
    words = web.words(web.get(path))
    assert "closed" in words and "Lee" in words and "all called" in words
    assert "the quarry keeps them and knows" in words and "still open" not in words
    assert "closed" in web.words(web.get("/recall"))


def web_forms(web, answer):
    return type(web.read("/recall"))(answer.get_data(as_text=True)).forms


def closed(web, path):
    form = web.form(f"{path}/close")
    web.send(form, note="all called", override="they know")
    return web.last()["seq"]


def test_a_closed_recall_is_not_closed_again(web, path):
    closed(web, path)
    assert web.get(f"{path}/close", 303).headers["Location"] == path
    answer = web.do("close recall", 422, recall=path.split("/")[-1], note="again")
    assert "was closed at" in web.said(answer)


def test_voiding_the_closing_opens_it_again(web, path):
    seq = closed(web, path)
    web.send(web.form(f"/book/{seq}"), void="yes", why="one more turned up")
    assert "still open" in web.words(web.get(path))
    closed(web, path)


def test_a_late_word_that_changes_the_list_stands_on_the_floor_and_on_the_recalls_page(web, names, path):
    closed(web, path)
    seq = web.book.value("SELECT seq FROM fill WHERE item = ?", names["held"])
    web.send(web.form(f"/book/{seq}"), void="yes", why="it was another tire")
    for where in (path, "/"):
        words = web.words(web.get(where))
        assert "was closed on" in words and "fewer" in words, where
    assert "Open it again" in web.words(web.get(path))


def test_no_recall_has_no_closing(web, names):
    assert "opened no recall" in web.words(web.get("/recall/1/close", 404))


def test_whom_to_tell_names_each_customer_with_the_tires_they_have(web, names):
    """Of a lot whose tires are out, on a rack and cut out: only those that are out; one that came back is told no more."""
    web.do("open recall", suspect="B-11", why="drum found open")
    path = f"/recall/{web.book.value('SELECT max(seq) FROM recall')}"
    page = web.words(web.get(path))
    told = page[page.index("Whom to tell") : page.index("certain", page.index("Whom to tell"))]
    assert "Quarry Nine" in told and ids.pretty(names["sent"]) in told and "L-0" in told
    assert ids.pretty(names["cured"]) not in told and ids.pretty(names["reclaimed"]) not in told
    assert f'href="/do/return?tire={names["sent"]}"' in web.get(path).get_data(as_text=True)
    web.do("return", tire=names["sent"], complaint="called back")
    page = web.words(web.get(path))
    told = page[page.index("Whom to tell") : page.index("certain", page.index("Whom to tell"))]
    assert ids.pretty(names["sent"]) not in told
