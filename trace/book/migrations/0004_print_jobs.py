"""Labels printed in the background; and what a supplier's label says of its own item and serial.

``print_job`` says how far a job is, so that a page can show it and a program that starts again knows what it left. It is no
evidence: which labels were handed out or accepted stands in the journal.
"""

STATEMENTS = (
    """CREATE TABLE print_job (
    job TEXT NOT NULL PRIMARY KEY, shop TEXT NOT NULL, asked_at BIGINT NOT NULL, who TEXT NOT NULL, station TEXT NOT NULL,
    printer TEXT NOT NULL, dpi BIGINT NOT NULL, sheet TEXT NOT NULL, start BIGINT NOT NULL, why TEXT NOT NULL,
    items TEXT NOT NULL, total BIGINT NOT NULL, done BIGINT NOT NULL DEFAULT 0,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'drawing', 'sending', 'drawn', 'done', 'stopped')),
    doubt TEXT NOT NULL DEFAULT '', trouble TEXT NOT NULL DEFAULT '', document {bytes}, CHECK (done BETWEEN 0 AND total))""",
    "CREATE INDEX print_job_asked ON print_job (shop, asked_at)",
    "ALTER TABLE tote ADD COLUMN supplier_item TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE tote ADD COLUMN supplier_serial TEXT NOT NULL DEFAULT ''",
)


def up(migrator, db):
    from peewee import SqliteDatabase

    for statement in STATEMENTS:
        db.execute_sql(statement.replace("{bytes}", "BLOB" if isinstance(db, SqliteDatabase) else "BYTEA"))
