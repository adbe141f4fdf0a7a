"""A limit beyond what the trade has is asked back once and then stands on the floor with who set it; nonsense is refused."""

import html
import json

from fillbook.trace.core import limits


def told(web, answer):
    return html.unescape(web.said(answer))


def test_nothing_cures_in_no_time(web):
    before = web.head()
    for name, number, unit in (
        ("cure_standard", "0", "h"),
        ("cure_standard", "9999999", "h"),
        ("cure_temperature", "-400", "f"),
    ):
        form = web.form(f"/do/set-limit?limit={name}", "/do/set-limit")
        answer = web.send(form, 422, to=number, to__unit=unit, source="x")
        assert "lies between" in told(web, answer) and "type it again" in told(web, answer), name
    assert web.head() == before


def test_below_practice_is_asked_once_and_then_said_on_the_floor(web):
    form = web.form("/do/set-limit?limit=cure_standard", "/do/set-limit")
    before = web.head()
    answer = web.send(form, 422, to="12", source="data sheet 7")
    assert "12 h is below common practice: 24 h or more." in told(web, answer) and web.head() == before
    page = answer.get_data(as_text=True)
    assert 'name="asked" value="cure_standard:43200"' in page and 'value="data sheet 7"' in page
    web.send(form, to="12", source="data sheet 7", asked="cure_standard:43200")
    done = web.last()
    assert done["body"]["value"] == 12 * 3600 and done["body"]["findings"][0]["code"] == "beyond practice"
    floor = web.words(web.get("/"))
    who = web.book.value("SELECT name FROM person WHERE item = ?", done["signed_by"] or done["who"])
    assert f"Cure standard of 12 h is below common practice: 24 h or more. Set by {who}, since" in floor
    assert 'href="/do/set-limit?limit=cure_standard"' in web.get("/").get_data(as_text=True)
    web.do("set limit", limit="cure_standard", to="48 h", source="data sheet 8")
    assert "below common practice" not in web.words(web.get("/"))


def test_an_answer_counts_for_that_value_alone(web):
    form = web.form("/do/set-limit?limit=cure_standard", "/do/set-limit")
    answer = web.send(form, 422, to="6", source="data sheet", asked="cure_standard:43200")
    assert "6 h is below common practice" in told(web, answer)


def test_what_an_older_book_has_is_read_and_may_be_corrected_elsewhere(web, monkeypatch):
    with monkeypatch.context() as older:
        older.setattr(limits, "RANGES", {name: type(one)(0, 10**12) for name, one in limits.RANGES.items()})
        web.do("set limit", limit="cure_standard", to="0 h", source="x")
    seq = web.last()["seq"]
    assert web.book.value("SELECT value FROM limit_set WHERE seq = ?", seq) == 0
    assert "Cure standard of 0 h is below common practice" in web.words(web.get("/"))
    web.get("/do/set-limit?limit=cure_standard")
    form = web.form(f"/book/{seq}", f"/book/{seq}")
    web.send(form, **{"new-source": "nobody knows", "why": "the source was missing"})
    corrected = json.loads(web.book.value("SELECT text FROM event WHERE corrects = ?", seq))
    assert corrected["body"]["body"]["said"]["source"] == "nobody knows"
    assert web.book.value("SELECT value FROM limit_set WHERE name = 'cure_standard'") == 0
    form = web.form(f"/book/{seq}", f"/book/{seq}")
    web.send(form, 422, **{"new-to": "9999999", "why": "another slip"})


def test_in_spanish_the_question_and_the_alert_are_spanish(web):
    web.send(web.form("/preferences"), language="es")
    form = web.form("/do/set-limit?limit=cure_temperature", "/do/set-limit")
    answer = web.send(form, 422, to="60", source="hoja 7")
    assert "por debajo de la práctica común: 72 °F (22.2 °C) o más." in told(web, answer)
    assert "Temperatura de curado" in told(web, answer) and "common practice" not in told(web, answer)
    answer = web.send(form, 422, to="-400", source="hoja 7")
    assert "escríbalo otra vez" in told(web, answer)
    web.send(form, to="60", source="hoja 7", asked=f"cure_temperature:{web_value('60')}")
    floor = web.words(web.get("/"))
    assert (
        "por debajo de la práctica común" in floor and "Lo fijó" in floor and "common practice" not in floor
    )


def web_value(fahrenheit):
    return limits.read("cure_temperature", f"{fahrenheit} f").value
