"""Who ever lay in a zone, found without walking through every touch of the shop."""


def up(migrator, db):
    db.execute_sql("CREATE INDEX touch_racked ON touch (place, at) WHERE state = 'racked'")
