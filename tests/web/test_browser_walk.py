"""A week in the shop, walked through in a real browser: a truck, a fill, the rack, the desk that refuses and later releases, a recall."""

import re

import pytest

from fillbook.labels import proof
from fillbook.trace.book.opening import open_book
from fillbook.trace.core import ids, times


@pytest.fixture
def walk(chromium, serve, helpers, tmp_path):
    """A browser before an empty book, a clock in hand."""
    clock = helpers["Clock"](helpers["the_shop"].MONDAY)
    running = serve(str(tmp_path / "shop.db"), clock)
    context = chromium.new_context(viewport={"width": 390, "height": 844}, base_url=running.address)
    page = context.new_page()
    page.set_default_timeout(10_000)
    yield page, clock, str(tmp_path / "shop.db")
    context.close()


def fill_in(page, **typed):
    for name, value in typed.items():
        field = page.locator(f"main form.verb [name='{name}']").first
        if field.get_attribute("type") == "radio":
            page.locator(f"main form.verb [name='{name}'][value='{value}']").check(force=True)
        elif field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)


def press(page, words):
    with page.expect_navigation():
        page.locator("main").get_by_role("button", name=words, exact=True).click()


def do(page, verb, button=None, **typed):
    page.goto(f"/do/{verb.replace(' ', '-')}")
    fill_in(page, **typed)
    press(page, button or verb.capitalize())


def scan(page, text):
    """A hand scanner types and ends with Enter."""
    page.locator("#scan").focus()
    page.keyboard.type(text)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def print_labels(page):
    """Press Print and read the PDF back; the IDs on its pages in order."""
    form = page.locator("form[action='/labels.pdf']")
    sent = dict(form.evaluate("f => [...new FormData(f)].filter(([k]) => k !== 'ids')"))
    codes = form.evaluate("f => new FormData(f).getAll('ids')")
    from urllib.parse import urlencode

    answer = page.request.post(
        "/labels.pdf", data=urlencode([*sent.items(), *(("ids", code) for code in codes)]),
        headers={"Content-Type": "application/x-www-form-urlencoded"},
    )  # fmt: skip
    assert answer.status == 200 and answer.headers["content-type"] == "application/pdf"
    read = proof.read_back(answer.body())
    assert set(codes) <= set().union(*read)
    return codes


