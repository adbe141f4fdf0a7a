"""What was read at the dock outlives a closed page: offered when the dock is opened again, and forgotten once the lot is booked in.

Codes by the GS1 General Specifications; 952 is GS1's prefix for demonstrations.
"""

from __future__ import annotations

import contextlib

import pytest
from playwright.sync_api import Error

from fillbook.trace.book.opening import open_book

CODES = ["(01)09521234543213", "(10)NB-3000", "(17)271130", "(21)S-77"]
KEPT = "scanned or typed on this device and not booked in"


@pytest.fixture
def dock(sams_phone):
    page, _, path = sams_phone
    book = open_book(path)
    one = Dock(page, book)
    one.open()
    yield one
    book.db.close()


class Dock:
    def __init__(self, page, book):
        self.page, self.book = page, book

    def open(self):
        self.page.goto("/dock")
        self.page.wait_for_load_state("load")

    def closed_and_opened(self):
        """The tab is closed, and another is opened at the same device."""
        context = self.page.context
        self.page.close()
        self.page = context.new_page()
        self.page.set_default_timeout(15_000)
        self.open()

    def scan(self, *codes):
        self.page.locator("#supplier-code").focus()
        for code in codes:
            self.page.keyboard.type(code)
            self.page.keyboard.press("Enter")

    def read(self, many):
        self.page.locator(".read-codes li").nth(many - 1).wait_for()
        assert self.page.locator(".read-codes li").count() == many
        return self.page.locator(".read-codes code").all_inner_texts()

    def value(self, name):
        return self.page.locator(f"main [name='{name}']").input_value()

    def fill_in(self):
        self.page.locator("main [name=supplier]").fill("Northvale")
        for label in ("A · isocyanate", "RX-30"):
            self.page.locator("main .pick", has_text=label).first.click()
        self.page.locator("main [name=net_g]").fill("2204")

    def book_in(self):
        with self.page.expect_navigation():
            self.page.locator("main button.main").click()

    def receipts(self):
        return self.book.value("SELECT count(*) FROM event WHERE kind = 'receive'")


def test_codes_that_were_read_are_there_again_until_the_lot_is_booked_in(dock):
    before = dock.receipts()
    dock.scan(*CODES)
    dock.read(4)
    dock.closed_and_opened()
    assert dock.read(4) == CODES
    assert KEPT in dock.page.locator(".kept").inner_text()
    assert dock.value("lot") == "NB-3000"
    dock.fill_in()
    dock.book_in()
    assert dock.receipts() == before + 1
    assert "(21)S-77" in dock.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1")
    dock.open()
    dock.page.wait_for_timeout(300)
    assert not dock.page.locator(".kept, .read-codes").count() and dock.value("lot") == ""


def test_what_a_hand_changed_after_the_codes_stays_as_it_was_changed(dock):
    dock.scan(*CODES)
    dock.read(4)
    dock.page.locator("main [name=totes]").fill("3")
    dock.page.locator("main [name=use_by]").fill("")
    dock.fill_in()
    dock.page.wait_for_timeout(300)
    dock.closed_and_opened()
    dock.read(4)
    dock.page.wait_for_timeout(300)
    assert [dock.value(name) for name in ("totes", "use_by", "supplier", "net_g", "lot")] == [
        "3", "", "Northvale", "2204", "NB-3000",
    ]  # fmt: skip
    assert "you had" not in dock.page.locator("#supplier-label").inner_text()
    dock.closed_and_opened()  # and once more
    dock.read(4)
    dock.page.wait_for_timeout(300)
    assert (dock.value("totes"), dock.value("use_by")) == ("3", "")


def test_codes_that_waited_for_a_connection_are_read_when_the_dock_is_opened_again(dock):
    dock.scan(CODES[0])
    dock.read(1)
    dock.page.route("**/dock/read*", lambda route: route.abort())
    dock.scan(*CODES[1:])
    dock.page.get_by_text("No answer came yet.").wait_for()
    dock.page.wait_for_timeout(300)
    dock.closed_and_opened()
    assert dock.read(4) == CODES
    assert dock.value("lot") == "NB-3000"


