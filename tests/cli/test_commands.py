"""The command line: what it answers, how it ends, and that it says the same as the verbs and the book behind it."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from fillbook import __version__
from fillbook.trace.book import chain, on_hold, queries
from fillbook.trace.book.opening import open_book
from fillbook.trace.cli import commands
from fillbook.trace.cli.commands import COMMANDS, VERBS, cli
from fillbook.trace.cli.words import COMMAND_WORDS, VERB_WORDS
from fillbook.trace.core import ids
from fillbook.trace.work import registry

ROOT = Path(__file__).resolve().parents[2]


def run(*words, env=None, **how):
    return CliRunner(env={"FILLBOOK_BOOK": None, "FILLBOOK_WHO": None, "FILLBOOK_SHOP": None, **(env or {})}).invoke(
        cli, [str(word) for word in words], **how
    )  # fmt: skip


def answer(*words, **how):
    """What a command says in JSON."""
    done = run(*words, "--json", **how)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def lines(*actions) -> str:
    return "".join(json.dumps({"who": "Sam", **action}) + "\n" for action in actions)


@pytest.fixture(scope="module")
def _told(the_shop, tmp_path_factory):
    """A shop with a lot that went into a tire, one that lies on a rack, regrind of it, and a recall to ask for."""
    shop = the_shop.Shop.start(str(tmp_path_factory.mktemp("told") / "shop.db"))
    shop.ready_line()
    shop.tote("A", lot="LOT-2231")
    shop.hook_up(shop.book.value("SELECT item FROM tote WHERE lot = 'LOT-2231'"))
    shop.told = {"first": shop.cured(kg=300, start={"bay_f": 75}, weight_kg=300)}
    shop.act("take in", customer="Quarry Nine", size="23.5-25", unit="LOADER 12")
    reclaimed = shop.reclaimed(kg=100)
    batch = shop.grind(**{reclaimed: 90})
    shop.load(batch, 80)
    shop.told |= {"reclaimed": reclaimed, "batch": batch, "second": shop.fill(kg=150, mix_pct=30)}
    shop.act("pour cup", line="line 1")
    shop.book.db.close()
    return shop


@pytest.fixture
def told(_told, tmp_path):
    made = _told.copied(str(tmp_path / "shop.db"))
    yield made
    made.book.db.close()


# -- how commands end ----------------------------------------------------------------------------------------------------------


def test_a_question_answered_ends_in_0(told):
    assert run("--book", told.book.where, "recall", "LOT-2231").exit_code == 0


def test_a_refusal_is_one_sentence_and_ends_in_1(told):
    done = run("--book", told.book.where, "recall", "LOT-9999")
    assert done.exit_code == 1 and done.stdout == ""
    assert len(done.stderr.splitlines()) == 1 and "neither a lot in this book nor an ID" in done.stderr


@pytest.mark.parametrize(
    "words",
    [["recall"], ["recall", "A-1", "--bogus"], ["no-such-command"], ["--bogus"], ["receive", "--colour", "red"], ["recall", "A-1"]],
)  # fmt: skip
def test_a_command_that_cannot_be_read_ends_in_2(words):
    """Including the one that names no book at all."""
    done = run(*words)
    assert done.exit_code == 2 and done.stdout == "" and "Traceback" not in done.stderr


def test_the_commands_words_are_those_of_a_shell_too(told):
    """The same through the installed command, with its exit code and its two streams."""
    command = [sys.executable, "-m", "fillbook", "--book", told.book.where]
    good = subprocess.run([*command, "recall", "LOT-2231"], capture_output=True, text=True, cwd=ROOT)
    bad = subprocess.run([*command, "item", "BH-F25-99999-X"], capture_output=True, text=True, cwd=ROOT)
    assert (good.returncode, good.stderr) == (0, "") and "LOT-2231" in good.stdout
    assert (bad.returncode, bad.stdout) == (1, "") and len(bad.stderr.splitlines()) == 1


def test_version():
    done = run("--version")
    assert (done.exit_code, done.stdout) == (0, f"fillbook {__version__}\n")


# -- which book ----------------------------------------------------------------------------------------------------------------


def test_the_book_is_named_before_or_after_the_command_or_around_it(told):
    where = told.book.where
    asked = ["recall", "LOT-2231", "--json"]
    before = run("--book", where, *asked).stdout
    assert before == run(*asked, "--book", where).stdout == run(*asked, env={"FILLBOOK_BOOK": where}).stdout
    assert json.loads(before)["items"]


def test_the_book_named_last_counts(told, tmp_path):
    missing = str(tmp_path / "missing.db")
    assert run("--book", missing, "recall", "LOT-2231", "--book", told.book.where).exit_code == 0
    assert run("--book", told.book.where, "recall", "LOT-2231", "--book", missing).exit_code == 1
    assert run("recall", "LOT-2231", "--book", told.book.where, env={"FILLBOOK_BOOK": missing}).exit_code == 0


def test_no_book_there_is_said_and_none_is_made(tmp_path):
    where = tmp_path / "shop.db"
    done = run("--book", where, "recall", "A-1")
    assert done.exit_code == 1 and "There is no book at" in done.stderr and "set-up-shop" in done.stderr
    assert not where.exists()


@pytest.mark.parametrize(
    "content", [b"not a database, but long enough to be read as one" * 30, b"PK\x03\x04"]
)
def test_a_file_that_is_no_book_is_said(tmp_path, content):
    where = tmp_path / "shop.db"
    where.write_bytes(content)
    done = run("--book", where, "recall", "A-1")
    assert done.exit_code == 1 and "can't be read as a book" in done.stderr
    assert where.read_bytes() == content


def test_another_programs_database_is_left_alone(tmp_path):
    import sqlite3

    where = tmp_path / "other.db"
    other = sqlite3.connect(where)
    other.execute("CREATE TABLE songs (title TEXT)")
    other.close()
    for words in (
        ["recall", "A-1"],
        ["upgrade"],
        ["set-up-shop", "--site", "BH", "--name", "N", "--owner", "Dana"],
    ):
        done = run("--book", where, *words)
        assert done.exit_code == 1 and "another program" in done.stderr, (words, done.output)
    other = sqlite3.connect(where)
    assert other.execute("SELECT name FROM sqlite_master").fetchall() == [("songs",)]
    other.close()


def test_one_shop_of_several_is_named(told):
    other = type(told)(told.book, told.now)
    other.site = "KV"
    other.set_up("KV")
    asked = run("--book", told.book.where, "recall", "LOT-2231")
    assert asked.exit_code == 1 and "BH, KV" in asked.stderr and "--shop" in asked.stderr
    for words in (["--shop", "BH", "recall", "LOT-2231"], ["recall", "LOT-2231", "--shop", "bh"]):
        assert run("--book", told.book.where, *words).exit_code == 0
    assert (
        run("recall", "LOT-2231", env={"FILLBOOK_BOOK": told.book.where, "FILLBOOK_SHOP": "BH"}).exit_code
        == 0
    )


# -- verbs as commands ---------------------------------------------------------------------------------------------------------


def test_a_shop_is_set_up_from_nothing(tmp_path):
    where = tmp_path / "new" / "shop.db"
    where.parent.mkdir()
    set_up = [
        "set-up-shop",
        "--site",
        "BH",
        "--name",
        "Bramble Hill Tire Works",
        "--owner",
        "Dana",
        "--timezone",
        "America/Chicago",
    ]
    dry = run("--book", where, *set_up, "--dry-run")
    assert dry.exit_code == 0, dry.output
    assert not where.exists()
    assert run("--book", where, *set_up).exit_code == 0
    done = run("--book", where, "add-person", "--name", "Sam", "--who", "Dana")
    assert done.exit_code == 0 and re.search(r"event BH:2: BH-P\d\d-\d{5}-\w", done.stdout)
    assert run("--book", where, *set_up).exit_code == 1


def test_a_shop_that_cannot_be_set_up_leaves_no_file(tmp_path):
    where = tmp_path / "shop.db"
    assert (
        run("--book", where, "set-up-shop", "--site", "B0", "--name", "N", "--owner", "Dana").exit_code == 1
    )
    assert list(tmp_path.iterdir()) == []


def test_who_acts_may_stand_around_the_command(told):
    done = run(
        "--book",
        told.book.where,
        "take-in",
        "--customer",
        "Pit Four",
        "--size",
        "12-16.5",
        env={"FILLBOOK_WHO": "Sam"},
    )
    assert done.exit_code == 0


def test_a_dry_run_says_what_would_be_and_changes_nothing(told):
    before = told.fingerprint()
    words = [
        "--book",
        told.book.where,
        "take-in",
        "--customer",
        "Pit Four",
        "--size",
        "12-16.5",
        "--who",
        "Sam",
    ]
    dry = run(*words, "--dry-run")
    assert dry.exit_code == 0 and dry.stdout.startswith(f"Would be event BH:{told.head + 1}")
    assert told.fingerprint() == before
    done = answer(*words)
    assert set(done) == {"seq", "ids", "findings"} and ids.is_valid(ids.read(done["ids"][0]))
    assert told.fingerprint() != before


def test_a_finding_is_said_with_what_follows_from_it(told):
    tire = told.tire()
    done = run(
        "--book", told.book.where, "finish-fill", "--tire", tire, "--line", "line 1", "--weight-kg", 90, "--pressure-psi", 95, "--who", "Sam"
    )  # fmt: skip
    assert done.exit_code == 0
    assert (
        "its lowest rating is" in done.stdout and "On hold until a second person has looked." in done.stdout
    )


def test_a_request_sent_twice_is_done_once(told):
    words = [
        "--book",
        told.book.where,
        "take-in",
        "--customer",
        "Pit Four",
        "--size",
        "12-16.5",
        "--who",
        "Sam",
        "--request",
        "r-1",
    ]
    first = answer(*words)
    before = told.fingerprint()
    assert answer(*words) == first and told.fingerprint() == before
    assert run(*words).stdout.startswith("Was done before")


def test_pieces_and_corrections_can_be_typed(told):
    done = answer(
        "--book", told.book.where, "grind", "--pieces", f"{told.told['batch']},weight_kg=5",
        "--pieces", "unknown,weight_lb=20,cut_no_later_than=2025-08-01 12:00", "--who", "Sam",
    )  # fmt: skip
    batch = ids.read(done["ids"][0])
    assert [p.grams for p in queries.ingredients(told.book, batch)] == [
        5_000,
        9_072,
    ]  # 20 lb x 453.59237 g, NIST SP 811
    corrected = run(
        "--book", told.book.where, "correct", "--event", done["seq"], "--fields", '{"pieces": [{"source": "unknown", "weight_kg": 4.5}]}',
        "--why", "misread", "--who", "Lee",
    )  # fmt: skip
    assert corrected.exit_code == 0, corrected.output
    assert [p.grams for p in queries.ingredients(told.book, batch)] == [4_500]


def test_a_loggers_file_is_read_from_disk(told, tmp_path):
    (tmp_path / "logger.csv").write_text(told.csv(3), encoding="utf-8")
    done = run(
        "--book",
        told.book.where,
        "log-temperatures",
        "--zone",
        "back rack",
        "--file",
        tmp_path / "logger.csv",
        "--who",
        "Sam",
    )
    assert done.exit_code == 0, done.output
    missing = run(
        "--book",
        told.book.where,
        "log-temperatures",
        "--zone",
        "back rack",
        "--file",
        tmp_path / "no.csv",
        "--who",
        "Sam",
    )
    assert missing.exit_code == 1 and "can't be read" in missing.stderr


# -- enter ---------------------------------------------------------------------------------------------------------------------


def write(tmp_path, text: str):
    path = tmp_path / "monday.jsonl"
    path.write_text(text, encoding="utf-8")
    return path


TAKE_IN = {"verb": "take in", "fields": {"customer": "Quarry Nine", "size": "12-16.5"}}


def test_a_file_is_entered_in_order_and_answers_per_line(told, tmp_path):
    head = told.head
    path = write(
        tmp_path, "\n" + lines(TAKE_IN, {**TAKE_IN, "fields": {**TAKE_IN["fields"], "tires": 2}}) + "\n"
    )
    found = answer("--book", told.book.where, "enter", path)
    assert [set(one) for one in found] == [{"line", "seq", "ids", "findings"}] * 2
    assert [(one["line"], one["seq"], len(one["ids"])) for one in found] == [
        (2, head + 1, 1),
        (3, head + 2, 2),
    ]
    assert all(re.fullmatch(r"BH-F\d\d-\d{5}-\w", code) for one in found for code in one["ids"])
    assert run("--book", told.book.where, "enter", path).stdout.endswith("2 actions entered.\n")


def test_a_file_is_entered_whole_or_not_at_all(told, tmp_path):
    before = told.fingerprint()
    bad = {"verb": "take in", "fields": {"customer": "Quarry Nine"}}
    done = run("--book", told.book.where, "enter", write(tmp_path, lines(TAKE_IN, TAKE_IN, bad, TAKE_IN)))
    assert done.exit_code == 1 and done.stderr.startswith("line 3, ")
    assert told.fingerprint() == before


def test_a_dry_run_of_a_file_checks_every_line_and_changes_nothing(told, tmp_path):
    before = told.fingerprint()
    done = run("--book", told.book.where, "enter", write(tmp_path, lines(TAKE_IN, TAKE_IN)), "--dry-run")
    assert done.exit_code == 0 and "2 actions checked; nothing was changed." in done.stdout
    assert told.fingerprint() == before
    bad = run(
        "--book", told.book.where, "enter", write(tmp_path, lines(TAKE_IN, {"verb": "juggle"})), "--dry-run"
    )
    assert bad.exit_code == 1 and bad.stderr.startswith("line 2, verb: ")


def test_names_given_in_a_file_stand_for_what_was_minted(told, tmp_path):
    path = write(tmp_path, lines(
        {"verb": "receive", "name": "@tote", "fields": {"supplier": "Northvale", "lot": "A-88", "side": "A", "system": "RX-30", "net_kg": 500, "totes": 2}},
        {"verb": "hook up", "fields": {"line": "line 1", "tote": "@tote.2"}},
        {"verb": "hold", "fields": {"item": "@tote", "why": "dented"}},
        {**TAKE_IN, "name": "@t", "fields": {**TAKE_IN["fields"], "tires": 2}},
        {"verb": "print", "fields": {"items": ["@t", "@t.2", "@tote.1"]}},
    ))  # fmt: skip
    first, second = (ids.read(code) for code in answer("--book", told.book.where, "enter", path)[0]["ids"])
    assert (told.state(second), told.state(first)) == ("hooked up", "in store")
    assert on_hold.holds_on(told.book, first) and not on_hold.holds_on(told.book, second)
    assert len(queries.prints_of(told.book, first)) == 1


@pytest.mark.parametrize(
    ("second", "says", "field"),
    [
        ({"verb": "reclaim", "fields": {"tire": "@nobody"}}, "No earlier line is named @nobody", "tire"),
        ({"verb": "reclaim", "fields": {"tire": "@t.2"}}, "there is no @t.2", "tire"),
        ({"verb": "reclaim", "fields": {"tire": "@t.0"}}, "there is no @t.0", "tire"),
        ({**TAKE_IN, "name": "@t"}, "used twice", "name"),
        ({**TAKE_IN, "name": "t"}, "write it like @tote7", "name"),
        ({**TAKE_IN, "colour": 1}, "not part of an action line", "colour"),
        ({**TAKE_IN, "at": 5}, "at is a text", "at"),
        ({"verb": "take in", "fields": []}, "fields is a JSON object", "fields"),
        ({"fields": {}}, "the verb is missing", "verb"),
        ({"verb": "print", "fields": {"items": ["@t", "@t.9"]}}, "there is no @t.9", "items[1]"),
    ],
)
def test_what_is_wrong_with_a_line_is_said_with_its_field(told, tmp_path, second, says, field):
    path = write(tmp_path, lines({**TAKE_IN, "name": "@t"}, second))
    done = run("--book", told.book.where, "enter", path, "--json")
    assert done.exit_code == 1
    found = json.loads(done.stdout)
    assert set(found) == {"error", "line", "field", "expected"}
    assert (found["line"], found["field"]) == (2, field) and says in found["error"]
    assert f"line 2, {field}: " in done.stderr


@pytest.mark.parametrize(
    "text",
    [
        "", "\n \n", "not json\n", "[1, 2]\n", '{"verb": "take in"', '{"verb": "take in", "verb": "scrap"}', "{}", "null", "1",
        '{"verb": "take in", "who": "Sam", "fields": {"customer": "A", "customer": "B", "size": "1"}}', "[" * 5000,
        '{"verb": "purge", "who": "Sam", "fields": {"line": "line 1", "weight_kg": ' + "9" * 5000 + "}}",
        '{"verb": "purge", "who": "Sam", "fields": {"line": "line 1", "weight_kg": 1e999}}',
        '{"verb": "purge", "who": "Sam", "fields": {"line": "line 1", "weight_kg": NaN}}',
        '{"verb": "take in", "who": "Sam", "fields": {"customer": {"a": 1}, "size": "1"}}',
        '{"verb": "correct", "who": "Lee", "fields": {"event": 5, "fields": {"a": ' + "[" * 300 + "]" * 300 + '}, "why": "x"}}',
    ],
)  # fmt: skip
def test_a_file_of_nonsense_is_refused_in_one_sentence(told, tmp_path, text):
    before = told.fingerprint()
    done = run("--book", told.book.where, "enter", write(tmp_path, text))
    assert done.exit_code == 1, (done.output, done.exception)
    assert len(done.stderr.splitlines()) == 1 and done.stderr.startswith("line 1")
    assert told.fingerprint() == before


def test_a_file_that_is_no_text_is_refused(told, tmp_path):
    path = tmp_path / "monday.jsonl"
    path.write_bytes(b"\xff\xfe\x00{")
    assert run("--book", told.book.where, "enter", path).exit_code == 1
    assert run("--book", told.book.where, "enter", tmp_path / "none.jsonl").exit_code == 1


def test_windows_line_ends_and_a_byte_order_mark_are_forgiven(told, tmp_path):
    path = tmp_path / "monday.jsonl"
    path.write_bytes(b"\xef\xbb\xbf" + lines(TAKE_IN, TAKE_IN).replace("\n", "\r\n").encode())
    assert len(answer("--book", told.book.where, "enter", path)) == 2


def test_a_whole_story_makes_its_book(tmp_path):
    story = [
        {"verb": "set up shop", "at": "2025-09-01T08:00:00-05:00", "name": "@dana", "fields": {"site": "BH", "name": "Bramble Hill", "owner": "Dana"}},
        {"verb": "add person", "at": "2025-09-01T08:01:00-05:00", "who": "Dana", "fields": {"name": "Sam"}},
        {**TAKE_IN, "at": "2025-09-01T08:02:00-05:00"},
    ]  # fmt: skip
    where, path = tmp_path / "shop.db", write(tmp_path, lines(*story))
    assert run("--book", where, "enter", path, "--dry-run").exit_code == 0 and not where.exists()
    assert run("--book", where, "enter", path).exit_code == 0
    assert run("--book", where, "verify", "--replay").exit_code == 0
    other = tmp_path / "other.db"
    assert run("--book", other, "enter", write(tmp_path, lines(*story, {"verb": "juggle"}))).exit_code == 1
    assert not other.exists()


# -- answers in JSON -----------------------------------------------------------------------------------------------------------

BOUNDS = {"least", "best", "most"}


def test_a_recall_for_another_program(told):
    found = answer("--book", told.book.where, "recall", "LOT-2231")
    assert set(found) >= {"suspect", "defect", "threshold", "position", "rules", "items", "traces", "account"}
    assert (found["suspect"], found["defect"], found["threshold"]) == (
        "Northvale/LOT-2231",
        "contamination",
        0.01,
    )
    head = chain.position(told.book, "BH")
    assert found["position"] == {"shop": "BH", "seq": head.seq, "hash": head.hash}
    assert found["items"]
    for one in found["items"]:
        assert {"id", "tier", "exposure", "grams", "side_share", "unknown", "path", "place"} <= set(one)
        assert set(one["exposure"]) == set(one["grams"]) == BOUNDS
        assert set(one["place"]) == {"state", "where", "since"}
        assert one["grams"]["least"] <= one["grams"]["best"] <= one["grams"]["most"]
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", one["place"]["since"])
        assert re.fullmatch(r"BH-F\d\d-\d{5}-\w", one["id"])
    assert set(found["traces"]) == {"count", "best_g"}
    assert all({"place", "grams"} <= set(row) for row in found["account"])
    assert sum(row["grams"] for row in found["account"]) == 1_000_000


def test_a_recall_of_a_setting_defect_goes_no_further_than_the_tote(told):
    listed = {
        one["id"]
        for one in answer("--book", told.book.where, "recall", "LOT-2231", "--defect", "setting")["items"]
    }
    through = {
        one["id"]
        for one in answer("--book", told.book.where, "recall", "LOT-2231", "--threshold", "0.05")["items"]
    }
    assert listed and listed <= through
    for wrong in (
        ["--defect", "bad"],
        ["--threshold", "2"],
        ["--threshold", "x"],
        ["--threshold", "0"],
        ["--threshold", "nan"],
    ):
        assert run("--book", told.book.where, "recall", "LOT-2231", *wrong).exit_code == 1


def test_a_trace_for_another_program(told):
    found = answer("--book", told.book.where, "trace", told.told["second"])
    assert set(found) == {"id", "origins", "lots", "came_from", "went_to"}
    assert sum(one["share"] for one in found["origins"]) == pytest.approx(1)
    assert {"id", "share"} <= set(found["origins"][0]) and {"id", "streams", "grams"} == set(
        found["came_from"][0]
    )
    assert ids.pretty(told.told["batch"]) in [one["id"] for one in found["came_from"]]
    forward = answer("--book", told.book.where, "trace", told.told["batch"])
    assert ids.pretty(told.told["second"]) in [one["id"] for one in forward["went_to"]]


def test_an_item_for_another_program(told):
    found = answer("--book", told.book.where, "item", told.told["first"].lower())
    assert set(found) >= {"id", "kind", "shop", "facts", "place", "holds", "findings", "history"}
    assert (found["id"], found["kind"], found["shop"]) == (ids.pretty(told.told["first"]), "tire", "BH")
    assert set(found["history"][0]) >= {"at", "local", "words", "seq", "state", "where", "kind"}


def test_a_cure_for_another_program(told):
    found = answer("--book", told.book.where, "cure", told.told["first"], "--at", "2025-09-04 12:00")
    assert {
        "id", "as_of", "verdict", "ok", "path", "ready_at", "started_at", "credited_s", "attended_s", "near_s", "below_s",
        "unobserved_s", "needed_s", "cold_start", "zone", "basis", "cup", "may_be_moved_at", "may_work_at", "words", "findings",
    } <= set(found)  # fmt: skip
    assert found["as_of"] == "2025-09-04T17:00:00Z" and set(found["needed_s"]) == {"earliest", "standard"}
    assert found["credited_s"] >= 48 * 3600 and found["zone"] == "warm room"


def test_the_rest_of_the_questions(told):
    where = told.book.where
    assert answer("--book", where, "search", "loader")[0]["why"] == "unit LOADER 12"
    assert set(answer("--book", where, "account", "LOT-2231")) == {"suspect", "position", "account"}
    assert {"name", "value", "source", "why"} <= set(answer("--book", where, "limits")[0])
    assert "Nothing here bears" in run("--book", where, "search", "zeppelin").stdout
    assert run("--book", where, "cure", told.told["batch"]).exit_code == 1


# -- verbs for another program -------------------------------------------------------------------------------------------------


def test_each_verb_is_listed_once_with_its_schema():
    found = answer("verbs")
    assert [one["verb"] for one in found] == list(registry.everything())
    for one in found:
        assert set(one) >= {"verb", "command", "role", "place", "words", "fields"}
        assert one["fields"]["type"] == "object" and one["fields"]["additionalProperties"] is False
        assert one["role"] in registry.ROLES
    listed = run("verbs").stdout.splitlines()
    assert len(listed) == len(found)


# -- the tables of contents ----------------------------------------------------------------------------------------------------


def test_the_verbs_of_the_command_line_are_the_verbs_there_are():
    assert list(VERBS) == sorted(verb.command for verb in registry.everything().values())


def test_the_words_beside_the_verbs_are_the_verbs_own():
    assert {verb.command: verb.words.rstrip(".") for verb in registry.everything().values()} == VERB_WORDS


def test_every_command_has_its_line_of_help_and_its_module():
    assert set(COMMANDS) == set(COMMAND_WORDS)
    for name in COMMANDS:
        command = cli.get_command(commands.click.Context(cli), name)
        assert command is not None and command.name == name


def test_the_help_lists_every_command():
    shown = run("--help").stdout
    listed = {line.split()[0] for line in shown.splitlines() if re.match(r"  [a-z][a-z-]*  ", line)}
    assert listed == {*COMMANDS, *VERBS}
    assert run().exit_code in (0, 2)


def every_command():
    context = commands.click.Context(cli)
    for name in (*COMMANDS, *VERBS):
        command = cli.get_command(context, name)
        yield [name], command
        for inner, sub in getattr(command, "commands", {}).items():
            yield [name, inner], sub


@pytest.mark.parametrize(
    ("path", "command"),
    list(every_command()),
    ids=lambda part: " ".join(part) if isinstance(part, list) else "",
)
def test_help_says_what_a_command_does_and_every_option(path, command):
    done = run(*path, "--help")
    assert done.exit_code == 0
    assert (command.help or "").strip()
    for option in command.params:
        if isinstance(option, commands.click.Option) and not option.hidden:
            assert option.help, f"{' '.join(path)} says nothing of {option.opts[0]}"


EXAMPLES = [
    (path, line.strip())
    for path, command in every_command()
    for line in (command.help or "").split("Example:", 1)[-1].splitlines()
    if line.strip().startswith("fillbook ")
]
# besides these: --to hands labels to a printer that isn't there
FOR_ANOTHER_TEST = ("demo", "serve")  # one takes long, the other never ends; each has tests of its own


def test_every_command_that_is_no_verb_ends_in_an_example():
    shown = {path[0] for path, _ in EXAMPLES}
    assert shown >= set(COMMANDS)


@pytest.mark.parametrize(
    "line", [line for path, line in EXAMPLES if path[0] not in FOR_ANOTHER_TEST and " --to " not in line]
)
def test_the_example_runs(told, line, tmp_path, monkeypatch):
    """As it is printed, in a shop that has what it names; its IDs put in, since each book mints its own."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "monday.jsonl").write_text(lines(TAKE_IN), encoding="utf-8")
    newest = {kind: told.book.value("SELECT max(code) FROM item WHERE kind = ?", kind) for kind in "LGFCZUP"}
    newest["F"] = told.told["first"]
    line = re.sub(r"BH-([LGFCZUP])\d\d-\d{5}-\w", lambda m: ids.pretty(newest[m[1]]), line)
    line = re.sub(r"\d{4}-\d\d-\d\d (?=\d\d:\d\d\.\.)", "2025-09-01 ", line)  # the morning of the first fill
    line = re.sub(r"BH:\d+:[0-9a-f]+", str(chain.position(told.book, "BH")), line)
    words = __import__("shlex").split(line.split(" > ")[0])
    done = run(*words[1:])
    assert done.exit_code == 0, (line, done.output, done.exception)
    assert done.stdout


