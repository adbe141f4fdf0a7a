"""The release desk's decision: may this tire leave the rack, by which rule, and if not, why.

Everything is decided from plain facts; nothing is looked up here. A decision is a list of findings; one that *stops* keeps the
tire on the rack unless a lead overrides it with a reason. 24 h credited and a passing sample cup is the earliest release, 48 h
credited or attended the standard one, and a cold start allows only the standard one with its added hours. That is stricter than
common practice, 24 to 48 h in a warm room.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from fractions import Fraction
from statistics import median
from typing import Literal, NamedTuple

from fillbook.trace.core import units
from fillbook.trace.core.cure import Cure
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.times import hours

Path = Literal["earliest", "standard"]
Verdict = Literal["Cured", "Not yet", "On hold", "Look again"]
CupVerdict = Literal["passed", "failed", "waiting"]


@dataclass(frozen=True)
class Finding:
    """One thing the desk sees: a code for the program, a sentence for people, and whether it stops the release."""

    code: str
    words: str
    stops: bool


@dataclass(frozen=True)
class Evidence:
    """All that bears on the release of one fill.

    ``state`` is where the tire stands in the book (``"racked"``). ``cup`` is the verdict on the sample cup that covers the fill,
    None where no cup does; a cup covers the fills until the next cup. ``hardness_median`` is that cup's, ``hardness_least`` the
    shop's least on the same scale, ``hardness_scale`` (Shore A or 00; 0 asks for none). ``pressure_pa`` is the final reading, ``lowest_rating_pa`` the lowest of the sidewall's,
    the rim's and the wheel's; ``pressure_over_e4`` is by how much it may be exceeded, in ten-thousandths. ``holds`` are the reasons
    of the holds on the tire itself; ``source_holds`` the held lots and batches in it, each with its share of the fill in
    ten-thousandths, already cut at the shop's threshold; ``unsettled`` what still waits for a second person; ``recalls`` the open
    recalls that keep it. ``fill_findings`` are open findings of the fill in words.
    """

    fill: str
    state: str
    finished: bool
    cure: Cure
    cup: CupVerdict | None = None
    hardness_median: int | Fraction | None = None
    hardness_least: int = 0
    hardness_scale: str = "A"
    pressure_pa: int | None = None
    flow_stopped: bool = False
    lowest_rating_pa: int | None = None
    pressure_over_e4: int = 0
    holds: Sequence[str] = ()
    source_holds: Sequence[tuple[str, int]] = ()
    fill_findings: Sequence[str] = ()
    unsettled: Sequence[str] = ()
    recalls: Sequence[str] = ()
    tag_scanned: bool = True
    already_released: bool = False


@dataclass(frozen=True)
class Decision:
    """May the tire be released (``ok``), by which path, and everything that was found.

    ``path`` is the rule the cure meets, None while it meets none, whatever else stops the release. ``ready_at`` is when the cure
    met the first path open to it, or will by the forecast (epoch seconds); None where nothing can be foretold.
    """

    verdict: Verdict
    ok: bool
    path: Path | None
    findings: tuple[Finding, ...]
    ready_at: int | None

    @property
    def stops(self) -> tuple[Finding, ...]:
        """The findings that stop the release."""
        return tuple(finding for finding in self.findings if finding.stops)


class TwoDates(NamedTuple):
    """The two dates on a released tire's tag, epoch seconds; None where the cure cannot be foretold."""

    may_be_moved_at: int | None
    may_work_at: int | None


def _say_utc(at: int) -> str:
    return datetime.fromtimestamp(at, UTC).strftime("%Y-%m-%d %H:%M UTC")


def _say_pressure(pascals: int) -> str:
    return f"{pascals / 1000:.1f} kPa"


def decide(
    evidence: Evidence,
    *,
    say_time: Callable[[int], str] = _say_utc,
    say_pressure: Callable[[int], str] = _say_pressure,
) -> Decision:
    """Whether the tire may be released now, with every finding in a sentence of its own.

    The rule stands in ``evidence.cure``, which was measured by it. *say_time* and *say_pressure* write epoch seconds and pascals
    in the shop's way. The verdict is the first that fits: *On hold* where a hold or an unsettled check lies on it, *Look again*
    where something else than the hours stops it, *Not yet* where only hours are missing, *Cured*.
    """
    passing = _cup_passes(evidence)
    path = _path(evidence.cure, passing)
    ready_at = _ready_at(evidence.cure, passing)
    findings = (
        *_state(evidence),
        *_holds(evidence),
        *_cup(evidence),
        *_pressure(evidence, say_pressure),
        *(
            Finding("fill", f"Open from the fill: {_sentence(words)}", True)
            for words in evidence.fill_findings
        ),
        *_hours(evidence, passing, path, ready_at, say_time),
        *_equivalent(evidence),
        *_tag(evidence),
    )
    stopping = {finding.code for finding in findings if finding.stops}
    verdict: Verdict
    if stopping & {"hold", "source hold", "unsettled", "recalled"}:
        verdict = "On hold"
    elif stopping - {"hours", "not filled"}:
        verdict = "Look again"
    elif stopping:
        verdict = "Not yet"
    else:
        verdict = "Cured"
    return Decision(verdict, not stopping, path, findings, ready_at)


