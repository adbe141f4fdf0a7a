"""What has been written once can be read for ever: the schema, and events as they were exported."""

import base64
import hashlib
import importlib.util
import json
from pathlib import Path

import pytest

from fillbook.trace.book import chain, replay
from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import create
from fillbook.trace.book.tables import DERIVED, FACTS
from fillbook.trace.work import registry

_spec = importlib.util.spec_from_file_location("remake", Path(__file__).with_name("remake.py"))
remake = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(remake)

LINES = remake.EVENTS.read_text(encoding="utf-8").splitlines()
HASHES = remake.HASHES.read_text(encoding="utf-8").split()
FILES = {
    name: base64.b64decode(data)
    for name, data in json.loads(remake.FILES.read_text(encoding="utf-8")).items()
}


def test_a_fresh_book_has_the_golden_schema():
    """If it was meant: python -m tests.golden.remake; once shipped, by a new migration."""
    book = create(":memory:")
    assert remake.schema(book) == remake.SCHEMA.read_text(encoding="utf-8")
    book.db.close()


def test_there_is_a_golden_event_of_every_kind():
    assert {Event.from_text(line).kind for line in LINES} == set(registry.everything()) | set(
        registry.BY_ITSELF
    )


@pytest.mark.parametrize(
    ("line", "stored"),
    list(zip(LINES, HASHES, strict=True)),
    ids=[json.loads(line)["kind"] for line in LINES],
)
def test_a_golden_event_reads_and_has_its_hash(line, stored):
    assert hashlib.sha256(line.encode()).hexdigest() == stored
    event = Event.from_text(line)
    assert event.v == 1 and event.text() == line


def test_the_golden_files_have_the_digests_they_are_named_by():
    assert FILES and all(hashlib.sha256(data).hexdigest() == name for name, data in FILES.items())


def test_the_golden_journal_still_replays_and_fills_every_table():
    book = remake.told()
    assert chain.position(book, "BH").hash == HASHES[-1]
    assert chain.check_chain(book, "BH", (len(LINES), HASHES[-1])) is None and chain.check_blobs(book) is None
    assert replay.check_replay(book) is None
    empty = [table for table in (*FACTS, *DERIVED) if not book.value(f"SELECT count(*) FROM {table}")]
    assert empty == []
    book.db.close()
