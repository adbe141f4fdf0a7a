"""What was over when its button was touched is entered as of then, where no connection let it through; and only that."""

import pytest

from fillbook.trace.book import queries
from fillbook.trace.core import times


def test_a_fill_ends_when_done_was_touched(web, names, clock):
    form, said = web.fill_form(names)
    clock.now += 1800
    web.send(form, **said, waited="1260")
    assert queries.fill(web.book, names["filling"]).at == clock.now - 1260
    assert web.last()["recorded_at"] > web.last()["happened_at"]


@pytest.mark.parametrize("waited", ["", "59", "-600", "600.5", "1e3", "soon", str(8 * 86_400), "9" * 30])
def test_some_seconds_are_nothing_and_nonsense_neither(web, names, clock, waited):
    form, said = web.fill_form(names)
    clock.now += 1800
    web.send(form, **said, waited=waited)
    assert queries.fill(web.book, names["filling"]).at == clock.now


def test_a_time_that_was_typed_counts(web, names, clock):
    form, said = web.fill_form(names)
    clock.now += 3600
    at = web.book.value("SELECT at FROM fill_start WHERE item = ?", names["filling"]) + 900
    zone = queries.timezone(web.book, "BH")
    web.send(form, **said, waited="1260", at=times.show(at, zone))
    assert abs(queries.fill(web.book, names["filling"]).at - at) < 60


def test_one_that_had_arrived_is_not_another(web, names, clock):
    """The book had it, the answer was lost: sent again some minutes later, it is the same."""
    form, said = web.fill_form(names)
    web.send(form, **said)
    ended, before = clock.now, web.head()
    clock.now += 900
    answer = web.send(form, **said, waited="900")
    assert web.head() == before and queries.fill(web.book, names["filling"]).at == ended
    assert "it was not done twice" in web.words(web.get(answer.location))


def test_a_time_that_cannot_be_is_now(web, names, clock):
    """The device's clock was put forward by hours between two touches: the fill would have ended before it began."""
    form, said = web.fill_form(names)
    clock.now += 600
    web.send(form, **said, waited=str(6 * 3600))
    assert queries.fill(web.book, names["filling"]).at == clock.now
    form.fields["request"] = ["another"]
    before = web.head()
    web.send(form, 409, **said, waited=str(6 * 3600))  # what is refused for something else stays refused
    assert web.head() == before


def test_what_is_asked_about_first_keeps_its_time(web, names, clock):
    form, said = web.fill_form(names)
    clock.now += 1800
    answer = web.send(form, 422, **{**said, "weight_g": "1e99"}, waited="1260")
    assert 'data-waited="1260"' in answer.get_data(as_text=True)


def test_a_fill_begins_when_the_book_says_so(web, names, clock):
    """Before GO the stops are read: without the book nobody has said that there are none."""
    page = f"/cage/{names['line_2']}?tire={names['waiting']}"
    web.do("hook up", line=names["line_2"], tote=names["spare_a"])
    web.do("hook up", line=names["line_2"], tote=names["fresh_b"])
    form = web.form(page, f"/cage/{names['line_2']}/start/{names['waiting']}")
    clock.now += 1800
    web.send(form, waited="1260")
    assert web.book.value("SELECT at FROM fill_start WHERE item = ?", names["waiting"]) == clock.now
