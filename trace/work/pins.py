"""A PIN and a one-time code: which are taken, how they are kept, and how one that was typed is compared.

Four to eight digits are guessed quickly by whoever has the file, however slow the hash. The lock-out is what guards them in the
shop; the hash keeps a glance at a backup from telling what somebody may also use elsewhere.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets

from fillbook.trace.core.errors import Nonsense

#: scrypt (RFC 7914): 16 MiB and some 60 ms on a small machine. They stand in each hash, so they can grow.
COST, BLOCK, LANES = 2**14, 8, 1
LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"  # none that is mistaken for another when read from a screen
CODE_LENGTH = 8
ROWS = ("01234567890", "09876543210")


def kept(secret: str, *, cost: int = COST, block: int = BLOCK, lanes: int = LANES) -> str:
    """*secret* as it is stored: scrypt, its parameters, a salt of its own and the hash."""
    salt = secrets.token_bytes(16)
    parts = (_hash(secret, salt, cost, block, lanes), salt)
    hashed, salted = (base64.b64encode(part).decode() for part in parts)
    return f"scrypt${cost}${block}${lanes}${salted}${hashed}"


def _hash(secret: str, salt: bytes, cost: int, block: int, lanes: int) -> bytes:
    room = 128 * block * (cost + lanes + 4) + 2**20
    return hashlib.scrypt(secret.encode(), salt=salt, n=cost, r=block, p=lanes, maxmem=room, dklen=32)


def fits(secret: str, stored: str | None) -> bool:
    """Whether *secret* is the one that was *stored*. Takes as long where none is, so that the time tells nothing."""
    if stored is None:
        _hash(secret, b"\0" * 16, COST, BLOCK, LANES)
        return False
    _, cost, block, lanes, salt, hashed = stored.split("$")
    found = _hash(secret, base64.b64decode(salt), int(cost), int(block), int(lanes))
    return hmac.compare_digest(found, base64.b64decode(hashed))


def is_outgrown(stored: str) -> bool:
    """Whether it was kept with other parameters than today's."""
    return stored.split("$")[1:4] != [str(COST), str(BLOCK), str(LANES)]


def checked(pin: str) -> str:
    """A new PIN, if it may be one. Raises Nonsense; its words never hold what was typed."""
    pin = pin.strip()
    if not re.fullmatch("[0-9]{4,8}", pin, re.ASCII):
        raise Nonsense("A PIN is 4 to 8 digits and nothing else. Choose another.", field="new")
    why = too_easy(pin)
    if why:
        raise Nonsense(f"That PIN is guessed too soon: it is {why}. Choose another.", field="new")
    return pin


def too_easy(pin: str) -> str | None:
    """Why somebody would try *pin* among the first, None where nobody would."""
    if len(set(pin)) == 1:
        return "one digit over and over"
    if any(pin in row for row in ROWS):
        return "digits in their order"
    for size in range(1, len(pin) // 2 + 1):
        if len(pin) % size == 0 and pin == pin[:size] * (len(pin) // size):
            return "the same digits twice or more"
    if len(pin) == 4 and pin[:2] in ("19", "20"):
        return "a year"
    if len(set(pin)) == 2 and len(pin) == 4 and pin[0] == pin[1] and pin[2] == pin[3]:
        return "two digits, each twice"
    return None


def new_code() -> str:
    """A code that is good for one time, such as ``K7QM-4TXP``; 39 bits."""
    while True:
        text = "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))
        if not text.isdigit():  # what is digits alone is read as a PIN
            return f"{text[:4]}-{text[4:]}"


def read_code(text: str) -> str:
    """A code as it was typed: case, blanks and hyphens are forgiven."""
    return re.sub(r"[\s-]", "", text).upper()
