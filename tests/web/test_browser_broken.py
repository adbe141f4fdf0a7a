"""The fill over a bad connection, in a real browser: slow, cut off, answered and not heard, the program killed; and two people at one tire.

What is asked each time: is what was typed still there, and does it stand in the book once?
"""

from __future__ import annotations

import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request

import pytest

from fillbook.trace.book import on_hold, queries
from fillbook.trace.book.opening import open_book

PHONE = {"width": 390, "height": 844}


@pytest.fixture
def shop(chromium, serve, story, tmp_path, helpers):
    """The filled book, in which a tire is being filled on line 3; opens phones before it."""
    path, names = story
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    clock = helpers["Clock"](names["now"] + 600)
    one = Shop(chromium, serve(mine, clock).address, mine, names, tmp_path)
    one.clock = clock
    yield one
    one.close()


class Shop:
    def __init__(self, chromium, address, path, names, pictures):
        self.chromium, self.address, self.path, self.names, self.pictures = (
            chromium,
            address,
            path,
            names,
            pictures,
        )
        self.book, self.contexts = open_book(path), []
        self.fill = f"/cage/{names['line_3']}"

    def phone(self, name="Sam"):
        context = self.chromium.new_context(
            viewport=PHONE, base_url=self.address, has_touch=True, is_mobile=True
        )
        self.contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto("/who")
        with page.expect_navigation():
            page.get_by_role("button", name=name).click()
        return page

    def close(self):
        for context in self.contexts:
            context.close()
        self.book.db.close()

    def done(self, tire=None):
        """How often the fill was finished in the book."""
        return self.book.value(
            "SELECT count(*) FROM event WHERE kind = 'finish fill' AND text LIKE ?",
            f"%{tire or self.names['filling']}%",
        )

    def picture(self, page, name):
        page.screenshot(path=str(self.pictures / f"{name}.png"), full_page=True)


def type_in(page, weight="330", pressure="60"):
    page.locator("main [name=weight_g]").fill(weight)
    page.locator("main [name=pressure_pa]").fill(pressure)


def tap(page, words):
    page.locator("main").get_by_role("button", name=words, exact=True).click()


def typed(page):
    return page.locator("main [name=weight_g]").input_value(), page.locator(
        "main [name=pressure_pa]"
    ).input_value()


def filled(page):
    page.get_by_text(re.compile(r"filled: 330\.0 lb")).wait_for()


def test_a_slow_connection_says_that_it_sends_and_a_double_tap_is_one(shop):
    page = shop.phone()
    page.goto(shop.fill)
    type_in(page)
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send(
        "Network.emulateNetworkConditions",
        {"offline": False, "latency": 1500, "downloadThroughput": 20_000, "uploadThroughput": 20_000},
    )
    page.locator("main button.main").dblclick()
    page.get_by_role("button", name="Sending …").wait_for()
    filled(page)
    assert shop.done() == 1


def test_without_a_connection_it_says_so_and_is_sent_when_it_is_back(shop):
    page = shop.phone()
    page.goto(shop.fill)
    type_in(page)
    page.context.set_offline(True)
    tap(page, "DONE")
    page.get_by_text("Not sent: this device has no connection").wait_for()
    shop.picture(page, "not sent")
    assert typed(page) == ("330", "60") and shop.done() == 0
    page.context.set_offline(False)
    page.get_by_text("The connection is back").wait_for()
    tap(page, "Send again")
    filled(page)
    assert shop.done() == 1
    assert queries.fill(shop.book, shop.names["filling"]).at == shop.clock.now, "some seconds are nothing"


@pytest.mark.parametrize("closed", [False, True], ids=["the page stays open", "the page is closed"])
def test_what_was_done_without_a_connection_is_written_down_as_of_then(shop, closed):
    page = shop.phone()
    page.clock.install()
    page.goto(shop.fill)
    type_in(page)
    page.route("**/finish/**", lambda route: route.abort("connectionfailed"))
    tap(page, "DONE")
    page.get_by_text(re.compile("It is written down as of [0-2][0-9]:[0-5][0-9]")).wait_for()
    page.clock.fast_forward(20 * 60_000)
    shop.clock.now += 20 * 60
    if closed:
        page.goto("/")
        page.clock.fast_forward(60_000)
        shop.clock.now += 60
        page.goto(shop.fill)
        page.get_by_text(
            re.compile("no answer came.*It is written down as of [0-2][0-9]:[0-5][0-9]")
        ).wait_for()
    page.unroute("**/finish/**")
    tap(page, "DONE" if closed else "Send again")
    filled(page)
    late = shop.clock.now - queries.fill(shop.book, shop.names["filling"]).at
    assert late == pytest.approx(20 * 60 + 60 * closed, abs=30) and shop.done() == 1


def test_an_answer_that_was_not_heard_is_asked_again_and_written_once(shop):
    page = shop.phone()
    page.goto(shop.fill)
    type_in(page)
    heard = []

    def swallow(route):
        heard.append(route.request)
        if len(heard) == 1:
            cookies = page.context.cookies()
            route.fetch(max_redirects=0)  # the book has it
            page.context.add_cookies(cookies)
            route.abort("connectionreset")  # the phone never hears of it
        else:
            route.continue_()

    page.route("**/finish/**", swallow)
    tap(page, "DONE")
    page.get_by_text("No answer came from the book").wait_for()
    assert shop.done() == 1 and typed(page) == ("330", "60")
    tap(page, "Send again")
    page.get_by_text("it was not done twice").wait_for()
    assert len(heard) == 2 and shop.done() == 1


