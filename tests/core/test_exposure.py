"""Exposures against scipy and networkx, their bounds against linear programming, and the rules of the shop."""

import importlib.util
import random
from itertools import pairwise
from math import fsum, prod
from pathlib import Path

import networkx
import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, identity
from scipy.sparse.linalg import spsolve_triangular

from fillbook.trace.core import exposure
from fillbook.trace.core.errors import Damaged, Nonsense
from fillbook.trace.core.exposure import UNKNOWN, Genealogy, Grams, Interval, Link

_spec = importlib.util.spec_from_file_location("genealogies", Path(__file__).with_name("genealogies.py"))
genealogies = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(genealogies)

SEEDS = range(12)
seeds = st.integers(0, 10**6)


def yes(link):
    return True


def no(link):
    return False


def by_scipy(links, source_values):
    """Exposures as x = (I - W)^-1 e by scipy.sparse.linalg.spsolve_triangular; *source_values* holds e."""
    totals = {}
    for row in links:
        totals[row.child] = totals.get(row.child, 0) + row.best_g
    last = {row.child: 0 for row in links}
    for row in links:
        last[row.child] = max(last[row.child], row.ord)
    names = sorted(
        {row.parent for row in links} | set(last) | set(source_values), key=lambda n: (last.get(n, -1), n)
    )
    number = {name: n for n, name in enumerate(names)}
    kept = [row for row in links if row.child not in source_values]
    w = coo_matrix(
        (
            [row.best_g / totals[row.child] for row in kept],
            ([number[row.child] for row in kept], [number[row.parent] for row in kept]),
        ),
        shape=(len(names), len(names)),
    )
    e = numpy.array([float(source_values.get(name, 0.0)) for name in names])
    x = spsolve_triangular((identity(len(names)) - w).tocsr(), e, lower=True)
    return dict(zip(names, x, strict=True))


# -- exposures -----------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("seed", SEEDS)
def test_exposures_are_those_of_a_triangular_solve(seed):
    # scipy.sparse.linalg.spsolve_triangular
    shop = genealogies.random_shop(seed, steps=120)
    for suspects in (
        {shop.totes[0]},
        {shop.totes[0], shop.totes[-1]},
        {shop.batches[0]},
        {shop.batches[1], shop.totes[1]},
    ):
        ours = exposure.fractions(shop.links, suspects)
        theirs = by_scipy(shop.links, dict.fromkeys(suspects, 1.0))
        assert max(abs(ours.get(name, 0.0) - x) for name, x in theirs.items()) < 1e-12
    theirs = by_scipy(shop.links, {UNKNOWN: 1.0})
    ours = exposure.unknown_share(shop.links)
    assert max(abs(ours.get(name, 0.0) - x) for name, x in theirs.items() if name != UNKNOWN) < 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_what_holds_a_suspect_is_what_descends_from_it(seed):
    # networkx.descendants
    shop = genealogies.random_shop(seed, steps=120)
    held = networkx.DiGraph((row.parent, row.child) for row in shop.links if row.best_g)
    may_hold = networkx.DiGraph((row.parent, row.child) for row in shop.links if row.most_g)
    for suspect in shop.totes + shop.batches[:3]:
        known = networkx.descendants(held, suspect) if suspect in held else set()
        assert set(exposure.fractions(shop.links, {suspect})) == known | {suspect}
        possible = networkx.descendants(may_hold, suspect) if suspect in may_hold else set()
        found = set(exposure.intervals(shop.links, {suspect}, no)) - {suspect}
        assert known <= found <= possible


@given(seeds)
@settings(max_examples=30, deadline=None)
def test_exposures_to_every_tote_and_unknown_sum_to_one(seed):
    shop = genealogies.random_shop(seed, steps=60)
    family = Genealogy(shop.links)
    parts = [exposure.fractions(family, {tote}) for tote in shop.totes] + [exposure.unknown_share(family)]
    together = exposure.fractions(family, set(shop.totes))
    unknown = exposure.unknown_share(family)
    for child in family.groups:
        assert fsum(part.get(child, 0.0) for part in parts) == pytest.approx(1, abs=1e-12)
        assert together.get(child, 0.0) + unknown.get(child, 0.0) == pytest.approx(1, abs=1e-12)


def test_links_may_come_in_any_order_and_give_the_same_to_the_last_bit():
    shop = genealogies.random_shop(5, steps=120)
    mixed = random.Random(1).sample(shop.links, len(shop.links))
    for suspect in shop.totes:
        assert exposure.fractions(mixed, {suspect}) == exposure.fractions(shop.links, {suspect})
        assert exposure.intervals(mixed, {suspect}, yes) == exposure.intervals(shop.links, {suspect}, yes)


