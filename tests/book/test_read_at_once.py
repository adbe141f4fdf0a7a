"""What is read for many at once says the same as what is read for each by itself, and what is kept never outlives an event."""

import importlib.util
from dataclasses import replace
from itertools import accumulate, pairwise
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.book import (
    chain,
    cures,
    glance,
    items,
    later,
    lists,
    many_tires,
    on_hold,
    queries,
    suspects,
)
from fillbook.trace.book.list_kinds import KINDS, Asked
from fillbook.trace.book.unchanged import while_unchanged
from fillbook.trace.core import cure, ids, limits, units

_spec = importlib.util.spec_from_file_location("story", Path(__file__).parents[1] / "golden" / "story.py")
story = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(story)
YEAR, DAY = 31_557_600, 86_400


@pytest.fixture(scope="module")
def told(the_shop, tmp_path_factory):
    """A shop in which something of everything happened; only read by the tests that share it."""
    made = the_shop.Shop.start(str(tmp_path_factory.mktemp("told") / "told.db"))
    story.tell(made)
    yield made
    made.book.db.close()


def every_item(book):
    return [code for (code,) in book.tuples("SELECT code FROM item ORDER BY code") if ids.is_valid(code)]


# -- holds, limits, facts --------------------------------------------------------------------------------------------------------
def test_a_hold_lies_on_the_same_items_whether_asked_one_by_one_or_together(told):
    codes = every_item(told.book)
    held = {code for code in codes if on_hold.holds_on(told.book, code)}
    assert held and on_hold.held_among(told.book, codes) == held != set(codes)


def test_a_mixture_is_held_with_what_was_poured_into_it(shop):
    one, other, third = (shop.tote("A", lot=lot) for lot in ("A-51", "A-52", "A-53"))
    mixture = shop.act("pour heel", tote=one, into=other, weight_kg=60).ids[0]
    assert on_hold.held_among(shop.book, [mixture, third]) == set()
    shop.act("hold", lot="A-51", why="wet")
    held = {code for code in every_item(shop.book) if on_hold.holds_on(shop.book, code)}
    assert {one, mixture} <= held and third not in held
    assert on_hold.held_among(shop.book, every_item(shop.book)) == held
    assert on_hold.held_among(shop.book, [third, mixture]) == {mixture}


def test_limits_read_at_once_are_those_read_one_by_one(told):
    book, scopes = told.book, ["", told.line, told.line_2]
    times = [0, told.now, *(at for (at,) in book.tuples("SELECT DISTINCT from_at FROM limit_set"))]
    assert len(times) >= 3
    for at in times:
        limit = queries.Limits(book, "BH", at)
        for name in limits.LIMITS:
            for scope in scopes:
                assert limit(name, scope) == queries.limit(book, "BH", name, at, scope), (name, scope, at)


def test_every_limit_is_shown_with_the_value_in_force(told):
    for at in (0, told.now - 3 * DAY, told.now):
        shown = queries.limits_now(told.book, "BH", at)
        assert list(dict.fromkeys(row.name for row in shown)) == list(limits.LIMITS)
        for row in shown:
            assert row.value == queries.limit(told.book, "BH", row.name, at, row.scope), row
    assert any(row.scope for row in shown) and any(not row.set for row in shown)


@pytest.mark.parametrize("us", [None, True, False])
def test_what_an_item_is_known_by_is_among_its_facts(told, us):
    say = items.Say(told.book, "BH", us)
    codes = every_item(told.book)
    known = items.known_by(told.book, codes, say)
    assert list(known) == codes
    for code, few in known.items():
        facts = items.facts(told.book, code, say)
        assert few.items() <= facts.items(), code
        by_these = {name for name in items._KNOWN_BY[ids.kind_of(code)][1] if name in facts}
        assert set(few) == by_these, code


def test_events_touch_the_same_items_one_by_one_and_together(told):
    seqs = [seq for (seq,) in told.book.tuples("SELECT seq FROM event WHERE shop = 'BH'")]
    together = glance.touched_by_each(told.book, "BH", seqs)
    plain = {
        seq: [
            i for (i,) in told.book.tuples("SELECT DISTINCT item FROM touch WHERE seq = ? ORDER BY item", seq)
        ]
        for seq in seqs
    }
    assert together == plain and any(len(codes) > 1 for codes in plain.values())


