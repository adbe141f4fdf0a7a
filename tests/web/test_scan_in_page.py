"""A scan that a page takes without leaving it, as the server answers it: what was done, how the next one is read, what stops."""

from __future__ import annotations

import pytest

from fillbook.trace.core import ids, times
from fillbook.trace.web import called


def take(web, came_from, code, *, request="", waited=0, by="scanner"):
    said = {"from": came_from, "code": code, "request": request, "waited": str(waited), "by": by}
    return web.client.post("/scan/take", data={**web.form("/who").fields, **said})


def place(web, tire):
    return web.book.tuples("SELECT state, place FROM place WHERE item = ?", tire)[0]


def test_tires_then_their_zone_are_one_act(web, names):
    first = take(web, "racks", names["waiting"])
    assert first.headers["X-Scan"] == "taken" and first.headers["X-From"] == f"moving:{names['waiting']}"
    second = take(web, first.headers["X-From"], names["second"])
    assert second.headers["X-Go-To"] == f"/racks?tires={names['waiting']},{names['second']}"
    head = web.head()
    laid = take(web, second.headers["X-From"], names["zone_2"], request="a" * 32)
    assert laid.headers["X-From"] == f"laid:{names['zone_2']}" and web.head() == head + 1
    assert "2 tires lie in back rack now" in laid.get_data(as_text=True)
    assert place(web, names["waiting"]) == place(web, names["second"]) == ("soaking", names["zone_2"])


def test_an_answer_that_was_lost_is_given_again_and_nothing_done_twice(web, names, clock):
    take(web, f"lay:{names['zone']}", names["waiting"], request="b" * 32)
    head, words = web.head(), "soaks in warm room now"
    clock.now += 300
    again = take(web, f"lay:{names['zone']}", names["waiting"], request="b" * 32, waited=300)
    assert again.headers["X-Scan"] == "taken" and words in again.get_data(as_text=True)
    assert web.head() == head


@pytest.mark.parametrize("waited, late_s", [(0, 0), (59, 0), (60, 60), (420, 420)])
def test_what_waited_for_a_connection_stands_at_its_own_time(web, names, clock, waited, late_s):
    clock.now += 3600
    take(web, f"lay:{names['zone_2']}", names["cured"], waited=waited)
    event = web.last()
    assert event["kind"] == "rack" and clock.now - times.from_utc_text(event["happened_at"]) == late_s


def test_what_asks_for_a_look_does_nothing_and_says_where(web, names):
    head = web.head()
    for came_from, code, words, where in (
        ("racks", names["filling"], "finish its fill", f"/i/{names['filling']}"),
        ("racks", names["sent"], "can&#39;t lie in a zone", f"/i/{names['sent']}"),
        (f"lay:{names['zone']}", names["sent"], "can&#39;t lie in a zone", f"/i/{names['sent']}"),
        ("racks", "HTTPS://EXAMPLE.COM/SHOP", "another place&#39;s address", ""),
        ("racks", "4006381333931", "no label of this shop", "/search?q=4006381333931&from=racks"),
        (f"moving:{names['waiting']}", names["a"], "nothing is done with it", f"/i/{names['a']}"),
        (f"several:{names['cured']}", names["zone"], "nothing is done with it", f"/racks/{names['zone']}"),
    ):
        answer = take(web, came_from, code)
        assert (answer.headers["X-Scan"], answer.headers.get("X-Go-To", "")) == ("stop", where), code
        assert words in answer.get_data(as_text=True), code
    assert web.head() == head


def test_another_kind_leads_to_its_page_where_nothing_waits(web, names):
    for came_from in ("racks", "several:"):
        answer = take(web, came_from, names["a"])
        assert answer.headers["X-Scan"] == "elsewhere" and answer.headers["X-Go-To"] == f"/i/{names['a']}"
    typed = take(web, "racks", "quarry", by="")
    assert (
        typed.headers["X-Scan"] == "elsewhere" and typed.headers["X-Go-To"] == "/search?q=quarry&from=racks"
    )


def test_no_tire_falls_off_a_full_list(web, names):
    web.do(
        "take in",
        customer="Quarry Nine",
        size="23.5-25",
        tires=str(called.MOST),
        rating_pa="75",
        target_pa="60",
    )
    many = [
        code
        for (code,) in web.book.tuples(
            "SELECT item FROM place WHERE state = 'taken in' ORDER BY item DESC LIMIT ?", called.MOST
        )
    ]
    for came_from in ("several", "moving"):
        answer = take(web, f"{came_from}:{','.join(many)}", names["waiting"])
        assert answer.headers["X-Scan"] == "stop" and "as many as go at once" in answer.get_data(as_text=True)


def test_without_the_script_the_racks_lead_on_as_before(web, names):
    form = web.form("/racks", "/scan")
    assert web.send(form, code=names["waiting"]).location == f"/do/rack?tires={names['waiting']}"
    assert (
        web.send(form, code=names["zone"]).location
        == f"/do/rack?tires={names['waiting']}&zone={names['zone']}"
    )
    assert web.send(form, code=names["zone_2"]).location == f"/racks/{names['zone_2']}"


def test_the_page_with_tires_that_wait_offers_their_zone_by_hand(web, names):
    page = web.get(f"/racks?tires={names['waiting']},{names['second']},nonsense")
    shown = page.get_data(as_text=True)
    assert all(ids.pretty(names[one]) in shown for one in ("waiting", "second"))
    form = web.form(f"/do/rack?tires={names['waiting']},{names['second']}", "/do/rack")
    web.send(form, zone=names["zone_2"])
    assert place(web, names["second"]) == ("soaking", names["zone_2"])


def test_a_tire_that_soaks_in_a_zone_stands_on_its_page(web, names):
    """What was scanned there can be checked there, filled or not."""
    name = ids.pretty(names["waiting"])
    assert name not in web.words(web.get(f"/racks/{names['zone']}"))
    take(web, f"lay:{names['zone']}", names["waiting"], request="c" * 32)
    words = web.words(web.get(f"/racks/{names['zone']}"))
    assert words.count(name) == 2 and "Laid here just now" in words  # at the top, and where it lies
    assert "Soaking, not filled yet" in words
    assert name in web.words(web.get("/racks")) and name in web.words(
        web.get(f"/racks/now?zone={names['zone']}")
    )
    assert name not in web.words(web.get(f"/racks/{names['zone_2']}"))
