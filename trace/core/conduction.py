"""How slowly a tire follows the room: heat conduction in one dimension, as a reason beside the shop's lag and cold-start hours.

The plane wall and the long cylinder, at one temperature, put into air of another: the series of the handbooks (Incropera and others,
*Fundamentals of Heat and Mass Transfer*, ch. 5; Carslaw and Jaeger, *Conduction of Heat in Solids*, ch. III and VII). θ is what is
left of the first difference, 1 at the start and 0 in the end; the Fourier number Fo = α t / L² and the Biot number Bi = h L / k rule
it alone. L is half a wall that is warmed from both sides, a whole one that is warmed from one side only, or a cylinder's radius.

    wall:      θ = Σ Cₙ exp(−ζₙ² Fo) cos(ζₙ x/L),   ζ tan ζ = Bi,            Cₙ = 4 sin ζ / (2 ζ + sin 2ζ)
    cylinder:  θ = Σ Cₙ exp(−ζₙ² Fo) J₀(ζₙ r/R),    ζ J₁(ζ)/J₀(ζ) = Bi,      Cₙ = 2 J₁(ζ) / (ζ (J₀²(ζ) + J₁²(ζ)))

This is an estimate: heat of reaction, tread bars, wheel and bead are left out, and the materials' figures are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Literal

from fillbook.trace.core import units
from fillbook.trace.core.errors import Nonsense

Shape = Literal["wall", "cylinder"]
TERMS = 16  # enough from Fo = 0.005 on

# Rubber and cured polyurethane, order of magnitude (from memory): k 0.2 W/(m K), density 1 150 kg/m³, heat 1 700 J/(kg K)
DIFFUSIVITY = 1.0e-7  # m²/s
CONDUCTIVITY = 0.2  # W/(m K)
STILL_AIR = 8.0  # W/(m² K), natural convection and radiation in a room (from memory)


def left(shape: Shape, fo: float, bi: float = math.inf, place: float = 0.0) -> float:
    """What is left of the first difference of temperature at *place* (0 the middle, 1 the surface) after the Fourier number *fo*.

    *bi* is infinite where the surface takes the air's temperature at once.

    >>> round(left("wall", 1.0, math.inf), 4), round(left("cylinder", 0.5, math.inf), 4)
    (0.108, 0.0889)

    Raises Nonsense for numbers below nothing.
    """
    if fo < 0 or bi <= 0 or not 0 <= place <= 1:
        raise Nonsense(
            "A conduction estimate takes a Fourier number of 0 or more, a Biot number above 0 and a place from 0 to 1."
        )
    if fo == 0:
        return 1.0
    shape_of: Callable[[float], float] = math.cos if shape == "wall" else j0
    total = 0.0
    for zeta, c in _roots(shape, bi):
        fade = math.exp(-zeta * zeta * fo)
        total += c * fade * (shape_of(zeta * place) if place else 1.0)
        if fade < 1e-18:
            break
    return min(1.0, total)


def seconds_until(
    shape: Shape,
    reach_m: float,
    share: float,
    *,
    film: float | None = None,
    place: float = 0.0,
    diffusivity: float = DIFFUSIVITY,
) -> float:
    """Seconds until *place* has gone *share* (0 to 1) of the way to the air's temperature.

    *reach_m*: half a wall's thickness, or the radius, in metres. *film*: W/(m² K) between air and surface; none, for the least time.
    """
    if reach_m <= 0 or not 0 < share < 1:
        raise Nonsense("A conduction estimate takes a thickness above nothing and a share between 0 and 1.")
    bi = math.inf if film is None else film * reach_m / CONDUCTIVITY
    low, high = 0.0, 1.0
    while left(shape, high, bi, place) > 1 - share:
        high *= 2
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if left(shape, middle, bi, place) > 1 - share else (low, middle)
    return high * reach_m * reach_m / diffusivity


@dataclass(frozen=True)
class Section:
    """A section class as the estimate takes it (lengths in metres, from memory): its casing, and half the width of its fill."""

    casing_m: float
    fill_radius_m: float


SECTIONS = {"small": Section(0.018, 0.08), "medium": Section(0.027, 0.14), "large": Section(0.038, 0.25)}


def lag_seconds(section: str) -> tuple[float, float]:
    """Seconds until the inner side of a cold casing has gone nine tenths of the way: with the surface at the air's temperature, in still air.

    The casing is a wall warmed from outside, with a fill behind it that takes no heat.
    """
    one = SECTIONS[section]
    return seconds_until("wall", one.casing_m, 0.9), seconds_until("wall", one.casing_m, 0.9, film=STILL_AIR)


def core_seconds(section: str) -> tuple[float, float]:
    """Seconds until the middle of a fill that started cold has gone half of the way to the room: surface at the air's, in still air."""
    one = SECTIONS[section]
    radius = one.fill_radius_m + one.casing_m
    return seconds_until("cylinder", radius, 0.5), seconds_until("cylinder", radius, 0.5, film=STILL_AIR)


