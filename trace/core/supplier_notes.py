"""A shop's own note on how to read one supplier's codes: a pattern with named parts.

A pattern is typed by people and tried on whatever is scanned, so it may not be able to stall the program. Only patterns whose
work is bounded are taken: no repeat inside a repeat, no reference back, no looking around, few repeats of open length, and short
codes. `check` says which of these a pattern breaks.
"""

from __future__ import annotations

import re
import warnings
from typing import Any

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

#: What the parts of a pattern may be called, and what each fills in.
PARTS = {
    "item": "the supplier's number of the material",
    "lot": "lot",
    "made": "when it was made",
    "use_by": "use by",
    "net_kg": "net weight in kg",
    "net_lb": "net weight in lb",
    "count": "how many",
    "serial": "serial",
}
LONGEST_PATTERN = 200
LONGEST_CODE = 100
_MOST_OPEN = (
    4  # repeats of open length: at most C(104, 4) ways to try on a code of 100 characters, under a second
)
_MOST_BRANCHES = 8
_EXAMPLE = r"(?P<lot>[A-Z]\d{4})-(?P<net_kg>\d+)"


def check(pattern: str) -> re.Pattern[str]:
    """*pattern*, ready to use. Raises Nonsense saying what is wrong with it.

    >>> match = check(r"(?P<lot>[A-Z]\\d{4})-(?P<net_kg>\\d+)").fullmatch("A2231-1000")
    >>> match["lot"], match["net_kg"]
    ('A2231', '1000')
    """
    if not pattern or len(pattern) > LONGEST_PATTERN:
        raise Nonsense(
            f"The pattern is {len(pattern)} characters long; it takes 1 to {LONGEST_PATTERN}, such as {_EXAMPLE}.",
            field="pattern",
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            made = re.compile(pattern, re.ASCII)
            parsed: Any = re._parser.parse(pattern, re.ASCII)  # type: ignore[attr-defined]
    except (re.error, OverflowError, RecursionError, Warning) as trouble:
        raise Nonsense(
            f"The pattern can't be read ({trouble}): write it like {_EXAMPLE}.", field="pattern"
        ) from None
    if not made.groupindex:
        raise Nonsense(
            f"The pattern names no part: write (?P<lot>…) around what is the lot, such as {_EXAMPLE}.",
            field="pattern",
        )
    for name in made.groupindex:
        if name not in PARTS:
            raise Nonsense(
                f"{quoted(name)} is no part a code can have: take of {', '.join(PARTS)}.", field="pattern"
            )
    _bounded(parsed)
    return made


def _bounded(parsed: Any) -> None:
    open_ended = branches = 0

    def walk(part: Any, inside: bool) -> None:
        nonlocal open_ended, branches
        for name, value in part:
            kind = str(name)
            if kind in ("MAX_REPEAT", "MIN_REPEAT", "POSSESSIVE_REPEAT"):
                least, most, inner = value
                if inside and int(most) > 1:
                    raise _refused("a repeat inside a repeat")
                if most != least:
                    open_ended += 1
                walk(inner, inside or int(most) > 1)
            elif kind == "SUBPATTERN":
                walk(value[-1], inside)
            elif kind == "BRANCH":
                branches += len(value[1])
                if inside:
                    raise _refused("alternatives inside a repeat")
                for one in value[1]:
                    walk(one, inside)
            elif kind in ("ASSERT", "ASSERT_NOT", "GROUPREF", "GROUPREF_EXISTS", "ATOMIC_GROUP"):
                raise _refused("looking around or back")

    walk(parsed, False)
    if open_ended > _MOST_OPEN:
        raise _refused(
            f"{open_ended} repeats of open length (at most {_MOST_OPEN}; write {{8}} where the length is known)"
        )
    if branches > _MOST_BRANCHES:
        raise _refused(f"{branches} alternatives (at most {_MOST_BRANCHES})")


def _refused(what: str) -> Nonsense:
    return Nonsense(
        f"The pattern has {what}, which could take for ever on a long code: write it more plainly, such as {_EXAMPLE}.",
        field="pattern",
    )


def parts(pattern: str, code: str) -> dict[str, str] | None:
    """The named parts of *code* by *pattern*, or None where the whole code does not fit it. Raises Nonsense for a bad pattern."""
    made = check(pattern)
    if len(code) > LONGEST_CODE:
        return None
    found = made.fullmatch(code)
    return None if found is None else {name: value for name, value in found.groupdict().items() if value}
