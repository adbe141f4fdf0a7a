"""The page of a recall while a part of it is still to be worked out, with scripts and without; its lists page by page."""

import re
import shutil

import pytest

from fillbook.trace.book import recalls, worked_out
from fillbook.trace.book.opening import open_book
from fillbook.trace.core import ids
from fillbook.trace.web.recall import views

NOT_YET = "This list is not complete yet."


@pytest.fixture
def slowly(monkeypatch):
    """As if every lot reached more items than can be walked while somebody waits."""
    monkeypatch.setattr(worked_out, "AT_ONCE", 0)


def tires(text):
    part = text[text.index('<section id="list">') : text.index('<section id="account">')]
    return [ids.pretty(code) for code in re.findall(r'<td><a class="id" href="/i/([A-Z0-9]+)"', part)]


def words(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.get_data(as_text=True)).split())


def test_a_list_that_is_not_complete_says_so_and_what_it_lacks(web, names, slowly):
    """A tire that was cut out and ground went straight into nothing: what was filled with it comes later."""
    answer = web.get(f"/recall?suspect={names['reclaimed']}")
    there = recalls.recall(web.book, "BH", names["reclaimed"])
    straight = [one["id"] for one in there["items"] if one["tier"] in ("certain", "possible")]
    assert NOT_YET in words(answer) and "Every tire it went straight into stands here" in words(answer)
    assert "so far" in words(answer) and "its weight counts only what went straight in" in words(answer)
    assert sorted(tires(answer.text)) == sorted(straight) and len(straight) < len(there["items"])
    assert "This is still to be worked out" in words(answer) and "received" not in words(answer)
    assert "Works the list out to its end and freezes all of it" in words(answer)


def test_without_scripts_a_link_works_all_of_it_out(web, slowly):
    page = web.read("/recall?suspect=B-11&threshold_pct=2")
    (there,) = {address for address in page.addresses if "whole=yes" in address}
    answer = web.get(there)
    found = recalls.recall(web.book, "BH", "B-11", threshold_e4=200)
    assert NOT_YET not in answer.text and "still to be worked out" not in answer.text
    assert sorted(tires(answer.text)) == sorted(one["id"] for one in found["items"])
    assert "received" in words(answer) and all(row["place"] in words(answer) for row in found["account"])
    # and from then on it stands there at once, until something happens in the shop
    again = web.get("/recall?suspect=B-11&threshold_pct=2")
    assert NOT_YET not in again.text and tires(again.text) == tires(answer.text)
    assert "recall.js?" not in again.text
    web.do("hold", item=tires(answer.text)[0], why="look at it")
    assert NOT_YET in web.get("/recall?suspect=B-11&threshold_pct=2").text


def test_with_scripts_the_page_fetches_the_same_address(web, slowly):
    page = web.read("/recall?suspect=B-11&defect=contamination")
    (asked,) = [tag["data-work-out"] for _, tag in page.tags if "data-work-out" in tag]
    assert "whole=yes" in asked and "suspect=B-11" in asked
    assert any("recall.js" in tag.get("src", "") for name, tag in page.tags if name == "script")
    parts = [tag.get("id") for name, tag in web.read(asked).tags if name == "section"]
    assert {"list", "account"} <= set(parts)


def test_of_a_defect_of_setting_only_the_account_is_still_to_come(web, slowly):
    answer = web.get("/recall?suspect=B-11&defect=setting")
    found = recalls.recall(web.book, "BH", "B-11", defect="setting")
    assert NOT_YET not in answer.text and "so far" not in words(answer)
    assert tires(answer.text) == [one["id"] for one in found["items"]]
    assert "This is still to be worked out: it follows the material through all regrind." in words(answer)
    page = web.read("/recall?suspect=B-11&defect=setting")
    (there,) = {address for address in page.addresses if "whole=yes" in address}
    assert "received" in words(web.get(there.split("#")[0]))


def test_the_files_and_the_explanation_are_always_whole(web, slowly):
    found = recalls.recall(web.book, "BH", "B-11", with_traces=True)
    file = web.get("/recall.json?suspect=B-11").get_json()
    assert all(one.pop("tire")["service_number"] for one in file["items"]) and file == found
    sheet = web.get("/recall.csv?suspect=B-11").text.splitlines()
    assert [line.split(",")[0] for line in sheet[1:]] == [one["id"] for one in found["items"]]
    said = words(web.get("/recall/how-sure?suspect=B-11"))
    for tier in ("certain", "possible", "through regrind", "not excluded"):
        many = sum(one["tier"] == tier for one in found["items"])
        assert f"{many} of " in web.get("/recall/how-sure?suspect=B-11").text or tier in said


