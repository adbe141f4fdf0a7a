"""The fill on a phone: what a gloved hand types and touches stands in sight without scrolling, and so does what keeps it safe."""

import shutil

import pytest

from fillbook.trace.book.opening import open_book

PHONES = (
    (390, 844),
    (360, 640),
)  # a usual phone of today and a small, older one, in CSS pixels (from memory)
LANGUAGES = {"en": ("Never above", "Places"), "es": ("Nunca", "Lugares")}
BELOW = """([selector, high]) => [...document.querySelectorAll(selector)].filter((e) => {
  const r = e.getBoundingClientRect();
  return !e.checkVisibility() || !r.height || r.top < 0 || r.bottom > high + 0.5;
}).map((e) => (e.name || e.textContent).trim().slice(0, 30) + ' ' + Math.round(e.getBoundingClientRect().bottom))"""


@pytest.fixture
def phone(chromium, story, serve, helpers, tmp_path):
    """``phone(width, height, language)``: a phone's page before a copy of the filled book, Dana at it."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    shop = helpers["the_shop"].Shop(open_book(path), story[1]["now"])
    shop.lots = 40  # numbers of lots that the story has not used
    shop.lead("add line", name="line 4")
    shop.ready_line("line 4")  # nothing stops a fill on it
    shop.book.db.close()
    running = serve(path, helpers["Clock"](shop.now))
    opened = []

    def make(width, height, language="en", scheme="light"):
        context = chromium.new_context(
            base_url=running.address, viewport={"width": width, "height": height}, color_scheme=scheme,
            reduced_motion="reduce",
        )  # fmt: skip
        opened.append(context)
        page = context.new_page()
        page.goto("/who")
        with page.expect_navigation():
            page.get_by_role("button", name="Dana").click()
        if language != "en":
            with page.expect_navigation():
                page.locator(f"footer button[value={language}]").click()
        return page

    yield make
    for context in opened:
        context.close()


def line_4(page):
    page.goto("/cage")
    return page.locator(".actions a", has_text="line 4").get_attribute("href").removeprefix("/cage/")


def below(page, selector, high):
    assert page.locator(selector).count(), selector
    assert page.evaluate("scrollY") == 0
    return page.evaluate(BELOW, [selector, high])


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("width", "height"), PHONES)
def test_go_and_then_weight_pressure_and_done_stand_without_scrolling(phone, names, width, height, language):
    page = phone(width, height, language)
    page.goto(f"/cage/{line_4(page)}?tire={names['waiting']}")
    assert below(page, ".touch-go button.main", height) == []
    with page.expect_navigation():
        page.locator(".touch-go button.main").click()
    page.goto(f"/cage/{line_4(page)}")
    needed = ".touch-done [name=weight_g], .touch-done [name=pressure_pa], .touch-done button.main, .touch-done .beside"
    assert below(page, needed, height) == []
    if height > 700:
        assert below(page, ".touch-done .mind", height) == []  # the caution, before the button
    words = page.locator(".beside").inner_text()
    assert "60 psi" in words and "75 psi" in words and LANGUAGES[language][0] in words
    order = page.evaluate(
        "[...document.querySelectorAll('.mind, .touch-done button.main')].map((e) => e.getBoundingClientRect().top)"
    )
    assert (order[0] < order[1]) is (height > 700)  # on the small phone it comes right after


def test_after_go_the_notice_leaves_done_in_sight(phone, names):
    page = phone(390, 844)
    page.goto(f"/cage/{line_4(page)}?tire={names['waiting']}")
    with page.expect_navigation():
        page.locator(".touch-go button.main").click()
    assert page.locator(".note.go").is_visible()
    assert below(page, ".touch-done button.main, .touch-done [name=pressure_pa]", 844) == []


def test_what_stops_a_fill_stands_before_its_button(phone, names):
    page = phone(360, 640)
    page.goto(f"/cage/{names['line_2']}?tire={names['waiting']}")
    stop, go = page.locator(".trouble").bounding_box(), page.locator(".touch-go button.main").bounding_box()
    assert stop["y"] + stop["height"] < go["y"] and stop["y"] < 640


def test_the_places_unfold_and_what_is_known_unfolds(phone, names):
    page = phone(390, 844, scheme="dark")
    page.goto(f"/cage/{names['line_3']}")
    page.locator("[name=weight_g]").fill("330")
    places = page.locator("nav.places")
    assert not places.is_visible()
    page.locator("a.to-places").click()
    assert places.is_visible() and page.locator("nav.places a[href='/racks']").is_visible()
    page.locator("a.from-places").click()
    assert not places.is_visible() and page.locator("[name=weight_g]").input_value() == "330"
    assert not page.locator(".known .facts").is_visible()
    page.locator(".known summary").click()
    assert page.locator(".known .facts").inner_text().count("psi") == 2
    page.goto("/racks")
    assert places.is_visible()  # elsewhere they stand as ever


def test_on_a_wide_screen_the_places_stand_and_done_is_in_sight(phone, names):
    page = phone(1440, 900)
    page.goto(f"/cage/{names['line_3']}")
    assert page.locator("nav.places").is_visible() and not page.locator("a.to-places").is_visible()
    assert below(page, ".touch-done button.main, .touch-done .beside, .touch-done .mind", 900) == []
