"""What reached the book late, because there was no connection: when it was touched or scanned, by the device's own account."""

from __future__ import annotations

from collections.abc import Mapping

from fillbook.trace.web import here

LATE_S = 60  # what waited longer than this is entered as of when it was touched or scanned
OLDEST_S = 7 * 86_400


def waited(said: Mapping[str, str]) -> int:
    """Seconds that what was posted waited on the device; 0 where it says none that can be."""
    seconds = here.number(said.get("waited", "")) or 0
    return seconds if LATE_S <= seconds <= OLDEST_S else 0
