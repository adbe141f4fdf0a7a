"""A correction changes what the tables say, never what was recorded; what others stand on isn't pulled away under them."""

import pytest

from fillbook.trace.book import cures, on_hold, queries, recalls
from fillbook.trace.core.errors import Conflict, Nonsense, ShopError


def test_a_corrected_weight_changes_the_links_and_keeps_the_journal(shop):
    shop.act("clean", line="line 1", how="emptied clean", parts="everything")
    a, b = shop.ready_line()
    tire = shop.fill(kg=100)
    event = shop.head
    shop.correct(event, weight_kg=120)
    assert shop.links(tire) == {("A", a): (60_000,) * 3, ("B", b): (60_000,) * 3}
    assert queries.event_words(shop.book, shop.site, event)["body"]["said"]["weight_g"] == 100_000
    shop.check()


def test_a_correction_in_another_unit_replaces_the_first(shop):
    shop.ready_line()
    tire = shop.fill(kg=100)
    event = shop.head
    shop.correct(event, weight_lb="220.5")
    assert queries.fill(shop.book, tire).grams == 100_017  # 220.5 lb x 453.59237 g, NIST SP 811
    shop.correct(event, weight_kg=101)
    assert queries.fill(shop.book, tire).grams == 101_000
    with pytest.raises(Nonsense, match="same thing twice"):
        shop.correct(event, weight_kg=101, weight_lb=222)
    shop.check()


def test_a_decimal_of_an_action_line_can_be_corrected_too(shop):
    from fillbook.trace.work import action_lines

    shop.ready_line()
    tire = shop.fill(kg=100)
    line = '{"verb": "correct", "who": "Lee", "fields": {"event": %d, "fields": {"weight_kg": 120.5}, "why": "read wrong"}}'
    action_lines.enter(shop.book, line % shop.head, now=shop.now)
    assert queries.fill(shop.book, tire).grams == 120_500
    shop.check()


def test_letters_in_pieces_are_put_together_in_a_correction_as_in_the_act(shop):
    tire = shop.tire(customer="Quarry Ni\u0303a")
    shop.correct(shop.head, customer="Quarry Nin\u0303a")
    assert queries.tire(shop.book, tire).customer == "Quarry Ni\u00f1a"
    shop.check()


def test_a_loggers_file_can_be_corrected(shop):
    shop.log(4, f=75)
    event = shop.head
    shop.correct(event, csv=shop.csv(4, f=60))
    assert {mc for _, mc in queries.samples(shop.book, shop.zone, "logger", 0, 2**40)} == {15_556}
    shop.correct(event, zone="back rack")
    assert queries.samples(shop.book, shop.zone, "logger", 0, 2**40) == []
    shop.check()


def test_a_wrong_tote_scanned_at_the_line_is_put_right_for_both_totes(shop):
    wrong, right, following = shop.tote("A"), shop.tote("A"), shop.tote("A")
    shop.hook_up(wrong)
    event = shop.head
    shop.hook_up(shop.tote("B"))
    tire = shop.fill(kg=100)
    shop.hook_up(following, change="ran dry")
    shop.correct(event, tote=right)
    assert ("A", right) in shop.links(tire) and ("A", wrong) not in shop.links(tire)
    assert [shop.state(tote) for tote in (wrong, right, following)] == ["in store", "empty", "hooked up"]
    shop.hook_up(wrong, line="line 2")
    shop.check()


def test_a_moved_change_over_moves_the_links_of_the_fills_between(shop):
    _first, _ = shop.ready_line()
    second = shop.tote("A")
    shop.wait(minutes=10)
    before = shop.fill(kg=100)
    shop.hook_up(second)
    event = shop.head
    after = shop.fill(kg=100)
    assert ("A", second) not in shop.links(before) and ("A", second) in shop.links(after)
    shop.correct(event, happened=shop.ago(minutes=37))
    assert shop.links(before)["A", second][1] > 40_000
    shop.check()


