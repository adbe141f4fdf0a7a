"""How far back an event says it bears is never later than what it changed, in shops with late entries, totes on two lines and unbooked ones."""

import contextlib
import importlib.util
import sys
from pathlib import Path
from random import Random

import pytest

from fillbook.trace.book.bears_back import ALWAYS, bears_back
from fillbook.trace.core.errors import ShopError
from fillbook.trace.work import acting

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_for_bears_back", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)


def links(book):
    """What each draw took from each parent, with its time."""
    return set(
        book.tuples("SELECT ord / 2, child, draw, stream, parent, cut_at, least_g, best_g, most_g FROM link")
    )


@pytest.fixture
def watched(monkeypatch):
    """Each event as it is written: when it happened, the earliest link it changed, and how far back it says it bears."""
    seen, act = [], acting.act

    def watch(book, action, **how):
        before = links(book) if book.shops() else set()
        done = act(book, action, **how)
        changed = [at for at, *_ in before ^ links(book)]
        if changed:
            said = min(at for _, at in bears_back(book, "BH", done.seq - 1, 2**53))
            seen.append((how["now"] if action.at is None else None, min(changed), said, action.verb))
        return done

    monkeypatch.setattr(acting, "act", watch)
    return seen


@pytest.mark.parametrize("seed", [3, 11, 17])
def test_nothing_before_the_time_that_is_said_is_changed(watched, seed):
    """With totes that are soon used up, so that more is drawn of some than they held."""
    shops.RandomShop(seed, fills=40, tote_kg=(200, 320), tubes=seed % 2 == 0)
    assert [one for one in watched if one[2] > one[1]] == []
    back = [
        verb for now, earliest, said, verb in watched if now is not None and earliest < now and said > ALWAYS
    ]
    assert back, "nothing changed what was before it, so nothing was tried"


@pytest.mark.parametrize("seed", [3, 4, 5, 7])
def test_a_hopper_and_a_tote_on_two_lines_that_give_more_than_went_in(watched, seed):
    """Loads, weighings and fills by chance, some of them entered late: hoppers run over and short, totes give twice what they held."""
    chance, shop = Random(seed), shops.the_shop.Shop.start(":memory:")
    for line in ("line 1", "line 2"):
        a, _ = shop.ready_line(line, kg=400)
    batch = shop.grind(unknown=2000)
    shop.wait(hours=1)

    def one():
        line = chance.choice(("line 1", "line 2"))
        late = {"at": shop.ago(minutes=chance.randint(1, 45))} if chance.random() < 0.15 else {}
        how = {"who": "Lee", "override": "by chance", **late}
        match chance.choice(("load", "load", "fill", "fill", "fill", "hopper", "tote", "on", "clean")):
            case "load":
                shop.act("load", line=line, batch=batch, weight_kg=chance.randint(5, 40), **how)
            case "fill":
                tire = shop.act("take in", customer="Pit Four", size="23.5-25", at=shop.ago(hours=1)).ids[0]
                fields = {
                    "weight_kg": chance.randint(20, 120),
                    "pressure_psi": 50,
                    "mix_pct": chance.choice((0, 10, 40)),
                }
                shop.act(
                    "finish fill",
                    tire=tire,
                    line=line,
                    started=late.get("at", shop.ago(minutes=1)),
                    **fields,
                    **how,
                )
            case "hopper":
                shop.act("weigh", item=line, weight_kg=chance.randint(0, 50), **how)
            case "tote":
                shop.act("weigh", item=a, weight_kg=chance.randint(0, 300), **how)
            case "on":
                shop.act("hook up", tote=a, line=line, **how)
            case "clean":
                shop.act("clean", line=line, parts="hopper", **how)
        shop.wait(minutes=chance.randint(1, 10))

    for _ in range(50):
        with contextlib.suppress(ShopError):  # not everything can have happened
            one()
    assert [seen for seen in watched if seen[2] > seen[1]] == []
    verbs = {verb for now, earliest, said, verb in watched if now is not None and earliest < now}
    assert verbs, "nothing changed what was before it, so nothing was tried"


def test_a_correction_may_bear_on_anything(watched):
    shop = shops.the_shop.Shop.start(":memory:")
    other = shop.tote("A")
    shop.ready_line()
    shop.fill()
    hooked = shop.book.value("SELECT min(seq) FROM line_act WHERE what = 'hook'")
    shop.correct(hooked, tote=other)
    assert watched[-1][2:] == (ALWAYS, "correct")
