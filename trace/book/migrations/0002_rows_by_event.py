"""Indexes by event number: taking an event's rows away again searched these tables from end to end, which slowed each fill."""

INDEXES = (
    "CREATE INDEX tote_seq ON tote (shop, seq)",
    "CREATE INDEX tire_seq ON tire (shop, seq)",
    "CREATE INDEX fill_seq ON fill (shop, seq)",
    "CREATE INDEX ingredient_batch ON ingredient (batch)",
)


def up(migrator, db):
    for statement in INDEXES:
        db.execute_sql(statement)