# -- keeping -------------------------------------------------------------------------------------------------------------------


def test_the_exported_journal_is_the_stored_text_and_builds_the_same_head(told, tmp_path):
    from fillbook.trace.book import journal
    from fillbook.trace.book.apply import apply
    from fillbook.trace.book.opening import create

    exported = run("--book", told.book.where, "journal", "export").stdout_bytes
    assert exported == b"".join(text.encode() + b"\n" for text in chain.export(told.book, "BH"))
    again = create(str(tmp_path / "again.db"))
    for name, data in told.book.tuples("SELECT digest, bytes FROM blob"):
        again.insert("blob", {"digest": name, "bytes": data})
    with journal.writing(again, "BH", new=True) as writer:
        for line in exported.decode().splitlines():
            event = journal.Event.from_text(line)
            writer.append(event)
            apply(again, writer, event)
    assert chain.position(again, "BH") == chain.position(told.book, "BH")
    assert answer("--book", again.where, "recall", "LOT-2231") == answer(
        "--book", told.book.where, "recall", "LOT-2231"
    )
    again.db.close()


def test_verify_says_the_head(told):
    done = run("--book", told.book.where, "verify", "--replay")
    assert done.exit_code == 0
    assert (
        str(chain.position(told.book, "BH")) in done.stdout
        and "The tables are those the journal gives." in done.stdout
    )
    for wrong in ("BH", "BH:x:aaaaaaaaaa", "BH:5:abc", "BH:5:" + "0" * 16):
        assert run("--book", told.book.where, "verify", "--kept", wrong).exit_code == 1, wrong


