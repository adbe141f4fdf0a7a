"""The first tables. Written by hand: what a generator makes loses the CHECKs.

Everything is BIGINT or TEXT so that SQLite and PostgreSQL read the same text.
"""

TABLES = """
CREATE TABLE chain (
    shop TEXT PRIMARY KEY CHECK (length(shop) = 2),
    ordinal BIGINT NOT NULL UNIQUE,
    head_seq BIGINT NOT NULL CHECK (head_seq >= 0),
    head_hash TEXT NOT NULL,
    items BIGINT NOT NULL DEFAULT 0
);
CREATE TABLE event (
    shop TEXT NOT NULL REFERENCES chain (shop),
    seq BIGINT NOT NULL CHECK (seq > 0),
    prev TEXT NOT NULL,
    hash TEXT NOT NULL,
    kind TEXT NOT NULL,
    happened_at BIGINT NOT NULL,
    request TEXT,
    corrects BIGINT,
    text TEXT NOT NULL,
    PRIMARY KEY (shop, seq),
    UNIQUE (shop, prev)
);
CREATE INDEX event_request ON event (shop, request);
CREATE INDEX event_corrects ON event (shop, corrects);
CREATE TABLE blob (
    digest TEXT PRIMARY KEY CHECK (length(digest) = 64),
    bytes {blob} NOT NULL
);

CREATE TABLE item (
    num BIGINT PRIMARY KEY,
    code TEXT NOT NULL UNIQUE,
    shop TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind IN ('L', 'G', 'F', 'C', 'Z', 'U', 'P', 'W')),
    year BIGINT NOT NULL,
    serial BIGINT NOT NULL,
    seq BIGINT NOT NULL
);
CREATE INDEX item_serial ON item (shop, kind, year, serial);
CREATE TABLE touch (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    item TEXT NOT NULL, at BIGINT NOT NULL, rank BIGINT NOT NULL,
    state TEXT, place TEXT, words TEXT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX touch_item ON touch (item, at, rank, seq, n);
CREATE TABLE shop (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, name TEXT NOT NULL, timezone TEXT NOT NULL,
    host TEXT NOT NULL, units TEXT NOT NULL CHECK (units IN ('us', 'metric')),
    PRIMARY KEY (shop)
);
CREATE TABLE limit_set (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, name TEXT NOT NULL, scope TEXT NOT NULL,
    value BIGINT NOT NULL, typed TEXT NOT NULL, source TEXT NOT NULL, from_at BIGINT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE TABLE system (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, name TEXT NOT NULL,
    ratio_a BIGINT NOT NULL CHECK (ratio_a > 0), ratio_b BIGINT NOT NULL CHECK (ratio_b > 0),
    PRIMARY KEY (shop, seq)
);
CREATE TABLE person (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, name TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('hand', 'lead', 'owner')),
    PRIMARY KEY (shop, seq)
);
CREATE TABLE zone (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, name TEXT NOT NULL,
    gap_s BIGINT NOT NULL CHECK (gap_s > 0), tolerance_mk BIGINT NOT NULL CHECK (tolerance_mk >= 0),
    PRIMARY KEY (shop, seq)
);
CREATE TABLE line (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, name TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE TABLE tote (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL,
    supplier TEXT NOT NULL, lot TEXT NOT NULL, side TEXT NOT NULL CHECK (side IN ('A', 'B')),
    system TEXT NOT NULL, grade TEXT NOT NULL, net_g BIGINT NOT NULL CHECK (net_g > 0), basis TEXT NOT NULL,
    received_at BIGINT NOT NULL, made_at BIGINT, use_by BIGINT, supplier_code TEXT NOT NULL,
    PRIMARY KEY (item)
);
CREATE INDEX tote_lot ON tote (shop, lot);
CREATE TABLE batch (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL,
    made_at BIGINT NOT NULL, grams BIGINT NOT NULL CHECK (grams > 0),
    PRIMARY KEY (item)
);
CREATE TABLE ingredient (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    batch TEXT NOT NULL, source TEXT NOT NULL, grams BIGINT NOT NULL CHECK (grams > 0), cut_at BIGINT,
    PRIMARY KEY (shop, seq, n), CHECK (batch <> source)
);
CREATE INDEX ingredient_source ON ingredient (source);
CREATE TABLE line_act (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    line TEXT NOT NULL, at BIGINT NOT NULL, rank BIGINT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('hook', 'off', 'load', 'clean', 'odd', 'draw')),
    stream TEXT NOT NULL CHECK (stream IN ('A', 'B', 'R', '')),
    item TEXT NOT NULL, started_at BIGINT, grams BIGINT NOT NULL DEFAULT 0 CHECK (grams >= 0),
    a_g BIGINT NOT NULL DEFAULT 0 CHECK (a_g >= 0), b_g BIGINT NOT NULL DEFAULT 0 CHECK (b_g >= 0),
    r_g BIGINT NOT NULL DEFAULT 0 CHECK (r_g >= 0), mix_e4 BIGINT NOT NULL DEFAULT 0,
    purpose TEXT NOT NULL DEFAULT '', basis TEXT NOT NULL DEFAULT '',
    ran_dry BIGINT NOT NULL DEFAULT 0, how_full BIGINT,
    PRIMARY KEY (shop, seq, n), CHECK (what <> 'draw' OR grams = a_g + b_g + r_g)
);
CREATE INDEX line_act_order ON line_act (line, at, rank, seq, n);
CREATE INDEX line_act_item ON line_act (item);
CREATE INDEX line_act_mix ON line_act (shop, mix_e4);
CREATE TABLE tire (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL,
    customer TEXT NOT NULL, site TEXT NOT NULL, unit TEXT NOT NULL, position TEXT NOT NULL,
    size TEXT NOT NULL, section TEXT NOT NULL CHECK (section IN ('small', 'medium', 'large')),
    serial TEXT NOT NULL, wheel_serial TEXT NOT NULL, rating_pa BIGINT, target_pa BIGINT, mix_e4 BIGINT,
    earlier TEXT NOT NULL, order_number TEXT NOT NULL, taken_at BIGINT NOT NULL,
    PRIMARY KEY (item)
);
CREATE INDEX tire_customer ON tire (shop, customer);
CREATE TABLE fill_start (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, line TEXT NOT NULL,
    at BIGINT NOT NULL, bay_mc BIGINT, casing_mc BIGINT, mix_mc BIGINT, who TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX fill_start_item ON fill_start (item);
CREATE INDEX fill_start_line ON fill_start (line, at);
CREATE TABLE fill (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, line TEXT NOT NULL,
    started_at BIGINT NOT NULL, at BIGINT NOT NULL, grams BIGINT NOT NULL, mix_e4 BIGINT NOT NULL,
    pressure_pa BIGINT, flow_stopped BIGINT NOT NULL, cold BIGINT NOT NULL, who TEXT NOT NULL,
    PRIMARY KEY (item)
);
CREATE INDEX fill_line ON fill (line, at);
CREATE TABLE out_of (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    item TEXT NOT NULL, what TEXT NOT NULL CHECK (what IN ('reclaim', 'scrap')),
    at BIGINT NOT NULL, grams BIGINT CHECK (grams > 0),
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX out_of_item ON out_of (item);
CREATE TABLE reading (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, zone TEXT NOT NULL, at BIGINT NOT NULL, mc BIGINT NOT NULL,
    lowest_since BIGINT,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX reading_zone ON reading (zone, at);
CREATE TABLE sample_block (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, zone TEXT NOT NULL, sensor TEXT NOT NULL,
    first_at BIGINT NOT NULL, last_at BIGINT NOT NULL, count BIGINT NOT NULL, digest TEXT NOT NULL, read_as TEXT NOT NULL,
    late BIGINT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX sample_block_zone ON sample_block (zone, last_at);
CREATE TABLE doubt (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, zone TEXT NOT NULL, sensor TEXT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('spike', 'flat')), first_at BIGINT NOT NULL, last_at BIGINT NOT NULL, words TEXT NOT NULL,
    PRIMARY KEY (shop, seq, n), CHECK (first_at <= last_at)
);
CREATE INDEX doubt_zone ON doubt (zone, sensor, last_at);
CREATE TABLE trust (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, digest TEXT NOT NULL, zone TEXT NOT NULL, at BIGINT NOT NULL, who TEXT NOT NULL,
    why TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX trust_digest ON trust (digest, zone);
CREATE TABLE sensor_act (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, zone TEXT NOT NULL, sensor TEXT NOT NULL, at BIGINT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('hang', 'down')), offset_mk BIGINT NOT NULL, tolerance_mk BIGINT, gap_s BIGINT,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX sensor_act_sensor ON sensor_act (shop, sensor, at);
CREATE TABLE sensor_token (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, zone TEXT NOT NULL, sensor TEXT NOT NULL, token_hash TEXT NOT NULL,
    who TEXT NOT NULL, at BIGINT NOT NULL, ended BIGINT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX sensor_token_hash ON sensor_token (token_hash);
CREATE TABLE sample (
    zone TEXT NOT NULL, sensor TEXT NOT NULL, at BIGINT NOT NULL, shop TEXT NOT NULL, seq BIGINT NOT NULL, mc BIGINT NOT NULL,
    PRIMARY KEY (zone, sensor, at, shop, seq)
){norowid};
CREATE INDEX sample_seq ON sample (shop, seq);
CREATE TABLE cup (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, line TEXT NOT NULL,
    at BIGINT NOT NULL, zone TEXT NOT NULL, mix_mc BIGINT,
    PRIMARY KEY (item)
);
CREATE INDEX cup_line ON cup (line, at);
CREATE TABLE cup_read (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, cup TEXT NOT NULL, at BIGINT NOT NULL,
    is_set BIGINT NOT NULL, hardness TEXT NOT NULL, passed BIGINT NOT NULL,
    scale TEXT NOT NULL CHECK (scale IN ('A', '00')), dwell_s BIGINT, cup_mc BIGINT, thickness_dmm BIGINT,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX cup_read_cup ON cup_read (cup, at);
CREATE TABLE work_order (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, number TEXT NOT NULL, customer TEXT NOT NULL, site TEXT NOT NULL,
    machine TEXT NOT NULL, unit TEXT NOT NULL, position TEXT NOT NULL, tires BIGINT NOT NULL CHECK (tires > 0), size TEXT NOT NULL,
    target_pa BIGINT, mix_e4 BIGINT, grade TEXT NOT NULL, billed TEXT NOT NULL CHECK (billed IN ('weight', 'piece')),
    PRIMARY KEY (shop, seq)
);
CREATE INDEX work_order_number ON work_order (shop, number);
CREATE TABLE inspection (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    name TEXT NOT NULL, value TEXT NOT NULL, good BIGINT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX inspection_item ON inspection (item, name, at);
CREATE TABLE shift (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, line TEXT NOT NULL, at BIGINT NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('start', 'end')), caught_a_g BIGINT, caught_b_g BIGINT, who TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX shift_line ON shift (line, at);
CREATE TABLE attachment (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, lot TEXT NOT NULL, supplier TEXT NOT NULL, what TEXT NOT NULL,
    media TEXT NOT NULL, digest TEXT NOT NULL, at BIGINT NOT NULL,
    PRIMARY KEY (shop, seq), CHECK ((item = '') <> (lot = ''))
);
CREATE INDEX attachment_item ON attachment (item);
CREATE TABLE kept (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, shelf TEXT NOT NULL, keep_until BIGINT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX kept_item ON kept (item);
CREATE TABLE waste_out (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, line TEXT NOT NULL, at BIGINT NOT NULL, grams BIGINT NOT NULL CHECK (grams > 0),
    became TEXT NOT NULL CHECK (became IN ('pieces', 'thrown away')),
    PRIMARY KEY (shop, seq)
);
CREATE TABLE weighing (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, line TEXT NOT NULL,
    stream TEXT NOT NULL CHECK (stream IN ('A', 'B', 'R', '')), at BIGINT NOT NULL, rank BIGINT NOT NULL,
    grams BIGINT NOT NULL CHECK (grams >= 0), basis TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX weighing_item ON weighing (item, at);
CREATE INDEX weighing_line ON weighing (line, at);
CREATE TABLE released (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    path TEXT NOT NULL, overridden BIGINT NOT NULL, credited_s BIGINT NOT NULL, attended_s BIGINT NOT NULL,
    moved_at BIGINT NOT NULL, work_at BIGINT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX released_item ON released (item, at);
CREATE TABLE settled (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX settled_item ON settled (item);
CREATE TABLE dispatch (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    sent_to TEXT NOT NULL, overridden BIGINT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX dispatch_item ON dispatch (item, at);
CREATE TABLE came_back (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    return_seq BIGINT NOT NULL, complaint TEXT NOT NULL, customer TEXT NOT NULL, size TEXT NOT NULL, clues TEXT NOT NULL,
    verdict TEXT NOT NULL CHECK (verdict IN ('ours', 'not ours', 'undetermined')),
    PRIMARY KEY (shop, seq)
);
CREATE INDEX came_back_return ON came_back (shop, return_seq);
CREATE TABLE candidate (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, return_seq BIGINT NOT NULL,
    item TEXT NOT NULL, speaks_for TEXT NOT NULL, speaks_against TEXT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX candidate_item ON candidate (item);
CREATE TABLE hold (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    item TEXT NOT NULL, lot TEXT NOT NULL, supplier TEXT NOT NULL, why TEXT NOT NULL, at BIGINT NOT NULL,
    by_rule BIGINT NOT NULL, who TEXT NOT NULL,
    PRIMARY KEY (shop, seq, n), CHECK ((item = '') <> (lot = ''))
);
CREATE INDEX hold_item ON hold (item);
CREATE INDEX hold_lot ON hold (shop, lot);
CREATE TABLE lift (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, hold_seq BIGINT NOT NULL, hold_n BIGINT NOT NULL,
    at BIGINT NOT NULL, who TEXT NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE INDEX lift_hold ON lift (shop, hold_seq, hold_n);
CREATE TABLE finding (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    item TEXT NOT NULL, code TEXT NOT NULL, words TEXT NOT NULL, holds BIGINT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX finding_item ON finding (item);
CREATE TABLE print (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    face TEXT NOT NULL, how TEXT NOT NULL CHECK (how IN ('handed out', 'accepted')), why TEXT NOT NULL,
    copy BIGINT NOT NULL CHECK (copy > 0), printer TEXT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX print_item ON print (item, at);
CREATE TABLE print_failed (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL, at BIGINT NOT NULL,
    printer TEXT NOT NULL, trouble TEXT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX print_failed_item ON print_failed (item);
CREATE TABLE face_set (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, face TEXT NOT NULL, size TEXT NOT NULL, facts TEXT NOT NULL, words TEXT NOT NULL,
    logo TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE TABLE printer_set (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, station TEXT NOT NULL, printer TEXT NOT NULL, dpi BIGINT NOT NULL, sheet TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE TABLE paper_trial (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, stock TEXT NOT NULL, step TEXT NOT NULL, at BIGINT NOT NULL,
    tags BIGINT NOT NULL, qr BIGINT NOT NULL, bars BIGINT NOT NULL, either BIGINT NOT NULL, readable BIGINT NOT NULL, why TEXT NOT NULL,
    PRIMARY KEY (shop, seq), CHECK (either <= tags)
);
CREATE TABLE supplier_note (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, supplier TEXT NOT NULL, pattern TEXT NOT NULL, dates TEXT NOT NULL, example TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE TABLE recall (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, suspect TEXT NOT NULL, defect TEXT NOT NULL,
    threshold_e6 BIGINT NOT NULL, at BIGINT NOT NULL, position_seq BIGINT NOT NULL, position_hash TEXT NOT NULL,
    why TEXT NOT NULL,
    PRIMARY KEY (shop, seq)
);
CREATE TABLE recall_item (
    shop TEXT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL, item TEXT NOT NULL,
    tier TEXT NOT NULL, least_g BIGINT NOT NULL, best_g BIGINT NOT NULL, most_g BIGINT NOT NULL,
    PRIMARY KEY (shop, seq, n)
);
CREATE INDEX recall_item_item ON recall_item (item);

CREATE TABLE link (
    child BIGINT NOT NULL, draw BIGINT NOT NULL, stream TEXT NOT NULL CHECK (stream IN ('A', 'B', 'R', 'G')),
    parent BIGINT NOT NULL, ord BIGINT NOT NULL,
    least_g BIGINT NOT NULL CHECK (least_g >= 0), best_g BIGINT NOT NULL, most_g BIGINT NOT NULL, cut_at BIGINT,
    PRIMARY KEY (child, draw, stream, parent),
    CHECK (child <> parent), CHECK (least_g <= best_g), CHECK (best_g <= most_g)
){norowid};
CREATE INDEX link_parent ON link (parent, child);
CREATE INDEX link_unknown ON link (cut_at, child) WHERE parent = 0;
CREATE TABLE line_state (
    line TEXT NOT NULL, at BIGINT NOT NULL, rank BIGINT NOT NULL, seq BIGINT NOT NULL, n BIGINT NOT NULL,
    off_ratio BIGINT NOT NULL, state TEXT NOT NULL,
    PRIMARY KEY (line, at, rank, seq, n)
);
CREATE TABLE place (
    item TEXT PRIMARY KEY, state TEXT NOT NULL, place TEXT NOT NULL, since BIGINT NOT NULL, seq BIGINT NOT NULL
);
CREATE INDEX place_state ON place (state, place);
CREATE INDEX place_place ON place (place, state);
CREATE TABLE search (
    word TEXT NOT NULL, item TEXT NOT NULL, field TEXT NOT NULL,
    PRIMARY KEY (word, item, field)
){norowid};
CREATE INDEX search_item ON search (item)
"""

# The journal may only grow. SQLite and PostgreSQL word their guards differently.
SQLITE_GUARDS = [
    f"CREATE TRIGGER event_no_{act} BEFORE {act} ON event BEGIN SELECT RAISE(ABORT, 'the journal only grows'); END"
    for act in ("UPDATE", "DELETE")
]
POSTGRES_GUARDS = [
    "CREATE FUNCTION journal_only_grows() RETURNS trigger LANGUAGE plpgsql AS "
    "$$ BEGIN RAISE EXCEPTION 'the journal only grows'; END $$",
    "CREATE TRIGGER event_no_change BEFORE UPDATE OR DELETE ON event "
    "FOR EACH ROW EXECUTE FUNCTION journal_only_grows()",
]


def up(migrator, db):
    postgres = type(db).__name__.startswith(("Postgres", "Psycopg"))
    text = TABLES.format(blob="BYTEA" if postgres else "BLOB", norowid="" if postgres else " WITHOUT ROWID")
    for statement in [part for part in text.split(";") if part.strip()]:
        db.execute_sql(statement)
    for statement in POSTGRES_GUARDS if postgres else SQLITE_GUARDS:
        db.execute_sql(statement)
