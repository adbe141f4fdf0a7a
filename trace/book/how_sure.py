"""How sure a recall is: each tier explained in a sentence with this recall's own numbers, and what its bounds rest on."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

from fillbook.trace.book import in_parts, queries, reach, spans, suspects
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, recall, units

Item = dict[str, Any]
NEVER = 2**53  # later than any piece was cut
NAMED = 3


def explain(
    book: Book,
    shop: str,
    found: dict[str, Any],
    us: bool | None = None,
    said: str = "",
    before: reach.Reach | None = None,
) -> dict[str, Any]:
    """*found*, as :func:`recalls.recall` gives it, explained for the page *how sure are we?*

    ``tiers``: per tier ``tier``, ``count`` and ``sentence``, all five of them, empty ones too. ``rests_on``: sentences on the
    weights, contents and anchors that the bounds come from. Masses in pounds where *us*, else kilograms; left out, as the shop does. *said*: the suspect
    as it was asked for, where its words in *found* do not say it again. *before*: what was reached when *found* was made, if it is at hand:
    then less has to be walked again.
    """
    if any(one["tier"] == recall.NOT_EXCLUDED for one in found["items"]):
        found = {**found, "by_unknown": _by_unknown(book, shop, found, said or found["suspect"], before)}
    say = _Say(queries.is_us(book, shop) if us is None else us, found)
    by_tier: dict[str, list[Item]] = {tier: [] for tier in recall.TIERS}
    for one in found["items"]:
        by_tier[one["tier"]].append(one)
    tiers = [
        {"tier": tier, "count": len(mine), "sentence": SENTENCES[tier](say, mine)}
        for tier, mine in by_tier.items()
        if tier != recall.TRACES
    ]
    tiers.append(
        {"tier": recall.TRACES, "count": found["traces"]["count"], "sentence": _traces(say, found["traces"])}
    )
    return {"suspect": found["suspect"], "tiers": tiers, "rests_on": _rests_on(book, shop, found, say)}


class _Say:
    def __init__(self, us: bool, found: dict[str, Any]) -> None:
        self.unit = "lb" if us else "kg"
        self.suspect = found["suspect"]
        self.threshold = f"{found['threshold'] * 100:g} %"
        self.by_unknown = found.get("by_unknown", (0, []))
        self.setting = found["defect"] == recall.SETTING

    def mass(self, grams: int) -> str:
        return units.show("mass", grams, self.unit)

    def span(self, mine: list[Item]) -> str:
        least, best, most = (sum(one["grams"][bound] for one in mine) for bound in ("least", "best", "most"))
        return f"together most likely {self.mass(best)}, at least {self.mass(least)} and at most {self.mass(most)}"


def _tires(mine: list[Item]) -> str:
    return f"{len(mine)} tire" + ("" if len(mine) == 1 else "s")


def _share(value: float) -> str:
    return f"{value * 100:.2f} %"


def _certain(say: _Say, mine: list[Item]) -> str:
    if not mine:
        return f"No tire is certain to hold {say.suspect}."
    fewest = min(mine, key=lambda one: (one["grams"]["least"], one["id"]))
    return (
        f"{_tires(mine)} {'hold' if len(mine) > 1 else 'holds'} {say.suspect} for certain, whatever hoses and hoppers held within their limits "
        f"and however far the weights were off within their bases. Of the fills as recorded (the shares hold whatever they truly weighed) it is {say.span(mine)}; the least of them, {fewest['id']}, holds {say.mass(fewest['grams']['least'])} or more."
    )


def _possible(say: _Say, mine: list[Item]) -> str:
    if not mine:
        return f"No tire lies so near a change-over that it only may hold {say.suspect}."
    most = max(mine, key=lambda one: (one["grams"]["most"], one["id"]))
    likely = sum(one["grams"]["best"] > 0 for one in mine)
    none = "none" if not likely else "all" if likely == len(mine) else str(likely)
    return (
        f"{_tires(mine)} may hold {say.suspect} because a change-over was near and the hose or hopper may still, or already, have held it: "
        f"{none} of them most likely {'does' if likely == 1 else 'do'}; {say.span(mine)}; the most in one, {most['id']}, is {say.mass(most['grams']['most'])}."
    )


def _through(say: _Say, mine: list[Item]) -> str:
    if say.setting:
        return "None is listed for its regrind: cured pieces are inert, so a defect of setting does not come through it."
    if not mine:
        return f"No tire holds {say.threshold} or more of {say.suspect} through regrind alone."
    most = max(mine, key=lambda one: (one["exposure"]["best"], one["id"]))
    least = min(mine, key=lambda one: (one["exposure"]["best"], one["id"]))
    way = " by way of " + ", ".join(most["path"][1:-1]) if len(most["path"]) > 2 else ""
    return (
        f"{_tires(mine)} most likely {'hold' if len(mine) > 1 else 'holds'} {say.threshold} or more of the fill through regrind: from "
        f"{_share(least['exposure']['best'])} ({least['id']}) to {_share(most['exposure']['best'])} ({most['id']}{way}); {say.span(mine)}."
    )


def _not_excluded(say: _Say, mine: list[Item]) -> str:
    if not mine:
        return f"No other tire can hold {say.threshold} or more of {say.suspect}."
    most = max(mine, key=lambda one: (one["exposure"]["most"], one["id"]))
    best = max(one["exposure"]["best"] for one in mine)
    many, batches = say.by_unknown
    if not many:
        because = "it is the bounds of hoses, hoppers and weights alone"
    else:
        share = (
            f"{many} of them stand here"
            if many < len(mine)
            else "all of them stand here"
            if many > 1
            else "it stands here"
        )
        because = f"{share} only because material of unknown origin may be of it"
        if batches:
            because += f", by way of {', '.join(batches[:NAMED])}" + (
                f" and {len(batches) - NAMED} more" if len(batches) > NAMED else ""
            )
    return (
        f"{_tires(mine)} most likely {'hold' if len(mine) > 1 else 'holds'} less than {say.threshold} ({_share(best)} at most by the likely "
        f"course), but it can't be excluded that it is more, up to {_share(most['exposure']['most'])} in {most['id']}: {because}."
    )


def _traces(say: _Say, traces: dict[str, int]) -> str:
    if not traces["count"]:
        return "No further tire holds any trace of it."
    return (
        f"{traces['count']} more {'tire holds a trace' if traces['count'] == 1 else 'tires hold traces'} below {say.threshold}, "
        f"together most likely {say.mass(traces['best_g'])}; they are counted, and stand in the file."
    )


def _by_unknown(
    book: Book, shop: str, found: dict[str, Any], said: str, before: reach.Reach | None
) -> tuple[int, list[str]]:
    """How many tires are not excluded only because unknown material may be the suspect's; and the batches with the most of it."""
    suspect = suspects.suspect(book, shop, said)
    through = found["defect"] == recall.CONTAMINATION
    known_alone = replace(suspect, since=NEVER, made=NEVER)
    mine = [ids.read(one["id"]) for one in found["items"] if one["tier"] == recall.NOT_EXCLUDED]
    numbers = in_parts.numbers(book, mine)
    if not through:
        known = reach.straight(book, known_alone).held
    elif before is None:
        known = reach.exact(book, known_alone).held
    else:
        known = reach.again(book, known_alone, numbers.values(), before)
    many = sum(known.value(number).upper < found["threshold"] for number in numbers.values())
    low, high = reach.range_of(book, shop)
    batches = book.tuples(
        f"SELECT c.code FROM {reach.unknown_links(book, 'k')} JOIN item c ON c.num = k.child WHERE k.parent = 0 AND k.cut_at >= ? AND k.child BETWEEN ? AND ? "
        "AND k.stream = 'G' GROUP BY c.code ORDER BY sum(k.most_g) DESC, c.code",
        suspect.made, low, high,
    )  # fmt: skip
    return many, [ids.pretty(code) for (code,) in batches] if through else []


