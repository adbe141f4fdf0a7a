"""A recall is closed once each tire it lists has an outcome, or with a reason for those without; what is written later is said."""

import json
import threading
import time

import pytest

from fillbook.trace.book import bears_back, closed_recalls, glance, on_hold, queries, recalls
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Conflict, Nonsense, NotAllowed, Stopped, UnknownItem
from fillbook.trace.work import registry

pytestmark = pytest.mark.usefixtures("checked_shop")


@pytest.fixture
def recall(shop):
    """Three tires filled from one lot, and the event that opened its recall."""
    shop.other = shop.tote("A", lot="A-other")
    shop.suspect, _ = shop.ready_line("line 1")
    shop.tires = [shop.fill(shop.tire(), kg=100) for _ in range(3)]
    return shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq


def outcomes(shop, recall):
    opened = queries.opened_recall(shop.book, "BH", recall)
    return {one.item: one.outcome for one in closed_recalls.listed(shop.book, "BH", opened, shop.now)}


def close(shop, recall, **said):
    return shop.lead("close recall", recall=recall, note="all called", **said)


def settle_all(shop):
    for tire in shop.tires:
        shop.act("scrap", item=tire, why="suspect")


def test_it_is_closed_once_every_tire_has_an_outcome(shop, recall):
    settle_all(shop)
    done = close(shop, recall)
    closed = closed_recalls.closing(shop.book, "BH", recall)
    assert (closed.seq, queries.name_of(shop.book, closed.who), closed.note) == (
        done.seq,
        "Lee",
        "all called",
    )
    assert {one.outcome for one in closed_recalls.outcomes(shop.book, "BH", done.seq).values()} == {
        "scrapped"
    }
    assert done.findings == ()


def test_those_without_an_outcome_are_named_and_take_a_reason(shop, recall):
    shop.act("scrap", item=shop.tires[0], why="suspect")
    before = shop.head
    with pytest.raises(Stopped) as stop:
        close(shop, recall)
    assert "2 of 3 listed tires have no outcome yet" in str(stop.value)
    assert all(ids.pretty(tire) in str(stop.value) for tire in shop.tires[1:]) and shop.head == before
    done = close(shop, recall, override="the customer keeps them and knows")
    assert [one["code"] for one in done.findings] == ["no outcome"]
    assert "Overridden: the customer keeps them and knows" in done.findings[0]["words"]
    frozen = closed_recalls.outcomes(shop.book, "BH", done.seq)
    assert sorted(one.outcome for one in frozen.values()) == ["", "", "scrapped"]


def test_what_counts_as_an_outcome_happened_after_the_opening(shop):
    """Released and sent before it was opened is no outcome; coming back, a new release, cutting out and scrapping after it are."""
    shop.suspect, _ = shop.ready_line("line 1")
    tires = [shop.fill(shop.tire(), kg=100) for _ in range(5)]
    shop.rack(*tires)
    shop.wait(hours=60)
    shop.log(61)
    for tire in tires[:4]:
        shop.lead("release", tire=tire, override="no cup")
    for tire in tires:
        for hold in on_hold.holds_on(shop.book, tire):
            shop.act("lift", who="Dana", item=tire, hold=f"{hold.seq}.{hold.n}", why="looked at")
    shop.act("dispatch", tires=tires[:2])
    recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    assert set(outcomes(shop, recall).values()) == {""}
    shop.act("return", tire=tires[0], complaint="soft")
    shop.act("reclaim", tire=tires[2])
    shop.act("scrap", item=tires[3], why="suspect")
    shop.lead("release", tire=tires[4], override="cut open a twin: sound")
    found = outcomes(shop, recall)
    assert [found[tire] for tire in tires] == ["came back", "", "cut out", "scrapped", "released since"]


def test_a_hand_cannot_close_one_nor_override(shop, recall):
    with pytest.raises(NotAllowed):
        shop.act("close recall", recall=recall, note="done", override="I say so")


def test_nonsense_is_refused_with_a_sentence(shop, recall):
    settle_all(shop)
    with pytest.raises(UnknownItem, match="opened no recall"):
        close(shop, 1)
    with pytest.raises(Nonsense, match="Say what was done"):
        shop.lead("close recall", recall=recall, note=" ")
    with pytest.raises(Nonsense, match="after the time given"):
        shop.lead("close recall", recall=recall, note="x", at=shop.ago(hours=30))
    done = close(shop, recall)
    with pytest.raises(Nonsense, match=rf"was closed at .* by Lee \(event {done.seq}\).*void that event"):
        close(shop, recall)


