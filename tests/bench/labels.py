"""How long labels take, beside the QR library alone in the same run, and how much memory.

Run: python tests/bench/labels.py [labels]        (1000 different 3 x 2 in labels; every symbol is read back)
"""

from __future__ import annotations

import resource
import sys
import time

from fillbook.labels import proof
from fillbook.labels.faces import Label
from fillbook.trace.core import ids

FACTS = {
    "side": "A",
    "system": "RX-30",
    "lot": "A-2231",
    "supplier": "Northvale Polymers",
    "net_weight": "1000 kg",
    "use_by": "2026-08-01",
}


def labels(many: int) -> list[Label]:
    """So many different labels of the 3 x 2 in tote face."""
    made, serial = [], 0
    for _ in range(many):
        serial = ids.next_serial("BH", "L", 2026, serial)
        made.append(
            Label(
                "tote label 3x2 in",
                ids.mint("BH", "L", 2026, serial),
                "FILLBOOK.LOCAL",
                {**FACTS, "lot": f"A-{serial}"},
            )
        )
    return made


def matrices(wanted: list[Label]) -> float:
    """Seconds the qrcode library takes for the matrices of the labels' addresses alone, its own choice of mask."""
    from qrcode.constants import ERROR_CORRECT_H
    from qrcode.main import QRCode

    began = time.perf_counter()
    for label in wanted:
        code = QRCode(version=3, error_correction=ERROR_CORRECT_H, border=0)
        code.add_data(ids.address(label.host, label.id))
        code.make(fit=False)
    return time.perf_counter() - began


def rows(many: int = 1000) -> list[list[object]]:
    wanted, warm = labels(many), labels(1)[0]
    proof.made([warm])
    began = time.perf_counter()
    for label in wanted[-20:]:
        proof.made([label])
    once = (time.perf_counter() - began) / len(wanted[-20:])
    alone = matrices(wanted)
    began = time.perf_counter()
    document = proof.made(wanted)
    took = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1024)
    return [
        ["what", "measured", "at most"],
        ["one label, drawn and read back", f"{once * 1000:.1f} ms", "60 ms"],
        ["the same in QR matrices of the library", f"{once / (alone / many):.1f}", ""],
        [f"{many} QR matrices, library alone", f"{alone:.2f} s", ""],
        [f"{many} labels, drawn and read back", f"{took:.2f} s, {len(document) / 1e6:.1f} MB", ""],
        ["times the matrices alone", f"{took / alone:.2f}", "3.2"],
        ["memory at its highest", f"{peak:.0f} MB", "150 MB"],
    ]


if __name__ == "__main__":
    for row in rows(int(sys.argv[1]) if len(sys.argv) > 1 else 1000):
        print("".join(str(cell).ljust(44) for cell in row))
