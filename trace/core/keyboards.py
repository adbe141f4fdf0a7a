"""What a hand scanner meant when it and the computer are set to keyboards of different languages.

A scanner of the common kind types: it sends the keys that print a label's characters on the keyboard it is set to, and the
computer prints what these keys say on its own. Set to US and plugged into a German computer, ``HTTP://`` arrives as ``HTTPÖ--``,
and Y and Z change places; on a French one the digits arrive as ``&é"'(-è_çà``.

Each layout is a table of what its keys print, so any two can be set against each other. Which two it was is not known: all are
tried, and the ID's check character decides. Only where one ID alone comes out is it taken.
"""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

_DEAD = "\0"  # a key that waits for the next one and prints nothing by itself
_KEYS = 45  # the three rows of letters and the row of digits, left to right, top to bottom; ISO's extra key is not needed

#: Layout -> what its keys print, without and with Shift. From the symbols files of xkeyboard-config (us, de, fr, es, it
#: and ca(fr)); the tests compare them with a library that reads those files.
LAYOUTS: dict[str, tuple[str, str]] = {
    "US": ("1234567890-=" "qwertyuiop[]" "asdfghjkl;'" "zxcvbnm,./",
           "!@#$%^&*()_+" "QWERTYUIOP{}" "ASDFGHJKL:\"" "ZXCVBNM<>?"),
    "German": ("1234567890ß\0" "qwertzuiopü+" "asdfghjklöä" "yxcvbnm,.-",
               "!\"§$%&/()=?\0" "QWERTZUIOPÜ*" "ASDFGHJKLÖÄ" "YXCVBNM;:_"),
    "French": ("&é\"'(-è_çà)=" "azertyuiop\0$" "qsdfghjklmù" "wxcvbn,;:!",
               "1234567890°+" "AZERTYUIOP\0£" "QSDFGHJKLM%" "WXCVBN?./§"),
    "Spanish": ("1234567890'¡" "qwertyuiop\0+" "asdfghjklñ\0" "zxcvbnm,.-",
                "!\"·$%&/()=?¿" "QWERTYUIOP\0*" "ASDFGHJKLÑ\0" "ZXCVBNM;:_"),
    "Italian": ("1234567890'ì" "qwertyuiopè+" "asdfghjklòà" "zxcvbnm,.-",
                "!\"£$%&/()=?^" "QWERTYUIOPé*" "ASDFGHJKLç°" "ZXCVBNM;:_"),
    "Canadian French": ("1234567890-=" "qwertyuiop\0\0" "asdfghjkl;\0" "zxcvbnm,.é",
                        "!\"/$%?&*()_+" "QWERTYUIOP\0\0" "ASDFGHJKL:\0" "ZXCVBNM'.É"),
}  # fmt: skip
_OF_AN_ID = re.compile(r"[A-Za-z0-9\s:/.\-?#=&]*")  # letters, digits, and what stands in a label's address
_LONGEST = 300


class Meant(NamedTuple):
    """The ID that was meant, and the two layouts that explain it: the scanner's and the computer's."""

    item: str
    scanner: str
    computer: str


def meant(text: str, *, scanned: bool = False) -> Meant | None:
    """The ID a scanner meant by *text*, which does not read as it stands; None where there is none, or more than one.

    Only taken as mixed up where one of the characters stands in no ID and no label's address, or where *scanned* says that no
    hand typed them: a person who types Z for Y is told so, not helped past the check character.

    >>> meant("HTTPÖ--FILLBOOK.LOCAL-I-BHF2600417Z")
    Meant(item='BHF2600417Y', scanner='US', computer='German')
    >>> meant("BHF2600417Z") is None
    True
    """
    text = text.strip()
    if not text or len(text) > _LONGEST:
        return None
    if not scanned and _OF_AN_ID.fullmatch(text):
        return None
    found: dict[str, Meant] = {}
    for scanner in LAYOUTS:
        for computer in LAYOUTS:
            if scanner == computer:
                continue
            said = text.translate(_table(scanner, computer))
            if _DEAD in said:
                continue
            try:
                item = ids.read(said)
            except Nonsense:
                continue
            found.setdefault(item, Meant(item, scanner, computer))
    return next(iter(found.values())) if len(found) == 1 else None


def read_id(text: str) -> str:
    """The ID in *text* as `ids.read` reads it, or as a scanner of another keyboard meant it: no hand types ``HTTP:##``.

    Raises the Nonsense of `ids.read` where neither reads.
    """
    try:
        return ids.read(text)
    except Nonsense:
        begins = text.strip().upper() if isinstance(text, str) else ""
        mixed = meant(text, scanned=begins.startswith("HTTP") and "://" not in begins) if begins else None
        if mixed is None:
            raise
        return mixed.item


def readings(text: str) -> set[str]:
    """What *text* can have been before another keyboard printed it, by every two layouts that explain all of it; never *text* itself."""
    found = {text.translate(_table(one, other)) for one in LAYOUTS for other in LAYOUTS if one != other}
    return {said for said in found if _DEAD not in said} - {text}


def typed_as(text: str, scanner: str, computer: str) -> str:
    """What arrives when a scanner set to *scanner* types *text* into a computer set to *computer*; dead keys print nothing.

    >>> typed_as("HTTP://", "US", "French")
    'HTTPM!!'
    """
    return text.translate(_table(computer, scanner)).replace(_DEAD, "")


@cache
def _table(meant_in: str, printed_in: str) -> dict[int, str]:
    """What was printed on *printed_in* -> what the same key prints on *meant_in*."""
    there = "".join(LAYOUTS[printed_in])
    here = "".join(LAYOUTS[meant_in])
    # A character on two keys (the point of the Canadian layout) is read as on the first: the one without Shift.
    return {ord(a): b for a, b in reversed(list(zip(there, here, strict=True))) if a != _DEAD}
