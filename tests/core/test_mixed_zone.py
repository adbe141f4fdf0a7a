"""The mixed zone against cases worked out by hand, and against parcels of material that know none of its formulas."""

import importlib.util
import math
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from fillbook.trace.core import mixed_zone
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.flow import Share
from fillbook.trace.core.mixed_zone import Coming, Zone

_spec = importlib.util.spec_from_file_location("flow_parcels", Path(__file__).with_name("flow_parcels.py"))
parcels = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(parcels)

CLEAN_AFTER = 5


def sure(**grams):
    """Shares that are known to the gram."""
    return tuple(Share(parent, g, g, g) for parent, g in grams.items())


def one_of_each(a, b, r=None, *, mix=0.4, grams=100_000):
    """A draw of one tote a side, and one batch."""
    amounts = {
        "A": (a, grams * (1 - mix) / 2),
        "B": (b, grams * (1 - mix) / 2),
        "R": (r, grams * mix if r else 0),
    }
    found = {}
    for stream, (parent, g) in amounts.items():
        shares = sure(**{parent: round(g)}) if parent and g else ()
        found[stream] = Coming(round(g), shares, shares)
    return found


def by_parent(drawn):
    return {share.parent: share for shares in drawn.streams.values() for share in shares}


def test_a_known_content_goes_into_the_next_tire_by_the_balance_of_masses():
    # 2 kg at 30 % side A: 600 g of the first tote's are in the tube when the tote is changed, and in the next tire
    zone, drawn = mixed_zone.draw(Zone(2000, 2000), one_of_each("L1", "L2", "G1"), 0)
    assert by_parent(drawn) == {
        "L1": Share("L1", 30_000, 30_000, 30_000), "L2": Share("L2", 30_000, 30_000, 30_000), "G1": Share("G1", 40_000, 40_000, 40_000),
    }  # fmt: skip
    assert mixed_zone.content(zone) == {("A", "L1"): 600, ("B", "L2"): 600, ("R", "G1"): 800}
    zone, drawn = mixed_zone.draw(zone, one_of_each("L3", "L2", "G1"), 60)
    assert not drawn.together
    found = by_parent(drawn)
    assert found["L1"] == Share("L1", 600, 600, 600)
    assert found["L3"] == Share("L3", 29_400, 29_400, 29_400)
    assert found["L2"].least_g == 30_000
    assert mixed_zone.content(zone) == {("A", "L3"): 600, ("B", "L2"): 600, ("R", "G1"): 800}


def test_where_the_mix_changes_the_streams_are_weighed_together():
    # 1 to 3 kg at 40 % regrind, then none: the next tire holds 0.4 to 1.2 kg of the batch, though no regrind was drawn for it
    zone, _ = mixed_zone.draw(Zone(1000, 3000), one_of_each("L1", "L2", "G1"), 0)
    zone, drawn = mixed_zone.draw(zone, one_of_each("L1", "L2", mix=0.0), 60)
    assert drawn.together
    found = by_parent(drawn)
    assert (found["G1"].least_g, found["G1"].best_g, found["G1"].most_g) == (400, 800, 1200)
    assert (found["L1"].least_g, found["L1"].best_g, found["L1"].most_g) == (49_400, 49_600, 49_800)
    assert sum(share.best_g for share in found.values()) == 100_000
    _, drawn = mixed_zone.draw(zone, one_of_each("L1", "L2", mix=0.0), 120)
    assert not drawn.together and "G1" not in by_parent(drawn)


def test_with_its_content_known_a_change_of_mix_leaves_no_doubt():
    zone, _ = mixed_zone.draw(Zone(2000, 2000), one_of_each("L1", "L2", "G1"), 0)
    _, drawn = mixed_zone.draw(zone, one_of_each("L1", "L2", mix=0.0), 60)
    assert not drawn.together
    assert by_parent(drawn)["G1"] == Share("G1", 800, 800, 800)