def test_a_genealogy_is_read_once_and_asked_often():
    shop = genealogies.random_shop(6)
    family = Genealogy(iter(shop.links))
    assert exposure.read(family) is family
    assert exposure.fractions(family, shop.totes[:1]) == exposure.fractions(shop.links, shop.totes[:1])
    assert set(family.links()) == set(shop.links)


def test_links_of_what_is_not_reached_only_count_in_the_total():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 30, 30, 30),
        Link(
            1, "F-1", "main", "R", "RG-9", 70, 70, 70
        ),  # RG-9 holds none of L-1: its own links are not delivered
    ]
    assert exposure.fractions(links, {"L-1"}) == {"L-1": 1.0, "F-1": 0.3}


def test_a_top_up_from_a_batch_made_after_the_main_fill_counts():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 60, 60, 60),
        Link(2, "F-2", "main", "B", "L-2", 75, 75, 75),
        Link(3, "RG-1", "0", "G", "F-1", 40, 40, 40),
        Link(4, "F-2", "top-up", "R", "RG-1", 25, 25, 25),
    ]
    assert exposure.fractions(links, {"L-1"})["F-2"] == 0.25
    assert exposure.intervals(links, {"L-1"}, no)["F-2"] == Interval(0.25, 0.25, 0.25)
    assert exposure.origins(links, "F-2") == {"L-2": 0.75, "L-1": 0.25}
    assert exposure.path(links, {"L-1"}, "F-2") == ["L-1", "F-1", "RG-1", "F-2"]


def test_a_suspect_made_from_a_suspect_is_one_whole_suspect():
    links = [
        Link(1, "RG-1", "0", "G", "L-1", 1, 1, 1),
        Link(1, "RG-1", "0", "G", "L-2", 99, 99, 99),
        Link(2, "F-1", "main", "R", "RG-1", 50, 50, 50),
        Link(2, "F-1", "main", "B", "L-2", 50, 50, 50),
    ]
    assert exposure.fractions(links, {"L-1", "RG-1"}) == {"L-1": 1.0, "RG-1": 1.0, "F-1": 0.5}
    assert exposure.intervals(links, {"L-1", "RG-1"}, no)["F-1"] == Interval(0.5, 0.5, 0.5)


# -- a great many ways ---------------------------------------------------------------------------------------------------------
def test_two_to_the_sixtieth_ways_are_never_summed_one_by_one():
    links = genealogies.many_ways(61)
    assert exposure.fractions(links, {"L-1"})["RG-61a"] == 1.0
    assert exposure.intervals(links, {"L-1"}, yes)["RG-61b"] == Interval(1.0, 1.0, 1.0)
    assert exposure.origins(links, "RG-61a") == {"L-1": 1.0}
    assert exposure.origins_all(links, "RG-61a")["RG-30b"] == 0.5
    way = exposure.path(links, {"L-1"}, "RG-61a")
    assert way[0] == "L-1" and way[-1] == "RG-61a" and len(way) == 62


def test_a_chain_of_ten_thousand_batches_is_no_trouble():
    links = [Link(n, f"RG-{n}", "0", "G", f"RG-{n - 1}", 9, 9, 9) for n in range(1, 10_001)]
    links += [Link(n, f"RG-{n}", "1", "G", UNKNOWN, 1, 1, 1) for n in range(1, 10_001)]
    assert exposure.fractions(links, {"RG-0"})["RG-100"] == pytest.approx(0.9**100)
    assert exposure.intervals(links, {"RG-0"}, no)["RG-100"].upper == pytest.approx(0.9**100)
    assert (
        len(exposure.path(links, {"RG-0"}, "RG-10000")) == 10_001
    )  # its product, 0.9**10000, is below any float
    assert exposure.origins(links, "RG-10000")[UNKNOWN] == pytest.approx(1)


# -- bounds --------------------------------------------------------------------------------------------------------------------
@given(seeds, seeds)
@settings(max_examples=60, deadline=None)
def test_bounds_hold_whatever_the_grams_really_were(seed, truth):
    shop = genealogies.random_shop(seed, steps=40)
    rng = random.Random(truth)
    suspects = set(rng.sample(shop.totes, 2))
    bounds = exposure.intervals(shop.links, suspects, yes)
    real = genealogies.realised(shop.links, rng)
    hides = rng.random() < 0.5  # the unknown material may be the suspect's, all of it
    values = dict.fromkeys(suspects, 1.0) | ({UNKNOWN: 1.0} if hides else {})
    for name, x in by_scipy(real, values).items():
        if name and name not in suspects:
            low, _, high = bounds.get(name, exposure.NOTHING)
            assert low - 1e-12 <= x <= high + 1e-12
    assert all(0 <= low <= best <= high <= 1 for low, best, high in bounds.values())


