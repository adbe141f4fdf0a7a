"""The supplier's label at the dock: scanned or photographed it fills in the receipt, and says from where.

Codes are built by the rules of the GS1 General Specifications (section 3, application identifiers; 7.9, check digits); pictures of
them are drawn by another library (zxing-cpp).
"""

import io
import time

import numpy
import pytest
import zxingcpp
from PIL import Image

GTIN = "09521234543213"  # 952 is GS1's prefix for demonstrations
WHOLE = f"(01){GTIN}(10)LOT-7(11)250801(17)260831(3103)950000(21)SN42"


def read_label(web, code="", status=200, files=None, form=None, **typed):
    """Press *Read it* on the dock's page; the form as it stands afterwards, and the page's words."""
    form = form or web.form("/dock")
    answer = web.client.post(
        "/dock/read", data={**form.filled(code=code, **{k.replace("__", "."): v for k, v in typed.items()}), **(files or {})},
        content_type="multipart/form-data", buffered=True,
    )  # fmt: skip
    assert answer.status_code == status, web.words(answer)
    page = type(web.read("/who"))(answer.get_data(as_text=True))
    return next(f for f in page.forms if f.action == "/dock"), web.words(answer)


def value(form, name):
    return form.fields.get(name, [""])[0]


def photograph(*codes):
    """A picture of a label with these codes, as another library draws them; GS1 data where they begin with a bracket."""
    picture = Image.new("L", (900, 340 * len(codes) + 40), 255)
    for n, (text, kind, gs1) in enumerate(codes):
        drawn = zxingcpp.create_barcode(text, kind, **({"gs1": True} if gs1 else {}))
        symbol = Image.fromarray(
            numpy.array(
                zxingcpp.write_barcode_to_image(
                    drawn, scale=4 if kind != zxingcpp.BarcodeFormat.Code128 else 2
                )
            )
        )
        picture.paste(symbol, (40, 40 + 340 * n))
    out = io.BytesIO()
    picture.save(out, "PNG")
    return {"photo": (io.BytesIO(out.getvalue()), "label.png")}


# -- filled in, and from where ---------------------------------------------------------------------------------------------------
def test_a_scanned_label_fills_in_the_receipt_and_says_from_where(web):
    before = web.head()
    form, words = read_label(web, WHOLE)
    assert (value(form, "lot"), value(form, "supplier_item"), value(form, "supplier_serial")) == (
        "LOT-7",
        GTIN,
        "SN42",
    )
    assert (value(form, "made"), value(form, "use_by")) == ("2025-08-01T00:00", "2026-08-31T23:59")
    assert (value(form, "net_g"), value(form, "net_g.unit")) == ("950.000", "kg")
    assert (
        "From (10) batch or lot" in words
        and "From (17) use-by date" in words
        and "From (3103) net weight, kg" in words.replace("(310n)", "(3103)")
    )
    assert web.head() == before  # reading writes nothing
    web.send(form, supplier="Northvale", side="A", system="RX-30")
    said = web.last()["body"]["said"]
    assert (
        said["lot"] == "LOT-7"
        and said["net_g"] == 950_000
        and said["supplier_item"] == GTIN
        and said["supplier_serial"] == "SN42"
    )
    item = web.last()["body"]["ids"][0]
    for part in ("SN42", GTIN, "LOT-7"):
        assert item in web.get(f"/search?q={part}").get_data(as_text=True)


def test_what_the_hand_changes_is_the_hands(web):
    form, _ = read_label(web, f"(01){GTIN}(10)LOT-7")
    answer = web.send(
        form, 422, supplier="Northvale", lot="LOT-8", side="A", system="RX-30"
    )  # its weight is missing
    words = web.words(answer)
    assert "Net weight of each is missing" in words
    assert "From (10)" not in words and "From (01)" in words


def test_a_typed_value_the_label_contradicts_is_said(web):
    form, words = read_label(web, f"(01){GTIN}(10)LOT-7", lot="LOT-9")
    assert value(form, "lot") == "LOT-7" and 'For the lot you had "LOT-9"; the label says "LOT-7"' in words


def test_several_codes_of_one_label_are_read_one_after_the_other(web):
    form, _ = read_label(web, f"(01){GTIN}(10)LOT-7")
    form, words = read_label(web, "(17)260831(3103)950000", form=form)
    assert (value(form, "lot"), value(form, "use_by"), value(form, "net_g")) == (
        "LOT-7",
        "2026-08-31T23:59",
        "950.000",
    )
    assert form.fields["codes"] == [f"(01){GTIN}(10)LOT-7", "(17)260831(3103)950000"]
    form, words = read_label(web, "(10)LOT-8", form=form)
    assert 'Two codes of this label say different things for the lot: "LOT-7" and "LOT-8"' in words


