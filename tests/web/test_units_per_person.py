"""Each person reads and types in their own units; the book and the labels keep the shop's."""

import re

import pytest

from fillbook.trace.core import units
from tests.web import conftest as pages


@pytest.fixture
def metric(web):
    """The story's shop counts in pounds; Lee reads kilograms, kilopascals, degrees Celsius, millimetres."""
    web.send(web.form("/preferences"), units="metric")
    return web


def test_one_person_s_units_are_theirs_alone(web, names):
    path = f"/i/{names['a']}"
    assert "2204.0 lb" in web.words(web.get(path))
    web.send(web.form("/preferences"), units="metric")
    shown = web.words(web.get(path))
    # 2204 lb: NIST SP 811, Appendix B: 1 lb = 0.453 592 37 kg exactly -> 999.7176 kg
    assert "999.7 kg" in shown and " lb" not in shown
    web.choose("Kim")
    assert "2204.0 lb" in web.words(web.get(path))
    web.choose("Lee")
    assert "999.7 kg" in web.words(web.get(path))
    web.send(web.form("/preferences"), units="")
    assert "2204.0 lb" in web.words(web.get(path))


def test_temperatures_and_pressures_follow(metric, names):
    """72 °F is 22.2 °C; 75 psi is 517 kPa (NIST SP 811: 1 psi = 6.894 757 kPa)."""
    rack = metric.words(metric.get(f"/racks/{names['zone']}"))
    assert "22.2 °C" in rack and not re.search(r"\d °F", rack)
    tire = metric.words(metric.get(f"/i/{names['held']}"))
    assert "517 kPa" in tire and "621 kPa" in tire


@pytest.mark.parametrize(("theirs", "unit", "kept_g"), [("metric", "kg", 326_000), ("us", "lb", 147_871)])
def test_a_bare_number_is_read_in_the_unit_the_form_showed(web, names, theirs, unit, kept_g):
    """326 kg are 326 000 g; 326 lb × 453.592 37 g are 147 871.1 g."""
    web.send(web.form("/preferences"), units=theirs)
    form = web.form("/do/purge")
    assert form.fields["weight_g.unit"] == [unit]
    web.send(form, line=names["line"], weight_g="326", status=303)
    assert web.last()["body"]["said"]["weight_g"] == kept_g


def test_a_form_that_was_open_while_the_units_changed_is_still_read_in_its_own(web, names):
    """Drawn in pounds, sent after the person switched to kilograms: the number stays pounds."""
    web.send(web.form("/preferences"), units="us")
    form = web.form("/do/purge")
    web.send(web.form("/preferences"), units="metric")
    web.send(form, line=names["line"], weight_g="20")
    assert web.last()["body"]["said"]["weight_g"] == units.parse("mass", "lb", "20").value


def test_a_refused_form_comes_back_in_the_unit_it_was_typed_in(web, names):
    web.send(web.form("/preferences"), units="us")
    form = web.form("/do/purge")
    web.send(web.form("/preferences"), units="metric")
    answer = web.send(form, 422, line=names["line"], weight_g="twenty")
    again = next(f for f in pages.Reader(answer.get_data(as_text=True)).forms if f.action == "/do/purge")
    assert again.fields["weight_g"] == ["twenty"] and again.fields["weight_g.unit"] == ["lb"]


def test_every_number_with_a_unit_carries_it_in_the_form(metric):
    """Whatever a form asks that is measured, its unit is sent along."""
    asked = 0
    for command in (
        "finish-fill",
        "receive",
        "take-in",
        "purge",
        "pour-cup",
        "read-cup",
        "read-temperature",
        "hang-sensor",
        "add-zone",
        "inspect",
    ):
        html = metric.get(f"/do/{command}").get_data(as_text=True)
        form = metric.form(f"/do/{command}")
        for name in re.findall(r'<div class="measured">\s*<input id="[^"]*" name="([^"]+)"', html):
            asked += 1
            assert form.fields[f"{name}.unit"][0] not in ("lb", "psi", "f", "df", "in"), (command, name)
    assert asked > 15


def test_what_is_written_into_the_book_does_not_depend_on_who_reads(metric, names):
    """A finding is frozen in both units or the shop's, whoever typed; a label has the shop's."""
    metric.do("finish fill", tire=names["filling"], weight_g="150", pressure_pa="900", flow_stopped="yes")
    frozen = " ".join(one["words"] for one in metric.last()["body"]["findings"])
    assert "psi" in frozen
    assert metric.last()["body"]["said"]["weight_g"] == 150_000


def test_a_station_without_a_person_shows_the_shop_s_units_and_cannot_keep_others(metric, names):
    metric.client.post(
        "/who/leave", data={"csrf_token": metric.form("/who", "/who/leave").fields["csrf_token"][0]}
    )
    assert "2204.0 lb" in metric.words(metric.get(f"/i/{names['a']}"))
    form = metric.form("/preferences")
    assert "units" not in form.fields
    assert "Say first who works here" in metric.said(metric.send(form, 404, units="metric"))


def test_unknown_units_are_refused_and_nothing_changes(metric, names):
    assert "There are no units" in metric.said(metric.send(metric.form("/preferences"), 422, units="stone"))
    assert "999.7 kg" in metric.words(metric.get(f"/i/{names['a']}"))


def test_preferences_are_no_evidence(metric):
    """No event is written for them, and they may be erased."""
    before = metric.head()
    metric.send(metric.form("/preferences"), units="us", language="es")
    assert metric.head() == before
    metric.book.execute("DELETE FROM preference", [])
    assert metric.get("/").status_code == 200
