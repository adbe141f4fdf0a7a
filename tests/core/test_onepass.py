"""One pass over the links gives what :mod:`exposure` gives function by function, on random genealogies."""

import importlib.util
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import exposure
from fillbook.trace.core.exposure import UNKNOWN
from fillbook.trace.core.onepass import Pass

_spec = importlib.util.spec_from_file_location("genealogies", Path(__file__).with_name("genealogies.py"))
genealogies = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(genealogies)


@given(st.integers(0, 10**6), st.booleans(), st.booleans())
@settings(max_examples=40, deadline=None)
def test_one_pass_gives_the_same_bounds_and_the_same_direct_grams(seed, through, of_regrind):
    shop = genealogies.random_shop(seed, steps=30)
    rng = random.Random(seed)
    suspects = set(
        rng.sample(shop.batches, min(2, len(shop.batches))) if of_regrind else rng.sample(shop.totes, 2)
    )
    since = rng.randint(0, 30)

    def may_hold(stream, cut_at):
        return stream != "B" and cut_at is not None and cut_at >= since

    found = Pass(suspects, may_hold, through_regrind=through, unknown=UNKNOWN)
    # a batch's pieces are one group, so its links stand behind one another
    found.rows(sorted(shop.links, key=lambda row: (row.ord, row.child, row.draw, row.stream, row.parent)))
    found.finish()
    bounds = exposure.intervals(
        shop.links, suspects, lambda link: may_hold(link.stream, link.cut_at), through_regrind=through
    )
    direct = exposure.direct(shop.links, suspects)
    for name in shop.items:
        ours = found.value(name)
        for mine, theirs in zip(ours, bounds.get(name, exposure.NOTHING), strict=True):
            assert mine == pytest.approx(theirs, abs=1e-12)
        if name in found.items and name not in suspects:
            assert found.items[name].direct == direct.get(name, exposure.NO_GRAMS)


def test_streams_weighed_together_are_one_group():
    rows = [
        (1, "F-1", "main", "A", "L-1", 0, 50, 60, None, 1),
        (1, "F-1", "main", "R", "RG-1", 0, 50, 60, None, 1),
    ]
    for together, least in ((1, 40), (0, 50)):
        found = Pass({"L-1"}, lambda stream, cut_at: False, unknown=UNKNOWN)
        found.rows([(*row[:9], together) for row in rows])
        found.finish()
        assert found.items["F-1"].direct == exposure.Grams(least, 50, 60 if together else 50)
