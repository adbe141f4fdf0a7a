"""What a correction leaves alone still says what was typed when it was written, unit and all."""

from fillbook.trace.book import apply


def typed(shop, seq):
    return apply.effective(shop.book, shop.site, seq).body["said"].get("typed", {})


def test_a_corrected_weight_leaves_the_pressure_as_it_was_typed(shop):
    shop.ready_line()
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1")
    shop.wait(minutes=10)
    fill = shop.act(
        "finish fill", tire=tire, weight_lb="326.5", pressure_psi="60.5", mix_pct="12.5", started=shop.ago(minutes=9)
    ).seq  # fmt: skip
    before = typed(shop, fill)
    assert {"weight_lb", "pressure_psi", "mix_pct", "started"} == set(before)
    shop.correct(fill, weight_kg="150")
    after = typed(shop, fill)
    assert after == {k: v for k, v in before.items() if k != "weight_lb"} | {"weight_kg": "150 kg"}
    shop.correct(fill, pressure_kpa="410")
    shop.correct(fill, mix_pct=None)
    assert typed(shop, fill) == {
        "weight_kg": "150 kg",
        "pressure_kpa": "410 kPa",
        "started": before["started"],
    }
    shop.check()


def test_rows_that_were_not_corrected_keep_their_words_and_new_rows_have_their_own(shop):
    shop.ready_line()
    tire = shop.reclaimed(kg=200)
    ground = shop.act(
        "grind", pieces=[{"source": tire, "weight_lb": "100.5"}, {"source": "unknown", "weight_kg": "9.75"}]
    ).seq
    before = typed(shop, ground)
    assert set(before) == {"pieces[0].weight_lb", "pieces[1].weight_kg"}
    shop.correct(ground, happened=shop.ago())
    assert typed(shop, ground) == before
    shop.correct(ground, pieces=[{"source": tire, "weight_kg": "45.5"}])
    assert typed(shop, ground) == {"pieces[0].weight_kg": "45.5 kg"}
    shop.check()


def test_a_typed_time_stays_with_its_event_until_the_time_itself_is_corrected(shop):
    shop.ready_line()
    line = shop.act("purge", line="line 1", weight_kg=5, at=shop.ago()).seq
    said = apply.effective(shop.book, shop.site, line).body["said"]["typed_at"]
    shop.correct(line, weight_kg=6)
    assert apply.effective(shop.book, shop.site, line).body["said"]["typed_at"] == said
    shop.correct(line, happened=shop.ago())
    assert "typed_at" not in apply.effective(shop.book, shop.site, line).body["said"]
    shop.check()
