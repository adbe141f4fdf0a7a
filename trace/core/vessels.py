"""Hoses and hoppers: how fast new material takes the place of old.

A vessel holds h grams. θ is what has come out since a change-over, divided by h. F(θ) is the part of what comes out just then
that went in after the change-over, and Φ(θ) = ∫₀^θ F is how much of it has come out so far, in units of h. In grams, with u the
throughput since the change-over: F(u/h) and h·Φ(u/h).

Four curves: *plug* (nothing mixes), *laminar* (a long hose, the middle runs ahead and the wall lags behind), *stirred* (one
well-mixed tank) and *tanks in series* (n equal ones, between stirred and plug).

Sources: laminar, the convective model, O. Levenspiel, Chemical Reaction Engineering, 3rd ed., pp. 343-344; tanks in series,
R. B. MacMullin and M. Weber, Trans. AIChE 31 (1935) 409-458. The integrals follow from the formulas by parts.

Which curve a real hose or hopper follows is not known, so a *family* is kept for each: the most likely curve, and the highest
and the lowest value any member takes. By the shop's rule a vessel is clean, F = 1, after so many contents.
"""

from __future__ import annotations

import math

HOSE = "hose"
HOPPER = "hopper"
KINDS = (HOSE, HOPPER)
HOPPER_TANKS = (1, 2, 3, 4, 5)  # a hopper may be anything from one stirred tank to five, or plug


def plug_f(theta: float) -> float:
    """F of a vessel in which nothing mixes: 0, then 1 from one content on."""
    return 1.0 if theta >= 1 else 0.0


def plug_phi(theta: float) -> float:
    """Integral of :func:`plug_f`."""
    return max(0.0, theta - 1)


def laminar_f(theta: float) -> float:
    """F of a hose in laminar flow: 0 up to half a content, then 1 − 1/(4θ²)."""
    return 1 - 1 / (4 * theta * theta) if theta > 0.5 else 0.0


def laminar_phi(theta: float) -> float:
    """Integral of :func:`laminar_f`: (θ − ½)²/θ."""
    return (theta - 0.5) ** 2 / theta if theta > 0.5 else 0.0


def stirred_f(theta: float) -> float:
    """F of one well-mixed tank: 1 − exp(−θ)."""
    return -math.expm1(-theta) if theta > 0 else 0.0


def stirred_phi(theta: float) -> float:
    """Integral of :func:`stirred_f`: θ − 1 + exp(−θ)."""
    return tanks_phi(theta, 1)


def tanks_f(theta: float, n: int) -> float:
    """F of *n* equal well-mixed tanks in a row: the chance that a Poisson count with mean nθ reaches n."""
    return _reaches(n, n * theta)


def tanks_phi(theta: float, n: int) -> float:
    """Integral of :func:`tanks_f`: θ·P(count ≥ n) − P(count ≥ n + 1), by parts; the mean of F is one content."""
    if theta <= 0:
        return 0.0
    mean = n * theta
    if mean > n + 1:
        return theta * _reaches(n, mean) - _reaches(n + 1, mean)
    # The two terms nearly cancel for small θ, so take them together: Σ_{j>n} (j − n)/n · mean^j e^(−mean)/j!
    term = _chance_of(n, mean)
    total, j = 0.0, n
    while True:
        j += 1
        term *= mean / j
        step = term * (j - n) / n
        total += step
        if step <= total * 1e-17:
            return total


def _reaches(n: int, mean: float) -> float:
    """The chance that a Poisson count with this mean is n or more."""
    if mean <= 0:
        return 0.0
    if mean > n + 1:
        term = total = 1.0
        for j in range(1, n):
            term *= mean / j
            total += term
        return 1 - math.exp(-mean) * total
    # From the other side, where 1 − … would lose its digits.
    term = total = _chance_of(n, mean)
    j = n
    while term > total * 1e-17:
        j += 1
        term *= mean / j
        total += term
    return total


def _chance_of(n: int, mean: float) -> float:
    """The chance that a Poisson count with this mean is just n."""
    chance = math.exp(-mean)
    for j in range(1, n + 1):
        chance *= mean / j
    return chance


