"""The zones, the racks and the desk as pages: histories, files before they are stored, loggers that send, racks that stay fresh."""

import html
import io
import json
import random
import re

import pytest

from fillbook.trace.book import zones
from fillbook.trace.core import ids, times
from fillbook.trace.web.app import create_app
from fillbook.trace.web.zones import picture

PROBLEM = "application/problem+json"


def log(names, hours=3, *, f=75.0, every=5, end=None):
    """A logger's file in the plain form, ending at *end*; to and fro by a tenth, as sensors do."""
    end = names["now"] - 60 if end is None else end
    marks = range(end - hours * 3600, end + 1, every * 60)
    return "time,temp_f\n" + "".join(
        f"{times.utc_text(at)},{f + n % 2 / 10:.1f}\n" for n, at in enumerate(marks)
    )


def upload(web, zone, data, name="log.csv", status=200, **typed):
    data = data.encode() if isinstance(data, str) else data
    form = web.form(f"/zones/{zone}/file")
    return web.send(form, status, files={"csv": (io.BytesIO(data), name)}, **typed)


def shown_form(helpers, answer, zone):
    return next(
        f for f in helpers["Reader"](answer.get_data(as_text=True)).forms if f.action == f"/zones/{zone}/file"
    )


# -- the picture -----------------------------------------------------------------------------------------------------------------
def test_a_zones_page_names_the_limit_the_gaps_the_tires_and_what_is_in_doubt(web, names):
    answer = web.get(f"/zones/{names['zone']}?days=7")
    words = web.words(answer)
    assert "limit 72 °F" in words and "unobserved" in words and "The same as a table" in words
    assert ids.pretty(names["held"]) in words and "<svg" in answer.get_data(as_text=True)
    doubted = web.get(f"/zones/{names['zone_2']}").get_data(as_text=True)
    assert f"/do/trust-samples?event={names['doubted']}" in doubted and 'class="flagged"' in doubted
    for days in ("1", "7", "30", "x", "-1"):
        web.get(f"/zones/{names['zone']}?days={days}&until=99999999999")


def test_a_metric_shop_reads_celsius(shop):
    tire = shop.fill(shop.tire()) if shop.ready_line() else None
    shop.rack(tire)
    shop.log(4)
    found = zones.history(shop.book, "BH", shop.zone, shop.now - 86_400, shop.now)
    drawn = picture.draw(found, us=False, zone="America/Chicago")
    assert drawn.limit_words == "22.2 °C" and all(15 < float(tick.words) < 35 for tick in drawn.up)


def test_no_line_is_drawn_across_a_gap_and_its_hours_stand_in_the_table(shop):
    half = shop.now
    shop.wait(hours=10)
    shop.log(3, ending=half + 3 * 3600)
    shop.log(3, ending=half + 9 * 3600)
    found = zones.history(shop.book, "BH", shop.zone, half, half + 9 * 3600)
    drawn = picture.draw(found, us=True, zone="America/Chicago")
    assert len(drawn.curves) == 1 and drawn.curves[0].line.count("M") == 2
    gap = max(drawn.unobserved, key=lambda one: one.wide)
    assert gap.x == pytest.approx(100 / 3, abs=0.1) and gap.wide == pytest.approx(100 / 3, abs=0.1)
    assert sum(row.unobserved_s for row in picture.rows(found, 1)) == 3 * 3600


def test_the_table_counts_warm_and_cold_as_the_straight_line_does():
    found = {
        "start": 0, "end": 7200, "limit_mc": 20_000, "gaps": [], "loggers": [{"gap_s": 9000, "points": [(0, 18_000, 18_000), (7200, 22_000, 22_000)]}],
    }  # fmt: skip
    (row,) = picture.rows(found, 1)
    assert (row.warm_s, row.cold_s, row.lowest, row.highest) == (3600, 3600, 18_000, 22_000)


def test_the_hours_of_the_axis_are_the_shops_also_when_clocks_change():
    # 2025-11-02 in Chicago has 25 hours (tz database): the mark of 03:00 stands four hours after midnight
    start = times.parse("2025-11-02 00:00", "America/Chicago", field="at").at
    end = start + 25 * 3600
    across = picture._across(start, end, "America/Chicago", lambda at: (at - start) / 3600 + 7)
    assert next(tick.at for tick in across if tick.words == "03:00") == 4 + 7


