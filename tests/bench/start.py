"""How soon the command answers, against an interpreter that only imports click."""

import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 15
COMMANDS = {
    "python -c 'import click'": [sys.executable, "-c", "import click"],
    "fillbook --version": [sys.executable, "-m", "fillbook", "--version"],
    "fillbook --help": [sys.executable, "-m", "fillbook", "--help"],
    "fillbook recall --help": [sys.executable, "-m", "fillbook", "recall", "--help"],
}


def median_s(command: list[str]) -> float:
    """The median of so many runs, in seconds."""
    times = []
    for _ in range(RUNS):
        began = time.perf_counter()
        subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def rows() -> Iterator[tuple[str, str, str]]:
    """Command, median in milliseconds, ratio to the first."""
    yield "command", f"median of {RUNS}, ms", "ratio"
    first = None
    for name, command in COMMANDS.items():
        taken = median_s(command)
        first = first or taken
        yield name, f"{taken * 1000:.0f}", f"{taken / first:.2f}"