def test_an_event_is_corrected_twice_and_then_voided(shop):
    shop.ready_line()
    tire = shop.fill(kg=100)
    event = shop.head
    for kg in (110, 120):
        shop.correct(event, weight_kg=kg)
        assert queries.fill(shop.book, tire).grams == kg * 1000
    shop.correct(event, pressure_psi=55)
    assert queries.fill(shop.book, tire).grams == 120_000
    shop.correct(event, void=True)
    assert queries.fill(shop.book, tire) is None and shop.links(tire) == {}
    with pytest.raises(Nonsense, match="voided already"):
        shop.correct(event, weight_kg=130)
    shop.check()


def test_a_correction_is_not_corrected(shop):
    shop.ready_line()
    shop.fill(kg=100)
    shop.correct(shop.head, weight_kg=110)
    with pytest.raises(Nonsense, match="stays as it was written"):
        shop.correct(shop.head, why="again", void=True)


def test_a_fill_booked_on_the_wrong_tire_moves_to_the_right_one(shop):
    shop.ready_line()
    wrong, right = shop.tire(), shop.tire()
    shop.fill(wrong, kg=100)
    shop.correct(shop.head, tire=right, line="line 1", started=shop.ago(minutes=10))
    assert shop.links(wrong) == {} and sum(best for _, best, _ in shop.links(right).values()) == 100_000
    assert (shop.state(wrong), shop.state(right)) == ("filling", "filled")
    shop.check()


def test_minted_ids_stay_and_their_number_too(shop):
    tote = shop.tote("A")
    event = shop.head
    shop.correct(event, net_kg=900)
    assert queries.tote(shop.book, tote).net_g == 900_000
    with pytest.raises(Nonsense, match="keeps the IDs"):
        shop.correct(event, totes=2)
    shop.check()


def test_a_used_id_is_not_voided_under_its_user(shop):
    tote = shop.tote("A")
    event = shop.head
    shop.hook_up(tote)
    with pytest.raises(Conflict, match="used by later events"):
        shop.correct(event, void=True)
    shop.correct(shop.head, void=True)
    shop.correct(event, void=True)
    assert shop.state(tote) == "void"
    with pytest.raises(Nonsense, match="was voided"):
        shop.hook_up(tote)
    shop.check()


@pytest.mark.parametrize("change", ["void", "another"])
def test_a_tire_of_a_paper_sheet_is_not_taken_away_under_its_fill(shop, change):
    """Its ID was given out with the sheet, not when it was taken in: what was done with it counts all the same."""
    shop.ready_line()
    tire, other = shop.act("reserve ids", tires=2).ids
    taken = shop.act("take in", reserved=[tire], customer="Quarry Nine", size="23.5-25").seq
    asked = {"void": True} if change == "void" else {"reserved": [other]}
    shop.fill(tire)
    before = shop.fingerprint()
    with pytest.raises(Conflict, match=r"used by later events .*fill started"):
        shop.correct(taken, **asked)
    assert shop.fingerprint() == before and queries.tire(shop.book, tire)
    shop.correct(shop.head, void=True)
    shop.correct(shop.head - 2, void=True)
    shop.correct(taken, **asked)
    assert shop.state(tire) == "reserved"
    shop.check()


@pytest.mark.parametrize("use", ["purge", "clean", "pour cup", "set limit"])
def test_a_line_in_use_is_not_voided(shop, use):
    line = shop.lead("add line", name="line 3")
    fields = {
        "purge": {"line": "line 3", "weight_kg": 5}, "clean": {"line": "line 3"}, "pour cup": {"line": "line 3"},
        "set limit": {"limit": "hose_content_low", "to": "4 kg", "source": "weighed", "line": "line 3", "who": "Lee"},
    }[use]  # fmt: skip
    shop.act(use, **fields)
    with pytest.raises(Conflict, match="used by later events"):
        shop.correct(line.seq, void=True)


def test_who_is_voided_is_still_named_by_what_they_did(shop):
    """A name entered for who never was here is taken away; an act in that name still says whose it was."""
    kim = queries.person(shop.book, shop.site, "Kim")["item"]
    added = shop.book.value("SELECT seq FROM person WHERE item = ?", kim)
    shop.act("purge", who="Kim", line="line 1", weight_kg=3)
    shop.correct(added, who="Dana", void=True)
    assert queries.name_of(shop.book, kim) == "Kim"
    with pytest.raises(ShopError, match="not in this book"):
        shop.act("purge", who="Kim", line="line 1", weight_kg=3)
    shop.check()


