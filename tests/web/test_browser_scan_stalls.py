"""Scans that stall, come slowly, or come one after the other while a page is busy, in a real browser: none is torn, none is lost."""

from __future__ import annotations

import json

import pytest

from fillbook.trace.book.opening import open_book


@pytest.fixture
def station(sams_phone):
    page, names, mine = sams_phone
    book = open_book(mine)
    yield page, names, book
    book.db.close()


def kept(page):
    """What the device keeps of the weight typed here; empty where it keeps nothing."""
    found = page.evaluate(
        "Object.entries(localStorage).filter(([name]) => name.startsWith('typed:')).map(([, one]) => one)"
    )
    return [json.loads(one)["said"]["weight_g"][0] for one in found]


# -- a number's field --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("stalls", [[11], [11, 14], [3]], ids=["in the middle", "twice", "early"])
@pytest.mark.parametrize("typed", ["330", ""], ids=["a weight typed", "none"])
def test_a_scan_that_stalls_in_the_weight_is_whole_and_the_weight_stays(station, stalls, typed):
    page, names, book = station
    page.goto(f"/cage/{names['line_3']}")
    weight = page.locator("main [name=weight_g]")
    weight.focus()
    page.keyboard.type(typed, delay=120)
    page.wait_for_timeout(400)
    code, at = f"HTTP://X/I/{names['change']}", 0
    with page.expect_navigation():
        for stall in stalls:
            page.keyboard.type(code[at:stall])
            page.wait_for_timeout(400)  # longer than between two keys of a run, and than a draft waits
            assert kept(page) == ([typed] if typed else []), "half a label is no weight"
            at = stall
        page.keyboard.type(code[at:])
        page.keyboard.press("Enter")
    assert page.url.endswith(f"/change/{names['change']}")
    page.goto(f"/cage/{names['line_3']}")
    assert page.locator("main [name=weight_g]").input_value() == typed
    drafts = [json.loads(one.said).get("weight_g", [""])[0] for one in book.rows("SELECT said FROM draft")]
    assert drafts == ([typed] if typed else [])


@pytest.mark.parametrize("ms", [40, 90, 170])
def test_a_code_that_comes_slowly_into_a_number_is_a_scan_and_sends_nothing(station, ms):
    page, names, _ = station
    page.goto(f"/cage/{names['line_3']}")
    page.locator("main [name=weight_g]").focus()
    sent = []
    page.on(
        "request",
        lambda one: sent.append(one.url) if one.method == "POST" and "/finish/" in one.url else None,
    )
    with page.expect_navigation():
        page.keyboard.type(names["change"], delay=ms)
        page.keyboard.press("Enter")
    assert page.url.endswith(f"/change/{names['change']}") and not sent


def test_half_a_scan_and_the_same_label_once_more(station):
    page, names, _ = station
    page.goto(f"/cage/{names['line_3']}")
    page.locator("main [name=weight_g]").focus()
    code = f"HTTP://X/I/{names['change']}"
    page.keyboard.type(code[:11])
    page.wait_for_timeout(2300)
    assert kept(page) == []
    with page.expect_navigation():
        page.keyboard.type(code)
        page.keyboard.press("Enter")
    assert page.url.endswith(f"/change/{names['change']}")


def test_a_number_and_its_unit_typed_by_hand_is_no_scan(station):
    page, names, _ = station
    page.goto(f"/cage/{names['line_3']}")
    page.locator("main [name=weight_g]").focus()
    page.keyboard.type("330 odd", delay=120)
    page.keyboard.press("Enter")
    page.locator("main .error, main .trouble").first.wait_for()
    assert "330 odd" in page.inner_text("main")


# -- the dock ------------------------------------------------------------------------------------------------------------------
CODES = [
    "(01)09521234543213",
    "(10)NB-3000",
    "(17)271130",
    "(21)S-77",
]  # 952 is GS1's prefix for demonstrations


def read_so_far(page):
    return page.locator(".read-codes code").all_inner_texts()


def slow_reading(page, ms):
    """The server takes its time, as over a poor radio."""

    def later(route):
        page.wait_for_timeout(ms)
        route.continue_()

    page.route("**/dock/read*", later)


@pytest.mark.parametrize("between", [0, 100, 700])  # ms; at 700 the form was drawn anew before the next code
@pytest.mark.parametrize("key", ["Enter", "Tab"])
def test_four_codes_of_one_label_scanned_in_a_rush_all_arrive_whole(station, between, key):
    page, _, _ = station
    page.goto("/dock")
    page.locator("main [name=supplier]").fill("Northvale")
    page.locator("#supplier-code").focus()
    for code in CODES:
        page.keyboard.type(code)
        page.keyboard.press(key)
        page.wait_for_timeout(between)
    page.locator(".read-codes li").nth(3).wait_for()
    assert read_so_far(page) == CODES
    assert page.locator("main [name=lot]").input_value() == "NB-3000"
    assert page.locator("main [name=supplier]").input_value() == "Northvale"
    assert page.locator("#supplier-code").input_value() == ""
    assert page.evaluate("document.activeElement.id") == "supplier-code"