def test_a_backup_is_whole_and_opens(told, tmp_path):
    from fillbook.trace.book.replay import check_replay, difference

    copy = tmp_path / "shop-2025-10-03.db"
    done = run("--book", told.book.where, "backup", copy)
    assert done.exit_code == 0 and str(chain.position(told.book, "BH")) in done.stdout
    book = open_book(str(copy))
    assert difference(told.book, book) is None and check_replay(book) is None
    assert chain.position(book, "BH") == chain.position(told.book, "BH")
    book.db.close()
    again = run("--book", told.book.where, "backup", copy)
    assert again.exit_code == 1 and "exists already" in again.stderr
    assert run("--book", told.book.where, "backup", tmp_path / "no" / "where.db").exit_code == 1


def test_a_backup_is_taken_while_another_writes(told, tmp_path):
    from fillbook.trace.book import journal

    copy = tmp_path / "copy.db"
    before = chain.position(told.book, "BH")
    with journal.writing(told.book, "BH"):  # a writer holds the chain and has not finished
        assert run("--book", told.book.where, "backup", copy).exit_code == 0
    book = open_book(str(copy))
    assert chain.position(book, "BH") == before
    book.db.close()


def test_paths_with_blanks_and_letters_of_all_kinds(tmp_path, told):
    where = tmp_path / "my shop ü.db"
    shutil.copy(told.book.where, where)
    for ending in ("-wal", "-shm"):
        if Path(told.book.where + ending).exists():
            shutil.copy(told.book.where + ending, str(where) + ending)
    assert run("--book", where, "recall", "LOT-2231").exit_code == 0
