"""A line's weights page by page: together they are the table of all, however the pages are cut, and no page reads more than its time."""

import importlib.util
import sys
from pathlib import Path

import pytest

from fillbook.trace.book import queries, spans
from fillbook.trace.book.opening import Book

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_for_span_pages", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)


@pytest.fixture(scope="module", params=(600, 601))
def one(request):
    return shops.RandomShop(request.param, fills=40)


def pages(book, line, **how):
    rows, shares, before, many = [], [], None, 0
    while True:
        more, also, before = spans.page(book, "BH", line, before=before, **how)
        rows, shares, many = rows + more, shares + also, many + 1
        if before is None:
            return rows[::-1], shares[::-1], many


@pytest.mark.parametrize("most", [1, 2, 5, 1000])
def test_the_pages_of_a_random_shops_lines_are_its_table(one, most):
    some = 0
    for line in queries.lines(one.book, "BH"):
        whole, shares = (
            spans.table(one.book, "BH", line.item),
            spans.regrind_shares(one.book, "BH", line.item),
        )
        rows, also, many = pages(one.book, line.item, most=most)
        assert rows == whole and also == shares and many <= max(1, -(-len(whole) // most))
        some += len(whole)
        for row in whole[:: max(1, len(whole) // 3)]:
            since = row["from"] + 1
            rows, also, _ = pages(one.book, line.item, most=most, since=since)
            assert rows == spans.table(one.book, "BH", line.item, since)
            assert also == spans.regrind_shares(one.book, "BH", line.item, since)
    assert some > 5


def test_weighings_and_a_weighed_hopper_stand_on_the_page_they_end_on(shop):
    a, b = shop.ready_line(kg=800)
    shop.load(shop.grind(unknown=400), 50)
    shop.act("weigh", item="line 1", weight_kg=50)
    for left in (770, 745, 720):
        shop.fill(kg=60, mix_pct=20)
        shop.act("weigh", item=a, weight_kg=left)
        shop.act("weigh", item="line 1", weight_kg=45)
        shop.wait(hours=1)
    shop.act("weigh", item=b, weight_kg=700)
    whole, all_shares = (
        spans.table(shop.book, "BH", shop.line),
        spans.regrind_shares(shop.book, "BH", shop.line),
    )
    assert len(whole) == 6 and len(all_shares) == 3
    for most in (1, 2, 3):
        rows, shares, many = pages(shop.book, shop.line, most=most)
        assert rows == whole and shares == all_shares and many == -(-6 // most)


def test_the_spans_of_some_totes_are_those_of_the_table(one):
    book = one.book
    totes = [item for (item,) in book.tuples("SELECT item FROM tote ORDER BY item")]
    for line in queries.lines(book, "BH"):
        whole = spans.table(book, "BH", line.item)
        for some in (totes[::2], totes[1:2], totes):
            mine = {f"{t[:2]}-{t[2:5]}-{t[5:-1]}-{t[-1]}" for t in some}
            assert spans.of_totes(book, "BH", line.item, some) == [
                row for row in whole if row["tote"] in mine
            ]


def test_the_newest_page_does_not_read_what_was_long_before(one, monkeypatch):
    (line, *_) = sorted(
        queries.lines(one.book, "BH"), key=lambda line: -len(spans.table(one.book, "BH", line.item))
    )
    read = []
    kept = Book.rows
    monkeypatch.setattr(Book, "rows", lambda book, *a: read.append(found := kept(book, *a)) or found)
    spans.table(one.book, "BH", line.item)
    all_of_it = sum(map(len, read))
    read.clear()
    spans.page(one.book, "BH", line.item, most=1)
    assert sum(map(len, read)) * 3 < all_of_it