def two_dates(
    cure: Cure, decision: Decision, *, move_after_s: int, work_after_s: int, released_at: int | None = None
) -> TwoDates:
    """When the tire may be moved and mounted, and when it may work under load: the two dates on its tag.

    Both are at the earliest so long after the last draw (settings, in seconds; the defaults of 24 and 72 h are from memory), the
    second longer by the added hours of a cold start, and never before the release: *released_at*, or the forecast without it.
    """
    free_at = decision.ready_at if released_at is None else released_at
    if free_at is None:
        return TwoDates(None, None)
    moved_at = max(free_at, cure.started_at + move_after_s)
    return TwoDates(moved_at, max(moved_at, cure.started_at + work_after_s + cure.added_s))


def median_hardness(values: Iterable[int]) -> Fraction | None:
    """The median of Shore A readings, exact; None without readings.

    ISO 48-4 asks for the median, ASTM D2240 takes mean or median, of at least five readings (from memory).

    >>> median_hardness([28, 30, 29, 35, 29])
    Fraction(29, 1)

    Raises Nonsense for a reading that is not a whole number of 0 to 100.
    """
    readings = list(values)
    for value in readings:
        if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= 100:
            raise Nonsense(
                f"A hardness of {value!r} is off the Shore A scale: give whole numbers from 0 to 100.",
                field="hardness",
                expected="whole numbers from 0 to 100",
            )
    return median([Fraction(value) for value in readings]) if readings else None


def pass_cup(is_set: bool, values: Iterable[int] = (), least: int | None = None) -> bool:
    """Whether a sample cup passes: it has set and, where the shop asks a least hardness (Shore A), its median reaches it.

    >>> pass_cup(True, [28, 30, 29, 35, 29], least=29), pass_cup(True, [], least=29), pass_cup(True)
    (True, False, True)
    """
    middle = median_hardness(values)
    return is_set and (not least or (middle is not None and middle >= least))


def durometer_doubts(
    count: int, dwell_s: int | None, cup_mc: int | None, thickness_dmm: int | None
) -> tuple[str, ...]:
    """What keeps *count* durometer readings from being comparable, in words: dwell in seconds, thousandths of °C, tenths of mm.

    At least five readings, on at least 6 mm, at 23 ± 2 °C, within about a second of firm contact (ISO 48-4 and ASTM D2240, as
    retrieved summaries give them; 3 s is older practice). They are noted, never a reason to fail a cup.
    """
    found = []
    if count < 5:
        found.append(
            f"{count} durometer {'reading' if count == 1 else 'readings'}; at least five, apart from each other, make a median."
        )
    if thickness_dmm is not None and thickness_dmm < 60:
        found.append(
            f"The cup is {units.mm_in(thickness_dmm)} thick where it was read; under 6 mm (0.24 in) the table below is felt."
        )
    if cup_mc is not None and abs(cup_mc - 23_000) > 2_000:
        found.append(
            f"The cup was read at {units.c_f(cup_mc)}; hardness compares at 23 ± 2 °C (73.4 ± 3.6 °F)."
        )
    if dwell_s is not None and dwell_s > 3:
        found.append(
            f"It was read {dwell_s} s after contact; hardness compares within about a second, at most three."
        )
    return tuple(found)


# -- the findings --------------------------------------------------------------------------------------------------------------
def _cup_passes(evidence: Evidence) -> bool:
    if evidence.cup != "passed":
        return False
    middle = evidence.hardness_median
    return not evidence.hardness_least or (middle is not None and middle >= evidence.hardness_least)


def _path(cure: Cure, passing: bool) -> Path | None:
    if cure.needed_earliest_s is not None and passing and cure.credited_s >= cure.needed_earliest_s:
        return "earliest"
    return "standard" if cure.credited_s + cure.attended_s >= cure.needed_standard_s else None


def _ready_at(cure: Cure, passing: bool) -> int | None:
    ready = [cure.ready_standard_at]
    if passing and cure.needed_earliest_s is not None:
        ready.append(cure.ready_earliest_at)
    return min((at for at in ready if at is not None), default=None)


def _state(evidence: Evidence) -> Iterable[Finding]:
    if not evidence.finished:
        yield Finding(
            "not filled", f"{evidence.fill} has not been filled to the end: finish the fill first.", True
        )
    elif evidence.already_released:
        yield Finding(
            "released before",
            f"{evidence.fill} has been released before: dispatch it, or look up what was signed.",
            True,
        )
    elif evidence.state != "racked":
        yield Finding(
            "not racked",
            f"{evidence.fill} is {evidence.state}, not on a rack: rack it, or check the tag.",
            True,
        )


