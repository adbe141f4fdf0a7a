"""Two devices at one tire, in a real browser: what was typed on one is offered on the other, taken over by a touch and never unseen."""

from __future__ import annotations

import json
import re
import shutil
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from fillbook.trace.book.opening import open_book

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def shop(chromium, serve, story, tmp_path, helpers):
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    served = serve(path, helpers["Clock"](story[1]["now"] + 600))
    one = Shop(chromium, served.address, path, story[1], tmp_path)
    yield one
    one.close()


class Shop:
    def __init__(self, chromium, address, path, names, pictures):
        self.chromium, self.address, self.names, self.pictures = chromium, address, names, pictures
        self.book, self.contexts = open_book(path), []
        self.fill = f"/cage/{names['line_3']}"

    def device(self, name):
        """A phone of its own, at the tire's page; *name* works there."""
        context = self.chromium.new_context(
            viewport=PHONE, base_url=self.address, has_touch=True, is_mobile=True
        )
        self.contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto("/who")
        with page.expect_navigation():
            page.get_by_role("button", name=name).click()
        page.goto(self.fill)
        return page

    def close(self):
        for context in self.contexts:
            context.close()
        self.book.db.close()

    def drafts(self):
        return self.book.value("SELECT count(*) FROM draft")

    def written(self):
        """(grams, who) of the finished fill, and how often it was finished."""
        rows = self.book.rows("SELECT grams, who FROM fill WHERE item = ?", self.names["filling"])
        return [
            (row.grams, self.book.value("SELECT name FROM person WHERE item = ?", row.who)) for row in rows
        ]


def type_in(page, weight, pressure, wait=True):
    """As fingers do: the weight in pounds, the pressure in psi."""
    page.locator("main [name=weight_g]").fill(weight)
    answer = lambda got: "/draft/" in got.url and got.ok  # noqa: E731
    if not wait:
        page.locator("main [name=pressure_pa]").fill(pressure)
        return
    with page.expect_response(answer):
        page.locator("main [name=pressure_pa]").fill(pressure)


def typed(page):
    return page.locator("main [name=weight_g]").input_value(), page.locator(
        "main [name=pressure_pa]"
    ).input_value()


def done(page):
    page.locator("main").get_by_role("button", name="DONE", exact=True).click()
    page.get_by_text(re.compile(r"filled: ")).wait_for()


def test_what_a_dead_tablet_held_is_taken_over_on_another_with_one_touch(shop):
    one = shop.device("Sam")
    type_in(one, "330", "60")
    shop.contexts.pop().close()  # its battery is empty
    other = shop.device("Kim")
    other.get_by_text(re.compile(r"Sam typed 330 lb, 60 psi at \d\d:\d\d.*not sent")).wait_for()
    assert typed(other) == ("", ""), "nothing is filled in unseen"
    other.screenshot(path=str(shop.pictures / "offered.png"), full_page=True)
    other.get_by_role("button", name="Take it over").click()
    assert typed(other) == ("330", "60")
    other.get_by_text("Taken over from Sam").wait_for()
    other.screenshot(path=str(shop.pictures / "taken.png"), full_page=True)
    done(other)
    assert shop.drafts() == 0 and shop.written() == [(149685, "Kim")]  # 330 lb


def test_two_people_at_once_see_each_other_and_the_later_one_is_stopped(shop):
    one, other = shop.device("Sam"), shop.device("Kim")
    type_in(one, "330", "60")
    type_in(other, "340", "61")
    other.get_by_text(re.compile(r"Sam typed 330 lb, 60 psi")).wait_for()
    type_in(one, "331", "60")
    one.get_by_text(re.compile(r"Kim typed 340 lb, 61 psi")).wait_for()
    assert typed(one) == ("331", "60") and typed(other) == ("340", "61")
    done(one)
    other.locator("main").get_by_role("button", name="DONE", exact=True).click()
    other.get_by_text("This tire moved on while the page was open.").wait_for()
    assert "340" in other.locator("main .changed").inner_text(), "what was typed and not taken is still said"
    assert shop.drafts() == 0 and len(shop.written()) == 1 and shop.written()[0][1] == "Sam"


def test_who_types_on_after_another_finished_is_told_at_once(shop):
    one, other = shop.device("Sam"), shop.device("Kim")
    type_in(other, "340", "61")
    type_in(one, "330", "60")
    done(one)
    type_in(other, "341", "61")
    other.get_by_text(re.compile("Sam finished this fill at")).wait_for()
    assert typed(other) == ("341", "61") and shop.drafts() == 0


