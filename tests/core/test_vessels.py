"""Residence-time curves against published figures and against integrals taken by another program."""

from __future__ import annotations

import math
from functools import partial
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, special

from fillbook.trace.core import vessels

# Figures of F at θ, recomputed from the formulas of O. Levenspiel, Chemical Reaction Engineering, 3rd ed., pp. 343-344 (laminar,
# the convective model) and R. B. MacMullin and M. Weber, Trans. AIChE 31 (1935) 409-458 (tanks in series).
# The F values were compared with the library polykin 0.8.0 (reactors.rtd): they agree to 1e-9. Φ is from the closed forms.
THETA = (0.25, 0.5, 0.75, 1, 1.5, 2, 3, 5, 10)
F_LAMINAR = (0, 0, 0.5555555556, 0.75, 0.8888888889, 0.9375, 0.9722222222, 0.99, 0.9975)
F_TANKS = {
    1: (
        0.2211992169, 0.3934693403, 0.5276334473, 0.6321205588, 0.7768698399, 0.8646647168, 0.9502129316, 0.993262053,
        0.9999546001,
    ),
    2: (
        0.0902040104, 0.2642411177, 0.4421745996, 0.5939941503, 0.8008517265, 0.9084218056, 0.9826487348, 0.9995006008,
        0.9999999567,
    ),
    3: (
        0.0405054397, 0.1911531695, 0.390660733, 0.5768099189, 0.8264219291, 0.9380311956, 0.9937678049, 0.9999606916,
        1.0,
    ),
    5: (
        0.0091242792, 0.1088219811, 0.3224523639, 0.5595067149, 0.8679381437, 0.9707473119, 0.9991433588, 0.9999997331,
        1.0,
    ),
}  # fmt: skip
PHI_LAMINAR = (0, 0, 0.0833333333, 0.25, 0.6666666667, 1.125, 2.0833333333, 4.05, 9.025)
PHI_STIRRED = (
    0.0288007831, 0.1065306597, 0.2223665527, 0.3678794412, 0.7231301601, 1.1353352832, 2.0497870684, 4.006737947,
    9.0000453999,
)  # fmt: skip

thetas = st.floats(0, 60)
kinds = st.sampled_from(vessels.KINDS)
clean_after = st.integers(1, 12)


def family(kind, theta):
    """F of every curve a vessel may follow, as written in the books."""
    mixed = [1 - 1 / (4 * theta**2) if theta > 0.5 else 0.0]
    if kind == "hopper":
        mixed = [float(special.gammainc(n, n * theta)) for n in (1, 2, 3, 4, 5)]
    return [1.0 if theta >= 1 else 0.0, *mixed]


@pytest.mark.parametrize(("theta", "f", "phi"), list(zip(THETA, F_LAMINAR, PHI_LAMINAR, strict=True)))
def test_laminar_hose_as_published(theta, f, phi):
    assert vessels.laminar_f(theta) == pytest.approx(f, abs=6e-11)
    assert vessels.laminar_phi(theta) == pytest.approx(phi, abs=6e-11)


@pytest.mark.parametrize("n", F_TANKS)
def test_tanks_in_series_as_published(n):
    assert [vessels.tanks_f(theta, n) for theta in THETA] == pytest.approx(F_TANKS[n], abs=6e-11)


def test_stirred_hopper_as_published():
    assert [vessels.stirred_f(theta) for theta in THETA] == pytest.approx(F_TANKS[1], abs=6e-11)
    assert [vessels.stirred_phi(theta) for theta in THETA] == pytest.approx(PHI_STIRRED, abs=6e-11)


def test_old_share_after_a_change_as_the_handbooks_say():
    """Laminar 25 % after one content, 6.25 % after two, 1 % after five; stirred 36.8 %, 13.5 %, 0.67 %."""
    assert [round(1 - vessels.laminar_f(theta), 4) for theta in (1, 2, 5)] == [0.25, 0.0625, 0.01]
    assert [round(1 - vessels.stirred_f(theta), 4) for theta in (1, 2, 5)] == [0.3679, 0.1353, 0.0067]


def test_many_tanks_come_close_to_plug():
    assert vessels.tanks_f(0.8, 150) < 0.01
    assert vessels.tanks_f(1.2, 150) > 0.99


@given(st.floats(0, 40), st.integers(1, 9))
def test_tanks_agree_with_the_incomplete_gamma_function(theta, n):
    assert vessels.tanks_f(theta, n) == pytest.approx(
        float(special.gammainc(n, n * theta)), rel=1e-11, abs=1e-300
    )


