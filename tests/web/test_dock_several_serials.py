"""Four totes of a lot, each with its serial: their labels are scanned in a row and booked in as one receipt.

Codes by the GS1 General Specifications, section 3: (01) item, (10) lot, (21) serial, (00) container, (310n) net weight in kg.
"""

import pytest

from fillbook.trace.core.errors import Nonsense
from tests.web.test_dock_codes import GTIN, read_label, value


def label(serial, lot="LOT-7"):
    return f"(01){GTIN}(10){lot}(3103)950000(21){serial}"


def scanned(web, *codes, **typed):
    form, words = None, ""
    for code in codes:
        form, words = read_label(web, code, form=form, **typed)
    return form, words


def test_four_labels_in_a_row_are_four_totes_of_one_receipt(web):
    before = web.head()
    form, words = scanned(web, *(label(f"SN4{n}") for n in range(4)))
    assert value(form, "serials").split() == ["SN40", "SN41", "SN42", "SN43"] and value(form, "totes") == "4"
    assert (
        value(form, "supplier_serial") == ""
        and "say different things" not in words
        and "too long" not in words
    )
    assert web.head() == before  # reading writes nothing
    web.send(form, supplier="Northvale", side="A", system="RX-30")
    event = web.last()
    assert event["kind"] == "receive" and web.head() == before + 1 and len(event["body"]["ids"]) == 4
    rows = web.book.tuples("SELECT item, supplier_serial, net_g FROM tote WHERE lot = 'LOT-7' ORDER BY item")
    assert rows == [(item, f"SN4{n}", 950_000) for n, item in enumerate(event["body"]["ids"])]
    for n, item in enumerate(event["body"]["ids"]):  # each is found by its own
        assert item in web.get(f"/search?q=SN4{n}").get_data(as_text=True)


def test_the_same_label_twice_is_one_tote(web):
    form, _ = scanned(web, label("SN42"), label("SN42"))
    assert (
        value(form, "supplier_serial") == "SN42"
        and value(form, "totes") == "1"
        and value(form, "serials") == ""
    )


def test_numbers_of_containers_count_where_no_label_bears_a_serial(web):
    form, _ = scanned(web, f"(02){GTIN}(10)LOT-7(37)1", "(00)376104250021234569", "(00)376104250021234576")
    assert (
        value(form, "serials").split() == ["376104250021234569", "376104250021234576"]
        and value(form, "totes") == "2"
    )


def test_a_tote_of_another_lot_is_not_counted_and_said(web):
    form, words = scanned(web, label("SN40"), label("SN41"), label("SN99", lot="LOT-8"))
    assert value(form, "serials").split() == ["SN40", "SN41"] and value(form, "lot") == "LOT-7"
    assert 'say different things for the lot: "LOT-7" and "LOT-8"' in words


def test_how_many_the_paper_says_stays_and_a_missing_label_is_asked_for(web, helpers):
    form, _ = read_label(web, label("SN40"), totes="4")
    form, _ = read_label(web, label("SN41"), form=form)
    assert value(form, "totes") == "4"
    answer = web.send(form, 422, supplier="Northvale", side="A", system="RX-30")
    assert "2 serials are named for 4 totes: scan the labels that are missing" in web.said(answer)


def test_one_typed_by_hand_among_the_scanned_stays(web):
    form, _ = scanned(web, label("SN40"), label("SN41"))
    form, _ = read_label(web, label("SN43"), form=form, serials="SN40\nSN41\nSN42")  # SN42's label is torn
    assert value(form, "serials").split() == ["SN40", "SN41", "SN42", "SN43"] and value(form, "totes") == "4"


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"totes": 2, "serials": ["S-1", "S-1"]}, "named twice"),
        ({"totes": 3, "serials": ["S-1", "S-2"]}, "2 serials are named for 3 totes"),
        ({"totes": 1, "serials": ["S-1", "S-2"]}, "2 serials are named for 1 tote:"),
        ({"totes": 2, "serials": ["S-1", "S-2"], "supplier_serial": "S-3"}, "stands by itself"),
    ],
)
def test_serials_that_do_not_fit_are_refused(shop_of_its_own, said, words):
    before = shop_of_its_own.head
    with pytest.raises(Nonsense, match=words):
        shop_of_its_own.act(
            "receive", supplier="Northvale", lot="S-7", side="A", system="RX-30", net_kg=950, **said
        )
    assert shop_of_its_own.head == before


