"""When a reason says something: who signs against a rule is asked for words another can judge by later."""

from __future__ import annotations

import re

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

WORDS = 2
LETTERS = 8  # of a single word that says enough, such as "recalibrated"
LONG_WORD = 3  # letters of at least one of several words


def says_something(reason: str) -> bool:
    """Whether *reason* is two words or more, one of them no mere letter or two; or one word of eight letters. No row of one letter.

    >>> [says_something(text) for text in ("x", "ok", "x x", "looked", "xxxxxxxx", "looked at it", "60 psi", "remeasured")]
    [False, False, False, False, False, True, True, True]
    """
    words = re.findall(r"\w+", reason)
    letters = [re.findall(r"[^\W\d_]", word) for word in words]
    if len(set(reason.lower()) - set(" .,-")) < LONG_WORD:
        return False
    longest = max((len(some) for some in letters), default=0)
    return longest >= LETTERS or (len(words) >= WORDS and longest >= LONG_WORD)


def check(reason: str, field: str) -> None:
    """Raise Nonsense for a *reason* that says nothing, naming *field*."""
    if not says_something(reason):
        raise Nonsense(too_little(reason), field=field, expected="two words or more")


def too_little(reason: str) -> str:
    """What is said of a reason that says nothing."""
    return (
        f"{quoted(reason)} is too little for a reason, which stays in the book for whoever asks later: write at least two words, or one of "
        f"{LETTERS} letters, such as what was looked at."
    )
