"""The two symbols, against the standards' figures and a second encoder (zxing-cpp; qrcode and python-barcode draw ours)."""

from itertools import groupby

import numpy
import pytest
import segno
import zxingcpp

from fillbook.labels import symbols
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense


def an_address(characters: int) -> str:
    start = "HTTP://"
    return start + ("SHOP.EXAMPLE/I/" * 5)[: characters - len(start)]


def as_picture(code: symbols.QrCode, scale: int = 4) -> numpy.ndarray:
    light = numpy.where(code.rows, 0, 255).astype("uint8")
    quiet = numpy.pad(light, symbols.QR_QUIET, constant_values=255)
    return numpy.kron(quiet, numpy.ones((scale, scale), "uint8"))


def second_encoder(text: str, kind: zxingcpp.BarcodeFormat, **options) -> numpy.ndarray:
    """Dark modules as ones."""
    drawn = zxingcpp.create_barcode(text, kind, **options)
    return (numpy.array(drawn.to_image(1, add_quiet_zones=False)) == 0).astype(int)


# ISO/IEC 18004, capacity table: version 3 has 17 + 4 x 3 = 29 modules and holds 35 alphanumeric characters at level H, 61 at M.


@pytest.mark.parametrize(("characters", "level"), [(22, "H"), (35, "H"), (36, "M"), (38, "M"), (61, "M")])
def test_addresses_get_the_strongest_level_that_29_modules_hold(characters, level):
    code = symbols.qr(an_address(characters))
    assert (code.level, code.modules) == (level, 29)
    (read,) = zxingcpp.read_barcodes(as_picture(code), formats=zxingcpp.BarcodeFormat.QRCode)
    assert (read.text, read.ec_level) == (an_address(characters), level)


@pytest.mark.parametrize(
    ("characters", "level", "modules"), [(35, "H", 29), (36, "H", 33), (61, "M", 29), (62, "M", 33)]
)
def test_a_second_encoder_needs_a_larger_symbol_at_the_same_length(characters, level, modules):
    drawn = second_encoder(an_address(characters), zxingcpp.BarcodeFormat.QRCode, ec_level=level)
    assert drawn.shape == (modules, modules)
    assert (characters <= symbols.QR_HOLDS[level]) == (modules == symbols.QR_MODULES)


