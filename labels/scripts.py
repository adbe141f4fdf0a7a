"""Words written from right to left, made ready for drawing: Arabic letters joined, and each line put into the order of the eye.

Letters are kept in the order in which they are spoken; PDF draws them in the order in which they stand. What labels carry is
short: names and remarks. So this follows the Unicode bidirectional algorithm (UAX 9) in its plain part, without embeddings and
isolates, which are taken out of every value beforehand.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from itertools import groupby

_FORMS = ("isolated", "final", "initial", "medial")
_LAM = "\u0644"


@lru_cache(maxsize=1)
def _joined() -> dict[tuple[str, str], str]:
    """(letter or letters, form) -> the presentation form, from Unicode's own decompositions (Arabic Presentation Forms-B)."""
    found: dict[tuple[str, str], str] = {}
    for point in range(0xFE70, 0xFEFD):
        how, *letters = unicodedata.decomposition(chr(point)).split() or [""]
        if how.strip("<>") in _FORMS and letters and letters[0] != "0020":
            found["".join(chr(int(one, 16)) for one in letters), how.strip("<>")] = chr(point)
    return found


def right_to_left(text: str) -> bool:
    """Whether any letter of *text* is written from right to left."""
    return any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in text)


def join(text: str) -> str:
    """*text* with its Arabic letters in the forms they take beside each other; lam and alef become one letter.

    >>> join("\\u0628\\u0628") == "\\ufe91\\ufe90"  # beh beh: an initial and a final one
    True
    """
    known = _joined()
    letters: list[str] = []
    for letter in text:
        if letters and letters[-1] == _LAM and (_LAM + letter, "isolated") in known:
            letters[-1] += letter
        elif unicodedata.bidirectional(letter) == "NSM" and letters and right_to_left(letters[-1]):
            continue  # vowel marks need a shaping engine; the word is read without them
        else:
            letters.append(letter)
    out = []
    for n, letter in enumerate(letters):
        before = n > 0 and (letters[n - 1], "initial") in known and (letter, "final") in known
        after = (letter, "initial") in known and n + 1 < len(letters) and (letters[n + 1], "final") in known
        form = _FORMS[2 * after + before]
        out.append(known.get((letter, form), letter))
    return "".join(out)


def as_seen(line: str) -> str:
    """One *line* in the order in which its letters stand from left to right.

    A line is read from the right as soon as its first letter with a direction is a right-to-left one; numbers and words in
    Latin letters inside keep their own order, and brackets turn.
    """
    if not right_to_left(line):
        return line
    levels = _levels(line)
    runs = [[line[n] for n, _ in run] for _, run in groupby(enumerate(levels), key=lambda pair: pair[1])]
    kinds = [level for level, _ in groupby(levels)]
    if levels and _from_right(line):
        order = range(len(runs) - 1, -1, -1)
        return "".join(_turned(runs[n]) if kinds[n] else "".join(runs[n]) for n in order)
    return "".join(_turned(run) if kind else "".join(run) for run, kind in zip(runs, kinds, strict=True))


def _from_right(line: str) -> bool:
    first = next((d for c in line if (d := unicodedata.bidirectional(c)) in ("L", "R", "AL")), "L")
    return first != "L"


def _levels(line: str) -> list[bool]:
    """For each letter, whether it runs from right to left. Signs and blanks go with both neighbours, else with the line;
    numbers and what stands between digits run from left to right."""
    whole = _from_right(line)
    found: list[bool | None] = []
    for letter in line:
        kind = unicodedata.bidirectional(letter)
        found.append(True if kind in ("R", "AL") else False if kind in ("L", "EN", "AN") else None)
    at = 0
    while at < len(found):
        if found[at] is not None:
            at += 1
            continue
        end = at
        while end < len(found) and found[end] is None:
            end += 1
        before = found[at - 1] if at else whole
        after = found[end] if end < len(found) else whole
        found[at:end] = [before if before == after else whole] * (end - at)
        at = end
    return [bool(one) for one in found]


_MIRRORED = str.maketrans("()[]{}<>«»", ")(][}{><»«")


def _turned(letters: list[str]) -> str:
    return "".join(reversed(letters)).translate(_MIRRORED)
