"""A tire that has left: its hours stopped counting when it was released or left, and the desk offers what comes next for it."""

import re

import pytest

from fillbook.trace.book import cures
from fillbook.trace.work import acting

DAY = 86_400


def act(web, clock, verb, who="Lee", override=None, **fields):
    done = acting.act(
        web.book, acting.Action(verb, fields, who=who, override=override, shop="BH"), now=clock.now
    )
    clock.now += 60
    return done


def unobserved(web, tire, now):
    return cures.answer(web.book, tire, now)["unobserved_s"]


def test_days_on_the_road_are_no_unobserved_hours(web, names, clock):
    tire = names["sent"]
    released = web.book.value("SELECT at FROM released WHERE item = ?", tire)
    at_the_signature = cures.case(web.book, tire, released, knowing_release=True).cure
    for days in (0, 1, 30):
        now = clock.now + days * DAY
        assert unobserved(web, tire, now) == at_the_signature.unobserved_s
        assert cures.answer(web.book, tire, now)["credited_s"] == at_the_signature.credited_s
    clock.now += 30 * DAY
    shown = re.findall(r"unobserved, not counted</dt><dd>(\d+) h", web.get(f"/desk/{tire}").text)
    assert [int(hours) for hours in shown] in ([], [at_the_signature.unobserved_s // 3600])


def test_after_it_came_back_they_do_not_begin_again(web, names, clock):
    tire = names["sent"]
    before = unobserved(web, tire, clock.now)
    act(web, clock, "return", tire=tire, complaint="soft on one side")
    clock.now += 5 * DAY
    assert unobserved(web, tire, clock.now) == before


def test_one_sent_out_against_the_rules_stops_when_it_left(web, names, clock):
    tire = names["held"]
    act(web, clock, "dispatch", override="customer stands at the gate", tires=[tire])
    before = unobserved(web, tire, clock.now)
    clock.now += 5 * DAY
    assert unobserved(web, tire, clock.now) == before


def test_on_the_rack_the_hours_nobody_measured_still_show(web, names, clock):
    tire = names["held"]
    before = unobserved(web, tire, clock.now)
    assert unobserved(web, tire, clock.now + DAY) >= before + DAY - 3600


def test_the_desk_offers_that_it_came_back(web, names):
    page = web.get(f"/desk/{names['sent']}").text
    assert f'href="/do/return?tire={names["sent"]}">It came back' in page and "Print its tag" in page


@pytest.fixture
def kept_back(web, names, clock):
    """A released tire that a hold keeps here."""
    act(
        web,
        clock,
        "close recall",
        override="each drum was looked at",
        recall=names["recall"],
        note="each drum was looked at",
    )
    act(web, clock, "release", tire=names["cured"])
    act(web, clock, "hold", item=names["cured"], why="a second look was asked for")
    return names["cured"]


def test_a_released_tire_on_hold_is_not_to_be_sent(web, names, kept_back):
    page = web.get(f"/i/{kept_back}").text
    assert re.search(r'button main" href="/holds"', page) and not re.search(
        r'button main" href="/do/dispatch', page
    )
    first, _, folded = page.partition("<details")
    assert "/do/dispatch" not in first and "/do/dispatch" in folded  # a lead's override stays in reach
    assert f"/do/dispatch?tires={kept_back}" not in web.get("/desk").text


def test_one_that_nothing_holds_goes_out_by_the_main_button(web, names, kept_back, clock):
    act(web, clock, "lift", item=kept_back, why="looked at it again", who="Dana")
    assert re.search(r'button main" href="/do/dispatch', web.get(f"/i/{kept_back}").text)
    assert f"/do/dispatch?tires={kept_back}" in web.get("/desk").text