def _lowest_tanks() -> tuple[tuple[float, int], ...]:
    """Which number of tanks has the lowest F from one content on: pairs (from θ on, tanks).

    Below one content plug is lowest. The difference between two members changes sign once above one content, so where the
    lowest of them changes is found by halving.
    """

    def lowest(theta: float) -> int:
        return min(HOPPER_TANKS, key=lambda n: tanks_f(theta, n))

    pieces = [(1.0, lowest(1.0))]
    grid = [1 + step / 200 for step in range(1, 401)]
    for left, right in zip([1.0, *grid], grid, strict=False):
        if lowest(right) == pieces[-1][1]:
            continue
        for _ in range(60):
            middle = (left + right) / 2
            if lowest(middle) == pieces[-1][1]:
                left = middle
            else:
                right = middle
        pieces.append((right, lowest(right)))
    return tuple(pieces)


LOWEST_TANKS = _lowest_tanks()


def likely_f(kind: str, theta: float, clean_after: int) -> float:
    """F we take as most likely: a laminar hose, a stirred hopper; 1 after *clean_after* contents."""
    if theta >= clean_after:
        return 1.0
    return laminar_f(theta) if kind == HOSE else stirred_f(theta)


def likely_phi(kind: str, theta: float, clean_after: int) -> float:
    """Integral of :func:`likely_f`."""
    curve = laminar_phi if kind == HOSE else stirred_phi
    return curve(theta) if theta <= clean_after else curve(clean_after) + theta - clean_after


def highest_f(kind: str, theta: float) -> float:
    """The largest F any curve of the family has at θ.

    Up to one content the curve that mixes most is ahead (laminar; stirred); from there on plug is, with F = 1.
    """
    if theta >= 1:
        return 1.0
    return laminar_f(theta) if kind == HOSE else stirred_f(theta)


def highest_phi(kind: str, theta: float) -> float:
    """Integral of :func:`highest_f`."""
    curve = laminar_phi if kind == HOSE else stirred_phi
    return curve(theta) if theta <= 1 else curve(1) + theta - 1


def lowest_f(kind: str, theta: float, clean_after: int) -> float:
    """The smallest F any curve of the family has at θ: 0 (plug) up to one content, then the one that lags most."""
    if theta < 1:
        return 0.0
    if theta >= clean_after:
        return 1.0
    return laminar_f(theta) if kind == HOSE else min(tanks_f(theta, n) for n in HOPPER_TANKS)


def lowest_phi(kind: str, theta: float, clean_after: int) -> float:
    """Integral of :func:`lowest_f`."""
    if theta <= 1:
        return 0.0
    if theta > clean_after:
        return lowest_phi(kind, clean_after, clean_after) + theta - clean_after
    if kind == HOSE:
        return (
            (theta - 1) * (theta - 0.25) / theta
        )  # laminar_phi(θ) − laminar_phi(1), without the cancellation
    total = 0.0
    ends = [start for start, _ in LOWEST_TANKS[1:]] + [math.inf]
    for (start, n), end in zip(LOWEST_TANKS, ends, strict=True):
        if theta <= start:
            break
        total += tanks_phi(min(theta, end), n) - tanks_phi(start, n)
    return total


def likely_left(kind: str, u: float, content_g: float, clean_after: int) -> float:
    """Grams that have left of what went in after a change-over *u* grams ago, most likely curve."""
    if u <= 0 or content_g <= 0:
        return max(0.0, u)
    return content_g * likely_phi(kind, u / content_g, clean_after)


def most_left(kind: str, u: float, lo_g: float) -> float:
    """The largest number of grams that can have left of it, if the vessel held *lo_g* or more."""
    if u <= 0 or lo_g <= 0:
        return max(0.0, u)
    return lo_g * highest_phi(kind, u / lo_g)


def least_left(kind: str, u: float, hi_g: float, clean_after: int) -> float:
    """The smallest number of grams that can have left of it, if the vessel held *hi_g* or less."""
    if u <= 0 or hi_g <= 0:
        return max(0.0, u)
    return hi_g * lowest_phi(kind, u / hi_g, clean_after)
