"""The limits in a browser: a word finds one, choosing one brings its unit, and a phone has room for it."""

import shutil

import pytest


@pytest.fixture
def page(chromium, story, serve, helpers, tmp_path):
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    running = serve(path, helpers["Clock"](story[1]["now"]))
    context = chromium.new_context(base_url=running.address, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Dana").click()
    yield page
    context.close()


def test_choosing_a_limit_brings_its_unit_and_what_is_in_force_and_the_number_stays(page):
    page.goto("/do/set-limit")
    page.locator("[name=to]").fill("50")
    page.locator("[name=limit]").select_option("cure_standard")
    page.wait_for_selector("[name='to.unit']")
    assert (
        page.locator("[name='to.unit']").input_value() == "h"
        and page.locator("[name=to]").input_value() == "50"
    )
    assert (
        "Now 48 h, the default" in page.locator("main").inner_text()
        and "the long end of practice" in page.locator("main form.verb").inner_text()
    )
    page.locator("[name=limit]").select_option("cure_temperature")
    page.wait_for_selector("[name='to.unit'] option[value=f]", state="attached")
    page.locator("[name=to]").fill("73")
    page.locator("[name=source]").fill("data sheet")
    with page.expect_navigation():
        page.get_by_role("button", name="Set limit").click()
    assert "73 °F" in page.locator("#limits").inner_text()


def test_a_word_finds_a_limit_among_all(page):
    page.goto("/do/set-limit")
    rows = page.locator("#all-limits li")
    assert not rows.first.is_visible()  # folded by part of the job
    page.locator("#find-limit").fill("sample")
    seen = [row for row in rows.all() if row.is_visible()]
    assert 0 < len(seen) < 8 and all("sample" in row.inner_text().lower() for row in seen)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.locator("#find-limit").fill("nothing like it")
    assert page.locator("#all-limits .none").is_visible()
    page.locator("#find-limit").fill("")
    assert not rows.first.is_visible() and page.locator("#all-limits summary").count() == 7
    page.locator("#find-limit").fill("recall")
    link = page.locator("#all-limits li a:visible").first
    link.click()
    assert page.evaluate("document.activeElement.name") == "to"  # the number is all that is left to type