# -- labels, states --------------------------------------------------------------------------------------------------------------
def test_labels_never_printed_are_found_state_by_state(told):
    gone = ", ".join(f"'{state}'" for state in glance.GONE)
    for kind in ids.KINDS:
        plain = [
            code
            for (code,) in told.book.tuples(
                f"SELECT p.item FROM place p WHERE p.state NOT IN ({gone}) AND p.item LIKE 'BH{kind}%' "
                "AND NOT EXISTS (SELECT 1 FROM print x WHERE x.item = p.item) ORDER BY p.item DESC"
            )
        ]
        assert glance.unprinted(told.book, "BH", kind) == plain
        assert glance.unprinted(told.book, "BH", kind, 1) == plain[:1]
        assert glance.labels_waiting(told.book, "BH")[kind] == len(plain)


def test_the_first_of_a_state_are_the_first_of_all_in_it(told):
    states = [state for (state,) in told.book.tuples("SELECT DISTINCT state FROM place ORDER BY state")]
    assert queries.states(told.book) == states
    for some in [*([state] for state in states), ["racked", "filled"], states]:
        whole = queries.in_state(told.book, "BH", *some)
        for most in (1, 3, 1000):
            assert queries.in_state(told.book, "BH", *some, most=most) == whole[:most], some


def test_cut_out_fills_wait_until_something_of_them_is_ground_or_scrapped(told):
    plain = [
        row
        for row in queries.in_state(told.book, "BH", "reclaimed")
        if not queries.given_by(told.book, row["item"])
    ]
    assert queries.cut_and_whole(told.book, "BH", 40) == plain
    assert len(queries.in_state(told.book, "BH", "reclaimed")) > len(plain)


# -- the racks -------------------------------------------------------------------------------------------------------------------
def test_a_tire_is_judged_alike_by_itself_and_among_others(told):
    book = told.book
    filled = [(code, at) for code, at in book.tuples("SELECT item, at FROM fill ORDER BY item")]
    for now in (told.now, told.now - DAY, told.now + DAY):
        shared = cures.Zones(book, "BH", now)
        for code, at in filled:
            if at <= now:
                assert cures.case(book, code, now, zones=shared) == cures.case(book, code, now), code


def test_what_is_read_for_many_tires_is_what_is_read_for_each(told):
    book = told.book
    tires = [code for (code,) in book.tuples("SELECT item FROM tire ORDER BY item")]
    many = many_tires.Tires(book)
    many.look_up(tires)
    for tire in tires:
        for one in (many[tire], many_tires.Tires(book)[tire]):
            assert (one.fill, one.facts) == (queries.fill(book, tire), queries.tire(book, tire))
            assert one.stays() == queries.stays(book, tire)
            assert one.holds == on_hold.holds_on(book, tire)
            assert one.own == suspects.made_of(book, tire)
            for at in [told.now, *(row.at + later_by for row in one.touches for later_by in (-1, 0, 1))]:
                assert one.state_at(at) == (queries.state_at(book, tire, at).state or "")
    fills = book.rows("SELECT * FROM fill ORDER BY item")
    for known in (many, many_tires.Tires(book)):
        cups = [known.cup_covering(fill) for fill in fills]
        assert cups == [queries.cup_covering(book, fill) for fill in fills] and any(cups)
        for cup in filter(None, cups):
            for at in (0, cup.at, told.now):
                assert known.cup_verdict(cup["item"], at) == queries.cup_verdict(book, cup["item"], at)


@given(
    st.lists(st.integers(0, 40), min_size=2, max_size=20, unique=True).map(sorted),
    st.lists(st.integers(-5, 45), max_size=8),
)
@settings(max_examples=200)
def test_a_break_lies_on_the_stretches_it_touches(at, breaks):
    plain = {n for n, (a, b) in enumerate(pairwise(at)) if any(a <= one <= b for one in breaks)}
    assert cure._broken(at, breaks) & set(range(len(at) - 1)) == plain


