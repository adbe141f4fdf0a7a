"""A gloved finger finds what it is to touch: every link, button and field at phone size is at least 44 CSS pixels high and wide.

WCAG 2.2, success criterion 2.5.5 (target size, enhanced): 44 by 44 CSS pixels, but for a target in a sentence. Details are opened
before measuring, what scripts add counts too, and a target that lies under another is none.
"""

from __future__ import annotations

import shutil

import pytest

PHONE = {"width": 390, "height": 844}
MEASURE = """() => {
  document.querySelectorAll('details').forEach((one) => { one.open = true; });
  const said = new Set(), least = 43.5; // half a pixel of rounding
  const inSentence = (e) => {  // words of the same line before or behind it: a link in a sentence
    if (e.tagName !== 'A' || getComputedStyle(e).display !== 'inline') return false;
    const words = [...e.parentElement.childNodes].filter((n) => n.nodeType === 3).map((n) => n.textContent.trim()).join(' ');
    return /\\p{L}{2,}/u.test(words);
  };
  const targets = [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary, label.pick, label.button')];
  for (const e of targets) {
    if (!e.checkVisibility({opacityProperty: false, visibilityProperty: true}) || e.closest('.skip') || inSentence(e)) continue;
    if (e.matches('input') && e.closest('label.pick, label.button')) continue; // its label is what is touched
    const r = e.getBoundingClientRect();
    if (!r.width && !r.height) continue;
    const name = (e.textContent || e.getAttribute('aria-label') || e.name || '').trim().replace(/\\s+/g, ' ').slice(0, 30);
    if (r.height < least || r.width < least) said.add(`${e.closest('svg') ? 'svg ' : ''}${e.tagName.toLowerCase()}.${e.className.baseVal ?? e.className} "${name}" ${Math.round(r.width)} x ${Math.round(r.height)}`);
  }
  return [...said];
}"""
COVERED = """() => {
  const said = new Set();
  for (const e of document.querySelectorAll('main a[href], main button, header a[href], nav a[href], footer a[href], footer button')) {
    if (!e.checkVisibility({opacityProperty: false, visibilityProperty: true}) || e.closest('svg, .by-row thead')) continue;
    e.scrollIntoView({block: 'center'});
    const r = e.getClientRects()[0];
    if (!r) continue;
    const there = document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2);
    if (there && !e.contains(there) && !there.contains(e)) said.add(`"${e.textContent.trim().slice(0, 30)}" lies under ${there.tagName} "${there.textContent.trim().slice(0, 30)}"`);
  }
  return [...said];
}"""


@pytest.fixture
def phone(chromium, story, serve, helpers, tmp_path):
    """A phone's page before a copy of the filled book; the owner works there. ``phone(language)``."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    running = serve(path, helpers["Clock"](story[1]["now"]))
    opened = []

    def open_one(language="en"):
        context = chromium.new_context(
            viewport=PHONE, base_url=running.address, has_touch=True, is_mobile=True
        )
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto("/who")
        with page.expect_navigation():
            page.get_by_role("button", name="Dana").click()
        if language != "en":
            with page.expect_navigation():
                page.locator(f"footer button[value={language}]").click()
        return page

    yield open_one
    for context in opened:
        context.close()


def pages(names, helpers):
    """Every page there is, and further faces of some; files and parts of pages have nothing to touch."""
    no_page = (".json", ".csv", ".pdf", ".png", ".css", ".js", "/racks/now", "/attached/")
    found = [*helpers["places_to_look"](names).values(), *helpers["more_to_look"](names)]
    return [
        one
        for one in dict.fromkeys(found)
        if not any(part in one for part in no_page) and not one.startswith("/static/")
    ]


def test_a_small_link_and_one_that_is_covered_are_found(phone):
    page = phone()
    page.goto("/holds")
    page.evaluate(
        "document.querySelector('main').innerHTML = '<div><a href=/ id=s>x</a></div><div class=bare>see <a href=/>this</a> here</div>"
        "<div class=over></div>'; const over = document.querySelector('.over');"
        "Object.assign(over.style, {position: 'fixed', inset: 0, background: '#fff'})"
    )
    assert len(page.evaluate(MEASURE)) == 1, "the link in a sentence is exempt, the other is not"
    assert page.evaluate(COVERED)


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_target_is_large_enough_for_a_glove(phone, names, helpers, language):
    page, wrong = phone(language), []
    for address in pages(names, helpers):
        answer = page.goto(address)
        if not (answer.headers.get("content-type") or "").startswith("text/html"):
            continue
        wrong += [f"{address}: {one}" for one in page.evaluate(MEASURE) + page.evaluate(COVERED)]
    assert wrong == [], "\n".join(wrong)


def test_what_only_shows_after_an_act_is_as_large(phone, names):
    """The hold after a fill, a draft from elsewhere, a kept form, a refusal, a closed recall."""
    page, other = phone(), phone()
    fill = f"/cage/{names['line_3']}"
    other.goto(fill)
    with other.expect_response(lambda got: "/draft/" in got.url and got.ok):
        other.locator("main [name=weight_g]").fill("330")
    page.goto(fill)
    page.locator("#drafts button").wait_for()
    wrong = page.evaluate(MEASURE)
    page.locator("#drafts button").click()
    page.locator("main .kept").wait_for()
    wrong += page.evaluate(MEASURE)
    page.locator("main button.main").click()
    page.locator("main .wrong .error").wait_for()  # no pressure is typed: asked back once
    wrong += page.evaluate(MEASURE)
    page.locator("main button.main").click()
    page.locator("main .held").wait_for()
    wrong += page.evaluate(MEASURE)
    page.goto(f"/recall/{names['recall']}/close")
    page.locator("main [name=note]").fill("all called")
    with page.expect_navigation():
        page.locator("main button.main").click()
    page.locator("main .override").wait_for()
    wrong += page.evaluate(MEASURE)
    page.locator("main [name=override]").fill("they know")
    with page.expect_navigation():
        page.locator("main button.main").click()
    wrong += page.evaluate(MEASURE)
    page.goto("/i/BH-F25-00001-A")
    wrong += page.evaluate(MEASURE)
    assert wrong == [], "\n".join(wrong)
