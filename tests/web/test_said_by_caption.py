"""What is refused on a page is said with the captions and the letters that stand there; a program gets its own names and plain numbers."""

import re
from decimal import Decimal

import pytest

from fillbook.trace.core import ids
from fillbook.trace.core.errors import ShopError
from fillbook.trace.languages.catalogue import catalogue
from fillbook.trace.web import wording
from fillbook.trace.work import acting


@pytest.mark.parametrize(
    ("verb", "said", "words"),
    [
        (
            "take in",
            {"customer": "Quarry Nine", "size": "23.5-25", "tires": "some"},
            '"How many tires" is a whole number',
        ),
        ("hold", {"lot": "A-11", "why": "x" * 10_240}, '"Why" is 10240 characters long'),
        ("return", {"complaint": "soft", "customer": "Quarry Nine", "months": "900"}, '"Months in service"'),
        (
            "grind",
            {"pieces-0-source": "unknown", "pieces-0-weight_g": "", "pieces-0-sound": "yes"},
            '"Weight" is missing',
        ),
    ],
)
def test_a_page_names_the_field_as_its_caption(web, verb, said, words):
    before = web.head()
    answer = web.do(verb, 422, **said)
    assert words in web.words(answer), web.words(answer)
    assert web.head() == before


@pytest.mark.parametrize(
    ("field", "unit", "typed", "expected"),
    [
        ("weight_g", "lb", "1e99", "give a number in lb or kg."),
        ("weight_g", "kg", "1e99", "give a number in kg or lb."),
        ("weight_g", "lb", "9" * 29, "give a number in lb or kg."),
        ("pressure_pa", "psi", "abc", "give a number in psi, kPa or bar."),
        ("mix_e4", "pct", "abc", "give a number in %."),
    ],
)
def test_what_is_no_number_names_every_unit_that_is_taken(web, names, field, unit, typed, expected):
    """Whose unit stands chosen is not the only one there is: "640 kg" is taken where lb stands."""
    form = web.form(f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}")
    said = {"weight_g": "330", "pressure_pa": "60", field: typed, f"{field}__unit": unit}
    answer = web.send(form, 422, **said)
    assert expected in web.words(answer), web.said(answer)
    web.send(web.form("/preferences"), language="es")
    answer = web.send(form, 422, **said)
    assert expected not in web.words(answer) and "un número en " in web.words(answer)
    assert " or " not in web.said(answer)


def test_a_program_names_one_unit_by_its_field(web, names):
    """Beside the number no other unit is taken there: the field says which it is."""
    with pytest.raises(ShopError) as refused:
        acting.act(
            web.book,
            acting.Action("weigh", {"item": names["a"], "weight_lb": "1e99"}, who="Sam", shop="BH"),
            now=names["now"],
        )
    assert refused.value.expected == "a number in lb"


def test_a_shop_is_begun_with_its_captions_too(empty):
    form = empty.form("/setup")
    answer = empty.send(form, 422, site="LM", name="Lime Works", owner="Dana", timezone="Chicago")
    assert f""""{wording.caption("set up shop", "timezone")}": 'Chicago' is no """ in empty.words(answer)
    assert "timezone:" not in empty.words(answer)


def test_in_spanish_the_caption_is_spanish_as_well(web):
    web.send(web.form("/preferences"), language="es")
    words = web.words(web.do("take in", 422, customer="Quarry Nine", size="23.5-25", tires="some"))
    assert f'"{catalogue("es").said("How many tires")}" ' in words and "whole number" not in words


def test_a_correction_names_the_corrected_verbs_fields(web, names):
    seq = web.book.value("SELECT max(seq) FROM event WHERE kind = 'take in'")
    words = web.words(web.send(web.form(f"/book/{seq}"), 422, why="two came", **{"new-tires": "some"}))
    assert '"How many tires" is a whole number' in words


@pytest.mark.parametrize(
    ("verb", "said", "field", "kind"),
    [
        ("unhook", {}, "tote", "L"),
        ("read cup", {"is_set": "yes"}, "cup", "C"),
        ("reclaim", {}, "tire", "F"),
    ],
)
def test_an_id_is_shown_as_this_shop_writes_the_wanted_kind(web, verb, said, field, kind):
    words = web.words(web.do(verb, 422, **said, **{field: "nonsense!"}))
    shown = re.search(r"one reads like (\S+)", words)[1]
    assert ids.kind_of(ids.read(shown)) == kind and shown.startswith("BH-")


def test_of_another_shop_with_its_letters(helpers, tmp_path):
    shop = helpers["the_shop"].Shop.start(str(tmp_path / "lm.db"), site="LM")
    with pytest.raises(ShopError) as refused:
        acting.act(
            shop.book,
            acting.Action("hook up", {"line": "line 1", "tote": "drum"}, who="Lee", shop="LM"),
            now=shop.now,
        )
    assert re.search(r"like LM-L\d\d-\d{5}-\w \(", str(refused.value)) and refused.value.expected.startswith(
        "LM-L"
    )
    shop.book.db.close()


def test_in_the_scan_box_as_well(web):
    form = {**web.form("/", "/scan").filled(), "code": "BH-F26-00417-X"}
    assert "last character" in web.words(web.client.post("/scan", data=form, follow_redirects=True))
    assert re.search(r"like BH-F\d\d", web.words(web.get("/i/nonsense", 422)))


@pytest.mark.parametrize(
    ("verb", "said"),
    [
        ("take in", {"customer": "Quarry Nine", "size": "23.5-25", "tires": Decimal("1E+99")}),
        ("finish fill", {"tire": Decimal("1E+99"), "weight_kg": 150}),
        ("read cup", {"cup": Decimal("1E+99"), "is_set": True}),
        ("read cup", {"cup": "x", "is_set": Decimal("1E+99")}),
        ("grind", {"pieces": [Decimal("1E+99")]}),
        ("correct", {"event": 3, "why": "wrong", "fields": Decimal("1E+99")}),
        (
            "receive",
            {
                "net_kg": Decimal("1E+99"),
                "supplier": "Northvale",
                "lot": "A-11",
                "side": "A",
                "system": "RX-30",
            },
        ),
    ],
)
def test_a_program_reads_its_number_as_it_wrote_it(web, verb, said, clock):
    with pytest.raises(ShopError) as refused:
        acting.act(web.book, acting.Action(verb, said, who="Lee", shop="BH"), now=clock.now)
    assert "Decimal" not in str(refused.value) and (
        "1E+99" in str(refused.value) or refused.value.field == "cup"
    )


def test_a_reason_that_is_too_long_is_named_where_it_stands(web, names):
    form = web.form(f"/desk/{names['held']}")
    assert '"Reason to override" is 600 characters long' in web.words(
        web.send(form, 422, override="looked at it " * 46 + "xx")
    )
    form = web.form(f"/book/{names['purge']}")
    assert '"What was wrong" is 1200 characters long' in web.words(
        web.send(form, 422, why="x" * 1200, **{"new-weight_g": "5"})
    )
