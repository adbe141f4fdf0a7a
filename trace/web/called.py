"""Tires called one after the other: as an address or a page's scan box names them."""

from __future__ import annotations

from fillbook.trace.book import queries
from fillbook.trace.core import ids
from fillbook.trace.web import here

MOST = 60  # tires in one go, as the release takes them


def tires(text: str) -> list[str]:
    """The tires that *text* names with commas between, each once; what is none of ours is left out, and the oldest beyond `MOST`."""
    codes = [
        code for code in dict.fromkeys(text.split(",")) if ids.is_valid(code) and ids.kind_of(code) == "F"
    ]
    return [code for code in codes if queries.item_exists(here.book(), code)][-MOST:]