@pytest.mark.parametrize("seed", SEEDS)
def test_bounds_are_the_tightest_there_are(seed):
    # scipy.optimize.linprog, group by group, children after parents: the grams it finds are one way it can have been, since
    # every exposure grows with every parent's
    shop = genealogies.random_shop(seed, steps=30)
    suspects = set(shop.totes[:2])
    bounds = exposure.intervals(shop.links, suspects, no)
    for which, sign in ((2, -1.0), (0, 1.0)):
        x = dict.fromkeys(suspects, 1.0)
        for child, groups in Genealogy(shop.links):
            grams = 0.0
            for rows in groups:
                found = linprog(
                    [sign * x.get(row.parent, 0.0) for row in rows],
                    A_eq=[[1.0] * len(rows)],
                    b_eq=[sum(row.best_g for row in rows)],
                    bounds=[(row.least_g, row.most_g) for row in rows],
                )
                assert found.status == 0
                grams += sign * found.fun
            x[child] = grams / sum(row.best_g for rows in groups for row in rows)
            assert bounds.get(child, exposure.NOTHING)[which] == pytest.approx(x[child], abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_exact_grams_leave_no_width(seed):
    shop = genealogies.random_shop(seed, wide=0, steps=60)
    held = exposure.fractions(shop.links, shop.totes[:1])
    found = exposure.intervals(shop.links, shop.totes[:1], no)
    assert found.keys() == held.keys()
    for name, (low, best, high) in found.items():
        assert best == held[name]
        assert low == pytest.approx(best, abs=1e-12)
        assert high == pytest.approx(best, abs=1e-12)


def test_mosts_are_never_multiplied():
    # each of ten totes may have given all of the draw, but the ten together are no more than one draw
    links = [Link(1, "F-1", "main", "B", f"L-{n}", 0, 10, 100) for n in range(10)]
    links += [Link(2, "RG-1", "0", "G", "F-1", 100, 100, 100)]
    found = exposure.intervals(links, {f"L-{n}" for n in range(9)}, no)
    assert found["RG-1"] == Interval(0.0, 0.9, 1.0)


def test_a_lot_is_certain_where_no_single_tote_of_it_is():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 0, 45, 90),
        Link(1, "F-1", "main", "B", "L-2", 0, 45, 90),
        Link(1, "F-1", "main", "B", "L-9", 0, 10, 25),
    ]
    assert exposure.direct(links, {"L-1"}) == {"F-1": Grams(0, 45, 90)}
    assert exposure.direct(links, {"L-1", "L-2"}) == {"F-1": Grams(75, 90, 100)}
    assert exposure.intervals(links, {"L-1", "L-2"}, no)["F-1"] == Interval(0.75, 0.9, 1.0)


@given(seeds, seeds)
@settings(max_examples=40, deadline=None)
def test_direct_bounds_of_a_set_hold_and_are_met(seed, truth):
    # scipy.optimize.linprog: least and most of the set's grams within every link's bounds
    shop = genealogies.random_shop(seed, steps=10)
    rng = random.Random(truth)
    suspects = set(rng.sample(shop.totes, 3))
    found = exposure.direct(shop.links, suspects)
    wanted = {}
    for rows in genealogies.groups(shop.links):
        of_set = [1.0 if row.parent in suspects else 0.0 for row in rows]
        if any(of_set):
            total = sum(row.best_g for row in rows)
            bounds = [(row.least_g, row.most_g) for row in rows]
            least = linprog(of_set, A_eq=[[1.0] * len(rows)], b_eq=[total], bounds=bounds).fun
            most = -linprog([-c for c in of_set], A_eq=[[1.0] * len(rows)], b_eq=[total], bounds=bounds).fun
            low, high = wanted.get(rows[0].child, (0, 0))
            wanted[rows[0].child] = low + round(least), high + round(most)
    assert {child: (g.least, g.most) for child, g in found.items()} == {
        c: w for c, w in wanted.items() if w[1]
    }
    assert all(g.least <= g.best <= g.most for g in found.values())


