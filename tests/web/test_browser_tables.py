"""Tables on every width a shop looks at, with names as long as they come: no word is broken, no column is squeezed, nothing lies over
its neighbour; and on paper.

Widths: two phones, a tablet upright (two makes) and across, a desk. WCAG 2.2, success criterion 1.4.10: no sideways scroll.
"""

from __future__ import annotations

import shutil

import pypdfium2
import pytest

from fillbook.trace.book.opening import open_book

WIDTHS = (360, 390, 768, 834, 1024, 1440)
# A word ends at a space or behind a hyphen or slash, but a day and an ID in a cell of their own stay whole. What is wider than the whole line by itself may break.
MEASURE = """() => {
  const said = new Set(), root = document.documentElement, main = document.querySelector('main'), style = getComputedStyle(main);
  const line = main.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight), range = document.createRange();
  if (root.scrollWidth > root.clientWidth) said.add(`sideways: ${root.scrollWidth} in ${root.clientWidth}`);
  const seen = (e) => e.checkVisibility({opacityProperty: false, visibilityProperty: true}) && !e.closest('.unseen, .on-paper, svg, script, select, textarea');
  const asCards = (e) => { const head = e.closest('thead'); return head && getComputedStyle(head).position === 'absolute'; };
  const texts = document.createTreeWalker(main, NodeFilter.SHOW_TEXT);
  while (texts.nextNode()) {
    const node = texts.currentNode, e = node.parentElement;
    if (!e.closest('table.list, .verdict, h1, h2') || !node.data.trim() || !seen(e) || asCards(e)) continue;
    for (const part of node.data.matchAll(e.closest('.id, .when, .cure td > strong') ? /\\S+/g : /[^\\s\\-–\\/?&]+/g)) {
      range.setStart(node, part.index); range.setEnd(node, part.index + part[0].length);
      const rects = [...range.getClientRects()].filter((r) => r.width);
      if (rects.some((r) => Math.abs(r.top - rects[0].top) > 2) && rects.reduce((sum, r) => sum + r.width, 0) < line)
        said.add(`breaks "${part[0].slice(0, 40)}"`);
    }
  }
  for (const row of main.querySelectorAll('table.list tr')) {
    if (!seen(row) || asCards(row.cells[0])) continue;
    const first = row.innerText.slice(0, 30), high = row.getBoundingClientRect().height, boxes = [];
    if (high > 400 && innerWidth < 500) said.add(`a row ${Math.round(high)} px high: "${first}"`);
    for (const cell of row.cells) {
      if (!cell.innerText.trim()) continue;
      range.selectNodeContents(cell);
      const rects = [...range.getClientRects()].filter((r) => r.width > 1 && r.height > 1), box = cell.getBoundingClientRect(), words = cell.innerText.replace(/\\s+/g, ' ').trim();
      for (const r of rects) {
        if (r.right > box.right + 1.5 || r.left < box.left - 1.5) said.add(`"${words.slice(0, 30)}" runs over the edge of its cell`);
        for (const [other, its] of boxes)
          if (Math.min(r.right, other.right) - Math.max(r.left, other.left) > 1.5 && Math.min(r.bottom, other.bottom) - Math.max(r.top, other.top) > 8) said.add(`"${words.slice(0, 20)}" lies over "${its.slice(0, 20)}"`);
      }
      for (const r of rects) boxes.push([r, words]);
      const tops = [], inside = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
      while (inside.nextNode()) if (seen(inside.currentNode.parentElement)) { range.selectNodeContents(inside.currentNode); tops.push(...[...range.getClientRects()].map((r) => r.top)); }
      tops.sort((a, b) => a - b);
      const lines = tops.filter((top, n) => !n || top - tops[n - 1] > 8).length;
      if (lines > words.split(/[\\s\\-\\/]+/).length + 2 || (lines > 6 && words.length / lines < 10)) said.add(`squeezed: "${words.slice(0, 40)}", ${words.length} letters in ${lines} lines`);
    }
  }
  return [...said];
}"""
CUSTOMER = "Kettle Fork Transfer and Landfill Company"  # 41 letters
LONG = {"customer": CUSTOMER, "site": "Northern tipping floor, second gate", "unit": "HANDLER-24-NORTH", "serial": "DOT4K7XJ88120417", "wheel_serial": "WHL-2026-0050992-B",
        "position": "front axle, left, outer"}  # fmt: skip


