"""How something that was typed or scanned is repeated in an answer."""

from __future__ import annotations

LONGEST = 40


def quoted(text: object) -> str:
    """*text* in quotation marks, safe to print: cut to 40 characters, whatever cannot be printed shown as ``?``.

    >>> quoted("BH-F26\\n")
    '"BH-F26?"'
    """
    try:
        whole = text if isinstance(text, str) else str(text)
    except ValueError:  # Python will not write out a whole number of many thousand digits
        whole = "a very long number"
    shown = "".join(c if c.isprintable() else "?" for c in whole[:LONGEST])
    return f'"{shown}…"' if len(whole) > LONGEST else f'"{shown}"'
