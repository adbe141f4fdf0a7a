"""Tires that came back without a label: which of ours each can be, with what speaks for it and against."""

from __future__ import annotations

from dataclasses import dataclass

from fillbook.trace.book import queries
from fillbook.trace.book.opening import Book
from fillbook.trace.book.search_words import plain_word

MONTH_S = 30 * 86_400 + 10 * 3600
MOST = 200
CLUES = {
    "customer": "customer",
    "size": "size",
    "unit": "unit number",
    "serial": "tire serial",
    "wheel_serial": "wheel serial",
}
DECISIVE = ("wheel_serial", "serial", "unit")


@dataclass(frozen=True)
class OpenReturn:
    """A return without a label, as it was narrowed so far."""

    seq: int
    at: int
    complaint: str
    customer: str
    size: str
    clues: str
    item: str
    verdict: str
    candidates: list[dict[str, str]]


def candidates(
    book: Book, shop: str, clues: dict[str, str], months: int | None, at: int
) -> list[dict[str, str]]:
    """The tires that had left by *at* and that the clues allow, best first: item, for, against.

    A clue speaks for a tire that bears it, against one that bears another, and neither way where the book says nothing. Serials
    are compared as far as they could be read. A tire stays while something speaks for it; those with a decisive key (a serial, a
    unit number) against them and none for them are left out.
    """
    rows = book.rows(
        "SELECT t.*, p.state, (SELECT max(d.at) FROM dispatch d WHERE d.item = t.item AND d.at <= ?) AS left_at "
        "FROM tire t JOIN place p ON p.item = t.item WHERE t.shop = ? AND p.state IN ('dispatched', 'released', 'racked', 'filled')",
        at, shop,
    )  # fmt: skip
    found: list[tuple[int, str, list[str], list[str]]] = []
    for row in rows:
        if row.left_at is None:
            continue
        speaks_for, against, score, decisive = [], [], 0, 0
        for name, words in CLUES.items():
            said, known = plain_word(clues.get(name, "")), plain_word(row[name] or "")
            if not said or not known:
                continue
            fits = said in known if name in ("serial", "wheel_serial") else said == known
            (speaks_for if fits else against).append(f"{words} {row[name]}")
            weight = 5 if name in DECISIVE else 1
            score += weight if fits else -weight
            if name in DECISIVE:
                decisive += 1 if fits else -1
        if months is not None:
            age = (at - row.left_at) / MONTH_S
            fits = abs(age - months) <= max(2.0, months * 0.25)
            (speaks_for if fits else against).append(_left(round(age)))
            score += 1 if fits else -1
        if speaks_for and decisive >= 0 and score > 0:
            found.append((score, row["item"], speaks_for, against))
    found.sort(key=lambda one: (-one[0], one[1]))
    return [
        {"item": item, "for": "; ".join(pro), "against": "; ".join(con)} for _, item, pro, con in found[:MOST]
    ]


def _left(months: int) -> str:
    if months < 1:
        return "left this month"
    return "left 1 month before" if months == 1 else f"left {months} months before"


def open_return(book: Book, shop: str, seq: int) -> OpenReturn | None:
    """The return of event *seq* with the newest word on it; None where that event is no return without a label."""
    first = book.one("SELECT * FROM came_back WHERE shop = ? AND seq = ? AND item = ''", shop, seq)
    if first is None:
        return None
    newest = book.value("SELECT max(seq) FROM came_back WHERE shop = ? AND return_seq = ?", shop, seq) or seq
    row = book.one("SELECT * FROM came_back WHERE shop = ? AND seq = ?", shop, newest) or first
    rows = book.rows(
        "SELECT item, speaks_for, speaks_against FROM candidate WHERE shop = ? AND seq = ? ORDER BY n",
        shop,
        newest,
    )
    return OpenReturn(
        seq, first.at, first.complaint, first.customer, first.size, first.clues, row["item"], row.verdict,
        [{"item": r["item"], "for": r.speaks_for, "against": r.speaks_against} for r in rows],
    )  # fmt: skip


def unidentified(book: Book, shop: str) -> list[OpenReturn]:
    """The returns whose tire is not told yet, newest first."""
    seqs = book.tuples(
        "SELECT c.seq FROM came_back c JOIN event e ON e.shop = c.shop AND e.seq = c.seq "
        "WHERE c.shop = ? AND c.item = '' AND e.kind = 'return' ORDER BY c.at DESC, c.seq DESC",
        shop,
    )
    found = [case for (seq,) in seqs if (case := open_return(book, shop, seq))]
    return [case for case in found if not case.item and case.verdict == "undetermined"]


def returned_tires(book: Book, shop: str) -> list[str]:
    return [row["item"] for row in queries.in_state(book, shop, "returned")]