@pytest.fixture
def long_book(story, helpers, tmp_path):
    """The filled book with long names besides: (path, clock, further pages to look at)."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    module = helpers["the_shop"]
    shop = module.Shop(open_book(path), story[1]["now"])
    shop.act("receive", supplier="Pellamy Polyurethane Resins and Systems", lot="PPR-2026-000417-BX", side="A", system="RX-30", net_lb=2204, totes=2)  # fmt: skip
    shop.lots = 40
    shop.lead("add line", name="line 4, behind the office")
    shop.ready_line("line 4, behind the office")
    tires = []
    for n in range(4):
        tire = shop.tire(size="385/65R22.5 IND-4", **{**LONG, "serial": f"DOT4K7XJ8812{n:04d}", "wheel_serial": f"WHL-2026-00509{n}-B"})  # fmt: skip
        tires.append(shop.fill(tire, kg=150, line="line 4, behind the office"))
    shop.rack(*tires[:2])
    shop.wait(hours=60)
    shop.log(61)
    shop.lead("release", tire=tires[0])
    shop.act("dispatch", tires=[tires[0]])
    shop.rack(tires[2])
    shop.act("hold", item=tires[2], why="its valve leaks")
    for n in range(3):
        shop.act("open order", number=f"WO-2026-00{n}4417", customer=CUSTOMER, size="385/65R22.5 IND-4", unit=LONG["unit"], tires=2)  # fmt: skip
    shop.act("take in", order="WO-2026-0004417", rating_psi=75)
    shop.book.db.close()
    more = [f"/lists/{kind}" for kind in ("totes", "batches", "cups", "customers", "events")]
    more += ["/lists/tires?state=dispatched", "/kilograms?by=lot", "/kilograms?by=month", "/search?q=kettle", *(f"/i/{t}" for t in tires), f"/desk/{tires[0]}", f"/desk/{tires[2]}"]  # fmt: skip
    return path, shop.now, more


@pytest.fixture
def page(chromium, long_book, serve, helpers):
    """A phone's page before the book with long names; the owner works there."""
    running = serve(long_book[0], helpers["Clock"](long_book[1]))
    context = chromium.new_context(base_url=running.address, viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Dana").click()
    yield page
    context.close()


def test_a_squeezed_a_covered_and_a_broken_word_are_found(page):
    page.evaluate(
        "document.querySelector('main').innerHTML = '<table class=list><tbody><tr><td id=a>regrind from elsewhere</td><td>x</td></tr>"
        "<tr><td id=b>much too long</td><td>another</td></tr></tbody></table>'; const of = (id) => document.getElementById(id).style;"
        "Object.assign(of('a'), {display: 'block', width: '20px', overflowWrap: 'anywhere'});"
        "Object.assign(of('b'), {whiteSpace: 'nowrap', overflowWrap: 'normal', maxWidth: '10px'}); document.querySelector('.list').style.width = '0'"
    )
    said = " ".join(page.evaluate(MEASURE))
    assert 'breaks "regrind"' in said and "squeezed" in said and "lies over" in said and "runs over" in said


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_table_is_squeezed_and_no_word_broken_at_any_width(page, long_book, helpers, names, language):
    if language != "en":
        with page.expect_navigation():
            page.locator(f"footer button[value={language}]").click()
    wrong, looked = [], 0
    for path in dict.fromkeys(
        [*helpers["places_to_look"](names).values(), *helpers["more_to_look"](names), *long_book[2]]
    ):
        text = page.request.get(path).text()
        if not text.lstrip().lower().startswith("<!doctype html") or not any(
            part in text for part in ('<table class="list', 'class="verdict')
        ):
            continue
        looked += 1
        page.goto(path)
        page.evaluate(
            "document.querySelectorAll('main details:not(td *)').forEach((d) => { d.open = true; })"
        )
        for width in WIDTHS if language == "en" else WIDTHS[1::2]:
            page.set_viewport_size({"width": width, "height": 844})
            wrong += [f"{path} at {width}: {found}" for found in page.evaluate(MEASURE)]
    assert wrong == [], "\n".join(wrong)
    assert looked > 20


def test_a_phone_says_where_a_tire_went_once_and_its_state_on_a_line_of_its_own(page):
    page.goto("/lists/tires?state=dispatched")
    row = page.locator("table.tires tbody tr").filter(has_text="HANDLER-24-NORTH")
    assert row.inner_text().count("Kettle Fork") == 1
    boxes = row.locator("td").evaluate_all(
        "cells => cells.map((c) => { const r = c.getBoundingClientRect(); return [r.top, r.bottom]; })"
    )
    _, state, *others = boxes
    assert all(top >= state[1] - 1 or bottom <= state[0] + 1 for top, bottom in [boxes[0], *others])


def test_a_wide_screen_is_used(page):
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto("/lists/tires")
    assert page.locator("table.list").evaluate("t => t.getBoundingClientRect().width") > 0.9 * 1440


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_on_paper_a_page_is_its_content_and_the_head_of_the_journal(page, long_book, names, tmp_path, paper):
    for path, at_most, words in (
        ("/racks", 2, "What blocks it"), (f"/i/{names['held']}", 2, "Came from"), (f"/desk/{names['held']}", 1, "Hours since the fill"),
        ("/lists/tires", 2, CUSTOMER.split()[0]), ("/orders", 1, "WO-2026-0004417"),
    ):  # fmt: skip
        page.goto(path)
        where = str(tmp_path / "page.pdf")
        page.pdf(path=where, format=paper, margin=dict.fromkeys(("top", "bottom", "left", "right"), "12mm"))
        with pypdfium2.PdfDocument(where) as document:
            said = [sheet.get_textpage().get_text_range() for sheet in document]
        text = " ".join(" ".join(said).split())
        assert len(said) <= at_most, (path, len(said))
        assert words in text, path
        head = page.locator(".on-paper").last.text_content()
        assert head.startswith("Journal: BH:") and head in text, path
        for action in ("All that can be written", "A lead may override", "Everything that can", "Open an order", "Release it", "Wrong?", "Sign"):  # fmt: skip
            assert action not in text, (path, action)


def test_times_of_a_column_are_written_alike(page):
    page.set_viewport_size({"width": 1440, "height": 900})
    for kind, column in (
        ("tires", 6),
        ("tires", 7),
        ("totes", 7),
        ("cups", 4),
        ("batches", 4),
        ("events", 3),
    ):
        page.goto(f"/lists/{kind}")
        times = page.locator(f"table.list tbody td:nth-child({column})").all_inner_texts()
        shown = {"".join("0" if c.isdigit() else c for c in time.strip()[:16]) for time in times if time.strip()}  # fmt: skip
        assert shown == {"0000-00-00 00:00"}, (kind, shown)
