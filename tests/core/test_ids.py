"""IDs: minting, reading, and what a check character catches."""

import random
import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stdnum import damm
from stdnum.iso7064 import mod_37_2

from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, WrongKind

CHARACTERS = string.digits + string.ascii_uppercase
SITE_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"

sites = st.text(SITE_LETTERS, min_size=2, max_size=2)
kinds = st.sampled_from(sorted(ids.KINDS))
serials = st.one_of(st.integers(1, 99_000), st.integers(99_990, 999_900))


@st.composite
def minted_ids(draw):
    site, kind, year = draw(sites), draw(kinds), draw(st.integers(2000, 2099))
    return ids.mint(site, kind, year, ids.next_serial(site, kind, year, after=draw(serials) - 1))


def some_ids(count):
    chance = random.Random(7)
    for _ in range(count):
        site, kind = "".join(chance.choices(SITE_LETTERS, k=2)), chance.choice("LGFCZUP")
        year, after = (
            chance.randrange(2000, 2100),
            chance.choice([0, 416, 9_999, 99_998, chance.randrange(990_000)]),
        )
        yield ids.mint(site, kind, year, ids.next_serial(site, kind, year, after))


@pytest.mark.parametrize(
    ("payload", "check"),
    [
        # UK blood transfusion services Red Book, Annex 2 (ISBT 128 check character): the worked example,
        # weighted sum 148354, modulo 37 = 21, 38 - 21 = 17 = H
        ("G123498654321", "H"),
        # python-stdnum 2.2, module documentation of stdnum.iso7064.mod_37_2
        ("G123489654321", "Y"),
        ("A999914123456", "N"),
        # recomputed with python-stdnum 2.2
        ("BHF2600417", "Y"),
        ("BHL2600001", "Q"),
        ("BHG2600012", "5"),
        ("BHF2600418", "W"),
    ],
)
def test_check_character_is_the_published_one(payload, check):
    assert ids.check_character(payload) == check


def test_check_character_agrees_with_python_stdnum_on_thousands_of_strings():
    chance = random.Random(37)
    for _ in range(5_000):
        payload = "".join(chance.choices(CHARACTERS, k=chance.randrange(1, 20)))
        assert ids.check_character(payload) == mod_37_2.calc_check_digit(payload)


@pytest.mark.parametrize("payload", ["", "bhf26", "BHF-26", "BHF26*", "Ä", "٣"])
def test_check_character_takes_only_digits_and_capital_letters(payload):
    with pytest.raises(Nonsense):
        ids.check_character(payload)


def test_every_single_wrong_character_and_every_swap_of_neighbours_is_caught():
    # A property of a prime modulus, by ISO/IEC 7064: exhaustive here, the check character included.
    for good in some_ids(250):
        for place, right in enumerate(good):
            for wrong in CHARACTERS:
                if wrong != right:
                    assert not ids.is_valid(good[:place] + wrong + good[place + 1 :])
        for place in range(len(good) - 1):
            left, right = good[place], good[place + 1]
            if left != right:
                assert not ids.is_valid(good[:place] + right + left + good[place + 2 :])


def test_reading_never_turns_a_single_slip_into_another_item():
    # Reading corrects O, I and L by position, so it is asked too: what it returns is the ID meant, or nothing.
    for good in some_ids(60):
        slips = [good[:i] + c + good[i + 1 :] for i in range(len(good)) for c in CHARACTERS]
        slips += [good[:i] + good[i + 1] + good[i] + good[i + 2 :] for i in range(len(good) - 1)]
        for slip in slips:
            try:
                assert ids.read(slip) == good
            except Nonsense:
                assert slip != good


def test_about_one_serial_in_twelve_is_skipped_and_no_check_looks_like_a_digit():
    # 3 of the 37 check characters are left out: 3/37 = 8.1 %
    usable, serial = [], 0
    while (serial := ids.next_serial("BH", "F", 2026, serial)) <= 5_000:
        usable.append(serial)
    assert {ids.mint("BH", "F", 2026, s)[-1] for s in usable}.isdisjoint("*IO")
    skipped = set(range(1, 5_001)) - set(usable)
    assert {mod_37_2.calc_check_digit(f"BHF26{s:05d}") for s in skipped} == set("*IO")
    assert 0.07 < len(skipped) / 5_000 < 0.09


def test_a_serial_whose_check_could_be_misread_is_not_minted():
    skipped = next(s for s in range(1, 100) if mod_37_2.calc_check_digit(f"BHF26{s:05d}") in "*IO")
    with pytest.raises(Nonsense, match=f"Serial {skipped} is not given out"):
        ids.mint("BH", "F", 2026, skipped)
    assert ids.next_serial("BH", "F", 2026, skipped - 1) > skipped


