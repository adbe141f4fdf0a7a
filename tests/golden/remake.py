"""Write the golden files anew: ``python -m tests.golden.remake``. Never done by a test.

``schema.sql`` is what a fresh book looks like. ``events_v1.jsonl`` is a journal with every kind of event in it, as exported;
beside it the hashes, and the files the events name. Stored bodies never change: once a version has shipped, its lines stay as they
are and new kinds are added in a file of their own.
"""

import base64
import importlib.util
import json
import sys
import tempfile
from pathlib import Path

from fillbook.trace.book import chain
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
    with tempfile.TemporaryDirectory() as folder:
        shop = load("the_shop", HERE.parent / "the_shop.py").Shop.start(f"{folder}/shop.db")
        load("story", HERE / "story.py").tell(shop)
        lines = list(chain.export(shop.book, shop.site))
        EVENTS.write_text("".join(line + "\n" for line in lines), encoding="utf-8")
        hashes = shop.book.tuples("SELECT hash FROM event ORDER BY seq")
        HASHES.write_text("".join(f"{stored}\n" for (stored,) in hashes), encoding="utf-8")
        files = {
            name: base64.b64encode(bytes(data)).decode()
            for name, data in shop.book.tuples("SELECT digest, bytes FROM blob ORDER BY digest")
        }
        FILES.write_text(json.dumps(files, indent=1) + "\n", encoding="utf-8")
        shop.book.db.close()


if __name__ == "__main__":
    write()
    print("Written:", ", ".join(path.name for path in (SCHEMA, EVENTS, HASHES, FILES)), file=sys.stderr)
