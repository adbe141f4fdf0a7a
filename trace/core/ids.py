"""The IDs on totes, bins, tires, cups, zones, lines and badges.

An ID is kept as ``BHF2600417Y`` and printed as ``BH-F26-00417-Y``: site (two letters, never I or O), kind, the last two
digits of the shop's local year, serial (five digits, six above 99999), check character.

The check character follows ISO/IEC 7064 MOD 37-2. Its modulus is prime, so it catches every single wrong character and every
swap of two neighbours. Serials whose check would be ``*``, ``I`` or ``O`` are never given out, so that no printed check can
be taken for a 1 or a 0.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from fillbook.trace.core.errors import Nonsense, WrongKind
from fillbook.trace.core.quote import quoted

KINDS = {
    "L": "tote",
    "G": "regrind batch",
    "F": "tire",
    "C": "sample cup",
    "Z": "zone",
    "U": "line",
    "P": "person",
}
EXAMPLE = "BH-F26-00417-Y"
KEPT = 16_384  # IDs that were found right lately: a page asks about the same ones again and again
LAST_SERIAL = 999_999
LAST_BRANDED_SERIAL = 99_999  # a service number has room for five digits

_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
_UNUSED_CHECKS = "*IO"
_SITE = re.compile(r"[A-HJ-NP-Z]{2}")
_COMPACT = re.compile(
    r"([A-HJ-NP-Z]{2})([LGFCZUP])([0-9]{2})((?!00000)[0-9]{5}|[1-9][0-9]{5})([0-9A-HJ-NP-Z])"
)
_HOST = re.compile(r"[A-Z0-9.-]+(:[0-9]{1,5})?")
_ADDRESS = re.compile(r"(?:https?://)?[^/?#\s]+/I/([^/?#]*)/?(?:[?#].*)?", re.IGNORECASE | re.DOTALL)
_DASHES = "-\u00ad\u2010\u2011\u2012\u2013\u2014\u2015\u2043\u2212\ufe58\ufe63\uff0d"
_NO_BLANKS_OR_DASHES = dict.fromkeys(map(ord, _DASHES + "\u200b\ufeff"))
_AS_DIGIT = str.maketrans("OIL", "011")
_AS_CHECK = str.maketrans("OI", "01")  # L is a check character of its own
_LONGEST = 300  # an address with a long host; anything longer is no label of ours

# The quasigroup of H. M. Damm, "Total anti-symmetrische Quasigruppen" (2004), order 10.
_DAMM = (
    (0, 3, 1, 7, 5, 9, 8, 6, 4, 2),
    (7, 0, 9, 2, 1, 5, 4, 8, 6, 3),
    (4, 2, 0, 6, 8, 7, 1, 3, 5, 9),
    (1, 7, 5, 0, 9, 8, 3, 4, 2, 6),
    (6, 1, 2, 3, 0, 4, 5, 9, 7, 8),
    (3, 6, 7, 4, 2, 0, 9, 5, 8, 1),
    (5, 8, 6, 9, 7, 2, 0, 1, 3, 4),
    (8, 9, 4, 5, 3, 6, 2, 0, 1, 7),
    (9, 4, 3, 8, 6, 1, 7, 2, 0, 5),
    (2, 5, 8, 1, 4, 3, 6, 7, 9, 0),
)


class Parts(NamedTuple):
    """What an ID says, piece by piece; ``year`` has two digits."""

    site: str
    kind: str
    year: int
    serial: int
    check: str


def check_character(payload: str) -> str:
    """The ISO/IEC 7064 MOD 37-2 check of *payload* (0-9, A-Z): one of 0-9, A-Z or ``*``.

    The characters, check last, weighted with rising powers of two from the right, sum to 1 modulo 37.

    >>> check_character("G123498654321")
    'H'

    Raises Nonsense for an empty payload or a character outside 0-9 and A-Z.
    """
    total = 0
    for character in payload:
        value = _ALPHABET.find(character)
        if not 0 <= value < 36:
            raise Nonsense(
                f"{quoted(payload)} can have no check character: {quoted(character)} is neither a digit nor a capital letter."
            )
        total = (total + value) * 2 % 37
    if not payload:
        raise Nonsense("Nothing can have no check character: give the digits and letters it is for.")
    return _ALPHABET[(1 - total) % 37]


@lru_cache(maxsize=KEPT)
def is_valid(compact: str) -> bool:
    """Whether *compact* is an ID exactly as the book keeps it, its check character right."""
    return bool(_COMPACT.fullmatch(compact)) and check_character(compact[:-1]) == compact[-1]


def site_ok(site: str) -> bool:
    """Whether *site* may stand before an ID: two capital letters, neither of them I nor O."""
    return bool(_SITE.fullmatch(site))


def mint(site: str, kind: str, year: int, serial: int) -> str:
    """The ID of this serial, as the book keeps it. *year* is 2026 or 26; *serial* counts from 1 to 999999.

    >>> mint("BH", "F", 2026, 417)
    'BHF2600417Y'

    Raises Nonsense for a site, kind, year or serial that cannot be, and for a serial whose check character would be
    ``*``, ``I`` or ``O`` (ask `next_serial` for one that can be used).
    """
    payload = _payload(site, kind, year, serial)
    check = check_character(payload)
    if check in _UNUSED_CHECKS:
        raise Nonsense(
            f"Serial {serial} is not given out, because its check character could be misread; take the next one.",
            field="serial",
        )
    return payload + check


def next_serial(site: str, kind: str, year: int, after: int) -> int:
    """The first serial above *after* that can be given out (about one in twelve is skipped).

    Raises Nonsense when the year's serials are used up.
    """
    serial = after + 1
    while check_character(_payload(site, kind, year, serial)) in _UNUSED_CHECKS:
        serial += 1
    return serial


def read(text: str) -> str:
    """The ID in *text* as the book keeps it; *text* is a bare ID or the address on a label.

    Forgives case, blanks, hyphens of any sort or none, O for 0 and I or L for 1 where only a digit can stand (and O, I as
    the check character, which is never either letter). The host of an address is not looked at. A check character that does
    not fit is never argued with.

    >>> read("bh f26 oo417 y")
    'BHF2600417Y'
    >>> read("http://shop.example/i/BHF2600417Y?from=phone")
    'BHF2600417Y'

    Raises Nonsense where no ID can be read.
    """
    if not isinstance(text, str) or len(text) > _LONGEST:
        raise Nonsense(
            f"{quoted(text)} is not an ID: scan the label, or type an ID like {EXAMPLE}.", expected=EXAMPLE
        )
    stripped = text.strip()
    if not stripped:
        raise Nonsense(f"Nothing was read: scan the label, or type an ID like {EXAMPLE}.", expected=EXAMPLE)
    bare = stripped
    if "/" in stripped:
        address = _ADDRESS.fullmatch(stripped)
        if not address:
            raise Nonsense(
                f"{quoted(stripped)} is not the address on one of our labels, which ends in /I/ and the ID: "
                f"scan the label again, or type its ID like {EXAMPLE}.",
                expected=EXAMPLE,
            )
        bare = address[1]
    found = _by_position("".join(bare.translate(_NO_BLANKS_OR_DASHES).split()))
    if not _COMPACT.fullmatch(found):
        raise Nonsense(
            f"{quoted(bare)} is not an ID: one reads like {EXAMPLE} (site, kind, year, serial, check character); "
            "scan the label again, or type all of it.",
            expected=EXAMPLE,
        )
    if check_character(found[:-1]) != found[-1]:
        raise Nonsense(
            f"{quoted(bare)} cannot be right, because its last character does not fit the ones before it; "
            "scan the label again, or compare every character with the tag.",
            expected=EXAMPLE,
        )
    return found


@lru_cache(maxsize=KEPT)
def parts(compact: str) -> Parts:
    """*compact* in its pieces. Raises Nonsense unless it is a valid ID as the book keeps it."""
    match = _COMPACT.fullmatch(compact)
    if not match or check_character(compact[:-1]) != compact[-1]:
        raise Nonsense(f"{quoted(compact)} is not an ID as the book keeps it: read it from the label first.")
    site, kind, year, serial, check = match.groups()
    return Parts(site, kind, int(year), int(serial), check)


def pretty(compact: str) -> str:
    """The ID as it is printed: ``BHF2600417Y`` becomes ``BH-F26-00417-Y``. Raises Nonsense for an invalid ID."""
    parts(compact)
    return f"{compact[:2]}-{compact[2:5]}-{compact[5:-1]}-{compact[-1]}"


def kind_of(compact: str) -> str:
    """The kind letter of an ID, a key of `KINDS`. Raises Nonsense for an invalid ID."""
    return parts(compact).kind


def address(host: str, compact: str) -> str:
    """What the QR label says: upper case, so that the symbol stays in its compact alphanumeric mode.

    *host* is a name or number, with a port where needed.

    >>> address("shop.example:8080", "BHF2600417Y")
    'HTTP://SHOP.EXAMPLE:8080/I/BHF2600417Y'

    Raises Nonsense for an invalid ID or a host with other characters than letters, digits, points and hyphens.
    """
    parts(compact)
    upper = host.upper()
    if not _HOST.fullmatch(upper):
        raise Nonsense(
            f"{quoted(host)} cannot stand in a label's address: give the bare host, like shop.example or 192.168.0.5:8080.",
            field="host",
            expected="a host name, with a port where needed",
        )
    return f"HTTP://{upper}/I/{compact}"


@lru_cache(maxsize=64)
def example(site: str, kind: str) -> str:
    """An ID as the shop *site* prints one of *kind*; `EXAMPLE` where there can be none.

    >>> example("LM", "L")
    'LM-L26-00417-H'
    """
    if not site_ok(site) or kind not in KINDS:
        return EXAMPLE
    return pretty(mint(site, kind, 2026, next_serial(site, kind, 2026, 416)))


def in_letters_of(trouble: Nonsense, site: str, kind: str, field: str | None = None) -> Nonsense:
    """What `read` said, with an example in the letters of the shop *site* and of the *kind* that is wanted."""
    like = example(site, kind)
    return Nonsense(str(trouble).replace(EXAMPLE, like), field=field, expected=like)


def service_number(compact: str) -> str:
    """The eight digits to brand or paint on a tire: year (2), serial (5), check digit by Damm.

    >>> service_number("BHF2600417Y")
    '26004173'

    Raises WrongKind for anything but a tire, Nonsense for an invalid ID or a serial above 99999.
    """
    tire = parts(compact)
    if tire.kind != "F":
        raise WrongKind(
            f"{pretty(compact)} is a {KINDS[tire.kind]}; only tires carry a service number: scan the tire's own tag."
        )
    if tire.serial > LAST_BRANDED_SERIAL:
        raise Nonsense(
            f"{pretty(compact)} has no service number, because its serial needs more than five digits: mark the tire with its ID."
        )
    digits = f"{tire.year:02d}{tire.serial:05d}"
    return digits + str(_damm(digits))


def read_service_number(text: str) -> str:
    """The eight digits of a service number, forgiving blanks, hyphens, O for 0 and I or L for 1.

    The number names neither site nor kind; its first two digits are the year, the next five the tire's serial.

    Raises Nonsense where it is not eight digits or the check digit does not fit.
    """
    if not isinstance(text, str) or len(text) > _LONGEST:
        raise Nonsense(
            f"{quoted(text)} is not a service number: read all eight digits off the tire.",
            expected="8 digits",
        )
    digits = _ascii_upper("".join(text.translate(_NO_BLANKS_OR_DASHES).split())).translate(_AS_DIGIT)
    if not re.fullmatch(r"[0-9]{8}", digits):
        raise Nonsense(
            f"{quoted(text)} is not a service number: read all eight digits off the tire.",
            expected="8 digits",
        )
    if _damm(digits) != 0 or digits[2:7] == "00000":
        raise Nonsense(
            f"{quoted(text)} cannot be right, because its last digit does not fit the ones before it; "
            "read the tire again, digit by digit.",
            expected="8 digits",
        )
    return digits


def _payload(site: str, kind: str, year: int, serial: int) -> str:
    if not site_ok(site):
        raise Nonsense(
            f"{quoted(site)} cannot be a site: take two capital letters, neither of them I nor O.",
            field="site",
            expected="two letters without I and O",
        )
    if kind not in KINDS:
        raise Nonsense(f"{quoted(kind)} is not a kind of ID: take one of {', '.join(KINDS)}.", field="kind")
    if not (0 <= year <= 99 or 2000 <= year <= 2099):
        raise Nonsense(f"{quoted(year)} cannot be the year of an ID: take 2000 to 2099.", field="year")
    if serial < 1:
        raise Nonsense(f"{quoted(serial)} cannot be a serial: they count from 1.", field="serial")
    if serial > LAST_SERIAL:
        raise Nonsense(
            f"{quoted(serial)} cannot be a serial, because IDs hold up to {LAST_SERIAL} a year: use a second site for the rest.",
            field="serial",
        )
    return f"{site}{kind}{year % 100:02d}{serial:05d}"


def _ascii_upper(text: str) -> str:
    # str.upper would turn the dotless i or the long s into letters that nobody printed.
    return text.upper() if text.isascii() else text


def _by_position(characters: str) -> str:
    """O, I, L as 0, 1, 1 where only a digit can stand; a valid ID has none there, so none can become another."""
    upper = _ascii_upper(characters)
    return (
        upper[:3] + upper[3:-1].translate(_AS_DIGIT) + upper[-1:].translate(_AS_CHECK)
        if len(upper) > 3
        else upper
    )


def _damm(digits: str) -> int:
    state = 0
    for digit in digits:
        state = _DAMM[state][int(digit)]
    return state
