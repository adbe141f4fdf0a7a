"""Tables that go on from page to page: a line's weights, and what an item came from and went to."""

import re

import pytest

from fillbook.trace.book import pedigree, spans
from fillbook.trace.core import ids
from fillbook.trace.web.counts import views as counts
from fillbook.trace.web.lineage import views as lineage


def listed(text):
    return [ids.pretty(code) for code in re.findall(r'<td><a class="id" href="/i/([A-Z0-9]+)"', text)]


def link(text, words):
    found = re.search(rf'href="([^"]+)">{words}</a>', text)
    return found[1].replace("&amp;", "&") if found else None


def test_a_lines_weights_go_on_to_the_first_tote(web, names, monkeypatch):
    monkeypatch.setattr(counts, "MOST_SPANS", 1)
    whole = [row["tote"] for row in spans.table(web.book, "BH", names["line"])]
    assert len(whole) >= 3
    text = web.get("/kilograms/lines?since=first").text
    section = next(part for part in text.split("<section>") if "<h2>line 1</h2>" in part)
    seen, address = listed(section), link(section, "Earlier")
    while address:
        text = web.get(address).text
        assert text.count("<h2>") - text.count("<h2>Share") >= 1 and "line 3" not in text
        assert link(text, "The newest of every line") == "/kilograms/lines?since=first"
        seen += listed(text)
        address = link(text, "Earlier")
    assert seen == whole[::-1]


@pytest.mark.parametrize(
    "said",
    ["before=1,2,3", "before=x", "line=BHU25000016&before=", "line=nothing&before=1,2,3,4", "before=1,2,3,4"],
)
def test_an_odd_page_of_the_lines_weights_is_the_newest(web, said):
    whole = web.get("/kilograms/lines?since=first").text
    odd = web.get(f"/kilograms/lines?since=first&{said}").text
    assert listed(odd) == listed(whole) and odd.count("<h2>") == whole.count("<h2>")


@pytest.mark.parametrize("way", ["from", "to"])
def test_all_that_is_related_stands_on_the_pages_of_its_table(web, names, monkeypatch, way):
    monkeypatch.setattr(lineage, "FIRST_ROWS", 1)
    monkeypatch.setattr(lineage, "MOST_ROWS", 2)
    item = names["held"] if way == "from" else names["a"]
    rows = [ids.pretty(row.item) for row in pedigree.pedigree(web.book, item).of(way)]
    assert len(rows) >= 3
    first = web.get(f"/lineage/{item}").text
    table = first[first.index('id="table"') :]
    assert rows[0] in listed(table) and rows[1] not in listed(table) and f"1 of {len(rows)}" in table
    seen, address = [], link(table, "All of these")
    while address:
        text = web.get(address).text
        seen += listed(text)
        assert "<svg viewBox" not in text.split("<main")[1].split("</main")[0] or "See it drawn" in text
        address = link(text, "Next page")
    assert seen == rows


@pytest.mark.parametrize(
    "said", ["table=", "table=x", "table=from&page=99", "table=to&page=-3", "table=to&page=%00"]
)
def test_an_odd_page_of_a_lineage_is_one_there_is(web, names, said):
    assert web.get(f"/lineage/{names['held']}?{said}").text


def test_an_items_page_says_the_new_after_an_event(web, names):
    """What the page was made of is kept only while nothing happens."""
    before = web.read(f"/i/{names['spare_a']}").words
    assert "Nothing was made from it." in before
    web.do("hook up", tote=names["spare_a"], line="line 1")
    web.do("purge", line="line 1", weight_lb="60")
    after = web.read(f"/i/{names['spare_a']}").words
    assert "Nothing was made from it." not in after and "purge or waste" in after
