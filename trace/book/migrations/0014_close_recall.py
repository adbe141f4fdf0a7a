"""A recall that was closed: by whom, when, with which note, and what had become of each tire it listed."""

TABLES = (
    """CREATE TABLE recall_close (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, recall_seq BIGINT NOT NULL, at BIGINT NOT NULL, who TEXT NOT NULL,
    note TEXT NOT NULL, PRIMARY KEY (shop, seq), UNIQUE (shop, recall_seq))""",
    """CREATE TABLE recall_outcome (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, tier TEXT NOT NULL,
    outcome TEXT NOT NULL CHECK (outcome IN ('', 'came back', 'released since', 'cut out', 'scrapped', 'void')),
    listed_then BIGINT NOT NULL CHECK (listed_then IN (0, 1)), PRIMARY KEY (shop, seq, n))""",
    "CREATE INDEX recall_outcome_item ON recall_outcome (item)",
)


def up(migrator, db):
    for statement in TABLES:
        db.execute_sql(statement)
