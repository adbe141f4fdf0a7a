"""What took its word from a corrected event is worked out anew with it: the line of a fill, its start, cold or not, a weight."""

import pytest

from fillbook.trace.book import apply, cures, queries
from fillbook.trace.core.errors import ShopError


@pytest.fixture
def started(shop):
    """A tire that was started at line 1 with everything warm, and finished: (tire, start, finish)."""
    shop.ready_line()
    shop.ready_line("line 2")
    tire = shop.tire()
    shop.wait(minutes=5)
    start = shop.act("start fill", tire=tire, line="line 1", bay_f=75, casing_f=75, mix_f=75).seq
    shop.wait(minutes=10)
    return tire, start, shop.act("finish fill", tire=tire, weight_kg=100, pressure_psi=60).seq


def test_a_fill_moves_with_its_start_to_the_line_it_was_filled_on(shop, started):
    """Else a recall of the other line's lots would miss it."""
    tire, start, finish = started
    parents = set(shop.links(tire))
    shop.correct(start, line="line 2")
    assert queries.fill(shop.book, tire).line == shop.line_2
    assert not parents & set(shop.links(tire)) - {("A", ""), ("B", "")}
    assert sum(best for _, best, _ in shop.links(tire).values()) == 100_000
    follows = apply.effective(shop.book, shop.site, finish)
    assert follows.body["line"] == shop.line_2 and follows.body["said"]["weight_g"] == 100_000
    shop.check()


def test_a_casing_that_was_cold_makes_a_cold_start_also_when_it_is_said_later(shop, started):
    tire, start, _ = started
    shop.rack(tire)
    needed = cures.answer(shop.book, tire, shop.now)
    assert not queries.fill(shop.book, tire).cold
    shop.correct(start, casing_f=30)
    assert queries.fill(shop.book, tire).cold
    assert cures.answer(shop.book, tire, shop.now) != needed
    shop.correct(start, casing_f=75)
    assert not queries.fill(shop.book, tire).cold
    shop.check()


def test_a_start_that_moves_takes_the_fills_own_with_it(shop, started):
    tire, start, _ = started
    shop.correct(start, happened=shop.ago(minutes=14))
    assert queries.fill(shop.book, tire).started_at == queries.start_of(shop.book, tire).at
    assert [d.started_at for d in queries.draws_of(shop.book, tire)] == [queries.start_of(shop.book, tire).at]
    with pytest.raises(ShopError):
        shop.correct(start, happened=shop.ago())
    shop.check()


def test_what_changes_nothing_else_writes_nothing_else(shop, started):
    _, start, _ = started
    head = shop.head
    shop.correct(start, bay_f=76)
    assert shop.head == head + 1
    shop.correct(start, void=True)  # the fill itself says on which line it was
    assert shop.head == head + 2
    shop.check()


def test_a_repeated_correction_does_not_follow_twice(shop, started):
    _, start, _ = started
    said = {"event": start, "fields": {"line": "line 2"}, "why": "wrong line", "request": "desk-1"}
    first = shop.lead("correct", **said)
    head = shop.head
    again = shop.lead("correct", **said)
    assert (again.seq, again.repeated, shop.head, head) == (first.seq, True, head, first.seq + 1)


def test_a_fill_cut_out_unweighed_weighs_what_went_in(shop):
    shop.ready_line()
    tire = shop.fill(kg=100)
    fill = shop.head
    shop.wait(days=3)
    reclaim = shop.act("reclaim", tire=tire).seq
    shop.correct(fill, weight_kg=120)
    assert apply.effective(shop.book, shop.site, reclaim).body["grams"] == 120_000
    assert shop.book.value("SELECT grams FROM out_of WHERE item = ?", tire) == 120_000
    shop.correct(reclaim, weight_kg=90)
    shop.correct(fill, weight_kg=130)
    assert shop.book.value("SELECT grams FROM out_of WHERE item = ?", tire) == 90_000
    shop.check()


def test_the_tote_that_came_off_is_the_one_that_was_on(shop):
    wrong, right, following = shop.tote("A"), shop.tote("A"), shop.tote("A")
    shop.hook_up(wrong)
    event = shop.head
    shop.hook_up(shop.tote("B"))
    change = shop.hook_up(following, change="ran dry").seq
    shop.correct(event, tote=right)

    def words(tote):
        return [
            w for (w,) in shop.book.tuples("SELECT words FROM touch WHERE item = ? AND seq = ?", tote, change)
        ]

    assert (words(wrong), words(right)) == ([], ["ran dry and came off"])
    assert [f["item"] for f in apply.effective(shop.book, shop.site, change).body["findings"]] == [right]
    shop.correct(event, void=True)
    assert words(right) == []
    shop.check()


def test_a_tire_whose_fill_was_entered_after_it_was_laid_cures_there(shop):
    """Else it would soak there for ever, and no desk could release it."""
    shop.ready_line()
    tire, other = shop.tire(), shop.tire()
    shop.wait(minutes=30)
    shop.rack(tire, other)
    assert (shop.state(tire), shop.state(other)) == ("soaking", "soaking")
    finish = shop.act(
        "finish fill", tire=tire, weight_kg=100, pressure_psi=60, line="line 1", at=shop.ago(minutes=20)
    ).seq  # fmt: skip
    assert (shop.state(tire), shop.state(other)) == ("racked", "soaking")
    shop.check()
    shop.correct(finish, void=True)
    assert (shop.state(tire), shop.state(other)) == ("soaking", "soaking")
    shop.act("finish fill", tire=tire, weight_kg=100, pressure_psi=60, line="line 1", at=shop.ago(minutes=30))
    shop.wait(hours=54)
    shop.log(55)
    assert cures.answer(shop.book, tire, shop.now)["credited_s"] > 48 * 3600
    shop.check()