@pytest.mark.parametrize("use", ["read temperature", "log temperatures"])
def test_a_zone_with_readings_is_not_voided(shop, use):
    zone = shop.lead("add zone", name="loft")
    if use == "read temperature":
        shop.act(use, zone="loft", reading_f=75)
    else:
        shop.log(3, zone="loft")
    with pytest.raises(Conflict, match="used by later events"):
        shop.correct(zone.seq, void=True)


def test_a_start_can_be_voided_and_the_line_is_free_again(shop):
    shop.ready_line()
    tire, other = shop.tire(), shop.tire()
    started = shop.act("start fill", tire=tire, line="line 1")
    shop.correct(started.seq, void=True)
    assert shop.state(tire) == "taken in"
    shop.fill(other)
    shop.fill(tire)
    shop.check()


def test_a_system_with_totes_keeps_its_name(shop):
    added = shop.lead("add system", name="QM-12", parts_a=1, parts_b=3)
    shop.tote("A", system="QM-12")
    for fields in ({"name": "QM-13"}, {"void": True}):
        with pytest.raises(Conflict, match="totes of QM-12"):
            shop.correct(added.seq, **fields)
    shop.correct(added.seq, parts_b=2)
    assert queries.system(shop.book, shop.site, "QM-12").ratio_b == 2
    shop.check()


def test_a_corrected_ratio_says_what_it_does_not_split_anew(shop):
    added = shop.lead("add system", name="QM-12", parts_a=1, parts_b=3)
    assert shop.correct(added.seq, parts_b=2).findings == ()
    shop.ready_line(system="QM-12")
    tire = shop.fill(kg=90)
    done = shop.correct(added.seq, parts_b=1)
    assert [f["code"] for f in done.findings] == ["split as before"]
    assert sum(best for (side, _), (_, best, _) in shop.links(tire).items() if side == "A") == 30_000
    other = shop.fill(kg=90)
    assert sum(best for (side, _), (_, best, _) in shop.links(other).items() if side == "A") == 45_000
    shop.check()


def test_a_system_is_not_renamed_to_another(shop):
    added = shop.lead("add system", name="QM-12")
    with pytest.raises(Conflict, match="in the book already"):
        shop.correct(added.seq, name="rx-30")


# -- order is time ------------------------------------------------------------------------------------------------------------


def regrind_story(shop):
    """A tire cut out, ground, loaded and gone into the next one."""
    shop.ready_line()
    first = shop.reclaimed(kg=200)
    reclaim = shop.head
    batch = shop.grind(**{first: 150})
    grind = shop.head
    shop.wait(hours=1)
    shop.load(batch, 100)
    shop.wait(hours=1)
    second = shop.fill(kg=100, mix_pct=40)
    return first, reclaim, batch, grind, second


def test_a_batch_is_not_made_after_it_was_loaded(shop):
    *_, grind, _ = regrind_story(shop)
    with pytest.raises(ShopError, match=r"\d\d:\d\d.*\d\d:\d\d"):
        shop.correct(grind, happened=shop.ago(minutes=30))
    shop.check()


def test_a_batch_cannot_come_to_hold_what_it_went_into(shop):
    """Otherwise a batch and a tire would each be made from the other, and no share of anything could be told."""
    _first, _reclaim, batch, grind, second = regrind_story(shop)
    shop.wait(days=3)
    shop.act("reclaim", tire=second)
    with pytest.raises(ShopError):
        shop.correct(grind, pieces=[{"source": second, "weight_kg": 50}], happened=shop.ago())
    with pytest.raises(ShopError):
        shop.correct(grind, pieces=[{"source": second, "weight_kg": 50}])
    with pytest.raises(ShopError, match="from itself"):
        shop.correct(grind, pieces=[{"source": batch, "weight_kg": 50}])
    shop.check()


def test_a_fill_is_not_cut_out_after_it_was_ground(shop):
    _, reclaim, *_ = regrind_story(shop)
    with pytest.raises(ShopError, match=r"\d\d:\d\d.*\d\d:\d\d"):
        shop.correct(reclaim, happened=shop.ago(minutes=5))


