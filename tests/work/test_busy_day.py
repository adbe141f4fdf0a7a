"""A day with fourteen fills, and the way it really goes wrong."""

from __future__ import annotations

import base64
import json

import pytest

from fillbook.trace.book import habits, kilograms, on_hold, queries, recalls
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Conflict, Nonsense, NotAllowed, Stopped, UnknownItem

PDF = base64.b64encode(b"%PDF-1.4 a certificate").decode()


def test_a_busy_day_from_cold_bay_to_dead_tablet(shop):
    """A tote runs dry in the sixth tire, pieces go into the hopper all morning, the bay is cold, the wrong tire is filled, the
    tablet dies. The book carries all of it, and every kilogram adds up."""
    a, a2 = shop.act(
        "receive", supplier="Northvale", lot="A-7", side="A", system="RX-30", net_kg=560, totes=2
    ).ids
    b = shop.tote("B", 1100, lot="B-7")
    shop.hook_up(a)
    shop.hook_up(b)
    regrind = shop.grind(unknown=600)
    shop.load(regrind, 60)
    shop.act("start shift", line="line 1", weight_kg=5, caught_a_kg="1.00", caught_b_kg="1.01")
    shop.act(
        "open order", number="W-204", customer="Quarry Nine", size="12.00-20", tires=14, target_psi=60, mix_pct=40, unit="L 12"
    )  # fmt: skip
    tires = list(shop.act("take in", order="W-204", tires=12).ids)
    sheet = shop.act("reserve ids", tires=4).ids
    for tire in tires:
        shop.act(
            "inspect",
            tire=tire,
            casing="used",
            rating_psi=75,
            rating_from="sidewall",
            wheel_good="yes",
            inside_good="yes",
        )

    # the bay was cold at the start
    cold = shop.fill(tires[0], kg=148, start={"bay_f": 58})
    assert queries.fill(shop.book, cold).cold == 1
    assert any("58 °F" in f.words for f in queries.findings_on(shop.book, cold))

    # pieces are thrown into the hopper all morning
    for tire in tires[1:5]:
        shop.load(regrind, 45)
        shop.fill(tire, kg=150)

    # the tote runs dry in the middle of the sixth tire
    sixth = tires[5]
    shop.act("start fill", tire=sixth, line="line 1")
    shop.hook_up(a2, change="ran dry", how_full="1/2")
    shop.act("finish fill", tire=sixth, weight_kg=150, pressure_psi=60)
    assert shop.state(a) == "empty"
    assert any(h.why.startswith("A side ran dry") for h in on_hold.holds_on(shop.book, sixth))
    shop.act("lift", who="Lee", item=sixth, why="cup from it set as it should")

    # somebody fills the wrong tire: meant was the seventh, the eighth stood in the cage
    shop.act("start fill", tire=tires[6], line="line 1")
    done = shop.act("finish fill", tire=tires[6], weight_kg=151, pressure_psi=60)
    shop.correct(done.seq, void=True, why="the eighth was in the cage, not the seventh")
    shop.act("finish fill", tire=tires[7], line="line 1", weight_kg=151, pressure_psi=60)
    assert shop.state(tires[7]) == "filled"
    assert queries.fill(shop.book, tires[6]) is None

    # a fill is interrupted, another one goes in between, then it goes on as a cold joint
    shop.correct(
        shop.book.value("SELECT seq FROM fill_start WHERE item = ?", tires[6]), void=True, why="not this tire"
    )
    shop.act("start fill", tire=tires[8], line="line 1")
    shop.act("pause", tire=tires[8], weight_kg=80)
    shop.fill(tires[9], kg=120)
    shop.wait(minutes=30)
    shop.act("resume", tire=tires[8])
    shop.act("leak", tire=tires[8], where="bead", weight_kg=2)
    shop.act("finish fill", tire=tires[8], weight_kg=149, pressure_psi=60)
    assert sum(d.grams for d in queries.draws_of(shop.book, tires[8])) == 149_000
    assert {"cold joint", "leak"} <= {f.code for f in queries.findings_on(shop.book, tires[8])}

    # air is seen in the line
    shop.act("odd flow", line="line 1", what="air seen")
    shop.fill(tires[10], kg=150)
    assert any(f.code == "possibly off-ratio" for f in queries.findings_on(shop.book, tires[10]))

    # the tablet dies: two tires on paper, entered afterwards with the times written there
    shop.wait(hours=3)
    shop.act("take in", reserved=list(sheet[:2]), order="W-204", at=shop.ago(minutes=170))
    for tire, begun, ended in ((sheet[0], 160, 145), (sheet[1], 130, 118)):
        shop.act(
            "finish fill", tire=tire, line="line 1", started=shop.ago(minutes=begun), weight_kg=140, pressure_psi=60,
            at=shop.ago(minutes=ended),
        )  # fmt: skip
    shop.fill(tires[6], kg=150)
    shop.fill(tires[11], kg=150)
    shop.act("end shift", line="line 1")

    filled = shop.book.value("SELECT count(*) FROM fill")
    assert filled == 14
    for row in kilograms.totes(shop.book, "BH"):
        parts = sum(
            row[name] for name in ("in_tires", "cups", "purged", "waste", "in_hoses", "left", "unaccounted")
        )
        assert parts == row["received"]
    found = recalls.recall(shop.book, "BH", "A-7")
    assert len(found["items"]) == 14
    assert sum(row["grams"] for row in found["account"]) == 1_120_000
    shop.check()