# ISO/IEC 18004: the mask patterns by their number, i down and j across; dark where true.
MASKS = (
    lambda i, j: (i + j) % 2 == 0,
    lambda i, j: i % 2 == 0,
    lambda i, j: j % 3 == 0,
    lambda i, j: (i + j) % 3 == 0,
    lambda i, j: (i // 2 + j // 3) % 2 == 0,
    lambda i, j: i * j % 2 + i * j % 3 == 0,
    lambda i, j: (i * j % 2 + i * j % 3) % 2 == 0,
    lambda i, j: ((i + j) % 2 + i * j % 3) % 2 == 0,
)


def unmasked(modules: numpy.ndarray) -> numpy.ndarray:
    """The data and error correction modules of a version 3 symbol with its mask taken off, all others light."""
    down, across = numpy.indices(modules.shape)
    data = (down != 6) & (across != 6)  # timing
    data[:9, :9] = data[:9, -8:] = data[-8:, :9] = False  # finders and format information
    data[20:25, 20:25] = False  # alignment
    number = (
        int("".join(map(str, modules[8, 2:5])), 2) ^ 0b101
    )  # format information: level, then mask, XORed with 10101...
    return numpy.where(data, modules ^ MASKS[number](down, across), 0)


def test_two_encoders_draw_the_same_modules(an_id):
    """The mask is chosen by a score that the two count a little differently; below it all must be equal, module for module.

    Only IDs that end in a letter: for eight digits at the end the other encoder changes into numeric mode.
    """
    lettered = [one for one in (an_id("F", serial) for serial in range(400, 430)) if one[-1].isalpha()]
    assert len(lettered) > 10
    for compact in lettered:
        text = ids.address("SHOP.EXAMPLE", compact)
        ours = numpy.array(symbols.qr(text).rows, dtype=int)
        other = second_encoder(text, zxingcpp.BarcodeFormat.QRCode, ec_level="H")
        assert (unmasked(ours) == unmasked(other)).all()
        assert unmasked(ours).sum() > 200


def test_a_short_address_needs_no_note():
    assert symbols.qr(an_address(35)).note is None


def test_a_longer_address_comes_with_a_note_that_says_by_how_much():
    assert "3 characters longer" in symbols.qr(an_address(38)).note
    assert "1 character longer" in symbols.qr(an_address(36)).note


@pytest.mark.parametrize(
    ("characters", "words"), [(62, "1 character too long"), (75, "14 characters too long")]
)
def test_a_too_long_address_is_refused_saying_by_how_much(characters, words):
    with pytest.raises(Nonsense, match=words) as refused:
        symbols.qr(an_address(characters))
    assert refused.value.field == "host"


@pytest.mark.parametrize("text", ["http://shop.example/I/X", "HTTP://SHOP_1/I/X", "HTTP://CAFÉ/I/X", ""])
def test_an_address_outside_the_alphanumeric_set_is_refused(text):
    with pytest.raises(Nonsense, match="capital letters, digits"):
        symbols.qr(text)


# ISO/IEC 15417. Value sequences of printed examples, start first (A = 103, B = 104, C = 105), and their check values.


@pytest.mark.parametrize(
    ("values", "check"),
    [
        ([103, 48, 42, 42, 17, 18, 19, 35], 54),  # PJJ123C
        ([103, 40, 41, 99, 34, 56, 78], 67),  # HI345678
        ([103, 33, 34, 35, 36, 37, 38], 42),  # ABCDEF
        ([104, 65, 66, 67, 68, 69, 70], 97),  # abcdef
        ([105, 34, 56, 78], 73),  # 345678
        ([105, 102, 1, 60, 0, 1, 16, 3, 6, 3], 71),  # FNC1 0160000116030603
    ],
)
def test_check_values_of_the_printed_examples(values, check):
    assert symbols.code128_check(values) == check


@pytest.mark.parametrize(("text", "check"), [("abcdef", 97), ("345678", 73)])
def test_the_bars_carry_the_printed_check_value(text, check):
    assert symbols.code128(text).check == check


def test_bars_are_eleven_modules_a_character_and_thirteen_for_the_stop():
    code = symbols.code128("BHF2600417Y")
    assert code.modules == 11 * len(code.values) + 13
    assert len(code.widths) == 6 * len(code.values) + 7
    assert set(code.widths) <= {1, 2, 3, 4}
    assert code.widths[-7:] == (2, 3, 3, 1, 1, 1, 2)  # the stop pattern


def test_no_id_needs_more_room_than_the_faces_leave(many_ids):
    widths = {symbols.code128(compact).modules for compact in many_ids}
    assert max(widths) == symbols.CODE128_WIDEST


def test_two_encoders_draw_the_same_bars(many_ids):
    same = 0
    for compact in many_ids:
        code = symbols.code128(compact)
        row = second_encoder(compact, zxingcpp.BarcodeFormat.Code128)[0]
        drawn = tuple(len(list(run)) for _, run in groupby(row))
        # The other encoder pairs the digits differently now and then, which is as right; then only the length is compared.
        assert sum(drawn) <= code.modules
        same += drawn == code.widths
    assert same >= len(many_ids) / 2


@pytest.mark.parametrize("text", ["", "CAFÉ", "A\nB"])
def test_what_cannot_be_bars_is_refused(text):
    with pytest.raises(Nonsense, match="bars"):
        symbols.code128(text)


# ISO/IEC 18004, capacity table: characters in alphanumeric mode by version and level, read in two printed tables.
CAPACITY = {
    1: (21, {"L": 25, "M": 20, "Q": 16, "H": 10}),
    2: (25, {"L": 47, "M": 38, "Q": 29, "H": 20}),
    3: (29, {"L": 77, "M": 61, "Q": 47, "H": 35}),
    4: (33, {"L": 114, "M": 90, "Q": 67, "H": 50}),
    5: (37, {"L": 154, "M": 122, "Q": 87, "H": 64}),
    6: (41, {"L": 195, "M": 154, "Q": 108, "H": 84}),
}


@pytest.mark.parametrize("version", CAPACITY)
@pytest.mark.parametrize("level", "LMQH")
def test_two_encoders_fill_each_version_to_the_printed_capacity(version, level):
    """qrcode, which draws ours, and segno: the last character that fits, and the next one that does not."""
    from qrcode.main import QRCode
    from qrcode.util import MODE_ALPHA_NUM, QRData

    modules, holds = CAPACITY[version]
    corrections = {"L": 1, "M": 0, "Q": 3, "H": 2}
    for characters, expected in ((holds[level], version), (holds[level] + 1, version + 1)):
        text = ("HTTP://SHOP.EXAMPLE/I/" * 20)[:characters]
        ours = QRCode(error_correction=corrections[level], border=0)
        ours.add_data(QRData(text, mode=MODE_ALPHA_NUM))
        ours.make(fit=True)
        other = segno.make_qr(text, error=level, mode="alphanumeric", boost_error=False)
        assert ours.version == other.version == expected
    assert modules == 17 + 4 * version
    assert version != symbols.QR_VERSION or (
        modules == symbols.QR_MODULES and symbols.QR_HOLDS.get(level) in (None, holds[level])
    )


def test_segno_needs_the_same_version_for_every_address(many_ids):
    for compact in many_ids:
        text = ids.address("SHOP.LOCAL", compact)
        other = segno.make_qr(text, error="H", boost_error=False)
        assert (other.version, other.symbol_size(border=0)[0]) == (
            symbols.QR_VERSION,
            symbols.qr(text).modules,
        )
