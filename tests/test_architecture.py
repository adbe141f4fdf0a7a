"""Who may use whom. The core knows the shop and nothing else; only the book knows the database; only verbs write."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# layer -> (its folder, the layers of ours it may use besides itself)
LAYERS = {
    "fillbook.trace.core": ("trace/core", ()),
    "fillbook.trace.book": ("trace/book", ("fillbook.trace.core",)),
    "fillbook.trace.work": ("trace/work", ("fillbook.trace.book", "fillbook.trace.core")),
    "fillbook.trace.languages": ("trace/languages", ("fillbook.trace.core",)),
    "fillbook.labels": ("labels", ("fillbook.trace.core", "fillbook.trace.languages")),
    "fillbook.trace.web": (
        "trace/web",
        (
            "fillbook.trace.work",
            "fillbook.trace.book",
            "fillbook.trace.core",
            "fillbook.trace.languages",
            "fillbook.labels",
        ),
    ),
    "fillbook.trace.cli": (
        "trace/cli",
        (  # the command that starts the pages needs them; the pages never need a command
            "fillbook.trace.web",
            "fillbook.trace.work",
            "fillbook.trace.book",
            "fillbook.trace.core",
            "fillbook.trace.languages",
            "fillbook.labels",
            "fillbook.fixtures",
        ),
    ),
}
# Not a layer: where the package lies and which version it is.
PACKAGE = ("fillbook.resource", "fillbook.__version__")

WRITERS = ("fillbook.trace.book.apply", "fillbook.trace.book.facts", "fillbook.trace.book.journal")
NEVER_WRITE = ("trace/web", "trace/cli", "fillbook")

# Standard library, but a clock, a disk, a network, another process, or a way round this test.
NAMES = """
    time sched signal os io pathlib shutil tempfile glob fileinput mmap logging sqlite3 dbm shelve pickle socket ssl http urllib
    smtplib ftplib secrets uuid subprocess threading multiprocessing asyncio concurrent importlib runpy ctypes
"""
NOT_PURE = frozenset(NAMES.split())
CLOCKS = frozenset({"now", "utcnow", "today"})
DISK = frozenset({"open", "input", "print", "__import__", "eval", "exec"})


def python_files(folder: str) -> list[Path]:
    return sorted(path for path in (ROOT / folder).rglob("*.py") if "__pycache__" not in path.parts)


def within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def imports(tree: ast.AST) -> Iterator[str]:
    """The full name of everything imported, wherever it stands; ``.`` before a relative one, which no file of ours uses."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from ("." * node.level + f"{node.module or ''}.{alias.name}" for alias in node.names)


def wrong_imports(source: str, layer: str) -> list[str]:
    """The imports of *source* that a file in *layer* may not have."""
    wrong = []
    core = layer == "fillbook.trace.core"
    for name in imports(ast.parse(source)):
        top = name.split(".")[0]
        if top == "fillbook":
            plain = name in PACKAGE and not core
            fine = plain or any(within(name, other) for other in (layer, *LAYERS[layer][1]))
        elif top in (
            "",
            "trace",
            "labels",
            "static",
            "fixtures",
        ):  # ours, by a name that only works at the top folder
            fine = False
        else:
            fine = not core or (top in sys.stdlib_module_names and top not in NOT_PURE)
        if not fine:
            wrong.append(name)
    return wrong


def impure(source: str) -> list[str]:
    """Where *source* reads a clock or a disk."""
    found = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Attribute) and node.attr in CLOCKS:
            owner = ast.unparse(node.value).lower().split(".")[-1]
            if owner in ("datetime", "date", "dt", "time") or node.attr == "utcnow":
                found.append(ast.unparse(node))
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in DISK:
            found.append(ast.unparse(node.func))
    return found


def writers_used(source: str) -> list[str]:
    """The imports of *source* that lead to writing: the writers themselves, or the book as a whole."""
    return [
        name
        for name in imports(ast.parse(source))
        if name in ("fillbook.trace.book", "fillbook.trace.book.*")
        or any(within(name, writer) for writer in WRITERS)
    ]


def findings_in(folder: str, check) -> list[str]:
    files = python_files(folder)
    assert files, f"{folder} holds no Python file: this test looks in the wrong place"
    return [
        f"{path.relative_to(ROOT)}: {found}"
        for path in files
        for found in check(path.read_text(encoding="utf-8"))
    ]


@pytest.mark.parametrize("layer", LAYERS)
def test_a_layer_uses_only_the_layers_below_it(layer):
    assert findings_in(LAYERS[layer][0], lambda source: wrong_imports(source, layer)) == []