def test_a_tote_is_not_received_after_it_was_hooked_up(shop):
    tote = shop.tote("A")
    event = shop.head
    shop.wait(hours=2)
    shop.hook_up(tote)
    shop.correct(event, happened=shop.ago(hours=1))
    with pytest.raises(ShopError, match=r"\d\d:\d\d.*\d\d:\d\d"):
        shop.correct(event, happened=shop.ago())
    shop.check()


def test_every_link_leads_from_earlier_to_later_after_any_correction(shop):
    first, _reclaim, batch, _grind, second = regrind_story(shop)
    shop.wait(days=3)
    shop.act("reclaim", tire=second)
    again = shop.grind(**{second: 50, batch: 20})
    for event in range(1, shop.head + 1):
        for change in ({"happened": shop.ago(minutes=1)}, {"happened": shop.ago(days=20)}, {"void": True}):
            try:
                shop.correct(event, **change)
            except ShopError:
                continue
    wrong = shop.book.tuples(
        "SELECT k.child, k.parent FROM link k JOIN link p ON p.child = k.parent WHERE k.parent <> 0 AND p.ord >= k.ord"
    )
    assert wrong == []
    for item in (first, second, batch, again):
        try:
            shares = recalls.trace(shop.book, item)["origins"]
        except ShopError:
            continue
        assert not shares or sum(one["share"] for one in shares) == pytest.approx(1)
    shop.check()


# -- what was signed stays -----------------------------------------------------------------------------------------------------


def test_a_correction_after_release_leaves_the_release_and_says_so(shop):
    shop.ready_line()
    tire = shop.fill(start={"bay_f": 75})
    event = shop.head
    shop.rack(tire)
    shop.wait(hours=54)
    shop.log(55)
    shop.lead("release", tire=tire, tag_scanned=True)
    before = shop.book.rows("SELECT * FROM released")
    done = shop.correct(event, weight_kg=140)
    assert [f["code"] for f in done.findings] == ["changed after release"]
    assert shop.book.rows("SELECT * FROM released") == before
    assert [f.code for f in queries.findings_on(shop.book, tire)] == ["changed after release"]
    shop.check()


def test_a_correction_that_frees_a_tire_of_another_says_so_too(shop):
    """The tire a correction newly names is looked at like the one it named before."""
    shop.ready_line()
    tire, other = shop.cured(start={"bay_f": 75}), shop.tire()
    shop.lead("release", tire=tire)
    shop.fill(other)
    event = shop.head
    with pytest.raises(Nonsense):
        shop.correct(event, tire=tire)
    shop.check()


def test_a_hold_lifted_for_one_reason_is_not_lifted_for_another(shop):
    """Nobody has looked at the new finding yet, even where it stands at the old one's place."""
    shop.ready_line()
    tire = shop.fill(pressure_psi=None)
    event = shop.head
    assert [h.why for h in on_hold.holds_on(shop.book, tire)]
    shop.lead("lift", item=tire, why="read again by hand: 60 psi")
    assert on_hold.holds_on(shop.book, tire) == []
    shop.correct(event, weight_kg=149)
    assert on_hold.holds_on(shop.book, tire) == []  # the same finding, looked at already
    shop.correct(event, pressure_psi=95)
    assert ["lowest rating" in h.why for h in on_hold.holds_on(shop.book, tire)] == [True]
    shop.correct(event, pressure_psi=60)
    assert on_hold.holds_on(shop.book, tire) == []
    shop.check()


def test_a_repeated_correction_is_done_once(shop):
    shop.ready_line()
    shop.fill(kg=100)
    event = shop.head
    said = {"event": event, "fields": {"weight_kg": 120}, "why": "read wrong"}
    first = shop.lead("correct", request="desk-1", at=shop.ago(), **said)
    again = shop.lead("correct", request="desk-1", at=shop.ago(minutes=1), **said)
    assert again.repeated and again.seq == first.seq
    with pytest.raises(Conflict):
        shop.lead(
            "correct", request="desk-1", at=shop.ago(minutes=2), **(said | {"fields": {"weight_kg": 121}})
        )


