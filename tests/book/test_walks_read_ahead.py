"""The walks back and onward read many items at once; what they say is what a walk that asks item by item says, to the last bit."""

import importlib.util
import sys
from dataclasses import replace
from heapq import heappop, heappush
from pathlib import Path
from random import Random

import pytest

from fillbook.trace.book import reach, suspects
from fillbook.trace.book.opening import Book

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_for_walks", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)

CUTS = (0.0, 1e-5, 0.0025, 0.02, 0.3)


@pytest.fixture(scope="module", params=(400,))
def one(request):
    return shops.RandomShop(request.param, fills=30)


def made_up(seed):
    """A book whose links alone are made up: 30 generations of batches and the tires made with them, each from many before."""
    book, random = shops.RandomShop(402, fills=0).book, Random(seed)
    low = book.value("SELECT max(num) FROM item") + 1000
    rows, made, kinds = [], [low + n for n in range(6)], ["L"] * 6
    for generation in range(30):
        batch = low + len(made)
        before = random.sample(made, min(len(made), random.randint(3, 9)))
        rows += [(batch, 1, "G", parent, generation * 10, grams(random)) for parent in before]
        made.append(batch)
        kinds.append("G")
        for _ in range(random.randint(2, 8)):
            tire = low + len(made)
            parents = dict.fromkeys(
                [("A", random.choice(made[:6])), ("R", batch), ("R", random.choice([0, batch, *before]))]
            )
            rows += [(tire, draw, stream, parent, generation * 10 + 5, grams(random))
                     for draw in (7, 8)[: random.randint(1, 2)] for stream, parent in parents]  # fmt: skip
            made.append(tire)
            kinds.append("F")
    with book.transaction():
        for number, kind in zip(made, kinds, strict=True):
            item = {
                "num": number,
                "code": f"made up {number}",
                "shop": "BH",
                "kind": kind,
                "year": 26,
                "serial": number,
                "seq": number,
            }
            book.insert("item", item)
        for child, draw, stream, parent, order, best in rows:
            link = {
                "child": child,
                "draw": draw,
                "stream": stream,
                "parent": parent,
                "ord": order,
                "least_g": 0,
                "best_g": best,
                "most_g": best,
            }
            book.insert("link", link)
        book.execute("INSERT INTO whole SELECT child, max(ord), sum(best_g) FROM link GROUP BY child")
    return book


@pytest.fixture(scope="module", params=range(2))
def deep(request):
    return made_up(request.param)


@pytest.fixture(scope="module", params=["a shop", "made up", "made up, too"])
def book(request):
    return shops.RandomShop(403, fills=30).book if request.param == "a shop" else made_up(len(request.param))


def grams(random):
    return random.choice([0, 1, random.randint(1, 200_000)])


def everything(book):
    return book.tuples("SELECT num, kind FROM item WHERE kind IN ('L', 'G', 'F', 'C') ORDER BY num")


def links_of(book, item):
    return book.tuples(
        "SELECT ord, parent, best_g FROM link WHERE child = ? ORDER BY draw, stream, parent", item
    )


def back_one_by_one(book, item, cut):
    """Shares, grams and traces, asking for each item's links alone; and the share of what has no links or was not followed."""
    shares, grams, traces, ends, left = {item: 1.0}, {}, 0, {}, 0.0
    made = {item: links_of(book, item)}
    waiting = [(0, item)]
    while waiting:
        _, number = heappop(waiting)
        links, share = made[number], shares[number]
        if share < cut and number != item:
            traces += 1
            left += share
            continue
        whole = sum(best for _, _, best in links)
        if not whole:
            ends[0 if links else number] = ends.get(0 if links else number, 0.0) + share
        for _, parent, best in links:
            if not best:
                continue
            if not parent:
                ends[0] = ends.get(0, 0.0) + share * best / whole
                continue
            grams[parent, number] = grams.get((parent, number), 0) + best
            if parent not in made:
                made[parent], shares[parent] = links_of(book, parent), 0.0
                heappush(waiting, (-max((row[0] for row in made[parent]), default=-(2**62)), parent))
            shares[parent] += share * best / whole
    del shares[item]
    return {n: share for n, share in shares.items() if share >= cut}, grams, traces, ends, left


