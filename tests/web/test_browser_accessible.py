"""Every page for everybody: axe-core finds nothing, and at twice the size nothing runs off the side and no word is lost.

axe-core's rules are an outside party's reading of WCAG; the copy that is run is the one inside the package axe-playwright-python.
Nothing on a page is fetched for it.
"""

import re
import shutil

import pytest

WIDTHS = ((360, 740), (1440, 900))
SCHEMES = ("light", "dark")
PARTS = 3
LARGER = ((640, 100), (320, 100), (360, 200))  # width of the page, size of the letters in percent
LEFT_OUT = ("/static", "/recall.", "/attached", "/racks/morning.pdf")  # files, not pages

# WCAG 2.2, success criterion 1.4.4 (text up to 200 % without loss) and 1.4.10 (no scrolling in two directions). 1280 CSS pixels at
# 200 % are 640 of them, at 400 % 320; and on a phone the letters alone are doubled, as its own setting does.
WORDS = """() => [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility({visibilityProperty: true})
  && [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim()) && !e.closest('thead, .unseen, .sorts, svg, option, datalist'))
  .map((e) => e.textContent.trim().replace(/\\s+/g, ' '))"""
SIDEWAYS = """() => { const r = document.documentElement; if (r.scrollWidth <= r.clientWidth) return '';
  const wide = [...document.querySelectorAll('body *')].filter((e) => e.getBoundingClientRect().right > r.clientWidth + 1 && !e.closest('.lineage, .unseen, pre'));
  return `${r.scrollWidth} in ${r.clientWidth}: ${wide.slice(0, 3).map((e) => e.tagName + '.' + (e.className.baseVal ?? e.className)).join(', ')}`; }"""
CUT_OFF = """() => [...document.querySelectorAll('main *')].filter((e) => { const s = getComputedStyle(e);
  return e.checkVisibility() && e.children.length === 0 && e.textContent.trim() && (s.overflowX === 'hidden' || s.overflowX === 'clip')
    && e.scrollWidth > e.clientWidth + 1 && !e.closest('.unseen, thead'); }).map((e) => e.textContent.trim().slice(0, 40))"""


@pytest.fixture
def axe():
    playwright = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    return playwright.Axe()


@pytest.fixture
def page(chromium, story, serve, helpers, tmp_path):
    """A page before the filled book, the owner at the station."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    running = serve(path, helpers["Clock"](story[1]["now"]))
    context = chromium.new_context(
        base_url=running.address, viewport={"width": 1440, "height": 900}, reduced_motion="reduce"
    )
    page = context.new_page()
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Dana").click()
    page.goto("/")
    yield page
    context.close()


def addresses(helpers, names):
    all_of_them = [*helpers["places_to_look"](names).values(), *helpers["more_to_look"](names)]
    return [
        path
        for path in dict.fromkeys(all_of_them)
        if not path.startswith(LEFT_OUT) and not re.search(r"[.](csv|pdf)\b", path)
    ]


def told(path, width, scheme, found):
    """What axe-core found, in one line for each rule."""
    return [
        f"{path} at {width} {scheme}: {one['id']} ({one['impact']}): {one['nodes'][0]['html'][:160]} and {len(one['nodes']) - 1} more"
        for one in found.response["violations"]
    ]


def open_all(page):
    page.evaluate("document.querySelectorAll('main details').forEach((d) => { d.open = true; })")


def each_page(page, helpers, names, part):
    """Opens every page that is one, with all that folds unfolded; in parts, so that several can look at once."""
    for path in addresses(helpers, names)[part::PARTS]:
        page.set_viewport_size({"width": 1280, "height": 800})
        answer = page.goto(path)
        whole = (answer.headers.get("content-type") or "").startswith(
            "text/html"
        ) and "<html" in answer.text()
        if whole:  # neither a file nor a part that a script puts into its page
            open_all(page)
            yield path


@pytest.mark.parametrize("part", range(PARTS))
def test_axe_finds_nothing_on_any_page(page, axe, helpers, names, part):
    """All its rules at both widths by day; what night changes is the colours."""
    wrong = []
    for path in each_page(page, helpers, names, part):
        for width, height in WIDTHS:
            page.set_viewport_size({"width": width, "height": height})
            for scheme in SCHEMES:
                page.emulate_media(color_scheme=scheme)
                wrong += told(
                    path,
                    width,
                    scheme,
                    axe.run(page, options={} if scheme == "light" else {"runOnly": ["color-contrast"]}),
                )
    assert not wrong, "\n" + "\n".join(wrong)


def test_axe_finds_what_is_wrong(page, axe):
    page.goto("/holds")
    page.evaluate(
        "document.querySelector('main').innerHTML = '<img src=/static/mark.svg><p id=x>words</p><input>'"
    )
    page.evaluate("document.getElementById('x').style.color = '#bbb'")
    found = {one["id"] for one in axe.run(page).response["violations"]}
    assert {"image-alt", "color-contrast", "label"} <= found


@pytest.mark.parametrize("part", range(PARTS))
def test_twice_as_large_nothing_runs_off_and_no_word_is_lost(page, helpers, names, part):
    wrong = []
    for path in each_page(page, helpers, names, part):
        before = page.evaluate(WORDS)
        for width, letters in LARGER:
            page.set_viewport_size({"width": width, "height": 800})
            page.evaluate("(size) => { document.documentElement.style.fontSize = size + '%'; }", letters)
            at = f"{path} at {width} pixels, letters {letters} %"
            if sideways := page.evaluate(SIDEWAYS):
                wrong.append(f"{at}, runs off sideways: {sideways}")
            wrong += [f"{at}, cuts off {words!r}" for words in page.evaluate(CUT_OFF)]
            there = set(page.evaluate(WORDS))
            wrong += [f"{at}, loses {words[:60]!r}" for words in before if words not in there]
    assert not wrong, "\n" + "\n".join(wrong)


def test_a_keyboard_reaches_everything_and_shows_where_it_is(page, names):
    page.goto("/lists/tires")
    reached = []
    page.evaluate("document.activeElement.blur()")
    for _ in range(40):
        page.keyboard.press("Tab")
        reached.append(page.evaluate(
            "(() => { const e = document.activeElement, s = getComputedStyle(e); return [e.tagName + ' ' + (e.textContent || e.name).trim().slice(0, 30),"
            " s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2 || e.tagName === 'BODY']; })()"
        ))  # fmt: skip
    assert [what for what, seen in reached if not seen] == []
    words = " ".join(what for what, _ in reached)
    assert "Skip to the page" in words and "Find" in words and "Show" in words and "Customer" in words
