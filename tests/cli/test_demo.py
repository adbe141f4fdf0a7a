"""The demo: a whole shop through the verbs, its papers, and its recall held against what truly happened."""

import copy
import csv
import io
import json
import subprocess
import sys
from types import SimpleNamespace

import pypdfium2
import pytest
from click.testing import CliRunner

from fillbook.fixtures import names
from fillbook.labels import proof
from fillbook.trace.book import chain, cures, queries, recalls, returned
from fillbook.trace.book.opening import create, open_book
from fillbook.trace.book.replay import check_replay
from fillbook.trace.cli import demo
from fillbook.trace.cli.commands import cli
from fillbook.trace.cli.comparing import compare
from fillbook.trace.core import ids, times
from fillbook.trace.work import acting

UNTIL = "2025-11-26 06:00"  # a Wednesday


def run(*words):
    return CliRunner().invoke(cli, ["demo", *map(str, words)], catch_exceptions=False)


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    """Three weeks of it, made by the command."""
    place = tmp_path_factory.mktemp("demo")
    path, out = place / "demo.db", place / "papers"
    said = run("--book", path, "--out", out, "--weeks", 3, "--until", UNTIL, "--no-serve")
    assert said.exit_code == 0, said.output
    book = open_book(str(path))
    truth = json.loads((out / "truth.json").read_text())
    yield SimpleNamespace(path=path, out=out, said=said.output, book=book, truth=truth)
    book.db.close()


def recall_of(made, **how):
    return recalls.recall(made.book, names.SITE, made.truth["bad_lot"], **how)


# -- the recall against the truth --------------------------------------------------------------------------------------------------
def test_ten_weeks_are_recalled_without_missing_a_tire_and_replay(tmp_path):
    until = times.parse(UNTIL, names.TIMEZONE).at
    book = create(str(tmp_path / "whole.db"))
    truth = demo.build(book, until, 10, 417)
    found = compare(recalls.recall(book, names.SITE, truth["bad_lot"], with_traces=True), truth)
    listed = {tier: tires for tier, tires, *_ in found.rows}
    assert (found.missed, found.wrongly_certain, found.outside) == ((), (), ())
    assert found.to_be_listed > 40 and listed["certain"] > 20 and listed["through regrind"] > 5
    assert len(truth["tires"]) > 350
    assert check_replay(book) is None
    book.db.close()


@pytest.mark.parametrize(
    ("until", "seed"), [("2026-11-23 06:00", 417), ("2026-11-24 06:00", 417), ("2026-11-30 06:00", 3)]
)
def test_another_mornings_story_comes_to_its_end_and_is_recalled_whole(until, seed):
    """A fill that is noted for something before it is held for another thing; a listed tire that waits to be ground."""
    book = create(":memory:")
    truth = demo.build(book, times.parse(until, names.TIMEZONE).at, 10, seed)
    found = compare(recalls.recall(book, names.SITE, truth["bad_lot"], with_traces=True), truth)
    assert (found.missed, found.wrongly_certain, found.outside) == ((), (), ()) and found.to_be_listed > 40
    book.db.close()


def test_the_short_one_prints_both_and_agrees(short):
    assert "Missed: 0." in short.said and "Called certain without holding any: 0." in short.said
    assert f"of {len(short.truth['tires'])} tires." in short.said
    assert short.path.exists() and not list(short.path.parent.glob("*.unfinished*"))
    assert "\r" not in short.said  # a progress line belongs on a terminal


def test_every_lot_agrees_not_just_the_bad_one(short):
    for lot in set(short.truth["totes"].values()):
        truth = short.truth | {"bad_lot": lot}
        found = compare(recalls.recall(short.book, names.SITE, lot, with_traces=True), truth)
        assert found.clean, (lot, found.words())


