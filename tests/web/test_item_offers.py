"""An item's page offers what can come next in its state; what happened otherwise is folded, and each line of its story can be put right."""

import re

import pytest

from fillbook.trace.core import ids
from fillbook.trace.web.item import offers
from fillbook.trace.web.item.views import _verbs_of
from fillbook.trace.work.corrections import FIXED


def buttons(page):
    """The words of the buttons under *All that can be written of it*, and those folded once more below."""
    inside = page.partition("All that can be written of it")[2].partition('<div class="columns">')[0]
    now, _, other = inside.partition("Something else happened")
    return (set(re.findall(r'class="button" href="/do/([a-z-]+)', part)) for part in (now, other))


@pytest.mark.parametrize(
    ("who", "never", "still"),
    [
        (
            "held",
            {"start-fill", "finish-fill", "take-in", "return", "dispatch", "resume"},
            {"attach", "rack", "reclaim"},
        ),
        (
            "waiting",
            {"finish-fill", "dispatch", "return", "reclaim", "release"},
            {"start-fill", "inspect", "stretch"},
        ),
        ("sent", {"start-fill", "rack", "dispatch", "reclaim", "scrap"}, {"attach"}),
        ("filling", {"start-fill", "take-in", "dispatch", "rack"}, {"pause", "abandon", "leak"}),
        ("spare_a", {"unhook"}, {"inspect-tote", "store"}),
        ("hooked", {"hook-up", "store"}, {"weigh", "take-retain"}),
    ],
)
def test_only_what_can_come_next_is_offered_and_the_rest_is_in_reach(web, names, who, never, still):
    page = web.get(f"/i/{names[who]}").get_data(as_text=True)
    now, other = buttons(page)
    assert not now & never and still <= now
    steps = set(re.findall(r'href="/do/([a-z-]+)', page))
    assert never - {"release"} <= other | (steps - now)  # the desk's own verb has its own page


@pytest.mark.parametrize("kind", "LGFCZUP")
def test_every_verb_stands_in_one_of_the_two(web, names, kind):
    known = {verb for *_, verb in _verbs_of(kind)}
    assert set(offers.STATES.get(kind, {})) <= known


def test_each_line_of_the_story_that_can_be_corrected_leads_to_its_correction(web, names):
    page = web.get(f"/i/{names['sent']}").get_data(as_text=True)
    lines = re.findall(r"<li><time>.*?</li>", page.partition('id="time-line"')[2], re.DOTALL)
    seqs = set()
    for line in lines:
        seq = int(re.search(r'href="/book/(\d+)"', line)[1])
        kind = web.book.value("SELECT kind FROM event WHERE seq = ?", seq)
        offered = f'href="/book/{seq}#correct"' in line
        assert offered == (kind not in FIXED and seq not in seqs), (kind, line)
        if offered:
            assert web.form(f"/book/{seq}").action == f"/book/{seq}"
        seqs.add(seq)
    assert page.count("That was wrong") == 1  # large once, small for the others


def test_beside_weight_and_pressure_stands_the_way_to_the_fill(web, names):
    fill = web.book.value("SELECT seq FROM fill WHERE item = ?", names["sent"])
    page = web.get(f"/i/{names['sent']}").get_data(as_text=True)
    for name in ("Weight", "Pressure"):
        assert re.search(rf'<dt>{name}</dt><dd>[^<]+<a class="wrong" href="/book/{fill}#correct">', page), (
            name
        )
    receipt = web.book.value("SELECT seq FROM event WHERE kind = 'receive' ORDER BY seq LIMIT 1")
    assert f'<a class="wrong" href="/book/{receipt}#correct">' in web.get(f"/i/{names['a']}").get_data(
        as_text=True
    )
    ground = web.book.value("SELECT seq FROM event WHERE kind = 'grind'")
    assert f'<a class="wrong" href="/book/{ground}#correct">' in web.get(f"/i/{names['batch']}").get_data(
        as_text=True
    )
    assert ids.pretty(names["sent"]) in page


def test_admitting_a_device_is_done_on_the_devices_page(web, names):
    web.choose("Dana")
    assert web.get("/do/admit-device", 303).headers["Location"] == "/devices"


def test_what_takes_a_lead_is_folded_for_a_hand(web, names):
    web.choose("Sam")
    page = web.get("/do").get_data(as_text=True)
    shown = re.sub(r"<details.*?</details>", "", page, flags=re.DOTALL)
    assert 'href="/do/correct"' not in shown and 'href="/do/correct"' in page
    assert 'href="/do/finish-fill"' in shown and "For a lead or the owner" in page
    web.choose("Dana")
    page = web.get("/do").get_data(as_text=True)
    assert 'href="/do/correct"' in re.sub(r"<details.*?</details>", "", page, flags=re.DOTALL)


def test_identify_says_that_it_writes_the_return(web, names):
    page = web.get("/identify").get_data(as_text=True)
    assert "Who can it be?" not in page and ">Write down the return</button>" in page


def test_a_month_is_said_as_people_say_it(web, names, clock):
    left = web.book.value("SELECT at FROM dispatch WHERE item = ?", names["sent"])
    month = 30 * 86_400 + 10 * 3600
    for months, words in ((0, "left this month"), (1, "left 1 month before"), (2, "left 2 months before")):
        clock.now = left + int(months * month) + 3600
        web.choose("Lee")
        web.do("return", complaint="soft", customer="Quarry Nine", size="23.5-25", months=str(months))
        candidates = web.last()["body"]["candidates"]
        assert candidates and any(words in one["for"].split("; ") for one in candidates), (words, candidates)
