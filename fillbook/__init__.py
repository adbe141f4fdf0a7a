"""fillbook: which material, under which conditions, is in which tire."""

from pathlib import Path

__version__ = "0.1.0"

_root = Path(__file__).resolve().parent
if not (_root / "trace").is_dir():  # a checkout whose git made no links (Windows)
    _root = _root.parent
    __path__.append(str(_root))


def resource(rel: str) -> Path:
    """The path of a file that ships with fillbook, such as ``static/app.css``.

    ``importlib.resources`` would not do: it ignores the folders added above.
    """
    return _root / rel
