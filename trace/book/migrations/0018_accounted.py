"""What became of a listed tire that did not come back: looked at where it is, destroyed there, or out of reach; as somebody signed for it."""

ACCOUNTED = """CREATE TABLE accounted (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, recall_seq BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('looked at, stays', 'destroyed there', 'out of reach')), PRIMARY KEY (shop, seq, n))"""
# A check is not changed in place by every database: the table is made anew with what it holds.
OUTCOMES = """CREATE TABLE new_outcome (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, tier TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('', 'came back', 'released since', 'looked at, stays', 'destroyed there', 'out of reach',
                                             'cut out', 'scrapped', 'void')),
    listed_then BIGINT NOT NULL CHECK (listed_then IN (0, 1)), PRIMARY KEY (shop, seq, n))"""


def up(migrator, db):
    for statement in (
        ACCOUNTED,
        "CREATE INDEX accounted_item ON accounted (item)",
        OUTCOMES,
        "INSERT INTO new_outcome SELECT shop, seq, n, item, tier, outcome, listed_then FROM recall_outcome",
        "DROP TABLE recall_outcome",
        "ALTER TABLE new_outcome RENAME TO recall_outcome",
        "CREATE INDEX recall_outcome_item ON recall_outcome (item)",
    ):
        db.execute_sql(statement)
