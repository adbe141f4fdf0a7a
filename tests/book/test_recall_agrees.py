"""The recall as it is read from the database, against others' ways to the same answer, on random genealogies in a real book.

networkx (sets reached), scipy (exposures by a sparse triangular system, x = (I − W)⁻¹ e; bounds by linear programming) and the plain
functions of :mod:`fillbook.trace.core.exposure`, group by group over links held in memory.
"""

import importlib.util
import sys
from pathlib import Path
from random import Random

import networkx
import numpy
import pytest
from scipy.optimize import linprog
from scipy.sparse import coo_matrix, identity
from scipy.sparse.linalg import spsolve_triangular

from fillbook.trace.book import reach, recalls, suspects
from fillbook.trace.core import exposure, ids, recall
from fillbook.trace.core.exposure import Link

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_for_agreement", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)

SEEDS = range(200, 204)


@pytest.fixture(scope="module", params=SEEDS)
def one(request):
    return shops.RandomShop(request.param, fills=20)


def links_of(book):
    """Every link of the book, named by ID."""
    rows = book.tuples(
        "SELECT k.ord, c.code, CAST(k.draw AS TEXT), k.stream, coalesce(p.code, ''), k.least_g, k.best_g, k.most_g, k.cut_at, k.together "
        "FROM link k JOIN item c ON c.num = k.child LEFT JOIN item p ON p.num = k.parent ORDER BY k.ord, c.code, k.draw, k.stream, 5"
    )
    return [Link(*row) for row in rows]


def may_hold(suspect):
    def judge(link):
        if link.stream in ("A", "B"):
            return link.stream in suspect.streams and (link.cut_at is None or link.cut_at >= suspect.since)
        return link.cut_at is None or link.cut_at >= suspect.made

    return judge


def by_code(book, held):
    codes = dict(book.tuples("SELECT num, code FROM item"))
    return {codes[number]: value for number, value in held.items()}


def matrix(links):
    """W of the best grams, items in the order they were made, and the order."""
    family = exposure.read(links)
    names = ["", *sorted({row.parent for row in links} - {""} - set(family.groups)), *family.groups]
    number = {name: n for n, name in enumerate(names)}
    rows, columns, values = [], [], []
    for row in family.links():
        rows.append(number[row.child])
        columns.append(number[row.parent])
        values.append(row.best_g / family.total[row.child])
    size = len(names)
    return coo_matrix((values, (rows, columns)), shape=(size, size)).tocsr(), names


def solve(links, members):
    weights, names = matrix(links)
    start = numpy.array([1.0 if name in members else 0.0 for name in names])
    # a suspect is its own origin, whatever it was made from
    keep = numpy.array([0.0 if name in members else 1.0 for name in names])
    system = (
        identity(len(names)) - coo_matrix((keep, (range(len(names)), range(len(names))))) @ weights
    ).tocsr()
    return dict(zip(names, spsolve_triangular(system, start, lower=True), strict=True))


def all_suspects(one):
    batches = [code for code in one.made if code[2] == "G"][:3]
    tires = one.reclaimed[:1] + sorted(one.used)[:2]
    return [*one.lots, *batches, *tires, f"{one.lots[0]}, {one.lots[-1]}"]


def test_the_same_items_are_reached_as_by_networkx(one):
    links = links_of(one.book)
    graph = networkx.DiGraph((row.parent, row.child) for row in links if row.parent and row.most_g)
    for said in all_suspects(one):
        suspect = suspects.suspect(one.book, "BH", said)
        held = by_code(one.book, reach.exact(one.book, suspect).held.items)
        reached = set().union(*(networkx.descendants(graph, item) for item in suspect.items if item in graph))
        unknown = {
            row.child for row in links if not row.parent and row.cut_at >= min(suspect.since, suspect.made)
        }
        assert reached <= set(held)
        extra = set(held) - reached - set(suspect.items)
        assert all(item in unknown or networkx.ancestors(graph, item) & unknown for item in extra)


def test_exposures_are_those_of_a_sparse_triangular_solve(one):
    links = links_of(one.book)
    for said in all_suspects(one):
        suspect = suspects.suspect(one.book, "BH", said)
        shares = by_code(one.book, reach.exact(one.book, suspect).held.shares())
        exactly = solve(links, set(suspect.items))
        for name, share in exactly.items():
            assert abs(shares.get(name, 0.0) - share) <= 1e-12, f"{name} holds {share} of {said}"


