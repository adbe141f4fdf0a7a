"""Whole random shops through the real verbs, held against parcels of material that know nothing of how fillbook reckons.

A larger run, with other seeds: ``python -m tests.simulation 300 1000``.
"""

import importlib.util
import sys
from pathlib import Path

import pytest

from fillbook.trace.book import derive, line_walk, tables

_spec = importlib.util.spec_from_file_location("simulated_shops", Path(__file__).with_name("shops.py"))
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops  # dataclasses look their module up
_spec.loader.exec_module(shops)

CEILING = 1.25  # listed in certain, possible and through regrind, by those that truly hold
A_FEW = 5


@pytest.fixture(scope="module")
def one():
    return shops.RandomShop(4)


@pytest.mark.parametrize("first", range(0, 4 * A_FEW, A_FEW))
def test_no_tire_that_holds_it_is_missed_and_no_certain_one_holds_none(first):
    total = sum(
        (shops.compare(shops.RandomShop(seed)) for seed in range(first, first + A_FEW)), shops.Tally()
    )
    print("\n".join(total.lines()))
    assert total.wrong == []
    assert total.truly > 200  # else there was nothing to miss
    assert total.ratio() <= CEILING


def test_neither_where_what_is_in_the_tube_goes_into_the_next_tire():
    total = sum((shops.compare(shops.RandomShop(seed, tubes=True)) for seed in range(4)), shops.Tally())
    print("\n".join(total.lines()))
    assert total.wrong == []
    assert total.truly > 150
    assert total.ratio() <= CEILING


def test_taking_the_tube_for_blown_out_fails(monkeypatch):
    monkeypatch.setattr(line_walk.Walk, "_mixed_content", lambda self, at: (0, 0))
    assert shops.compare(shops.RandomShop(103, tubes=True)).wrong


def test_lines_walked_on_from_their_states_end_like_lines_walked_from_the_beginning():
    shop = shops.RandomShop(5, tubes=True)

    def derived():
        return [sorted(shop.book.tuples(tables.natural(table)), key=str) for table in ("link", "line_state")]

    before = derived()
    derive.derive_all(shop.book)
    assert derived() == before
    assert any(row[-1] for row in before[0])  # some draws' streams are weighed together


def test_listing_every_tire_fails(one):
    everything = dict.fromkeys((tire for tire in one.made if tire[2] == "F"), ("possible", 0.0, 1.0))
    found = shops.compare(one, lambda shop, lot: everything)
    assert found.wrong == [] and found.ratio() > CEILING


def test_leaving_out_one_tire_fails(one):
    def one_less(shop, lot):
        listed = shops.book_lists(shop, lot)
        return {
            tire: said
            for tire, said in listed.items()
            if tire != max(listed, key=lambda t: one.made[t].share(lot))
        }

    assert any("not listed" in words for words in shops.compare(one, one_less).wrong)


def test_calling_every_listed_tire_certain_fails(one):
    def all_certain(shop, lot):
        return {tire: ("certain", low, high) for tire, (_, low, high) in shops.book_lists(shop, lot).items()}

    assert any("holds none" in words for words in shops.compare(one, all_certain).wrong)


def test_taking_weights_for_exact_fails(monkeypatch):
    """The bands of the weights are needed: without them a tire holds more of a lot than its upper bound says."""
    monkeypatch.setattr(line_walk.Bands, "of", lambda self, basis, at: 0)
    wrong = [
        words for seed in (34, 43) for words in shops.compare(shops.RandomShop(seed, missed=False)).wrong
    ]
    assert wrong and all("the book says" in words for words in wrong)
