"""A recall is worked out once for each state of the journal; what needs no walk is said before, and never as if it were all."""

import importlib.util
import sys
import threading
from pathlib import Path

import pytest

from fillbook.trace.book import how_sure, reach, recalls, worked_out
from fillbook.trace.book.latest import latest
from fillbook.trace.book.opening import open_book
from fillbook.trace.core import recall as rules

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_for_worked_out", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)

STRAIGHT = (rules.CERTAIN, rules.POSSIBLE)


@pytest.fixture(scope="module")
def one():
    return shops.RandomShop(500, fills=24)


@pytest.fixture(autouse=True)
def nothing_kept():
    worked_out.forget()


def whole(found):
    assert found["lacking"] == ()
    return {name: value for name, value in found.items() if name != "lacking"}


@pytest.mark.parametrize("defect", rules.DEFECTS)
def test_it_is_the_recall_itself(one, defect):
    for said in [*one.lots, *(code for code in one.made if code[2] == "G")][:6]:
        for how in ({"threshold_e4": 100}, {"threshold_e4": 500, "with_traces": True}, {}):
            asked = recalls.recall(one.book, "BH", said, defect=defect, **how)
            for _ in range(2):
                mine = worked_out.recall(one.book, "BH", said, defect=defect, **how)
                assert whole(mine) == asked and list(whole(mine)) == list(asked)


@pytest.mark.parametrize("defect", rules.DEFECTS)
def test_the_explanation_is_the_one_that_walks_everything_again(one, defect):
    by_unknown = 0
    for said in [*one.lots, *(code for code in one.made if code[2] == "G")]:
        for threshold in (10, 100, 1500):
            asked = recalls.recall(one.book, "BH", said, defect=defect, threshold_e4=threshold)
            _, mine = worked_out.how_sure_are_we(
                one.book, "BH", said, defect=defect, threshold_e4=threshold, us=False
            )
            assert mine == how_sure.explain(one.book, "BH", asked, False, said)
            by_unknown += "because material of unknown origin" in mine["tiers"][3]["sentence"]
    assert by_unknown > 1 or defect == rules.SETTING


def test_before_the_walk_only_what_it_went_straight_into_stands_there(one):
    some = 0
    for said in one.lots:
        begun = worked_out.recall(one.book, "BH", said, at_once=0)
        there = recalls.recall(one.book, "BH", said)
        assert begun["lacking"] == ("list", "account") and begun["account"] is None
        tiers = {item["id"]: item["tier"] for item in begun["items"]}
        assert tiers == {item["id"]: item["tier"] for item in there["items"] if item["tier"] in STRAIGHT}
        all_of_it = {item["id"]: item for item in there["items"]}
        for item in begun["items"]:
            after = all_of_it[item["id"]]
            assert item["place"] == after["place"] and item["side_share"] == after["side_share"]
            assert item["grams"]["least"] <= after["grams"]["least"]
            assert item["grams"]["best"] <= after["grams"]["best"] + 1
            some += item["grams"]["best"] < after["grams"]["best"]
        worked_out.forget()
    assert some, "nothing came through regrind, so nothing was tried"


def test_a_defect_of_setting_has_its_whole_list_at_once(one):
    for said in one.lots:
        begun = worked_out.recall(one.book, "BH", said, defect="setting", at_once=0)
        asked = recalls.recall(one.book, "BH", said, defect="setting")
        assert begun["lacking"] == ("account",)
        assert begun["items"] == asked["items"] and begun["traces"] == asked["traces"]


def test_where_little_can_be_reached_all_of_it_is_said_at_once(one):
    assert whole(worked_out.recall(one.book, "BH", one.lots[0], at_once=10_000)) == recalls.recall(
        one.book, "BH", one.lots[0]
    )


def filled_from_a_lot(shop):
    """A line with a tote of the lot A-old on it, and one tire."""
    shop.ready_line()
    shop.hook_up(shop.tote("A", lot="A-old", at=shop.ago(days=1)))
    return shop.fill()


def no_walk(monkeypatch):
    def refuse(*args, **named):
        raise AssertionError("walked again")

    monkeypatch.setattr(reach, "exact", refuse)


def test_what_was_worked_out_is_not_walked_again(one, monkeypatch):
    said = one.lots[0]
    first = worked_out.recall(one.book, "BH", said)
    sure = worked_out.how_sure_are_we(
        one.book, "BH", said, defect="contamination", threshold_e4=None, us=False
    )
    no_walk(monkeypatch)
    assert worked_out.recall(one.book, "BH", f" {said} ", at_once=0) == first
    assert worked_out.recall(one.book, "BH", said, threshold_e4=700)["lacking"] == ()
    assert worked_out.recall(one.book, "BH", said, with_traces=True)["traces"] == first["traces"]
    assert (
        worked_out.how_sure_are_we(one.book, "BH", said, defect="contamination", threshold_e4=None, us=False)
        == sure
    )
    with pytest.raises(AssertionError, match="walked again"):
        worked_out.recall(one.book, "BH", one.lots[1])


def test_an_event_later_nothing_that_was_kept_is_said(shop):
    filled_from_a_lot(shop)
    first = worked_out.recall(shop.book, "BH", "A-old")
    assert len(first["items"]) == 1
    shop.fill()
    again = worked_out.recall(shop.book, "BH", "A-old")
    assert len(again["items"]) == 2 and again["position"]["seq"] > first["position"]["seq"]
    assert whole(again) == recalls.recall(shop.book, "BH", "A-old")
    (key,) = worked_out._KEPT.books[shop.book]
    assert key[1] == again["position"]["hash"]


