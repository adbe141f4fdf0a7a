"""The same shop in PostgreSQL: the same facts, the same journal, the same guards as in a file."""

import glob
import importlib.util
import os
import re
import shutil
import subprocess
import tempfile
import threading
from pathlib import Path

import peewee
import pytest

from fillbook.trace.book import (
    bears_back,
    chain,
    closed_recalls,
    cures,
    customers,
    derive,
    glance,
    items,
    kilograms,
    later,
    lists,
    on_hold,
    pedigree,
    queries,
    recalls,
    replay,
    spans,
    worked_out,
)
from fillbook.trace.book.list_kinds import KINDS, Asked
from fillbook.trace.book.opening import create, is_there, open_book, upgrade
from fillbook.trace.book.tables import DERIVED, natural
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.work import acting

_spec = importlib.util.spec_from_file_location("story", Path(__file__).parents[1] / "golden" / "story.py")
story = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(story)


@pytest.fixture(scope="module")
def server():
    """A PostgreSQL server of its own, on a socket in a folder of its own. Without its programs: skipped here, failed in CI."""
    found = sorted(glob.glob("/usr/lib/postgresql/*/bin/initdb"))
    initdb = found[-1] if found else shutil.which("initdb")
    if initdb is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL's initdb is not on this machine; .ci/run installs it.")
        pytest.skip("PostgreSQL's server programs are not on this machine (Debian: apt install postgresql).")
    bins, folder, as_user = Path(initdb).parent, tempfile.mkdtemp(prefix="pg"), []
    if os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(folder, "postgres", "postgres")
        as_user = ["runuser", "-u", "postgres", "--"]

    def run(*words: str) -> None:
        subprocess.run([*as_user, *words], check=True, stdout=subprocess.DEVNULL, cwd=folder)

    run(
        f"{bins}/initdb",
        "-D",
        f"{folder}/data",
        "-U",
        "postgres",
        "-A",
        "trust",
        "-N",
        "-E",
        "UTF8",
        "--locale=C",
    )
    run(
        f"{bins}/pg_ctl",
        "-D",
        f"{folder}/data",
        "-w",
        "-l",
        f"{folder}/log",
        "-o",
        f"-c listen_addresses='' -k {folder} -c fsync=off",
        "start",
    )
    yield f"postgresql://postgres:@/postgres?host={folder}"
    run(f"{bins}/pg_ctl", "-D", f"{folder}/data", "-m", "immediate", "stop")
    shutil.rmtree(folder)


@pytest.fixture
def address(server):
    """A database of its own for one test."""
    return new_database(server)


def new_database(server: str) -> str:
    from playhouse.db_url import connect

    name = "shop" + re.sub(r"\W", "", os.urandom(4).hex())
    admin = connect(server)
    admin.connection().autocommit = True
    admin.execute_sql(f"CREATE DATABASE {name}")
    admin.close()
    return server.replace("/postgres?", f"/{name}?")


@pytest.fixture(scope="module")
def pair(server, the_shop, tmp_path_factory):
    """The same story told in a file and in PostgreSQL. What a test does to one it does to the other."""
    both = []
    try:
        for where in (str(tmp_path_factory.mktemp("pair") / "file.db"), new_database(server)):
            both.append(the_shop.Shop.start(where))
            story.tell(both[-1])
        yield both
    finally:
        for one in both:
            one.book.db.close()


def test_the_same_story_gives_the_same_book(pair):
    file, server = pair
    assert list(chain.export(server.book, "BH")) == list(chain.export(file.book, "BH"))
    assert chain.position(server.book, "BH") == chain.position(file.book, "BH")
    assert replay.difference(server.book, file.book) is None
    server.check()
    assert chain.check_blobs(server.book) is None


