"""By which names the pages are reached. A page from elsewhere can have its own name lead to this machine (DNS rebinding); the browser
then takes ours for that page's, and lets it read the book and write everyday acts. So a name that somebody can own is answered only
where it is known to be ours. What shows a token of its own (the API, a logger) is not asked.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable

from flask import Flask, request
from flask.typing import ResponseReturnValue

from fillbook.trace.web import here, trouble

#: Ends of names that nobody can register: RFC 6761, RFC 6762, RFC 8375, and ICANN's resolution on .internal; the other two are undelegated.
NOBODYS = (".localhost", ".local", ".home.arpa", ".internal", ".test", ".lan", ".home")
TOKENS = ("/api/", "/readings/")


def bare(host: str) -> str:
    """A host without its port.

    >>> bare("FILLBOOK.LOCAL:8470"), bare("[::1]:80"), bare("192.168.0.5")
    ('fillbook.local', '::1', '192.168.0.5')
    """
    name = host.strip().lower()
    if name.startswith("["):
        return name[1:].partition("]")[0]
    return name.partition(":")[0].rstrip(".")


def is_ours(host: str, known: Iterable[str]) -> bool:
    """Whether *host* (as a request says it) is a number, a name that only the shop's own network gives, or one of those *known*."""
    name = bare(host)
    try:
        ipaddress.ip_address(name)
        return True
    except ValueError:
        return "." not in name or name.endswith(NOBODYS) or name in {bare(one) for one in known}


def answer_by_our_names_only(app: Flask) -> None:
    @app.before_request
    def by_our_name() -> ResponseReturnValue | None:
        if request.path.startswith(TOKENS) or is_ours(request.host, ()):
            return None
        labels = [host for (host,) in here.book().tuples("SELECT host FROM shop")]
        if not labels or is_ours(
            request.host, [*labels, *here.served().names]
        ):  # an empty book asks for its terminal's code
            return None
        return trouble.page(
            f"This book does not go by the name {bare(request.host)[:80]}. Open it by its number, or as its labels name it: "
            f"{' or '.join(labels)}. Whoever serves it adds a name with fillbook serve --name.",
            421,
        )