def test_the_book_replays_and_a_correction_keeps_the_ids(shop_of_its_own):
    shop = shop_of_its_own
    said = {"supplier": "Northvale", "lot": "S-8", "side": "A", "system": "RX-30", "net_kg": 950}
    done = shop.act("receive", totes=2, serials=["S-1", "S-2"], **said)
    shop.correct(done.seq, serials=["S-1", "S-3"])
    assert shop.book.tuples("SELECT item, supplier_serial FROM tote WHERE lot = 'S-8' ORDER BY item") == list(
        zip(done.ids, ["S-1", "S-3"], strict=True)
    )
    shop.check()


def test_the_correction_of_a_receipt_shows_each_serial_on_its_line(web):
    form, _ = scanned(web, label("SN40"), label("SN41"))
    web.send(form, supplier="Northvale", side="A", system="RX-30")
    seq = web.last()["seq"]
    assert web.form(f"/book/{seq}", f"/book/{seq}").fields["new-serials"] == ["SN40\nSN41"]


@pytest.fixture
def shop_of_its_own(helpers, tmp_path):
    made = helpers["the_shop"].Shop.start(str(tmp_path / "own.db"))
    yield made
    made.book.db.close()


def test_what_does_not_fit_among_the_codes_is_still_said_when_the_receipt_is_refused(web):
    """Two labels say two lots: whoever forgot the supplier must not be shown a form that looks as if all were well."""
    form, words = scanned(web, label("SN40"), label("SN99", lot="LOT-8"))
    assert "say different things for the lot" in words
    before = web.head()
    answer = web.send(form, 422, supplier="", side="A", system="RX-30")
    assert "say different things for the lot" in web.words(answer) and web.head() == before
    assert "you had" not in web.words(answer)


def without(web, form, code, status=200, **typed):
    """The page after a touch on what stands beside *code*."""
    said = form.filled(**typed) | {"without": code}
    answer = web.client.post("/dock/read", data=said, content_type="multipart/form-data", buffered=True)
    assert answer.status_code == status, web.said(answer)
    page = type(web.read("/who"))(answer.get_data(as_text=True))
    return next(one for one in page.forms if one.action == "/dock"), web.words(answer)


def test_one_label_scanned_by_mistake_is_left_out_and_the_others_stay(web):
    """A tote of another truck among three: nobody scans the three again."""
    codes = [label("SN40"), label("SN99", lot="LOT-8"), label("SN41"), label("SN42")]
    form, words = scanned(web, *codes)
    assert "say different things for the lot" in words
    form, words = without(web, form, codes[1])
    assert "say different things" not in words and "SN99" not in words
    assert value(form, "serials").split() == ["SN40", "SN41", "SN42"] and value(form, "totes") == "3"
    assert value(form, "lot") == "LOT-7"
    web.send(form, supplier="Northvale", side="A", system="RX-30")
    assert "LOT-8" not in web.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1")


def test_where_the_first_label_was_the_wrong_one_the_others_say_the_lot(web):
    codes = [label("SN99", lot="LOT-8"), label("SN40"), label("SN41")]
    form, _ = scanned(web, *codes)
    form, _ = without(web, form, codes[0], supplier="Northvale")
    assert value(form, "lot") == "LOT-7" and value(form, "serials").split() == ["SN40", "SN41"]
    assert value(form, "supplier") == "Northvale"  # what a hand typed stays


def test_the_only_label_left_out_leaves_an_empty_form_with_what_was_typed(web):
    form, _ = scanned(web, label("SN40"))
    form, words = without(web, form, label("SN40"), supplier="Northvale", lot="LOT-9")
    assert "codes" not in form.fields and value(form, "supplier_serial") == "" and value(form, "net_g") == ""
    assert value(form, "supplier") == "Northvale" and value(form, "lot") == "LOT-9"
    assert "nothing to read" not in words