def test_a_zone_that_was_blown_out_carries_nothing_over():
    zone, _ = mixed_zone.draw(Zone(1000, 3000), one_of_each("L1", "L2", "G1"), 0)
    _, drawn = mixed_zone.draw(mixed_zone.blow_out(zone), one_of_each("L3", "L4", mix=0.0), 60)
    assert by_parent(drawn) == {
        "L3": Share("L3", 50_000, 50_000, 50_000),
        "L4": Share("L4", 50_000, 50_000, 50_000),
    }


def test_one_that_stood_so_long_that_it_may_have_been_blown_out_may_carry_over_or_not():
    zone, _ = mixed_zone.draw(Zone(2000, 2000), one_of_each("L1", "L2", "G1"), 0)
    _, drawn = mixed_zone.draw(zone, one_of_each("L3", "L2", "G1"), 9000, perhaps_blown_out=True)
    found = by_parent(drawn)
    assert found["L1"] == Share("L1", 0, 0, 600)
    assert found["L3"] == Share("L3", 29_400, 30_000, 30_000)


def test_a_draw_smaller_than_the_content_leaves_some_of_what_was_there():
    zone, _ = mixed_zone.draw(Zone(2000, 2000), one_of_each("L1", "L2", mix=0.0), 0)
    zone, drawn = mixed_zone.draw(zone, one_of_each("L3", "L2", mix=0.0, grams=600), 60)
    found = by_parent(drawn)
    assert found["L1"] == Share("L1", 0, 300, 300)  # 1000 g of it were there, and 300 g of the side came out
    zone, drawn = mixed_zone.draw(zone, one_of_each("L3", "L2", mix=0.0, grams=50_000), 120)
    assert by_parent(drawn)["L1"].most_g == 1000  # all of it, if the small draw pushed out none
    assert by_parent(drawn)["L1"].least_g <= 700 <= by_parent(drawn)["L1"].most_g
    _, drawn = mixed_zone.draw(zone, one_of_each("L3", "L2", mix=0.0), 180)
    assert "L1" not in by_parent(drawn)


def test_a_draw_of_nothing_changes_nothing():
    zone, _ = mixed_zone.draw(Zone(2000, 2000), one_of_each("L1", "L2", "G1"), 0)
    assert mixed_zone.draw(zone, one_of_each("L3", "L2", grams=0), 60) == (
        zone, mixed_zone.Drawn({"A": (), "B": (), "R": ()}, together=False),
    )  # fmt: skip


def test_limits_that_contradict_each_other_are_refused_and_a_damaged_state_is_named():
    with pytest.raises(Nonsense, match="at least 3 g and at most 2 g"):
        Zone(3, 2)
    with pytest.raises(Nonsense, match="derive the line again"):
        mixed_zone.from_plain([1, 2])


def test_it_reads_what_it_wrote():
    zone, _ = mixed_zone.draw(Zone(1000, 3000), one_of_each("L1", "L2", "G1"), 17)
    assert mixed_zone.from_plain(mixed_zone.to_plain(zone)) == zone


# -- against parcels -----------------------------------------------------------------------------------------------------------
def whole(grams):
    """What a list of (parent, grams) holds, in whole grams that may be a gram off either way."""
    return tuple(Share(name, math.floor(g), round(g), math.ceil(g)) for name, g in grams.items() if g > 0)


def a_draw(random, on, grams, mix):
    """What truly comes: by stream a list of (parent, grams) in its order, the tote of a side changed within the draw or not."""
    coming = {}
    for stream, share in (("A", (1 - mix) / 2), ("B", (1 - mix) / 2), ("R", mix)):
        of, order = grams * share, []
        if of and random.random() < 0.3:
            early = of * random.random()
            order.append((on[stream], early))
            on[stream] = f"{stream}{random.randint(1, 10**6)}"
            of -= early
        if of:
            order.append((on[stream], of))
        coming[stream] = order
    return coming


def cut(order, start, end):
    """The part of a list of (parent, grams) between two places in it."""
    found, at = Counter(), 0.0
    for name, grams in order:
        part = min(end, at + grams) - max(start, at)
        if part > 0:
            found[name] += part
        at += grams
    return found


