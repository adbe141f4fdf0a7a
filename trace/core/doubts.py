"""Logger samples that a lead has to look at before they count: spikes, and a sensor that says the same for too long.

A room's air follows walls, tires and the heating; it does not jump ten degrees and come back within a sample or two. And a sensor
that measures shows at least its own noise, so one that says the very same thousandth for a day is stuck or its battery is empty.
Both are *common practice* in looking after loggers; the figures are settings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

LONGEST_SPIKE = 2  # samples


@dataclass(frozen=True)
class Doubt:
    """Samples from ``first_at`` to ``last_at`` (epoch seconds) that are not credited, of how many, and what they say (thousandths of °C)."""

    what: Literal["spike", "flat"]
    first_at: int
    last_at: int
    count: int
    mc: int


def find(samples: Sequence[tuple[int, int]], *, step_mk: int, flat_s: int, gap_s: int) -> list[Doubt]:
    """The doubtful samples, in order of time.

    A *spike* is one sample, or two, that lie more than *step_mk* above, or below, both the sample before and the one after, no gap
    longer than *gap_s* between them. *Flat* are samples of one value that last longer than *flat_s*; 0 for either looks for none.

    >>> [doubt.what for doubt in find([(0, 22_000), (300, 30_000), (600, 22_000)], step_mk=5_556, flat_s=86_400, gap_s=900)]
    ['spike']
    """
    found = [*_spikes(samples, step_mk, gap_s), *_flat(samples, flat_s)]
    return sorted(found, key=lambda doubt: (doubt.first_at, doubt.last_at))


def _spikes(samples: Sequence[tuple[int, int]], step_mk: int, gap_s: int) -> list[Doubt]:
    found: list[Doubt] = []
    if not step_mk:
        return found
    n = 1
    while n < len(samples) - 1:
        jump = samples[n][1] - samples[n - 1][1]
        if abs(jump) > step_mk:
            for length in range(1, LONGEST_SPIKE + 1):
                if n + length >= len(samples):
                    break
                inside, back = samples[n : n + length], samples[n + length]
                near = all(
                    b[0] - a[0] <= gap_s
                    for a, b in zip(samples[n - 1 : n + length], samples[n : n + length + 1], strict=True)
                )
                sign = 1 if jump > 0 else -1
                if near and all(
                    sign * (mc - edge) > step_mk for _, mc in inside for edge in (samples[n - 1][1], back[1])
                ):
                    worst = max((mc for _, mc in inside), key=lambda mc: sign * mc)
                    found.append(Doubt("spike", inside[0][0], inside[-1][0], length, worst))
                    n += length
                    break
        n += 1
    return found


def _flat(samples: Sequence[tuple[int, int]], flat_s: int) -> list[Doubt]:
    if not flat_s:
        return []
    found = []
    for mc, run in groupby(samples, key=lambda sample: sample[1]):
        times = [at for at, _ in run]
        if times[-1] - times[0] > flat_s:
            found.append(Doubt("flat", times[0], times[-1], len(times), mc))
    return found