def test_the_last_delivery_of_an_item_fills_in_supplier_side_and_system(web):
    form, _ = read_label(web, f"(01){GTIN}(10)LOT-7(3103)950000")
    web.send(form, supplier="Pellamy", side="B", system="RX-30")
    form, words = read_label(web, f"(01){GTIN}(10)LOT-8(3103)950000")
    assert (value(form, "supplier"), value(form, "side"), value(form, "system")) == ("Pellamy", "B", "RX-30")
    assert f"From the last delivery of the item {GTIN}" in words
    web.send(form)
    assert web.last()["body"]["said"]["lot"] == "LOT-8"


def test_a_counted_label_books_so_many_and_leaves_its_number_in_the_code(web):
    form, words = read_label(web, f"(00)376104250021234569(02){GTIN}(37)4(10)LOT-7")
    assert value(form, "totes") == "4" and not value(form, "supplier_serial")
    assert "The label counts 4, so its number 376104250021234569 is not any one tote's" in words
    web.send(form, supplier="Northvale", side="A", system="RX-30", net_g="2204", net_g__unit="lb")
    assert (
        len(web.last()["body"]["ids"]) == 4
        and "376104250021234569" in web.last()["body"]["said"]["supplier_code"]
    )


def test_a_serial_of_several_totes_is_refused(web):
    answer = web.do(
        "receive",
        422,
        supplier="N",
        lot="L",
        side="A",
        system="RX-30",
        net_g="2204",
        totes="2",
        supplier_serial="S-1",
    )
    assert "belongs to one tote" in web.said(answer)


def test_a_web_address_by_gs1_is_read(web):
    form, _ = read_label(web, f"https://id.gs1.org/01/{GTIN}/10/LOT-7?17=260831")
    assert (value(form, "lot"), value(form, "use_by"), value(form, "supplier_item")) == (
        "LOT-7",
        "2026-08-31T23:59",
        GTIN,
    )


# -- what does not fit -------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("(01)09521234543214(10)LOT-7", "its check digit is 4 and should be 3"),
        (f"(01){GTIN}(17)261340(10)LOT-7", 'The use-by date (17) "261340" can\'t be a date'),
        (f"01{GTIN}10LOT-717260831", "a separator (FNC1) seems to be missing"),
        ("6291041500214", "its check digit would be 3"),
    ],
)
def test_what_is_wrong_with_a_code_is_said_plainly(web, code, words):
    form, said = read_label(web, code)
    assert words in said
    assert value(form, "supplier_code").startswith(code[:14])


def test_any_other_code_is_kept_and_found_again(web):
    form, words = read_label(web, "PLM-77 X/4")
    assert (
        "supplier's code: kept, and found again by searching for it" in words
        and value(form, "supplier_code") == "PLM-77 X/4"
    )
    web.send(form, supplier="Pellamy", lot="9", side="A", system="RX-30", net_g="2204")
    assert web.last()["body"]["ids"][0] in web.get("/search?q=plm77x4").get_data(as_text=True)


@pytest.mark.parametrize("code", ["", "   ", "x" * 501, "a\x07b"])
def test_nothing_to_read_is_said_and_what_was_typed_stays(web, code):
    form, words = read_label(web, code, 422, lot="typed")
    assert value(form, "lot") == "typed" and ("nothing to read" in words or "characters" in words)


# -- photographs -------------------------------------------------------------------------------------------------------------------
def test_a_photograph_is_read_with_all_its_codes(web):
    kinds = zxingcpp.BarcodeFormat
    form, _ = read_label(
        web, files=photograph((f"01{GTIN}10LOT-7", kinds.QRCode, False), ("17260831", kinds.Code128, False))
    )
    assert (
        value(form, "lot") == "LOT-7"
        and value(form, "supplier_item") == GTIN
        and len(form.fields["codes"]) == 2
    )


def test_a_photograph_with_no_code_is_said(web):
    out = io.BytesIO()
    Image.new("L", (300, 300), 200).save(out, "PNG")
    _, words = read_label(web, "", 422, files={"photo": (io.BytesIO(out.getvalue()), "a.png")})
    assert "No barcode reads in this photograph" in words


@pytest.mark.parametrize("data", [b"", b"no picture", b"\x89PNG\r\n\x1a\n", b"%PDF-1.4"])
def test_a_file_that_is_no_photograph_is_said(web, data):
    form, words = read_label(web, "", 422, files={"photo": (io.BytesIO(data), "a.png")}, lot="typed")
    assert value(form, "lot") == "typed" and ("no picture" in words or "No photograph" in words)


def test_a_photograph_larger_than_the_page_takes_is_said(web):
    form = web.form("/dock")
    body = (
        b'--x\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
        + b"\0" * 26_000_000
        + b"\r\n--x--\r\n"
    )
    answer = web.client.post(
        "/dock/read", data=body, content_type="multipart/form-data; boundary=x", buffered=True
    )
    assert form and answer.status_code == 413 and "The photograph is larger than 24 MB" in web.said(answer)


