"""What is handed out: the wheel carries every file, the command starts light, the lock fits the project."""

import json
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import fillbook

ROOT = Path(__file__).resolve().parent.parent
FOLDERS = ("trace", "labels", "static", "fixtures")  # fillbook/ links to these
WHOLE = ("static", "fixtures")  # ship whole; elsewhere a README is for developers only
NOT_SOURCE = shutil.ignore_patterns("__pycache__", "*.pyc")
HEAVY = {"flask", "peewee", "pydantic", "PIL", "reportlab"}

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
LOCK = (ROOT / "requirements.lock").read_text(encoding="utf-8")


def files_under(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file() and not path.is_symlink()]


def files_that_must_ship(tree: Path) -> set[str]:
    own = {
        f"fillbook/{path.name}"
        for path in (tree / "fillbook").iterdir()
        if path.is_file() and not path.is_symlink()
    }
    linked = {
        f"fillbook/{path.relative_to(tree).as_posix()}"
        for folder in FOLDERS
        for path in files_under(tree / folder)
        if folder in WHOLE or path.name != "README.md"
    }
    return own | linked


@pytest.fixture(scope="module")
def tree(tmp_path_factory) -> Path:
    """A clean copy of what a wheel is built from: an old build/ beside it would slip deleted files into the wheel."""
    tree = tmp_path_factory.mktemp("tree")
    for name in ("fillbook", *FOLDERS):
        shutil.copytree(ROOT / name, tree / name, symlinks=True, ignore=NOT_SOURCE)
    for name in ("pyproject.toml", PROJECT["readme"], *PROJECT["license-files"]):
        shutil.copy(ROOT / name, tree / name)
    return tree


@pytest.fixture(scope="module")
def shipped(tree, tmp_path_factory) -> set[str]:
    out = tmp_path_factory.mktemp("wheel")
    pip = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "-q",
        "--no-deps",
        "--no-build-isolation",
        "--no-index",
        "-w",
        str(out),
    ]
    built = subprocess.run([*pip, str(tree)], capture_output=True, text=True)
    assert built.returncode == 0, built.stderr
    (wheel,) = out.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        return set(packed.namelist())


def test_the_wheel_carries_every_file_and_nothing_else(tree, shipped):
    """A folder missing here is missing under ``packages`` in pyproject.toml, another file under ``package-data``."""
    ours = {name for name in shipped if not name.startswith(f"fillbook-{PROJECT['version']}.dist-info/")}
    wanted = files_that_must_ship(tree)
    assert "fillbook/trace/core/ids.py" in wanted and "fillbook/py.typed" in wanted
    assert sorted(ours - wanted) == []
    assert sorted(wanted - ours) == []


def test_the_wheel_carries_the_licence_and_the_command(shipped):
    info = f"fillbook-{PROJECT['version']}.dist-info/"
    assert {info + "licenses/LICENSE", info + "entry_points.txt"} <= shipped


def test_version_is_the_same_everywhere():
    told = subprocess.run(
        [sys.executable, "-m", "fillbook", "--version"], cwd=ROOT, capture_output=True, text=True
    )
    assert told.returncode == 0, told.stderr
    assert fillbook.__version__ == PROJECT["version"]
    assert PROJECT["version"] in told.stdout.split()[-1]


def test_asking_for_the_version_loads_nothing_heavy():
    """A command that answers at once: the web app, the database and the drawing are loaded by the commands that need them."""
    script = (
        "import json, runpy, sys\n"
        "sys.argv = ['fillbook', '--version']\n"
        "code = 0\n"
        "try:\n"
        "    runpy.run_module('fillbook', run_name='__main__', alter_sys=True)\n"
        "except SystemExit as ended:\n"
        "    code = ended.code\n"
        "print(json.dumps([code, sorted({name.split('.')[0] for name in sys.modules})]))\n"
    )
    told = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True)
    assert told.returncode == 0, told.stderr
    code, loaded = json.loads(told.stdout.splitlines()[-1])
    assert code in (0, None) and "fillbook" in loaded
    assert HEAVY.isdisjoint(loaded)


def locked() -> dict[str, list[Requirement]]:
    found: dict[str, list[Requirement]] = {}
    for line in LOCK.splitlines():
        if not line.startswith((" ", "#")):
            pin = Requirement(line.rstrip("\\ "))
            found.setdefault(canonicalize_name(pin.name), []).append(pin)
    return found


def test_the_lock_names_no_address():
    for mark in ("http", "://", "index-url", "find-links", "file:", " @ "):
        assert mark not in LOCK


def test_every_locked_package_has_one_version_and_hashes():
    for entry in re.split(r"\n(?=\S)", LOCK.strip()):
        first, *hashes = entry.splitlines()
        assert re.match(r"[a-z0-9-]+==[^=\s;]+( ; [^\\]+)? \\$", first), first
        assert hashes and all(
            re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}( \\)?", line) for line in hashes
        ), first


@pytest.mark.parametrize(
    "wanted",
    [
        *PROJECT["dependencies"],
        *PROJECT["optional-dependencies"]["dev"],
        *(ROOT / "build.in").read_text(encoding="utf-8").split("\n")[:-1],
    ],
)
def test_the_lock_holds_what_the_project_asks_for(wanted):
    ask = Requirement(wanted)
    pins = locked().get(canonicalize_name(ask.name), [])
    assert pins, f"{wanted} is not in requirements.lock: run make lock"
    for pin in pins:
        (version,) = (spec.version for spec in pin.specifier)
        assert ask.specifier.contains(version), f"{pin} does not satisfy {wanted}: run make lock"