def test_exposures_to_all_totes_and_unknown_are_one_on_every_item(one):
    links = links_of(one.book)
    family = exposure.read(links)
    sums = dict.fromkeys(family.groups, 0.0)
    for lot in one.lots:
        suspect = suspects.suspect(one.book, "BH", lot)
        for name, share in by_code(one.book, reach.exact(one.book, suspect).held.shares()).items():
            if name in sums:
                sums[name] += share
    unknown = exposure.unknown_share(family)
    assert all(abs(total + unknown.get(name, 0.0) - 1) <= 1e-12 for name, total in sums.items())
    for item in (code for code in sums if ids.is_valid(code)):
        origins, left = reach.origins(one.book, reach.numbers(one.book, [item])[item], 0.0)
        assert abs(sum(origins.values()) - 1) <= 1e-12 and left == 0


@pytest.mark.parametrize("defect", recall.DEFECTS)
def test_tiers_bounds_and_ways_are_those_of_the_plain_functions(one, defect):
    links = links_of(one.book)
    for said in all_suspects(one):
        suspect = suspects.suspect(one.book, "BH", said)
        plain = recall.listing(
            links, suspect.items, threshold=0.01, defect=defect, unknown_may_hold=may_hold(suspect),
            is_listed=lambda code: code[2:3] == "F" and ":" not in code, with_traces=True,
        )  # fmt: skip
        found = recalls.recall(one.book, "BH", said, defect=defect, threshold_e4=100, with_traces=True)
        there = {ids.read(item["id"]): item for item in found["items"]}
        assert {item.id: item.tier for item in plain.items} == {
            code: item["tier"] for code, item in there.items()
        }
        for item in plain.items:
            mine = there[item.id]
            for bound, value in zip(("least", "best", "most"), item.exposure, strict=True):
                assert abs(mine["exposure"][bound] - value) <= 1e-9
            if item.id not in suspect.items:
                assert tuple(mine["grams"].values()) == tuple(item.grams)
                assert (
                    abs(mine["side_share"] - item.side_share) <= 1e-9
                    and abs(mine["unknown"] - item.unknown_share) <= 1e-9
                )
        assert found["traces"]["count"] == plain.traces_count


def test_a_screen_never_misses_what_the_exact_recall_lists(one):
    for said in all_suspects(one):
        found = recalls.recall(one.book, "BH", said, with_traces=True)
        screen = recalls.recall(one.book, "BH", said, exact=False, with_traces=True)
        tier = {item["id"]: item["tier"] for item in screen["items"]}
        most = {item["id"]: item["exposure"]["most"] for item in screen["items"]}
        for item in found["items"]:
            if item["tier"] == "traces":
                continue
            assert recall.TIERS.index(tier[item["id"]]) <= recall.TIERS.index(item["tier"])
            assert most[item["id"]] >= item["exposure"]["most"] - 1e-9
        assert 0 <= screen["left_out"] < 0.0004


def test_a_screen_that_follows_little_still_lists_all(one, monkeypatch):
    """Cut at the threshold itself: what is left out is added before comparing, so no tire is lost even then."""
    monkeypatch.setattr(recalls, "CUT_PART", 1)
    for said in one.lots:
        listed = {item["id"] for item in recalls.recall(one.book, "BH", said, threshold_e4=300)["items"]}
        assert listed <= {
            item["id"]
            for item in recalls.recall(one.book, "BH", said, threshold_e4=300, exact=False)["items"]
        }


@pytest.mark.parametrize("seed", range(3))
def test_bounds_are_those_of_a_linear_programme(seed):
    """Layer by layer: within one group any grams between least and most that add up, parents at their own bounds."""
    one = shops.RandomShop(300 + seed, fills=10)
    links = links_of(one.book)
    random = Random(seed)
    suspect = suspects.suspect(one.book, "BH", random.choice(one.lots))
    judge = may_hold(suspect)
    found = reach.exact(one.book, suspect)
    codes = dict(one.book.tuples("SELECT num, code FROM item"))
    held = {codes[number]: found.held.value(number) for number in [*found.held.items, *found.members]}
    family = exposure.read(links)
    for child, groups in family:
        if child not in held or child in suspect.items:
            continue
        for sign, bound in ((1, "lower"), (-1, "upper")):
            grams = 0.0
            for group in groups:

                def worth(row, bound=bound):
                    if not row.parent:
                        return 1.0 if bound == "upper" and judge(row) else 0.0
                    return getattr(held[row.parent], bound) if row.parent in held else 0.0

                best = linprog(
                    [sign * worth(row) for row in group],
                    A_eq=[[1.0] * len(group)], b_eq=[sum(row.best_g for row in group)],
                    bounds=[(row.least_g, row.most_g) for row in group],
                )  # fmt: skip
                assert best.success
                grams += sign * best.fun
            assert getattr(held[child], bound) == pytest.approx(
                min(1.0, grams / family.total[child]), abs=1e-9
            )