# -- unknown origin ------------------------------------------------------------------------------------------------------------
def test_a_piece_cut_before_the_lot_was_made_holds_none_of_it():
    made_at = 1_000
    links = [
        Link(1, "RG-1", "0", "G", "L-1", 10, 10, 10),
        Link(1, "RG-1", "1", "G", UNKNOWN, 30, 30, 30, 999),
        Link(1, "RG-1", "2", "G", UNKNOWN, 60, 60, 60, 1_000),
        Link(2, "F-1", "main", "R", "RG-1", 50, 50, 50),
        Link(2, "F-1", "main", "B", "L-2", 50, 50, 50),
    ]
    found = exposure.intervals(links, {"L-1"}, lambda link: link.cut_at >= made_at)
    assert found["RG-1"] == Interval(0.1, 0.1, 0.7)
    assert found["F-1"] == Interval(0.05, 0.05, pytest.approx(0.35))
    assert exposure.unknown_share(links) == {"RG-1": 0.9, "F-1": 0.45}
    assert exposure.unknown_grams(links) == {"RG-1": Grams(90, 90, 90)}


def test_a_tire_that_only_unknown_origin_speaks_for_is_bounded_too():
    links = [
        Link(1, "F-1", "main", "B", UNKNOWN, 5, 20, 40, 7),
        Link(1, "F-1", "main", "B", "L-2", 10, 80, 95),
    ]
    assert exposure.intervals(links, {"L-1"}, yes)["F-1"] == Interval(0.0, 0.0, 0.4)
    assert "F-1" not in exposure.intervals(links, {"L-1"}, no)
    assert exposure.fractions(links, {"L-1"}) == {"L-1": 1.0}


def test_where_cured_pieces_are_inert_only_direct_and_liquid_unknown_count():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 50, 50, 50),
        Link(1, "F-1", "main", "A", "L-3", 50, 50, 50),
        Link(2, "RG-1", "0", "G", "F-1", 50, 50, 50),
        Link(2, "RG-1", "1", "G", UNKNOWN, 50, 50, 50, 9),
        Link(3, "F-2", "main", "R", "RG-1", 40, 40, 40),
        Link(3, "F-2", "main", "R", UNKNOWN, 10, 10, 10, 9),
        Link(3, "F-2", "main", "B", UNKNOWN, 5, 5, 5, 9),
        Link(3, "F-2", "main", "B", "L-1", 5, 5, 5),
        Link(3, "F-2", "main", "A", "L-3", 40, 40, 40),
    ]
    found = exposure.intervals(links, {"L-1"}, yes, through_regrind=False)
    assert found == {"L-1": (1, 1, 1), "F-1": (0.5, 0.5, 0.5), "F-2": (0.05, 0.05, 0.1)}


# -- sides ---------------------------------------------------------------------------------------------------------------------
def test_all_the_b_of_a_half_regrind_tire_is_a_quarter_of_the_fill():
    links = [
        Link(1, "F-1", "main", "A", "L-2", 25, 25, 25),
        Link(1, "F-1", "main", "B", "L-1", 25, 25, 25),
        Link(1, "F-1", "main", "R", "RG-1", 50, 50, 50),
    ]
    assert exposure.side_share(links, {"L-1"}) == {"F-1": {"B": 1.0}}
    assert exposure.fractions(links, {"L-1"})["F-1"] == 0.25


def test_the_share_of_a_side_counts_every_draw_of_it_and_nothing_through_regrind():
    links = [
        Link(1, "RG-1", "0", "G", "L-1", 10, 10, 10),
        Link(2, "F-1", "main", "B", "L-1", 30, 30, 30),
        Link(2, "F-1", "main", "R", "RG-1", 50, 50, 50),
        Link(3, "F-1", "top-up", "B", "L-2", 10, 10, 10),
        Link(4, "F-2", "main", "R", "RG-1", 50, 50, 50),
    ]
    assert exposure.side_share(links, {"L-1"}) == {"RG-1": {"G": 1.0}, "F-1": {"B": 0.75}}


# -- backward ------------------------------------------------------------------------------------------------------------------
@given(seeds)
@settings(max_examples=30, deadline=None)
def test_tracing_back_and_forward_agree(seed):
    shop = genealogies.random_shop(seed, steps=60)
    family = Genealogy(shop.links)
    unknown = exposure.unknown_share(family)
    for item in [*shop.fills[-3:], *shop.batches[-2:]]:
        back = exposure.origins(family, item)
        assert fsum(back.values()) == pytest.approx(1, abs=1e-12)
        assert set(back) <= {*shop.totes, UNKNOWN}
        assert back.get(UNKNOWN, 0.0) == pytest.approx(unknown.get(item, 0.0), abs=1e-12)
        for tote in shop.totes:
            assert back.get(tote, 0.0) == pytest.approx(
                exposure.fractions(family, {tote}).get(item, 0.0), abs=1e-12
            )
        for way, share in exposure.origins_all(family, item).items():
            if way:
                assert share == pytest.approx(exposure.fractions(family, {way})[item], abs=1e-12)


