"""What a person likes to read: a language and units. Erasable, never evidence."""

TABLE = """
CREATE TABLE preference (
    person TEXT PRIMARY KEY, shop TEXT NOT NULL,
    language TEXT NOT NULL DEFAULT '', units TEXT NOT NULL DEFAULT '' CHECK (units IN ('', 'us', 'metric'))
)
"""


def up(migrator, db):
    db.execute_sql(TABLE)
