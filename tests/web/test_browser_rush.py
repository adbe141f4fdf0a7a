"""Scans in a rush at the racks and at the desk, in a real browser: taken in the page, none lost, none twice, none dropped unseen.

A hand scanner sends a label within some hundredths of a second, key by key, and the next label may follow at once (*common practice*);
five milliseconds between two keys are faster than any page loads.
"""

from __future__ import annotations

import json
import re
import shutil
import sys

import pytest

from fillbook.trace.book.opening import open_book
from fillbook.trace.book.replay import check_replay
from fillbook.trace.core import ids, times

KEYS_MS = 5  # between two keys of the scanner
SIZES = {"phone": (390, 844), "desktop": (1440, 900)}


@pytest.fixture(scope="module")
def told(story, tmp_path_factory):
    """A book with ten tires to lay, four that have cured, one that has not, one above its rating, one gone: (path, names)."""
    path = str(tmp_path_factory.mktemp("rush") / "shop.db")
    shop = sys.modules["the_shop_for_pages"].Shop.start(path)  # loaded for the story
    shop.ready_line(kg=4000)
    cured = [shop.fill() for _ in range(5)]
    shop.rack(*cured)
    shop.wait(hours=60)
    shop.log(61)
    gone = cured.pop()
    shop.lead("release", tire=gone)
    shop.act("dispatch", tires=[gone])
    soft = shop.fill()
    shop.rack(soft)
    danger = shop.fill(pressure_psi=95)
    tote = shop.tote("A")
    shop.ready_line("line 2")
    sixty = list(
        shop.act(
            "take in", customer="Quarry Nine", size="23.5-25", rating_psi=75, target_psi=60, tires=60
        ).ids
    )
    ten = [shop.fill() for _ in range(10)]
    filling = shop.tire()
    shop.act("start fill", tire=filling, line="line 2")
    kim = shop.book.value("SELECT item FROM person WHERE name = 'Kim'")
    names = {
        "cured": cured, "gone": gone, "soft": soft, "danger": danger, "tote": tote, "ten": ten, "filling": filling, "sixty": sixty,
        "zone": shop.zone, "zone_2": shop.zone_2, "now": shop.now, "kim": kim,
        "other": "HTTPS://EXAMPLE.COM/X", "unknown": ids.mint("BH", "F", 25, 4711), "torn": gone[:-1] + ("X" if gone[-1] != "X" else "Y"),
    }  # fmt: skip
    shop.book.db.close()
    return path, names


class Station:
    def __init__(self, page, names, book, clock):
        self.page, self.names, self.book, self.clock = page, names, book, clock
        self.sent, self.loads = [], 0
        page.on("request", self._note)

    def _note(self, request):
        self.loads += request.is_navigation_request()
        if request.url.endswith("/scan/take"):
            self.sent.append(dict(part.split("=") for part in request.post_data.split("&")))

    def open(self, path):
        self.page.goto(path)
        self.page.wait_for_load_state("load")
        self.loads, self.sent = 0, []

    def scan(self, *codes, key="Enter", delay=KEYS_MS):
        for code in codes:
            self.page.keyboard.type(code if "/" in code else f"HTTP://X/I/{code}", delay=delay)
            self.page.keyboard.press(key)

    def wait(self, words):
        self.page.locator("#page").get_by_text(words).first.wait_for()

    def answers_after(self, ms):
        """As over a poor radio."""

        def later(route):
            self.page.wait_for_timeout(ms)
            route.continue_()

        self.page.route("**/scan/take", later)

    def place(self, tire):
        return self.book.one("SELECT state, place FROM place WHERE item = ?", tire)

    def laid(self, zone):
        return sorted(tire for tire in self.names["ten"] if self.place(tire).place == zone)

    def racked(self):
        """How many acts of laying the journal holds."""
        return self.book.value("SELECT count(*) FROM event WHERE kind = 'rack'")

    def heard(self):
        return self.page.evaluate("document.documentElement.dataset.heard")

    def kept(self):
        found = self.page.evaluate(
            "Object.entries(localStorage).filter(([name]) => name.startsWith('scans:'))"
        )
        return {
            name.removeprefix("scans:"): [one["code"] for one in json.loads(kept)["queue"]]
            for name, kept in found
        }

    def is_idle(self):
        for _ in range(100):
            if not self.kept():
                return
            self.page.wait_for_timeout(100)
        raise AssertionError(f"still waiting: {self.kept()}")


