"""What was changed on a line, hooked up or cleaned, found without walking through its draws."""


def up(migrator, db):
    db.execute_sql(
        "CREATE INDEX line_act_change ON line_act (line, what, at, rank, seq, n) WHERE what <> 'draw'"
    )