SENTENCES = {
    recall.CERTAIN: _certain,
    recall.POSSIBLE: _possible,
    recall.THROUGH_REGRIND: _through,
    recall.NOT_EXCLUDED: _not_excluded,
}


def _rests_on(book: Book, shop: str, found: dict[str, Any], say: _Say) -> list[str]:
    """The weights by their bases, the contents of the lines, and the totes that did not add up."""
    listed = [ids.read(one["id"]) for one in found["items"]]
    bases: Counter[str] = Counter()
    lines: set[str] = set()
    for start in range(0, len(listed), 500):
        part = listed[start : start + 500]
        marks = ", ".join("?" * len(part))
        for basis, line, count in book.tuples(
            f"SELECT basis, line, count(*) FROM line_act WHERE what = 'draw' AND item IN ({marks}) GROUP BY basis, line",
            *part,
        ):
            bases[basis] += count
            lines.add(line)
    bands = spans.Bands(book, shop)
    words = []
    if bases:
        each = ", ".join(
            f"{count} by {basis} (±{bands.of(basis, 2**53) / 100:g} %)"
            for basis, count in sorted(bases.items(), key=lambda p: -p[1])
        )
        words.append(f"The weights in the listed tires are {each}.")
    for line in sorted(lines):
        name = queries.name_of(book, line)
        low, high = (queries.limit(book, shop, f"hose_content_{end}", 2**53, line) for end in ("low", "high"))
        bottom, top = (
            queries.limit(book, shop, f"hopper_content_{end}", 2**53, line) for end in ("low", "high")
        )
        words.append(
            f"On {name} a hose is taken to hold {say.mass(low)} to {say.mass(high)}, the hopper {say.mass(bottom)} to {say.mass(top)}."
        )
        least, most = (
            queries.limit(book, shop, f"mixed_content_{end}", 2**53, line) for end in ("low", "high")
        )
        if most:
            words.append(
                f"In its tube, fill hose and gun {say.mass(least)} to {say.mass(most)} stay after a fill and go into the next tire, unless they were blown out."
            )
        for side in spans.SIDES:
            own = spans.own_band(book, line, side)
            if own is not None:
                words.append(
                    f"By its own weighings the pump total of side {side} on {name} is right within ±{own / 100:g} %."
                )
    words.extend(_flagged(book, shop, found, lines, say))
    return words


def _flagged(book: Book, shop: str, found: dict[str, Any], lines: set[str], say: _Say) -> list[str]:
    members = [ids.read(member) for member in found["members"]]
    words = []
    for line in sorted(lines):
        for row in spans.of_totes(book, shop, line, members):
            if row["flagged"]:
                factor = "" if row["factor"] is None else f", a factor of {row['factor']:.2f}"
                words.append(
                    f"{row['tote']} held {say.mass(row['held_g'])} on {row['line']} and gave {say.mass(row['drawn_g'])} by the fills{factor}: "
                    "a draw or a change-over is missing from the book."
                )
    return words
