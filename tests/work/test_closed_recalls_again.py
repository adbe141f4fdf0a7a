"""What came out of a tote or hopper after a recall was closed can change what went into a tire before: then the closing is looked at again."""

import pytest

from fillbook.trace.book import bears_back, closed_recalls, recalls
from fillbook.trace.core import ids

pytestmark = pytest.mark.usefixtures("checked_shop")


@pytest.fixture
def recall(shop):
    """A tire filled from one lot and scrapped, and the event that opened the lot's recall."""
    shop.suspect, _ = shop.ready_line("line 1")
    tire = shop.fill(shop.tire(), kg=100)
    recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    shop.act("scrap", item=tire, why="suspect")
    return recall


def close(shop, recall, **said):
    return shop.lead("close recall", recall=recall, note="all called", **said)


def listed_now(shop, suspect):
    found = recalls.recall(shop.book, "BH", suspect, with_account=False)
    return {ids.read(one["id"]) for one in found["items"]}


def test_a_hopper_that_gives_more_than_was_loaded_alerts_of_the_tires_before(shop):
    """Something else was loaded, nobody knows when: the tire filled before the closing may hold the suspect, too."""
    suspect, _ = shop.ready_line("line 2")
    shop.ready_line("line 1")
    batch = shop.grind(**{shop.reclaimed(kg=200): 150})
    held = shop.fill(kg=100, line="line 2")
    shop.wait(hours=1)
    shop.act("clean", line="line 1", parts="hopper")
    shop.load(batch, 40)
    before = shop.fill(kg=100, mix_pct=20)
    recall = shop.lead("open recall", suspect=suspect, why="smells of water").seq
    close(shop, recall, override="all is fine")
    assert before not in listed_now(shop, suspect) and held in listed_now(shop, suspect)
    shop.wait(hours=1)
    assert closed_recalls.changed(shop.book, "BH") == []
    then = closed_recalls.closing(shop.book, "BH", recall)
    shop.fill(kg=100, mix_pct=10)
    assert not list(bears_back._of_hoppers(shop.book, "BH", then.seq, then.at)), "it was in the hopper"
    shop.fill(kg=250, mix_pct=40)
    assert before in listed_now(shop, suspect)
    (alert,) = closed_recalls.changed(shop.book, "BH")
    assert alert.added == (before,)


def test_a_hopper_weighed_afterwards_with_more_in_it_than_was_loaded_alerts(shop):
    suspect, _ = shop.ready_line("line 2")
    shop.ready_line("line 1")
    batch = shop.grind(**{shop.reclaimed(kg=200): 150})
    shop.fill(kg=100, line="line 2")
    shop.wait(hours=1)
    shop.act("clean", line="line 1", parts="hopper")
    shop.load(batch, 40)
    before = shop.fill(kg=100, mix_pct=20)
    recall = shop.lead("open recall", suspect=suspect, why="smells of water").seq
    close(shop, recall, override="all is fine")
    shop.wait(hours=1)
    shop.act("weigh", item=shop.line, weight_kg=60)
    assert before in listed_now(shop, suspect)
    (alert,) = closed_recalls.changed(shop.book, "BH")
    assert alert.added == (before,)


@pytest.fixture
def small_tote(shop):
    """A tire from a small tote that stays on, and the closed recall of another tote that can have been on in between."""
    shop.suspect, _ = shop.ready_line("line 2")
    shop.fill(kg=100, line="line 2")
    shop.hook_up(shop.tote("B"))
    shop.small = shop.tote("A", kg=200)
    shop.hook_up(shop.tote("A"))
    shop.act("clean", line="line 1", parts="both sides")
    shop.hook_up(shop.small)
    shop.act("clean", line="line 1", parts="both sides")
    shop.before = shop.fill(kg=100, mix_pct=0)
    recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    close(shop, recall, override="all is fine")
    assert shop.before not in listed_now(shop, shop.suspect) and closed_recalls.changed(shop.book, "BH") == []
    return shop.small


def test_a_tote_that_gave_more_than_it_held_alerts_while_it_is_still_on(shop, small_tote):
    shop.fill(kg=600, mix_pct=0)
    assert shop.before in listed_now(shop, shop.suspect)
    (alert,) = closed_recalls.changed(shop.book, "BH")
    assert shop.before in alert.added


def test_a_tote_poured_out_or_weighed_while_it_is_still_on_is_looked_at(shop, small_tote):
    shop.act("weigh", item=small_tote, weight_kg=100)
    assert closed_recalls._closings(shop.book, "BH")[0].late == shop.head


def test_a_tote_that_gave_on_another_line_too_is_looked_at(shop, small_tote):
    shop.hook_up(small_tote, line="line 2", who="Lee", override="one hose in each bung")
    assert closed_recalls._closings(shop.book, "BH")[0].late == shop.head
    shop.fill(kg=200, line="line 2", mix_pct=0)
    assert closed_recalls._closings(shop.book, "BH")[0].late == shop.head


def test_once_another_tote_is_on_what_is_drawn_bears_on_no_closed_recall(shop, small_tote):
    for side in "AB":
        shop.hook_up(shop.tote(side))
    last = shop.head
    shop.fill(kg=600, mix_pct=0)
    assert closed_recalls._closings(shop.book, "BH")[0].late == last


def queries_of(shop, monkeypatch, does):
    asked, execute = [], shop.book.execute
    monkeypatch.setattr(shop.book, "execute", lambda sql, args=(): asked.append(sql) or execute(sql, args))
    does()
    monkeypatch.undo()
    return len(asked)


def test_many_closed_recalls_take_no_more_looks_at_the_book_than_one(shop, recall, monkeypatch):
    def look():
        closed_recalls.changed(shop.book, "BH")

    def after_an_event():
        shop.tire()
        return queries_of(shop, monkeypatch, look)

    close(shop, recall)
    look()
    of_one = after_an_event()
    for _ in range(3):
        close(shop, shop.lead("open recall", suspect=shop.suspect, why="again").seq, override="the same")
    look()
    assert after_an_event() == of_one
    assert queries_of(shop, monkeypatch, look) <= 3, "the journal is where it was"


def test_another_journal_in_its_place_is_read_anew(shop, recall, monkeypatch):
    close(shop, recall)
    closed_recalls.changed(shop.book, "BH")
    seen = closed_recalls._SEEN[shop.book]["BH"]
    seen.head = type(seen.head)("BH", seen.head.seq + 5, "another")
    shop.hook_up(shop.tote("A"))
    assert closed_recalls._closings(shop.book, "BH")[0].late == shop.head


def test_while_it_is_written_nothing_is_kept(shop, recall):
    close(shop, recall)
    closed_recalls.changed(shop.book, "BH")
    before = closed_recalls._SEEN[shop.book]["BH"].head
    with shop.book.transaction():
        shop.hook_up(shop.tote("A"))
        assert closed_recalls._closings(shop.book, "BH")[0].late == shop.head
        assert closed_recalls._SEEN[shop.book]["BH"].head == before
