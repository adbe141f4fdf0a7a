"""Lists that page through a large book without sorting it, and words that are found by any part of them.

``word_part`` is derived: for each word under which anything is found, every ending of it from three characters on. A word is found
by any part of it where one of its endings begins with that part; both databases look that up in an index.
"""

LONGEST_PART = 24  # as in derive
PARTS_OF = 64

TABLE = """CREATE TABLE word_part (
    shop TEXT NOT NULL, part TEXT{collate} NOT NULL, word TEXT NOT NULL,
    PRIMARY KEY (shop, part, word)
){norowid}"""
INDEXES = (
    "CREATE INDEX word_part_word ON word_part (shop, word)",
    "CREATE INDEX item_number ON item (shop, serial)",
    "CREATE INDEX tote_received ON tote (shop, received_at, item)",
    "CREATE INDEX tote_use_by ON tote (shop, use_by, item)",
    "CREATE INDEX tote_by_lot ON tote (shop, lot, item)",
    "CREATE INDEX tote_supplier ON tote (shop, supplier, item)",
    "CREATE INDEX batch_made ON batch (shop, made_at, item)",
    "CREATE INDEX tire_by_customer ON tire (shop, customer, item)",
    "CREATE INDEX tire_by_size ON tire (shop, size, item)",
    "CREATE INDEX tire_taken ON tire (shop, taken_at, item)",
    "CREATE INDEX fill_filled ON fill (shop, at, item)",
    "CREATE INDEX cup_poured ON cup (shop, at, item)",
    "CREATE INDEX place_item ON place (state, item)",
    "CREATE INDEX event_kind ON event (shop, kind, seq)",
    "CREATE INDEX event_happened ON event (shop, happened_at, seq)",
)
FILL = """INSERT INTO word_part (shop, part, word)
WITH RECURSIVE place_in(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM place_in WHERE n < {longest}),
words(shop, word) AS (SELECT DISTINCT i.shop, s.word FROM search s JOIN item i ON i.code = s.item)
SELECT DISTINCT w.shop, substr(w.word, p.n, {part}), w.word FROM words w JOIN place_in p ON p.n <= length(w.word) - 2"""


def up(migrator, db):
    postgres = type(db).__name__.startswith(("Postgres", "Psycopg"))
    db.execute_sql(
        TABLE.format(collate=' COLLATE "C"' if postgres else "", norowid="" if postgres else " WITHOUT ROWID")
    )
    for statement in INDEXES:
        db.execute_sql(statement)
    db.execute_sql(FILL.format(longest=PARTS_OF, part=LONGEST_PART))
