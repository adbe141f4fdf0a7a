"""A thousand labels in one PDF: every QR code and every Code 128 reads, drawn at 203 and at 300 dots to the inch."""

import importlib.util
from pathlib import Path

import pytest
import zxingcpp

from fillbook.labels import layout, rendering
from fillbook.labels.pdf import make_pdf

_spec = importlib.util.spec_from_file_location(
    "bench_labels", Path(__file__).parent.parent / "bench" / "labels.py"
)
bench = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(bench)


@pytest.mark.parametrize("dpi", [203, 300])
def test_a_thousand_of_a_thousand_read(dpi, monkeypatch):
    """Another library than drew them reads each page as a whole. The mask is fixed, which changes no content and saves the search
    for the best one of eight."""
    from qrcode import main

    monkeypatch.setattr(main.QRCode, "best_mask_pattern", lambda self: 0)
    layout.symbols.qr.cache_clear()
    layout._dark_runs.cache_clear()
    labels = bench.labels(1000)
    made = make_pdf(labels, dpi)
    qr = bars = 0
    formats = (zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.Code128)
    for label, picture in zip(labels, rendering.rendered(made, dpi), strict=True):
        found = {
            (one.format, one.text) for one in zxingcpp.read_barcodes(picture, formats=formats) if one.valid
        }
        qr += (zxingcpp.BarcodeFormat.QRCode, f"HTTP://FILLBOOK.LOCAL/I/{label.id}") in found
        bars += (zxingcpp.BarcodeFormat.Code128, label.id) in found
        assert len(found) == 2
    layout.symbols.qr.cache_clear()
    layout._dark_runs.cache_clear()
    assert (qr, bars) == (1000, 1000)
