"""What can be wrong with what someone asked of the book.

Each error is one sentence or two: what is wrong, why, and what to do next. Anything else that escapes is our bug and should
look like one.
"""

from __future__ import annotations


class ShopError(Exception):
    """Something asked of the book that it will not do; its text is shown to the person as it is.

    ``field`` names the field that is at fault, where one is (``"net_kg"``); ``expected`` says in a few words what would have
    been taken, where that helps.
    """

    def __init__(self, words: str, *, field: str | None = None, expected: str | None = None) -> None:
        super().__init__(words)
        self.words = words
        self.field = field
        self.expected = expected

    def __str__(self) -> str:
        return self.words


class Nonsense(ShopError):
    """What was said cannot be: an unreadable value, an impossible time, a negative weight."""


class UnknownItem(ShopError):
    """An ID, name or address that nothing in this book bears."""


class WrongKind(ShopError):
    """The right kind of ID in the wrong place: a tire where a tote belongs."""


class Stopped(ShopError):
    """A breach of the shop's rules before the act; a lead may override it with a reason."""


class NotAllowed(ShopError):
    """The person's role does not cover this act."""


class Conflict(ShopError):
    """The book moved on since the asker looked, or the same request came twice with other content."""


class Damaged(ShopError):
    """The journal, the tables or the file are not as they were written."""