def test_taking_over_can_be_taken_back(shop):
    one, other = shop.device("Sam"), shop.device("Kim")
    type_in(one, "330", "60")
    type_in(other, "340", "61")
    other.get_by_role("button", name="Take it over").click()
    assert typed(other) == ("330", "60")
    other.get_by_role("button", name="Put back what stood here").click()
    assert typed(other) == ("340", "61")


def test_a_draft_typed_without_a_connection_is_offered_once_it_is_back(shop):
    one = shop.device("Sam")
    one.context.set_offline(True)
    type_in(one, "330", "60", wait=False)
    one.wait_for_timeout(1200)
    assert shop.drafts() == 0 and typed(one) == ("330", "60")
    one.context.set_offline(False)
    with one.expect_response(lambda got: "/draft/" in got.url and got.ok):
        one.goto(shop.fill)
    assert typed(one) == ("330", "60"), "as today: kept on the device"
    assert shop.drafts() == 1


def test_a_fill_that_could_not_be_sent_is_offered_too(shop):
    one = shop.device("Sam")
    one.context.set_offline(True)
    type_in(one, "330", "60", wait=False)
    one.locator("main").get_by_role("button", name="DONE", exact=True).click()
    one.get_by_text("Not sent: this device has no connection").wait_for()
    with one.expect_response(lambda got: "/draft/" in got.url and got.ok):
        one.context.set_offline(False)
    shop.contexts.pop().close()
    other = shop.device("Kim")
    other.get_by_text("Sam typed 330 lb, 60 psi").wait_for()
    other.get_by_role("button", name="Take it over").click()
    done(other)
    assert shop.written() == [(149685, "Kim")] and shop.drafts() == 0


def test_a_cleared_form_takes_its_draft_away(shop):
    one = shop.device("Sam")
    type_in(one, "330", "60")
    one.goto(shop.fill)
    with one.expect_navigation():
        one.get_by_role("button", name="Clear it").click()
    assert shop.drafts() == 0 and typed(one) == ("", "")


def offered(page):
    return page.locator("#drafts .draft > span").all_inner_texts()


def test_what_was_taken_over_is_offered_once_on_a_third_device(shop):
    one, other = shop.device("Sam"), shop.device("Kim")
    type_in(one, "330", "60")
    other.goto(shop.fill)
    with other.expect_response(lambda got: "/draft/" in got.url and got.ok):
        other.get_by_role("button", name="Take it over").click()
    third = shop.device("Lee")
    assert [words[:25] for words in offered(third)] == ["Kim typed 330 lb, 60 psi "[:25]]
    other.reload()  # taken over still, after another look at the page
    with other.expect_response(lambda got: "/draft/" in got.url and got.ok):
        other.locator("main [name=weight_g]").fill("331")
    third.reload()
    assert len(offered(third)) == 1 and offered(third)[0].startswith("Kim typed 331 lb, 60 psi")
    type_in(one, "335", "60")  # the first one goes on after all: said again
    third.reload()
    assert len(offered(third)) == 2


def test_what_is_put_back_is_offered_by_the_first_again(shop):
    one, other = shop.device("Sam"), shop.device("Kim")
    type_in(one, "330", "60")
    type_in(other, "340", "61")
    for name in ("Take it over", "Put back what stood here"):
        with other.expect_response(lambda got: "/draft/" in got.url and got.ok):
            other.get_by_role("button", name=name).click()
    third = shop.device("Lee")
    assert sorted(words[:24] for words in offered(third)) == [
        "Kim typed 340 lb, 61 psi",
        "Sam typed 330 lb, 60 psi",
    ]


def test_the_hour_it_was_kept_is_the_shops(shop):
    context = shop.chromium.new_context(base_url=shop.address, timezone_id="Asia/Tokyo", locale="en-US")
    shop.contexts.append(context)
    page = context.new_page()
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()
    page.goto(shop.fill)
    type_in(page, "330", "60")
    page.goto(shop.fill)
    words = page.locator(".kept span").inner_text()
    stored = page.evaluate("Object.entries(localStorage).find(([name]) => name.startsWith('typed:'))[1]")
    zone = ZoneInfo(shop.book.value("SELECT timezone FROM shop"))
    wanted = {f"{datetime.fromtimestamp(json.loads(stored)['at'] / 1000 - s, zone):%H:%M}" for s in (0, 60)}
    assert words.startswith(tuple(f"Kept from {one} (Sam):" for one in wanted)), words
