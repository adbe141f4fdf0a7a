"""A fill that began cold began cold, whatever interrupted it: its cure takes the added hours. Its start is when it was started."""

import pytest

from fillbook.trace.book import queries


@pytest.mark.parametrize("weight", [{"weight_kg": 40}, {}])
def test_a_cold_start_stays_one_when_the_fill_was_interrupted(shop, weight):
    shop.ready_line()
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1", casing_f=30)
    began = queries.start_of(shop.book, tire).at
    shop.wait(minutes=5)
    shop.act("pause", tire=tire, **weight)
    shop.act("resume", tire=tire)
    shop.wait(minutes=5)
    shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60)
    fill = queries.fill(shop.book, tire)
    assert (bool(fill.cold), fill.started_at) == (True, began)
    shop.check()


def test_what_is_drawn_on_another_line_began_when_it_went_on_there(shop):
    shop.ready_line()
    shop.ready_line("line 2")
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1", bay_f=75)
    shop.act("pause", tire=tire)
    shop.act("resume", tire=tire, line="line 2")
    went_on = queries.start_of(shop.book, tire).at
    shop.wait(minutes=5)
    shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60)
    assert [(d.line, d.started_at) for d in queries.draws_of(shop.book, tire)] == [(shop.line_2, went_on)]
    assert not queries.fill(shop.book, tire).cold
    shop.check()
