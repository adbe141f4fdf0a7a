"""Which devices may write over the network: admitted and dismissed, each with the hash of its token. The token is kept nowhere."""

TABLE = """
CREATE TABLE device_act (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, device TEXT NOT NULL, at BIGINT NOT NULL, who TEXT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('admitted', 'dismissed')),
    role TEXT NOT NULL CHECK (role IN ('hand', 'lead', 'owner', '')), token_hash TEXT NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (shop, seq), CHECK ((what = 'admitted') = (length(token_hash) = 64))
)
"""


def up(migrator, db):
    db.execute_sql(TABLE)
    db.execute_sql("CREATE INDEX device_act_device ON device_act (shop, device, seq)")
    db.execute_sql("CREATE INDEX device_act_token ON device_act (token_hash)")