def test_the_answers_are_the_same(pair):
    file, server = pair
    for suspect in ("A-11", "B-11", "A-14"):
        for defect in ("setting", "contamination"):
            ask = [recalls.recall(one.book, "BH", suspect, defect=defect, with_traces=True) for one in pair]
            assert ask[0] == ask[1]
    for (item,) in file.book.tuples("SELECT code FROM item WHERE kind <> 'W' ORDER BY code"):
        assert items.about(file.book, item) == items.about(server.book, item)
        assert recalls.trace(file.book, item) == recalls.trace(server.book, item)
    assert items.search(file.book, "BH", "loader") == items.search(server.book, "BH", "loader") != []
    bears = [sorted(bears_back.bears_back(one.book, "BH", 0, one.now)) for one in pair]
    assert bears[0] == bears[1] != []
    assert closed_recalls.changed(file.book, "BH") == closed_recalls.changed(server.book, "BH")
    opened = [queries.recalls(one.book, "BH")[0] for one in pair]
    listed = [
        closed_recalls.listed(one.book, "BH", row, one.now) for one, row in zip(pair, opened, strict=True)
    ]
    assert listed[0] == listed[1] != []
    assert [row["id"] for row in cures.racks(file.book, "BH", file.now)] == [
        row["id"] for row in cures.racks(server.book, "BH", server.now)
    ]


def test_what_is_read_ahead_and_page_by_page_is_the_same(pair):
    said = []
    for one in pair:
        book, mine = one.book, []
        for suspect in ("A-11", "B-11", "A-14"):
            for defect in ("setting", "contamination"):
                for at_once in (0, 10_000):
                    mine.append(worked_out.recall(book, "BH", suspect, defect=defect, at_once=at_once))
                mine.append(
                    worked_out.how_sure_are_we(book, "BH", suspect, defect=defect, threshold_e4=50, us=True)
                )
        for (item,) in book.tuples("SELECT code FROM item WHERE kind IN ('L', 'G', 'F') ORDER BY code"):
            mine.append(pedigree.pedigree(book, item))
        for by in (kilograms.totes, kilograms.lots, kilograms.months):
            mine.append(by(book, "BH", kilograms.window(book, "BH", "tote", None, 3)[1]))
        for line in queries.lines(book, "BH"):
            before = None
            while True:
                rows, shares, before = spans.page(book, "BH", line.item, before=before, most=2)
                mine += [rows, shares, before]
                if before is None:
                    break
            mine.append(
                spans.of_totes(
                    book, "BH", line.item, [c for (c,) in book.tuples("SELECT item FROM tote ORDER BY item")]
                )
            )
        said.append(mine)
    assert said[0] == said[1] and sum(map(bool, said[0])) > 30


def test_lists_and_what_waits_are_the_same(pair, monkeypatch):
    monkeypatch.setattr(lists, "FEW", 1)  # so that the ways of a large book are gone
    said = []
    for one in pair:
        book, (first, last) = one.book, one.book.tuples("SELECT min(at), max(at) FROM fill")[0]
        said.append([queries.states(book), on_hold.held_among(book, [c for (c,) in book.tuples("SELECT code FROM item")]),
                     queries.in_state(book, "BH", "racked", "filled", "released", most=3), queries.cut_and_whole(book, "BH", 9),
                     glance.labels_waiting(book, "BH"), glance.counts(book, "BH"), glance.batches(book, "BH"), glance.totes_in_store(book, "BH"),
                     customers.page(book, "BH"), later.alerts(book, "BH")])  # fmt: skip
        for kind in KINDS.values():
            for order in kind.orders:
                for filters in ({}, {"state": "released"}, {"customer": "Quarry Nine"}):
                    for down in (True, False):
                        if filters.keys() <= kind.filters.keys():
                            asked = Asked(kind.name, "", filters, first, last, order.name, down)
                            said[-1].append(list(lists.every(book, "BH", asked, most=2)))
    assert said[0] == said[1] and sum(map(bool, said[0])) > 20


def test_a_book_in_postgresql_replays_into_a_file_and_back(pair, tmp_path):
    file, server = pair
    again = create(str(tmp_path / "again.db"))
    replay.replay(server.book, again)
    assert replay.difference(again, file.book) is None
    again.db.close()
    before = the_derived(server.book)
    derive.derive_all(server.book)
    assert the_derived(server.book) == before


def the_derived(book):
    return {table: sorted(map(repr, book.tuples(natural(table)))) for table in DERIVED}