def test_what_was_begun_is_begun_anew_after_an_event(shop):
    """A list that was whole is so no longer once the journal went on: it says again that it lacks something."""
    filled_from_a_lot(shop)
    worked_out.recall(shop.book, "BH", "A-old")
    assert worked_out.recall(shop.book, "BH", "A-old", at_once=0)["lacking"] == ()
    shop.fill()
    begun = worked_out.recall(shop.book, "BH", "A-old", at_once=0)
    assert begun["lacking"] and len(begun["items"]) == 2


def test_what_is_being_written_is_neither_kept_nor_answered_from_what_is(shop):
    tire = filled_from_a_lot(shop)
    kept = worked_out.recall(shop.book, "BH", "A-old")
    with pytest.raises(RuntimeError), shop.book.transaction():
        shop.book.execute("DELETE FROM link WHERE child = (SELECT num FROM item WHERE code = ?)", (tire,))
        assert worked_out.recall(shop.book, "BH", "A-old")["items"] == []
        assert latest(shop.book, "BH", "links", lambda: shop.links(tire)) == {}
        raise RuntimeError
    assert worked_out.recall(shop.book, "BH", "A-old") == kept
    assert latest(shop.book, "BH", "links", lambda: shop.links(tire)) != {}


def test_a_walk_too_large_to_keep_is_let_go_and_its_list_stays(one, monkeypatch):
    monkeypatch.setattr(worked_out, "MOST_KEPT", 1)
    first = worked_out.recall(one.book, "BH", one.lots[0])
    worked_out.recall(one.book, "BH", one.lots[1])
    ((key, kept),) = worked_out._KEPT.books[one.book].items()
    assert key[2] == one.lots[1] and kept.found is None
    assert (
        worked_out.recall(one.book, "BH", one.lots[1], threshold_e4=900)["lacking"] == ()
    )  # walked again for it
    assert worked_out.recall(one.book, "BH", one.lots[0]) == first
    no_walk(monkeypatch)
    assert worked_out.recall(one.book, "BH", one.lots[0]) == first


def test_two_who_ask_at_once_wait_for_one_walk(shop, tmp_path, monkeypatch):
    filled_from_a_lot(shop)
    walks, walk = [], reach.exact
    begun = threading.Event()

    def slow(*args, **named):
        walks.append(threading.current_thread())
        begun.set()
        begun.wait(0.2)
        return walk(*args, **named)

    monkeypatch.setattr(reach, "exact", slow)
    book = open_book(shop.book.where)
    book.db.close()
    found = []

    def ask():
        with book.connected():
            found.append(worked_out.recall(book, "BH", "A-old"))

    asking = [threading.Thread(target=ask) for _ in range(3)]
    for one in asking:
        one.start()
    for one in asking:
        one.join(20)
    assert len(found) == 3 and found[0] == found[1] == found[2] and len(walks) == 1


def test_the_latest_answers_are_kept_and_no_more(shop):
    asked = []
    for n in (*range(30), 29, 0):
        latest(shop.book, "BH", ("number", n), lambda n=n: asked.append(n))
    assert asked == [*range(30), 0]
    shop.wait(minutes=1)
    shop.tote("A")
    latest(shop.book, "BH", ("number", 0), lambda: asked.append("after an event"))
    assert asked[-1] == "after an event"


def test_a_walk_let_go_while_it_is_asked_for_is_given_all_the_same(one):
    """Another thread makes room between the look whether it is there and the answer."""

    class Vanishing(worked_out._One):
        found = property(lambda self: self.there.pop() if self.there else None, lambda self, found: None)

        def __init__(self):
            self.suspect, self.defect, self.there = "a lot", rules.CONTAMINATION, ["the walk"]

    assert Vanishing().all_found(one.book) == "the walk"


def test_ever_new_thresholds_do_not_fill_the_memory(one, monkeypatch):
    """Lists without a tire and sentences take room, too."""
    monkeypatch.setattr(worked_out, "MOST_KEPT", 100)
    for threshold in range(1, 121):
        worked_out.how_sure_are_we(
            one.book, "BH", one.lots[0], defect="contamination", threshold_e4=threshold, us=False
        )
    (kept,) = worked_out._KEPT.books[one.book].values()
    assert 1 <= len(kept.said) <= 100 // worked_out.ROW
    assert (
        kept.size <= 100 and worked_out.recall(one.book, "BH", one.lots[0], threshold_e4=120)["lacking"] == ()
    )


def test_the_latest_list_stays_however_large(one, monkeypatch):
    monkeypatch.setattr(worked_out, "MOST_KEPT", 1)
    how = {"defect": "contamination", "threshold_e4": 500}
    worked_out.recall(one.book, "BH", one.lots[0], defect="contamination", threshold_e4=100)
    first, _ = worked_out.how_sure_are_we(one.book, "BH", one.lots[0], us=False, **how)
    no_walk(monkeypatch)
    assert worked_out.recall(one.book, "BH", one.lots[0], **how) == first
    (kept,) = worked_out._KEPT.books[one.book].values()
    assert {threshold for _, threshold, _ in kept.said} == {500}
