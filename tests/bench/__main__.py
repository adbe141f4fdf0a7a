"""Times, for people to look at: ``python -m tests.bench``, or some of them by name. They pass or fail nothing."""

import importlib
import sys
from pathlib import Path

BENCHES = sorted(
    path.stem for path in Path(__file__).resolve().parent.glob("*.py") if not path.stem.startswith("_")
)


def main(names: list[str]) -> int:
    """Run the benches of these names, or all, and print one table each."""
    unknown = [name for name in names if name not in BENCHES]
    if unknown:
        print(f"There is no bench {', '.join(unknown)}. There are: {', '.join(BENCHES)}.", file=sys.stderr)
        return 1
    for name in names or BENCHES:
        module = importlib.import_module(f"tests.bench.{name}")
        print(f"\n{name}: {(module.__doc__ or '').strip().splitlines()[0]}")
        rows = [[str(cell) for cell in row] for row in module.rows()]
        widths = [max(len(row[n]) for row in rows) for n in range(len(rows[0]))]
        for row in rows:
            print("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
