"""What every answer says to the browser: nothing from elsewhere, nothing inside foreign pages, nothing guessed."""

from __future__ import annotations

import gzip
import re
import zlib
from collections.abc import Iterable, Iterator
from functools import lru_cache

from flask import Flask, Response, request

POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self'; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)

#: What gets smaller when it is packed. Pictures, PDF files and loggers' originals are packed already.
PACKED = (
    "text/html",
    "text/css",
    "text/javascript",
    "text/csv",
    "text/plain",
    "application/json",
    "application/problem+json",
    "image/svg+xml",
)
SMALLEST = 400  # bytes; below that the packing's own words cost more than they save
LEVEL = 6


def secure_headers(app: Flask) -> None:
    @app.after_request
    def add(answer: Response) -> Response:
        if answer.mimetype != "application/pdf":  # a browser's own reader of PDF files counts as an object
            answer.headers["Content-Security-Policy"] = POLICY
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["X-Frame-Options"] = "DENY"
        answer.headers["Referrer-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        answer.headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=()"
        # What is nobody else's says so for itself
        answer.headers.setdefault("Cache-Control", "private, no-cache")
        return pack(answer)


def pack(answer: Response) -> Response:
    """The answer packed with gzip, where the browser takes that: a shop's phones often stand at the edge of its radio.

    A packed page tells by its length whether something guessed stands in it twice, a form's token for one. Whoever would use that
    must listen in the shop's network and make a browser there ask thousands of times with its cookie, which is never sent for other
    sites' pages (SameSite).
    """
    if answer.mimetype not in PACKED or answer.status_code in (204, 206, 304):
        return answer
    answer.vary.add("Accept-Encoding")
    if (
        request.method == "HEAD"
        or "Content-Encoding" in answer.headers
        or not request.accept_encodings["gzip"]
    ):
        return answer
    if request.endpoint == "static":
        answer.direct_passthrough = False
        answer.set_data(_packed_once(answer.get_data(), answer.mimetype))
    elif answer.is_streamed:
        answer.response = _packed_in_parts(answer.iter_encoded())
        answer.headers.pop("Content-Length", None)
    elif (answer.content_length or 0) < SMALLEST:
        return answer
    else:
        answer.set_data(gzip.compress(answer.get_data(), LEVEL, mtime=0))
    answer.headers["Content-Encoding"] = "gzip"
    etag, _ = answer.get_etag()
    if etag:  # the same words in other bytes
        answer.set_etag(etag, weak=True)
    return answer


#: A comment of a script, on a line of its own or behind the end of a statement; in no string, since none goes over several lines and
#: behind a comment no quote is closed. A comment that holds a quote stays.
ASIDE = re.compile(rb"(?m)^[ \t]*//[^\n]*\n|(?<=[;{},)])[ ]+// [^\"'`\n]*$")


@lru_cache(maxsize=64)
def _packed_once(data: bytes, kind: str) -> bytes:
    """A file of ours, packed as small as it gets, once; without its comments, which are an eighth of a style sheet or a script."""
    if kind == "text/css":
        data = re.sub(rb"/\*.*?\*/\s*", b"", data, flags=re.DOTALL)
    elif kind == "text/javascript":
        data = ASIDE.sub(b"", data)
    return gzip.compress(data, 9, mtime=0)


def _packed_in_parts(parts: Iterable[bytes]) -> Iterator[bytes]:
    packer = zlib.compressobj(LEVEL, zlib.DEFLATED, 31)  # 31: gzip's own frame
    for part in parts:
        if packed := packer.compress(part):
            yield packed
    yield packer.flush()
