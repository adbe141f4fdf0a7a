"""A scanner set to one language before a computer set to another: the ID comes out, or nothing does."""

import ctypes
import ctypes.util
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.core import ids, keyboards
from fillbook.trace.core.errors import Nonsense

TIRE = "BHF2600417Y"
ADDRESS = f"HTTP://FILLBOOK.LOCAL:8080/I/{TIRE}"
# On the Canadian French keyboard the point stands on both halves of its key, where German, Spanish and Italian have the colon.
UNCLEAR = {
    ("German", "Canadian French"),
    ("Spanish", "Canadian French"),
    ("Italian", "Canadian French"),
    ("French", "Canadian French"),
}
PAIRS = [pair for pair in permutations(keyboards.LAYOUTS, 2) if pair not in UNCLEAR]


@pytest.mark.parametrize(("scanner", "computer"), PAIRS)
def test_an_address_comes_out_of_every_two_layouts(scanner, computer):
    arrived = keyboards.typed_as(ADDRESS, scanner, computer)
    found = keyboards.meant(arrived, scanned=True)
    assert (ids.read(arrived) if found is None else found.item) == TIRE


@pytest.mark.parametrize(("scanner", "computer"), sorted(UNCLEAR))
def test_what_is_unclear_is_not_guessed(scanner, computer):
    assert keyboards.meant(keyboards.typed_as(ADDRESS, scanner, computer), scanned=True) is None


def test_what_arrives_is_known_from_the_keyboards():
    # as printed on the keys; common practice of support pages for scanners
    assert keyboards.typed_as("HTTP://A-1", "US", "German") == "HTTPÖ--Aß1"
    assert keyboards.typed_as("HTTP://A-1", "US", "French") == "HTTPM!!Q)&"
    assert keyboards.typed_as("HTTP://A-1", "US", "Spanish") == "HTTPÑ--A'1"
    assert keyboards.typed_as("YZ:/", "German", "US") == "ZY>&"


def test_a_hand_that_types_z_for_y_is_not_helped_past_the_check():
    assert keyboards.meant("BHF2600417Z") is None
    assert keyboards.meant("BH-F26-00417-Z") is None
    assert keyboards.meant(f"HTTP://FILLBOOK.LOCAL/I/{TIRE[:-1]}Z") is None
    assert keyboards.meant("BHF2600417Z", scanned=True).item == TIRE  # a scanner does not mistype


@settings(max_examples=200, deadline=None)
@given(
    st.text(
        alphabet=sorted(set("".join("".join(two) for two in keyboards.LAYOUTS.values())) - {"\0"}),
        max_size=40,
    )
)
def test_whatever_comes_out_has_a_right_check_character(text):
    found = keyboards.meant(text, scanned=True)
    assert found is None or ids.is_valid(found.item)


def test_two_ids_that_both_fit_are_none(monkeypatch):
    one, other = (ids.mint("BH", "F", 26, serial) for serial in (417, 421))
    arrived = "ßßßßßßßßßßß"
    monkeypatch.setattr(keyboards, "LAYOUTS", {"one": (), "other": ()})
    for first, second in ((one, one), (one, other)):
        said = {("one", "other"): first, ("other", "one"): second}
        monkeypatch.setattr(keyboards, "_table", lambda *pair, said=said: _Whole(said[pair]))
        found = keyboards.meant(arrived, scanned=True)
        assert (found.item if found else None) == (one if first == second else None)


class _Whole(dict):
    """A table that turns the eleven characters, one after the other, into an ID."""

    def __init__(self, item):
        self.left = list(item)

    def __getitem__(self, _):
        return self.left.pop(0)


# -- the tables against xkeyboard-config, as libxkbcommon reads it (as a browser on Linux does) --------------------------------
NAMES = {
    "US": ("us", ""),
    "German": ("de", ""),
    "French": ("fr", ""),
    "Spanish": ("es", ""),
    "Italian": ("it", ""),
    "Canadian French": ("ca", "fr"),
}
CODES = [*range(10, 22), *range(24, 36), *range(38, 49), *range(52, 62)]  # evdev key codes + 8, row by row


class Names(ctypes.Structure):
    _fields_ = [(name, ctypes.c_char_p) for name in ("rules", "model", "layout", "variant", "options")]


@pytest.mark.parametrize("layout", NAMES)
def test_the_tables_are_those_of_xkeyboard_config(layout):
    where = ctypes.util.find_library("xkbcommon")
    if where is None:
        pytest.skip("no libxkbcommon on this machine to read the keyboards from")
    xkb = ctypes.CDLL(where)
    for name in ("xkb_context_new", "xkb_keymap_new_from_names"):
        getattr(xkb, name).restype = ctypes.c_void_p
    symbols = ctypes.POINTER(ctypes.c_uint32)()
    context = ctypes.c_void_p(xkb.xkb_context_new(0))
    name, variant = (part.encode() for part in NAMES[layout])
    keymap = xkb.xkb_keymap_new_from_names(
        context, ctypes.byref(Names(b"evdev", b"pc105", name, variant, b"")), 0
    )
    if not keymap:
        pytest.skip("the keyboards' files (xkb-data) are not on this machine")
    for level in (0, 1):
        for n, code in enumerate(CODES):
            many = xkb.xkb_keymap_key_get_syms_by_level(
                ctypes.c_void_p(keymap), code, 0, level, ctypes.byref(symbols)
            )
            prints = chr(xkb.xkb_keysym_to_utf32(symbols[0])) if many == 1 else "\0"
            assert keyboards.LAYOUTS[layout][level][n] == prints, (layout, level, code)


def test_a_field_reads_what_the_scan_box_reads_and_keeps_its_refusal():
    for scanner, computer in PAIRS:
        arrived = keyboards.typed_as(ADDRESS, scanner, computer)
        # They differ in Y and Z alone: as if typed wrong
        if {scanner, computer} in ({"German", "Spanish"}, {"German", "Italian"}):
            with pytest.raises(Nonsense, match="last character"):
                keyboards.read_id(arrived)
        else:
            assert keyboards.read_id(arrived) == TIRE
        assert ADDRESS in keyboards.readings(arrived) | {arrived}
    with pytest.raises(Nonsense, match="last character"):
        keyboards.read_id("BHF2600417Z")
