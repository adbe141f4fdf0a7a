"""At the dock: the shop's own labels are none of the supplier's, and a scanner of another keyboard is told from a torn code.

Codes are built by the GS1 General Specifications (section 3); what arrives from a scanner of another keyboard is made by
`keyboards.typed_as`, whose tables the tests of the core compare with xkeyboard-config.
"""

import io

import numpy
import pytest
import segno
from PIL import Image

from fillbook.labels import supplier_codes
from fillbook.trace.core import ids, keyboards

GTIN = "09521234543213"  # 952 is GS1's prefix for demonstrations
WHOLE = f"(01){GTIN}(10)LOT-7(3103)950000"


def read_label(web, code="", status=200, files=None, form=None, **typed):
    form = form or web.form("/dock")
    answer = web.client.post(
        "/dock/read", data={**form.filled(code=code, **typed), **(files or {})},
        content_type="multipart/form-data", buffered=True,
    )  # fmt: skip
    assert answer.status_code == status, web.words(answer)
    page = type(web.read("/who"))(answer.get_data(as_text=True))
    return next(f for f in page.forms if f.action == "/dock"), web.words(answer)


def photograph(*texts):
    scene = Image.new("L", (380 * len(texts) + 40, 440), 255)
    for n, text in enumerate(texts):
        drawn = io.BytesIO()
        segno.make(text, error="m", micro=False).save(drawn, kind="png", scale=8, border=4)
        scene.paste(Image.open(drawn).convert("L").resize((340, 340)), (30 + 380 * n, 40))
    out = io.BytesIO()
    Image.fromarray(numpy.asarray(scene)).save(out, "PNG")
    return {"photo": (io.BytesIO(out.getvalue()), "label.png")}


# -- the shop's own labels -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("how", ["bare", "address", "another keyboard"])
def test_an_own_label_is_said_to_be_one_and_fills_in_nothing(web, names, how):
    address = f"HTTP://FILLBOOK.LOCAL/I/{names['a']}"
    code = {
        "bare": names["a"],
        "address": address,
        "another keyboard": keyboards.typed_as(address, "US", "German"),
    }[how]
    form, _ = read_label(web, WHOLE)
    form, words = read_label(web, code, 422, form=form, supplier="Northvale")
    assert (
        f"{ids.pretty(names['a'])} is one of our own labels" in words
        and "read. Nothing is written" not in words
    )
    assert (
        form.fields["codes"] == [WHOLE]
        and form.fields["supplier"] == ["Northvale"]
        and form.fields["lot"] == ["LOT-7"]
    )


def test_own_tags_in_a_photograph_are_no_codes_of_a_supplier(web, names):
    own = [f"HTTP://FILLBOOK.LOCAL/I/{names[one]}" for one in ("sent", "cured", "held")]
    form, words = read_label(web, files=photograph(*own), status=422, lot="typed")
    assert "our own labels" in words and "codes are read. Nothing" not in words
    assert not form.fields.get("codes") and form.fields["lot"] == ["typed"]


def test_beside_an_own_tag_the_suppliers_code_is_read(web, names):
    form, words = read_label(web, files=photograph(f"HTTP://FILLBOOK.LOCAL/I/{names['a']}", WHOLE))
    assert form.fields["codes"] == [WHOLE] and "1 code is read" in words
    assert f"{ids.pretty(names['a'])} is one of our own labels" in words


@pytest.mark.parametrize("field", ["supplier", "lot", "supplier_item"])
def test_an_own_label_in_a_field_of_words_is_refused_there(web, names, field):
    head = web.head()
    said = {"supplier": "Northvale", "lot": "LOT-7", "side": "A", "system": "RX-30", "net_g": "2204"}
    said[field] = f"HTTP://FILLBOOK.LOCAL/I/{names['a']}"
    answer = web.send(web.form("/dock"), 422, **said)
    assert "is one of our own labels" in web.said(answer) and web.head() == head


# -- the scanner's keyboard ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "code", ["TF-9002", WHOLE, f"]C101{GTIN}10TF-9<GS>21S1", f"01{GTIN}10TF-9002"], ids=["own number", "brackets", "FNC1", "bare"]
)  # fmt: skip
def test_a_code_from_another_keyboard_is_blamed_on_the_keyboard(web, code):
    arrived = keyboards.typed_as(code.replace("<GS>", "\x1d"), "US", "German")
    form, words = read_label(web, arrived, 422, lot="typed")
    assert "keyboard" in words and "first characters were lost" not in words
    assert not form.fields.get("codes") and form.fields["lot"] == ["typed"] and not form.fields.get("refused")


@pytest.mark.parametrize(
    "code", ["TF-9002", "PLM-77 X/4", "A'1", WHOLE, f"01{GTIN}10LOT-7", "6291041500213", "=X(1)", "*12*"]
)
def test_a_code_that_is_right_as_it_stands_is_not_blamed(code):
    assert not supplier_codes.is_of_another_keyboard(code)


def test_a_torn_code_is_still_a_torn_one(web):
    _, words = read_label(web, "0)LOT-7(17)260831", 422)
    assert "first characters were lost" in words and "keyboard" not in words


def test_a_letter_in_a_photograph_is_on_the_label(web):
    form, _ = read_label(web, files=photograph("HÄRTER-7"))
    assert form.fields["codes"] == ["HÄRTER-7"]


@pytest.mark.parametrize(
    "code", [f"]C101{GTIN}10TF-9\x1dß9", f"\x1d01{GTIN}10A\x1dzz\x1d9", f"https://id.gs1.org/01/{GTIN}/10/A%1Dx"]
)  # fmt: skip
def test_no_sentence_spells_the_separator_out(code):
    assert "\\x1d" not in " ".join(supplier_codes.read(code).troubles)
