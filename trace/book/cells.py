"""A cell of a file for a spreadsheet."""

from __future__ import annotations

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def harmless(text: str) -> str:
    """A cell that a spreadsheet reads as text and never as a formula.

    The wide signs count too: under some languages' settings a spreadsheet takes them for the narrow ones (OWASP, *CSV Injection*).

    >>> harmless("=1+1"), harmless("L-4"), harmless("-4")
    ("'=1+1", 'L-4', "'-4")
    """
    return f"'{text}" if text.startswith(FORMULA_SIGNS) else text
