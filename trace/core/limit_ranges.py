"""Between which values each of the shop's limits lies: what can be at all, and what the trade usually has.

Outside the first a value is a slip of a digit or of a unit, and refused. Outside the second it may be meant, since a data sheet comes
first; it is asked back once, and the floor says it as long as it is in force. Only what bears on safety has a usual range. Figures are
common practice of the trade where nothing else is said; (m) marks those from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

HOUR, DAY = 3600, 86_400
KG = 1000
MOST_SHARE = 10_000


@dataclass(frozen=True)
class Range:
    """Least and most of a limit in its canonical unit; ``off``: 0 may be set besides, since it means that nothing is asked.

    ``low`` and ``high`` bound what is usual; None where that end is no danger.
    """

    least: int
    most: int
    off: bool = False
    low: int | None = None
    high: int | None = None
    slack: int = 0  # so little below is typed for it in the other unit

    def can_be(self, value: int) -> bool:
        return self.least <= value <= self.most or (self.off and value == 0)

    def is_usual(self, value: int) -> bool:
        return (self.off and value == 0) or not (self.is_low(value) or self.is_high(value))

    def is_low(self, value: int) -> bool:
        return self.low is not None and value < self.low - self.slack and not (self.off and value == 0)

    def is_high(self, value: int) -> bool:
        return self.high is not None and value > self.high


RANGES: dict[str, Range] = {
    # Common practice: 72 °F (22.2 °C) or warmer. 22 °C is what a metric shop types for it.
    "cure_temperature": Range(5_000, 60_000, low=22_222, slack=222),
    # Common practice: 24 to 48 h in a room kept at that temperature, longer in cold weather. Longer is no danger.
    "cure_earliest": Range(HOUR, 30 * DAY, low=24 * HOUR),
    "cure_standard": Range(HOUR, 30 * DAY, low=24 * HOUR),
    "near_limit": Range(0, 10_000),
    "attended_gap": Range(HOUR // 4, 72 * HOUR, high=12 * HOUR),  # (m)
    "lag_small": Range(0, 48 * HOUR),
    "lag_medium": Range(0, 48 * HOUR),
    "lag_large": Range(0, 48 * HOUR),
    "cold_start_below": Range(-40_000, 40_000),
    "cold_small": Range(0, 7 * DAY),
    "cold_medium": Range(0, 7 * DAY),
    "cold_large": Range(0, 7 * DAY),
    # Nothing is moved or works sooner than the short end of the cure.
    "move_after": Range(0, 30 * DAY, low=24 * HOUR),
    "work_after": Range(0, 30 * DAY, low=24 * HOUR),
    "regrind_most": Range(0, 9_000, high=6_500),  # common practice; without fresh material nothing binds it
    "topup_regrind_most": Range(0, 9_000, high=4_000),  # common practice as we read it
    # A durometer's scale ends at 100 (ISO 48-4, ASTM D2240). Fills lie at Shore A 10 to 60 (m).
    "hardness_least": Range(0, 100, off=True, low=10, high=60),
    "hardness_least_00": Range(0, 100, off=True, low=40, high=90),
    "activation_energy": Range(10_000, 300_000, off=True),  # (m) of any reaction in a cure
    "spike_step": Range(500, 50_000),
    "flat_after": Range(HOUR // 4, 30 * DAY, off=True),
    "heating_down_day": Range(0, 7, off=True),
    "heating_down_hour": Range(0, 23),
    "hose_content_low": Range(0, 200 * KG),
    "hose_content_high": Range(0, 200 * KG),
    "hopper_content_low": Range(0, 2_000 * KG),
    "hopper_content_high": Range(0, 2_000 * KG),
    "mixed_content_low": Range(0, 200 * KG),
    "mixed_content_high": Range(0, 200 * KG),
    "basis_scale": Range(0, MOST_SHARE),
    "basis_pump_total": Range(0, MOST_SHARE),
    "basis_empty_weight": Range(0, MOST_SHARE),
    "basis_chart": Range(0, MOST_SHARE),
    "basis_run_time": Range(0, MOST_SHARE),
    "basis_guess": Range(0, MOST_SHARE),
    "weighings_enough": Range(0, 1000),
    "contents_until_gone": Range(1, 100),
    "lot_age_at_receipt": Range(0, 3650 * DAY),
    "purge_usual": Range(0, 500 * KG),
    "run_out_usual": Range(0, 500 * KG),
    "ratio_most_off": Range(0, 5_000, high=500),  # (m)
    "pot_life": Range(60, 24 * HOUR, high=HOUR),  # (m): beyond an hour no two-part fill still flows
    "stretch_new": Range(0, 30 * DAY, low=24 * HOUR),  # common practice
    "pump_run_every": Range(HOUR, 365 * DAY, high=7 * DAY),  # common practice
    "recall_threshold": Range(0, MOST_SHARE, high=1_000),  # (m)
    "source_hold_threshold": Range(0, MOST_SHARE, high=1_000),  # (m)
    # Never above the lowest of sidewall, rim and wheel rating: common practice. A gauge reads to a few percent.
    "pressure_most_over": Range(0, 1_000, high=0),
}
