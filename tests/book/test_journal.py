"""The journal: one text per event, one chain per shop, and every kind of damage named at its first bad event."""

import hashlib
import json
import unicodedata

import peewee
import pytest
import rfc8785
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.trace.book import chain
from fillbook.trace.book.journal import FIELDS, FIRST, LARGEST, Event, Position, canonical, digest
from fillbook.trace.cli.commands import cli
from fillbook.trace.core.errors import Conflict, Damaged, Nonsense

TEXT = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=30).map(
    lambda text: unicodedata.normalize("NFC", text)
)
KEYS = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=12)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST, LARGEST) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)


# -- the text of an event, against RFC 8785 (JSON Canonicalization Scheme) as the library rfc8785 writes it -------------------


@given(VALUES)
@settings(max_examples=150, deadline=None)
def test_the_text_is_that_of_rfc_8785(value):
    assert canonical(value).encode() == rfc8785.dumps(value)


@given(VALUES)
@settings(max_examples=50, deadline=None)
def test_the_text_reads_back_as_what_was_written(value):
    assert json.loads(canonical(value)) == value


def test_keys_are_sorted_and_nothing_stands_between():
    assert canonical({"b": [1, True, None], "a": 'ü / " \\'}) == '{"a":"ü / \\" \\\\","b":[1,true,null]}'


@pytest.mark.parametrize(
    "value",
    [
        0.5, float("nan"), 1.0, 2**53, -(2**53), 10**40, "bell\u0007", "tab\t", "line\nline", "\x7f", "\u0085", "\ud800",
        "Nin\u0303a", {"kö": 1}, {1: 2}, b"bytes", {"set": {1}}, [[["\u0000"]]],
    ],
)  # fmt: skip
def test_what_has_no_one_text_is_refused(value):
    with pytest.raises(Nonsense):
        canonical({"body": value})


def test_the_largest_whole_numbers_are_those_every_reader_keeps():
    """53 bits: what a double holds exactly (RFC 8785, section 3.2.2.3; RFC 7493, section 2.2)."""
    assert canonical([LARGEST, -LARGEST]) == "[9007199254740991,-9007199254740991]"


def test_the_hash_is_sha_256_of_the_texts_bytes(shop):
    for text, stored in shop.book.tuples("SELECT text, hash FROM event"):
        assert stored == hashlib.sha256(text.encode("utf-8")).hexdigest() == digest(text)
        assert set(json.loads(text)) == set(FIELDS)


def test_an_event_reads_back_and_nothing_else_does(shop):
    text = next(chain.export(shop.book, shop.site))
    assert Event.from_text(text).text() == text
    for wrong in (
        text.replace(":", ": ", 1),
        text[:-1],
        "[]",
        "{}",
        text.replace('"v":1', '"v":1.0'),
        "null",
    ):
        with pytest.raises(Damaged):
            Event.from_text(wrong)


def test_the_first_event_follows_nothing_and_the_rest_follow_each_other(shop):
    events = list(chain.events(shop.book, shop.site))
    assert events[0].prev == FIRST
    assert [e.prev for e in events[1:]] == [digest(e.text()) for e in events[:-1]]
    assert [e.seq for e in events] == list(range(1, len(events) + 1))


def test_an_event_that_does_not_follow_is_not_taken(shop):
    from fillbook.trace.book import journal

    last = list(chain.events(shop.book, shop.site))[-1]
    before = shop.fingerprint()
    with pytest.raises(Conflict), journal.writing(shop.book, shop.site) as writer:
        writer.append(last)
    assert shop.fingerprint() == before


def test_a_position_is_written_as_on_papers():
    assert str(Position("BH", 412, "9f3c2a77d01b44e5" + "0" * 48)) == "BH:412:9f3c2a77d01b44e5"


# -- damage -------------------------------------------------------------------------------------------------------------------


def unguarded(shop) -> None:
    """As somebody would do it who writes into the file past the program."""
    for act in ("UPDATE", "DELETE"):
        shop.book.execute(f"DROP TRIGGER event_no_{act}")


def put_text(shop, seq: int, text: str, with_hash: bool) -> None:
    shop.book.execute("UPDATE event SET text = ? WHERE seq = ?", (text, seq))
    if with_hash:
        shop.book.execute("UPDATE event SET hash = ? WHERE seq = ?", (digest(text), seq))


def heavier(shop, seq: int) -> str:
    text = shop.book.value("SELECT text FROM event WHERE seq = ?", seq)
    assert '"net_g":1000000' in text
    return text.replace('"net_g":1000000', '"net_g":1100000')


@pytest.fixture
def long_shop(shop):
    shop.ready_line()
    for _ in range(3):
        shop.fill()
    unguarded(shop)
    return shop


RECEIVED = 11  # the first tote's event in long_shop


def change_the_text(shop):
    put_text(shop, RECEIVED, heavier(shop, RECEIVED), with_hash=False)
    return RECEIVED