# -- shifts --------------------------------------------------------------------------------------------------------------------
def test_a_ratio_beyond_the_limit_stops_the_shift(shop):
    shop.ready_line()
    with pytest.raises(Stopped, match=r"10\.0 % off 1 : 1"):
        shop.act("start shift", line="line 1", caught_a_kg="1.10", caught_b_kg=1)
    assert shop.act("start shift", line="line 1", caught_a_kg="1.05", caught_b_kg=1).findings == ()


def test_the_ratio_check_follows_the_system(shop):
    shop.ready_line(system="KV-55")
    assert shop.act("start shift", line="line 1", caught_a_kg=1, caught_b_kg=2).findings == ()


def test_a_check_answered_no_stops_the_shift(shop):
    with pytest.raises(Stopped, match="parts dry of solvent"):
        shop.act("start shift", line="line 1", parts_dry="no")


def test_tapped_through_starts_are_counted_for_the_owner(shop):
    shop.ready_line()
    shop.act("start shift", line="line 1")
    shop.act("start shift", line="line 1", weight_kg=4)
    sam = next(row for row in habits.habits(shop.book, "BH") if row["name"] == "Sam")
    assert (sam["shift_starts"], sam["tapped_through"], sam["tapped_rate"]) == (2, 1, 0.5)


# -- the middle of a fill ------------------------------------------------------------------------------------------------------
def test_a_pause_frees_the_line(shop):
    shop.ready_line()
    one, other = shop.tire(), shop.tire()
    shop.act("start fill", tire=one, line="line 1")
    with pytest.raises(Nonsense, match="finish that fill first"):
        shop.act("start fill", tire=other, line="line 1")
    shop.act("pause", tire=one)
    shop.act("start fill", tire=other, line="line 1")
    with pytest.raises(Nonsense, match="finish or pause that first"):
        shop.act("resume", tire=one)


@pytest.mark.parametrize(("minutes", "joint"), [(14, False), (15, True)])
def test_past_the_pot_life_it_is_a_cold_joint(shop, minutes, joint):
    shop.ready_line()
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1")
    shop.act("pause", tire=tire, weight_kg=40)
    shop.wait(minutes=minutes)  # and the minute that the pause itself took
    codes = [f["code"] for f in shop.act("resume", tire=tire).findings]
    assert codes == (["cold joint"] if joint else [])


def test_an_interrupted_fill_asks_for_all_that_is_in_the_tire(shop):
    shop.ready_line()
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1")
    shop.act("pause", tire=tire, weight_kg=90)
    shop.act("resume", tire=tire)
    with pytest.raises(Nonsense, match=r"90\.0 kg \(198\.4 lb\) went into"):
        shop.act("finish fill", tire=tire, weight_kg=60, pressure_psi=60)
    shop.act("finish fill", tire=tire, weight_kg=150, topup_kg=5, pressure_psi=60)
    assert [d.grams for d in queries.draws_of(shop.book, tire)] == [90_000, 60_000, 5_000]
    assert queries.fill(shop.book, tire).grams == 155_000


def test_an_abandoned_tire_is_held_and_goes_on_only_after_a_second_look(shop):
    shop.ready_line()
    tire = shop.tire()
    shop.act("start fill", tire=tire, line="line 1")
    shop.act("abandon", tire=tire, why="bead came off", weight_kg=30)
    with pytest.raises(Stopped, match="on hold"):
        shop.act("resume", tire=tire)
    shop.lead("lift", item=tire, why="bead seated again")
    assert [f["code"] for f in shop.act("resume", tire=tire).findings] == ["cold joint"]