def test_the_core_reads_no_clock_and_no_disk():
    assert findings_in("trace/core", impure) == []


@pytest.mark.parametrize("folder", NEVER_WRITE)
def test_pages_and_commands_never_write_rows_or_events(folder):
    assert findings_in(folder, writers_used) == []


@pytest.mark.parametrize("folder", ["fillbook", "trace", "labels", "static", "fixtures", "tests"])
def test_nobody_imports_the_standard_librarys_trace_by_mistake(folder):
    def top_folder_names(source: str) -> list[str]:
        return [name for name in imports(ast.parse(source)) if name.split(".")[0] in ("trace", "")]

    if python_files(folder):
        assert findings_in(folder, top_folder_names) == []


# The rules themselves, shown on small examples, so that a slip in this file cannot let everything through.


@pytest.mark.parametrize(
    ("layer", "source"),
    [
        ("fillbook.trace.core", "import flask"),
        ("fillbook.trace.core", "import os.path"),
        ("fillbook.trace.core", "from time import time"),
        ("fillbook.trace.core", "def late():\n    import sqlite3"),
        ("fillbook.trace.core", "from fillbook.trace.book import queries"),
        ("fillbook.trace.core", "from fillbook import resource"),
        ("fillbook.trace.core", "from . import ids"),
        ("fillbook.trace.core", "from trace.core import ids"),
        ("fillbook.labels", "from fillbook.trace.book import queries"),
        ("fillbook.labels", "import fillbook.trace.work"),
        ("fillbook.trace.book", "from fillbook.trace import work"),
        ("fillbook.trace.book", "from fillbook.labels import faces"),
        ("fillbook.trace.work", "from fillbook.labels import faces"),
        ("fillbook.trace.work", "from fillbook.trace.web import app"),
        ("fillbook.trace.web", "from fillbook.cli import main"),
        ("fillbook.trace.web", "from fillbook.trace.cli import demo"),
    ],
)
def test_a_forbidden_import_is_found(layer, source):
    assert wrong_imports(source, layer)


@pytest.mark.parametrize(
    ("layer", "source"),
    [
        (
            "fillbook.trace.core",
            "import math\nfrom fillbook.trace.core import ids\nfrom zoneinfo import ZoneInfo",
        ),
        (
            "fillbook.labels",
            "import reportlab\nfrom fillbook import resource\nfrom fillbook.trace.core.errors import Nonsense",
        ),
        (
            "fillbook.trace.work",
            "from fillbook.trace.book import apply, journal\nfrom fillbook.trace.core import flow",
        ),
        (
            "fillbook.trace.cli",
            "from fillbook.trace.web import create_app\nfrom fillbook.trace.book.opening import Book",
        ),
    ],
)
def test_an_allowed_import_is_not(layer, source):
    assert wrong_imports(source, layer) == []


@pytest.mark.parametrize(
    "source",
    [
        "datetime.now(UTC)",
        "datetime.datetime.utcnow()",
        "date.today()",
        "clock = datetime.now",
        "open('a')",
        "dt.now()",
    ],
)
def test_a_clock_or_disk_is_found(source):
    assert impure(source)


@pytest.mark.parametrize("source", ["at > now", "ask.now", "datetime.fromtimestamp(at, UTC)", "state.open"])
def test_a_time_that_was_handed_in_is_not(source):
    assert impure(source) == []


@pytest.mark.parametrize(
    "source",
    [
        "from fillbook.trace.book import apply",
        "from fillbook.trace.book.journal import Chain",
        "import fillbook.trace.book.apply as quietly",
        "from fillbook.trace import book",
        "from fillbook.trace.book import *",
    ],
)
def test_a_way_to_write_is_found(source):
    assert writers_used(source)
    assert writers_used("from fillbook.trace.book import queries, opening") == []


def test_every_bench_answers_the_one_command():
    benches = [path for path in (ROOT / "tests" / "bench").glob("*.py") if not path.stem.startswith("_")]
    lacking = [path.name for path in benches if "\ndef rows(" not in path.read_text(encoding="utf-8")]
    assert benches and lacking == []  # python -m tests.bench asks each for its rows


@pytest.mark.parametrize("asked", [("check",), ("format", "--check")], ids=" ".join)
def test_the_code_reads_as_make_fix_leaves_it(asked):
    done = subprocess.run(
        [sys.executable, "-m", "ruff", *asked, "--no-cache", "."], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout
