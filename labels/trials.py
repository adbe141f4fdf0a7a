"""The paper trial: what a shop does to its own tags before it trusts a stock and a ribbon, and what that showed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fillbook.labels.papers import Table, paper

#: The steps and what is done in each, *common practice* in testing labels for workshops.
STEPS = (
    ("new", "Scan and read each tag as it came from the printer."),
    ("48 h in the zone", "Hang the tags where the tires cure, for 48 hours, at the zone's own heat."),
    (
        "solvent rub",
        "Rub ten times with a rag wetted with the solvent the line is cleaned with. Gloves; follow its data sheet.",
    ),
    ("soap", "Rub ten times with a rag and soapy water; let dry."),
    ("freezer", "Leave overnight at -18 °C (0 °F), then let thaw and dry."),
    ("scrape", "Draw the edge of a coin over the symbols ten times, firmly."),
)


@dataclass(frozen=True)
class Trial:
    """One count: after *step*, on how many of *tags* a QR code, the bars, either of them, and the ID by eye still read."""

    stock: str
    step: str
    tags: int
    qr: int
    bars: int
    either: int
    readable: int
    why: str = ""


def share(part: int, whole: int) -> str:
    """``9 of 10``; the shop counts tags, not percentages of a handful."""
    return f"{part} of {whole}"


def trial_sheet(
    tags: Sequence[str], earlier: Sequence[Trial], *, head: str, page: str = "letter", language: str = "en"
) -> bytes:
    """The sheet as a PDF: the steps with room for counts, the tags tried, and the earlier trials."""
    blank = "________"
    steps = Table(
        ["Step", "What is done", "Tags", "QR reads", "Bars read", "Either", "Read by eye"],
        [[name, what, blank, blank, blank, blank, blank] for name, what in STEPS],
        [32, 110, 20, 22, 22, 20, 24],
    )
    before = Table(
        ["Stock and ribbon", "After", "QR", "Bars", "Either", "By eye", "Seen"],
        [
            [
                t.stock,
                t.step,
                share(t.qr, t.tags),
                share(t.bars, t.tags),
                share(t.either, t.tags),
                share(t.readable, t.tags),
                t.why,
            ]
            for t in earlier
        ],
        [60, 34, 24, 24, 24, 24, 50],
        typed=(0, 6),
    )
    return paper(
        "Paper trial",
        [
            "Stock and ribbon: ____________________________     Printer: ____________________     Date: ____________",
            f"Tags tried: {', '.join(tags)}. Take ten or more of each stock; scan with the phone the shop uses, from an arm's length.",
            "Enter each line in the browser, under Labels, Paper trial; or typed: fillbook paper-trial --stock … --step … --tags … --qr … --bars … --either … --readable …",
        ],
        [("To do, in this order, on the same tags", steps), ("What earlier trials showed", before)],
        head=head,
        sign=("Tried by",),
        page=page,
        language=language,
    )
