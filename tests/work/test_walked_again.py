"""A late entry or a correction walks its own line again from the state kept before it, and ends where a whole derivation does."""

import importlib.util
import sys
from pathlib import Path
from random import Random

import pytest

from fillbook.trace.book import chain, derive, line_walk, spans
from fillbook.trace.core.errors import ShopError

_where = Path(__file__).parent.with_name("simulation") / "shops.py"
_spec = importlib.util.spec_from_file_location("shops_walked_again", _where)
shops = importlib.util.module_from_spec(_spec)
sys.modules[_spec.name] = shops
_spec.loader.exec_module(shops)
the_shop = shops.the_shop


def whole(book):
    """Every derived row as a derivation from nothing gives it."""
    found = None
    with book.transaction() as _:
        kept = the_shop.derived(book)
        derive.derive_all(book)
        found = the_shop.derived(book)
    return kept, found


@pytest.mark.parametrize("seed", range(100, 104))
def test_whatever_was_entered_late_or_put_right_equals_a_whole_derivation(seed):
    one = shops.RandomShop(seed, fills=20)
    random, shop = Random(seed), one.shop
    kept, anew = whole(one.book)
    assert kept == anew
    done = 0
    for _ in range(12):
        seq = random.randint(8, shop.head)
        kind = chain.event_at(one.book, "BH", seq).kind
        how = {
            "finish fill": {"weight_kg": random.randint(5, 200)}, "load": {"weight_kg": random.randint(1, 40)},
            "receive": {"net_kg": random.randint(60, 900)}, "purge": {"weight_kg": random.randint(1, 9)},
            "hook up": {"change": random.choice(("ran dry", "changed early"))},
        }.get(kind)  # fmt: skip
        try:
            if how and random.random() < 0.6:
                shop.correct(seq, **how)
            else:
                shop.correct(seq, void=True)
            done += 1
        except ShopError:
            continue
        kept, anew = whole(one.book)
        assert kept == anew, f"after correcting event {seq}, a {kind}"
    assert done > 2
    shop.check()


def test_a_late_entry_walks_its_own_line_and_not_from_the_beginning(shop, monkeypatch):
    shop.ready_line()
    shop.ready_line("line 2")
    for _ in range(5):
        shop.fill(kg=50)
        shop.fill(kg=50, line="line 2")
    middle = shop.tote("A")
    shop.hook_up(middle)
    for _ in range(4):
        shop.fill(kg=50)
    between, walked = shop.ago(minutes=20), []
    walk = derive.derive_line

    def watched(book, site, line, start):
        walked.append((line, start))
        walk(book, site, line, start)

    monkeypatch.setattr(derive, "derive_line", watched)
    shop.act("purge", line="line 1", weight_kg=2, at=between)
    ((line, start),) = walked
    hooked = shop.book.value(
        "SELECT max(at) FROM line_act WHERE line = ? AND what = 'hook' AND stream = 'B'", shop.line
    )
    assert line == shop.line and start[0] >= hooked


def test_an_ordinary_fill_walks_one_step(shop, monkeypatch):
    shop.ready_line(kg=5000)
    for _ in range(5):
        shop.fill(kg=50)
    steps = []
    acts_of = spans.acts_of

    def watched(book, line, since):
        found = acts_of(book, line, since)
        steps.append(len(found))
        return found

    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1")
    walk = line_walk.Walk.step
    walked = []
    monkeypatch.setattr(line_walk.Walk, "step", lambda self, act: (walked.append(act), walk(self, act))[1])
    shop.act("finish fill", tire=tire, weight_kg=50, pressure_psi=60)
    assert len(walked) == 1


def test_regrind_is_not_walked_when_the_fill_it_came_from_changes(shop):
    """Nothing is stored through regrind: the links of a batch and of what it went into stay as they are."""
    shop.ready_line()
    tire = shop.reclaimed(kg=100)
    fill = shop.book.value("SELECT seq FROM fill WHERE item = ?", tire)
    batch = shop.grind(**{tire: 80})
    shop.load(batch, 60)
    on = shop.fill(kg=100, mix_pct=40)
    before = shop.links(batch), {k: v for k, v in shop.links(on).items() if k[0] == "R"}
    shop.correct(fill, weight_kg=60)
    assert (shop.links(batch), {k: v for k, v in shop.links(on).items() if k[0] == "R"}) == before
    shop.check()
