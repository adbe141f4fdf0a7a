"""The zones from the command line: a logger's own file in two steps, a file far too large, a token, the morning list."""

from __future__ import annotations

import json
from datetime import datetime

import pytest
from click.testing import CliRunner

from fillbook.trace.cli.commands import cli


@pytest.fixture
def run(shop):
    shop.book.db.close()

    def call(*words: str):
        return CliRunner().invoke(cli, ["--book", shop.book.where, *words])

    yield call
    shop.book.db.connect(reuse_if_open=True)


def test_a_loggers_own_file_in_two_steps(run, tmp_path):
    file = tmp_path / "t4.txt"
    rows = "".join(f"{d:02}.09.2025;08:00;22,5\n" for d in range(10, 20))
    file.write_bytes(f"Datum;Zeit;Temp (°C)\n{rows}".encode("cp1252"))
    asked = run("log-temperatures", "--zone", "warm room", "--file", str(file), "--who", "Sam")
    assert (
        asked.exit_code == 1
        and "Nothing was taken in yet" in asked.output
        and "decimal comma" in asked.output
    )
    read_as = asked.output.rsplit('"', 2)[1]
    done = run(
        "log-temperatures", "--zone", "warm room", "--file", str(file), "--who", "Sam", "--read-as", read_as
    )
    assert done.exit_code == 0, done.output


def test_a_file_far_too_large_is_refused_before_it_is_read_whole(run, tmp_path):
    file = tmp_path / "huge.csv"
    with file.open("wb") as out:
        out.truncate(200_000_000)
    asked = run("log-temperatures", "--zone", "warm room", "--file", str(file), "--who", "Sam")
    assert asked.exit_code == 1 and "over 20 MB" in asked.output


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00", "not plain text"),
        (b"", "is empty"),
        (b"a letter\nto nobody\n", "is it a logger's file"),
    ],
)
def test_what_is_no_log_is_refused(run, tmp_path, content, words):
    file = tmp_path / "no.log"
    file.write_bytes(content)
    asked = run("log-temperatures", "--zone", "warm room", "--file", str(file), "--who", "Sam")
    assert asked.exit_code == 1 and words in asked.output and asked.output.count("\n") == 1


def test_a_token_is_shown_once(run):
    done = run("let-sensor-send", "--zone", "warm room", "--sensor", "T-4", "--who", "Lee", "--json")
    token = json.loads(done.output)["token"]
    assert len(token) >= 32 and token not in run("journal", "export").output


def test_the_morning_list_is_a_pdf(run, tmp_path):
    out = tmp_path / "morning.pdf"
    assert run("morning-list", "--out", str(out)).exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")


def test_the_limits_show_the_conduction_estimate_and_the_warning_day(run):
    shown = run("limits").output
    assert "Conduction estimate: 18 mm" in shown and "heating_down_day" in shown and "0 J/mol" in shown
    assert datetime(2025, 9, 5).isoweekday() == 5  # the default, Friday