def change_text_and_hash(shop):
    put_text(shop, RECEIVED, heavier(shop, RECEIVED), with_hash=True)
    return RECEIVED + 1  # it is whole in itself; the next one no longer follows


def drop_one(shop):
    shop.book.execute("DELETE FROM event WHERE seq = ?", (RECEIVED,))
    return RECEIVED


def drop_one_and_close_ranks(shop):
    drop_one(shop)
    shop.book.execute("UPDATE event SET seq = seq - 1 WHERE seq > ?", (RECEIVED,))
    return RECEIVED


def swap_two(shop):
    one, two = (shop.book.one("SELECT * FROM event WHERE seq = ?", seq) for seq in (RECEIVED, RECEIVED + 1))
    shop.book.execute("DELETE FROM event WHERE seq IN (?, ?)", (one.seq, two.seq))
    shop.book.insert("event", {**one, "seq": two.seq})
    shop.book.insert("event", {**two, "seq": one.seq})
    return RECEIVED


def insert_one(shop):
    """A forged event behind a real one, with hash and predecessor as they should be, everything after it moved up."""
    before = shop.book.one("SELECT * FROM event WHERE seq = ?", RECEIVED)
    shop.book.execute("UPDATE event SET seq = seq + 1000 WHERE seq > ?", (RECEIVED,))
    shop.book.execute("UPDATE event SET seq = seq - 999 WHERE seq > 1000")
    event = Event.from_text(before.text)
    forged = Event(**{**event.__dict__, "seq": RECEIVED + 1, "prev": before.hash, "request": None})
    text = forged.text()
    last = {
        "shop": "BH",
        "seq": forged.seq,
        "prev": "0" * 63 + "1",
        "hash": digest(text),
        "kind": forged.kind,
    }
    shop.book.insert("event", {**last, "happened_at": forged.happened_at, "text": text})
    return RECEIVED + 1


def change_the_kind_beside_the_text(shop):
    shop.book.execute("UPDATE event SET kind = 'scrap' WHERE seq = ?", (RECEIVED,))
    return RECEIVED


def change_the_time_beside_the_text(shop):
    shop.book.execute("UPDATE event SET happened_at = happened_at - 60 WHERE seq = ?", (RECEIVED,))
    return RECEIVED


def change_what_is_corrected_beside_the_text(shop):
    shop.book.execute("UPDATE event SET corrects = 3 WHERE seq = ?", (RECEIVED,))
    return RECEIVED


def change_the_request_beside_the_text(shop):
    shop.book.execute("UPDATE event SET request = 'r' WHERE seq = ?", (RECEIVED,))
    return RECEIVED


def break_the_text(shop):
    put_text(shop, RECEIVED, "not an event", with_hash=True)
    return RECEIVED


def lose_the_tail(shop):
    shop.book.execute("DELETE FROM event WHERE seq > ?", (RECEIVED,))
    return RECEIVED + 1


DAMAGE = [
    change_the_text, change_text_and_hash, drop_one, drop_one_and_close_ranks, swap_two, insert_one, change_the_kind_beside_the_text,
    change_the_time_beside_the_text, change_what_is_corrected_beside_the_text, change_the_request_beside_the_text, break_the_text,
    lose_the_tail,
]  # fmt: skip


@pytest.mark.parametrize("damage", DAMAGE, ids=lambda damage: damage.__name__)
def test_damage_is_named_at_its_first_bad_event(long_shop, damage):
    assert chain.check_chain(long_shop.book, "BH") is None
    bad = damage(long_shop)
    words = chain.check_chain(long_shop.book, "BH")
    assert words is not None and f"BH:{bad}" in words.split(":", 1)[0] + ":" + words.split(":", 1)[1][:6], (
        words
    )
    checked = CliRunner().invoke(cli, ["--book", long_shop.book.where, "verify"])
    assert checked.exit_code == 1 and checked.stderr.strip() == words


def rewrite(shop, first: int, *, until: int | None = None) -> None:
    """Write the chain anew from event *first* on, every hash right: a heavier tote, and all that follows as it was."""
    rows = shop.book.rows("SELECT * FROM event WHERE seq >= ? ORDER BY seq", first)
    prev = rows[0].prev
    for row in rows:
        text = heavier(shop, first) if row.seq == first else row.text
        event = Event.from_text(text)
        text = Event(**{**event.__dict__, "prev": prev}).text()
        shop.book.execute(
            "UPDATE event SET prev = ?, hash = ?, text = ? WHERE seq = ?",
            (f"-{prev}", digest(text), text, row.seq),
        )
        prev = digest(text)
    shop.book.execute("UPDATE event SET prev = substr(prev, 2) WHERE prev LIKE '-%'")
    shop.book.execute("UPDATE chain SET head_hash = ?", (prev,))


