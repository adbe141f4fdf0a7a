"""Labels in a real browser, at a phone's size and a desk's: the supplier's label at the dock, a face seen while it is chosen, a
printer chosen, and a job that runs on while its page is closed."""

import importlib.util
import io
import re
import shutil
import sys
from pathlib import Path

import numpy
import pytest
import zxingcpp
from PIL import Image

from fillbook.trace.book.opening import open_book

BUSY = 0x0507  # RFC 8011, appendix B
GTIN = "09521234543213"  # 952 is GS1's prefix for demonstrations


def fake_ipp():
    name = "fake_ipp_for_the_browser"
    if name not in sys.modules:
        path = Path(__file__).resolve().parent.parent / "labels" / "fake_ipp.py"
        spec = importlib.util.spec_from_file_location(name, path)
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


@pytest.fixture
def printer():
    made = fake_ipp().FakePrinter([0] * 6 + [BUSY] * 12)
    yield made
    made.close()


@pytest.fixture(params=[(390, 844), (1440, 900)], ids=["phone", "desk"])
def walk(request, chromium, story, serve, helpers, tmp_path):
    """A lead before the filled book, at one of two sizes; every page is measured and what the browser complains of is kept."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    running = serve(path, helpers["Clock"](story[1]["now"]))
    width, height = request.param
    context = chromium.new_context(viewport={"width": width, "height": height}, base_url=running.address)
    page = context.new_page()
    page.set_default_timeout(15_000)
    wrong = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "console",
        lambda message: (
            wrong.append(message.text) if message.type == "error" and "422" not in message.text else None
        ),
    )
    page.goto("/who")
    page.get_by_role("button", name=re.compile("Lee")).click()
    yield page, path, context
    assert not wrong
    context.close()


def fits(page, tmp_path, name):
    """No sideways scroll; and a picture of it, for whoever looks at a failure."""
    page.screenshot(path=str(tmp_path / f"{name}.png"), full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), name


def until(page, says, arg=None):
    """Wait until the page says so (its own policy keeps a browser's waiting function from running there)."""
    for _ in range(150):
        if page.evaluate(says, arg):
            return
        page.wait_for_timeout(100)
    raise AssertionError(says)


def label_picture():
    drawn = zxingcpp.create_barcode(f"01{GTIN}10LOT-7", zxingcpp.BarcodeFormat.QRCode)
    symbol = Image.fromarray(numpy.array(zxingcpp.write_barcode_to_image(drawn, scale=6)))
    picture = Image.new("L", (symbol.width + 200, symbol.height + 200), 255)
    picture.paste(symbol, (100, 100))
    out = io.BytesIO()
    picture.save(out, "PNG")
    return {"name": "label.png", "mimeType": "image/png", "buffer": out.getvalue()}


def test_a_truck_its_labels_and_the_printer(walk, printer, tmp_path):
    page, path, context = walk
    # the station's printer
    page.goto("/labels/printers")
    main = page.locator("form.verb")
    main.locator("[name=station]").fill("dock")
    main.locator("[name=printer]").fill(printer.uri)
    page.get_by_role("button", name="Print there").click()
    assert "dock prints from now on" in page.inner_text("main")
    fits(page, tmp_path, "printers")

    # a hand scanner types the supplier's label, wherever the finger was last, and ends with Enter
    page.goto("/dock")
    page.locator("h1").click()
    page.keyboard.type(f"(01){GTIN}(10)LOT-7(3103)950000(37)23")
    page.keyboard.press("Enter")
    page.locator(".read-codes").wait_for()
    form = page.locator("form.verb")
    assert (
        form.locator("[name=lot]").input_value() == "LOT-7"
        and form.locator("[name=totes]").input_value() == "23"
    ), page.inner_text("main")
    assert "From (10) batch or lot" in page.inner_text("main")
    fits(page, tmp_path, "dock")
    form.locator("[name=supplier]").fill("Northvale")
    form.locator("[name=side][value=A]").check(force=True)
    form.locator("[name=system][value='RX-30']").check(force=True)
    page.get_by_role("button", name="Book in").click()
    assert "23 labels to print" in page.inner_text("main")
    fits(page, tmp_path, "labels")

    # a job: its bar moves by itself, the page is closed half-way and opened again
    page.get_by_role("button", name="Print", exact=True).click()
    page.wait_for_url("**/labels/jobs/*")
    where = page.url
    until(page, "() => document.querySelector('.job-count strong').textContent.startsWith('6 of 23')")
    fits(page, tmp_path, "job")
    page.close()
    again = context.new_page()
    again.goto(where)
    again.locator(".note.go").wait_for()
    assert "23 of 23" in again.inner_text("main") and len(printer.documents) == 23
    book = open_book(path)
    assert book.value("SELECT count(*) FROM print WHERE how = 'accepted'") == 23
    book.db.close()


def test_a_photograph_is_sent_as_soon_as_it_is_taken(walk, tmp_path):
    page, *_ = walk
    page.goto("/dock")
    page.locator("#supplier-photo").set_input_files(label_picture())
    page.locator(".read-codes").wait_for()
    assert page.locator("form.verb [name=lot]").input_value() == "LOT-7"
    fits(page, tmp_path, "photographed")


def test_a_face_is_seen_while_it_is_chosen(walk, tmp_path):
    page, path, _ = walk
    page.goto("/labels/faces")
    page.get_by_role("link", name=re.compile("Tote label")).click()
    shown = page.locator("#look img").first
    before = shown.get_attribute("src")
    page.locator("[name=size][value='3x2 in']").check(force=True)
    until(page, "src => document.querySelector('#look img').getAttribute('src') !== src", before)
    assert "76.2 by 50.8 mm" in page.inner_text("#look")
    until(page, "() => document.querySelector('#look img').naturalWidth === 609")
    page.locator("[name=values][value=longest]").check(force=True)
    page.locator("#look .note").first.wait_for()
    assert "is cut short" in page.inner_text("#look")
    # a logo: sent once, kept while other things are changed
    page.get_by_text("The shop's logo").click()
    out = io.BytesIO()
    Image.new("L", (200, 80), 40).save(out, "PNG")
    page.locator("[name=logo]").set_input_files(
        {"name": "logo.png", "mimeType": "image/png", "buffer": out.getvalue()}
    )
    until(page, "() => document.querySelector('[name=logo_kept]').value.length === 64")
    page.locator("[name='fact-1']").select_option("use_by")
    until(page, "() => document.querySelector('#look img').src.includes('fact=use_by')")
    assert "logo=" in page.locator("#look img").first.get_attribute("src")
    fits(page, tmp_path, "face")
    # too large a file never travels
    page.locator("[name=logo]").set_input_files(
        {"name": "huge.png", "mimeType": "image/png", "buffer": b"\x89PNG" + b"\0" * 2_000_000}
    )
    assert "This file is 2.0 MB; at most 1 MB are taken" in page.inner_text("form.verb")
    page.get_by_role("button", name="Use this face").click()
    page.locator(".note.go").wait_for()
    book = open_book(path)
    row = book.one("SELECT * FROM face_set ORDER BY seq DESC LIMIT 1")
    assert (row.size, row.facts, bool(row.logo)) == ("3x2 in", '["use_by"]', True)
    book.db.close()


def test_a_suppliers_code_is_tried_while_its_pattern_is_typed(walk, tmp_path):
    page, *_ = walk
    page.goto("/dock/codes")
    form = page.locator("form.verb")
    form.locator("[name=example]").fill("A2231-1000")
    form.locator("[name=pattern]").fill(r"(?P<lot>[A-Z]\d{4})-(?P<net_kg>\d+)")
    page.locator("#look .facts").wait_for()
    assert "A2231" in page.inner_text("#look") and "1000" in page.inner_text("#look")
    form.locator("[name=pattern]").fill(r"(?P<lot>(a+)+)")
    page.locator("#look .trouble").wait_for()
    assert "could take for ever" in page.inner_text("#look")
    fits(page, tmp_path, "codes")
