"""What a person signs with: a hashed PIN, a one-time code to set one, and how often a wrong one was typed. Erasable, never evidence."""

TABLE = """
CREATE TABLE sign_in (
    person TEXT PRIMARY KEY, shop TEXT NOT NULL,
    pin TEXT, code TEXT, code_until BIGINT NOT NULL DEFAULT 0,
    wrong BIGINT NOT NULL DEFAULT 0 CHECK (wrong >= 0), locked_until BIGINT NOT NULL DEFAULT 0
)
"""


def up(migrator, db):
    db.execute_sql(TABLE)
    db.execute_sql("CREATE INDEX sign_in_shop ON sign_in (shop)")
