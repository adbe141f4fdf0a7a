"""Why something is signed has to say something; what has happened is recorded whatever its words are."""

import pytest

from fillbook.trace.core import reasons
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.languages.catalogue import catalogue
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Words, fields_of

TOO_LITTLE = ["x", "ok", ".", "x x", "a b c", "looked", "1234567890", "xxxxxxxxxx", "- - -", "no", "aaa aaa"]
ENOUGH = ["looked at it", "60 psi", "remeasured", "no cup", "no lo usan", "vuelto a medir", "únicamente"]


@pytest.mark.parametrize("reason", TOO_LITTLE)
def test_an_override_that_says_nothing_is_asked_again_and_nothing_is_written(shop, reason):
    shop.ready_line()
    tire = shop.tire()
    shop.act("hold", item=tire, why="x")
    before = shop.fingerprint()
    with pytest.raises(Nonsense) as refused:
        shop.lead("start fill", tire=tire, line="line 1", override=reason)
    words = str(refused.value)
    assert (
        refused.value.field == "override"
        and "is on hold" in words
        and f'"{reason}" is too little for a reason' in words
    )
    assert "write at least two words" in words and shop.fingerprint() == before
    spanish = catalogue("es").said(words)
    assert "escriba al menos dos palabras" in spanish and "is too little" not in spanish


@pytest.mark.parametrize("reason", ENOUGH)
def test_one_that_says_something_is_taken(shop, reason):
    shop.ready_line()
    tire = shop.tire()
    shop.act("hold", item=tire, why="dent")
    done = shop.lead("start fill", tire=tire, line="line 1", override=reason)
    assert done.findings[0]["words"].endswith(f"Overridden: {reason}")


def test_what_a_lift_is_signed_with_says_something(shop):
    tire = shop.tire()
    shop.act("hold", item=tire, why="x")
    with pytest.raises(Nonsense, match="too little for a reason") as refused:
        shop.lead("lift", item=tire, why="ok")
    assert refused.value.field == "why"
    shop.lead("lift", item=tire, why="looked at it")


def test_what_happened_is_recorded_whatever_its_reason_says(shop):
    """A hold is put on at once, a fill is given up, a finish is over its rating: none waits for better words."""
    shop.ready_line()
    tire, other = shop.tire(), shop.tire()
    shop.act("hold", item=shop.tote("A"), why="x")
    shop.act("start fill", tire=other, line="line 1")
    shop.act("abandon", tire=other, weight_kg=20, why="x")
    shop.act("start fill", tire=tire, line="line 1")
    done = shop.act(
        "finish fill", tire=tire, weight_kg=150, pressure_psi=90, override="x"
    )  # nothing stops it
    assert "above rating" in {one["code"] for one in done.findings} and shop.state(tire) == "filled"


def test_a_reason_that_is_in_the_book_stays_good_in_a_correction(shop, monkeypatch):
    shop.ready_line()
    tire = shop.tire()
    shop.act("hold", item=tire, why="dent")
    with monkeypatch.context() as before:  # as it was taken before reasons were looked at
        before.setattr(reasons, "says_something", lambda reason: True)
        started = shop.lead("start fill", tire=tire, line="line 1", override="x")
    shop.correct(started.seq, bay_c=25)
    with pytest.raises(Nonsense, match="too little for a reason"):
        shop.correct(started.seq, override="y")
    shop.correct(started.seq, override="looked at it")


def test_only_what_is_signed_asks_for_a_reason_of_this_kind():
    asking = {
        verb.name
        for verb in registry.everything().values()
        if any(isinstance(one.mark, Words) and one.mark.reason for one in fields_of(verb.ask))
    }
    assert asking == {"lift", "settle", "trust samples", "identify"}
    assert all(registry.find(name).role != "hand" for name in asking)
