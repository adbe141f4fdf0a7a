"""What the demo's story is made of: material that flows as published curves say, tires that take what fits into them."""

import math
from datetime import date
from itertools import pairwise
from random import Random

import pytest

from fillbook.fixtures import diary, names
from fillbook.fixtures.dock import Dock
from fillbook.fixtures.material import BEFORE, ELSEWHERE, Hopper, Hose, Ledger
from fillbook.fixtures.shopfloor import Written, pounds
from fillbook.fixtures.weather import Weather
from fillbook.fixtures.world import World
from fillbook.trace.core import ids, units


def plug(theta):
    return 1.0 if theta >= 1 else 0.0


def laminar(theta):
    """The convective model, F = 1 − 1/(4θ²): O. Levenspiel, Chemical Reaction Engineering, 3rd ed., pp. 343-344."""
    return max(0.0, 1 - 1 / (4 * theta**2))


@pytest.mark.parametrize("spread", [0, 0.5, 1])
def test_a_hose_mixes_no_less_than_plug_and_no_more_than_laminar_flow(spread):
    hose, step = Hose(1000, spread), 10
    hose.connected = "new"
    for n in range(1, 400):
        new = hose.draw(step).get("new", 0.0) / step
        before, after = (n - 1) * step / 1000 + 1e-9, n * step / 1000  # contents drawn
        assert min(plug(before), laminar(before)) - 1e-9 <= new <= max(plug(after), laminar(after)) + 1e-9


def test_a_hose_gives_what_is_drawn_and_nothing_else():
    hose, random = Hose(4200, 0.8), Random(1)
    for n in range(40):
        hose.connected = f"tote {n // 5}"
        grams = random.uniform(10, 9_000)
        assert sum(hose.draw(grams).values()) == pytest.approx(grams)


def test_a_hose_that_ran_dry_is_filled_by_the_next_tote():
    hose = Hose(4000, 1)
    assert set(hose.draw(1200, dry=True)) == {BEFORE}
    hose.connected = "next"
    assert sum(hose.draw(40_000).values()) == pytest.approx(40_000)
    assert set(hose.draw(100)) == {"next"}


# F of one and of three well-mixed tanks at θ = 0.5, 1, 2, 3: R. B. MacMullin and M. Weber, Trans. AIChE 31 (1935) 409-458; the
# figures were computed with polykin 0.8.0 (reactors.rtd).
TANKS = {1: (0.3934693, 0.6321206, 0.8646647, 0.9502129), 3: (0.1911532, 0.5768099, 0.9380312, 0.9937678)}


@pytest.mark.parametrize("zones", TANKS)
def test_a_hopper_that_is_kept_full_washes_out_as_tanks_in_series(zones):
    hopper, step = Hopper(1000, zones), 5
    got, drawn = [], 0
    while len(got) < 4:
        hopper.pour("new", step)
        out = hopper.draw(step)
        drawn += step
        if drawn in (500, 1000, 2000, 3000):
            got.append(out.get("new", 0) / step)
    assert got == pytest.approx(TANKS[zones], abs=0.012)
    assert hopper.level == pytest.approx(1000) and sum(
        sum(zone.values()) for zone in hopper.zones
    ) == pytest.approx(1000)


def test_an_emptied_hopper_holds_only_what_is_poured_in_next():
    hopper = Hopper(80_000, 3)
    hopper.empty()
    hopper.pour("bin", 60_000)
    assert hopper.draw(20_000) == pytest.approx({"bin": 20_000})


def test_the_ledger_follows_a_lot_through_regrind():
    """Half a tire's side B is of lot X, the tire is half regrind: an eighth, ground with as much again, and half of that."""
    ledger = Ledger()
    ledger.lot_of |= {"a": "S/A1", "x": "S/X", "y": "S/Y"}
    ledger.side_of |= {"S/A1": "A", "S/X": "B", "S/Y": "B"}
    ledger.liquid("tire 1", {"a": 25_000, "x": 12_500, "y": 12_500})
    ledger.regrind("tire 1", {ELSEWHERE: 50_000})
    assert (ledger.share("tire 1", "S/X"), ledger.share_of_side("tire 1", "S/X")) == (0.125, 0.5)
    ledger.regrind("batch", {"tire 1": 90_000, ELSEWHERE: 90_000})
    ledger.regrind("tire 2", {"batch": 50_000})
    ledger.liquid("tire 2", {"a": 25_000, "y": 25_000})
    assert ledger.share("tire 2", "S/X") == pytest.approx(0.125 / 4)
    assert ledger.share_of_side("tire 2", "S/X") == 0


