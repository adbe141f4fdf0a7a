"""After an act that leaves something on hold, the page that follows says so in words: that it is, why, and what to do next."""

from fillbook.trace.book import on_hold


def page_after(web, answer):
    return web.get(answer.headers["Location"])


def test_a_fill_without_a_pressure_says_hold_why_and_what_next(web, names):
    page = web.finish_fill(names, pressure_pa="", asked="no-pressure")
    words = web.words(page)
    assert "is on hold." in words and "No final pressure of" in words
    assert (
        "Stop the flow and read the pressure" in words and "It may lie on a rack and cure meanwhile." in words
    )
    assert "A second person, a lead or the owner, looks at it" in words
    assert page.get_data(as_text=True).count('class="note hold held" role="alert"') == 1
    seq = web.last()["seq"]
    web.get(f"/book/{seq}")
    assert f'href="/book/{seq}#correct"' in page.get_data(as_text=True)


def test_a_tire_above_its_rating_is_nothing_to_lay_on_a_rack(web, names):
    page = web.finish_fill(names, pressure_pa="95")
    words = web.words(page)
    assert "its lowest rating is" in words and "Keep away from the tire and tell a lead at once." in words
    assert "It stays where it is until a lead has looked." in words
    assert "Lay it on a rack" not in words and "/do/rack?tires" not in page.get_data(as_text=True)


def test_it_stays_on_the_page_when_it_is_drawn_again(web, names):
    web.finish_fill(names, pressure_pa="", asked="no-pressure")
    again = web.get(f"/cage/{names['line_3']}?filled={names['filling']}")
    assert "On hold" in web.words(again) and "No final pressure" not in web.words(again)


def test_a_good_fill_says_nothing_of_a_hold(web, names):
    words = web.words(web.finish_fill(names))
    assert "filled: 330.0 lb" in words and "is on hold" not in words and "On hold" not in words


def test_a_fill_finished_while_its_tire_is_held_says_the_older_reason(web, names):
    web.do("leak", tire=names["filling"], where="valve")
    words = web.words(web.finish_fill(names))
    assert "is on hold." in words and "leaked at the valve" in words


def test_any_other_act_that_leads_to_a_hold_says_so_too(web, names):
    page = page_after(web, web.do("inspect tote", tote=names["fresh_b"], seal_good="no", why="torn"))
    words = web.words(page)
    assert "is on hold." in words and "The seal of" in words and "Set it apart" in words
    assert "It is not hooked up, poured or filled from until the hold is lifted." in words


def test_a_correction_that_leads_to_a_hold_says_so(web, names):
    web.finish_fill(names)
    seq = web.last()["seq"]
    page = page_after(
        web, web.send(web.form(f"/book/{seq}"), **{"new-pressure_pa": ""}, why="read with the flow on")
    )
    words = web.words(page)
    assert on_hold.holds_on(web.book, names["filling"])
    assert "is on hold." in words and "No final pressure of" in words


def test_once_lifted_the_page_says_nothing_more(web, names):
    form = web.form(f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}")
    answer = web.send(
        form, weight_g="330", weight_g__unit="lb", pressure_pa="", mix_e4="0", asked="no-pressure"
    )
    station, web.client = web.client, web.app.test_client()  # somebody else looks before this page is opened
    web.choose("Dana")
    web.do("lift", item=names["filling"], why="read again: 60 psi")
    web.client = station
    assert "is on hold" not in web.words(page_after(web, answer))


def test_the_hold_is_said_in_spanish_as_well(web, names):
    web.client.post("/preferences", data={**web.form("/preferences").fields, "language": "es"})
    assert "está retenido" in web.words(web.finish_fill(names, pressure_pa="", asked="no-pressure"))
