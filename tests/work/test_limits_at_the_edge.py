"""A limit may be set to any value a shop can mean; none of them may stop the line's book."""

import pytest

from fillbook.trace.book import queries
from fillbook.trace.core import limits
from fillbook.trace.core.errors import Nonsense

EDGES = {
    "mass": ("0 kg", "1 g", "30000 kg"), "temperature": ("-40 c", "90 c"), "temperature_difference": ("0 dc", "20 dc"), "duration": ("0 h", "8760 h"),
    "share": ("0 pct", "100 pct"), "pressure": ("0 kpa", "3000 kpa"), "length": ("0 mm", "1000 mm"), "count": ("0", "1", "1000"),
}  # fmt: skip
CASES = [(name, value) for name, one in limits.LIMITS.items() for value in EDGES.get(one.dimension, ())]


@pytest.mark.parametrize(("name", "value"), CASES)
def test_a_day_goes_on_with_any_limit(shop, name, value):
    """Refused with the reason, or lived with: the fills, their links and the racks still work."""
    try:
        shop.lead(
            "set limit", limit=name, to=value, source="the owner's word", from_when=shop.ago(minutes=30)
        )
    except Nonsense as refused:
        assert refused.field == "to"
        return
    shop.ready_line()
    first = _filled(shop)
    shop.hook_up(shop.tote("A"), change="ran dry", who="Lee", override="as it is")
    second = _filled(shop)
    for tire in (first, second):
        assert sum(best for _, best, _ in shop.links(tire).values()) == queries.fill(shop.book, tire).grams
    shop.check()


def _filled(shop):
    tire = shop.tire()
    shop.lead("start fill", tire=tire, line="line 1", override="as it is")
    shop.wait(minutes=10)
    shop.act("finish fill", tire=tire, weight_kg=100, pressure_psi=60)
    return tire


def test_every_dimension_has_its_edges():
    assert {one.dimension for one in limits.LIMITS.values()} <= set(EDGES)
