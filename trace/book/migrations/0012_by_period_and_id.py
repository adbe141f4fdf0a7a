"""Items of a period in the order of their IDs, found some thousands of IDs at a time (see ``trace/book/lists.py``); and those that
are in a state the longest, found without sorting all that are in it."""

INDEXES = (
    "CREATE INDEX fill_by_id ON fill ((substr(item, 1, 6)), at, item)",
    "CREATE INDEX tote_by_id ON tote ((substr(item, 1, 6)), received_at, item)",
    "CREATE INDEX batch_by_id ON batch ((substr(item, 1, 6)), made_at, item)",
    "CREATE INDEX cup_by_id ON cup ((substr(item, 1, 6)), at, item)",
    "CREATE INDEX place_since ON place (state, since, item)",
)


def up(migrator, db):
    for statement in INDEXES:
        db.execute_sql(statement)
