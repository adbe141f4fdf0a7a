"""Whose tags a scanner or a photograph read at this station lately. An ID that was typed, pasted or opened by its address is not here."""

from __future__ import annotations

from collections.abc import Iterable

from flask import session

from fillbook.trace.web import called, here

LATELY_S = (
    30 * 60
)  # since the last scan: who stands before the tires scans them one after the other, then signs
NAME = "tags"


def remember(item: str) -> None:
    """The label of *item* (compact ID) was read just now."""
    now = here.now()
    before = [one for one in _there(now) if one != item]
    session[NAME] = [now, [*before, item][-called.MOST :]]


def lately(items: Iterable[str]) -> bool:
    """Whether the labels of all *items* were read here lately; no for none."""
    wanted = set(items)
    return bool(wanted) and wanted <= set(_there(here.now()))


def _there(now: int) -> list[str]:
    at, read = session.get(NAME, (0, []))
    return list(read) if 0 <= now - at <= LATELY_S else []
