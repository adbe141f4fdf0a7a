"""A finding is kept as it was written, in both units; whoever reads it sees those first that they count in."""

import re

import pytest

from fillbook.trace.core import units

# NIST SP 811, Appendix B: 1 psi = 6.894 757 kPa, so 90 psi are 621 kPa and 75 psi are 517; 1 lb = 0.453 592 37 kg.
KEPT = "was filled to 621 kPa, 90 psi; its lowest rating is 517 kPa, 75 psi."
US = "was filled to 90 psi, 621 kPa; its lowest rating is 75 psi, 517 kPa."


def frozen(web):
    return [w for (w,) in web.book.tuples("SELECT words FROM finding WHERE code = 'above rating'")]


def test_each_reader_sees_their_own_unit_first_and_the_book_stays(web, names):
    before = frozen(web)
    after = web.finish_fill(names, pressure_pa="90")
    said = web.words(after)
    assert US in said and KEPT not in said  # on the page after DONE
    assert next(words for words in frozen(web) if words not in before).endswith(KEPT)  # in the book
    event = web.book.value("SELECT max(seq) FROM event")
    for theirs, shown, other in (("us", US, KEPT), ("metric", KEPT, US)):
        web.send(web.form("/preferences"), units=theirs)
        words = web.words(web.get(f"/i/{names['filling']}"))
        assert shown in words and other not in words, theirs
        assert shown in web.words(web.get(f"/book/{event}")), (
            theirs
        )  # whose own text stands below it, as it was written


def test_in_spanish_too(web, names):
    web.finish_fill(names, pressure_pa="90")
    web.send(web.form("/preferences"), language="es", units="us")
    assert "90 psi, 621 kPa" in web.words(web.get(f"/i/{names['filling']}"))


def test_a_refusal_before_the_act_says_them_likewise(web):
    answer = web.do("take in", 409, customer="Quarry Nine", size="23.5-25", rating_pa="75", target_pa="90")
    assert "(90 psi, 621 kPa) lies above the lowest rating (75 psi, 517 kPa)" in web.said(answer)


@pytest.mark.parametrize(
    ("kept", "us"),
    [
        ("held 148.0 kg (326.3 lb) when", "held 326.3 lb (148.0 kg) when"),
        ("is at 10.0 °C (50 °F), below 22.2 °C (72 °F).", "is at 50 °F (10.0 °C), below 72 °F (22.2 °C)."),
        ("is 6 mm (0.24 in) thick", "is 0.24 in (6 mm) thick"),
        ("at 23 ± 2 °C (73.4 ± 3.6 °F)", "at 23 ± 2 °C (73.4 ± 3.6 °F)"),  # no plain pair: it stays
        (
            "10 kg (22 lb) came back",
            "10 kg (22 lb) came back",
        ),  # as somebody types it, not as a finding is written
    ],
)
def test_only_the_order_turns(kept, us):
    assert units.own_first(kept, us=True) == us and units.own_first(kept, us=False) == kept


@pytest.mark.parametrize("value", [0, 1, 453, 148_000, 9_999_999])
def test_whatever_the_sentences_write_is_found_again(value):
    weight, warmth, length = units.kg_lb(value), units.c_f(value - 40_000), units.mm_in(value)
    for both in (weight, warmth, length):
        turned = units.own_first(f"It was {both}.", us=True)
        assert turned.startswith(f"It was {both.partition('(')[2].rstrip(')')} (") and sorted(
            turned
        ) == sorted(f"It was {both}.")


def test_nothing_holds_more_than_it_held(web, names):
    """What is left of a batch is rounded as what it was: "1778 lb left of 1777.5 lb" can't be."""
    words = web.words(web.get("/regrind"))
    found = re.findall(r"(?::\d\d)?([\d.]+) lb left of ([\d.]+) lb", words)
    assert found and all(float(left) <= float(whole) for left, whole in found)
    assert all("." not in whole for _, whole in found)  # the batch of 160 kg is 352.7 lb