def test_the_frozen_list_of_the_opening_never_changes(shop, recall):
    def frozen():
        return shop.book.tuples("SELECT * FROM recall_item ORDER BY n")

    before = frozen()
    settle_all(shop)
    close(shop, recall)
    assert frozen() == before and len(before) == 3


def late_fill(shop):
    """A tire filled on the line before the closing, whose paper sheet turns up only now."""
    started = shop.ago(hours=5)
    tire = shop.act("take in", customer="Pit Four", size="23.5-25", at=shop.ago(hours=6)).ids[0]
    shop.act(
        "finish fill",
        tire=tire,
        weight_kg=90,
        pressure_psi=50,
        line="line 1",
        started=started,
        at=shop.ago(hours=4),
        mix_pct=0,
    )
    return tire


def test_a_late_entry_that_changes_the_list_alerts_until_it_is_reopened(shop):
    shop.suspect, _ = shop.ready_line("line 1")
    shop.tires = [shop.fill(shop.tire(), kg=100)]
    shop.wait(hours=10)
    recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    settle_all(shop)
    done = close(shop, recall)
    assert closed_recalls.changed(shop.book, "BH") == []
    tire = late_fill(shop)
    (alert,) = closed_recalls.changed(shop.book, "BH")
    assert alert.added == (tire,) and alert.gone == () and ids.pretty(tire) in alert.words
    floor = [one for one in glance.alerts(shop.book, "BH", shop.now) if one.words == alert.words]
    assert [(one.urgency, one.place) for one in floor] == [("stop", f"recall/{recall}")]
    shop.correct(done.seq, void=True, why="one more tire turned up")
    assert (
        closed_recalls.changed(shop.book, "BH") == []
        and closed_recalls.closing(shop.book, "BH", recall) is None
    )
    with pytest.raises(Stopped, match=f"1 of 2 listed tires has no outcome yet: {ids.pretty(tire)}"):
        close(shop, recall)
    shop.act("scrap", item=tire, why="suspect")
    close(shop, recall)
    assert closed_recalls.changed(shop.book, "BH") == []


def test_a_correction_that_takes_a_tire_off_the_list_alerts(shop, recall):
    settle_all(shop)
    close(shop, recall)
    hooked = shop.book.value("SELECT seq FROM line_act WHERE what = 'hook' AND item = ?", shop.suspect)
    shop.correct(hooked, tote=shop.other)
    (alert,) = closed_recalls.changed(shop.book, "BH")
    assert alert.added == () and "2 fewer tires" in alert.words
    assert set(alert.gone) == set(
        shop.tires[1:]
    )  # the first one's hose held something unknown, so it can't be excluded


def test_correcting_the_closing_counts_again_and_ends_the_alert(shop):
    shop.suspect, _ = shop.ready_line("line 1")
    shop.tires = [shop.fill(shop.tire(), kg=100)]
    shop.wait(hours=10)
    recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    settle_all(shop)
    done = close(shop, recall)
    tire = late_fill(shop)
    shop.act("scrap", item=tire, why="suspect")
    with pytest.raises(
        Stopped, match="1 of 2 listed tires has no outcome yet"
    ):  # it had none at the time of the closing
        shop.correct(done.seq, note="one more was found and scrapped")
    shop.correct(done.seq, note="one more was found and scrapped", happened=shop.ago())
    assert closed_recalls.changed(shop.book, "BH") == []
    assert closed_recalls.outcomes(shop.book, "BH", done.seq)[tire].outcome == "scrapped"
    assert closed_recalls.closing(shop.book, "BH", recall).note == "one more was found and scrapped"


def test_what_happens_afterwards_is_no_alert(shop, recall):
    """A tire filled after the closing, a dispatch entered late, a note on a reading: none of them changes what the list was of."""
    settle_all(shop)
    close(shop, recall)
    shop.fill(shop.tire(), kg=50)
    shop.act("hold", lot="A-other", why="smells", at=shop.ago(minutes=1))
    assert closed_recalls.changed(shop.book, "BH") == []


