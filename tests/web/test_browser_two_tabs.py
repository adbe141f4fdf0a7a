"""Two tabs of one device in a real browser: a page opened by one and sent under another's name asks once, also where it had been cut off."""

from __future__ import annotations

import re
import shutil

import pytest

from fillbook.trace.book.opening import open_book

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def device(chromium, serve, story, tmp_path, helpers):
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    served = serve(path, helpers["Clock"](story[1]["now"] + 600))
    context = chromium.new_context(viewport=PHONE, base_url=served.address)
    context.set_default_timeout(20_000)
    book = open_book(path)
    yield Device(context, book, story[1])
    context.close()
    book.db.close()


class Device:
    def __init__(self, context, book, names):
        self.context, self.book, self.names = context, book, names

    def works(self, name):
        """Somebody taps *name* in a tab of its own."""
        tab = self.context.new_page()
        tab.goto("/who")
        with tab.expect_navigation():
            tab.get_by_role("button", name=name).click()
        tab.close()

    def filling(self):
        page = self.context.new_page()
        page.goto(f"/cage/{self.names['line_3']}")
        page.fill("[name=weight_g]", "330")
        page.fill("[name=pressure_pa]", "60")
        return page

    def filled_by(self):
        rows = self.book.rows("SELECT who FROM fill WHERE item = ?", self.names["filling"])
        return [self.book.value("SELECT name FROM person WHERE item = ?", row.who) for row in rows]


def test_a_fill_typed_by_one_and_sent_under_another(device):
    device.works("Lee")
    page = device.filling()
    device.works("Sam")
    page.get_by_role("button", name="DONE").click()
    asked = page.get_by_role("button", name=re.compile("did it$"))
    asked.first.wait_for()
    assert asked.all_inner_texts() == ["Lee did it", "Sam did it"]  # and no button beside them
    assert (
        page.locator("form.verb > button").count() == page.locator("form.verb > button[hidden]").count() == 1
    )
    assert not page.locator("form.verb > button").first.is_visible()
    assert all(box["height"] >= 48 for box in (one.bounding_box() for one in asked.all()))
    assert page.input_value("[name=weight_g]") == "330" and device.filled_by() == []
    page.locator("[name=weight_g]").press("Enter")  # answers nothing: it is asked again
    asked.first.wait_for()
    page.wait_for_load_state()
    assert device.filled_by() == []
    with page.expect_navigation(url=re.compile("filled=")):
        page.get_by_role("button", name="Lee did it").click()
    assert device.filled_by() == ["Lee"]


def test_what_was_cut_off_is_sent_again_by_the_next_and_asks(device):
    device.works("Lee")
    page = device.filling()
    page.route("**/finish/**", lambda route: route.abort())
    page.get_by_role("button", name="DONE").click()
    page.get_by_role("button", name="Send again").wait_for()
    page.unroute("**/finish/**")
    device.works("Sam")
    page.goto(f"/cage/{device.names['line_3']}")
    assert "no answer came" in page.inner_text(".kept") and page.input_value("[name=weight_g]") == "330"
    page.get_by_role("button", name="DONE").click()
    with page.expect_navigation(url=re.compile("filled=")):
        page.get_by_role("button", name="Lee did it").click()
    assert device.filled_by() == ["Lee"]