def test_a_poured_heel_makes_a_mixture_that_both_lots_recall(shop):
    one, other = shop.tote("A", 100, lot="OLD"), shop.tote("A", 1000, lot="NEW")
    mixture = shop.act("pour heel", tote=one, into=other, weight_kg=60).ids[0]
    assert (shop.state(one), shop.state(other)) == ("empty", "mixed")
    shop.hook_up(mixture)
    shop.hook_up(shop.tote("B"))
    shop.act("clean", line="line 1", how="flushed", parts="both sides")
    tire = shop.fill(kg=200)
    for lot, share in (("OLD", 60 / 1060), ("NEW", 1000 / 1060)):
        items = recalls.recall(shop.book, "BH", lot)["items"]
        assert [one["id"] for one in items] == [ids.pretty(tire)]
        assert items[0]["exposure"]["best"] == pytest.approx(0.5 * share, abs=1e-5)
    shop.act("unhook", tote=mixture)
    shop.act("hold", lot="OLD", why="supplier's call")
    with pytest.raises(Stopped, match="supplier's call"):
        shop.act("hook up", line="line 2", tote=mixture)
    shop.check()


# -- orders, intake, papers ----------------------------------------------------------------------------------------------------
def test_nothing_is_typed_per_tire_on_an_order(shop):
    shop.act(
        "open order",
        number="W-1",
        customer="Quarry Nine",
        size="23.5-25",
        tires=2,
        target_psi=60,
        mix_pct=40,
        unit="L 3",
    )
    tires = shop.act("take in", order="W-1", tires=2).ids
    for tire in tires:
        row = queries.tire(shop.book, tire)
        assert (row.customer, row.size, row.section, row.unit, row.mix_e4) == (
            "Quarry Nine",
            "23.5-25",
            "large",
            "L 3",
            4000,
        )
    assert "2 tires; 3 are taken in" in shop.act("take in", order="w-1").findings[0]["words"]


def test_an_order_half_used_can_be_changed_but_not_below_what_came_in(shop):
    order = shop.act("open order", number="W-2", customer="Quarry Nine", size="23.5-25", tires=4)
    shop.act("take in", order="W-2", tires=3)
    with pytest.raises(Nonsense, match="as 3 are taken in on it already"):
        shop.correct(order.seq, tires=2)
    shop.correct(order.seq, tires=3, customer="Quarry Ten")
    assert queries.order(shop.book, "BH", "W-2").customer == "Quarry Ten"
    with pytest.raises(Conflict, match="is in the book"):
        shop.act("open order", number="w-2", customer="x", size="y")


def test_an_unknown_order_is_refused(shop):
    with pytest.raises(UnknownItem, match="no work order 'W-9'"):
        shop.act("take in", order="W-9")


def test_a_reserved_id_names_one_tire_once(shop):
    one, other = shop.act("reserve ids", tires=2).ids
    with pytest.raises(Nonsense, match="reserved"):
        shop.act("start fill", tire=one, line="line 1")
    shop.act("take in", customer="c", size="s", reserved=[one])
    with pytest.raises(Conflict, match="names a tire already"):
        shop.act("take in", customer="c", size="s", reserved=[one])
    with pytest.raises(Nonsense, match="named twice"):
        shop.act("take in", customer="c", size="s", reserved=[other, other])


def test_a_new_tire_stands_at_pressure_for_a_day_before_its_fill(shop):
    """24 h at operating pressure for a new tire: common practice."""
    shop.ready_line()
    tire = shop.tire()
    shop.act("inspect", tire=tire, casing="new")
    with pytest.raises(Stopped, match="was not stretched"):
        shop.act("start fill", tire=tire, line="line 1")
    stood = shop.now
    shop.act("stretch", tire=tire, pressure_psi=60)
    shop.now = stood + 86_400 - 1
    with pytest.raises(Stopped, match="23 h 59 min"):
        shop.act("start fill", tire=tire, line="line 1")
    shop.now = stood + 86_400
    shop.act("start fill", tire=tire, line="line 1")


def test_stretching_above_the_rating_is_stopped(shop):
    tire = shop.tire()
    with pytest.raises(Stopped, match="above the lowest rating"):
        shop.act("stretch", tire=tire, pressure_psi=90)


def test_hours_in_the_warm_before_a_fill_come_from_scans(shop):
    shop.ready_line()
    tire = shop.tire()
    shop.rack(tire)
    assert shop.state(tire) == "soaking"
    shop.wait(hours=20)
    shop.act("start fill", tire=tire, line="line 1")
    event = queries.event_words(shop.book, "BH", shop.head)
    assert event["body"]["soaked_s"] == 20 * 3600 + 60


def test_what_was_read_off_the_tire_is_searchable(shop):
    from fillbook.trace.book import items

    tire = shop.tire()
    shop.act("inspect", tire=tire, wheel_serial="WH-88 121", date_code="0125")
    assert [one["id"] for one in items.search(shop.book, "BH", "wh88121")] == [ids.pretty(tire)]
    with pytest.raises(Nonsense, match="No year had a week 54"):
        shop.act("inspect", tire=tire, date_code="5425")


