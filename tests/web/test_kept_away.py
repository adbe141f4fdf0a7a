"""A tire filled above its lowest rating stays where it is: no page offers a rack, and laying it stops before the act.

*Common practice*: nobody handles a tire above its rating; the pressure is let down first, from a distance.
"""

import re

import pytest

from fillbook.trace.core.errors import NotAllowed, Stopped
from fillbook.trace.work import acting


@pytest.fixture
def danger(web, names):
    web.finish_fill(names, pressure_pa="95")
    return names["filling"]


def lay(web, tire, zone, *, at=None, who="Sam", override=None, now):
    action = acting.Action(
        "rack", {"zone": zone, "tires": [tire]}, at=at, who=who, override=override, shop="BH"
    )
    return acting.act(web.book, action, now=now)


def test_its_page_offers_no_rack_and_says_keep_away(web, names, danger):
    page = web.get(f"/i/{danger}")
    shown = page.get_data(as_text=True)
    assert "Keep away from the tire and tell a lead at once." in web.words(page)
    assert "Lay on a rack" not in shown and re.search(r'button main" href="/holds"', shown)


def test_a_scan_at_the_rack_does_not_lay_it(web, names, danger, clock):
    answer = web.client.post(
        "/scan", data={**web.form("/who").fields, "code": danger, "from": f"lay:{names['zone']}"}
    )
    page = web.get(answer.headers["Location"])
    words = web.words(page)
    assert (
        "Not laid here:" in words
        and "It is not laid on a rack" in words
        and f'href="/i/{danger}"' in page.get_data(as_text=True)
    )
    assert web.book.value("SELECT state FROM place WHERE item = ?", danger) == "filled"


def test_only_a_lead_with_a_reason_overrides_it(web, names, danger, clock):
    with pytest.raises(Stopped):
        lay(web, danger, names["zone"], now=clock.now)
    with pytest.raises(NotAllowed):
        lay(web, danger, names["zone"], override="let down to 40 psi", now=clock.now)
    done = lay(web, danger, names["zone"], who="Lee", override="let down to 40 psi", now=clock.now)
    assert [one["code"] for one in done.findings] == ["laid in danger"]
    assert web.book.value("SELECT state FROM place WHERE item = ?", danger) == "racked"


def test_what_was_carried_a_while_ago_is_recorded(web, names, danger, clock):
    clock.now += 3600
    done = lay(web, danger, names["zone"], at=clock.now - 1800, now=clock.now)
    assert [one["code"] for one in done.findings] == ["laid in danger"]


def test_once_the_hold_is_lifted_it_is_laid_like_any_other(web, names, danger, clock):
    station, web.client = web.client, web.app.test_client()
    web.choose("Dana")
    web.do("lift", item=danger, why="read again: 60 psi")
    web.client = station
    assert "Lay on a rack" in web.get(f"/i/{danger}").get_data(as_text=True)
    assert not lay(web, danger, names["zone"], now=clock.now).findings


def test_the_danger_comes_first_on_the_page_and_notes_last(web, names):
    page = web.finish_fill(
        names, pressure_pa="95", weight_g="5000", asked="2267962"
    )  # more than the totes held: notes beside it
    words = web.words(page)
    assert words.index("Keep away") < words.index("filled: 5000") < words.index("are drawn from it")
    # Within the box, too
    assert words.index("its lowest rating is") < words.index("Look at the weight and its unit")


def test_the_floor_says_keep_away_at_once_and_never_that_it_lacks_a_rack(web, names, danger, clock):
    """It lies off the rack on purpose: the notice that a filled tire waits for a rack would send somebody to carry it."""
    name = f"BH-{danger[2:5]}-{danger[5:10]}-{danger[10]}"
    for hours in (0, 3):
        clock.now += hours * 3600
        words = web.words(web.get("/"))
        assert f"{name} was filled above its lowest rating" in words and "keep away from it" in words
        assert f"{name} was filled 3 h" not in words and f"{name} was filled 0 h" not in words
    web.choose("Dana")  # a second person
    web.do("lift", item=danger, why="read again: 60 psi")
    words = web.words(web.get("/"))
    assert (
        re.search(rf"{name} was filled \d h \d\d min ago and is not on a rack", words)
        and "keep away from it" not in words
    )