def test_a_tire_the_recall_leaves_out_is_missed(short):
    truth, found = copy.deepcopy(short.truth), recall_of(short, with_traces=True)
    named = {ids.read(one["id"]) for one in found["items"]}
    left_out = next(tire for tire in truth["tires"] if tire not in named)
    truth["tires"][left_out]["straight"][truth["bad_lot"]] = 5_000.0
    truth["tires"][left_out]["made_of"][truth["bad_lot"]] = 5_000.0
    told = compare(found, truth)
    assert told.missed == (left_out,) and told.outside == (left_out,) and not told.clean
    assert ids.pretty(left_out) in "\n".join(told.words())


def test_a_certain_tire_without_the_lot_is_seen(short):
    truth, found = copy.deepcopy(short.truth), recall_of(short, with_traces=True)
    certain = next(ids.read(one["id"]) for one in found["items"] if one["tier"] == "certain")
    del truth["tires"][certain]["straight"][truth["bad_lot"]]
    assert compare(found, truth).wrongly_certain == (certain,)


def test_a_recall_of_another_lot_would_fail_the_comparison(short):
    other = next(lot for lot in short.truth["totes"].values() if lot != short.truth["bad_lot"])
    found = recalls.recall(short.book, names.SITE, other, with_traces=True)
    assert not compare(found, short.truth).clean


def test_what_the_book_was_told_is_what_the_story_meant(short):
    """The truth is of these very fills: the same tires, the same weights to the grams lost in splitting them."""
    told = dict(short.book.tuples("SELECT item, grams FROM fill"))
    truly = {tire: sum(of["made_of"].values()) for tire, of in short.truth["tires"].items()}
    assert told.keys() == truly.keys()
    assert all(abs(told[tire] - truly[tire]) < 1 for tire in told)


# -- the truth is its own ----------------------------------------------------------------------------------------------------------
def test_the_story_and_its_truth_are_written_without_fillbooks_reckoning():
    seen = (
        "import sys, fillbook.fixtures.story; print(*(m for m in sys.modules if m.startswith('fillbook.')))"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", seen], capture_output=True, text=True, check=True
    ).stdout.split()
    assert "fillbook.fixtures.material" in loaded
    assert [name for name in loaded if name.startswith("fillbook.trace")] == []


def test_the_same_seed_writes_the_same_journal_and_another_does_not():
    heads = []
    for seed in (7, 7, 8):
        book = create(":memory:")
        truth = demo.build(book, times.parse(UNTIL, names.TIMEZONE).at, 3, seed)
        heads.append((chain.position(book, names.SITE).hash, json.dumps(truth)))
        book.db.close()
    assert heads[0] == heads[1] != heads[2]


@pytest.mark.parametrize("until", ["2025-08-03 12:00", "2026-03-09 14:10", "2025-12-01 06:00"])
def test_any_end_will_do(until):
    """A Sunday; an afternoon in the middle of fills just after the clocks went forward; a Monday after a long weekend."""
    book = create(":memory:")
    truth = demo.build(book, times.parse(until, names.TIMEZONE).at, 3, 5)
    assert compare(recalls.recall(book, names.SITE, truth["bad_lot"], with_traces=True), truth).clean
    book.db.close()


# -- what happened is in the book --------------------------------------------------------------------------------------------------
def test_the_story_is_in_the_journal(short):
    kinds = dict(short.book.tuples("SELECT kind, count(*) FROM event GROUP BY kind"))
    every = set(acting.registry.everything())
    seldom = {
        "lift",
        "hold",
        "correct",
        "identify",
        "open recall",
        "scrap",
        "unhook",
        "clean",
        "grind",
        "reclaim",
        "return",
    }
    assert seldom <= set(kinds) <= every
    assert len(queries.zones(short.book, names.SITE)) == 4 and len(queries.lines(short.book, names.SITE)) == 2
    assert kinds["finish fill"] > kinds["start fill"]  # those written on paper were entered late
    late = short.book.value(
        "SELECT count(*) FROM event WHERE kind = 'finish fill' AND text LIKE '%typed_at%'"
    )
    assert late == kinds["finish fill"] - kinds["start fill"]
    assert short.book.value("SELECT count(*) FROM line_act WHERE ran_dry = 1") == 1
    assert short.book.value("SELECT count(*) FROM released WHERE overridden = 1") == 1
    suppliers = {lot.supplier for lot in queries.lots(short.book, names.SITE)}
    assert {names.RX.supplier, names.KL.supplier} <= suppliers