@given(
    st.lists(st.tuples(st.integers(1, 2000), st.integers(21_000, 24_000)), min_size=1, max_size=30),
    st.lists(st.integers(0, 30_000), max_size=4).map(sorted),
    st.integers(-300, 300),
    st.sampled_from([0, 60_000]),
)
@settings(max_examples=150)
def test_a_loggers_running_sums_are_those_counted_stretch_by_stretch(steps, breaks, offset, activation):
    samples = list(zip(accumulate(step for step, _ in steps), (mc for _, mc in steps), strict=True))
    sensor = cure.Sensor(samples, 900, 100, offset, None, None, breaks)
    rule = cure.Rule(limit_mc=22_222, near_mk=500, activation_j_mol=activation)
    track, shift, sums = cure._Track(sensor, rule), offset - 100, [(0, 0, 0, 0.0)]
    for (t0, m0), (t1, m1) in pairwise(samples):
        credited, nearly, seen, aged = sums[-1]
        if t1 - t0 <= 900 and not any(t0 <= one <= t1 for one in breaks):
            line = [(t0, m0 + shift, t1, m1 + shift)]
            seen += t1 - t0
            credited += cure._whole(cure._warm(line, t0, t1, 22_222))
            nearly += cure._whole(cure._warm(line, t0, t1, 21_722))
            if activation:
                aged += cure._aged(line[0], t0, t1, activation / cure.GAS_CONSTANT, 22_222)
        sums.append((credited, nearly, seen, aged))
    assert list(zip(track.credited, track.nearly, track.seen, track.aged, strict=True)) == sums


@given(
    st.sampled_from([u for d in units.DIMENSIONS.values() for u in d.units.values()]),
    st.integers(-(2**53), 2**53) | st.integers(-2000, 2000),
    st.sampled_from([1, 10, 100]),
)
@settings(max_examples=300)
def test_a_value_is_scaled_in_whole_numbers_as_by_fractions(unit, value, by):
    assert units._scaled(value, unit.size, unit.zero, by) == round((value - unit.zero) / unit.size * by)


# -- a period in the order of the IDs --------------------------------------------------------------------------------------------
@pytest.fixture(scope="module")
def years(the_shop, tmp_path_factory):
    """Four hundred tires of ten years, filled long after or before others with higher numbers; and a second shop's among them."""
    made = the_shop.Shop.start(str(tmp_path_factory.mktemp("years") / "years.db"))
    book, chance, rows = made.book, Random(4), []
    for site in ("BH", "BJ"):
        for n in range(400):
            year, serial = (
                chance.randrange(15, 25),
                chance.choice([chance.randrange(1, 300), chance.randrange(9_000, 130_000)]),
            )
            code = ids.mint(site, "F", year, ids.next_serial(site, "F", year, serial))
            rows.append((code, site, year * YEAR + chance.randrange(-YEAR, YEAR), n))
    rows = list({row[0]: row for row in rows}.values())
    with book.transaction():
        for code, site, at, n in rows:
            customer, size = f"Customer {n % 7}", ("23.5-25", "12-16.5", "10-20")[n % 3]
            book.execute(
                "INSERT INTO tire (shop, seq, item, customer, site, unit, position, size, section, serial, wheel_serial, earlier, "
                "order_number, taken_at) VALUES (?, 0, ?, ?, '', '', '', ?, 'medium', '', '', '', '', ?)",
                (site, code, customer, size, at - DAY),
            )
            book.insert(
                "place",
                {
                    "item": code,
                    "state": ("dispatched", "released")[n % 5 == 0],
                    "place": "",
                    "since": at,
                    "seq": 0,
                },
            )
            if n % 11:
                book.insert("fill", {
                    "shop": site, "seq": 0, "item": code, "line": made.line, "started_at": at, "at": at, "grams": n, "mix_e4": 0,
                    "pressure_pa": None, "flow_stopped": 0, "cold": 0, "who": "",
                })  # fmt: skip
        book.execute("UPDATE chain SET items = 400 WHERE shop = 'BH'")
    yield made
    made.book.db.close()


