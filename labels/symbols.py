"""The two machine-readable marks: a QR code with the label's address, and a Code 128 with the bare ID.

Both are given as modules (the narrowest dark or light element), never as pictures, so that whatever draws them can use whole
printer dots. Sources: QR Code, ISO/IEC 18004; Code 128, ISO/IEC 15417.
"""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.quote import quoted

# All our QR codes are version 3, 29 modules wide, so that every face knows how much room one takes. Capacities of version 3
# in capital letters and digits (alphanumeric mode), from the capacity table of ISO/IEC 18004.
QR_VERSION = 3
QR_MODULES = 29
QR_HOLDS = {"H": 35, "M": 61}
QR_QUIET = 4  # light modules on each side

CODE128_QUIET = 10  # light modules left and right
CODE128_WIDEST = (
    145  # modules of the widest ID we give out; others are narrower, as pairs of digits share a character
)

_ALPHANUMERIC = frozenset(string.digits + string.ascii_uppercase + " $%*+-./:")


@dataclass(frozen=True)
class QrCode:
    """What the QR code says, its error correction (``H`` or ``M``), and its rows of modules, dark ones true.

    The quiet zone of 4 modules around it is not among the rows. ``note`` is a sentence for whoever sets up the labels, where
    there is something to say.
    """

    says: str
    level: str
    rows: tuple[tuple[bool, ...], ...]
    note: str | None = None

    @property
    def modules(self) -> int:
        return len(self.rows)


@dataclass(frozen=True)
class Code128:
    """What the bars say, and how: ``values`` are start, data and check; ``widths`` are modules, bar and space in turn.

    The quiet zone of 10 modules left and right is not among the widths.
    """

    says: str
    values: tuple[int, ...]
    widths: tuple[int, ...]

    @property
    def check(self) -> int:
        return self.values[-1]

    @property
    def modules(self) -> int:
        return sum(self.widths)


@lru_cache(maxsize=256)
def qr(text: str) -> QrCode:
    """The QR code of an address in capital letters.

    Up to 35 characters get error correction level H (about 30 % of the symbol may be lost), up to 61 level M (about 15 %) and
    a note. The modules are as large either way.

    Raises Nonsense for an address that is too long, saying by how much, or that has other characters than the alphanumeric
    mode knows (lower case would need larger symbols).
    """
    other = sorted(set(text) - _ALPHANUMERIC)
    if other:
        raise Nonsense(
            f"{quoted(text)} cannot stand in a label's QR code, because of {quoted(other[0])}: it takes capital letters, digits and "
            "$ % * + - . / : only."
        )
    if not text:
        raise Nonsense(
            "A label's QR code cannot be empty: give an address in capital letters, digits and $ % * + - . / : only."
        )
    too_many = len(text) - QR_HOLDS["M"]
    if too_many > 0:
        raise Nonsense(
            f"The label's address {quoted(text)} is {_characters(too_many)} too long for its QR code, "
            f"which holds {QR_HOLDS['M']}: give the shop's machine a shorter name.",
            field="host",
            expected=f"an address of at most {QR_HOLDS['M']} characters",
        )
    level, note = "H", None
    past_h = len(text) - QR_HOLDS["H"]
    if past_h > 0:
        level = "M"
        note = (
            f"The label's address {quoted(text)} is {_characters(past_h)} longer than the scuff-resistant QR code (level H) holds, "
            f"so level M is printed; a machine name shorter by {_characters(past_h)} keeps level H."
        )
    return QrCode(text, level, _qr_rows(text, level), note)


@lru_cache(maxsize=256)
def code128(text: str) -> Code128:
    """The Code 128 of *text* (printable ASCII). Raises Nonsense for other characters or none."""
    if not text or not (text.isascii() and text.isprintable()):
        raise Nonsense(
            f"{quoted(text)} cannot stand in bars: they take plain letters, digits and signs only."
        )
    from barcode.codex import Code128 as Encoder

    values = tuple(Encoder(text).encoded)
    (drawn,) = Encoder(text).build()
    return Code128(
        text,
        (*values, code128_check(values)),
        tuple(len(list(run)) for _, run in groupby(drawn)),
    )


def code128_check(values: Sequence[int]) -> int:
    """The check value of start and data *values* by ISO/IEC 15417: weights 1, 1, 2, 3 …, modulo 103.

    >>> code128_check([105, 34, 56, 78])  # 345678 in code set C
    73
    """
    return (values[0] + sum(weight * value for weight, value in enumerate(values[1:], start=1))) % 103


def _qr_rows(text: str, level: str) -> tuple[tuple[bool, ...], ...]:
    from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_M
    from qrcode.main import QRCode
    from qrcode.util import MODE_ALPHA_NUM, QRData

    drawn = QRCode(
        version=QR_VERSION,
        error_correction={"H": ERROR_CORRECT_H, "M": ERROR_CORRECT_M}[level],
        border=0,
    )
    drawn.add_data(QRData(text, mode=MODE_ALPHA_NUM))
    drawn.make(fit=False)  # an overflow would be our mistake in QR_HOLDS, and is raised
    return tuple(tuple(map(bool, row)) for row in drawn.modules)


def _characters(count: int) -> str:
    return "1 character" if count == 1 else f"{count} characters"
