"""What looks the same on a label is the same in the book: what nobody sees comes along with copied words and is left out.

Which characters show nothing: Unicode's general category Cf, from its published tables; the joiners between letters that join are kept.
"""

import unicodedata

import pytest

from fillbook.trace.book import queries
from fillbook.trace.core.errors import Conflict, Nonsense, UnknownItem
from fillbook.trace.core.unseen import as_seen

UNSEEN = ("\u200b", "\u200f", "\u200e", "\ufeff", "\u00ad", "\u2066", "\u2060", "\u200d")


@pytest.mark.parametrize("mark", UNSEEN)
def test_a_lot_copied_with_what_nobody_sees_is_that_lot(shop, mark):
    """A recall of the lot as the supplier's letter has it finds every tote of it."""
    totes = {shop.tote(lot="A-77"), shop.tote(lot=f"A{mark}-77"), shop.tote(lot=f"A-77{mark}")}
    for said in ("A-77", f"A-{mark}77"):
        lot = queries.find_lot(shop.book, shop.site, said)
        assert {t["item"] for t in queries.lot_totes(shop.book, shop.site, lot.supplier, lot.lot)} == totes


def test_blanks_of_any_width_are_blanks(shop):
    shop.tote(lot="A 77")
    assert queries.tote(shop.book, shop.tote(lot="A\u00a077")).lot == "A 77"
    assert queries.find_lot(shop.book, shop.site, "A\u202f77").lot == "A 77"


@pytest.mark.parametrize("mark", UNSEEN)
def test_nobody_is_called_as_somebody_else_with_a_mark_that_is_not_seen(shop, mark):
    with pytest.raises(Conflict, match="taken"):
        shop.act("add person", who="Dana", name=f"Le{mark}e")
    with pytest.raises(Nonsense, match="name"):
        shop.act("add person", who="Dana", name=mark)
    assert queries.person(shop.book, shop.site, f"Lee{mark}").name == "Lee"


def test_what_changes_how_letters_look_is_kept(shop):
    joined = (
        "\u0645\u06cc\u200c\u0631\u0648\u062f"  # Persian, from memory: the mark in it keeps two letters apart
    )
    assert as_seen(joined) == joined
    assert queries.tire(shop.book, shop.tire(customer=joined)).customer == joined


def test_all_that_is_left_out_is_a_mark_of_format_or_a_blank():
    gone = [c for c in map(chr, range(0x110000)) if as_seen("é" + c) == "é"]
    assert {unicodedata.category(c) for c in gone} == {"Cf", "Cn", "Mn"}
    assert [c for c in gone if unicodedata.category(c) == "Mn"] == ["\u034f"]  # the grapheme joiner
    blanks = [c for c in map(chr, range(0x80, 0x110000)) if as_seen("é" + c) == "é "]
    assert {unicodedata.category(c) for c in blanks} == {"Zs"}


@pytest.mark.parametrize(
    ("verb", "fields"),
    [
        ("add system", {"name": "QX-1", "parts_a": "9" * 100_000}),
        ("read cup", {"cup": "x", "is_set": "y" * 100_000}),
        ("grind", {"pieces": [["z" * 100_000]]}),
        ("purge", {"line": "l" * 100_000, "weight_kg": 5}),
        ("purge", {"line": "line 1", "weight_kg": 5, "l" * 100_000: 5}),
    ],
)
def test_a_refusal_does_not_repeat_a_hundred_thousand_characters(shop, verb, fields):
    with pytest.raises((Nonsense, UnknownItem)) as refused:
        shop.lead(verb, **fields)
    assert len(str(refused.value)) < 700
    with pytest.raises(UnknownItem) as refused:
        shop.act("purge", who="W" * 100_000, line="line 1", weight_kg=5)
    assert len(str(refused.value)) < 700


def test_a_file_with_half_a_character_is_refused_in_words(shop):
    before = shop.fingerprint()
    with pytest.raises(Nonsense, match="half a character"):
        shop.act("log temperatures", zone="warm room", csv="time,temp_f\n\ud800")
    assert shop.fingerprint() == before