def test_events_are_written_in_the_order_of_the_clock(short):
    written = [event.recorded_at for event in chain.events(short.book, names.SITE)]
    assert written == sorted(written)


def test_the_regrind_holds_regrind(short):
    made = {
        code: set(dict(short.book.tuples("SELECT source, 1 FROM ingredient WHERE batch = ?", code)))
        for code in short.truth["batches"]
    }
    from_fills = [code for code, sources in made.items() if any(s and ids.kind_of(s) == "F" for s in sources)]
    again = [
        code
        for code in from_fills
        if short.book.value("SELECT 1 FROM line_act WHERE item = ? AND what = 'load'", code)
    ]
    assert from_fills and again


def test_soft_tires_come_back_and_are_soft(short):
    back = [
        row["item"]
        for row in queries.returns(short.book, names.SITE)
        if row["item"] and "fill sound" not in row.complaint
    ]
    assert len(back) >= 5
    assert all(short.truth["tires"][tire]["soft"] for tire in back)
    assert len(returned.unidentified(short.book, names.SITE)) == 1  # one waits for whoever opens the book


def test_over_the_cold_weekend_nothing_cures(short):
    coldest = short.book.one("SELECT at, mc FROM sample ORDER BY mc LIMIT 1")
    assert coldest.mc < 16_000  # below 61 °F, when the heating was down
    hours_below = [
        cures.case(short.book, row["item"], row.at).cure.below_s / 3600
        for row in short.book.rows("SELECT f.item, r.at FROM fill f JOIN released r ON r.item = f.item WHERE f.at < ? AND r.at > ?",
                                   coldest.at, coldest.at)
    ]  # fmt: skip
    assert hours_below and min(hours_below) > 24
    warm = short.book.value(
        "SELECT count(*) FROM released WHERE at BETWEEN ? AND ?", coldest.at - 40 * 3600, coldest.at + 3600
    )
    assert warm == 0


# -- papers ------------------------------------------------------------------------------------------------------------------------
def test_the_last_trucks_labels_read_back(short):
    truck = demo._last_truck(short.book, names.SITE)
    pages = proof.read_back((short.out / "labels.pdf").read_bytes())
    assert len(pages) == len(truck) >= 4
    assert all(any(code in text for text in page) for code, page in zip(truck, pages, strict=True))
    assert {queries.tote(short.book, code).side for code in truck} == {"A", "B"}


def test_the_release_sheet_names_every_racked_tire(short):
    text = "".join(
        page.get_textpage().get_text_range()
        for page in pypdfium2.PdfDocument(short.out / "release-sheet.pdf")
    )
    racked = [ids.pretty(row["item"]) for row in queries.in_state(short.book, names.SITE, "racked")]
    assert racked and all(code in text for code in racked)


def test_the_recalls_files_say_the_same(short):
    found = json.loads((short.out / "recall.json").read_text())
    assert found == json.loads(json.dumps(recall_of(short)))
    rows = list(csv.DictReader(io.StringIO((short.out / "recall.csv").read_text())))
    assert tuple(rows[0]) == recalls.CSV_COLUMNS
    assert [(row["id"], row["tier"]) for row in rows] == [(one["id"], one["tier"]) for one in found["items"]]
    assert [round(float(row["best_kg"]) * 1000) for row in rows] == [
        one["grams"]["best"] for one in found["items"]
    ]
    assert all(row["customer"] for row in rows) and any("wheel W" in row["serials"] for row in rows)