def test_the_tote_that_was_on_is_judged_again_when_it_comes_off(shop, recall):
    """Weighed off nearly full: it gave less than the pump said, and the tires still hold it. The list is worked out, and is the same."""
    settle_all(shop)
    close(shop, recall)
    shop.hook_up(shop.tote("A", lot="A-next"))
    assert closed_recalls.changed(shop.book, "BH") == []
    assert closed_recalls._closings(shop.book, "BH")[0].late > 0


def test_an_opened_recall_stays_as_it_was_written(shop, recall):
    with pytest.raises(Nonsense, match="stays as it was written"):
        shop.correct(recall, void=True)


def test_the_event_holds_every_tire_that_was_left_open(shop, recall):
    done = close(shop, recall, override="they know")
    body = json.loads(shop.book.value("SELECT text FROM event WHERE seq = ?", done.seq))["body"]
    assert [one["outcome"] for one in body["frozen"]["items"]] == ["", "", ""]
    assert body["said"]["recall"] == recall and body["said"]["override"] == "they know"


def test_two_leads_at_once_close_it_once(shop, recall):
    settle_all(shop)
    first = close(shop, recall, request="c1")
    again = close(shop, recall, request="c1")
    assert again.repeated and again.seq == first.seq
    with pytest.raises(Conflict):
        shop.lead("close recall", recall=recall, note="other words", request="c1")


def test_what_is_said_to_change_no_list_is_known_by_that_name():
    assert set(bears_back.SAYS_NOTHING) <= {*registry.everything(), *registry.BY_ITSELF}


def test_a_long_list_is_worked_out_in_the_background_and_said_then(shop, monkeypatch):
    shop.suspect, _ = shop.ready_line("line 1")
    shop.tires = [shop.fill(shop.tire(), kg=100)]
    shop.wait(hours=10)
    recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    settle_all(shop)
    close(shop, recall)
    tire = late_fill(shop)
    compare, go_on = closed_recalls._compare, threading.Event()
    monkeypatch.setattr(
        closed_recalls, "_compare", lambda *asked: compare(*asked) if go_on.wait(20) else None
    )
    assert closed_recalls.changed(shop.book, "BH", at_once=0) == [], "nobody waits for it"
    go_on.set()
    for _ in range(200):
        if found := closed_recalls.changed(shop.book, "BH", at_once=0):
            break
        time.sleep(0.02)
    assert [one.added for one in found] == [(tire,)]


def test_the_last_of_two_ends_is_the_outcome_whatever_order_the_database_gives(shop, recall):
    """SQLite gives rows without an order the other way round when told so, as PostgreSQL may at any time."""
    tire = shop.tires[0]
    shop.wait(days=2)
    shop.act("reclaim", tire=tire)
    shop.act("scrap", item=tire, why="not set inside")
    for way in (0, 1):
        shop.book.execute(f"PRAGMA reverse_unordered_selects = {way}")
        assert outcomes(shop, recall)[tire] == "scrapped"


def listed_now(shop, suspect):
    found = recalls.recall(shop.book, "BH", suspect, with_account=False)
    return {ids.read(one["id"]) for one in found["items"]}


def test_a_closing_entered_with_an_earlier_time_leaves_out_what_was_filled_since(shop, recall):
    settle_all(shop)
    shop.wait(hours=2)
    then = shop.ago()
    shop.wait(hours=1)
    later = shop.fill(shop.tire(), kg=50, start={"who": "Lee", "override": "its owner scraps it next week"})
    assert later in listed_now(shop, shop.suspect)
    done = close(shop, recall, at=then)
    assert done.findings == () and later not in closed_recalls.outcomes(shop.book, "BH", done.seq)
    assert closed_recalls.changed(shop.book, "BH") == []


def test_a_closing_makes_no_account_and_asks_no_tire_one_by_one(shop, recall, monkeypatch):
    def refuse(*args, **named):
        raise AssertionError("not needed")

    monkeypatch.setattr(recalls, "account_of", refuse)
    monkeypatch.setattr(queries, "state_at", refuse)
    opened = queries.opened_recall(shop.book, "BH", recall)
    with shop.book.transaction():
        found = closed_recalls.listed(shop.book, "BH", opened, shop.now)
    monkeypatch.undo()
    for one in found:
        now = queries.state_at(shop.book, one.item, shop.now)
        assert (one.state, one.place) == (now.state, now.place) == ("filled", shop.line)
