"""Write the golden schema anew, and add golden events of new kinds: ``python -m tests.golden.remake``. Never done by a test.

``schema.sql`` is what a fresh book looks like. ``events_v1.jsonl`` is a journal with every kind of event in it, as exported;
beside it the hashes, and the files the events name. What has been written once stays as it is, whatever a verb would write today:
events are only ever added, by the chapters of the story that tell of a kind that is not there yet.
"""

import base64
import importlib.util
import json
import sys
from pathlib import Path

from fillbook.trace.book import chain, journal
from fillbook.trace.book.apply import apply
from fillbook.trace.book.journal import Event
from fillbook.trace.book.opening import Book, create

HERE = Path(__file__).resolve().parent
SCHEMA, EVENTS, HASHES, FILES = (
    HERE / name for name in ("schema.sql", "events_v1.jsonl", "events_v1.hashes", "events_v1.files.json")
)


def load(name: str, path: Path):
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def schema(book: Book) -> str:
    """Every table, index and trigger of *book*, one statement per line, in order of name."""
    rows = book.tuples("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type DESC, name")
    return "".join(" ".join(sql.split()) + ";\n" for (sql,) in rows)


def write() -> None:
    empty = create(":memory:")
    SCHEMA.write_text(schema(empty), encoding="utf-8")
    empty.db.close()
    book = told()
    last = Event.from_text(EVENTS.read_text(encoding="utf-8").splitlines()[-1])
    shop = load("the_shop", HERE.parent / "the_shop.py").Shop(book, last.recorded_at)
    for kind, chapter in load("story", HERE / "story.py").LATER.items():
        if not book.value("SELECT 1 FROM event WHERE kind = ?", kind):
            chapter(shop)
    EVENTS.write_text("".join(line + "\n" for line in chain.export(book, "BH")), encoding="utf-8")
    hashes = book.tuples("SELECT hash FROM event ORDER BY seq")
    HASHES.write_text("".join(f"{stored}\n" for (stored,) in hashes), encoding="utf-8")
    files = {
        name: base64.b64encode(bytes(data)).decode()
        for name, data in book.tuples("SELECT digest, bytes FROM blob ORDER BY digest")
    }
    FILES.write_text(json.dumps(files, indent=1) + "\n", encoding="utf-8")
    book.db.close()


def told() -> Book:
    """A new book with the golden files and events in it."""
    book = create(":memory:")
    for name, data in json.loads(FILES.read_text(encoding="utf-8")).items():
        book.insert("blob", {"digest": name, "bytes": base64.b64decode(data)})
    with journal.writing(book, "BH", new=True) as writer:
        for line in EVENTS.read_text(encoding="utf-8").splitlines():
            event = Event.from_text(line)
            writer.append(event)
            apply(book, writer, event)
    return book


if __name__ == "__main__":
    write()
    print("Written:", ", ".join(path.name for path in (SCHEMA, EVENTS, HASHES, FILES)), file=sys.stderr)