CURVES = {
    "plug": (vessels.plug_f, vessels.plug_phi),
    "laminar": (vessels.laminar_f, vessels.laminar_phi),
    "stirred": (vessels.stirred_f, vessels.stirred_phi),
    **{
        f"{n} tanks": (partial(vessels.tanks_f, n=n), partial(vessels.tanks_phi, n=n))
        for n in (2, 3, 4, 5, 8)
    },
}
for _kind in vessels.KINDS:
    CURVES[f"highest {_kind}"] = (partial(vessels.highest_f, _kind), partial(vessels.highest_phi, _kind))
    for _k in (1, 2, 5):
        CURVES[f"likely {_kind} clean after {_k}"] = (
            partial(vessels.likely_f, _kind, clean_after=_k),
            partial(vessels.likely_phi, _kind, clean_after=_k),
        )
        CURVES[f"lowest {_kind} clean after {_k}"] = (
            partial(vessels.lowest_f, _kind, clean_after=_k),
            partial(vessels.lowest_phi, _kind, clean_after=_k),
        )


@pytest.mark.parametrize(
    "theta", [1e-6, 0.003, 0.4, 0.51, 0.999, 1, 1.0001, 1.09, 1.2, 1.3, 2, 4.7, 5, 5.2, 9, 31]
)
@pytest.mark.parametrize("curve", CURVES)
def test_integrals_agree_with_quadrature(curve, theta):
    """scipy.integrate.quad, cut at every place where a curve steps or bends."""
    f, phi = CURVES[curve]
    cuts = [
        0,
        *(c for c in (0.5, 1, *(start for start, _ in vessels.LOWEST_TANKS), 2, 5) if c < theta),
        theta,
    ]
    cuts = sorted(set(cuts))
    pieces = [
        integrate.quad(f, left, right, epsabs=0, epsrel=1e-12)[0] if f(math.nextafter(right, 0)) else 0.0
        for left, right in pairwise(cuts)
    ]
    assert phi(theta) == pytest.approx(math.fsum(pieces), rel=1e-9, abs=1e-300)


@given(kinds, thetas, clean_after)
def test_no_curve_of_the_family_leaves_the_bounds(kind, theta, k):
    values = family(kind, theta)
    assert vessels.highest_f(kind, theta) == pytest.approx(max(values), abs=1e-12)
    if theta < k:
        assert vessels.lowest_f(kind, theta, k) == pytest.approx(min(values), abs=1e-12)
        assert vessels.likely_f(kind, theta, k) == pytest.approx(values[1], abs=1e-12)
    else:
        assert vessels.lowest_f(kind, theta, k) == vessels.likely_f(kind, theta, k) == 1


def test_where_another_number_of_tanks_becomes_the_lowest():
    """The crossings found again with scipy.optimize.brentq on the incomplete gamma function."""
    assert [n for _, n in vessels.LOWEST_TANKS] == [5, 4, 3, 2, 1]
    for start, n in vessels.LOWEST_TANKS[1:]:
        crossing = optimize.brentq(
            lambda x, n=n: special.gammainc(n, n * x) - special.gammainc(n + 1, (n + 1) * x), 1.01, 1.5
        )
        assert start == pytest.approx(crossing, abs=1e-9)


@given(kinds, st.floats(0, 1e5), st.integers(0, 3000), st.integers(0, 3000), clean_after)
def test_least_likely_most_in_that_order(kind, u, lo, more, k):
    hi = lo + more
    least, most = vessels.least_left(kind, u, hi, k), vessels.most_left(kind, u, lo)
    assert -1e-9 <= least <= most + 1e-9 <= u + 2e-9
    for content in (lo, (lo + hi) / 2, hi):
        assert least - 1e-7 <= vessels.likely_left(kind, u, content, k) <= most + 1e-7


@pytest.mark.parametrize("kind", vessels.KINDS)
def test_an_empty_vessel_gives_what_enters_at_once(kind):
    assert (
        vessels.likely_left(kind, 700, 0, 5)
        == vessels.most_left(kind, 700, 0)
        == vessels.least_left(kind, 700, 0, 5)
        == 700
    )


@pytest.mark.parametrize("kind", vessels.KINDS)
def test_nothing_has_left_of_what_has_not_entered(kind):
    assert (
        vessels.likely_left(kind, -1, 10, 5)
        == vessels.most_left(kind, -1, 0)
        == vessels.least_left(kind, -1, 0, 5)
        == 0
    )
