"""What the pages of desk and office say is so, leaves the next step open to nobody, and stays readable with many rows."""

from dataclasses import replace

import pytest

from fillbook.trace.book import returned
from fillbook.trace.languages.catalogue import catalogue
from fillbook.trace.work import acting


def verdict(web, tire):
    """The head of a tire's page at the desk, as HTML."""
    return web.get(f"/desk/{tire}").text.partition('<header class="verdict')[2].partition("</header>")[0]


def test_a_held_tire_at_the_desk_leads_to_its_hold(web, names):
    assert 'href="/holds">Look at the hold' in verdict(web, names["held"])
    assert "/holds" not in verdict(web, names["sent"])


def test_when_it_was_ready_is_not_said_of_a_tire_that_has_left(web, names):
    form = web.form(f"/desk/several?tires={names['sent']}&newest={names['sent']}", "/scan")
    scanned = web.send(form, code=names["sent"])
    page = web.words(web.get(scanned.headers["Location"]))
    assert "Dispatched" in page and "Ready about" not in page


def test_what_is_noted_alike_of_several_tires_is_said_once(web, names, monkeypatch):
    act = acting.act
    monkeypatch.setattr(
        acting,
        "act",
        lambda *one, **more: (done := act(*one, **more)) and replace(done, findings=done.findings * 2),
    )
    web.do("release", tires=names["cured"])
    said = web.words(web.get("/desk"))
    assert said.count("The tag was typed, not scanned") == 1


def test_a_release_past_a_hold_says_that_it_was_overridden(web, names):
    web.do("hold", item=names["cured"], why="a second look was asked for")
    web.send(web.form(f"/desk/{names['cured']}"), override="looked at it")
    page = web.get(f"/desk/{names['cured']}").text
    seq = web.book.value("SELECT max(seq) FROM released WHERE item = ?", names["cured"])
    assert "What stopped it was overridden" in page and f'href="/book/{seq}">the reason' in page


def test_a_released_tire_on_hold_is_not_called_to_be_sent_among_several(web, names):
    web.do("hold", item=names["cured"], why="a second look was asked for")
    web.send(web.form(f"/desk/{names['cured']}"), override="looked at it")
    page = web.get(f"/desk/several?tires={names['cured']}").text
    head = page.partition('<header class="verdict')[2].partition("</header>")[0]
    assert (
        head.startswith(" look")
        and "may not leave until the hold is lifted" in head
        and "dispatch it" not in head
    )


def test_a_shop_without_a_line_is_led_to_add_one_not_to_begin_another_shop(empty):
    form = empty.form("/setup")
    empty.send(form, site="BH", name="A shop", owner="Dana", timezone="UTC")
    page = empty.get("/kilograms/lines").text.partition("<main")[2].partition("</main>")[0]
    assert 'href="/do/add-line"' in page and 'href="/setup"' not in page


def test_holds_and_recalls_are_counted_apart(web, names):
    page = web.words(web.get("/holds"))
    holds = web.book.value("SELECT count(*) FROM hold") - web.book.value("SELECT count(*) FROM lift")
    assert "Open recalls 1 Recall of" in page and f"Open holds {holds} " in page


def test_many_candidates_are_folded_and_each_can_still_be_named(web, names, monkeypatch):
    page = f"/identify/{names['returned']}"
    case = returned.open_return(web.book, "BH", names["returned"])
    many = [
        {**case.candidates[0], "item": item}
        for (item,) in web.book.tuples("SELECT item FROM tire ORDER BY item")
    ]
    many = (many * 20)[:25]
    monkeypatch.setattr(
        returned, "open_return", lambda *_: case.__class__(**{**case.__dict__, "candidates": many})
    )
    text = web.get(page).text
    open_at_once = text.partition("<details")[0]
    assert open_at_once.count('name="tire"') == 10 and "15 more, the most likely first" in text
    assert web.form(page).offered["tire"].count("") == 1 and len(web.form(page).offered["tire"]) == 26


def test_the_reason_of_a_lag_is_wholly_spanish():
    from fillbook.trace.core import limits

    for name in ("lag_small", "lag_medium", "lag_large"):
        said = catalogue("es").said(limits.why(name))
        assert "Conduction" not in said and "Por conducción se estima" in said


# -- in a browser ----------------------------------------------------------------------------------------------------------------
@pytest.fixture
def browser_page(chromium, story, serve, helpers, tmp_path):
    import shutil

    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    running = serve(path, helpers["Clock"](story[1]["now"]))
    context = chromium.new_context(
        viewport={"width": 320, "height": 640}, base_url=running.address, locale="es"
    )
    yield context.new_page()
    context.close()


@pytest.mark.parametrize("path", ["/", "/holds", "/identify", "/desk"])
def test_the_spanish_places_fit_a_phone_of_320_pixels(browser_page, path):
    # WCAG 2.2, success criterion 1.4.10: no sideways scroll at 320 CSS pixels
    browser_page.goto(path)
    assert browser_page.evaluate("document.documentElement.lang") == "es"
    wide, room = browser_page.evaluate(
        "[document.documentElement.scrollWidth, document.documentElement.clientWidth]"
    )
    assert wide <= room
    word = browser_page.evaluate("""() => { const h = document.querySelector('h1'), r = document.createRange(); const t = h.firstChild;
      return [...t.textContent.matchAll(/\\S+/g)].filter((m) => { r.setStart(t, m.index); r.setEnd(t, m.index + m[0].length);
        return r.getClientRects().length > 1; }).map((m) => m[0]); }""")
    assert word == []  # no word of the heading is broken beside the link to the help


def test_a_row_at_the_desk_is_not_underlined_in_one_half(browser_page):
    browser_page.goto("/desk")
    lines = browser_page.evaluate(
        "[...document.querySelectorAll('.pickable a .whole')].map((e) => getComputedStyle(e).textDecorationLine)"
    )
    assert lines and set(lines) == {"none"}


def test_a_new_book_takes_the_time_zone_of_the_device_that_begins_it(chromium, serve, helpers, tmp_path):
    running = serve(str(tmp_path / "new.db"), helpers["Clock"](1_800_000_000))
    context = chromium.new_context(base_url=running.address, timezone_id="America/Chicago")
    page = context.new_page()
    page.goto("/setup")
    assert page.input_value('[name="timezone"]') == "America/Chicago"
    context.close()