def test_corrections_and_refusals_are_the_same(pair):
    for seq in range(1, pair[0].head, 2):
        for change in (
            {"happened": pair[0].ago(minutes=1)},
            {"weight_kg": 77},
            {"void": True} if seq % 3 == 0 else {"why_not": 1},
        ):
            said = []
            for one in pair:
                try:
                    said.append(one.correct(seq, **change).seq)
                except ShopError as trouble:
                    said.append(str(trouble))
            assert said[0] == said[1], (seq, change)
    assert replay.difference(*(one.book for one in pair)) is None
    pair[1].check()


@pytest.mark.parametrize(
    "change",
    ["UPDATE event SET text = 'x'", "DELETE FROM event", "UPDATE event SET kind = 'scrap' WHERE seq = 2"],
)
def test_the_database_itself_forbids_changing_or_deleting_events(address, new_shop, change):
    shop = new_shop(address)
    before = shop.fingerprint()
    with pytest.raises(peewee.DatabaseError, match="the journal only grows"), shop.book.transaction():
        shop.book.execute(change)
    assert shop.fingerprint() == before
    shop.check()


def test_a_book_is_made_once_and_opened_again(address, new_shop):
    assert not is_there(address)
    with pytest.raises(ShopError, match="no book at"):
        open_book(address)
    shop = new_shop(address)
    assert is_there(address) and upgrade(address) == ([], None)
    with pytest.raises(Nonsense, match="exists already"):
        create(address)
    again = open_book(address)
    assert again.postgres and again.shops() == ["BH"]
    again.db.close()
    shop.tote()
    shop.check()


def test_a_shop_is_set_up_and_asked_from_the_command_line(address):
    from click.testing import CliRunner

    from fillbook.trace.cli.commands import cli

    def run(*words):
        return CliRunner(env={"FILLBOOK_BOOK": address, "FILLBOOK_WHO": "Dana"}).invoke(cli, list(words))

    set_up = run("set-up-shop", "--site", "BH", "--name", "Bramble Hill", "--owner", "Dana")
    assert set_up.exit_code == 0, set_up.output
    assert run("add-system", "--name", "RX-30").exit_code == 0
    assert (
        run(
            "receive",
            "--supplier",
            "Northvale",
            "--lot",
            "A-1",
            "--side",
            "A",
            "--system",
            "RX-30",
            "--net-kg",
            "900",
        ).exit_code
        == 0
    )
    assert run("recall", "A-1", "--json").exit_code == 0
    assert run("verify", "--replay").exit_code == 0
    assert run("limits").exit_code == 0
    backup = run("backup", "copy.db")
    assert backup.exit_code == 1 and "that server's own tools" in backup.stderr


def test_a_refusal_changes_nothing_and_the_connection_goes_on(address, new_shop):
    shop = new_shop(address)
    before = shop.fingerprint()
    for fields in ({"tire": "BH-F25-00001-X"}, {"tire": "nonsense"}, {}):
        with pytest.raises(ShopError):
            shop.act("reclaim", **fields)
        assert shop.fingerprint() == before
    with pytest.raises(peewee.DatabaseError), shop.book.transaction():
        shop.book.execute("INSERT INTO tote (shop) VALUES ('BH')")
    assert shop.fingerprint() == before
    shop.tote()
    shop.check()


def test_eight_scanners_lose_and_double_nothing(address, new_shop):
    shop = new_shop(address)
    shop.ready_line()
    before, now, trouble, minted = shop.head, shop.now, [], []

    def scan(number: int) -> None:
        book = open_book(address)
        try:
            for n in range(6):
                fields = {
                    "supplier": "Northvale",
                    "lot": f"A-{number}-{n}",
                    "side": "A",
                    "system": "RX-30",
                    "net_kg": 5,
                }
                minted.extend(
                    acting.act(
                        book,
                        acting.Action("receive", fields, who="Kim", request=f"{number}-{n}"),
                        now=now + n,
                    ).ids
                )
        except BaseException as raised:
            trouble.append(raised)
        finally:
            book.db.close()

    threads = [threading.Thread(target=scan, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert trouble == []
    assert shop.head == before + 48 and len(set(minted)) == 48
    shop.check()