def test_two_loggers_give_two_curves(shop):
    shop.log(5)
    shop.act("log temperatures", zone="warm room", sensor="door", csv=shop.csv(5, f=73))
    found = zones.history(shop.book, "BH", shop.zone, shop.now - 5 * 3600, shop.now)
    assert [one.sensor for one in picture.draw(found, us=True, zone="UTC").curves] == ["door", "logger"]


# -- a file is shown before it is stored ---------------------------------------------------------------------------------------
def test_a_file_is_shown_first_and_stored_when_somebody_says_so(web, names, helpers):
    before = web.head()
    rows = [f"{n},08/22/2025 {8 + n // 12:02d}:{n % 12 * 5:02d}:00,{74.5 + n % 3}" for n in range(24)]
    answer = upload(web, names["zone_2"], "\n".join(["No.,Date Time,Temperature (°F)", *rows]), sensor="door")
    words = web.words(answer)
    assert (
        "Nothing is stored yet" in words and "headed" in words and rows[0] in words and web.head() == before
    )
    web.send(shown_form(helpers, answer, names["zone_2"]), take="yes")
    assert web.last()["body"]["count"] == 24 and web.last()["body"]["said"]["sensor"] == "door"
    later = [f"{n},08/23/2025 {8 + n // 12:02d}:{n % 12 * 5:02d}:00,{74.5 + n % 3}" for n in range(24)]
    again = upload(web, names["zone_2"], "\n".join(["No.,Date Time,Temperature (°F)", *later]), sensor="door")
    assert "Read as this logger's last file was" in web.words(again)


def test_a_zone_at_22_f_is_questioned_before_it_is_stored(web, names, helpers):
    before = web.head()
    answer = upload(web, names["zone_2"], log(names, f=22))
    assert "is the column really in °F?" in web.words(answer)
    form = shown_form(helpers, answer, names["zone_2"])
    asked = web.send(form, 422, take="yes", unit_sure="no")
    assert "really in °F" in web.words(asked) and web.head() == before
    web.send(form, take="yes", unit_sure="yes")
    assert web.last()["kind"] == "log temperatures"


def test_another_unit_chosen_after_the_look_is_looked_at_again(web, names, helpers):
    rows = [f"2025-08-22 {8 + n // 12:02d}:{n % 12 * 5:02d}:00;{22.5 + n % 3}" for n in range(24)]
    answer = upload(web, names["zone_2"], "\n".join(["Time;Temp (°F)", *rows]))
    form = shown_form(helpers, answer, names["zone_2"])
    before = web.head()
    again = web.send(form, 200, take="yes", **{"part-unit": "c"})
    assert "°C, as said" in web.words(again) and "72.5 °F" in web.words(again) and web.head() == before
    web.send(shown_form(helpers, again, names["zone_2"]), take="yes")
    assert web.last()["body"]["read_as"].split("unit=")[1].startswith("c")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "The file is empty"),
        (b"PK\x03\x04 a workbook", "a workbook or an archive"),
        (random.Random(1).randbytes(4000), "not plain text"),
        (b"dear all,\nplease find attached\n", "is it a logger's file?"),
        (b"time,temp_f\n2025-09-01T08:00:00Z,75\n2025-09-01T08:05:0", "Line 3 of the file"),
        (b"time,temp_f\n2099-09-01T08:00:00Z,75\n", "has not happened yet"),
    ],
)
def test_a_file_that_is_none_gets_one_sentence_and_nothing_is_stored(web, names, data, says):
    before = web.head()
    said = html.unescape(web.said(upload(web, names["zone"], data, status=422)))
    assert says in said and "Nothing was stored" in said and web.head() == before


def test_the_same_file_twice_is_told_before_it_is_sent_again(web, names, helpers):
    data = log(names, 2, end=names["now"] - 40 * 86_400)
    web.send(shown_form(helpers, upload(web, names["zone_2"], data), names["zone_2"]), take="yes")
    before = web.head()
    answer = upload(web, names["zone_2"], data)
    assert "is in the book already" in web.said(answer) and web.head() == before
    assert "Take these readings in" not in web.words(answer)


def test_a_held_file_that_came_back_damaged_is_told(web, names, helpers):
    form = shown_form(helpers, upload(web, names["zone_2"], log(names)), names["zone_2"])
    answer = web.send(form, 422, take="yes", held="AAAA")
    assert "choose it again" in web.said(answer)


# -- loggers that send -----------------------------------------------------------------------------------------------------------
@pytest.fixture
def token(web, names):
    answer = web.send(web.form(f"/zones/{names['zone_2']}/tokens"), 200, sensor="gateway 1")
    assert answer.headers["Cache-Control"] == "no-store"
    return re.search(r'class="code token">([^<]+)<', answer.get_data(as_text=True))[1]