# -- a shop's own notes ------------------------------------------------------------------------------------------------------------
PATTERN = r"(?P<lot>[A-Z]\d{4})-(?P<net_kg>\d+)-(?P<use_by>\d{6})"


def note(web, status=303, **typed):
    said = {
        "supplier": "Pellamy",
        "pattern": PATTERN,
        "example": "A2231-1000-310826",
        "dates": "DDMMYY",
        **typed,
    }
    return web.send(web.form("/dock/codes"), status, **said)


def test_a_note_says_how_a_suppliers_codes_are_read(web):
    note(web)
    form, words = read_label(web, "B4711-950-311226")
    assert (value(form, "supplier"), value(form, "lot"), value(form, "net_g"), value(form, "use_by")) == (
        "Pellamy",
        "B4711",
        "950",
        "2026-12-31T23:59",
    )
    assert "the note for Pellamy: lot" in words
    page = web.read("/dock/codes?supplier=Pellamy")
    form = next(f for f in page.forms if f.action == "/dock/codes")
    assert value(form, "pattern") == PATTERN and value(form, "dates") == "DDMMYY"
    note(web, dates="YYMMDD", example="A2231-1000-260831")  # the newer note holds
    form, _ = read_label(web, "B4711-950-261231")
    assert value(form, "use_by") == "2026-12-31T23:59"


def look(web, **typed):
    form = web.form("/dock/codes")
    return web.words(web.client.post("/dock/codes/look", data=form.filled(**typed)))


def test_a_pattern_is_tried_while_it_is_typed(web):
    before = web.head()
    words = look(web, pattern=PATTERN, example="A2231-1000-310826", dates="DDMMYY")
    assert "The example fits." in words and "A2231" in words and "2026-08-31" in words
    assert "does not fit the pattern as a whole" in look(web, pattern=PATTERN, example="2231")
    assert web.head() == before
    page = web.client.post(
        "/dock/codes/show",
        data=web.form("/dock/codes").filled(pattern=PATTERN, example="A2231-1000-310826", dates="DDMMYY"),
    )
    assert "<!doctype html>" in page.get_data(as_text=True) and "The example fits." in web.words(page)


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        (r"(?P<lot>(a+)+b)", "a repeat inside a repeat, which could take for ever"),
        (r"(?P<lot>(\w*)*)x", "a repeat inside a repeat"),
        (r"(?P<lot>(?:a|aa){9,})b", "alternatives inside a repeat"),
        (r"(?P<lot>\w)(?P=lot)", "looking around or back"),
        (r"(?P<lot>.*)" + r".*" * 6, "repeats of open length"),
        (r"(?P<lot>[", "The pattern can't be read"),
        (r"(?P<colour>\w+)", '"colour" is no part a code can have'),
        (r"\w+", "The pattern names no part"),
        ("x" * 201, "The pattern is 201 characters long"),
    ],
)
def test_a_pattern_that_could_run_for_ever_or_cannot_be_read_is_refused(web, pattern, words):
    before = web.head()
    began = time.monotonic()
    assert words in look(web, pattern=pattern, example="a" * 90)
    answer = note(web, 422, pattern=pattern, example="a" * 90)
    assert words in web.words(answer).replace("Pattern takes", "") or "characters" in web.words(answer)
    assert time.monotonic() - began < 5 and web.head() == before


def test_a_hand_keeps_no_note(web):
    web.choose("Sam")
    before = web.head()
    note(web, 403)
    assert web.head() == before


@pytest.mark.parametrize(
    "torn",
    ["-3000", "0)NB-3000", "B-3000(17)271130", "LOT-7<GS>17271130", "TP://id.example/01/09521234543213"],
)
def test_a_code_without_its_beginning_is_refused_and_said_until_it_is_scanned_whole(web, torn):
    form, words = read_label(web, "(01)09521234543213")  # 952 is GS1's prefix for demonstrations
    form, words = read_label(web, torn, 422, form=form)
    assert "begins in the middle of a code" in words
    assert form.fields["codes"] == ["(01)09521234543213"] and form.fields["refused"] == [torn]
    form, words = read_label(web, "(17)271130", form=form)
    assert "begins in the middle of a code" in words, "the next scan does not wipe it off"
    form, words = read_label(web, "(10)" + torn, form=form)
    assert "begins in the middle of a code" not in words


def test_a_code_built_unlike_the_others_is_kept_and_pointed_at(web):
    form, _ = read_label(web, "(01)09521234543213")
    form, words = read_label(web, "NB-3000", form=form)
    assert "is built unlike the other codes of this label" in words
    assert form.fields["codes"] == ["(01)09521234543213", "NB-3000"]