def test_a_week_in_the_shop(walk):
    page, clock, path = walk
    # the first evening
    page.goto("/")
    assert "This book is empty" in page.inner_text("main")
    fill_in(
        page,
        site="BH",
        name="Bramble Hill Tire Works",
        owner="Dana",
        timezone="America/Chicago",
        code="TEST-CHEX",
    )
    press(page, "Start the book")
    do(page, "add system", name="RX-30")
    do(page, "add line", name="line 1")
    do(page, "add zone", name="warm room")
    do(page, "add person", name="Lee", role="lead")
    do(page, "add person", name="Sam")
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()

    # a truck: two lots, a label for each tote
    totes = {}
    for side, lot in (("A", "A-11"), ("B", "B-11")):
        page.goto("/dock")
        fill_in(page, supplier="Northvale", lot=lot, side=side, net_g="2204")
        press(page, "Book in")
        assert "1 label to print" in page.inner_text("main")
        totes[side] = print_labels(page)[0]
        clock.now += 60

    # hook up by scanning on the line's page
    page.goto("/cage")
    line_page = page.url
    for side in "AB":
        page.goto(line_page)
        scan(page, f"HTTP://FILLBOOK.LOCAL/I/{totes[side]}")
        assert ids.pretty(totes[side]) == page.locator("main [name=tote]").input_value()
        press(page, "Hook up")
        clock.now += 60

    # two tires come in and get their tags
    do(page, "take in", customer="Quarry Nine", size="23.5-25", tires="2", rating_pa="75", target_pa="60")
    tire, other = print_labels(page)

    # the fill in two touches: scan, GO; scan, weight and pressure, DONE
    clock.now += 600
    page.goto("/cage")
    scan(page, tire)
    press(page, "GO")
    clock.now += 1200
    scan(page, tire)
    fill_in(page, weight_g="326.5", pressure_pa="60")
    press(page, "DONE")
    assert "filled: 326.5 lb" in page.inner_text("main")
    finished = clock.now

    # onto the rack: scan the zone, scan the tire
    clock.now += 300
    page.locator("main").get_by_role("link", name=re.compile("on a rack")).click()
    press(page, "Lay on the rack")
    assert ids.pretty(tire) in page.inner_text("main")

    # a lead comes too early: the desk refuses, in words that can be read from afar
    clock.now += 10 * 3600
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Lee").click()
    page.goto("/desk")
    scan(page, tire)
    assert page.locator(".verdict h1").inner_text() == "Not yet"
    assert float(page.locator(".verdict h1").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")) >= 40
    page.get_by_text("A lead may override").click()
    press(page, "Sign and release")
    assert "of the 48 h needed" in page.locator(".trouble").first.inner_text()
    book = open_book(path)
    assert book.value("SELECT count(*) FROM released") == 0

    # two days later the logger's file is in, and the same scan says Cured
    clock.now = finished + 56 * 3600
    page.goto("/who")  # a station that stood unused for a shift asks again
    with page.expect_navigation():
        page.get_by_role("button", name="Lee").click()
    lines = [f"{times.utc_text(at)},{75 + at // 600 % 2}" for at in range(finished - 3600, clock.now, 600)]
    page.goto("/racks")
    page.locator("main h2 a").first.click()
    page.get_by_role("link", name="Take in the logger's file").click()
    page.locator("#logger-file").set_input_files(
        {"name": "log.csv", "mimeType": "text/csv", "buffer": "\n".join(["time,temp_f", *lines]).encode()}
    )
    page.get_by_role("button", name="Show what is in it").click()
    page.get_by_role("button", name="Take these readings in").click()
    page.goto("/desk")
    scan(page, tire)
    assert page.locator(".verdict h1").inner_text() == "Cured"
    press(page, "Sign and release")
    assert page.locator(".verdict h1").inner_text() == "Released"
    assert "May work under load" in page.inner_text("main")
    assert book.value("SELECT path FROM released WHERE item = ?", tire) == "standard"

    # the lot turns out bad: the tire is on the list for certain, the one that was never filled is not
    page.goto("/recall")
    page.locator("main [name=suspect]").fill("A-11")
    press(page, "List")
    listed = page.locator("table.by-row").inner_text()
    assert ids.pretty(tire) in listed and ids.pretty(other) not in listed
    assert "certain" in page.inner_text("main") and "1 tire" in page.inner_text("main")
    fill_in(page, why="moisture in the drum")
    page.get_by_role("button", name="Open the recall").click()
    assert page.locator("h1").inner_text() == "Recall of Northvale/A-11"
    kinds = [kind for (kind,) in book.tuples("SELECT kind FROM event ORDER BY seq")]
    assert kinds == [
        "set up shop", "add system", "add line", "add zone", "add person", "add person", "receive", "print", "receive", "print",
        "hook up", "hook up", "take in", "print", "start fill", "finish fill", "rack", "log temperatures", "release", "open recall",
    ]  # fmt: skip
    book.db.close()


def test_a_double_touch_is_done_once(walk):
    page, _, path = walk
    page.goto("/setup")
    fill_in(page, site="BH", name="Bramble Hill Tire Works", owner="Dana", code="TEST-CHEX")
    press(page, "Start the book")
    page.goto("/do/add-line")
    fill_in(page, name="line 1")
    with page.expect_navigation():
        page.locator("main button.main").dblclick(no_wait_after=True)
    book = open_book(path)
    assert book.value("SELECT count(*) FROM event WHERE kind = 'add line'") == 1
    book.db.close()