def post(web, zone, data, token=None, **headers):
    if token:
        headers["Authorization"] = f"Bearer {token}"
    answer = web.app.test_client().post(f"/readings/{zone}", data=data, headers=headers)
    return answer, json.loads(answer.data)


def test_a_logger_sends_with_its_token_and_what_it_sends_twice_is_taken_once(web, names, token):
    assert token not in web.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1")
    data = log(names, 2, end=names["now"] - 30 * 86_400)
    answer, said = post(web, names["zone_2"], data, token)
    assert answer.status_code == 201 and said["count"] == 25 and said["sensor"] == "gateway 1"
    again, said_again = post(web, names["zone_2"], data, token)
    assert again.status_code == 200 and said_again["repeated"] and said_again["event"] == said["event"]


def test_bad_news_for_a_logger_is_one_sentence_with_its_status(web, names, token):
    data, before = log(names, 1), web.head()
    unknown = ids.mint("BH", "Z", 25, ids.next_serial("BH", "Z", 25, 900))
    for status, zone, body, given in (
        (401, names["zone_2"], data, None), (401, names["zone_2"], data, "not-one-of-ours"), (404, unknown, data, token),
        (403, names["zone"], data, token), (422, "nonsense", data, token), (422, names["zone_2"], b"", token),
        (422, names["zone_2"], b"\x00\x01\x02\x03", token), (422, names["zone_2"], log(names, 1, end=names["now"] + 9000), token),
        (422, names["zone_2"], log(names, f=22), token),
    ):  # fmt: skip
        answer, said = post(web, zone, body, given)
        assert (answer.status_code, answer.mimetype, said["status"]) == (status, PROBLEM, status), said
        assert said["type"] and said["title"] and said["detail"][-1] in ".?!", said
        assert ("WWW-Authenticate" in answer.headers) == (status == 401)
    assert web.head() == before


def test_what_is_too_large_for_a_logger_is_413(web, names, token):
    web.app.config["MAX_CONTENT_LENGTH"] = 1000
    answer, said = post(web, names["zone_2"], "x" * 2000, token)
    assert answer.status_code == 413 and "in parts" in said["detail"]


def test_a_stopped_token_is_good_for_nothing(web, names, token):
    page = web.read(f"/zones/{names['zone_2']}/tokens")
    stop = next(f for f in page.forms if f.fields.get("stop") == ["yes"])
    web.send(stop)
    answer, _ = post(web, names["zone_2"], log(names, 1), token)
    assert answer.status_code == 401


def test_a_hand_makes_no_token(web, names):
    web.choose("Sam")
    before = web.head()
    web.send(web.form(f"/zones/{names['zone_2']}/tokens"), 403, sensor="gateway 1")
    assert web.head() == before


def test_only_the_loggers_address_is_free_of_the_forms_guard(web, names):
    before = web.head()
    sent = {
        "sensor": "x",
        "csv": log(names),
        "take": "yes",
        "who": "Lee",
        "tires": names["cured"],
        "all": names["cured"],
    }
    for path in (
        f"/zones/{names['zone_2']}/file",
        f"/zones/{names['zone_2']}/tokens",
        "/desk/several",
        "/scan",
    ):
        assert web.app.test_client().post(path, data=sent).status_code == 400, path
    assert web.head() == before


# -- racks ---------------------------------------------------------------------------------------------------------------------
def test_the_racks_tell_hours_forecast_and_what_blocks(web, names):
    words = web.words(web.get("/racks"))
    for part in (
        "Credited",
        "Attended",
        "Unobserved",
        "Ready about",
        "What blocks it",
        "as of",
        ids.pretty(names["held"]),
    ):
        assert part in words
    part = web.get(f"/racks/now?zone={names['zone']}")
    assert part.headers["X-As-Of"] == str(names["now"]) and "<html" not in part.get_data(as_text=True)
    assert ids.pretty(names["held"]) in part.get_data(as_text=True)


def test_tires_are_laid_by_scans_alone(web, names):
    page = f"/racks/{names['zone_2']}"
    for code in (names["cured"], names["waiting"]):
        answer = web.send(web.form(page, "/scan"), code=code)
        assert answer.location == page and f"{ids.pretty(code)}" in web.words(web.get(page))
    assert web.book.tuples(
        "SELECT item, state FROM place WHERE place = ? ORDER BY item", names["zone_2"]
    ) == sorted([(names["cured"], "racked"), (names["waiting"], "soaking")])
    before = web.head()
    web.send(
        web.form(page, "/scan"), code=names["sent"]
    )  # it left the shop: the refusal is told, and the scanning goes on
    assert "Not laid here" in web.words(web.get(page)) and web.head() == before


