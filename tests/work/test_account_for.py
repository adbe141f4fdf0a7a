"""What became of listed tires that stay away is signed for, counts as an outcome of that recall alone, and yields to what comes later."""

import typing

import pytest

from fillbook.trace.book import closed_recalls, on_hold, queries
from fillbook.trace.book.outcomes import STAYS_AWAY
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense, NotAllowed, Stopped, UnknownItem
from fillbook.trace.work.recalling import AccountFor

pytestmark = pytest.mark.usefixtures("checked_shop")


@pytest.fixture
def away(shop):
    """Four tires of the suspect lot, three of them at the customer's and one released; one of another line, not excluded, sent out; and an empty one."""
    shop.suspect, _ = shop.ready_line("line 1")
    shop.ready_line("line 2")
    shop.tires = [shop.fill() for _ in range(4)]
    shop.sound = shop.fill(line="line 2")
    shop.empty = shop.tire()
    shop.rack(*shop.tires, shop.sound)
    shop.wait(hours=54)
    shop.log(55)
    for tire in (*shop.tires, shop.sound):
        shop.lead("release", tire=tire)
    shop.act("dispatch", tires=[*shop.tires[:3], shop.sound])
    shop.recall = shop.lead("open recall", suspect=shop.suspect, why="smells of water").seq
    shop.wait(hours=1)
    return shop


def account(shop, *tires, became="looked at, stays", **said):
    said = {"recall": shop.recall, "found": "Lee looked: hard all round"} | said
    return shop.lead("account for", tires=list(tires), became=became, **said)


def outcomes(shop, recall=None):
    opened = queries.opened_recall(shop.book, "BH", recall or shop.recall)
    found = {one.item: one.outcome for one in closed_recalls.listed(shop.book, "BH", opened, shop.now)}
    return [found[tire] for tire in shop.tires]


def test_each_word_for_it_is_one_of_the_outcomes():
    assert typing.get_args(AccountFor.model_fields["became"].annotation) == STAYS_AWAY


@pytest.mark.parametrize("became", STAYS_AWAY)
def test_what_became_of_tires_elsewhere_is_their_outcome_and_nothing_keeps_them(away, became):
    first, second = away.tires[:2]
    assert outcomes(away) == ["", "", "", ""]
    done = account(away, first, second, became=became)
    assert outcomes(away) == [became, became, "", ""]
    assert [bool(on_hold.holds_on(away.book, tire)) for tire in away.tires] == [False, False, True, True]
    said = [row.words for row in away.book.rows("SELECT words FROM touch WHERE seq = ?", done.seq)]
    assert said == [f"accounted for in the recall of {ids.pretty(away.suspect)}: {became}"] * 2
    assert away.book.value("SELECT state FROM place WHERE item = ?", first) == "dispatched"


def test_the_recall_closes_without_a_reason_once_all_are_accounted_for(away):
    account(away, away.tires[0], became="destroyed there")
    account(away, *away.tires[1:3], became="out of reach", found="sold on; the buyer is not known")
    account(away, away.sound)
    away.act("scrap", item=away.tires[3], why="suspect")
    done = away.lead("close recall", recall=away.recall, note="all called")
    frozen = closed_recalls.outcomes(away.book, "BH", done.seq)
    assert [frozen[tire].outcome for tire in away.tires] == [
        "destroyed there", "out of reach", "out of reach", "scrapped",
    ]  # fmt: skip
    with pytest.raises(Nonsense, match="was closed at"):
        account(away, away.tires[0])


def test_what_comes_later_counts_instead(away):
    first = away.tires[0]
    account(away, first)
    away.wait(hours=2)
    away.act("return", tire=first, complaint="soft after all")
    assert outcomes(away)[0] == "came back"
    away.act("scrap", item=first, why="soft")
    assert outcomes(away)[0] == "scrapped"


def test_one_that_came_back_and_went_out_again_is_accounted_for_anew(away):
    first = away.tires[0]
    away.act("return", tire=first, complaint="rubs")
    away.wait(hours=1)
    away.rack(first)
    away.lead("release", tire=first, override="looked at: sound", signed_by="Dana")
    away.act("dispatch", tires=[first])
    away.wait(hours=1)
    account(away, first)
    assert outcomes(away)[0] == "looked at, stays"


def test_it_is_an_outcome_of_that_recall_alone(away):
    other = away.lead("open recall", suspect=away.suspect, why="pump was off ratio", defect="setting").seq
    account(away, away.tires[0])
    assert outcomes(away)[0] == "looked at, stays" and outcomes(away, other)[0] == ""
    assert [row.recall for row in on_hold.holds_on(away.book, away.tires[0])] == [other]


def test_a_word_taken_back_or_mended_changes_the_outcome(away):
    seq = account(away, *away.tires[:2]).seq
    away.correct(seq, who="Lee", tires=[away.tires[1]])
    assert outcomes(away)[:2] == ["", "looked at, stays"]
    away.correct(seq, who="Lee", became="out of reach")
    assert outcomes(away)[:2] == ["", "out of reach"]
    away.correct(seq, who="Lee", void=True)
    assert outcomes(away)[:2] == ["", ""] and on_hold.holds_on(away.book, away.tires[1])


def test_nonsense_is_refused_with_a_sentence_and_changes_nothing(away):
    before = away.fingerprint()
    first, racked = away.tires[0], away.tires[3]
    for said, words, field in (
        ({"tires": [racked]}, "not away but released then", "tires"),
        ({"tires": [first, first]}, "named twice", "tires"),
        ({"tires": [away.empty]}, "is not on the list of the recall", "tires"),
        ({"tires": [first], "found": " "}, "Say who looked", "found"),
        ({"tires": [first], "at": away.ago(hours=2)}, "after the time given", "at"),
        ({"tires": [first], "became": "sound"}, "became", "became"),
    ):
        with pytest.raises(Nonsense, match=words) as refused:
            account(away, *said.pop("tires"), **said)
        assert refused.value.field == field
    with pytest.raises(UnknownItem, match="opened no recall"):
        account(away, first, recall=1)
    with pytest.raises(NotAllowed):
        away.act("account for", recall=away.recall, tires=[first], became="out of reach", found="sold on")
    assert away.fingerprint() == before


def test_the_closing_names_those_left(away):
    account(away, away.tires[0])
    with pytest.raises(Stopped, match="4 of 5 listed tires have no outcome yet") as stop:
        away.lead("close recall", recall=away.recall, note="called")
    assert ids.pretty(away.tires[0]) not in str(stop.value)
