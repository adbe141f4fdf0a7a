"""Which table is of which kind, and what makes a row the same row in two books.

*Journal* tables are the record. *Facts* are written by ``apply`` alone. *Derived* rows are a pure function of the facts.
``item`` and ``chain`` hold numbers that only mean something inside one database; every comparison goes by natural keys.
"""

from __future__ import annotations

FACTS = (
    "touch", "shop", "limit_set", "system", "person", "zone", "line", "tote", "batch", "ingredient", "line_act", "tire",
    "fill_start", "fill", "out_of", "reading", "sample_block", "sample", "doubt", "trust", "sensor_act", "sensor_token", "device_act", "settled", "cup", "cup_read", "released", "dispatch",
    "work_order", "inspection", "shift", "attachment", "kept", "waste_out", "weighing", "came_back", "candidate", "hold", "lift", "finding", "print", "print_failed", "face_set", "language_set", "printer_set", "paper_trial", "supplier_note", "recall", "recall_item", "recall_close", "recall_outcome", "accounted",
)  # fmt: skip
DERIVED = ("link", "whole", "line_state", "place", "search", "word_part")

#: How a table is read when two books are compared: numbers of one database are replaced by IDs.
NATURAL = {
    "item": "SELECT code, shop, kind, year, serial, seq FROM item ORDER BY code",
    "link": (
        "SELECT c.code AS child, k.draw, k.stream, coalesce(p.code, '') AS parent, k.ord, k.least_g, k.best_g, k.most_g, "
        "k.cut_at, k.together FROM link k JOIN item c ON c.num = k.child LEFT JOIN item p ON p.num = k.parent "
        "ORDER BY c.code, k.draw, k.stream, 4"
    ),
    "whole": "SELECT c.code AS child, w.ord, w.best_g FROM whole w JOIN item c ON c.num = w.child ORDER BY c.code",
}


def natural(table: str) -> str:
    """The query that reads *table* by natural keys, in a stable order."""
    return NATURAL.get(table, f"SELECT * FROM {table}")