def test_a_recall_opened_from_an_unfinished_page_freezes_all_of_it(web, slowly):
    form = web.form("/recall?suspect=B-11", action="/do/open-recall")
    found = recalls.recall(web.book, "BH", "B-11")
    answer = web.send(form, why="drum found open")
    seq = int(answer.location.split("/")[-1].split("?")[0])
    frozen = recalls.frozen(web.book, "BH", seq)["body"]["frozen"]["items"]
    assert [one["item"] for one in frozen] == [ids.read(one["id"]) for one in found["items"]]
    assert [one["grams"] for one in frozen] == [
        [one["grams"][bound] for bound in ("least", "best", "most")] for one in found["items"]
    ]


def test_a_small_recall_is_whole_at_once(web):
    assert NOT_YET not in web.get("/recall?suspect=B-11").text


@pytest.mark.parametrize("many", [1, 2])
def test_every_tire_of_a_tier_stands_on_one_of_its_pages(web, monkeypatch, many):
    monkeypatch.setattr(views, "FIRST_ROWS", many)
    monkeypatch.setattr(views, "MOST_ROWS", many)
    found = recalls.recall(web.book, "BH", "B-11")
    first = web.get("/recall?suspect=B-11")
    by_tier = {}
    for one in found["items"]:
        by_tier.setdefault(one["tier"], []).append(one["id"])
    assert max(len(mine) for mine in by_tier.values()) > many
    assert tires(first.text) == [one for mine in by_tier.values() for one in mine[:many]]
    for tier, mine in by_tier.items():
        seen, address, pages = [], f"/recall?suspect=B-11&tier={tier.replace(' ', '+')}", 0
        while address:
            text = web.get(address).text
            assert f"{len(mine)} tire" in text
            seen += tires(text)
            pages += 1
            following = re.search(r'href="([^"]+)">Next page</a>', text)
            address = following[1].replace("&amp;", "&").split("#")[0] if following else None
        assert seen == mine and pages == -(-len(mine) // many)
        if len(mine) > many:
            assert f"tier={tier.replace(' ', '+')}" in first.text


@pytest.mark.parametrize(
    "said",
    [
        "tier=",
        "tier=traces",
        "tier=certain&page=999999",
        "tier=certain&page=-1",
        "page=3",
        "tier=%3Cb%3E",
        "whole=",
    ],
)
def test_an_odd_page_of_a_tier_changes_nothing(web, said):
    answer = web.get(f"/recall?suspect=B-11&{said}")
    assert tires(answer.text) and "<b>" not in answer.text


# -- in a browser ------------------------------------------------------------------------------------------------------------------
@pytest.fixture
def station(chromium, serve, story, clock, tmp_path):
    """Opens a browser before the filled book, with scripts or without."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    running = serve(path, clock)
    opened = []

    def start(scripts):
        context = chromium.new_context(
            viewport={"width": 390, "height": 844}, base_url=running.address, java_script_enabled=scripts
        )
        opened.append(context)
        page = context.new_page()
        page.set_default_timeout(10_000)
        return page

    yield start
    for context in opened:
        context.close()


def test_what_was_lacking_comes_by_itself(station, slowly, story):
    page = station(True)
    page.goto("/recall?suspect=B-11")
    page.get_by_text("The list is complete now.").wait_for()
    text = page.inner_text("main")
    assert NOT_YET not in text and "still to be worked out" not in text and "received" in text
    book = open_book(story[0])
    found = recalls.recall(book, "BH", "B-11")
    book.db.close()
    listed = [one.inner_text() for one in page.locator("#list td a.id").all()]
    assert listed == [one["id"] for one in found["items"]]


def test_what_cannot_be_fetched_is_said_and_may_be_asked_for_again(station, slowly):
    page = station(True)
    page.route(re.compile("whole=yes"), lambda route: route.abort())
    page.goto("/recall?suspect=B-11")
    page.get_by_text("It could not be fetched.").wait_for()
    assert NOT_YET in page.inner_text("main")
    page.unroute(re.compile("whole=yes"))
    page.get_by_role("link", name="Work out the whole list").click()
    page.wait_for_url(re.compile("whole=yes"))
    assert NOT_YET not in page.inner_text("main")


def test_without_scripts_the_link_is_there_to_be_touched(station, slowly):
    page = station(False)
    page.goto("/recall?suspect=B-11&defect=setting")
    page.get_by_role("link", name="Work it out").click()
    assert "received" in page.inner_text("#account")
