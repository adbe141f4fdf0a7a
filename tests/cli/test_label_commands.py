"""Labels from the command line: to a PDF, to sheets, to a printer that fails half-way; faces chosen, printers chosen, codes read."""

import base64
import importlib.util
import io
import json
from pathlib import Path

import pypdfium2
import pytest
from click.testing import CliRunner
from PIL import Image

from fillbook.labels import proof
from fillbook.trace.book import queries
from fillbook.trace.book.label_facts import chosen_face
from fillbook.trace.cli.commands import cli
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense

_spec = importlib.util.spec_from_file_location(
    "fake_ipp", Path(__file__).parent.parent / "labels" / "fake_ipp.py"
)
fake_ipp = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(fake_ipp)


@pytest.fixture
def typed(shop):
    """Runs a command in the shop's book: its exit code, and everything it said."""

    def run(*words, code=0):
        done = CliRunner().invoke(cli, ["--book", shop.book.where, *map(str, words)])
        assert done.exit_code == code, done.output
        return done.output

    return run


@pytest.fixture
def printer():
    made = fake_ipp.FakePrinter()
    yield made
    made.close()


def test_labels_go_to_a_pdf_and_are_recorded_as_handed_out(shop, typed, tmp_path):
    totes = [shop.tote("A") for _ in range(3)]
    out = tmp_path / "labels.pdf"
    assert "3 labels written" in typed("label", *totes, "--out", out, "--who", "Sam")
    assert {ids.read(said) for page in proof.read_back(out.read_bytes()) for said in page} == set(totes)
    (row,) = queries.prints_of(shop.book, totes[0])
    assert (row.how, row["copy"], row.printer) == ("handed out", 1, "")


def test_labels_go_to_sheets_from_any_place(shop, typed, tmp_path):
    out = tmp_path / "sheet.pdf"
    typed("label", shop.tote("A"), "--sheet", "letter:3x8", "--start", 24, "--out", out)
    typed("label", shop.tote("A"), shop.tote("B"), "--sheet", "a4:2x7", "--start", 14, "--out", out)
    assert len(pypdfium2.PdfDocument(out.read_bytes())) == 2
    assert "places 1 to 24" in typed(
        "label", shop.tote("A"), "--sheet", "letter:3x8", "--start", 25, "--out", out, code=1
    )


def test_a_job_that_fails_half_way_records_what_was_taken_and_sends_only_the_rest(shop, typed, printer):
    totes = [shop.tote("A") for _ in range(3)]
    printer.statuses = [0, 0x0504]
    said = typed("label", *totes, "--to", printer.uri, "--who", "Sam", code=1)
    assert "fault of its own" in said and "1 label accepted" in said
    assert all(ids.pretty(tote) in said for tote in totes[1:]) and ids.pretty(totes[0]) not in said
    assert [len(queries.prints_of(shop.book, tote)) for tote in totes] == [1, 0, 0]
    assert queries.not_accepted(shop.book, "BH") == sorted(totes[1:])
    assert len(printer.documents) == 1
    assert "2 labels accepted" in typed("label", "--rest", "--to", printer.uri, "--who", "Sam")
    assert len(printer.documents) == 3
    assert [
        (queries.prints_of(shop.book, tote)[0].how, queries.prints_of(shop.book, tote)[0].printer)
        for tote in totes
    ] == [("accepted", printer.uri)] * 3
    assert "has been accepted" in typed("label", "--rest", "--to", printer.uri, "--who", "Sam")
    shop.check()


def test_a_reprint_has_its_number_and_reason_or_nothing_leaves_the_printer(shop, typed, printer):
    tote = shop.tote("A")
    typed("label", tote, "--to", printer.uri, "--who", "Sam")
    assert "say why it is printed again" in typed("label", tote, "--to", printer.uri, "--who", "Sam", code=1)
    assert "Nobody" in typed("label", shop.tote("A"), "--to", printer.uri, "--who", "Nobody", code=1)
    assert len(printer.documents) == 1
    typed("label", tote, "--to", printer.uri, "--who", "Sam", "--why", "torn")
    assert [(row["copy"], row.why) for row in queries.prints_of(shop.book, tote)] == [(1, ""), (2, "torn")]


def test_out_of_labels_is_said_and_nothing_is_recorded_as_printed(shop, typed, printer):
    tote = shop.tote("A")
    printer.reasons, printer.state = ("media-empty-error",), 5
    assert "out of labels: load a roll" in typed("label", tote, "--to", printer.uri, "--who", "Sam", code=1)
    assert queries.prints_of(shop.book, tote) == []
    (row,) = shop.book.rows("SELECT * FROM print_failed")
    assert row.item == tote and "out of labels" in row.trouble


def test_more_than_twenty_labels_are_a_job_with_progress(shop, typed, printer):
    tires = shop.act(
        "take in", customer="Quarry Nine", size="23.5-25", tires=21, rating_psi=75, target_psi=60
    ).ids
    said = typed("label", *tires, "--to", printer.uri, "--who", "Sam")
    assert "10 of 21" in said and "21 of 21" in said and "21 labels accepted" in said