def test_two_tires_that_came_back_together_are_told_apart(shop):
    shop.ready_line()
    tires = [shop.cured(start={"bay_f": 75}) for _ in range(2)]
    for tire in tires:
        shop.lead("release", tire=tire)
    shop.act("dispatch", tires=tires)
    at = shop.ago()
    shop.wait(hours=1)
    one, two = (shop.act("return", complaint="soft", size="23.5-25", at=at).seq for _ in range(2))
    shop.lead("identify", event=one, verdict="ours", tire=tires[0], why="rim number")
    shop.lead("identify", event=two, verdict="ours", tire=tires[1], why="rim number")
    assert [shop.state(tire) for tire in tires] == ["returned", "returned"]
    shop.check()


def test_an_identified_return_is_not_voided_under_it(shop):
    shop.ready_line()
    tire = shop.cured(start={"bay_f": 75})
    shop.lead("release", tire=tire)
    shop.act("dispatch", tires=[tire])
    came = shop.act("return", complaint="soft", size="23.5-25")
    shop.lead("identify", event=came.seq, verdict="not ours", why="another shop's tag")
    with pytest.raises(Conflict, match="identified"):
        shop.correct(came.seq, void=True)
    shop.correct(shop.head, void=True)
    shop.correct(came.seq, void=True)
    shop.check()


def test_a_cure_follows_a_corrected_rack_and_fill(shop):
    shop.ready_line()
    tire = shop.fill(start={"bay_f": 75})
    fill = shop.head
    racked = shop.rack(tire)
    shop.wait(hours=54)
    shop.log(55)
    whole = cures.answer(shop.book, tire, shop.now)["credited_s"]
    shop.correct(racked.seq, happened=shop.ago(hours=30))
    later = cures.answer(shop.book, tire, shop.now)["credited_s"]
    assert whole - later > 20 * 3600
    shop.correct(racked.seq, zone="back rack")
    assert cures.answer(shop.book, tire, shop.now)["credited_s"] == 0
    shop.correct(fill, void=True)
    with pytest.raises(Nonsense, match="not been filled"):
        cures.answer(shop.book, tire, shop.now)
    shop.check()


def test_a_value_can_be_taken_back_in_whatever_unit_it_was_said(shop):
    shop.ready_line()
    tire = shop.fill(pressure_psi=60)
    shop.correct(shop.head, pressure_kpa=None)
    assert queries.fill(shop.book, tire).pressure_pa is None
    assert [h.why for h in on_hold.holds_on(shop.book, tire)]  # no pressure was given
    shop.check()


@pytest.mark.parametrize("reason", [5, {"a": 1}, ["x"], "bell\u0007", ""])
def test_a_correction_with_an_override_takes_words_for_it(shop, reason):
    shop.ready_line()
    shop.fill()
    before = shop.fingerprint()
    with pytest.raises(Nonsense, match="override"):
        shop.lead("correct", event=shop.head, fields={"override": reason, "weight_kg": 90}, why="typed wrong")
    assert shop.fingerprint() == before


def test_a_total_read_at_a_pause_is_put_right_without_making_material(shop):
    """The finish gave the total, and counted on from the pause: neither is changed under the other."""
    shop.ready_line()
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1")
    shop.wait(minutes=10)
    paused = shop.act("pause", tire=tire, weight_kg=50)
    shop.act("resume", tire=tire)
    shop.wait(minutes=5)
    finished = shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60)
    assert queries.fill(shop.book, tire).grams == 148_000
    for change in ({"weight_kg": 60}, {"void": True}):
        with pytest.raises(ShopError, match=f"event {finished.seq}"):
            shop.correct(paused.seq, **change)
    with pytest.raises(ShopError, match="weighed again"):
        shop.act("abandon", tire=tire, weight_kg=90, why="late", at=shop.ago(minutes=2))
    with pytest.raises(ShopError):
        shop.correct(finished.seq, happened=shop.ago(minutes=10))
    shop.correct(finished.seq, weight_kg=150)
    assert (
        queries.fill(shop.book, tire).grams
        == sum(best for _, best, _ in shop.links(tire).values())
        == 150_000
    )
    shop.correct(finished.seq, void=True)
    shop.correct(paused.seq, weight_kg=60)
    shop.act("finish fill", tire=tire, weight_kg=148, pressure_psi=60)
    assert (
        queries.fill(shop.book, tire).grams
        == sum(best for _, best, _ in shop.links(tire).values())
        == 148_000
    )
    shop.check()
