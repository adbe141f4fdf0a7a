"""Parts of a page that are drawn again and again, kept by what determines them and by nothing else."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

from fillbook.trace.web.languages import choice

MOST = 4_000  # drawings of one macro, some 300 bytes each


def kept(macro: Callable[..., Any]) -> Callable[..., Any]:
    """*macro*, drawn once for each of its arguments in each language.

    Only for a macro of words and numbers that looks at nothing else: neither at the time, nor at who works here, nor at the book.
    """

    @lru_cache(maxsize=MOST, typed=True)  # typed: a text and the same text as markup are drawn differently
    def drawn(language: str, /, *args: Any, **named: Any) -> Any:
        return macro(*args, **named)

    def draw(*args: Any, **named: Any) -> Any:
        return drawn(choice.language(), *args, **named)

    return draw
