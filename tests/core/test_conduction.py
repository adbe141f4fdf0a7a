"""Heat conduction into a wall and a cylinder, against the handbooks' table, the half-space, scipy's Bessel functions and fine steps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from fillbook.trace.core import conduction, limits
from fillbook.trace.core.errors import Nonsense


# Incropera and others, Fundamentals of Heat and Mass Transfer, table 5.1: ζ₁ and C₁ by Biot number (from memory)
@pytest.mark.parametrize(
    ("bi", "wall", "cylinder"),
    [
        (0.1, (0.3111, 1.0160), (0.4417, 1.0246)),
        (1.0, (0.8603, 1.1191), (1.2558, 1.2071)),
        (10.0, (1.4289, 1.2620), (2.1795, 1.5677)),
        (100.0, (1.5552, 1.2731), (2.3809, 1.6015)),
    ],
)
def test_the_first_root_and_its_constant(bi, wall, cylinder):
    for shape, (zeta, c) in (("wall", wall), ("cylinder", cylinder)):
        found = conduction._roots(shape, bi)[0]
        assert found[0] == pytest.approx(zeta, abs=1.5e-4) and found[1] == pytest.approx(c, abs=1.5e-4)


def test_the_surface_at_the_airs_temperature_has_the_known_first_terms():
    """4/π and π/2 of the wall; the first zero of J₀, 2.4048, of the cylinder (Abramowitz and Stegun, table 9.5, from memory)."""
    (zeta, c), *_ = conduction._roots("wall", math.inf)
    assert (zeta, c) == pytest.approx((math.pi / 2, 4 / math.pi))
    assert conduction._roots("cylinder", math.inf)[0][0] == pytest.approx(2.4048256)


@pytest.mark.parametrize("x", [0.0, 0.5, 1.0, 2.4048, 5.0, 13.3, 50.0])
def test_bessel_functions_agree_with_scipy(x):
    assert conduction.j0(x) == pytest.approx(special.j0(x), abs=1e-12)
    assert conduction.j1(x) == pytest.approx(special.j1(x), abs=1e-12)


@pytest.mark.parametrize("fo", [0.01, 0.02, 0.04])
@pytest.mark.parametrize("place", [0.8, 0.9])
def test_a_short_time_is_that_of_the_half_space(fo, place):
    """θ = erf(depth / 2√(αt)), Carslaw and Jaeger §2.4, while the far side is not felt."""
    assert conduction.left("wall", fo, math.inf, place) == pytest.approx(
        math.erf((1 - place) / (2 * math.sqrt(fo))), abs=2e-4
    )


@pytest.mark.parametrize(("shape", "power"), [("wall", 0), ("cylinder", 1)])
@pytest.mark.parametrize("bi", [0.5, 3.0])
def test_the_middle_agrees_with_fine_steps(shape, power, bi):
    """Explicit finite volumes on 60 shells, in units of Fo."""
    n, end = 60, 0.6
    dx = 1 / n
    x = (np.arange(n) + 0.5) * dx
    edge = (np.arange(n + 1) * dx) ** power
    dt = dx * dx / 4
    theta = np.ones(n)
    for _ in range(round(end / dt)):
        flow = np.zeros(n + 1)
        flow[1:-1] = edge[1:-1] * (theta[1:] - theta[:-1]) / dx
        flow[-1] = -edge[-1] * theta[-1] / (1 / bi + dx / 2)
        theta = theta + dt * (flow[1:] - flow[:-1]) / (dx * x**power)
    assert conduction.left(shape, end, bi, float(x[0])) == pytest.approx(theta[0], abs=1.5e-3)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["wall", "cylinder"]),
    st.floats(0.02, 4),
    st.sampled_from([0.2, 1.0, 8.0, math.inf]),
    st.floats(0, 1),
)
def test_it_only_ever_comes_nearer(shape, fo, bi, place):
    now, later = conduction.left(shape, fo, bi, place), conduction.left(shape, fo * 1.1, bi, place)
    assert -1e-9 <= later <= now <= 1


@settings(max_examples=30, deadline=None)
@given(st.sampled_from(["wall", "cylinder"]), st.floats(0.01, 0.3), st.floats(0.2, 0.95))
def test_twice_as_thick_takes_four_times_as_long_and_air_makes_it_longer(shape, reach, share):
    once = conduction.seconds_until(shape, reach, share)
    assert conduction.seconds_until(shape, 2 * reach, share) == pytest.approx(4 * once, rel=1e-6)
    assert conduction.seconds_until(shape, reach, share, film=conduction.STILL_AIR) > once


@pytest.mark.parametrize(
    "call",
    [
        lambda: conduction.left("wall", -1),
        lambda: conduction.left("wall", 1, 0),
        lambda: conduction.seconds_until("wall", 0, 0.5),
    ],
)
def test_numbers_that_cannot_be_are_refused(call):
    with pytest.raises(Nonsense, match="conduction estimate"):
        call()


@pytest.mark.parametrize("section", ["small", "medium", "large"])
def test_the_default_lag_lies_between_the_least_time_and_that_in_still_air(section):
    least, still = conduction.lag_seconds(section)
    assert 0.9 * least <= limits.LIMITS[f"lag_{section}"].default <= still


def test_the_estimate_stands_beside_the_limits_it_is_about():
    assert "Conduction estimate: 18 mm" in limits.why("lag_small") and "Conduction estimate" in limits.why(
        "cold_large"
    )
    assert limits.why("pot_life") == limits.LIMITS["pot_life"].why