@cache
def reason(limit: str) -> str:
    """What the estimate says beside a lag or cold-start limit, in a sentence; empty for another limit.

    >>> reason("lag_small")
    'Conduction estimate: 18 mm (0.71 in) of casing are 90 % through in 0.9 h at the least, in still air in 3.7 h.'
    """
    kind, _, section = limit.partition("_")
    if section not in SECTIONS or kind not in ("lag", "cold"):
        return ""
    one = SECTIONS[section]
    if kind == "lag":
        least, still = lag_seconds(section)
        return (
            f"Conduction estimate: {units.mm_in(round(one.casing_m * 10_000))} of casing are 90 % through in {least / 3600:.1f} h at the least, "
            f"in still air in {still / 3600:.1f} h."
        )
    least, still = core_seconds(section)
    return (
        f"Conduction estimate: the middle of a section {units.mm_in(round(20_000 * (one.fill_radius_m + one.casing_m)))} across is half-way to the room in "
        f"{least / 3600:.0f} h at the least, in still air in {still / 3600:.0f} h."
    )


# -- the series ----------------------------------------------------------------------------------------------------------------
@cache
def _roots(shape: Shape, bi: float) -> tuple[tuple[float, float], ...]:
    """(ζ, C) of the first terms."""
    found = []
    for n in range(TERMS):
        if shape == "wall":
            zeta = (
                (n + 0.5) * math.pi
                if math.isinf(bi)
                else _root(lambda z: z * math.sin(z) - bi * math.cos(z), n * math.pi, (n + 0.5) * math.pi)
            )
            c = 4 * math.sin(zeta) / (2 * zeta + math.sin(2 * zeta))
        else:
            high = _zero_of_j0(n)
            low = 0.0 if n == 0 else _zero_of_j1(n)
            zeta = high if math.isinf(bi) else _root(lambda z: z * j1(z) - bi * j0(z), low, high)
            c = 2 * j1(zeta) / (zeta * (j0(zeta) ** 2 + j1(zeta) ** 2))
        found.append((zeta, c))
    return tuple(found)


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    """The root of *f* between two places where its sign differs, by halving."""
    rising = f(high) > f(low)
    for _ in range(52):
        middle = (low + high) / 2
        if (f(middle) > 0) == rising:
            high = middle
        else:
            low = middle
    return (low + high) / 2


@cache
def _zero_of_j0(n: int) -> float:
    middle = (n + 0.75) * math.pi  # McMahon: the n-th zero lies close by
    return _root(j0, middle - 0.6, middle + 0.6)


@cache
def _zero_of_j1(n: int) -> float:
    middle = (n + 0.25) * math.pi
    return _root(j1, middle - 0.6, middle + 0.6)


def j0(x: float) -> float:
    """The Bessel function J₀, by its integral (1/π) ∫ cos(x sin t) dt; the trapezoid rule is all but exact on a whole period."""
    return _bessel(0, x)


def j1(x: float) -> float:
    """The Bessel function J₁, by its integral (1/π) ∫ cos(t − x sin t) dt."""
    return _bessel(1, x)


def _bessel(order: int, x: float) -> float:
    steps = 32 + int(1.5 * abs(x))
    return (
        sum(math.cos(order * t - x * math.sin(t)) for t in (2 * math.pi * n / steps for n in range(steps)))
        / steps
    )