def test_the_biggest_origin_stands_first_and_a_tote_is_its_own():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 10, 10, 10),
        Link(1, "F-1", "main", "A", "L-2", 30, 30, 30),
    ]
    assert list(exposure.origins(links, "F-1").items()) == [("L-2", 0.75), ("L-1", 0.25)]
    assert exposure.origins(links, "L-2") == {"L-2": 1.0}
    assert exposure.origins_all(links, "L-2") == {}


def test_a_draw_without_a_gram_goes_back_to_unknown_origin_and_holds_nothing():
    links = [Link(1, "F-1", "main", "B", "L-1", 0, 0, 0), Link(2, "RG-1", "0", "G", "F-1", 5, 5, 5)]
    assert exposure.origins(links, "F-1") == {UNKNOWN: 1.0}
    assert exposure.origins(links, "RG-1") == {UNKNOWN: 1.0}
    assert exposure.fractions(links, {"L-1"}) == {"L-1": 1.0}
    assert exposure.direct(links, {"L-1"}) == {}


# -- the way -------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("seed", SEEDS)
def test_the_way_is_the_strongest_of_all_ways(seed):
    # networkx.all_simple_paths
    shop = genealogies.random_shop(seed, steps=25)
    family = Genealogy(shop.links)
    share = {}
    for row in shop.links:
        key = (row.parent, row.child)
        share[key] = share.get(key, 0.0) + row.best_g / family.total[row.child]
    graph = networkx.DiGraph(key for key, part in share.items() if part and key[0])
    for suspect in shop.totes[:2]:
        for item in shop.fills[-4:]:
            way = exposure.path(family, {suspect}, item)
            if suspect in graph and item in graph and networkx.has_path(graph, suspect, item):
                strongest = max(
                    prod(share[step] for step in pairwise(nodes))
                    for nodes in networkx.all_simple_paths(graph, suspect, item)
                )
                assert (way[0], way[-1]) == (suspect, item)
                assert prod(share[step] for step in pairwise(way)) == pytest.approx(strongest)


def test_a_way_that_only_may_be_is_named_where_there_is_no_better():
    links = [
        Link(1, "F-1", "main", "B", "L-1", 0, 0, 20),
        Link(1, "F-1", "main", "B", "L-2", 80, 100, 100),
        Link(2, "RG-1", "0", "G", "F-1", 50, 50, 50),
        Link(3, "F-2", "main", "R", "RG-1", 50, 50, 50),
        Link(3, "F-2", "main", "B", "L-1", 1, 1, 1),
    ]
    assert exposure.path(links, {"L-1"}, "RG-1") == ["L-1", "F-1", "RG-1"]
    assert exposure.path(links, {"L-1"}, "F-2") == [
        "L-1",
        "F-2",
    ]  # a gram for sure before fifty that only may be
    assert exposure.path(links, {"L-1"}, "L-1") == ["L-1"]
    assert exposure.path(links, {"L-3"}, "F-2") == []


# -- what can't be -------------------------------------------------------------------------------------------------------------
def test_unknown_origin_is_no_suspect():
    with pytest.raises(Nonsense, match="Unknown origin can't be a suspect"):
        exposure.fractions([], [UNKNOWN])


def test_one_id_is_not_a_set_of_suspects():
    with pytest.raises(TypeError):
        exposure.fractions([], "L-1")


def test_a_child_made_before_its_parent_was_done_is_found_out():
    links = [Link(2, "F-1", "top-up", "B", "L-1", 1, 1, 1), Link(2, "RG-1", "0", "G", "F-1", 1, 1, 1)]
    with pytest.raises(Damaged, match="RG-1 holds F-1, but F-1 was still being made then"):
        exposure.fractions(links, {"L-1"})
    round_about = [Link(1, "RG-1", "0", "G", "RG-2", 1, 1, 1), Link(2, "RG-2", "0", "G", "RG-1", 1, 1, 1)]
    with pytest.raises(Damaged):
        exposure.origins(round_about, "RG-1")


@pytest.mark.parametrize("grams", [(-1, 0, 0), (2, 1, 3), (0, 4, 3)])
def test_grams_out_of_order_are_found_out(grams):
    with pytest.raises(Damaged, match="not in order"):
        exposure.direct([Link(1, "F-1", "main", "B", "L-1", *grams)], {"L-1"})
