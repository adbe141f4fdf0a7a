"""A book fed its own journal ends with the same rows, and deriving all at once ends where deriving step by step did."""

import importlib

import pytest

from fillbook.trace.book import chain, derive, journal, replay
from fillbook.trace.book.apply import HANDLERS, apply
from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import create
from fillbook.trace.book.tables import DERIVED, FACTS, natural
from fillbook.trace.core.errors import Damaged, ShopError
from fillbook.trace.work import registry


@pytest.fixture
def busy(shop):
    """Two days of everything, with late entries and a filled-again tire in it."""
    shop.ready_line()
    shop.ready_line("line 2", system="KV-55")
    shop.lead("set limit", limit="hose_content_high", to="5 kg", source="weighed", line="line 1")
    first = shop.cured(kg=200, start={"bay_f": 60}, topup_kg=10, mix_pct=0)
    shop.act("pour cup", line="line 1", zone="warm room")
    shop.act("read cup", cup=shop.book.value("SELECT item FROM cup"), is_set=True, hardness=[45, 47, 46])
    second = shop.fill(kg=90)
    shop.act("purge", line="line 1", weight_kg=6, at=shop.ago(minutes=6))
    shop.wait(days=3)
    shop.act("reclaim", tire=second)
    batch = shop.grind(**{second: 70, "unknown": 30})
    shop.load(batch, 60)
    third = shop.fill(kg=120, mix_pct=40)
    shop.rack(third)
    shop.tote("A", at=shop.ago(hours=8), lot="A-late")
    shop.hook_up(
        shop.book.value("SELECT item FROM tote WHERE lot = 'A-late'"),
        at=shop.ago(minutes=10),
        change="ran dry",
    )
    shop.fill(line="line 2", kg=50, pressure_psi=99)
    shop.act("hold", lot="A-late", why="smells of water")
    shop.act("read temperature", zone="back rack", reading_f=74)
    shop.act("clean", line="line 2", parts="everything")
    shop.lead("open recall", suspect="A-late", why="smell")
    shop.act("print", items=[first, third])
    shop.act("take in", customer="Quarry Nine", size="23.5-25", earlier=first)
    return shop


def corrections_of(shop):
    """One or more corrections for each event that takes any: another value, another time, void."""
    events = shop.book.tuples("SELECT seq, kind FROM event ORDER BY seq")
    for seq, kind in events:
        for fields in CHANGES.get(kind, ()):
            yield seq, kind, fields
        yield seq, kind, {"happened": shop.ago(minutes=2)}
    for seq, kind in reversed(events):
        if kind != "add person":  # somebody has to be left who corrects
            yield seq, kind, {"void": True}


CHANGES = {
    "receive": ({"net_kg": 900}, {"lot": "A-other"}), "add zone": ({"gap_min": 20},), "add system": ({"parts_b": 3},),
    "add person": ({"role": "lead"},), "add line": ({"name": "line 8"},), "set limit": ({"to": "4 kg"},),
    "hook up": ({"change": "ran dry"},), "clean": ({"parts": "side A"},), "purge": ({"weight_lb": 20},), "load": ({"weight_kg": 20},),
    "take in": ({"customer": "Pit Four"}, {"rating_psi": 90}), "start fill": ({"bay_f": 50},),
    "finish fill": ({"weight_kg": 111}, {"mix_pct": 20}, {"topup_kg": 5}, {"pressure_psi": 60}),
    "reclaim": ({"weight_kg": 66},), "grind": ({"pieces": [{"source": "unknown", "weight_kg": 9}]},), "rack": ({"zone": "back rack"},),
    "read temperature": ({"reading_f": 80},), "log temperatures": ({"zone": "back rack"},), "pour cup": ({"weight_g": 400},),
    "read cup": ({"is_set": False},), "hold": ({"why": "another reason"},),
}  # fmt: skip


def test_the_book_of_a_busy_week_is_what_its_journal_gives(busy):
    busy.check()


def test_each_correction_leaves_a_book_its_journal_gives(busy):
    done = {}
    for seq, kind, change in list(corrections_of(busy)):
        before = busy.fingerprint()
        try:
            busy.correct(seq, who="Dana", **change)
        except ShopError:
            assert busy.fingerprint() == before, (seq, kind, change)
            continue
        done.setdefault(kind, []).append(change)
        if sum(map(len, done.values())) % 10 == 0:
            assert replay.check_replay(busy.book) is None, (seq, kind, change)
    busy.check()
    assert set(done) >= set(CHANGES) - {"reclaim", "grind"}


def rows(book, tables):
    return {table: sorted(map(repr, book.tuples(natural(table)))) for table in tables}


