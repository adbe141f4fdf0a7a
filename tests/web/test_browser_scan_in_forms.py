"""A scan while the focus is on a choice, a list, a date or a button of a form, in a real browser: it goes to the field that takes it."""

from __future__ import annotations

import pytest

from fillbook.trace.core import ids, keyboards


@pytest.fixture
def station(sams_phone):
    return sams_phone[:2]


def address(names, name):
    return f"HTTP://FILLBOOK.LOCAL/I/{names[name]}"


def scan(page, text, end="Enter", delay=0):
    page.keyboard.type(text, delay=delay)
    page.keyboard.press(end)
    page.wait_for_timeout(250)


@pytest.mark.parametrize(
    ("end", "delay"), [("Enter", 0), ("Tab", 0), ("Enter", 90)], ids=["Enter", "Tab", "over a poor radio"]
)
def test_a_tote_scanned_while_the_focus_is_on_a_line_goes_to_the_totes_field(station, end, delay):
    page, names = station
    page.goto("/do/hook-up")
    assert page.evaluate("document.activeElement.type") == "radio"
    scan(page, address(names, "spare_a"), end, delay)
    assert page.url.endswith("/do/hook-up") and page.locator("main .error").count() == 0
    assert page.locator("main [name=tote]").input_value() == address(names, "spare_a")
    assert page.evaluate("document.documentElement.dataset.heard") == "go"
    assert "Read: " + names["spare_a"] == page.locator("#scan").get_attribute("placeholder")


def test_a_lines_sign_chooses_the_line_and_a_second_tote_replaces_the_first(station):
    page, names = station
    page.goto("/do/hook-up")
    scan(page, address(names, "line_3"))
    assert page.locator(f"main input[value={names['line_3']}]").is_checked()
    for one in ("spare_a", "spare_b"):
        scan(page, address(names, one))
        page.locator("main [name=line]").first.focus()
    assert page.locator("main [name=tote]").input_value() == address(names, "spare_b")


def test_a_scanner_of_another_keyboard_reaches_the_field_too(station):
    page, names = station
    page.goto("/do/hook-up")
    typed = keyboards.typed_as(address(names, "spare_a"), "US", "German")
    keys = page.context.new_cdp_session(page)
    for key in typed:  # the driver's own typing has the US keys alone
        keys.send("Input.dispatchKeyEvent", {"type": "keyDown", "key": key, "text": key})
        keys.send("Input.dispatchKeyEvent", {"type": "keyUp", "key": key})
    scan(page, "")
    assert page.locator("main [name=tote]").input_value() == typed
    page.locator(f"main label:has(input[value={names['line']}])").click()
    with page.expect_navigation():
        page.locator("main button.main").click()
    assert ids.pretty(names["spare_a"]) in page.locator("main .note.go").inner_text()


def test_a_list_a_date_a_number_and_the_button_keep_what_stood_there(station):
    page, names = station
    page.goto("/do/weigh")
    item = page.locator("main [name=item]")
    for place in (
        "main [name=weight_g]",
        "main [name='weight_g.unit']",
        "main button.main",
        "main [name=at]",
    ):
        page.locator("main details").evaluate_all("all => all.forEach((one) => { one.open = true; })")
        spot = page.locator(place).first
        spot.focus()
        before, text = spot.input_value() if "button" not in place else "", address(names, "cured")
        item.evaluate("one => { one.value = ''; }")
        scan(page, text)
        assert page.url.endswith("/do/weigh"), place
        assert item.input_value() == text, place
        assert "button" in place or spot.input_value() == before, place


def test_after_the_second_piece_was_scanned_its_weight_is_typed_not_the_first_ones(station):
    page, names = station
    page.goto("/do/grind")
    page.locator("main [name=pieces-0-source]").focus()
    scan(page, address(names, "reclaimed"))
    page.keyboard.type("120", delay=120)
    page.wait_for_timeout(300)
    scan(page, address(names, "batch"))
    page.keyboard.type("40", delay=120)
    found = [page.locator(f"main [name=pieces-{n}-weight_g]").input_value() for n in range(2)]
    assert found == ["120", "40"]
    assert page.locator("main [name=pieces-1-source]").input_value() == address(names, "batch")


@pytest.mark.parametrize(
    ("path", "begins"),
    [
        ("/do/load?line={line}&batch={batch}", "weight_g"),
        ("/do/grind?pieces-0-source={reclaimed}", "pieces-0-weight_g"),
        ("/do/grind", "pieces-0-source"),
        ("/do/hook-up", "line"),
    ],
)
def test_typing_begins_at_the_first_field_that_nothing_filled_in(station, path, begins):
    page, names = station
    page.goto(path.format(**names))
    assert page.evaluate("document.activeElement.name") == begins


def test_a_hand_on_a_choice_sends_the_form_with_enter_as_ever(station):
    page, _ = station
    page.goto("/do/hook-up")
    page.locator("main [name=line]").first.focus()
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("main .error, main .trouble").count()


def test_an_own_label_scanned_into_the_supplier_is_said_and_the_field_stays(station):
    page, names = station
    page.goto("/dock")
    supplier = page.locator("main [name=supplier]")
    supplier.focus()
    page.keyboard.type("Nor", delay=120)
    page.wait_for_timeout(300)
    scan(page, address(names, "spare_a"))
    page.get_by_text("is one of our own labels").wait_for()
    assert page.url.endswith("/dock") and page.locator("main [name=supplier]").input_value() == "Nor"
    assert page.evaluate("document.documentElement.dataset.heard") == "stop"
    page.locator(
        "main [name=side]"
    ).first.focus()  # a supplier's code scanned over a choice is read all the same
    scan(page, "(01)09521234543213(10)LOT-7")
    page.wait_for_timeout(1500)
    assert page.locator("main [name=lot]").input_value() == "LOT-7"
