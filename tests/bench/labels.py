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


def main(many: int) -> None:
    wanted = labels(many)
    warm = labels(1)
    proof.made(warm)
    began = time.perf_counter()
    for _ in range(20):
        proof.made([Label(warm[0].face, wanted[-1].id, warm[0].host, warm[0].facts)])
    once = (time.perf_counter() - began) / 20
    alone = matrices(wanted)
    began = time.perf_counter()
    document = proof.made(wanted)
    took = time.perf_counter() - began
    peak = (
        resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1 if sys.platform == "darwin" else 1024) / 1000
    )
    print(f"one label, drawn and read back     {once * 1000:8.1f} ms   (at most 60)")
    print(f"{many} QR matrices, library alone   {alone:8.2f} s")
    print(
        f"{many} labels, drawn and read back  {took:8.2f} s    {took / alone:.2f} times that (at most 3.2); {len(document) / 1e6:.1f} MB"
    )
    print(f"memory at its highest              {peak * 1000:8.0f} MB   (at most 150)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
