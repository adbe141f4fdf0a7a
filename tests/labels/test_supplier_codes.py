"""Suppliers' barcodes, against the GS1 General Specifications' rules and another library that draws them (zxing-cpp)."""

import io
import time

import numpy
import pytest
import zxingcpp
from PIL import Image

from fillbook.labels import proof, supplier_codes
from fillbook.labels.supplier_codes import Note, check_digit, preview, read
from fillbook.trace.core import supplier_notes
from fillbook.trace.core.errors import Nonsense


def values(found) -> dict[str, str]:
    return {name: filled.value for name, filled in found.fields.items()}


# GS1 General Specifications, section 7.9: check digits of printed examples (GTIN-13, GTIN-13, GTIN-12, SSCC; weighted sums 57, 63, -, 101).
@pytest.mark.parametrize(
    ("body", "digit"),
    [
        ("629104150021", "3"),
        ("890400021003", "7"),
        ("03600024145", "7"),
        ("37610425002123456", "9"),
        ("952123454321", "3"),
    ],
)
def test_check_digits_of_the_printed_examples(body, digit):
    assert check_digit(body) == digit


GTIN = {"item": "09521234543213"}  # 952 is GS1's prefix for demonstrations


# GS1 General Specifications, section 3: application identifiers; values as a reference parser (biip 5.2) reads them.
@pytest.mark.parametrize(
    ("code", "expected"),
    [
        ("0109521234543213", GTIN),
        ("010952123454321310ABC123", GTIN | {"lot": "ABC123"}),
        ("01095212345432131714112010ABC-123", GTIN | {"use_by": "2014-11-20", "lot": "ABC-123"}),
        ("01095212345432133103001750", GTIN | {"net_kg": "1.750"}),
        ("01095212345432133202001750", GTIN | {"net_lb": "17.50"}),
        ("01095212345432133100012345", GTIN | {"net_kg": "12345"}),
        ("010952123454321310LOT-7\x1d21SN42", GTIN | {"lot": "LOT-7", "serial": "SN42"}),
        ("010952123454321310LOT-7<GS>21SN42", GTIN | {"lot": "LOT-7", "serial": "SN42"}),
        ("02095212345432133710\x1d10LOT9", GTIN | {"count": "10", "lot": "LOT9"}),
        ("010952123454321311260131", GTIN | {"made": "2026-01-31"}),
        ("010952123454321317260200", GTIN | {"use_by": "2026-02-28"}),  # day 00 is the last of the month
        ("00376104250021234569", {"container": "376104250021234569"}),
        ("]C1010952123454321310AB", GTIN | {"lot": "AB"}),
        ("(01)09521234543213(10)AB(17)260831", GTIN | {"lot": "AB", "use_by": "2026-08-31"}),
        ("(15)260801(17)260701", {"use_by": "2026-07-01"}),
        # GS1 Digital Link: URI syntax
        ("https://id.gs1.org/01/09521234543213/10/ABC%2F1/21/12345?17=260831&3103=000195",
         GTIN | {"lot": "ABC/1", "serial": "12345", "use_by": "2026-08-31", "net_kg": "0.195"}),
        ("6291041500213", {"item": "06291041500213"}),
        ("376104250021234569", {"container": "376104250021234569"}),
    ],
)  # fmt: skip
def test_gs1_codes_fill_in_what_they_say(code, expected):
    found = read(code)
    assert values(found) == expected
    assert found.troubles == []
    assert all(filled.source for filled in found.fields.values())


@pytest.mark.parametrize(
    ("code", "filled", "words"),
    [
        ("0109521234543210", {}, "check digit is 0 and should be 3"),
        ("https://id.gs1.org/01/09521234543210", {}, "check digit is 0 and should be 3"),
        ("00376104250021234560", {}, "check digit"),
        ("010952123454321317000000", GTIN, "can't be a date"),
        ("01095212345432131726133110AB", GTIN | {"lot": "AB"}, "can't be a date"),
        ("010952123454321311260230", GTIN, "can't be a date"),
        ("https://x.example/01/09521234543213/10/AB?17=269931", GTIN | {"lot": "AB"}, "can't be a date"),
        ("010952123454321310ABC12317260831", GTIN | {"lot": "ABC12317260831"}, "may have swallowed a use-by date (17) 260831"),
        ("010952123454321310ABC3103001750", GTIN | {"lot": "ABC3103001750"}, "may have swallowed a net weight"),
        ("0109521234543213ZZ", GTIN, "separator (FNC1) seems to be missing"),
        ("010952123454321310" + "A" * 25, None, "separator (FNC1) seems to be missing"),
        ("6291041500214", {}, "check digit would be 3"),
        ("(10)AB(10)CD", {"lot": "AB"}, "look which is right"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_the_rest_still_filled_in(code, filled, words):
    found = read(code)
    assert filled is None or values(found) == filled
    assert any(words in trouble for trouble in found.troubles), found.troubles
    assert all(trouble.endswith(".") for trouble in found.troubles)


@pytest.mark.parametrize("code", ["LOT-7/88", "9952", "https://shop.example/page", "日本-7", "AB 12"])
def test_anything_else_is_kept_as_the_suppliers_code(code):
    found = read(code)
    assert (found.kind, found.code, found.fields) == ("supplier's code", code, {})


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("", "nothing to read"),
        ("  ", "nothing to read"),
        ("x" * 501, "501 characters"),
        ("a\x00b", "cannot be printed"),
    ],
)
def test_what_is_no_code_is_refused(code, words):
    with pytest.raises(Nonsense, match=words):
        read(code)


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        (
            zxingcpp.BarcodeFormat.Code128,
            "(01)09521234543213(10)LOT-7(21)SN42",
            GTIN | {"lot": "LOT-7", "serial": "SN42"},
        ),
        (
            zxingcpp.BarcodeFormat.DataMatrix,
            "(01)09521234543213(10)LOT-7(21)SN42",
            GTIN | {"lot": "LOT-7", "serial": "SN42"},
        ),
        (zxingcpp.BarcodeFormat.QRCode, "https://id.gs1.org/01/09521234543213/10/AB", GTIN | {"lot": "AB"}),
        (zxingcpp.BarcodeFormat.EAN13, "6291041500213", {"item": "06291041500213"}),
        (zxingcpp.BarcodeFormat.Code128, "NV-2231", {}),
    ],
)
def test_a_photographed_label_fills_in_the_same(kind, text, expected):
    drawn = zxingcpp.create_barcode(text, kind, **({"gs1": True} if text.startswith("(") else {}))
    out = io.BytesIO()
    Image.fromarray(numpy.array(drawn.to_image(4, add_quiet_zones=True))).save(out, "PNG")
    (said,) = proof.read_codes(out.getvalue())
    assert values(read(said)) == expected