def test_serials_go_on_with_six_digits_after_99999():
    serial = ids.next_serial("BH", "F", 2026, 99_999)
    compact = ids.mint("BH", "F", 26, serial)
    assert len(compact) == 12
    assert ids.parts(ids.read(ids.pretty(compact))).serial == serial >= 100_000


def test_a_six_digit_serial_never_begins_with_zero():
    padded = "BHF26000417"
    assert not ids.is_valid(padded + mod_37_2.calc_check_digit(padded))


@pytest.mark.parametrize(
    ("site", "kind", "year", "serial"),
    [
        ("BO", "F", 2026, 417),
        ("B1", "F", 2026, 417),
        ("bh", "F", 2026, 417),
        ("BHX", "F", 2026, 417),
        ("BH", "X", 2026, 417),
        ("BH", "", 2026, 417),
        ("BH", "F", 1999, 417),
        ("BH", "F", 226, 417),
        ("BH", "F", 2026, 0),
        ("BH", "F", 2026, -1),
        ("BH", "F", 2026, 1_000_000),
    ],
)
def test_mint_refuses_what_cannot_be(site, kind, year, serial):
    with pytest.raises(Nonsense):
        ids.mint(site, kind, year, serial)


def test_a_year_that_runs_out_of_serials_says_so():
    with pytest.raises(Nonsense, match="999999 a year"):
        ids.next_serial("BH", "F", 2026, 999_999)


@pytest.mark.parametrize(
    "text",
    [
        "BHF2600417Y",
        "BH-F26-00417-Y",
        " bh-f26-00417-y\r\n",
        "bh f26 00417 y",
        "BH–F26—00417−Y",  # en dash, em dash, minus sign
        "BH\u2011F26\u201100417\u2011Y",  # hyphens that do not break
        "BH\u00a0F26\u00a000417\u00a0Y",  # blanks that do not break
        "BH-F26-OO417-Y",
        "bh-f26-oo4l7-y",
        "BH-F26-004I7-Y",
        "HTTP://SHOP.LOCAL/I/BHF2600417Y",
        "http://192.168.0.5:8080/i/bhf2600417y/",
        "https://Elsewhere.Example/I/BH-F26-00417-Y?from=phone#top",
        "shop.local/I/BHF2600417Y",
    ],
)
def test_reading_forgives_what_people_and_scanners_do(text):
    assert ids.read(text) == "BHF2600417Y"


def test_a_check_character_read_as_a_letter_o_or_i_is_the_digit():
    for digit, letter in ("0O", "1I"):
        serial = next(s for s in range(1, 200) if mod_37_2.calc_check_digit(f"BHF26{s:05d}") == digit)
        good = ids.mint("BH", "F", 2026, serial)
        assert ids.read(good[:-1] + letter) == good


def test_a_check_character_l_is_itself_and_never_a_one():
    serial = next(s for s in range(1, 200) if mod_37_2.calc_check_digit(f"BHF26{s:05d}") == "1")
    good = ids.mint("BH", "F", 2026, serial)
    with pytest.raises(Nonsense):
        ids.read(good[:-1] + "L")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "   ",
        "-",
        "BH",
        "BHF2600417",
        "BHF260417Y",
        "BHX2600417Y",
        "B0F2600417Y",
        "BHF26004١7Y",
        "ＢＨF2600417Y",
        "BHF2600417Y BHF2600417Y",
        "BHF26🛞0417Y",
        "\x00\x1b[31m",
        "HTTP://SHOP.LOCAL/T/BHF2600417Y",
        "HTTP://SHOP.LOCAL/BHF2600417Y",
        "HTTP://SHOP.LOCAL/I/",
        "HTTP:///I/BHF2600417Y",
        "ftp://SHOP.LOCAL/I/BHF2600417Y",
        "HTTP://SHOP.LOCAL/I/X/BHF2600417Y",
        "B" * 10_000,
        None,
        26_004_173,
    ],
    ids=lambda text: str(text)[:20],
)
def test_what_is_no_id_is_refused_in_one_clear_sentence(text):
    with pytest.raises(Nonsense) as refused:
        ids.read(text)
    words = str(refused.value)
    assert words.endswith(".") and words.isprintable() and len(words) < 260
    assert "BH-F26-00417-Y" in words


def test_a_wrong_check_character_is_named_as_such_and_the_right_one_not_told():
    with pytest.raises(Nonsense) as refused:
        ids.read("bh-f26-00417-x")
    assert str(refused.value) == (
        '"bh-f26-00417-x" cannot be right, because its last character does not fit the ones before it; '
        "scan the label again, or compare every character with the tag."
    )