@pytest.fixture(params=["phone"])
def station(request, chromium, serve, told, tmp_path, helpers):
    path, names = told
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    clock = helpers["Clock"](names["now"] + 600)
    running = serve(mine, clock)
    width, height = SIZES[request.param]
    context = chromium.new_context(
        viewport={"width": width, "height": height},
        base_url=running.address,
        has_touch=request.param == "phone",
    )
    page = context.new_page()
    page.set_default_timeout(15_000)
    broken = []
    page.on("pageerror", lambda wrong: broken.append(str(wrong)))
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()
    book = open_book(mine)
    yield Station(page, names, book, clock)
    assert broken == []
    assert check_replay(book) is None
    book.db.close()
    context.close()


both = pytest.mark.parametrize("station", SIZES, indirect=True)


# -- the racks -------------------------------------------------------------------------------------------------------------------
@both
@pytest.mark.parametrize(
    "key, answer_ms", [("Enter", 400), ("Tab", 0)]
)  # 400: the next labels come before the answer
def test_ten_tires_in_a_rush_are_all_laid_at_the_zones_page(station, key, answer_ms):
    station.open(f"/racks/{station.names['zone']}")
    if answer_ms:
        station.answers_after(answer_ms)
    before = station.racked()
    station.scan(*station.names["ten"], key=key)
    station.page.locator(".just h2 small").get_by_text("10").wait_for()
    assert station.laid(station.names["zone"]) == sorted(station.names["ten"])
    assert station.racked() - before == 10 and len(station.sent) == 10
    assert station.loads == 0, "a page that loads tears the scan that comes meanwhile"
    assert len({one["request"] for one in station.sent}) == 10
    assert station.heard() == "go" and station.kept() == {}
    assert (
        station.page.evaluate("document.documentElement.scrollWidth") <= station.page.viewport_size["width"]
    )


@pytest.mark.parametrize(
    "parts, ms", [((45,), 0), ((3, 42), 0), ((12, 33), 0), ((45,), 90)], ids=["before its end", "early", "later", "slow"]
)  # fmt: skip
def test_a_scan_that_stalls_or_comes_slowly_and_ends_with_tab_is_taken(station, parts, ms):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    code, at = f"HTTP://X/I/{ten[0]}", 0
    for part in parts:
        station.page.keyboard.type(code[at : at + part], delay=ms)
        station.page.wait_for_timeout(ms or 400)  # a radio far from its base
        at += part
    station.page.keyboard.press("Tab")
    station.scan(*ten[1:3], key="Tab")
    station.is_idle()
    assert station.laid(zone) == sorted(ten[:3])


def test_an_id_typed_by_hand_is_not_sent_by_the_key_that_goes_on_to_the_next_field(station):
    station.open(f"/racks/{station.names['zone']}")
    station.page.keyboard.type(station.names["ten"][0], delay=120)
    station.page.keyboard.press("Tab")
    assert station.page.locator("#scan").input_value() == station.names["ten"][0]
    assert station.sent == [] and station.page.evaluate("document.activeElement.id") != "scan"


@both
def test_nine_tires_and_then_their_zone_are_one_act(station):
    station.open("/racks")
    before, nine = station.racked(), station.names["ten"][:9]
    station.scan(*nine, station.names["zone_2"])
    station.wait("9 tires lie in back rack now")
    assert station.laid(station.names["zone_2"]) == sorted(nine) and station.racked() - before == 1
    assert station.loads == 0 and station.page.url.endswith("/racks")


