"""Of each child: when the latest of its links was, and all its grams; so that what was made from an item is known without looking
through all that everything made of it was made of."""

TABLE = "CREATE TABLE whole (child {number} PRIMARY KEY, ord BIGINT NOT NULL, best_g BIGINT NOT NULL)"


def up(migrator, db):
    postgres = type(db).__name__.startswith(("Postgres", "Psycopg"))
    db.execute_sql(TABLE.format(number="BIGINT" if postgres else "INTEGER"))
    db.execute_sql("INSERT INTO whole SELECT child, max(ord), sum(best_g) FROM link GROUP BY child")