# -- a shop's own note -----------------------------------------------------------------------------------------------------------
PATTERN = r"(?P<lot>[A-Z]\d{4})-(?P<use_by>\d{6})-(?P<net_kg>\d+)"


def test_a_note_reads_a_suppliers_own_code():
    found = read("A2231-261031-1000", [Note("Westfield", r"W(?P<lot>\d+)"), Note("Northvale", PATTERN)])
    assert values(found) == {
        "supplier": "Northvale",
        "lot": "A2231",
        "use_by": "2026-10-31",
        "net_kg": "1000",
    }
    assert found.fields["lot"].source == "the note for Northvale: lot" and found.code == "A2231-261031-1000"


def test_a_code_no_note_fits_stays_a_code():
    assert read("B-17", [Note("Northvale", PATTERN)]).kind == "supplier's code"


@pytest.mark.parametrize(
    ("written", "said", "day"),
    [
        ("YYMMDD", "261031", "2026-10-31"),
        ("DDMMYYYY", "31102026", "2026-10-31"),
        ("YYYY-MM-DD", "2026-10-31", "2026-10-31"),
        ("YYDDD", "26304", "2026-10-31"),
    ],
)
def test_dates_are_read_as_the_supplier_writes_them(written, said, day):
    assert preview(r"X(?P<made>[\d-]+)", f"X{said}", written)["made"].value == day


@pytest.mark.parametrize(
    ("written", "said"), [("YYMMDD", "261301"), ("YYDDD", "25366"), ("YYDDD", "26000"), ("DDMMYY", "300226")]
)
def test_impossible_dates_are_refused(written, said):
    with pytest.raises(Nonsense, match="can't be a date"):
        preview(r"X(?P<made>\d+)", f"X{said}", written)


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        (r"(?P<lot>(a+)+)b", "repeat inside a repeat"),
        (r"(?P<lot>(a|a)*)b", "alternatives inside a repeat"),
        (r"(?P<lot>(?:a{1,9}){1,9})", "repeat inside a repeat"),
        (r"(?P<lot>a)(?P=lot)", "looking around or back"),
        (r"(?P<lot>a)(?=b)", "looking around or back"),
        (r"(?P<lot>.*.*.*.*.*)x", "5 repeats of open length"),
        (r"(?P<lot>aa|bb|cc|dd|ee|ff|gg|hh|ii|jj)", "alternatives"),
        (r"(?P<colour>a)", "no part a code can have"),
        (r"abc", "names no part"),
        (r"(?P<lot>", "can't be read"),
        ("(?P<lot>" + "a" * 200 + ")", "209 characters"),
        ("", "0 characters"),
    ],
)
def test_a_pattern_that_could_stall_or_says_nothing_is_refused(pattern, words):
    with pytest.raises(Nonsense, match=words.replace("(", r"\(")) as refused:
        supplier_notes.check(pattern)
    assert refused.value.field == "pattern"


@pytest.mark.parametrize(
    "pattern",
    [
        r"(?P<lot>.*)a.*a.*a.*b",
        r"(?P<lot>a*)a*a*a*b",
        r"(?P<lot>.+?).+?.+?.+?x",
        r"(?P<lot>[a-z]*)[a-m]*a{0,99}[^b]*x",
    ],
)
def test_the_worst_pattern_that_is_taken_ends_soon(pattern):
    began = time.perf_counter()
    assert supplier_notes.parts(pattern, "a" * supplier_notes.LONGEST_CODE) is None
    assert time.perf_counter() - began < 3
    assert supplier_notes.parts(pattern, "a" * 10_000) is None


def test_an_example_must_fit():
    with pytest.raises(Nonsense, match="does not fit"):
        preview(PATTERN, "B-17")
    assert supplier_codes.DATE_FORMS