def push(tube, coming, grams, out):
    """Push the draw through the tube in small steps, each one mixture of the three streams."""
    steps = max(1, round(grams / tube.content * 10))
    for step in range(steps):
        mixture = Counter()
        for stream, order in coming.items():
            of = sum(g for _, g in order)
            for name, g in cut(order, of * step / steps, of * (step + 1) / steps).items():
                mixture[stream, name] += g
        out.update(tube.push(mixture))


@pytest.mark.parametrize("seed", range(20))
def test_what_truly_comes_out_lies_within_the_bounds(seed):
    random = Random(seed)
    low = random.choice((500, 1500, 3000))
    high = low + random.choice((0, 0, 400, 2000))
    tube = parcels.Tube(parcels.somewhere(random, low, high), spread=random.random(), clean_after=CLEAN_AFTER)
    zone, on = Zone(low, high), {stream: f"{stream}0" for stream in "ABR"}
    for _ in range(25):
        grams = random.choice((300, 1000, 2500, 8000, 40_000, 150_000))
        mix = random.choice((0.0, 0.2, 0.4, 0.4))
        known, perhaps = random.random() < 0.15, random.random() < 0.2
        if known:
            zone = mixed_zone.blow_out(zone)
        if known or (perhaps and random.random() < 0.5):
            tube.blow_out()
        more = tube.content if tube.is_empty else 0.0
        truly = a_draw(random, on, grams + more, mix)
        if more:  # what comes first fills it
            parts, after = Counter(), {}
            for stream, order in truly.items():
                of = sum(g for _, g in order)
                first = of * more / (grams + more)
                for name, g in cut(order, 0, first).items():
                    parts[stream, name] += g
                after[stream] = list(cut(order, first, of).items())
            tube.fill(parts)
        else:
            after = truly
        out = Counter()
        push(tube, after, grams, out)
        last_g = mixed_zone.window(zone, grams, 0, CLEAN_AFTER)
        coming = {}
        for stream, order in truly.items():
            of = sum(g for _, g in order)
            written = grams / (grams + more)  # the book's draw weighs what went into the tire
            scaled = [(name, g * written) for name, g in order]
            coming[stream] = Coming(
                round(of * written), whole(dict(cut(scaled, 0, of))),
                whole(dict(cut(scaled, of * written * (1 - last_g / grams), of))),
            )  # fmt: skip
        zone, drawn = mixed_zone.draw(zone, coming, 0, after_contents=CLEAN_AFTER, perhaps_blown_out=perhaps)
        total = sum(one.grams for one in coming.values())
        assert sum(share.best_g for shares in drawn.streams.values() for share in shares) == total
        for stream in "ABR":
            shares = {share.parent: share for share in drawn.streams[stream]}
            for name in {name for of, name in out if of == stream} | set(shares):
                got, share = out[stream, name], shares.get(name, Share(name, 0, 0, 0))
                assert 0 <= share.least_g <= share.best_g <= share.most_g
                assert share.least_g - 3 <= got <= share.most_g + 3, (
                    stream,
                    name,
                    got,
                    share,
                    drawn.together,
                )
            if not drawn.together:
                assert sum(share.best_g for share in shares.values()) == pytest.approx(
                    sum(got for (of, _), got in out.items() if of == stream), abs=4
                )


def test_an_uncut_content_is_seen_by_the_parcels():
    """The comparison can fail: with half the content the bounds no longer hold."""
    tube = parcels.Tube(3000, spread=0, clean_after=CLEAN_AFTER)
    tube.fill(Counter({("A", "L1"): 1500, ("B", "L2"): 1500}))
    out = Counter()
    push(tube, {"A": [("L3", 5000)], "B": [("L2", 5000)]}, 10_000, out)
    zone, _ = mixed_zone.draw(Zone(1500, 1500), one_of_each("L1", "L2", mix=0.0), 0)
    _, drawn = mixed_zone.draw(zone, one_of_each("L3", "L2", mix=0.0, grams=10_000), 60)
    assert out["A", "L1"] == pytest.approx(1500) and by_parent(drawn)["L1"].most_g == 750
