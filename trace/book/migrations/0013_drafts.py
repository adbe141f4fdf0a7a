"""What was typed at a tire and not sent, so that another device can go on with it. Erased when the fill is finished; never evidence."""

TABLE = """
CREATE TABLE draft (
    shop TEXT NOT NULL, item TEXT NOT NULL, tablet TEXT NOT NULL, who TEXT NOT NULL, station TEXT NOT NULL DEFAULT '',
    said TEXT NOT NULL CHECK (length(said) <= 4000), at BIGINT NOT NULL,
    PRIMARY KEY (shop, item, tablet)
)
"""


def up(migrator, db):
    db.execute_sql(TABLE)
