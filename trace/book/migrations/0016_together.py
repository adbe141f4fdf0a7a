"""Links whose draw went through a mixed zone after the mix changed: only the weight of all its streams together is known."""


def up(migrator, db):
    db.execute_sql("ALTER TABLE link ADD COLUMN together BIGINT NOT NULL DEFAULT 0")
