"""What was changed on a line, hooked up or cleaned, found without walking through its draws; and what was made from an item with the
grams, without looking each link up."""


def up(migrator, db):
    db.execute_sql(
        "CREATE INDEX line_act_change ON line_act (line, what, at, rank, seq, n) WHERE what <> 'draw'"
    )
    db.execute_sql("DROP INDEX link_parent")
    db.execute_sql("CREATE INDEX link_parent ON link (parent, child, best_g)")