@settings(max_examples=200)
@given(compact=minted_ids(), noise=st.randoms(use_true_random=False))
def test_an_id_is_read_back_however_it_was_written_down(compact, noise):
    marks = ["", "", "", " ", "-", "–", "\u2011", "\u00a0", "  "]
    look_alikes = {"0": "0Oo", "1": "1IiLl"}
    written = ""
    for place, character in enumerate(compact):
        if 3 <= place < len(compact) - 1:
            character = noise.choice(look_alikes.get(character, character))
        written += noise.choice([character, character.lower()]) + noise.choice(marks)
    assert ids.read(written) == compact
    assert ids.read(ids.pretty(compact)) == compact
    assert ids.read(f"http://{noise.choice(['a', 'shop.example:80'])}/i/{written}") == compact


@settings(max_examples=200)
@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_and_reading_twice_changes_nothing(text):
    try:
        compact = ids.read(text)
    except Nonsense:
        return
    assert ids.is_valid(compact) and ids.read(compact) == compact


def test_pieces_of_an_id():
    assert ids.pretty("BHF2600417Y") == "BH-F26-00417-Y"
    assert ids.parts("BHF2600417Y") == ("BH", "F", 26, 417, "Y")
    assert ids.KINDS[ids.kind_of("BHL2600001Q")] == "tote"


@pytest.mark.parametrize(
    "ask", [ids.pretty, ids.kind_of, ids.parts, ids.service_number, lambda c: ids.address("h", c)]
)
@pytest.mark.parametrize("compact", ["BHF2600417X", "BH-F26-00417-Y", "bhf2600417y", "BHF2600417Y\n", ""])
def test_what_is_not_an_id_as_the_book_keeps_it_has_no_pieces(ask, compact):
    with pytest.raises(Nonsense):
        ask(compact)


@pytest.mark.parametrize(
    ("site", "ok"), [("BH", True), ("BO", False), ("IB", False), ("B", False), ("b1", False), ("ÄB", False)]
)
def test_a_site_is_two_letters_without_i_and_o(site, ok):
    assert ids.site_ok(site) is ok


def test_a_label_address_stays_in_the_alphanumeric_set_of_the_qr_code():
    # ISO/IEC 18004: the 45 characters of alphanumeric mode; 35 of them fit version 3 at level H
    address = ids.address("fillbook.local:80", "BHF2600417Y")
    assert address == "HTTP://FILLBOOK.LOCAL:80/I/BHF2600417Y"
    assert set(address) <= set(CHARACTERS + " $%*+-./:")
    assert len(ids.address("shop.local:80", "BHF2600417Y")) <= 35


@pytest.mark.parametrize(
    "host", ["", "http://shop", "shop/", "shop local", "shop_1", "[::1]", "shöp", "shop:"]
)
def test_a_host_that_a_label_cannot_carry_is_refused(host):
    with pytest.raises(Nonsense, match="label's address"):
        ids.address(host, "BHF2600417Y")


def test_the_service_number_of_a_tire_ends_in_damms_digit():
    assert ids.service_number("BHF2600417Y") == "26004173"  # check digit 3 recomputed with python-stdnum 2.2


def test_damms_check_digit_agrees_with_python_stdnum():
    assert ids._damm("5724") == 0  # the example of python-stdnum's stdnum.damm
    chance = random.Random(11)
    for _ in range(3_000):
        digits = "".join(chance.choices(string.digits, k=chance.randrange(1, 12)))
        assert str(ids._damm(digits)) == damm.calc_check_digit(digits)


def test_a_service_number_shows_every_wrong_digit_and_every_swap_of_neighbours():
    # what Damm's table promises (H. M. Damm, 2004)
    for serial in range(1, 400):
        compact = ids.mint("BH", "F", 2026, ids.next_serial("BH", "F", 2026, serial))
        good = ids.service_number(compact)
        assert ids.read_service_number(good) == good
        slips = {good[:i] + d + good[i + 1 :] for i in range(8) for d in string.digits}
        slips |= {good[:i] + good[i + 1] + good[i] + good[i + 2 :] for i in range(7)}
        for slip in slips - {good}:
            with pytest.raises(Nonsense):
                ids.read_service_number(slip)


def test_a_painted_number_is_read_with_its_blanks_and_look_alikes():
    assert ids.read_service_number(" 26-OO4 l73 ") == "26004173"


@pytest.mark.parametrize(
    "text", ["", "2600417", "260041730", "2600417X", "26004174", "٢6004173", "0" * 9_999, "00000000", None]
)
def test_what_is_no_service_number_is_refused(text):
    with pytest.raises(Nonsense):
        ids.read_service_number(text)


def test_only_tires_with_five_digit_serials_have_a_service_number():
    with pytest.raises(WrongKind, match="is a tote"):
        ids.service_number("BHL2600001Q")
    big = ids.mint("BH", "F", 2026, ids.next_serial("BH", "F", 2026, 100_000))
    with pytest.raises(Nonsense, match="more than five digits"):
        ids.service_number(big)