def test_a_chain_written_anew_shows_only_against_a_kept_head(long_shop):
    head = chain.position(long_shop.book, "BH")
    old = long_shop.book.value("SELECT hash FROM event WHERE seq = ?", RECEIVED - 1)
    rewrite(long_shop, RECEIVED)
    assert chain.check_chain(long_shop.book, "BH") is None
    assert chain.check_chain(long_shop.book, "BH", (RECEIVED - 1, old[:16])) is None  # kept before the change
    words = chain.check_chain(long_shop.book, "BH", (head.seq, head.hash[:16]))
    assert words is not None and f"BH:{head.seq} is not the one that was kept" in words


def test_a_lost_tail_with_its_head_shows_only_against_a_kept_head(long_shop):
    head = chain.position(long_shop.book, "BH")
    lose_the_tail(long_shop)
    last = long_shop.book.value("SELECT hash FROM event WHERE seq = ?", RECEIVED)
    long_shop.book.execute("UPDATE chain SET head_seq = ?, head_hash = ?", (RECEIVED, last))
    assert chain.check_chain(long_shop.book, "BH") is None
    words = chain.check_chain(long_shop.book, "BH", (head.seq, head.hash))
    assert words is not None and f"BH:{RECEIVED + 1} is missing" in words
    kept = CliRunner().invoke(cli, ["--book", long_shop.book.where, "verify", "--kept", str(head)])
    assert kept.exit_code == 1 and kept.stderr.strip() == words


def test_a_whole_journal_fits_every_head_it_had(long_shop):
    for seq, stored in long_shop.book.tuples("SELECT seq, hash FROM event"):
        assert chain.check_chain(long_shop.book, "BH", (seq, stored[:16])) is None
    kept = str(chain.position(long_shop.book, "BH"))
    assert CliRunner().invoke(cli, ["--book", long_shop.book.where, "verify", "--kept", kept]).exit_code == 0


def test_tables_changed_beside_the_journal_show_in_the_replay(shop):
    shop.ready_line()
    tire = shop.fill()
    for change, table in [
        ("UPDATE tote SET lot = 'Z-9'", "tote"),
        (f"DELETE FROM touch WHERE item = '{tire}' AND state = 'filled'", "touch"),
        ("UPDATE link SET best_g = best_g - 1 WHERE best_g > least_g", "link"),
        ("UPDATE place SET state = 'released'", "place"),
        ("DELETE FROM search", "search"),
    ]:
        with pytest.raises(Exit), shop.book.transaction():
            shop.book.execute(change)
            from fillbook.trace.book.replay import check_replay

            words = check_replay(shop.book)
            assert words is not None and f"table {table}" in words
            raise Exit
    shop.check()


class Exit(Exception):
    pass


@pytest.mark.parametrize("which", ["the logger's block", "the file as it came"])
@pytest.mark.parametrize("damage", ["changed", "lost"])
def test_a_damaged_file_beside_the_journal_is_named(shop, which, damage):
    shop.log(4)
    said = Event.from_text(shop.book.value("SELECT text FROM event WHERE seq = ?", shop.head)).body
    name = said["digest"] if which == "the logger's block" else said["said"]["csv"].removeprefix("sha256:")
    if damage == "changed":
        data = bytes(shop.book.value("SELECT bytes FROM blob WHERE digest = ?", name))
        shop.book.execute("UPDATE blob SET bytes = ? WHERE digest = ?", (data.replace(b"7", b"8", 1), name))
    else:
        shop.book.execute("DELETE FROM blob WHERE digest = ?", (name,))
    assert (
        CliRunner().invoke(cli, ["--book", shop.book.where, "verify"]).exit_code == 0
    )  # the journal itself is whole
    checked = CliRunner().invoke(cli, ["--book", shop.book.where, "verify", "--replay"])
    assert checked.exit_code == 1
    assert name[:16] in checked.stderr and f"BH:{shop.head}" in checked.stderr


@pytest.mark.parametrize(
    "change", ["UPDATE event SET text = 'x'", "DELETE FROM event", "UPDATE event SET seq = seq + 100"]
)
def test_the_database_itself_forbids_changing_or_deleting_events(shop, change):
    before = shop.fingerprint()
    with pytest.raises(peewee.DatabaseError, match="the journal only grows"):
        shop.book.execute(change)
    assert shop.fingerprint() == before


def test_the_database_itself_forbids_a_fork(shop):
    row = shop.book.one("SELECT * FROM event WHERE seq = 5")
    with pytest.raises(peewee.IntegrityError):
        shop.book.insert("event", {**row, "seq": 100})
    with pytest.raises(peewee.IntegrityError):
        shop.book.insert("event", {**row, "prev": "1" * 64})
    with pytest.raises(peewee.IntegrityError):
        shop.book.insert("event", {**row, "shop": "XX"})


def test_a_refused_act_leaves_no_event(shop):
    before = shop.fingerprint()
    with pytest.raises(Nonsense):
        shop.act("receive", supplier="", lot="", side="A", system="RX-30", net_kg=1)
    assert shop.fingerprint() == before