@pytest.mark.parametrize("size", names.SIZES, ids=lambda size: size.name)
def test_a_fill_is_what_fits_into_the_casing(size):
    """An elliptic torus, V = 2π²Rab (Pappus), with the casing taken off; and less than the whole outside ring could hold."""
    height = (size.overall_in - size.rim_in) / 2
    radius = (size.overall_in + size.rim_in) / 4
    inside = 2 * math.pi**2 * radius * (0.46 * size.section_in) * (0.44 * height) * 2.54**3 * 1.06
    assert size.fill_g == round(inside)
    assert size.fill_g < 2 * math.pi**2 * radius * (size.section_in / 2) * (height / 2) * 2.54**3 * 1.06


def test_pounds_are_read_as_the_book_reads_them():
    random = Random(3)
    for _ in range(300):
        weight = pounds(random.uniform(400, 1_100_000), random.choice((0, 1)))
        assert units.parse("mass", "lb", weight.said).value == weight.grams


def test_the_heating_falls_off_and_comes_back():
    weather = Weather(1, {"rack": 76.0}, off=100_000, on=320_000)
    assert weather.at("rack", 99_999) > 74
    assert weather.at("rack", 319_999) < 60
    assert weather.at("rack", 320_000 + 12 * 3600) > 74
    samples = weather.samples("rack", 100_000, 200_000)
    assert {b[0] - a[0] for a, b in pairwise(samples)} == {600}
    assert samples[0][0] > 100_000 and samples[-1][0] <= 200_000


def test_jobs_go_on_side_by_side_in_the_order_of_time():
    seen, book = [], diary.Diary()

    def job(name, *waits):
        for wait in waits:
            seen.append((book.now, name))
            yield wait

    book.start(100, job("slow", 50, 50, 50))
    book.start(110, job("quick", 10, 10))
    book.live(160)
    assert seen == [(100, "slow"), (110, "quick"), (120, "quick"), (150, "slow")]
    book.live(1_000)
    assert seen[-1] == (200, "slow")


@pytest.mark.parametrize(
    ("day", "works"),
    [
        (date(2026, 9, 7), False),  # Labor Day
        (date(2026, 11, 26), False),  # Thanksgiving
        (date(2026, 11, 27), True),
        (date(2026, 11, 28), False),  # a Saturday
        (date(2026, 12, 25), False),
    ],
)
def test_the_shop_is_closed_on_weekends_and_holidays(day, works):
    assert diary.is_open(day) is works


class NoBook:
    """Hands that only count: the truck needs IDs, whoever gives them."""

    def __init__(self):
        self.count, self.done = 0, []

    def do(self, verb, now, who, fields, **more):
        new = [f"tote {self.count + n}" for n in range(fields.get("totes", 0))]
        self.count += len(new)
        self.done.append((verb, fields))
        return Written(len(self.done), tuple(new), ())


def test_the_bad_lot_comes_with_one_truck_and_no_other_bears_its_number():
    hands = NoBook()
    world = World(hands, Random(9), Weather(9, {"rack": 76.0}, 10**9, 2 * 10**9))
    dock = Dock(world)
    dock.truck(names.RX, bad=True)
    for _ in range(60):
        dock.truck(names.RX)
    received = [
        (fields["lot"], fields["totes"], fields["side"]) for verb, fields in hands.done if verb == "receive"
    ]
    assert [one for one in received if one[0] == names.BAD_LOT] == [(names.BAD_LOT, 2, "B")]
    lots = [lot for lot, _, _ in received]
    assert len(set(lots)) == len(lots)


def test_nobody_and_nothing_of_the_invented_shop_is_named_twice():
    people = [names.OWNER, names.LEAD, *names.HANDS]
    assert len(set(people)) == len(people)
    assert ids.site_ok(names.SITE) and {who for pair in names.FILLERS.values() for who in pair} <= set(
        names.HANDS
    )
    assert all(
        size in {s.name for s in names.SIZES} for customer in names.CUSTOMERS for size in customer.sizes
    )
