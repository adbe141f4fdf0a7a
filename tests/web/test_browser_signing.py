"""Signing with a phone in the hand: a badge for the day's work, a PIN for a release, and what five wrong ones lead to."""

import re
import shutil

import pytest

from fillbook.trace.book import queries, sign_ins
from fillbook.trace.book.opening import open_book
from fillbook.trace.work import pins

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def phone(chromium, serve, story, tmp_path, helpers):
    """A phone before the filled book, in which Lee and Dana have PINs: (page, book, clock, names)."""
    path, names = story
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    book = open_book(mine)
    with book.transaction():
        for name, pin in (("Lee", "402817"), ("Dana", "7391")):
            sign_ins.keep(book, "BH", queries.person(book, "BH", name)["item"], pin=pins.kept(pin))
    clock = helpers["Clock"](names["now"])
    running = serve(mine, clock)
    context = chromium.new_context(base_url=running.address, viewport=PHONE, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.set_default_timeout(15_000)
    yield page, book, clock, names
    context.close()
    book.db.close()


def badge(page, book, name):
    """A hand scanner types what stands on a badge, and Enter."""
    page.locator("#scan").focus()
    page.keyboard.type(f"HTTP://FILLBOOK.LOCAL/I/{queries.person(book, 'BH', name)['item']}")
    with page.expect_navigation():
        page.keyboard.press("Enter")


def press(page, words):
    with page.expect_navigation():
        page.locator("main").get_by_role("button", name=words, exact=True).click()


def sign(page, pin):
    page.locator("main [name=pin]").fill(pin)
    press(page, "Sign and release")


def test_a_badge_for_the_days_work_a_pin_for_a_release_and_five_wrong_ones_wait(phone):
    page, book, clock, names = phone
    page.goto("/")
    badge(page, book, "Sam")
    assert "Sam works here" in page.inner_text("main") or "Sam works at this station" in page.inner_text(
        "main"
    )

    # an everyday act: no PIN anywhere
    page.goto("/do/hold")
    assert page.locator("[name=pin]").count() == 0
    page.locator("main [name=item]").fill(names["batch"])
    page.locator("main [name=why]").fill("smells odd")
    press(page, "Hold")
    assert book.value("SELECT count(*) FROM hold WHERE why = 'smells odd'") == 1

    # the lead's badge, then the desk: the PIN stands beside the name, with the numbers' keypad, as large as a glove
    badge(page, book, "Lee")
    page.goto(f"/desk/{names['cured']}")
    field = page.locator("main [name=pin]")
    assert field.get_attribute("inputmode") == "numeric" and field.get_attribute("type") == "password"
    assert field.bounding_box()["height"] >= 48
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert page.locator("main [name=signed_by] option:checked").inner_text().startswith("Lee")

    # five wrong ones
    for n in range(5):
        sign(page, "118823")
        words = page.locator(".trouble").first.inner_text()
        assert page.locator("main [name=pin]").input_value() == ""
        assert ("more wrong" in words) == (n < 4), words
    until = re.search(r"5 wrong PINs for Lee: nobody signs as Lee until (\d{4}-\d\d-\d\d \d\d:\d\d)", words)
    assert until, words
    assert book.value("SELECT count(*) FROM event WHERE kind = 'wrong PINs'") == 1

    # the right one waits as well; a minute later it is taken
    sign(page, "402817")
    assert "nobody signs as Lee" in page.locator(".trouble").first.inner_text()
    clock.now += 61
    sign(page, "402817")
    assert page.locator(".verdict h1").inner_text() == "Released"
    assert book.value("SELECT count(*) FROM released WHERE item = ?", names["cured"]) == 1