def test_without_a_connection_what_was_read_is_named_and_comes_with_it(dock):
    dock.scan(*CODES[:2])
    dock.read(2)
    context = dock.page.context
    context.route("**/dock/read*", lambda route: route.abort())
    dock.closed_and_opened()
    dock.page.get_by_text("No answer came yet.").wait_for()
    assert ", ".join(CODES[:2]) in dock.page.locator("#read-trouble").inner_text()
    assert dock.value("lot") == "NB-3000"
    dock.closed_and_opened()
    context.unroute("**/dock/read*")
    assert dock.read(2) == CODES[:2]


def test_a_torn_code_is_still_asked_for(dock):
    dock.scan(CODES[0], "-3000")
    dock.page.locator(".supplier-label .note.hold").wait_for()
    dock.closed_and_opened()
    dock.page.locator(".supplier-label .note.hold", has_text="-3000").wait_for()
    dock.scan(CODES[1])
    assert dock.read(2) == CODES[:2]
    assert not dock.page.locator(".supplier-label .note.hold").count()


def test_one_code_is_left_out_by_a_touch_and_stays_left_out(dock):
    dock.scan(*CODES)
    dock.read(4)
    dock.fill_in()
    dock.page.locator(".read-codes li", has_text=CODES[1]).get_by_role("button", name="Leave it out").click()
    dock.page.locator(".read-codes li", has_text=CODES[1]).wait_for(state="detached")
    assert dock.read(3) == [CODES[0], *CODES[2:]]
    assert dock.value("lot") == "" and dock.value("supplier") == "Northvale" and dock.value("net_g") == "2204"
    dock.page.wait_for_timeout(300)
    dock.closed_and_opened()
    assert dock.read(3) == [CODES[0], *CODES[2:]] and dock.value("lot") == ""


@pytest.mark.parametrize("how", ["Begin anew", "Clear it"])
def test_begun_anew_nothing_is_offered(dock, how):
    dock.scan(*CODES[:2])
    dock.read(2)
    dock.closed_and_opened()
    dock.read(2)
    with dock.page.expect_navigation():
        dock.page.locator("main").get_by_text(how, exact=True).click()
    dock.page.wait_for_timeout(300)
    dock.closed_and_opened()
    dock.page.wait_for_timeout(300)
    assert not dock.page.locator(".kept, .read-codes").count() and dock.value("lot") == ""


def test_booked_in_without_an_answer_it_is_booked_in_once(dock):
    before = dock.receipts()
    dock.scan(*CODES)
    dock.read(4)
    dock.fill_in()

    def lost(route):
        route.fetch(max_redirects=0)
        route.abort()

    dock.page.route(
        "**/dock", lambda route: lost(route) if route.request.method == "POST" else route.continue_()
    )
    with contextlib.suppress(Error):
        dock.page.locator("main button.main").click()
        dock.page.wait_for_timeout(1000)
    assert dock.receipts() == before + 1
    dock.closed_and_opened()
    assert dock.read(4) == CODES
    assert "no answer came" in dock.page.locator(".kept").inner_text()
    dock.book_in()
    assert dock.receipts() == before + 1
    dock.open()
    dock.page.wait_for_timeout(300)
    assert not dock.page.locator(".kept, .read-codes").count()


def test_a_photograph_that_was_not_read_is_said_to_be_lost(dock):
    dock.page.route("**/dock/read*", lambda route: route.abort())
    dock.page.set_input_files(
        "#supplier-photo", {"name": "label.jpg", "mimeType": "image/jpeg", "buffer": b"x" * 99}
    )
    dock.page.get_by_text("No answer came yet.").wait_for()
    dock.page.wait_for_timeout(300)
    dock.closed_and_opened()
    dock.page.get_by_text("is not kept: take it again").wait_for()