def test_deriving_everything_anew_changes_nothing(busy):
    for seq, change in [(25, {"void": True}), (busy.head - 12, {"happened": busy.ago(minutes=90)})]:
        try:
            busy.correct(seq, **change)
        except ShopError:
            continue
    before = rows(busy.book, DERIVED)
    assert all(before[table] for table in DERIVED)
    derive.derive_all(busy.book)
    assert rows(busy.book, DERIVED) == before


def test_deriving_everything_agrees_after_every_correction(busy):
    done = 0
    for seq, _kind, change in list(corrections_of(busy)):
        try:
            busy.correct(seq, **change)
        except ShopError:
            continue
        done += 1
        before = rows(busy.book, DERIVED)
        with pytest.raises(Undo), busy.book.transaction():
            derive.derive_all(busy.book)
            assert rows(busy.book, DERIVED) == before, (seq, change)
            raise Undo
        assert whole(busy.book) == summed_up(busy.book), (seq, change)
    assert done > 60


def whole(book):
    return book.tuples("SELECT child, ord, best_g FROM whole ORDER BY child")


def summed_up(book):
    return [
        tuple(map(int, row))
        for row in book.tuples("SELECT child, max(ord), sum(best_g) FROM link GROUP BY child ORDER BY child")
    ]


def test_an_upgrade_sums_up_what_is_there(busy):
    up = importlib.import_module("fillbook.trace.book.migrations.0017_whole").up
    before = whole(busy.book)
    with pytest.raises(Undo), busy.book.transaction():
        busy.book.execute("DROP TABLE whole")
        up(None, busy.book.db)
        assert before and whole(busy.book) == before
        raise Undo


class Undo(Exception):
    pass


def test_the_journals_text_alone_builds_the_book_again(busy, tmp_path):
    """The exported lines and the files beside them are all it takes."""
    lines = list(chain.export(busy.book, "BH"))
    again = create(str(tmp_path / "again.db"))
    for name, data in busy.book.tuples("SELECT digest, bytes FROM blob"):
        again.insert("blob", {"digest": name, "bytes": data})
    with journal.writing(again, "BH", new=True) as writer:
        for line in lines:
            event = Event.from_text(line)
            writer.append(event)
            apply(again, writer, event)
    assert chain.position(again, "BH") == chain.position(busy.book, "BH")
    assert rows(again, ("item", *FACTS, *DERIVED)) == rows(busy.book, ("item", *FACTS, *DERIVED))
    again.db.close()


def test_replay_needs_an_event_it_knows(shop):
    unknown = dict(HANDLERS)
    unknown.pop("receive")
    shop.tote()
    from fillbook.trace.book import apply as applying

    kept, applying.HANDLERS = applying.HANDLERS, unknown
    try:
        words = replay.check_replay(shop.book)
    finally:
        applying.HANDLERS = kept
    assert words is not None and f"BH:{shop.head}" in words and "does not know" in words


def test_two_shops_in_one_book_replay_beside_each_other(shop):
    other = type(shop)(shop.book, shop.now)
    other.site = "KV"
    other.set_up("KV")
    other.furnish()
    for one in (shop, other, shop, other):
        one.ready_line()
        one.fill()
    shop.check()
    assert shop.book.shops() == ["BH", "KV"]


def test_what_differs_is_said_row_by_row(shop, new_shop):
    same, other = new_shop("same.db"), new_shop("other.db")
    assert replay.difference(shop.book, same.book) is None
    other.tote()
    assert "table item" in replay.difference(shop.book, other.book)


def test_a_replay_stops_at_the_event_that_cannot_be(shop):
    """A chain that is whole may still say what cannot be: the replay names that event."""
    tote = shop.tote()
    shop.hook_up(tote)
    last = shop.book.value("SELECT text FROM event WHERE seq = ?", shop.head)
    event = Event.from_text(last)
    body = {**event.body, "said": {**event.body["said"]}}
    body["said"].pop("tote")
    with journal.writing(shop.book, "BH") as writer:
        writer.append(Event(**{**event.__dict__, "seq": event.seq + 1, "prev": writer.head, "body": body}))
    assert chain.check_chain(shop.book, "BH") is None
    words = replay.check_replay(shop.book)
    assert words is not None and f"BH:{event.seq + 1}" in words


def test_every_verb_leaves_an_event_that_can_be_applied():
    assert set(HANDLERS) == set(registry.everything()) - {"correct"} | set(registry.BY_ITSELF)


def test_damaged_is_a_refusal_like_any_other():
    assert issubclass(Damaged, ShopError)
