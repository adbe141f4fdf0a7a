"""The limits: each stands with what it is for, its unit, its value in force and since when; choosing one leaves a number to type."""

import re

import pytest

from fillbook.trace.core import limits


def posted(web, **said):
    form = web.form("/do/set-limit")
    return web.send(form, **said)


def test_each_limit_stands_in_one_part_of_the_job():
    named = [name for names in limits.PARTS.values() for name in names]
    assert sorted(named) == sorted(limits.LIMITS) and len(set(named)) == len(named)


@pytest.mark.parametrize("path", ["/do/set-limit", "/book"])
def test_every_limit_stands_with_its_reason_and_value(web, path):
    page = web.get(path).get_data(as_text=True)
    words = " ".join(re.sub(r"<[^>]+>", " ", page).split())
    for name, one in limits.LIMITS.items():
        assert f"/do/set-limit?limit={name}" in page, name
        assert (
            limits.show(name, one.default, us=True) in words
            and one.why.split(" (m)")[0].replace("'", "&#39;") in words
        ), name
    for part in limits.PARTS:
        assert f"<summary>{part}</summary>" in page


def test_one_that_was_set_says_since_when_and_where_from(web, names):
    posted(web, limit="cure_standard", to="50 h", source="data sheet 7")
    for path in ("/do/set-limit", "/book"):
        assert re.search(r"50 h ?since \S+ today ?data sheet 7", web.words(web.get(path))), path
    page = web.words(web.get("/do/set-limit?limit=cure_standard"))
    assert re.search(r"Now 50 h since [\d-]+ [\d:]+, from: data sheet 7", page)
    assert "the long end of practice" in page


def test_a_line_of_its_own_is_said_and_its_link_names_it(web):
    posted(web, limit="hose_content_low", to="4 kg", source="weighed", line="line 2")
    page = web.get("/do/set-limit?limit=hose_content_low").get_data(as_text=True)
    assert "on line 2 now 8.8 lb since" in page  # 4 kg; NIST SP 811: 1 lb = 0.453 592 37 kg
    assert "/do/set-limit?limit=hose_content_low&amp;line=line%202" in page


@pytest.mark.parametrize(
    ("limit", "number", "unit", "kept"),
    [("cure_standard", "50", "h", "50 h"), ("cure_temperature", "73", "f", "73 f"), ("regrind_most", "60", "pct", "60 pct"), ("hardness_least", "28", None, "28")],
)  # fmt: skip
def test_a_chosen_limit_brings_its_unit_and_a_number_is_typed(web, limit, number, unit, kept):
    form = web.form(f"/do/set-limit?limit={limit}", "/do/set-limit")
    assert form.fields["limit"] == [limit]
    assert form.fields.get("to.unit", [None])[0] == unit  # the reader's own unit stands there already
    web.send(form, to=number, source="data sheet")
    assert web.last()["body"]["said"]["to"] == kept
    stood = web.form(f"/book/{web.last()['seq']}", f"/book/{web.last()['seq']}")
    assert stood.fields["new-to"] == [number]  # a correction begins with what was typed


def test_what_was_typed_with_its_unit_is_taken_as_typed(web):
    form = web.form("/do/set-limit?limit=cure_temperature", "/do/set-limit")
    web.send(form, to="23 °C", source="data sheet")  # beside °F, which stood there
    assert web.last()["body"]["value"] == 23_000


def test_a_wrong_number_comes_back_as_it_was(web, helpers):
    form = web.form("/do/set-limit?limit=cure_standard", "/do/set-limit")
    answer = web.send(form, 422, to="4x", source="data sheet")
    assert "is a number and a unit" in web.said(answer) and 'value="4x"' in answer.get_data(as_text=True)


def test_a_name_that_is_none_chooses_nothing(web):
    page = web.get("/do/set-limit?limit=speed").get_data(as_text=True)
    assert (
        '<option value="">choose</option>' in page
        and "selected>" not in page.split('name="limit"')[1].split("</select>")[0]
    )


def test_in_spanish_the_list_is_spanish(web):
    web.send(web.form("/preferences"), language="es")
    words = web.words(web.get("/do/set-limit?limit=cure_standard"))
    assert "Ahora 48 h" in words and "Todos los límites" in words
