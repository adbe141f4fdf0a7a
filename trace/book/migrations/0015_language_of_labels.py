"""Which language the shop's labels are in, and the papers that commands make. English until somebody chooses another."""


def up(migrator, db):
    db.execute_sql(
        "CREATE TABLE language_set (shop TEXT NOT NULL, seq BIGINT NOT NULL, language TEXT NOT NULL, PRIMARY KEY (shop, seq))"
    )