@pytest.mark.parametrize("ways", ["usual", "few", "one over the other", "walked"])
@pytest.mark.parametrize("seed", range(6))
def test_a_period_is_listed_whole_in_any_order_and_by_any_way(years, ways, seed, monkeypatch):
    monkeypatch.setattr(lists, "FEW", {"usual": 1_500, "few": 40}.get(ways, 5 if ways == "walked" else 30))
    monkeypatch.setattr(lists, "WALKED", 1e9 if ways == "one over the other" else lists.WALKED)
    monkeypatch.setattr(lists, "MANY", 0 if ways == "walked" else lists.MANY)
    chance = Random(seed)
    for _ in range(12):
        order = chance.choice(KINDS["tires"].orders)
        since = chance.choice([None, chance.randrange(13, 26) * YEAR])
        until = chance.choice([None, (since or 14 * YEAR) + chance.randrange(1, 4 * YEAR)])
        if since is None and until is None:
            continue
        filters = {}
        if chance.random() < 0.5:
            filters["customer"] = f"Customer {chance.randrange(8)}"
        if chance.random() < 0.3:
            filters["state"] = chance.choice(["released", "dispatched", "racked"])
        if chance.random() < 0.3:
            filters["size"] = "12-16.5"
        asked = Asked("tires", "", filters, since, until, order.name, chance.random() < 0.5)
        found = list(lists.every(years.book, "BH", asked, most=9))
        column = {
            "id": "t.item",
            "customer": "t.customer",
            "size": "t.size",
            "taken": "t.taken_at",
            "filled": "f.at",
        }[order.name]
        plain = [
            row
            for row in years.book.rows(
                f"SELECT t.item, t.customer, t.size, p.state, f.at, {column} AS by FROM tire t JOIN place p ON p.item = t.item "
                "JOIN fill f ON f.item = t.item WHERE t.shop = 'BH'"
            )
            if (since is None or row.at >= since) and (until is None or row.at < until)
            and all(row[name] == value for name, value in filters.items())
        ]  # fmt: skip
        plain.sort(key=lambda row: (row.by, row["item"]), reverse=asked.down)
        assert [row["item"] for row in found] == [row["item"] for row in plain], asked
        first = lists.page(years.book, "BH", replace(asked, most=9))
        assert first.many in (None, len(plain)), asked


# -- kept while nothing happened -------------------------------------------------------------------------------------------------
def test_what_is_kept_is_made_again_after_any_event(shop):
    made = []

    def answer():
        made.append(chain.position(shop.book, "BH").seq)
        return made[-1]

    assert [while_unchanged(shop.book, "BH", "test", answer) for _ in range(3)] == made * 3
    shop.tire()
    assert while_unchanged(shop.book, "BH", "test", answer) == chain.position(shop.book, "BH").seq == made[-1]
    assert len(made) == 2
    assert while_unchanged(shop.book, "XX", "test", answer) == made[-1] and len(made) == 3


def test_while_something_is_written_nothing_is_kept(shop):
    made = []
    with shop.book.transaction():
        for _ in range(2):
            while_unchanged(shop.book, "BH", "test", lambda: made.append(1))
    assert len(made) == 2
    while_unchanged(shop.book, "BH", "test", lambda: made.append(1))
    assert len(made) == 3


def test_counts_labels_and_alerts_follow_each_event(shop):
    shop.ready_line()
    assert glance.counts(shop.book, "BH").get("taken in", 0) == 0
    waiting = glance.labels_waiting(shop.book, "BH")["F"]
    tire = shop.tire()
    assert glance.counts(shop.book, "BH")["taken in"] == 1
    assert glance.labels_waiting(shop.book, "BH")["F"] == waiting + 1
    shop.act("print", items=[tire], how="handed out")
    assert glance.labels_waiting(shop.book, "BH")["F"] == waiting
    cup = shop.act("pour cup", line="line 1").ids[0]
    cured = shop.cured()
    shop.lead("release", tire=cured)
    assert later.alerts(shop.book, "BH") == []
    shop.act("read cup", cup=cup, is_set=False)
    assert [one.item for one in later.alerts(shop.book, "BH")] == [cured]