def test_what_is_typed_while_a_code_is_read_stays(station):
    page, _, _ = station
    page.goto("/dock")
    slow_reading(page, 700)
    page.locator("#supplier-code").focus()
    page.keyboard.type(CODES[1])
    page.keyboard.press("Enter")
    page.locator("main [name=supplier]").focus()
    page.keyboard.type("Pellamy", delay=60)
    page.locator(".read-codes li").first.wait_for()
    page.keyboard.type(" & Co")
    assert page.locator("main [name=supplier]").input_value() == "Pellamy & Co"
    assert page.locator("main [name=lot]").input_value() == "NB-3000"


def test_a_code_scanned_while_the_weight_has_the_focus_goes_to_the_suppliers_label(station):
    page, _, _ = station
    page.goto("/dock")
    page.locator("main [name=net_g]").focus()
    page.keyboard.type("950", delay=120)
    page.wait_for_timeout(400)
    page.keyboard.type(CODES[1])
    page.keyboard.press("Enter")
    page.locator(".read-codes li").first.wait_for()
    assert read_so_far(page) == [CODES[1]] and page.locator("main [name=net_g]").input_value() == "950"


def test_without_a_connection_the_codes_wait(station):
    page, _, _ = station
    page.goto("/dock")
    page.locator("#supplier-code").focus()
    page.context.set_offline(True)
    for code in CODES:
        page.keyboard.type(code)
        page.keyboard.press("Enter")
    page.get_by_text("No answer came yet.").wait_for()
    page.context.set_offline(False)
    page.locator(".read-codes li").nth(3).wait_for()
    assert read_so_far(page) == CODES and not page.get_by_text("No answer came yet.").count()


def test_a_code_without_its_beginning_is_refused_until_it_is_scanned_whole(station):
    page, _, _ = station
    page.goto("/dock")
    page.locator("#supplier-code").focus()
    for code in (CODES[0], "-3000", CODES[2]):
        page.keyboard.type(code)
        page.keyboard.press("Enter")
    page.locator(".read-codes li").nth(1).wait_for()
    assert read_so_far(page) == [CODES[0], CODES[2]]
    assert "-3000" in page.locator(".note.hold").inner_text()
    page.keyboard.type(CODES[1])
    page.keyboard.press("Enter")
    page.locator(".read-codes li").nth(2).wait_for()
    assert not page.locator(".supplier-label .note.hold").count()


def test_back_after_a_label_was_read_shows_no_question_of_the_browser(station):
    page, _, _ = station
    page.goto("/dock")
    page.locator("#supplier-code").focus()
    page.keyboard.type(CODES[1])
    page.keyboard.press("Enter")
    page.locator(".read-codes li").first.wait_for()
    page.goto("/labels")
    page.go_back()
    assert page.locator("#supplier-code").count() == 1


def test_begin_anew_begins_anew(station):
    page, _, _ = station
    page.goto("/dock")
    page.locator("#supplier-code").focus()
    page.keyboard.type(CODES[1])
    page.keyboard.press("Enter")
    page.locator(".read-codes li").first.wait_for()
    with page.expect_navigation():
        page.get_by_role("link", name="Begin anew").click()
    assert page.locator("main [name=lot]").input_value() == ""


# -- an answered form --------------------------------------------------------------------------------------------------------------
UNANSWERED = "and no answer came"


def test_a_one_time_code_that_stands_on_the_screen_is_an_answer(station):
    page, *_ = station
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Dana").click()
    page.goto("/people")
    form = page.locator("form.verb[action='/people/code']")
    form.locator("[name=person]").nth(2).check(force=True)
    with page.expect_navigation():
        form.get_by_role("button", name="Give a one-time code").click()
    page.wait_for_timeout(300)
    assert "one-time" in page.inner_text("main").lower()
    assert UNANSWERED not in page.inner_text("main")
    page.goto("/people")
    page.wait_for_timeout(300)
    assert UNANSWERED not in page.inner_text("main")


def test_what_a_correction_would_change_is_an_answer(station):
    page, names, book = station
    fill = book.value("SELECT seq FROM fill WHERE item = ?", names["cured"])
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Lee").click()
    page.goto(f"/book/{fill}")
    page.locator("[name=why]").fill("read off the wrong scale")
    page.locator("[name='new-weight_g']").fill("149")
    with page.expect_navigation():
        page.get_by_role("button", name="What would change?").click()
    page.locator("#change").wait_for()
    page.wait_for_timeout(300)
    assert UNANSWERED not in page.inner_text("main")
    page.goto(f"/book/{fill}")
    page.wait_for_timeout(300)
    assert UNANSWERED not in page.inner_text("main")


def test_a_form_that_was_lost_on_the_way_is_still_said(station):
    page, names, _ = station
    page.goto(f"/cage/{names['line']}?tire={names['waiting']}")
    page.goto("/do/hook-up")
    page.locator("main [name=tote]").fill(names["spare_a"])
    page.route(
        "**/do/hook-up", lambda route: route.abort() if route.request.method == "POST" else route.continue_()
    )
    page.locator("main form.verb button.main").click()
    page.wait_for_timeout(500)
    page.unroute("**/do/hook-up")
    page.goto("/racks")  # by another page, which answers nothing
    page.goto("/do/hook-up")
    page.get_by_text(UNANSWERED).wait_for()
    assert page.locator("main [name=tote]").input_value() == names["spare_a"]
