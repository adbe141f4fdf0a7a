"""``fillbook serve``: a book opened to the network, or refused in words; the key beside it; one connection per request."""

import os
import re
import socket
import stat
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner

from fillbook.trace.book.opening import create
from fillbook.trace.cli.commands import cli
from fillbook.trace.core.errors import Damaged, Nonsense
from fillbook.trace.web.app import create_app
from fillbook.trace.web.keys import key_beside


@pytest.fixture
def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


def old_book(path):
    """A book whose newest step was never taken."""
    book = create(path)
    (table,) = [name for name in book.db.get_tables() if "migration" in name]
    book.db.execute_sql(f"DELETE FROM {table}")
    book.db.close()


def run(*words):
    return CliRunner().invoke(cli, words)


def test_serve_answers_and_stops(tmp_path, free_port):
    book = tmp_path / "new.db"
    serving = subprocess.Popen(
        [sys.executable, "-m", "fillbook", "--book", str(book), "serve", "--port", str(free_port)], stdout=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    try:
        assert "A new book was begun" in serving.stdout.readline()
        address = serving.stdout.readline().strip()
        assert address == f"http://127.0.0.1:{free_port}/"
        code = serving.stdout.readline()
        assert re.search(r"The first page asks for this code: [A-Z2-9]{4}-[A-Z2-9]{4}$", code.rstrip())
        with urllib.request.urlopen(address, timeout=20) as page:
            assert page.url.endswith("/setup") and "This book is empty" in page.read().decode()
    finally:
        serving.terminate()
        serving.communicate(timeout=20)


def test_an_old_book_is_refused_in_its_words_and_left_as_it_is(tmp_path, free_port):
    path = str(tmp_path / "old.db")
    old_book(path)
    before = Path(path).read_bytes()
    said = run("--book", path, "serve", "--port", str(free_port))
    assert said.exit_code == 1 and "run fillbook upgrade" in said.output
    assert Path(path).read_bytes() == before
    with pytest.raises(Nonsense, match="older than this program"):
        create_app(path)


def test_a_file_that_is_no_book_is_refused(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("nothing of a book in here, " * 40, encoding="utf-8")
    with pytest.raises(Damaged, match="can't be read as a book"):
        create_app(str(path))


def test_a_port_that_is_taken_is_told_with_what_to_do(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        said = run("--book", str(tmp_path / "a.db"), "serve", "--port", str(taken.getsockname()[1]))
    assert said.exit_code == 1 and "Choose another --port" in said.output
    assert not (tmp_path / "a.db").exists()


def test_an_address_that_is_not_this_machines_is_told(tmp_path, free_port):
    said = run("--book", str(tmp_path / "a.db"), "serve", "--host", "no such host", "--port", str(free_port))
    assert said.exit_code == 1 and "no address of this machine" in said.output


def test_without_a_book_it_asks_for_one():
    said = CliRunner(env={"FILLBOOK_BOOK": None}).invoke(cli, ["serve"])
    assert said.exit_code == 2 and "Which book?" in said.output


def test_the_key_is_made_once_and_only_its_owner_may_read_it(tmp_path):
    book = str(tmp_path / "shop.db")
    key = key_beside(book)
    assert re.fullmatch(r"[0-9a-f]{64}", key) and key_beside(book) == key
    if os.name == "posix":
        assert stat.S_IMODE(Path(book + ".key").stat().st_mode) == 0o600
    Path(book + ".key").write_text("short", encoding="ascii")
    with pytest.raises(Nonsense, match="holds no key"):
        key_beside(book)


def test_a_cookie_of_another_book_is_worth_nothing(tmp_path):
    one, other = (create_app(str(tmp_path / name), testing=True) for name in ("one.db", "two.db"))
    assert one.config["SECRET_KEY"] != other.config["SECRET_KEY"]


def test_each_request_connects_and_closes(web):
    book = web.app.extensions["fillbook"].book
    for path, status in (("/", 200), ("/i/rubbish", 422), ("/nowhere", 404)):
        web.get(path, status)
        assert book.db.is_closed()


def test_a_bug_of_ours_looks_like_one_and_tells_nothing_of_the_inside(web, monkeypatch, caplog):
    from fillbook.trace.web.holds import views

    def broken(*_):
        raise RuntimeError("a secret of the inside")

    monkeypatch.setattr(views.on_hold, "open_holds", broken)
    web.app.testing = False
    answer = web.get("/holds", 500)
    assert "not in what you did" in web.words(answer) and "secret" not in answer.get_data(as_text=True)
    assert "/holds" in caplog.text


def test_too_large_a_file_is_told(web):
    form = web.form("/do/log-temperatures")
    web.app.config["MAX_CONTENT_LENGTH"] = 1000
    answer = web.send(form, 413, csv="x" * 2000)
    assert "larger than 24 MB" in web.words(answer)


def test_a_browser_elsewhere_can_not_send_a_form(serve, tmp_path, helpers):
    running = serve(str(tmp_path / "a.db"), helpers["Clock"](helpers["the_shop"].MONDAY))
    asked = urllib.request.Request(
        f"{running.address}/setup",
        data=b"site=BH&name=x&owner=y",
        headers={"Origin": "http://elsewhere.example"},
    )
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(asked, timeout=20)
    assert refused.value.code == 400
    refused.value.close()