def test_a_form_sent_the_browsers_own_way_is_there_again_when_one_goes_back(shop):
    page = shop.phone()
    page.goto("/")
    page.goto(f"/do/purge?line={shop.names['line_2']}")
    page.locator("main [name=weight_g]").fill("4")
    request = page.locator("main [name=request]").input_value()

    def swallow(route):
        cookies = page.context.cookies()
        route.fetch(max_redirects=0)
        page.context.add_cookies(cookies)  # nothing of the answer reaches the phone
        route.abort("connectionreset")

    page.route("**/do/purge", swallow, times=1)
    before = shop.book.value("SELECT count(*) FROM event WHERE kind = 'purge'")
    tap(page, "Purge")
    page.wait_for_url("chrome-error://**")
    page.goto(f"/do/purge?line={shop.names['line_2']}")
    page.get_by_text("no answer came").wait_for()
    assert page.locator("main [name=weight_g]").input_value() == "4"
    assert page.locator("main [name=request]").input_value() == request
    with page.expect_navigation():
        tap(page, "Purge")
    assert shop.book.value("SELECT count(*) FROM event WHERE kind = 'purge'") == before + 1
    page.goto(f"/do/purge?line={shop.names['line_2']}")
    assert (
        page.locator("main .kept").count() == 0 and page.locator("main [name=weight_g]").input_value() == ""
    )


def test_a_closed_browser_finds_what_was_typed(shop):
    page = shop.phone()
    page.goto(shop.fill)
    type_in(page, "329")
    page.wait_for_timeout(300)
    context = page.context
    page.close()
    page = context.new_page()
    page.goto(shop.fill)
    page.get_by_text("typed on this device and not sent").wait_for()
    shop.picture(page, "kept")
    assert typed(page) == ("329", "60") and "Sam" in page.locator(".kept").inner_text()
    tap(page, "Clear it")
    page.locator(".kept").wait_for(state="detached")
    assert typed(page) == ("", "") and shop.done() == 0


def test_two_at_one_tire_see_the_difference_and_nobody_overwrites(shop):
    one, other = shop.phone("Sam"), shop.phone("Kim")
    for page in (one, other):
        page.goto(shop.fill)
    type_in(one, "330", "60")
    type_in(other, "345", "62")
    tap(one, "DONE")
    filled(one)
    tap(other, "DONE")
    other.get_by_text("moved on while the page was open").wait_for()
    words = " ".join(other.locator("main .changed").inner_text().split())
    shop.picture(other, "two at one tire")
    assert "Sam" in words and "330.0 lb" in words and "345 lb" in words and "62 psi" in words
    assert shop.done() == 1
    other.get_by_role("link", name="correct the fill").click()
    other.wait_for_url("**/book/*")
    assert (
        shop.book.value("SELECT grams FROM fill WHERE item = ?", shop.names["filling"]) == 149_685
    )  # 330 lb of 453.59237 g


def test_two_touch_go_on_one_tire_and_one_has_it(shop):
    one, other = shop.phone("Sam"), shop.phone("Kim")
    line = next(name for name in ("line", "line_2", "line_3") if _can_start(shop, name))
    for page in (one, other):
        page.goto(f"/cage/{shop.names[line]}?tire={shop.names['waiting']}")
    tap(one, "GO")
    one.get_by_role("button", name="DONE").wait_for()
    tap(other, "GO")
    other.get_by_text("moved on while the page was open").wait_for()
    assert "Sam" in other.locator("main .changed").inner_text()
    other.get_by_role("button", name="DONE").wait_for()  # and goes on from what the book says
    assert shop.book.value("SELECT count(*) FROM fill_start WHERE item = ?", shop.names["waiting"]) == 1


def _can_start(shop, name):
    there = queries.connected(shop.book, shop.names[name], shop.names["now"])
    free = queries.open_fill(shop.book, shop.names[name]) is None
    held = any(on_hold.holds_on(shop.book, item) for item in there.values())
    return free and {"A", "B"} <= set(there) and not held


def test_the_program_is_killed_in_mid_fill_and_started_again(chromium, story, tmp_path):
    path, names = story
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address, running, log = f"http://127.0.0.1:{port}", [], (tmp_path / "served.txt").open("w")

    def start():
        running.append(subprocess.Popen(
            [sys.executable, "-m", "fillbook", "--book", mine, "serve", "--port", str(port)], stdout=log, stderr=log
        ))  # fmt: skip
        for _ in range(200):
            try:
                urllib.request.urlopen(f"{address}/static/mark.svg", timeout=2).close()
                return
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the program did not start: " + (tmp_path / "served.txt").read_text())

    try:
        start()
        shop = Shop(chromium, address, mine, names, tmp_path)
        page = shop.phone()
        page.goto(shop.fill)
        type_in(page)
        running[-1].send_signal(signal.SIGKILL)
        running[-1].wait()
        tap(page, "DONE")
        page.get_by_text("No answer came from the book").wait_for()
        assert typed(page) == ("330", "60")
        start()
        tap(page, "Send again")
        filled(page)
        assert shop.done() == 1
        shop.close()
    finally:
        for one in running:
            one.kill()
            one.wait()
        log.close()