def _holds(evidence: Evidence) -> Iterable[Finding]:
    for words in evidence.holds:
        yield Finding("hold", f"On hold: {_sentence(words)}", True)
    for words in evidence.unsettled:
        yield Finding("unsettled", f"Waits for a second person: {_sentence(words)}", True)
    for source, share_e4 in evidence.source_holds:
        share = f"{share_e4 / 100:.2f} %" if share_e4 else "less than 0.01 %"
        yield Finding("source hold", f"{source}, {share} of this fill, is on hold.", True)
    for words in evidence.recalls:
        yield Finding("recalled", f"On hold: {_sentence(words)}", True)


def _cup(evidence: Evidence) -> Iterable[Finding]:
    least, middle = evidence.hardness_least, evidence.hardness_median
    if evidence.cup is None:
        yield Finding("cup", "No sample cup covers this fill.", False)
    elif evidence.cup == "waiting":
        yield Finding("cup", "The sample cup that covers this fill has not been read yet.", False)
    elif evidence.cup == "failed":
        yield Finding(
            "cup",
            "The sample cup that covers this fill failed: look at the tire and the others the cup covers.",
            True,
        )
    elif not least or (middle is not None and middle >= least):
        measured = "" if middle is None else f", Shore {evidence.hardness_scale} {_number(middle)}"
        yield Finding("cup", f"The sample cup that covers this fill passed{measured}.", False)
    elif middle is None:
        yield Finding(
            "cup",
            f"The sample cup passed without a hardness; the shop asks for Shore {evidence.hardness_scale} {least}: measure the cup.",
            False,
        )
    else:
        yield Finding(
            "cup",
            f"The sample cup measures Shore {evidence.hardness_scale} {_number(middle)}, below the shop's least of {least}.",
            True,
        )


def _pressure(evidence: Evidence, say: Callable[[int], str]) -> Iterable[Finding]:
    pressure, rating = evidence.pressure_pa, evidence.lowest_rating_pa
    if not evidence.finished:
        return
    if pressure is None:
        yield Finding("pressure", "No final pressure was recorded.", True)
        return
    if not evidence.flow_stopped:
        yield Finding(
            "pressure",
            f"The final pressure of {say(pressure)} was read while material still flowed, so it does not count.",
            True,
        )
    if rating is None:
        yield Finding(
            "rating", "The pressure was not checked: no rating of sidewall, rim or wheel is recorded.", False
        )
    elif pressure * 10_000 > rating * (10_000 + evidence.pressure_over_e4):
        yield Finding(
            "pressure",
            f"The final pressure of {say(pressure)} lies above the lowest rating, {say(rating)}.",
            True,
        )


def _hours(
    evidence: Evidence, passing: bool, path: Path | None, ready_at: int | None, say_time: Callable[[int], str]
) -> Iterable[Finding]:
    cure = evidence.cure
    if not evidence.finished:
        return
    if path == "earliest" and cure.needed_earliest_s is not None:
        words = f"Cured {_length(cure.credited_s)}; {_length(cure.needed_earliest_s)} are needed with a passing sample cup."
        yield Finding("hours", words, False)
        return
    added = ", hours added after a cold start" if cure.cold_start else ""
    counted = f"Cured {_length(cure.credited_s + cure.attended_s)}"
    if cure.attended_s:
        counted += f", {_length(cure.attended_s)} of it by hand readings"
    if path == "standard":
        yield Finding("hours", f"{counted}; {_length(cure.needed_standard_s)} are needed{added}.", False)
        return
    earliest = cure.needed_earliest_s
    if earliest is not None and passing:
        counted += f"; needed are {_length(earliest)} by logger with the passing sample cup, or {_length(cure.needed_standard_s)}"
    else:
        counted += f" of the {_length(cure.needed_standard_s)} needed{added}"
        if earliest is not None and cure.credited_s >= earliest:
            counted += f"; {_length(earliest)} would do with a passing sample cup"
    if cure.unobserved_s >= 60:
        counted += f"; {_length(cure.unobserved_s)} went unobserved"
    if cure.near_s >= 60:
        counted += f"; {_length(cure.near_s)} were just below the limit"
    forecast = f"Ready about {say_time(ready_at)}." if ready_at is not None else f"{_sentence(cure.basis)}"
    yield Finding("hours", f"{counted}. {forecast}", True)


def _equivalent(evidence: Evidence) -> Iterable[Finding]:
    seconds = evidence.cure.equivalent_s
    if evidence.finished and seconds is not None:
        yield Finding(
            "equivalent",
            f"By the activation energy given, the observed time came to {_length(seconds)} at the limit's temperature; shown beside, never counted.",
            False,
        )


def _tag(evidence: Evidence) -> Iterable[Finding]:
    # no stop: the ID's check character catches a slip, and a torn tag must not strand a tire
    if not evidence.tag_scanned:
        yield Finding(
            "typed", "The tag was typed, not scanned: compare it with the tire before you sign.", False
        )


def _length(seconds: int) -> str:
    return hours(seconds).removesuffix(" 00 min") if seconds >= 3600 else f"{seconds // 60} min"


def _number(value: int | Fraction) -> str:
    return f"{float(value):g}"


def _sentence(words: str) -> str:
    words = words.strip()
    words = words[:1].upper() + words[1:]
    return words if words.endswith((".", "!", "?")) else f"{words}."