def test_tires_and_zones_by_turns(station):
    ten, zone, zone_2 = station.names["ten"], station.names["zone"], station.names["zone_2"]
    station.open("/racks")
    station.scan(ten[0], zone, ten[1], ten[2], zone_2, ten[3], zone)
    station.is_idle()
    assert station.laid(zone) == sorted([ten[0], ten[3]]) and station.laid(zone_2) == sorted(ten[1:3])


def test_a_zone_first_opens_its_page_without_loading_it_and_another_zone_the_next(station):
    ten, zone, zone_2 = station.names["ten"], station.names["zone"], station.names["zone_2"]
    station.open("/racks")
    station.scan(zone, ten[0], ten[1], zone_2, ten[2])
    station.page.locator("h1").get_by_text("Back rack").wait_for()
    assert station.laid(zone) == sorted(ten[:2]) and station.laid(zone_2) == [ten[2]]
    assert station.loads == 0 and station.page.url.endswith(f"/racks/{zone_2}")
    assert station.page.locator("form.scan [name=from]").input_value() == f"lay:{zone_2}"
    assert set(
        station.page.locator("main form.verb [name=zone]").evaluate_all("all => all.map(e => e.value)")
    ) <= {zone_2}
    assert station.page.locator("#fresh").get_attribute("data-from") == f"/racks/now?zone={zone_2}"
    station.page.go_back()
    station.page.locator("h1").get_by_text("Warm room").wait_for()


def test_a_zones_sign_scanned_once_more_after_its_tires_begins_nothing(station):
    ten, zone, zone_2 = station.names["ten"], station.names["zone"], station.names["zone_2"]
    station.open("/racks")
    station.scan(ten[0], zone)
    station.wait(
        "lies in warm room now",
    )
    station.page.wait_for_timeout(2100)
    station.scan(zone, ten[1], zone_2)
    station.is_idle()
    assert station.laid(zone) == [ten[0]] and station.laid(zone_2) == [ten[1]]


