"""The scan box before a hand scanner, in a real browser: it keeps the focus, knows a scanner by its speed, and is heard and seen."""

from __future__ import annotations

import io
import shutil

import pytest
import segno

from fillbook.trace.core import ids, keyboards

#: Stands in for the loudspeaker: every tone is noted.
EAR = """
window.heard = JSON.parse(sessionStorage.getItem("heard") || "[]");
class Note { constructor() { this.gain = this; this.frequency = { set value(hz) { window.heard.push(hz); sessionStorage.setItem("heard", JSON.stringify(window.heard)); } }; }
  connect(next) { return next; } start() {} stop() {} setValueAtTime() {} setTargetAtTime() {} }
window.AudioContext = class { constructor() { this.currentTime = 0; } createOscillator() { return new Note(); } createGain() { return new Note(); } close() {} };
"""


@pytest.fixture
def station(chromium, serve, story, tmp_path, helpers):
    path, names = story
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    running = serve(mine, helpers["Clock"](names["now"] + 600))
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, base_url=running.address, has_touch=True, is_mobile=True
    )
    context.add_init_script(EAR)
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()
    yield page, names
    context.close()


def focused(page):
    return page.evaluate(
        "document.activeElement.id || document.activeElement.name || document.activeElement.tagName"
    )


def scanner(page, text, end="Enter"):
    """As a hand scanner: wherever the focus is."""
    with page.expect_navigation():
        page.keyboard.type(text)
        page.keyboard.press(end)


def test_the_box_keeps_the_focus(station):
    page, _ = station
    page.goto("/cage")
    assert focused(page) == "scan"
    page.locator("main h1").first.tap(position={"x": 5, "y": 5})
    assert focused(page) == "scan"
    page.evaluate("document.activeElement.blur()")
    page.locator("footer span").first.tap()
    assert focused(page) == "scan"
    # the keyboard on the screen stays away until a finger is put on the box
    assert page.locator("#scan").evaluate("e => e.inputMode") == "none"
    page.locator("#scan").tap()
    assert page.locator("#scan").evaluate("e => e.inputMode") == "text"


def test_a_scanner_that_ends_with_tab_and_one_set_to_another_language(station):
    page, names = station
    page.goto("/")
    scanner(page, f"HTTP://FILLBOOK.LOCAL/I/{names['sent']}", "Tab")
    assert page.url.endswith(f"/i/{names['sent']}")
    scanner(page, keyboards.typed_as(f"HTTP://FILLBOOK.LOCAL/I/{names['cured']}", "US", "German"))
    assert page.url.endswith(f"/i/{names['cured']}") and "keyboard is German" in page.inner_text("main")


def test_a_scan_while_the_weight_is_typed_leaves_the_weight(station):
    page, names = station
    page.goto(f"/cage/{names['line_3']}")
    assert focused(page) == "finish-fill-f-weight-g"
    page.keyboard.type("330", delay=120)
    page.wait_for_timeout(400)
    scanner(page, f"HTTP://FILLBOOK.LOCAL/I/{names['change']}")
    assert page.url.endswith(f"/change/{names['change']}")
    page.get_by_role("link", name="Back to the fill").click()
    page.get_by_text("typed on this device and not sent").wait_for()
    assert page.locator("main [name=weight_g]").input_value() == "330"


def test_a_code_scanned_into_its_field_does_not_send_the_form(station):
    page, names = station
    page.goto("/do/hook-up")
    field = page.locator("main [name=tote]")
    field.focus()
    page.keyboard.type(f"HTTP://FILLBOOK.LOCAL/I/{names['spare_a']}")
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert (
        field.input_value().endswith(names["spare_a"])
        and page.url.endswith("/do/hook-up")
        and focused(page) != "hook-up-f-tote"
    )


def test_the_echo_is_ignored_and_said(station):
    page, names = station
    asked = []
    page.on("request", lambda one: asked.append(one.url) if one.url.endswith("/scan") else None)
    page.goto("/")
    scanner(page, names["sent"])
    page.locator("#scan").focus()
    page.keyboard.type(names["sent"])
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert len(asked) == 1 and page.locator("#scan").get_attribute("placeholder") == "The same again: ignored"
    page.wait_for_timeout(2000)
    scanner(page, names["sent"])
    assert len(asked) == 2


def test_good_and_bad_are_told_apart_by_word_colour_and_tone(station, tmp_path):
    page, names = station
    page.goto("/")
    scanner(page, names["change"])
    box = page.locator("#scan")
    assert box.get_attribute("placeholder") == f"Read: {names['change']}" and "go" in box.get_attribute(
        "class"
    )
    good = page.evaluate("heard")
    page.screenshot(path=str(tmp_path / "read.png"))
    wrong = names["sent"][:-1] + ("Z" if names["sent"][-1] != "Z" else "Y")
    page.goto("/holds")
    page.keyboard.type(wrong, delay=120)  # a hand types it
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "Stop" in box.get_attribute("placeholder") and "stop" in box.get_attribute("class")
    page.screenshot(path=str(tmp_path / "stop.png"))
    bad = page.evaluate("heard")[len(good) :]
    scanner(page, names["held"])  # the next scan replaces what was read wrong
    assert page.url.endswith(f"/i/{names['held']}")
    assert good and bad and not set(good) & set(bad)
    page.get_by_role("button", name="Sound is on").click()
    quiet = page.evaluate("heard")
    page.goto("/")
    scanner(page, names["cured"])
    assert page.evaluate("heard") == quiet and page.get_by_role("button", name="Sound is off").count() == 1


def test_a_photograph_from_the_phones_camera(station, tmp_path):
    page, names = station
    page.goto(f"/cage/{names['line']}")
    camera = page.locator("form.scan input[type=file]")
    assert camera.get_attribute("capture") == "environment"
    picture = io.BytesIO()
    segno.make(f"HTTP://FILLBOOK.LOCAL/I/{names['waiting']}", error="h").save(picture, kind="png", scale=9)
    with page.expect_navigation():
        camera.set_input_files({"name": "tag.png", "mimeType": "image/png", "buffer": picture.getvalue()})
    assert page.url.endswith(f"/cage/{names['line']}?tire={names['waiting']}")
    assert ids.pretty(names["waiting"]) in page.inner_text("main")
    with page.expect_navigation():
        camera.set_input_files({"name": "tag.png", "mimeType": "image/png", "buffer": b"no picture"})
    assert "no picture" in page.locator("main .trouble").inner_text()
    page.screenshot(path=str(tmp_path / "no picture.png"))


def test_everything_at_the_top_of_the_page_takes_a_gloved_finger(station):
    page, names = station
    for path in (
        f"/cage/{names['line_3']}",
        f"/cage/{names['line']}?tire={names['waiting']}",
        f"/cage/{names['line_3']}/change/{names['change']}",
    ):
        page.goto(path)
        small = page.evaluate(
            "[...document.querySelectorAll('#scan, form.scan button, form.scan .camera, main button, main .button, main input:not([type=radio]):not([type=hidden]):not([type=file]), main .pick, main summary')]"
            ".filter(e => e.offsetParent && e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 80))"
        )
        assert small == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
