"""What the line's card and the cage say at a glance: what the hopper holds, a tote that is overdrawn, how long an interrupted fill may
wait, and a weight typed with its unit. The figures are sums of what the tests themselves load, draw and wait.
"""

import pytest

from fillbook.trace.book import glance, queries
from fillbook.trace.web.app import create_app

SAID = {"pressure_pa": "60", "pressure_pa__unit": "psi", "mix_e4": "0"}


@pytest.fixture
def app_of(helpers):
    """A station before a shop's book, Lee at it: ``app_of(shop)``."""

    def station(shop):
        app = create_app(
            shop.book.where, clock=helpers["Clock"](shop.now), secret="only for tests", testing=True
        )
        web = helpers["Web"](app, shop.book)
        web.choose("Lee")
        return web

    return station


@pytest.fixture
def place(names):
    return f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}"


@pytest.mark.parametrize(("typed", "unit", "grams"), [
    ("150 kg", "lb", 150_000), ("330lb", "kg", 149_685), ("330 LBS", "kg", 149_685), ("150,5 kg", "lb", 150_500), ("330", "lb", 149_685),
])  # fmt: skip
def test_the_unit_that_was_typed_counts(web, names, place, typed, unit, grams):
    web.send(web.form(*place), weight_g=typed, weight_g__unit=unit, **SAID)
    assert queries.fill(web.book, names["filling"]).grams == grams


def test_refused_the_field_keeps_the_number_and_its_unit(web, place):
    answer = web.send(
        web.form(*place), 422, weight_g="150 kg", weight_g__unit="lb", **{**SAID, "pressure_pa": ""}
    )
    reader = type(web.read("/"))(answer.get_data(as_text=True))
    form = next(form for form in reader.forms if form.action == place[1])
    assert form.fields["weight_g"] == ["150"] and form.fields["weight_g.unit"] == ["kg"]


def test_another_measure_behind_the_number_is_refused(web, names, place):
    web.send(web.form(*place), 422, weight_g="150 psi", weight_g__unit="lb", **SAID)
    assert queries.fill(web.book, names["filling"]) is None


def test_after_a_pause_it_stands_first_at_the_cage_with_its_minutes(web, names, place, clock):
    answer = web.do("pause", tire=names["filling"], weight_g="100", weight_g__unit="lb")
    assert answer.headers["Location"].endswith(place[0])
    life = queries.limit(web.book, "BH", "pot_life", names["now"])
    clock.now += 120
    page = web.get(place[0]).get_data(as_text=True)
    listed = page.partition("Next tire")[2]
    first = listed.partition("<li>")[2].partition("</li>")[0]
    assert names["filling"] in first and f"pot life left: {(life - 120 + 59) // 60} min" in first
    assert f"{(life - 120 + 59) // 60} min of its pot life are left" in web.words(web.get("/"))
    clock.now += life
    assert "past its pot life" in web.words(web.get(place[0])) and "makes a cold joint" in web.words(
        web.get("/")
    )


def test_the_hopper_line_says_what_is_in_the_hopper(web, names):
    card = web.words(web.get(f"/cage/{names['line']}")).partition("hopper · regrind")[2][:160]
    assert (
        "about 88 lb in the hopper" in card and "left of" not in card
    )  # it was emptied, and 40 kg were loaded
    web.do("weigh", item=names["line"], weight_g="30", weight_g__unit="kg")
    for path in (f"/cage/{names['line']}", "/"):
        assert "about 66 lb in the hopper" in web.words(web.get(path))
    assert " left of " in web.words(web.get("/regrind"))  # the batch's rest


@pytest.fixture
def overdrawn(shop):
    a, b = shop.ready_line(kg=200)
    for _ in range(6):
        shop.fill(kg=100)
    return shop, a, b


def test_a_tote_that_gave_more_than_it_held_is_overdrawn_until_it_is_mended(overdrawn):
    shop, a, _ = overdrawn
    line = glance.line_now(shop.book, "BH", shop.line, shop.now)
    assert (line.sources["A"].drawn_g, line.sources["A"].held_g) == (300_000, 200_000)
    said = [one for one in glance.alerts(shop.book, "BH", shop.now) if "overdrawn" in one.words]
    assert {one.item for one in said} >= {a} and all(one.urgency == "look" for one in said)
    assert "300.0 kg" in said[0].words and "200.0 kg" in said[0].words
    spare = shop.tote("A", 500, at=shop.ago(days=1))
    shop.hook_up(spare, at=shop.ago(minutes=45))
    mended = glance.line_now(shop.book, "BH", shop.line, shop.now)
    assert mended.sources["A"].item == spare and mended.sources["A"].drawn_g is None
    assert mended.sources["B"].drawn_g == 300_000
    shop.check()


def test_a_tote_within_what_it_held_is_none(shop):
    shop.ready_line(kg=200)
    for _ in range(3):
        shop.fill(kg=100)
    line = glance.line_now(shop.book, "BH", shop.line, shop.now)
    assert line.sources["A"].drawn_g is None and line.sources["A"].left_g > 0
    assert not [one for one in glance.alerts(shop.book, "BH", shop.now) if "overdrawn" in one.words]


@pytest.fixture
def of_one_size(app_of, shop):
    """A station before a book in which six tires of a size were filled and a seventh is being filled: the station, and that tire."""
    shop.ready_line(kg=9000)
    for lb in (180, 184, 187, 190, 193, 186):
        shop.fill(shop.tire(size="12-16.5"), weight_lb=lb, kg=None)
    tire = shop.tire(size="12-16.5")
    shop.act("start fill", tire=tire, line="line 1")
    return app_of(shop), tire, (f"/cage/{shop.line}", f"/cage/{shop.line}/finish/{tire}")


@pytest.mark.parametrize(("typed", "unit", "asked"), [
    ("190", "kg", "190.0 kg is 2.2 times what 12-16.5 took before (186.5 lb). Did the scale show lb? Press DONE again if it is so."),
    ("88", "lb", "88.0 lb is one part in 2.1 of what 12-16.5 took before (186.5 lb). Did the scale show kg? Press DONE again if it is so."),
    ("420", "lb", "420.0 lb is 2.3 times what 12-16.5 took before (186.5 lb). Press DONE again if it is so."),
])  # fmt: skip
def test_in_the_other_unit_it_is_asked_back_once(of_one_size, typed, unit, asked):
    web, tire, place = of_one_size
    answer = web.send(web.form(*place), 422, weight_g=typed, weight_g__unit=unit, **SAID)
    assert asked in web.words(answer) and queries.fill(web.book, tire) is None
    reader = type(web.read("/"))(answer.get_data(as_text=True))
    again = next(form for form in reader.forms if form.action == place[1])
    page = web.get(web.send(again).headers["Location"])
    assert queries.fill(web.book, tire) is not None and "is on hold" not in web.words(page)


def test_a_usual_weight_is_not_asked_about(of_one_size):
    web, tire, place = of_one_size
    web.send(web.form(*place), weight_g="191", weight_g__unit="lb", **SAID)
    assert queries.fill(web.book, tire) is not None


def test_an_overdrawn_tote_is_said_on_the_floor_and_at_the_cage(app_of, overdrawn):
    shop, _, _ = overdrawn
    web = app_of(shop)
    card = web.words(web.get(f"/cage/{shop.line}"))
    assert "overdrawn: a change-over is missing about 661 lb drawn; it held 441 lb" in card
    assert "661.4 lb (300.0 kg) were drawn from it" in web.words(web.get("/"))
