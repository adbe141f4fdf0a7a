"""A morning on the racks in a browser: the logger's file, the racks that stay fresh, several tires with one signature, the list."""

import importlib.util
import os
from pathlib import Path

import pytest

from fillbook.trace.book.opening import open_book
from fillbook.trace.core import ids, times

_looks = importlib.util.spec_from_file_location(
    "looks_for_cure", Path(__file__).with_name("test_browser_looks.py")
)
looks = importlib.util.module_from_spec(_looks)
_looks.loader.exec_module(looks)


@pytest.fixture
def morning(chromium, serve, helpers, shop):
    """Three tires that lay two days and a half in the warm room, and one filled last night; the logger's file is not in yet."""
    shop.ready_line(kg=5000)
    old = [shop.fill() for _ in range(3)]
    shop.rack(*old)
    began = shop.now - 3600
    shop.wait(hours=56)
    young = shop.fill()
    shop.rack(young)
    loose = shop.fill()
    shop.wait(hours=8)
    clock = helpers["Clock"](shop.now)
    shop.book.db.close()
    running = serve(shop.book.where, clock)
    opened = []

    def at(width, height, scheme="light"):
        context = chromium.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, base_url=running.address
        )
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        page.goto("/who")
        with page.expect_navigation():
            page.get_by_role("button", name="Lee").click()
        return page

    yield at, clock, shop, old, young, loose, began
    for context in opened:
        context.close()


def keep(page, tmp_path, name):
    """A picture of the page beside the test's other output; where FILLBOOK_PICTURES names a folder, there."""
    folder = Path(os.environ.get("FILLBOOK_PICTURES") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(folder / f"{name}.png"), full_page=True)


def scan_in_page(page, text):
    """No page loads; the next scan need not wait for what came of this one."""
    page.keyboard.type(text)
    page.keyboard.press("Enter")


@pytest.mark.parametrize(("width", "height", "scheme"), [(375, 800, "light"), (1440, 900, "dark")])
def test_a_leads_morning(morning, tmp_path, width, height, scheme):
    at, clock, shop, old, young, loose, began = morning
    page = at(width, height, scheme)
    failed = []
    page.on("console", lambda message: failed.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: failed.append(str(error)))

    # the racks stand open; nothing has been logged
    page.goto("/racks")
    assert page.locator(f"tr[data-row='{old[0]}']").inner_text().count("Not yet") == 1
    page.locator(f"tr[data-row='{old[2]}'] a").first.focus()
    there = page.url

    # meanwhile, at another station, the logger's file is looked at and taken in
    other = at(width, height, scheme)
    other.goto(f"/zones/{shop.zone}/file")
    rows = "".join(
        f"{times.local(t, 'America/Chicago'):%m/%d/%Y;%H:%M:%S};{74 + t // 300 % 3}\n"
        for t in range(began - 3600, clock.now - 60, 300)
    )
    other.set_input_files(
        "#logger-file",
        {"name": "own.csv", "mimeType": "text/csv", "buffer": f"Date;Time;Temp °F\n{rows}".encode()},
    )
    other.get_by_role("button", name="Show what is in it").click()
    assert "Nothing is stored yet" in other.inner_text("main") and "month, day, year" in other.inner_text(
        "main"
    )
    assert other.evaluate(looks.MEASURE) == []
    keep(other, tmp_path, f"file-{width}")
    other.get_by_role("button", name="Take these readings in").click()
    assert "were taken in" in other.inner_text("main") and other.locator("svg.plot").is_visible()
    keep(other, tmp_path, f"zone-{width}")

    # the racks say so without being loaded again, and the focus stays
    clock.now += 60
    page.evaluate("document.title = 'the same page'; window.dispatchEvent(new Event('online'))")
    page.locator(f"tr[data-row='{old[0]}']", has_text="Cured").wait_for()
    assert page.title() == "the same page" and page.url == there
    assert page.evaluate("document.activeElement.closest('tr').dataset.row") == old[2]
    shown = f"{times.local(clock.now, 'America/Chicago'):%H:%M}"
    page.locator("#fresh", has_text=f"as of {shown}").wait_for()
    keep(page, tmp_path, f"racks-{width}")

    # where the server is silent, the page says that what stands there is old
    page.context.set_offline(True)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.get_by_text("does not answer").wait_for()
    page.context.set_offline(False)
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.get_by_text("does not answer").wait_for(state="detached")
    failed[:] = [words for words in failed if "ERR_INTERNET_DISCONNECTED" not in words]

    # a zone once, then tires: each scan lays one
    scan_in_page(page, shop.zone)
    scan_in_page(page, ids.pretty(loose))
    page.get_by_text(f"{ids.pretty(loose)} lies in warm room now").wait_for()

    # several with one signature
    page.goto("/desk/several")
    for tire in (*old, young):
        scan_in_page(page, tire)
    page.locator("h1 small", has_text="4").wait_for()
    verdict = page.locator(".verdict .as-h1")
    assert (
        verdict.inner_text() == "Not yet"
        and float(verdict.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")) >= 40
    )
    assert page.evaluate(looks.MEASURE) == []
    keep(page, tmp_path, f"several-{width}")
    page.get_by_role("button", name="Sign and release 3 tires").click()
    assert "3 tires are released with one signature" in page.inner_text("main")
    book = open_book(shop.book.where)
    assert sorted(book.tuples("SELECT item FROM released")) == sorted((tire,) for tire in old)
    assert book.value("SELECT count(*) FROM event WHERE kind = 'release'") == 1
    book.db.close()

    # the list for the round
    page.goto("/racks")
    with page.expect_download() as got:
        page.get_by_role("link", name="Morning list to print").click()
    assert Path(got.value.path()).read_bytes().startswith(b"%PDF")
    assert failed == []
