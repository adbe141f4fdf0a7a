"""Labels are read back from the very bytes handed out, by another library than drew them (zxing-cpp on PDFium's rendering)."""

import threading
from dataclasses import replace

import pytest

from fillbook.labels import pdf as pdf_module
from fillbook.labels import proof
from fillbook.labels.faces import FACES, Label, face_for
from fillbook.labels.layout import pages
from fillbook.labels.pdf import make_pdf
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.core.labelling import LABELS, SIZES

USUAL = [name for name in FACES if name in LABELS]
EACH_SIZE = [
    *USUAL,
    *(f"{label} {size}" for label in ("tote label", "tire tag", "zone sign") for size in SIZES),
]


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("face", USUAL)
def test_both_symbols_read_back_from_the_very_bytes(face, dpi, a_label):
    label = a_label(face)
    front, *rest = proof.read_back(make_pdf([label], dpi), dpi)
    address = ids.address(label.host, label.id)
    assert front == {address, label.id}
    assert all(texts == {address} for texts in rest)
    assert {ids.read(text) for text in front} == {label.id}


@pytest.mark.parametrize(
    ("face", "dpi"),
    [
        *((f, dpi) for f in EACH_SIZE for dpi in (203, 300)),
        ("tote label", 600),
        ("badge 2x1 in", 600),
        ("tire tag 3x2 in", 600),
    ],
)
def test_every_symbol_reads_by_itself_at_the_printers_own_resolution(face, dpi, a_label):
    label = a_label(face)
    symbols = sum(len(page.symbols) for page in pages(label, dpi))
    assert symbols >= 3
    assert proof.proofread(make_pdf([label], dpi), [label], dpi) == symbols


def test_twenty_labels_in_one_pdf_all_read(many_ids):
    labels = [Label(face_for(one).name, one, "FILLBOOK.LOCAL", {"side": "B"}) for one in many_ids]
    pdf = make_pdf(labels)
    wanted = sum(
        6 if label.face == "tire tag" else 3 for label in labels
    )  # two QR codes and the bars; a tag's stub and back have their own
    assert proof.proofread(pdf, labels) == wanted
    assert {ids.read(text) for page in proof.read_back(pdf) for text in page} == set(many_ids)


def test_a_long_host_still_reads_at_level_m(a_label):
    label = a_label("tire tag", host="A-RATHER-LONG-NAME.FILLBOOK.EXAMPLE:8080")
    assert len(ids.address(label.host, label.id)) == 61
    assert proof.proofread(make_pdf([label]), [label]) == 6


def test_another_labels_pdf_is_found_out(a_label):
    pdf = make_pdf([a_label("tote label", serial=1)])
    with pytest.raises(Nonsense, match=r"QR code of BH-L26-0000[4-9]-\w on page 1 reads as HTTP"):
        proof.proofread(pdf, [a_label("tote label", serial=4)])


def test_a_missing_page_is_found_out(a_label):
    label = a_label("tire tag")
    with pytest.raises(Nonsense, match="has 2 pages, the labels need 4"):
        proof.proofread(make_pdf([label]), [label, label])


def test_pages_of_another_size_are_found_out(a_label):
    with pytest.raises(Nonsense, match="size of the label"):
        proof.proofread(make_pdf([a_label("zone sign")]), [a_label("cup label")])


@pytest.mark.parametrize(
    ("spoiled", "words"),
    [(0, "QR code"), (1, "QR code"), (2, "Code 128"), (3, "QR code")],
    ids=["second QR", "large QR", "bars", "stub QR"],
)
def test_one_bad_symbol_is_named_though_the_others_read(spoiled, words, a_label, monkeypatch):
    """Half of one symbol's dark modules are left out of the drawing; the stub's own QR code may not be covered for."""
    label = a_label("tire tag")
    drawn = pdf_module.pages

    def spoil(one, dpi):
        front, back = drawn(one, dpi)
        bad = front.symbols[spoiled]
        front.symbols[spoiled] = replace(bad, dark=bad.dark[::2])
        return [front, back]

    monkeypatch.setattr(pdf_module, "pages", spoil)
    with pytest.raises(Nonsense, match=f"{words} of BH-F26-00417-Y on page 1 can't be read back"):
        proof.proofread(make_pdf([label]), [label])


def test_bytes_that_are_no_pdf_are_refused():
    with pytest.raises(Nonsense, match="no PDF"):
        proof.read_back(b"not a PDF")


def test_several_threads_may_make_and_proofread_at_once(a_label):
    """PDFium itself must not be entered twice at once; the web server has several threads."""
    label = a_label("tire tag")
    pdf = make_pdf([label])
    read: list[int] = []

    def work():
        for _ in range(5):
            made = make_pdf([label])
            if made == pdf:
                read.append(proof.proofread(made, [label]))

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert read == [6] * 20
