"""The shop's limits: what each is, its default, and why.

Every limit is a setting: an event with value, unit, source and the time from which it holds. The defaults below are common
practice of the trade where nothing else is said, (m) marks what is from memory. The material supplier's data sheet, the makers'
ratings and local codes come first: set the limit to them and name them as its source.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from fillbook.trace.core import conduction, units
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.limit_ranges import RANGES
from fillbook.trace.core.quote import quoted

COUNT = "count"


@dataclass(frozen=True)
class Limit:
    """One setting: its dimension (see :mod:`units`, or a plain count), its default in the canonical unit, and the reason."""

    dimension: str
    default: int
    why: str
    scope: str = ""  # what it can be set for besides the whole shop: "U" a line
    unit: str = ""  # of a plain count


LIMITS: dict[str, Limit] = {
    "cure_temperature": Limit(
        "temperature", 22_222, "72 °F (22.2 °C): common practice for material, store room and cure room."
    ),
    "cure_earliest": Limit(
        "duration", 24 * 3600, "24 h at the limit, and only with a passing sample: the short end of practice."
    ),
    "cure_standard": Limit(
        "duration", 48 * 3600, "48 h at the limit: the long end of practice, 24 to 48 h in a warm room."
    ),
    "near_limit": Limit(
        "temperature_difference",
        1_111,
        "2 °F (1.1 °C): hours just below the limit are shown, never credited.",
    ),
    "attended_gap": Limit(
        "duration", 12 * 3600, "Hand readings in a zone without logger at most 12 h apart (m)."
    ),
    "lag_small": Limit(
        "duration", 3600, "A small section warms through in about an hour (m); credit starts after it."
    ),
    "lag_medium": Limit(
        "duration", 2 * 3600, "A medium section takes about two hours to follow the room (m)."
    ),
    "lag_large": Limit(
        "duration", 4 * 3600, "A large section takes about four hours to follow the room (m)."
    ),
    "cold_start_below": Limit(
        "temperature", 18_333, "65 °F (18.3 °C): a casing or mix below this starts cold and cures slower (m)."
    ),
    "cold_small": Limit("duration", 4 * 3600, "Hours added after a cold start, small section (m)."),
    "cold_medium": Limit("duration", 8 * 3600, "Hours added after a cold start, medium section (m)."),
    "cold_large": Limit("duration", 16 * 3600, "Hours added after a cold start, large section (m)."),
    "move_after": Limit(
        "duration",
        24 * 3600,
        "After the last material: may be moved and mounted from then, once released (m).",
    ),
    "work_after": Limit(
        "duration", 72 * 3600, "After the last material: may work under load from then, once released (m)."
    ),
    "regrind_most": Limit("share", 6_500, "Ground fill up to 65 % of the mix by weight: common practice."),
    "topup_regrind_most": Limit(
        "share", 4_000, "Top-up with at most 40 % ground fill: common practice as we read it."
    ),
    "hardness_least": Limit(COUNT, 0, "Least median hardness (Shore A) of a sample cup; 0 asks for none."),
    "hardness_least_00": Limit(
        COUNT, 0, "Least median hardness (Shore 00, for soft cups) of a sample cup; 0 asks for none."
    ),
    "activation_energy": Limit(
        COUNT,
        0,
        "From the supplier's data sheet; with it equivalent hours stand beside the credited ones. 0: none given.",
        unit="J/mol",
    ),
    "spike_step": Limit(
        "temperature_difference",
        5_556,
        "10 °F (5.6 °C): a logger that jumps so far and back within two samples is looked at first (m).",
    ),
    "flat_after": Limit(
        "duration",
        24 * 3600,
        "A logger that says the very same for longer may be stuck and is looked at first (m); 0 h: never.",
    ),
    "heating_down_day": Limit(
        COUNT,
        5,
        "The heating is turned down on this day of the week, 1 Monday to 7 Sunday; 0: never.",
    ),
    "heating_down_hour": Limit(COUNT, 17, "At this full hour by the shop's clock."),
    "hose_content_low": Limit(
        "mass", 3_000, "Least a fill hose, its pump and gun side hold (m); measure yours once.", "U"
    ),
    "hose_content_high": Limit(
        "mass", 6_000, "Most a fill hose, its pump and gun side hold (m); measure yours once.", "U"
    ),
    "hopper_content_low": Limit(
        "mass", 15_000, "Least the hopper holds while a fill runs (m); watch yours.", "U"
    ),
    "hopper_content_high": Limit("mass", 60_000, "Most the hopper holds (m); weigh it full once.", "U"),
    "mixed_content_low": Limit(
        "mass",
        0,
        "Least of a fill that stays in tube, fill hose and gun and goes into the next tire. 0: all is blown out after each.",
        "U",
    ),
    "mixed_content_high": Limit(
        "mass",
        0,
        "Most of a fill that stays there. 0: all is blown out after each fill, common practice.",
        "U",
    ),
    "basis_scale": Limit("share", 100, "Weighed before and after on a scale: within 1 % (m)."),
    "basis_pump_total": Limit(
        "share", 300, "Read off the pump's total: within 3 % (m); weigh a tire now and then."
    ),
    "basis_empty_weight": Limit(
        "share", 1_000, "Weighed after, less the usual weight of an empty tire: within 10 % of the fill (m)."
    ),
    "basis_chart": Limit("share", 1_500, "Read off a fill chart by size: within 15 % (m)."),
    "basis_run_time": Limit("share", 2_500, "Reckoned from how long the pump ran: within 25 % (m)."),
    "basis_guess": Limit("share", 5_000, "Guessed: within half of it (m)."),
    "weighings_enough": Limit(
        COUNT,
        8,
        "From so many totes run dry or weighed on, a line's own spread takes the place of the pump's 3 %.",
    ),
    "contents_until_gone": Limit(
        COUNT, 5, "After five contents of new material the old counts as gone: 1 % left in a hose."
    ),
    "lot_age_at_receipt": Limit(
        "duration", 180 * 86_400, "A lot without a date of making may be this old when it comes in (m)."
    ),
    "purge_usual": Limit(
        "mass",
        4_000,
        "What the first material of a run to waste usually weighs (m); weigh yours now and then.",
        "U",
    ),
    "run_out_usual": Limit(
        "mass", 3_000, "What the shut-down runs to waste usually weighs (m); weigh yours now and then.", "U"
    ),
    "ratio_most_off": Limit(
        "share", 500, "Ratio check: at most 5 % off the system's ratio (m); the data sheet comes first."
    ),
    "pot_life": Limit(
        "duration",
        15 * 60,
        "How long a fill may stand before what follows is a cold joint (m); see the data sheet.",
    ),
    "stretch_new": Limit(
        "duration",
        24 * 3600,
        "A new tire stands 24 h at operating pressure before the fill: common practice.",
    ),
    "pump_run_every": Limit("duration", 7 * 86_400, "A pump is run at least once a week: common practice."),
    "recall_threshold": Limit(
        "share", 100, "Tires that hold a suspect through regrind are listed from 1 % on."
    ),
    "source_hold_threshold": Limit(
        "share", 100, "A held lot or batch stops a release from 1 % of the fill on."
    ),
    "pressure_most_over": Limit(
        "share", 0, "How far a final pressure may lie above the lowest rating: not at all."
    ),
}


#: Part of the job -> its limits, as a page lists them.
PARTS: dict[str, tuple[str, ...]] = {
    "Cure": (
        "cure_temperature", "cure_earliest", "cure_standard", "near_limit", "attended_gap", "lag_small", "lag_medium", "lag_large",
        "cold_start_below", "cold_small", "cold_medium", "cold_large",
    ),
    "Release": (
        "move_after", "work_after", "hardness_least", "hardness_least_00", "activation_energy", "pressure_most_over", "source_hold_threshold",
    ),
    "Mix and fill": (
        "regrind_most", "topup_regrind_most", "ratio_most_off", "pot_life", "stretch_new", "pump_run_every", "purge_usual", "run_out_usual",
    ),
    "Hose, hopper and gun": (
        "hose_content_low", "hose_content_high", "hopper_content_low", "hopper_content_high", "mixed_content_low", "mixed_content_high",
        "contents_until_gone",
    ),
    "How far a weight may be off": (
        "basis_scale", "basis_pump_total", "basis_empty_weight", "basis_chart", "basis_run_time", "basis_guess", "weighings_enough",
    ),
    "Loggers and heating": ("spike_step", "flat_after", "heating_down_day", "heating_down_hour"),
    "Recall": ("recall_threshold", "lot_age_at_receipt"),
}  # fmt: skip


#: How a weight was come by -> the limit that says by how much it may be off. A label's weight counts as the supplier's scale.
BASIS_LIMITS = {
    "scale": "basis_scale", "supplier's label": "basis_scale", "pump total": "basis_pump_total",
    "usual empty weight": "basis_empty_weight", "chart": "basis_chart", "run time": "basis_run_time", "guess": "basis_guess",
}  # fmt: skip


def band_of(basis: str) -> str:
    """The limit that bounds a weight of this *basis*; one that is not known counts as guessed.

    >>> band_of("pump total")
    'basis_pump_total'
    """
    return BASIS_LIMITS.get(basis, "basis_guess")


def limit(name: str) -> Limit:
    """The limit of this *name*; raises Nonsense with the names that come near."""
    found = LIMITS.get(name)
    if found is None:
        near = difflib.get_close_matches(name, LIMITS, n=4, cutoff=0.4)
        meant = f" Is one of these meant: {', '.join(near)}?" if near else ""
        raise Nonsense(
            f"There is no limit {quoted(name)}.{meant} The limits' page lists all, as does: fillbook limits.",
            field="limit",
        )
    return found


def why(name: str) -> str:
    """The reason for the default of limit *name*, with what a conduction estimate says of it where there is one."""
    return " ".join(filter(None, [limit(name).why, conduction.reason(name)]))


def number_and_unit(text: str) -> list[str]:
    """The words of a value as it is typed, its unit as :mod:`units` calls it.

    >>> number_and_unit("72 °f"), number_and_unit("40%")
    (['72', 'f'], ['40', 'pct'])
    """
    return text.replace("°", " ").replace("%", " pct").split()


def read(name: str, text: str, *, stands: bool = False) -> units.Quantity:
    """*text*, such as ``72 f`` or ``48 h``, as a value of the limit *name*.

    *stands*: it is in the book already, and is read whatever it is. Raises Nonsense where the number or the unit does not fit, or
    the value lies outside what can be at all (:data:`~fillbook.trace.core.limit_ranges.RANGES`).
    """
    found = _quantity(name, text)
    if not stands and not RANGES[name].can_be(found.value):
        raise Nonsense(_cannot_be(name, text), field="to")
    return found


def _quantity(name: str, text: str) -> units.Quantity:
    one = limit(name)
    dimension = one.dimension
    words = number_and_unit(text)
    if dimension == COUNT:
        if one.unit and " ".join(words[1:]).lower() == one.unit.lower():
            words = words[:1]
        if len(words) != 1 or not words[0].isdecimal() or len(words[0]) > 9:
            lowest, highest = ends(name)
            raise Nonsense(
                f"{name} is a whole number from {lowest} to {highest}, not {text!r}.",
                field="to",
                expected="a whole number",
            )
        return units.Quantity(COUNT, int(words[0]), words[0])
    known = units.DIMENSIONS[dimension].units
    if len(words) != 2 or words[1].lower() not in known:
        raise Nonsense(
            f"{name} is a number and a unit ({', '.join(known)}), not {text!r}.",
            field="to",
            expected=f"a number and one of {', '.join(known)}",
        )
    found = units.parse(dimension, words[1].lower(), words[0], field="to")
    if dimension != "temperature" and found.value < 0:
        raise Nonsense(f"{name} can't be below nothing.", field="to")
    return found


def _cannot_be(name: str, text: str) -> str:
    lowest, highest = ends(name)
    if RANGES[name].off and RANGES[name].least:
        return (
            f"{name} is 0 or lies between {lowest} and {highest}, not {text!r}: no shop has anything else, so a digit or the unit is wrong. "
            "Look at the data sheet and type it again."
        )
    return (
        f"{name} lies between {lowest} and {highest}, not {text!r}: no shop has anything else, so a digit or the unit is wrong. "
        "Look at the data sheet and type it again."
    )


def ends(name: str) -> tuple[str, str]:
    """The least and the most that limit *name* can be, in both units; 0 may be besides where it means that nothing is asked."""
    return in_both(name, RANGES[name].least), in_both(name, RANGES[name].most)


def beyond_practice(name: str, value: int) -> str:
    """What to say of limit *name* at *value* (its canonical unit), where it is not what the trade usually has; else nothing.

    >>> beyond_practice("cure_standard", 12 * 3600)
    'Cure standard of 12 h is below common practice: 24 h or more.'
    >>> beyond_practice("cure_standard", 72 * 3600), beyond_practice("hardness_least", 0)
    ('', '')
    """
    usual = RANGES[name]
    what, now = name.replace("_", " ").capitalize(), in_both(name, value)
    if usual.low is not None and usual.is_low(value):
        low = in_both(name, usual.low)
        return f"{what} of {now} is below common practice: {low} or more."
    if usual.high is not None and usual.is_high(value):
        high = in_both(name, usual.high)
        return f"{what} of {now} is above common practice: {high} or less."
    return ""


def in_both(name: str, value: int) -> str:
    """The value of limit *name* in both systems of units, for a sentence that is frozen or read by people who count in either.

    >>> in_both("cure_temperature", 22_000), in_both("pot_life", 900), in_both("cure_standard", 86_400)
    ('22 °C (71.6 °F)', '15 min', '24 h')
    """
    dimension = limit(name).dimension
    if dimension == "temperature":
        return units.c_f(value)
    if dimension == "mass":
        return units.kg_lb(value)
    if dimension == "duration" and abs(value) < 3600 and value:
        return units.show(dimension, value, "min")
    metric, us = show(name, value, us=False), show(name, value, us=True)
    return metric if metric == us else f"{metric} ({us})"


def show(name: str, value: int, us: bool) -> str:
    """The value of limit *name* for a screen, in the shop's units."""
    dimension = limit(name).dimension
    if dimension == COUNT:
        return f"{value} {limit(name).unit}".rstrip()
    unit = {"temperature": "cf", "temperature_difference": ("dc", "df"), "mass": ("kg", "lb"), "share": ("pct", "pct"),
            "duration": ("h", "h"), "pressure": ("kpa", "psi"), "length": ("mm", "in")}[dimension][us]  # fmt: skip
    return units.show(dimension, value, unit)