def test_a_corrected_heel_leaves_what_was_in_the_other_tote(shop):
    """The mixture is what was poured and what was there already, however often it is corrected."""
    shop.ready_line()
    one, other = shop.tote("A", 1000), shop.tote("A", 400)
    shop.act("pour heel", tote=one, into=other, weight_kg=50)
    event = shop.head
    mixture = apply.original(shop.book, shop.site, event).body["mixture"]
    assert queries.tote(shop.book, mixture).net_g == 450_000
    for kg in (60, 70):
        shop.correct(event, weight_kg=kg)
        assert queries.tote(shop.book, mixture).net_g == 400_000 + kg * 1000
        parts = {parent: best for (_, parent), (_, best, _) in shop.links(mixture).items()}
        assert parts == {one: kg * 1000, other: 400_000}
    shop.check()


def test_the_start_of_an_interrupted_fill_can_be_corrected(shop):
    shop.ready_line()
    tire = shop.tire()
    start = shop.act("start fill", tire=tire, line="line 1", casing_f=75).seq
    shop.act("pause", tire=tire, weight_kg=40)
    shop.act("resume", tire=tire)
    shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60)
    shop.correct(start, casing_f=30)
    assert queries.fill(shop.book, tire).cold
    with pytest.raises(ShopError):
        shop.act("start fill", tire=tire, line="line 1", at=shop.ago(minutes=9))
    shop.check()


def test_a_tote_hooked_up_at_the_wrong_line_comes_off_the_right_one(shop):
    """Else it would stay on the right line for ever, and what hung on the wrong one would have come off there."""
    a, _ = shop.ready_line()
    shop.ready_line("line 2")
    tote = shop.tote("A")
    hooked = shop.hook_up(tote).seq
    weighed = shop.act("weigh", item=tote, weight_kg=1000).seq
    off = shop.act("unhook", tote=tote).seq
    assert queries.connected(shop.book, shop.line, shop.now).get("A") is None
    shop.correct(hooked, line="line 2")
    assert queries.connected(shop.book, shop.line, shop.now)["A"] == a
    assert "A" not in queries.connected(shop.book, shop.line_2, shop.now)
    assert shop.state(tote) == "part used"
    assert {apply.effective(shop.book, shop.site, seq).body["line"] for seq in (weighed, off)} == {
        shop.line_2
    }
    shop.check()


def test_a_hooking_up_is_not_voided_under_its_coming_off(shop):
    a, _ = shop.ready_line()
    tote = shop.tote("A")
    hooked = shop.hook_up(tote).seq
    off = shop.act("unhook", tote=tote).seq
    before = shop.fingerprint()
    with pytest.raises(ShopError, match=rf"Event {off} \(unhook\).*Void that event first"):
        shop.correct(hooked, void=True)
    assert shop.fingerprint() == before
    shop.correct(off, void=True)
    shop.correct(hooked, void=True)
    assert queries.connected(shop.book, shop.line, shop.now)["A"] == a
    shop.check()


@pytest.mark.parametrize("late", [False, True])
def test_a_mix_that_was_cold_at_the_cup_makes_its_fills_cold_starts(shop, late):
    shop.ready_line()
    cup = None if late else shop.act("pour cup", line="line 1", mix_f=75).seq
    shop.wait(minutes=5)
    tires = [shop.fill(kg=100), shop.fill(kg=100)]
    assert not any(queries.fill(shop.book, tire).cold for tire in tires)
    if cup:
        shop.correct(cup, mix_f=30)
    else:
        shop.act("pour cup", line="line 1", mix_f=30, at=shop.ago(minutes=40))
    assert all(queries.fill(shop.book, tire).cold for tire in tires)
    shop.check()


def test_an_interrupted_fill_moves_as_a_whole_or_not_at_all(shop):
    shop.ready_line()
    shop.ready_line("line 2")
    tire, other = shop.tire(), shop.tire()
    start = shop.act("start fill", tire=tire, line="line 1", bay_f=75).seq
    shop.act("pause", tire=tire)
    shop.act("resume", tire=tire)
    shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60)
    shop.correct(start, line="line 2")
    assert {row.line for row in queries.starts_of(shop.book, tire)} == {shop.line_2}
    assert queries.fill(shop.book, tire).line == shop.line_2
    start = shop.act("start fill", tire=other, line="line 1", bay_f=75).seq
    paused = shop.act("pause", tire=other, weight_kg=40).seq
    shop.act("resume", tire=other)
    shop.act("finish fill", tire=other, weight_kg=148, pressure_psi=60)
    with pytest.raises(ShopError, match=rf"Event {paused} \(pause\).*weighed again"):
        shop.correct(start, line="line 2")
    shop.check()


def test_a_return_that_was_identified_says_what_it_was_corrected_to(shop):
    shop.ready_line()
    tire = shop.cured(start={"bay_f": 75})
    shop.lead("release", tire=tire)
    shop.act("dispatch", tires=[tire])
    shop.wait(hours=3)
    came = shop.act("return", complaint="soft", size="23.5-25").seq
    shop.lead("identify", event=came, verdict="ours", tire=tire, why="rim number read")
    shop.correct(came, complaint="hard as stone", happened=shop.ago(hours=1))
    rows = shop.book.tuples("SELECT complaint, at FROM came_back WHERE item = ?", tire)
    assert rows == [("hard as stone", apply.effective(shop.book, shop.site, came).happened_at)]
    assert shop.state(tire) == "returned"
    shop.check()