def test_each_station_prints_where_it_was_told(shop, typed, printer, tmp_path):
    shop.act("choose printer", who="Lee", station="dock", printer=printer.uri, dpi=300)
    shop.act("choose printer", who="Lee", station="desk", printer="browser", sheet="a4:2x4")
    typed("label", shop.tote("A"), "--station", "Dock", "--who", "Sam")
    assert len(printer.documents) == 1
    out = tmp_path / "desk.pdf"
    typed("label", shop.tote("A"), "--station", "desk", "--out", out)
    assert pypdfium2.PdfDocument(out.read_bytes())[0].get_height() > 800  # A4 is 842 points high
    assert "No printer was chosen" in typed(
        "label", shop.tote("A"), "--station", "attic", "--who", "Sam", code=1
    )


def a_logo() -> str:
    out = io.BytesIO()
    Image.new("L", (40, 20), 60).save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode()


def test_a_chosen_face_is_used_from_then_on(shop, typed, tmp_path):
    tote = shop.tote("A", lot="A-9")
    assert chosen_face(shop.book, tote) is None
    shop.act(
        "adjust face",
        who="Lee",
        face="tote label",
        size="3x2 in",
        facts=["lot", "net weight"],
        words=["lot=lote"],
        logo=a_logo(),
    )
    face = chosen_face(shop.book, tote)
    assert (face["size"], face["facts"], face["words"]) == ("3x2 in", ["lot", "net_weight"], {"lot": "lote"})
    assert face["logo"] == base64.b64decode(a_logo())
    out = tmp_path / "label.pdf"
    typed("label", tote, "--out", out)
    document = pypdfium2.PdfDocument(out.read_bytes())
    assert document[0].get_size() == pytest.approx((216, 144), abs=0.1)  # 3 x 2 in, in points
    said = document[0].get_textpage().get_text_range()
    assert "lot · lote" in said and "A-9" in said and "supplier" not in said
    document.close()
    shop.check()


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"face": "tote label", "size": "12x12 in"}, "No face fits"),
        ({"face": "tote label", "size": "2x1 in", "logo": "aaaa"}, "no room for a logo"),
        ({"face": "tote label", "size": "3x2 in", "logo": "!"}, "did not arrive whole"),
        ({"face": "tote label", "size": "3x2 in", "logo": "aGVsbG8="}, "no picture"),
        ({"face": "tote label", "size": "3x2 in", "logo": "A" * 1_900_000}, "1.4 MB"),
        ({"face": "tote label", "words": ["lot"]}, "write it like lot=lote"),
        ({"face": "tote label", "size": "2x1 in", "facts": ["lot", "supplier"]}, "1 facts are|too many"),
    ],
)
def test_a_face_that_cannot_be_had_is_refused(shop, fields, words):
    before = shop.fingerprint()
    with pytest.raises(Nonsense, match=words):
        shop.act("adjust face", who="Lee", **fields)
    assert shop.fingerprint() == before


def test_a_face_is_looked_at_before_it_is_chosen(typed, tmp_path):
    out = tmp_path / "face.png"
    typed(
        "show-face",
        "tire tag",
        "--size",
        "4x6 in",
        "--fact",
        "size",
        "--fact",
        "move_from",
        "--word",
        "size=tamaño",
        "--out",
        out,
    )
    assert Image.open(io.BytesIO(out.read_bytes())).size == (812, 1218)  # 4 x 6 in at 203 dots to the inch
    huge = tmp_path / "logo.png"
    with huge.open("wb") as file:
        file.truncate(100_000_000)
    assert "100.0 MB" in typed(
        "show-face", "tire tag", "--size", "4x6 in", "--logo", huge, "--out", out, code=1
    )


def test_a_suppliers_code_is_read_kept_and_found(shop, typed):
    shop.act(
        "note supplier code",
        who="Lee",
        supplier="Northvale",
        pattern=r"(?P<lot>[A-Z]\d+)-(?P<net_kg>\d+)",
        example="A2231-1000",
    )
    assert "lot: A2231   from the note for Northvale" in typed("read-code", "A2231-1000")
    assert "check digit" in typed("read-code", "(01)09521234543210")
    tote = shop.tote("A", supplier_code="NV/77-12")
    assert ids.pretty(tote) in typed("search", "NV/77-12")
    with pytest.raises(Nonsense, match="does not fit"):
        shop.act("note supplier code", who="Lee", supplier="Northvale", pattern="(?P<lot>x)", example="y")


def test_a_paper_trial_is_kept_and_stands_on_the_next_sheet(shop, typed, tmp_path):
    shop.act(
        "paper trial",
        who="Sam",
        stock="white film, resin",
        step="soap",
        tags=10,
        qr=9,
        bars=7,
        either=10,
        readable=10,
    )
    out = tmp_path / "trial.pdf"
    typed("paper-trial-sheet", shop.tire(), "--out", out)
    said = " ".join(pypdfium2.PdfDocument(out.read_bytes())[0].get_textpage().get_text_range().split())
    assert (
        "white film, resin" in said and "9 of 10" in said and "48 h in the zone" in said and "solvent" in said
    )
    with pytest.raises(Nonsense, match="11 of 10 tags"):
        shop.act(
            "paper trial", who="Sam", stock="x", step="soap", tags=10, qr=11, bars=7, either=11, readable=10
        )
    with pytest.raises(Nonsense, match=r"either read on 9 to 16"):
        shop.act(
            "paper trial", who="Sam", stock="x", step="soap", tags=10, qr=9, bars=7, either=3, readable=10
        )


def test_the_verbs_can_be_typed(typed):
    told = json.loads(typed("verbs", "--json"))
    names = {one["verb"] for one in (told["verbs"] if isinstance(told, dict) else told)}
    assert {"adjust face", "choose printer", "print failed", "paper trial", "note supplier code"} <= names