def onward_one_by_one(book, item, cut):
    shares, grams, traces = {item: 1.0}, {}, 0
    waiting, made, seen = [], {}, {item}

    def wait_for(parent):
        for (child,) in book.tuples("SELECT DISTINCT child FROM link WHERE parent = ?", parent):
            if child not in seen:
                seen.add(child)
                made[child] = links_of(book, child)
                heappush(waiting, (max(row[0] for row in made[child]), child))

    wait_for(item)
    while waiting:
        _, number = heappop(waiting)
        links = made[number]
        whole = sum(best for _, _, best in links)
        share = sum(shares.get(parent, 0.0) * best for _, parent, best in links) / whole if whole else 0.0
        if share < cut:
            traces += 1
            continue
        shares[number] = share
        for _, parent, best in links:
            if parent in shares and best:
                grams[parent, number] = grams.get((parent, number), 0) + best
        wait_for(number)
    del shares[item]
    return shares, grams, traces


@pytest.mark.parametrize("cut", CUTS)
def test_the_walks_are_those_that_ask_item_by_item(book, cut):
    followed = 0
    for number, _ in everything(book):
        back, onward = reach.back_to(book, number, cut), reach.on_from(book, number, cut)
        shares, grams, traces, *_ = back_one_by_one(book, number, cut)
        assert (back.shares, back.grams, back.traces) == (shares, grams, traces)
        assert (onward.shares, onward.grams, onward.traces) == onward_one_by_one(book, number, cut)
        followed += len(back.shares) + len(onward.shares)
    assert followed > 60


@pytest.mark.parametrize("cut", CUTS)
def test_origins_and_shares_held_are_those_of_the_walk_item_by_item(book, cut):
    items = [number for number, _ in everything(book)]
    for number in items[:: 1 + len(items) // 60]:
        shares, _, _, ends, left = back_one_by_one(book, number, cut)
        found, not_followed = reach.origins(book, number, cut)
        assert found.keys() == ends.keys() and not_followed == pytest.approx(left, abs=1e-12)
        assert all(found[name] == pytest.approx(share, abs=1e-12) for name, share in ends.items())
        assert sum(found.values()) + not_followed == pytest.approx(1, abs=1e-12)
        for member in items[:: len(items) // 5]:
            if member == number:
                continue
            held, more = reach.share_in(book, number, {member}, cut)
            whole = back_one_by_one(book, number, 0.0)[0].get(member, 0.0)
            assert held - 1e-12 <= whole <= held + more + 1e-12
            assert member not in shares or held == pytest.approx(shares[member], abs=1e-12)


@pytest.mark.parametrize("cut", [0.0, 1e-5, 0.0025])
def test_a_walk_asks_a_few_times_however_much_it_passes(deep, cut, monkeypatch):
    asked = []
    kept = Book.tuples
    monkeypatch.setattr(Book, "tuples", lambda book, *a: asked.append(a[0]) or kept(book, *a))
    widest = 0
    for number, _ in everything(deep):
        for walk in (reach.back_to, reach.on_from):
            asked.clear()
            widest = max(widest, len(walk(deep, number, cut).shares))
            assert len(asked) <= 2 * 30 + 2  # two questions for each generation
    assert widest > 100


@pytest.mark.parametrize("defect_is_setting", [True, False])
def test_what_it_went_straight_into_needs_no_walk(one, defect_is_setting):
    """Of everything that holds it, found by any path, the same are held straight, with the same grams."""
    for said in [*one.lots, *(code for code in one.made if code[2] == "G")]:
        suspect = suspects.suspect(one.book, "BH", said)
        every = reach.exact(one.book, suspect, through=not defect_is_setting).held
        straight = reach.straight(one.book, suspect).held
        assert {n: item.direct for n, item in straight.items.items() if item.direct_most} == {
            n: item.direct for n, item in every.items.items() if item.direct_most
        }
        if defect_is_setting:
            held = {n: item.value for n, item in every.items.items() if item.value.upper}
            assert held == {n: item.value for n, item in straight.items.items() if item.value.upper}


def test_few_are_told_from_many(one):
    for said in one.lots:
        suspect = suspects.suspect(one.book, "BH", said)
        reached = len(reach.exact(one.book, suspect).held.items)
        assert reach.is_few(one.book, suspect, reached) and not reach.is_few(one.book, suspect, reached - 1)


def test_a_second_walk_by_way_of_what_was_reached_finds_the_same(one):
    """As if nothing of unknown origin could be the suspect's: of everything reached, to the last bit."""
    differ = 0
    for said in [*one.lots, *(code for code in one.made if code[2] == "G")]:
        suspect = suspects.suspect(one.book, "BH", said)
        before = reach.exact(one.book, suspect)
        alone = replace(suspect, since=2**53, made=2**53)
        exactly = reach.exact(one.book, alone).held
        for number in list(before.held.items)[::3]:
            found = reach.again(one.book, alone, [number], before)
            assert found.value(number) == exactly.value(number)
            differ += found.value(number) != before.held.value(number)
    assert differ > 1