def test_the_morning_list_is_a_pdf_to_keep(web):
    answer = web.get("/racks/morning.pdf")
    assert answer.mimetype == "application/pdf" and answer.data.startswith(b"%PDF")
    assert "morning-list-" in answer.headers["Content-Disposition"]


def test_before_the_heating_goes_down_it_says_what_still_cures(web, names):
    words = web.words(web.get("/racks/heating"))
    assert ids.pretty(names["held"]) in words and "heating is turned down" in words
    assert "past" in web.said(web.get("/racks/heating?at=2025-01-01T10:00", 422))
    web.get("/racks/heating?at=zebra", 422)


def test_a_silent_logger_is_said_once(shop, helpers):
    shop.ready_line()
    tire = shop.fill()
    shop.rack(tire)
    shop.wait(hours=5)
    shop.log(5)
    shop.wait(hours=5)
    app = create_app(shop.book.where, clock=helpers["Clock"](shop.now), secret="only for tests", testing=True)

    def words(path):
        return " ".join(helpers["Reader"](app.test_client().get(path).get_data(as_text=True)).words.split())

    desk = words(f"/desk/{tire}")
    assert (
        "No forecast: the logger of the zone is silent" in desk
        and "no forecast: no forecast" not in desk.lower()
    )
    assert "Silent for 5 h" in words(f"/zones/{shop.zone}") and "Silent for 5 h" in words("/racks")


# -- the desk --------------------------------------------------------------------------------------------------------------------
def test_several_tires_go_with_one_signature_and_the_rest_stay_with_their_reason(web, names):
    page = "/desk/several"
    for code in (names["cured"], names["held"]):
        page = web.send(web.form(page, "/scan"), code=code).location
    words = web.words(web.get(page))
    assert "May be released 1" in words and "Stay 1" in words
    answer = web.send(web.form(page, "/desk/several"))
    assert web.last()["kind"] == "release" and [one["item"] for one in web.last()["body"]["frozen"]] == [
        names["cured"]
    ]
    assert names["held"] in answer.location and names["cured"] not in answer.location


def test_one_that_may_not_go_is_never_released_with_the_others(web, names):
    page = f"/desk/several?tires={names['cured']},{names['held']}"
    before = web.head()
    answer = web.send(web.form(page, "/desk/several"), 409, tires=[names["cured"], names["held"]])
    assert "none was" in web.said(answer) and web.head() == before


def test_what_is_no_tire_of_ours_is_left_out_of_the_list(web, names):
    words = web.words(web.get(f"/desk/several?tires=zebra,{names['a']},{names['cured']}"))
    assert ids.pretty(names["cured"]) in words and ids.pretty(names["a"]) not in words


# -- later readings, storage -----------------------------------------------------------------------------------------------------
def test_a_release_that_later_readings_changed_shows_at_the_desk_and_on_the_tire(web, names, helpers):
    tire, at = web.book.tuples("SELECT item, at FROM released WHERE item = ?", names["sent"])[0]
    cold = log(names, 20, f=50, end=at - 3600)
    web.send(shown_form(helpers, upload(web, names["zone"], cold, sensor="door"), names["zone"]), take="yes")
    for path in ("/desk", f"/i/{tire}", f"/desk/{tire}", "/"):
        assert "by what the book knows now" in web.words(web.get(path)), path


def test_a_tote_shows_how_warm_it_was_kept(web, names, clock):
    web.do("store", zone=names["zone"], totes=names["spare_a"])
    clock.now += 4 * 3600
    answer = web.client.get(f"/i/{names['spare_a']}")
    assert "How warm it was kept" in web.words(answer) and "unobserved 4 h 00 min" in web.words(answer)


def test_the_page_of_a_zone_that_was_voided_says_so(web, clock):
    web.choose("Dana")
    web.do("add zone", name="loft")
    zone, seq = web.book.value("SELECT item FROM zone WHERE name = 'loft'"), web.head()
    web.send(web.form(f"/book/{seq}"), void="yes", why="typed twice")
    for page in (
        f"/zones/{zone}",
        f"/zones/{zone}/tokens",
        f"/zones/{zone}/file",
        f"/racks/{zone}",
        f"/i/{zone}",
    ):
        answer = web.client.get(page)
        assert answer.status_code < 500, page
    assert "was voided" in web.words(web.get(f"/zones/{zone}", 404))
