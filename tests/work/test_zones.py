"""The zones: loggers' own files, what is doubtful, loggers hung and taken down, what may send, what later readings change."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from fillbook.trace.book import cures, later, loggers, queries, sheets, zones
from fillbook.trace.core import times
from fillbook.trace.core.errors import Nonsense, NotAllowed, Stopped
from fillbook.trace.work import sensors

HOUR = 3600
CHICAGO = ZoneInfo("America/Chicago")


@pytest.fixture
def shop(shop):
    """The shop with a tote on each side of line 1."""
    shop.ready_line()
    return shop


def own_file(start: int, hours: int, c: float = 24.0, unit: str = "°C", every: int = 5) -> str:
    """A logger's export as some of them write it: day first, semicolons, decimal commas, the shop's wall clock."""
    rows = []
    for n in range(hours * 60 // every + 1):
        wall = datetime.fromtimestamp(start + n * every * 60, CHICAGO)
        rows.append(f"{wall:%d.%m.%Y;%H:%M};{f'{c + n % 2 / 10:.1f}'.replace('.', ',')}")
    return f"Datum;Zeit;Temperatur ({unit})\n" + "\n".join(rows) + "\n"


def plain(samples) -> str:
    return "time,temp_c\n" + "".join(f"{times.utc_text(at)},{mc / 1000:.3f}\n" for at, mc in samples)


def clock(shop, tire, at=None):
    return cures.case(shop.book, tire, at or shop.now).cure


# -- a logger's own file -------------------------------------------------------------------------------------------------------
def test_a_new_loggers_file_is_shown_first_and_taken_once_confirmed(shop):
    shop.now = int(datetime(2025, 9, 15, 18, tzinfo=UTC).timestamp())
    start = shop.now - 10 * HOUR
    before = shop.fingerprint()
    with pytest.raises(Nonsense) as shown:
        shop.act("log temperatures", zone="warm room", csv=own_file(start, 10))
    assert shown.value.field == "read_as" and shop.fingerprint() == before
    assert 'day, month, year, because of "15.09.2025"' in str(shown.value)
    shop.act("log temperatures", zone="warm room", csv=own_file(start, 10), read_as=shown.value.expected)
    assert queries.samples(shop.book, shop.zone, "logger", start, shop.now)[0] == (start, 24_000)
    # the next file of the same logger needs no question; one with another heading does
    shop.wait(hours=10)
    shop.act("log temperatures", zone="warm room", csv=own_file(shop.now - 9 * HOUR, 9))
    shop.wait(hours=10)
    with pytest.raises(Nonsense, match="look again"):
        shop.act("log temperatures", zone="warm room", csv=own_file(shop.now - 9 * HOUR, 9, unit="°F", c=75))
    shop.check()


def test_the_same_file_twice_and_a_file_that_brings_nothing_new_are_refused(shop):
    shop.wait(days=2)
    shop.log(10)
    text, part = shop.csv(10, ending=shop.now - 60), shop.csv(4, ending=shop.now - 60 - HOUR)
    with pytest.raises(Nonsense, match="in the book already"):
        shop.act("log temperatures", zone="warm room", csv=text)
    with pytest.raises(Nonsense, match="Every reading of this file"):
        shop.act("log temperatures", zone="warm room", csv=part)


def test_overlaps_are_merged_out_of_order_is_taken_and_the_lower_counts(shop):
    shop.wait(days=2)
    base = shop.now - 10 * HOUR
    shop.act("log temperatures", zone="warm room", csv=plain([(base + 1200, 24_000), (base + 1500, 24_100)]))
    done = shop.act(
        "log temperatures",
        zone="warm room",
        csv=plain([(base + 1500, 23_000), (base, 24_000), (base + 900, 24_200)]),
    )
    assert [f["code"] for f in done.findings] == ["readings disagree"]
    assert queries.samples(shop.book, shop.zone, "logger", base, base + 1500) == [
        (base, 24_000), (base + 900, 24_200), (base + 1200, 24_000), (base + 1500, 23_000)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("reading_f", "asked"), [("44.9", True), ("45", False), ("113", False), ("113.1", True)]
)
def test_a_hand_reading_no_zone_has_is_asked_about(shop, reading_f, asked):
    """45 °F is 7.222 °C and 113 °F is 45 °C (NIST SP 811)."""
    if asked:
        with pytest.raises(Nonsense, match="is the unit right"):
            shop.act("read temperature", zone="warm room", reading_f=reading_f)
    shop.act("read temperature", zone="warm room", reading_f=reading_f, unit_sure=asked)


# -- doubts --------------------------------------------------------------------------------------------------------------------
def spiked(shop, tire_hours: int = 10):
    """A tire that lay in a cool room whose logger jumped up once; the event of the file."""
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    shop.wait(hours=tire_hours)
    samples = [(start + n * 300, 40_000 if n == 60 else 20_000 + n % 2 * 100) for n in range(tire_hours * 12)]
    done = shop.act("log temperatures", zone="warm room", csv=plain(samples))
    return tire, done


def test_a_spike_is_noted_earns_nothing_and_shows_as_unobserved_until_trusted(shop):
    tire, done = spiked(shop)
    assert [f["code"] for f in done.findings] == ["doubtful samples"]
    clean = clock(shop, tire)
    assert clean.credited_s == 0 and clean.unobserved_s >= 600
    shop.lead("trust samples", event=done.seq, why="the door heater blew at it; read by hand too")
    trusted = clock(shop, tire, clean.now)
    assert trusted.credited_s > 0 and trusted.unobserved_s == clean.unobserved_s - 600
    with pytest.raises(Nonsense, match="in doubt"):
        shop.lead("trust samples", event=done.seq, why="once again")
    shop.check()


def test_a_stuck_sensor_is_found_across_daily_files(shop):
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    codes = []
    for day in range(2):
        shop.wait(hours=20)
        first = start + day * 20 * HOUR
        done = shop.act(
            "log temperatures",
            zone="warm room",
            csv=plain([(first + n * 300, 25_000) for n in range(20 * 12)]),
        )
        codes.append([f["code"] for f in done.findings])
    assert codes == [[], ["doubtful samples"]]
    assert clock(shop, tire).credited_s == 0


def test_hand_readings_may_vouch_while_a_sensor_is_in_doubt(shop):
    shop.lead("set limit", limit="flat_after", to="1 h", source="owner")
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    shop.wait(hours=10)
    shop.act(
        "log temperatures", zone="warm room", csv=plain([(start + n * 300, 25_000) for n in range(1, 118)])
    )
    shop.act("read temperature", zone="warm room", reading_f=75, at=start)
    shop.act("read temperature", zone="warm room", reading_f=75, at=start + 10 * HOUR)
    found = clock(shop, tire)
    assert found.credited_s == 0 and found.attended_s == 10 * HOUR - (found.credit_from - start)


# -- loggers hung and taken down -----------------------------------------------------------------------------------------------
def test_a_replaced_logger_leaves_only_the_gap_between_the_two(shop):
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    swap = start + 10 * HOUR
    shop.wait(hours=20)
    shop.act(
        "log temperatures",
        zone="warm room",
        sensor="old",
        csv=plain([(at, 24_000 + at // 300 % 2 * 100) for at in range(start, swap, 300)]),
    )
    shop.lead("take down sensor", zone="warm room", sensor="old", at=swap)
    shop.lead("hang sensor", zone="warm room", sensor="new", at=swap)
    shop.act(
        "log temperatures",
        zone="warm room",
        sensor="new",
        csv=plain([(at, 24_000 + at // 300 % 2 * 100) for at in range(swap + 60, shop.now, 300)]),
    )
    found = clock(shop, tire)
    assert found.unobserved_s <= 300 + 60 + 300 + 300  # to the swap, to the first sample, since the last
    assert found.credited_s >= found.now - found.credit_from - 960
    shop.check()


def test_a_second_logger_does_not_unobserve_the_time_before_its_first_sample(shop):
    tire = shop.fill()
    shop.rack(tire)
    shop.wait(hours=10)
    shop.log(10)
    alone = clock(shop, tire, shop.now - 60)
    shop.act("log temperatures", zone="warm room", sensor="second", csv=shop.csv(1))
    assert clock(shop, tire, alone.now).unobserved_s == alone.unobserved_s


def test_an_offset_and_a_tolerance_of_its_own_are_taken(shop):
    """22.222 °C is the limit: 23 °C less 0.8 K tolerance is below it, and with 0.1 K offset above."""
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    shop.lead("hang sensor", zone="warm room", sensor="logger", tolerance_dc="0.8", at=start - 120)
    shop.wait(hours=5)
    shop.act(
        "log temperatures", zone="warm room", csv=plain([(at, 23_000) for at in range(start, shop.now, 300)])
    )
    assert clock(shop, tire).credited_s == 0
    shop.lead(
        "hang sensor", zone="warm room", sensor="logger", tolerance_dc="0.8", offset_dc="0.1", at=start - 60
    )
    assert clock(shop, tire).credited_s > HOUR


@pytest.mark.parametrize(("gap_min", "credited"), [(20, True), (19, False)])
def test_a_sensors_own_gap_counts_to_the_second(shop, gap_min, credited):
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    shop.lead("hang sensor", zone="warm room", sensor="logger", gap_min=gap_min, at=start - 120)
    shop.wait(hours=6)
    shop.act(
        "log temperatures", zone="warm room", csv=plain([(at, 24_000) for at in range(start, shop.now, 1200)])
    )
    assert (clock(shop, tire).credited_s > 0) == credited


def test_a_logger_hung_elsewhere_no_longer_counts_where_it_was(shop):
    shop.wait(days=1)
    shop.lead("hang sensor", zone="warm room", sensor="T-4", at=shop.now - 10 * HOUR)
    shop.lead("hang sensor", zone="back rack", sensor="T-4", at=shop.now - 5 * HOUR)
    by_zone = {
        z["item"]: [(h.since, h.until) for h in loggers.hung(shop.book, z)]
        for z in queries.zones(shop.book, "BH")
    }
    assert by_zone[shop.zone][0][1] == by_zone[shop.zone_2][0][0] and by_zone[shop.zone_2][0][1] is None


def test_a_logger_that_does_not_hang_there_is_not_taken_down(shop):
    with pytest.raises(Nonsense, match="Those that hang there: none"):
        shop.lead("take down sensor", zone="warm room", sensor="T-4")


# -- tokens --------------------------------------------------------------------------------------------------------------------
def test_a_logger_sends_with_its_token_and_the_token_is_kept_nowhere(shop):
    token, kept = sensors.new_token()
    shop.lead("let sensor send", zone="warm room", sensor="T-4", token_hash=kept)
    shop.wait(hours=3)
    content = shop.csv(2).encode()
    done = sensors.send(shop.book, token, content, now=shop.now)
    assert sensors.send(shop.book, token, content, now=shop.now).repeated and not done.repeated
    assert shop.book.value("SELECT sensor FROM sample_block WHERE seq = ?", done.seq) == "T-4"
    assert not any(token in text for (text,) in shop.book.tuples("SELECT text FROM event"))
    shop.lead("let sensor send", zone="warm room", sensor="T-4", stop=True)
    for wrong in (token, "", "x" * 300, kept):
        with pytest.raises(NotAllowed, match="lets no logger send"):
            sensors.send(shop.book, wrong, content, now=shop.now)


# -- later readings ------------------------------------------------------------------------------------------------------------
def released(shop):
    tire = shop.cured()
    shop.lead("release", tire=tire)
    return tire


def test_later_readings_that_would_have_changed_a_release_raise_an_alert_and_change_nothing(shop):
    tire = released(shop)
    frozen = shop.book.rows("SELECT * FROM released")
    assert later.alerts(shop.book, "BH") == []
    start = queries.fill(shop.book, tire).at
    # a second file of the same hours says it was colder: the lower counts
    shop.act(
        "log temperatures",
        zone="warm room",
        csv=plain(
            [
                (at, 20_000 + at // 300 % 2 * 100)
                for at in range(start + 10 * HOUR - start % 300, start + 40 * HOUR, 300)
            ]
        ),
    )
    (alert,) = later.alerts(shop.book, "BH")
    assert alert.item == tire and not alert.stands and alert.now_s < alert.signed_s
    assert "would not have been released" in alert.words
    assert shop.book.rows("SELECT * FROM released") == frozen
    shop.lead("settle", tire=tire, why="called back, hardness measured")
    assert later.alerts(shop.book, "BH") == []
    with pytest.raises(Nonsense, match="nothing to settle"):
        shop.lead("settle", tire=tire, why="once again")
    shop.check()


def test_later_readings_that_bear_a_release_out_raise_none(shop):
    released(shop)
    shop.wait(hours=5)
    shop.log(12)
    assert later.alerts(shop.book, "BH") == []


def test_a_corrected_file_that_takes_hours_away_raises_an_alert(shop):
    tire = released(shop)
    event = shop.book.value("SELECT max(seq) FROM sample_block")
    shop.correct(event, void=True)
    (alert,) = later.alerts(shop.book, "BH")
    assert (alert.item, alert.now_s, alert.stands) == (tire, 0, False)


def test_a_cup_that_fails_after_the_release_raises_an_alert(shop):
    cup = shop.act("pour cup", line="line 1").ids[0]
    tire = released(shop)
    shop.act("read cup", cup=cup, is_set=False)
    (alert,) = later.alerts(shop.book, "BH")
    assert alert.item == tire and "failed later" in alert.words


# -- releasing several, cups ---------------------------------------------------------------------------------------------------
def test_several_tires_are_released_with_one_signature(shop):
    tires = [shop.fill(kg=50), shop.fill(kg=50)]
    shop.rack(*tires)
    shop.wait(hours=56)
    shop.log(57)
    done = shop.lead("release", tires=tires)
    assert [shop.state(tire) for tire in tires] == ["released", "released"]
    assert {row.seq for tire in tires for row in queries.releases(shop.book, tire)} == {done.seq}
    shop.check()


def test_one_that_is_not_cured_keeps_the_others_back_even_with_an_override(shop):
    good = shop.cured()
    young = shop.fill()
    shop.rack(young)
    for override in (None, "in a hurry"):
        with pytest.raises(Stopped, match="1 of these 2 tires"):
            shop.lead("release", tires=[good, young], override=override)
    assert shop.state(good) == "racked"


@pytest.mark.parametrize(
    ("scale", "values", "passed"),
    [("A", [45] * 5, True), ("A", [44] * 5, False), ("00", [60] * 5, True), ("00", [59] * 5, False)],
)
def test_a_cup_is_held_to_the_least_hardness_of_its_own_scale(shop, scale, values, passed):
    shop.lead("set limit", limit="hardness_least", to="45", source="data sheet")
    shop.lead("set limit", limit="hardness_least_00", to="60", source="data sheet")
    cup = shop.act("pour cup", line="line 1").ids[0]
    shop.act(
        "read cup", cup=cup, is_set=True, hardness=values, scale=scale, dwell_s=1, cup_c=23, thickness_mm=8
    )
    read = queries.cup_verdict(shop.book, cup, shop.now)
    assert bool(read.passed) == passed and (read.scale, read.thickness_dmm, read.cup_mc) == (
        scale,
        80,
        23_000,
    )


@pytest.mark.parametrize(
    ("how", "words"),
    [({"thickness_mm": "5.9"}, "under 6 mm"), ({"thickness_mm": 6}, None), ({"cup_c": "20.9"}, "23 ± 2"), ({"cup_c": 21}, None), ({"dwell_s": 4}, "after contact"),
     ({"hardness": [45] * 4}, "at least five")],
)  # fmt: skip
def test_readings_that_do_not_compare_are_noted_and_fail_no_cup(shop, how, words):
    """ISO 48-4 and ASTM D2240 as retrieved summaries give them: five readings, 6 mm, 23 ± 2 °C, about a second."""
    cup = shop.act("pour cup", line="line 1").ids[0]
    done = shop.act("read cup", cup=cup, is_set=True, **({"hardness": [45] * 5} | how))
    assert queries.cup_verdict(shop.book, cup, shop.now).passed
    assert [words in f["words"] for f in done.findings] == ([True] if words else [])


# -- what the pages show -------------------------------------------------------------------------------------------------------
def test_a_zones_history_shows_limit_gaps_and_who_lay_there(shop):
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    shop.wait(hours=10)
    shop.act(
        "log temperatures",
        zone="warm room",
        csv=plain(
            [(at, 24_000) for at in [*range(start, start + 7200, 300), *range(start + 14_400, shop.now, 300)]]
        ),
    )
    seen = zones.history(shop.book, "BH", shop.zone, start - HOUR, shop.now)
    assert seen["limit_mc"] == 22_222 and [t["item"] for t in seen["tires"]] == [tire]
    assert seen["gaps"][:2] == [(start - HOUR, start), (start + 6900, start + 14_400)]
    assert {low for one in seen["loggers"] for _, low, _ in one["points"]} == {24_000}


def test_a_long_history_is_thinned_and_keeps_its_extremes(shop):
    shop.wait(days=30)
    end = shop.now - 60
    samples = [(end - n * 300, 18_000 if n == 4_000 else 24_000 + n % 2 * 100) for n in range(8_000)]
    shop.lead("set limit", limit="spike_step", to="10 dc", source="test")
    shop.act("log temperatures", zone="warm room", csv=plain(samples))
    points = zones.history(shop.book, "BH", shop.zone, end - 8_000 * 300, end)["loggers"][0]["points"]
    assert len(points) <= zones.POINTS + 1 and min(low for _, low, _ in points) == 18_000


def test_the_racks_and_several_verdicts_are_plain_values(shop):
    tire = shop.cured()
    (row,) = zones.rack_rows(shop.book, "BH", shop.now)
    empty = shop.tire()
    one, other = zones.verdicts(shop.book, "BH", [tire, empty], shop.now)
    assert row["ok"] and row["item"] == tire and one["verdict"] == row["verdict"] == "Cured"
    assert other["verdict"] == "Look again"


@pytest.mark.parametrize(
    ("day", "hour", "warned"), [(5, 10, True), (5, 18, False), (4, 16, False), (4, 17, True)]
)
def test_the_heating_warning_comes_within_the_day_before(shop, day, hour, warned):
    """1 September 2025 is a Monday."""
    shop.now = int(datetime(2025, 9, day, hour, tzinfo=CHICAGO).timestamp())
    tire = shop.fill()
    shop.rack(tire)
    shop.now = int(datetime(2025, 9, day, hour, tzinfo=CHICAGO).timestamp()) + 1200
    friday = zones.heating_warning(shop.book, "BH", shop.now)
    assert (friday is not None) == warned
    if friday:
        assert (
            friday.off_at == int(datetime(2025, 9, 5, 17, tzinfo=CHICAGO).timestamp())
            and friday.tires[0][0] == tire
        )


def test_no_heating_warning_for_tires_that_are_ready_in_time(shop):
    tire = shop.fill()
    shop.rack(tire)
    shop.wait(hours=40)
    shop.log(41)
    ready = clock(shop, tire).ready_standard_at
    assert zones.heating_warning(shop.book, "BH", shop.now, off_at=ready) is None
    warning = zones.heating_warning(shop.book, "BH", shop.now, off_at=ready - 1)
    assert warning and warning.tires == ((tire, shop.zone, ready),)


def test_the_morning_list_says_what_each_zone_needs(shop):
    tire = shop.cured()
    morning = sheets.morning_list(shop.book, "BH", shop.now)
    assert [(name, len(rows)) for name, rows in morning.zones] == [("warm room", 1)]
    assert morning.zones[0][1][0][0].replace("-", "") == tire


# -- equivalent hours, and how warm a tote was kept ---------------------------------------------------------------------------------
def test_equivalent_hours_stand_beside_the_credited_ones_where_an_activation_energy_is_set(shop):
    tire = shop.cured()
    assert clock(shop, tire).equivalent_s is None
    shop.lead("set limit", limit="activation_energy", to="41572 J/mol", source="data sheet")
    case = cures.case(shop.book, tire, shop.now)
    assert case.cure.equivalent_s > case.cure.credited_s  # 75 °F is above the limit of 72 °F
    assert next(f.words for f in case.decision.findings if f.code == "equivalent").endswith("never counted.")
    assert case.decision.ok


def test_a_totes_storage_has_its_mean_kinetic_temperature(shop):
    """Haynes 1971, USP <1079.2>, from memory 10 000 K: equal times at 20 and 30 °C come to 26.259887 °C (thermal.json, RECOMPUTED)."""
    tote = shop.tote()
    assert zones.storage(shop.book, tote, shop.now) is None
    shop.act("store", zone="warm room", totes=[tote])
    start = shop.now - 60
    shop.wait(hours=20)
    half = start + 10 * HOUR
    shop.act(
        "log temperatures",
        zone="warm room",
        csv=plain([(at, 20_000 if at < half else 30_000) for at in range(start, start + 20 * HOUR + 1, 60)]),
    )
    kept = zones.storage(shop.book, tote, start + 20 * HOUR)
    assert kept["mean_kinetic_mc"] == pytest.approx(26_260, abs=6)
    assert (kept["lowest_mc"], kept["highest_mc"], kept["unobserved_s"]) == (20_000, 30_000, 0)
    shop.check()


@pytest.mark.parametrize("again", [True, False])
def test_only_a_tote_that_stands_free_is_stored(shop, again):
    tote = shop.tote()
    shop.act("store", zone="warm room", totes=[tote]) if again else shop.hook_up(tote, change="changed early")
    with pytest.raises(Nonsense, match="already" if again else "hooked up"):
        shop.act("store", zone="warm room", totes=[tote])


def test_a_cold_hand_reading_entered_late_raises_an_alert_and_a_warm_one_does_not(shop):
    """Attended time: readings 12 h apart vouch; one cold in between voids both spans around it."""
    tire = shop.fill()
    shop.rack(tire)
    start = shop.now
    for n in range(7):
        shop.now = start + n * 10 * HOUR
        shop.act("read temperature", zone="warm room", reading_f=75)
    shop.lead("release", tire=tire)
    shop.act("read temperature", zone="warm room", reading_f=75, at=start + 15 * HOUR)
    assert later.alerts(shop.book, "BH") == []
    shop.act("read temperature", zone="warm room", reading_f=60, at=start + 25 * HOUR)
    (alert,) = later.alerts(shop.book, "BH")
    assert alert.item == tire and alert.signed_s - alert.now_s == 10 * HOUR


def test_a_file_that_only_adds_to_its_loggers_end_is_not_looked_at_again(shop):
    released(shop)
    shop.wait(hours=5)
    shop.log(5)
    assert [row[0] for row in shop.book.tuples("SELECT late FROM sample_block ORDER BY seq")] == [1, 0]


@pytest.mark.parametrize(
    ("cup_f", "said_f", "hours", "cold"),
    [(64, None, 0, True), (65, None, 0, False), (64, 70, 0, False), (64, None, 13, False)],
)
def test_the_mix_is_as_warm_as_it_was_at_the_cup_unless_it_was_read_at_the_fill(
    shop, cup_f, said_f, hours, cold
):
    """Below 65 °F (18.333 °C) a fill starts cold."""
    shop.act("pour cup", line="line 1", mix_f=cup_f)
    shop.wait(hours=hours)
    tire = shop.fill(start={"mix_f": said_f} if said_f else None)
    assert bool(queries.fill(shop.book, tire).cold) == cold
    found = clock(shop, tire)
    assert (
        found.needed_standard_s == (48 + (16 if cold else 0)) * HOUR
        and (found.needed_earliest_s is None) == cold
    )


def test_who_lay_there_is_told_for_any_stretch_as_from_each_tires_stays(shop):
    begun, tires = shop.now, [shop.fill(kg=10) for _ in range(4)]
    for hours, zone, laid in (
        (1, "warm room", tires[:3]),
        (5, "back rack", tires[:2]),
        (9, "warm room", tires[1:2]),
        (12, "back rack", tires[3:]),
    ):
        shop.wait(hours=hours)
        shop.rack(*laid, zone=zone)
    for start in range(begun, shop.now + 7200, 5400):
        for end in (start + 60, start + 6 * 3600, shop.now):
            for zone in (shop.zone, shop.zone_2):
                told = [
                    (one["item"], one["from"], one["until"])
                    for one in zones.lay_there(shop.book, zone, start, end)
                ]
                stays = [
                    (tire, *stay[1:])
                    for tire in tires
                    for stay in queries.stays(shop.book, tire)
                    if stay[0] == zone
                ]
                assert sorted(told) == sorted(
                    one for one in stays if one[1] <= end and (one[2] is None or one[2] >= start)
                )