def test_no_text_becomes_a_formula_in_a_spreadsheet(shop):
    shop.tote("B", lot="B-1")
    shop.hook_up(shop.tote("A"))
    shop.hook_up(queries.lot_totes(shop.book, "BH", "Northvale", "B-1")[0]["item"])
    tire = shop.tire(customer="=HYPERLINK(1)")
    shop.fill(tire)
    text = recalls.recall_csv(recalls.recall(shop.book, "BH", "B-1"), shop.book)
    assert next(csv.DictReader(io.StringIO(text)))["customer"] == "'=HYPERLINK(1)"


# -- the file ----------------------------------------------------------------------------------------------------------------------
def test_made_again_it_is_used_as_it_is(short):
    before = chain.position(short.book, names.SITE)
    said = run("--book", short.path, "--out", short.out, "--no-serve")
    assert said.exit_code == 0 and "used as it is" in said.output and "Missed: 0." in said.output
    assert chain.position(short.book, names.SITE) == before


def test_without_its_truth_it_says_so(short, tmp_path):
    said = run("--book", short.path, "--out", tmp_path / "elsewhere", "--no-serve")
    assert said.exit_code == 0 and "can't be held against it" in said.output


def test_another_books_truth_is_not_taken_for_this_ones(short, tmp_path):
    out = tmp_path / "papers"
    out.mkdir()
    other = short.truth | {"head": {"seq": short.truth["head"]["seq"], "hash": "0" * 64}}
    (out / "truth.json").write_text(json.dumps(other))
    assert "can't be held against it" in run("--book", short.path, "--out", out, "--no-serve").output


def test_fresh_keeps_the_earlier_one(tmp_path):
    path, out = tmp_path / "demo.db", tmp_path / "papers"
    book = create(str(path))  # a demo in which somebody has worked: its first events are enough to know it by
    demo.BookHands(book).do(
        "set up shop",
        1_760_000_000,
        names.OWNER,
        {"site": names.SITE, "name": names.SHOP, "owner": names.OWNER},
    )
    head = chain.position(book, names.SITE)
    book.db.close()
    said = run("--book", path, "--out", out, "--weeks", 3, "--until", UNTIL, "--no-serve", "--fresh")
    assert said.exit_code == 0, said.output
    kept = open_book(str(path) + ".old-1")
    assert chain.position(kept, names.SITE) == head
    kept.db.close()


@pytest.mark.parametrize("more", [(), ("--fresh",)])
def test_somebodys_own_book_stays_as_it_is(tmp_path, more):
    path = tmp_path / "ours.db"
    book = create(str(path))
    acting.act(
        book,
        acting.Action("set up shop", {"site": "QZ", "name": "Ours", "owner": "Pat"}, who="Pat"),
        now=1_760_000_000,
    )
    book.db.close()
    before = path.read_bytes()
    said = run("--book", path, "--out", tmp_path / "papers", "--no-serve", *more)
    assert said.exit_code == 1
    assert "is a book of its own (Ours) and stays as it is" in said.output
    assert path.read_bytes() == before and not (tmp_path / "papers").exists()


def test_what_is_half_made_is_taken_away(tmp_path, monkeypatch):
    def fails(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(demo, "build", fails)
    said = run("--book", tmp_path / "demo.db", "--out", tmp_path / "papers", "--no-serve")
    assert said.exit_code != 0
    assert list(tmp_path.glob("demo.db*")) == []


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--book", "postgresql://somewhere/demo"], "The demo's book is a file"),
        (["--book", "."], "is a folder"),
        (["--book", "d.db", "--weeks", "2"], "--weeks is a whole number from 3 to 26, not '2'"),
        (["--book", "d.db", "--seed", "x"], "--seed is a whole number"),
        (["--book", "d.db", "--until", "tomorrow"], "is not a time that can be read"),
        (["--book", "d.db", "--until", "2150-01-01 06:00"], "ahead of this computer's clock"),
    ],
)
def test_what_can_not_be_is_said_in_words(tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    said = run("--out", "papers", "--no-serve", *words)
    assert said.exit_code == 1 and says in said.output