def test_what_waits_for_its_zone_is_listed_survives_loading_anew_and_may_be_left_out(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open("/racks")
    station.scan(*ten[:3])
    station.page.locator(".moving li").nth(2).wait_for()
    station.page.reload()
    assert station.page.locator(".moving li").count() == 3
    station.page.locator(".moving li").filter(has_text=ids.pretty(ten[1])).get_by_role(
        "link", name="Leave out"
    ).click()
    station.page.locator(".moving h2 small").get_by_text("2").wait_for()
    station.page.wait_for_load_state("load")
    station.scan(zone)
    station.wait("2 tires lie in warm room now")
    assert station.laid(zone) == sorted([ten[0], ten[2]])


def test_the_same_within_two_seconds_is_the_scanners_echo(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.scan(ten[0], ten[0], ten[1])
    station.is_idle()
    assert [one["code"].rsplit("%2F")[-1] for one in station.sent] == [ten[0], ten[1]]
    assert station.page.locator(".scans .note").count() == 2


# -- what stops ------------------------------------------------------------------------------------------------------------------
def stopped(station, *words):
    place = station.page.locator(".scans .stopped")
    place.wait_for()
    for said in words:
        assert said in place.inner_text()
    return place


@both
@pytest.mark.parametrize(
    "what, words, link",
    [
        ("danger", "keep away from the tire", "/i/{danger}"),
        ("filling", "finish its fill", "/i/{filling}"),
        ("gone", "can't lie in a zone", "/i/{gone}"),
        ("other", "another place's address", None),
        ("unknown", "no such label was given out", None),
        ("torn", "last character does not fit", None),
        ("tote", "nothing is done with it on this page", "/i/{tote}"),
    ],
)
def test_what_asks_for_a_look_stops_the_queue_and_nothing_behind_it_is_lost(station, what, words, link):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.scan(ten[0], station.names[what], *ten[1:4])
    place = stopped(station, words)
    station.page.wait_for_timeout(400)
    station.scan(ten[4])  # what comes later waits, too
    waiting = station.page.locator(".scans .waiting")
    waiting.get_by_text(ids.pretty(ten[4])).wait_for()
    assert all(ids.pretty(tire) in waiting.inner_text() for tire in ten[1:5])
    assert station.laid(zone) == [ten[0]]
    if link:
        assert place.get_by_role("link", name="Open it").get_attribute("href") == link.format(**station.names)
    assert all(
        box["height"] >= 48 for box in (one.bounding_box() for one in place.locator("button, .button").all())
    )
    station.page.reload()  # neither the question nor the scans behind it are gone
    place = stopped(station, words)
    place.get_by_role("button", name="Leave it out and go on").click()
    station.is_idle()
    assert station.laid(zone) == sorted(ten[:5])
    assert station.place(station.names["danger"]).state == "filled"


def test_a_tire_above_its_rating_stops_before_its_zone_is_known(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open("/racks")
    station.scan(ten[0], station.names["danger"], ten[1], zone)
    stopped(station, "keep away").get_by_role("button", name="Leave it out").click()
    station.wait("2 tires lie in warm room now")
    assert station.laid(zone) == sorted(ten[:2])


def test_an_own_label_of_another_kind_leads_to_its_page_when_it_comes_alone(station):
    station.open("/racks")
    with station.page.expect_navigation():
        station.scan(station.names["tote"])
    assert station.page.url.endswith(f"/i/{station.names['tote']}") and station.kept() == {}


def test_nobody_works_here_a_badge_says_who_and_all_is_laid(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.page.goto("/who")
    with station.page.expect_navigation():
        station.page.locator("form[action='/who/leave'] button").click()
    station.open(f"/racks/{zone}")
    station.scan(*ten[:3])
    place = stopped(station, "Nobody is named as working here")
    assert place.get_by_role("link", name="Who works here?").get_attribute("href") == "/who"
    assert station.laid(zone) == []
    station.scan(station.names["kim"])
    station.is_idle()
    assert station.laid(zone) == sorted(ten[:3])
    station.page.locator(".top .who[data-who=Kim]").wait_for()
    who = json.loads(station.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1"))["who"]
    assert who == station.names["kim"]


def test_somebody_elses_scans_are_asked_about_before_they_are_sent(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.page.route("**/scan/take", lambda route: route.abort())
    station.scan(*ten[:2])
    station.page.locator(".scans .waiting").get_by_text(ids.pretty(ten[1])).wait_for()
    station.page.goto("/who")
    station.page.get_by_text("not written down yet").wait_for()  # every page says what waits, and where
    with station.page.expect_navigation():
        station.page.get_by_role("button", name="Kim").click()
    station.page.unroute("**/scan/take")
    station.page.get_by_role("link", name="Go there").click()
    stopped(station, "Scanned here and not sent", "Sam").get_by_role("button", name="Send them now").click()
    station.is_idle()
    assert station.laid(zone) == sorted(ten[:2])


# -- slow and broken connections ---------------------------------------------------------------------------------------------------
def test_over_a_slow_connection_nothing_is_lost_or_sent_twice(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.answers_after(900)
    before = station.racked()
    station.scan(*ten[:5])
    station.page.locator(".scans .waiting").get_by_text("Being sent").wait_for()
    station.page.locator(".just h2 small").get_by_text("5").wait_for()
    assert station.laid(zone) == sorted(ten[:5]) and station.racked() - before == 5 and len(station.sent) == 5


@both
def test_without_a_connection_scans_wait_and_are_sent_once_there_is_one(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open("/racks")
    station.scan(ten[0])
    station.page.locator(".moving li").wait_for()
    station.page.context.set_offline(True)
    before = station.racked()
    station.scan(*ten[1:4], zone)
    waiting = station.page.locator(".scans .waiting")
    waiting.get_by_text(ids.pretty(zone)).wait_for()
    assert "No connection" in waiting.inner_text() and all(
        ids.pretty(tire) in waiting.inner_text() for tire in ten[1:4]
    )
    assert station.heard() == "look" and station.racked() == before
    station.page.context.set_offline(False)
    station.wait("4 tires lie in warm room now")
    assert station.laid(zone) == sorted(ten[:4]) and station.racked() - before == 1


def test_an_answer_that_was_lost_is_asked_for_again_and_done_once(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    lost = []

    def lose(route):
        if len(lost) < 2:
            lost.append(route.fetch().status)  # the book has it, the page never hears so
            route.abort()
        else:
            route.continue_()

    station.page.route("**/scan/take", lose)
    before = station.racked()
    station.scan(*ten[:3])
    station.is_idle()
    assert lost == [200, 200]
    assert station.laid(zone) == sorted(ten[:3]) and station.racked() - before == 3
    notes = station.page.locator(".scans .note").all_inner_texts()
    assert len(notes) == 3 and all("now" in one for one in notes), "as if the answer had come the first time"


def test_scans_that_wait_survive_a_closed_page_and_stand_at_the_time_they_were_made(station):
    ten, zone, page = station.names["ten"], station.names["zone"], station.page
    station.open(f"/racks/{zone}")
    page.route("**/scan/take", lambda route: route.abort())
    station.scan(*ten[:2])
    page.locator(".scans .waiting").get_by_text(ids.pretty(ten[1])).wait_for()
    page.evaluate(
        """() => { const name = Object.keys(localStorage).find((one) => one.startsWith("scans:")), kept = JSON.parse(localStorage.getItem(name));
        kept.queue.forEach((one) => { one.when -= 300000; }); localStorage.setItem(name, JSON.stringify(kept)); }"""
    )  # as if five minutes went by
    context = page.context
    page.close()
    station.page = context.new_page()
    station.page.set_default_timeout(15_000)
    station.page.goto(f"/racks/{zone}")
    station.is_idle()
    assert station.laid(zone) == sorted(ten[:2])
    at = [
        times.from_utc_text(json.loads(text)["happened_at"])
        for (text,) in station.book.tuples(
            "SELECT text FROM event WHERE kind = 'rack' ORDER BY seq DESC LIMIT 2"
        )
    ]
    assert all(290 <= station.clock.now - one <= 330 for one in at)


def test_a_program_that_answers_otherwise_stops_the_queue_and_keeps_it(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.page.evaluate("document.querySelector('form.scan [name=csrf_token]').value = 'old'")
    station.scan(*ten[:3])
    stopped(station, "Open the page again").get_by_role("button", name="Try it again").click()
    station.is_idle()
    assert station.laid(zone) == sorted(ten[:3])


def test_with_nothing_kept_on_the_device_a_rush_still_arrives(station):
    station.page.add_init_script("Storage.prototype.setItem = function () { throw new Error('forbidden'); };")
    station.open(f"/racks/{station.names['zone']}")
    station.scan(*station.names["ten"][:4])
    station.page.locator(".just h2 small").get_by_text("4").wait_for()
    assert station.laid(station.names["zone"]) == sorted(station.names["ten"][:4])


# -- while something else is done on the page ---------------------------------------------------------------------------------------
def test_what_is_typed_on_the_page_stays_and_is_kept(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.page.get_by_text("Read the thermometer").click()
    reading = station.page.locator("main [name=reading_mc]")
    reading.fill("71")
    station.page.wait_for_timeout(300)
    station.page.evaluate("document.activeElement.blur()")
    station.scan(*ten[:2])
    station.page.locator(".just h2 small").get_by_text("2").wait_for()
    assert reading.input_value() == "71" and reading.is_visible()
    station.page.locator("main [name=reading_mc]").fill("72")
    station.page.wait_for_timeout(300)
    station.page.reload()
    station.page.get_by_text("typed on this device and not sent").wait_for()
    assert station.page.locator("main [name=reading_mc]").input_value() == "72"


def test_the_live_part_goes_on_with_the_page_that_was_drawn_last(station):
    ten, zone = station.names["ten"], station.names["zone"]
    station.open("/racks")
    station.scan(zone, ten[0])
    station.page.locator(".just h2 small").wait_for()
    with station.page.expect_response(lambda one: "/racks/now" in one.url) as asked:
        station.page.evaluate("window.dispatchEvent(new Event('online'))")
    assert asked.value.url.endswith(f"/racks/now?zone={zone}")
    assert "Silent" not in station.page.locator("#fresh").inner_text()


# -- several with one signature -------------------------------------------------------------------------------------------------------
@both
def test_tires_called_in_a_rush_stand_on_one_list_and_are_signed_once(station):
    called = [*station.names["cured"], station.names["soft"], station.names["ten"][0]]
    station.page.goto("/who")
    with station.page.expect_navigation():
        station.page.get_by_role("button", name="Lee").click()
    station.open("/desk/several")
    station.scan(*called)
    station.page.locator("h1 small").get_by_text(str(len(called))).wait_for()
    assert station.loads == 0
    address = re.search(r"tires=([^&]*)", station.page.url)[1].split(",")
    assert address == called
    may = station.page.locator("main form input[name=tires]").evaluate_all("all => all.map(e => e.value)")
    assert sorted(may) == sorted(station.names["cured"])
    assert (
        station.page.locator(".scans .note.go").count() >= 1
        and station.page.locator(".scans .note.look").count() >= 1
    )
    with station.page.expect_navigation():
        station.page.get_by_role("button", name="Sign and release 4 tires").click()
    assert {station.place(one).state for one in station.names["cured"]} == {"released"}


def test_no_list_is_signed_while_scans_for_it_wait(station):
    first, second, *_ = station.names["cured"]
    station.open("/desk/several")
    station.scan(first)
    sign = station.page.get_by_role("button", name="Sign and release 1 tire")
    sign.wait_for()
    station.page.context.set_offline(True)
    station.scan(second)
    station.page.locator(".scans .waiting").get_by_text(ids.pretty(second)).wait_for()
    sign.click()
    station.wait("Let them be read first")
    assert station.place(first).state == "racked"
    station.page.context.set_offline(False)
    station.page.get_by_role("button", name="Sign and release 2 tires").wait_for()


def test_a_tire_to_keep_away_from_stops_the_calling(station):
    first, second, *_ = station.names["cured"]
    station.open("/desk/several")
    station.scan(first, station.names["danger"], second)
    stopped(station, "keep away").get_by_role("button", name="Leave it out").click()
    station.page.get_by_role("button", name="Sign and release 2 tires").wait_for()


def test_the_sixty_first_tire_stops_instead_of_pushing_the_first_one_out(station):
    ten, more = station.names["ten"], station.names["sixty"]
    station.open(f"/desk/several?tires={','.join(more)}")
    station.scan(ten[0])
    stopped(station, "60 tires are on the list")
    assert station.page.locator("main form [name=all]").input_value().split(",") == more


def test_in_spanish(station):
    station.page.goto("/preferences")
    station.page.locator("footer button[lang=es]").click()
    station.page.wait_for_load_state("load")
    ten, zone = station.names["ten"], station.names["zone"]
    station.open(f"/racks/{zone}")
    station.scan(ten[0], station.names["danger"], ten[1])
    stopped(station)
    words = station.page.locator(".scans").inner_text()
    for english in ("Leave", "Stopped", "Waiting", "lies", "keep away", "Open it", "Try"):
        assert english not in words