def test_a_rating_nobody_can_read_holds_the_tire(shop):
    tire = shop.tire()
    shop.act("inspect", tire=tire, rating_from="not legible")
    with pytest.raises(Stopped, match="can't be read"):
        shop.act("start fill", tire=tire, line="line 1")


# -- materials -----------------------------------------------------------------------------------------------------------------
def test_transport_damage_holds_a_tote(shop):
    tote = shop.tote("A")
    shop.act("inspect tote", tote=tote, valve_good="yes", seal_good="no", why="torn")
    with pytest.raises(Stopped, match="seal"):
        shop.hook_up(tote)


def test_a_spent_desiccant_holds_side_a_only(shop):
    for side, held in (("A", True), ("B", False)):
        tote = shop.tote(side)
        shop.act("inspect tote", tote=tote, desiccant="spent")
        assert bool(on_hold.holds_on(shop.book, tote)) is held


def test_papers_are_kept_with_their_lot(shop):
    shop.tote("A", lot="Q-1")
    shop.act("attach", lot="Q-1", what="certificate", file=PDF)
    row = shop.book.one("SELECT * FROM attachment")
    kept = shop.book.value("SELECT bytes FROM blob WHERE digest = ?", row.digest)
    assert (row.lot, row.media, bytes(kept)) == ("Q-1", "application/pdf", b"%PDF-1.4 a certificate")
    for bad, words in (("???", "base64"), (base64.b64encode(b"MZ").decode(), "neither a PDF")):
        with pytest.raises(Nonsense, match=words):
            shop.act("attach", lot="Q-1", what="certificate", file=bad)
    shop.check()


def test_a_paper_put_to_the_wrong_lot_is_corrected_without_sending_it_again(shop):
    shop.tote("A", lot="Q-1")
    shop.tote("A", lot="Q-7")
    seq = shop.act("attach", lot="Q-7", what="certificate", file=PDF).seq
    before = shop.book.one("SELECT * FROM attachment")
    said = json.loads(shop.book.value("SELECT text FROM event WHERE seq = ?", seq))["body"]["said"]
    shop.correct(seq, lot="Q-1", what="certificate", file=said["file"])
    after = shop.book.one("SELECT * FROM attachment")
    assert (after.lot, after.digest, after.media) == ("Q-1", before.digest, "application/pdf")
    with pytest.raises(Nonsense, match="Send the file itself"):  # a digest alone is no paper
        shop.act("attach", lot="Q-1", what="certificate", file=said["file"])
    shop.check()


def test_a_liquid_retain_comes_straight_from_its_tote(shop):
    tote = shop.tote("A", 1000, lot="Q-2")
    retain = shop.act("take retain", tote=tote, weight_kg=1, shelf="S1", until="2027-01-01 00:00").ids[0]
    assert shop.state(retain) == "kept"
    account = {row["place"]: row["grams"] for row in recalls.recall(shop.book, "BH", "Q-2")["account"]}
    assert account == {"in totes": 999_000, "sample cups": 1_000, "unaccounted": 0}


def test_waste_and_weekly_run_are_recorded(shop):
    shop.ready_line()
    shop.act("empty waste", line="line 1", weight_kg=12, became="pieces")
    shop.act("run pump", line="line 2")
    shop.act("run pump", line="line 1", weight_kg=1)
    assert shop.book.value("SELECT grams FROM waste_out") == 12_000
    shop.check()


# -- deviations signed alone ---------------------------------------------------------------------------------------------------
def test_a_deviation_signed_alone_waits_for_a_second_person_before_dispatch(shop):
    shop.ready_line()
    tire = shop.fill()
    shop.rack(tire)
    shop.act("release", who="Lee", tire=tire, override="customer stands at the gate, cup is hard")
    with pytest.raises(Stopped, match="on hold"):
        shop.act("dispatch", tires=[tire])
    holds = {f"{h.seq}.{h.n}" for h in on_hold.holds_on(shop.book, tire)}
    with pytest.raises(NotAllowed, match="second person"):
        shop.act("lift", who="Lee", item=tire, hold=min(holds), why="it is fine")
    for hold in holds:
        shop.act("lift", who="Dana", item=tire, hold=hold, why="looked at the tire and the cup")
    shop.act("dispatch", tires=[tire])
    lee = next(row for row in habits.habits(shop.book, "BH") if row["name"] == "Lee")
    assert (lee["overrides"], lee["signed_alone"]) == (1, 1)


def test_a_deviation_two_people_sign_does_not_wait(shop):
    shop.ready_line()
    tire = shop.fill()
    shop.rack(tire)
    shop.act("release", who="Lee", signed_by="Dana", tire=tire, override="both looked")
    shop.act("dispatch", tires=[tire])
