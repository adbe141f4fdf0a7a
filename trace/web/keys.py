"""The key that signs this book's session cookies: made once, kept in a file beside the book that only its owner may read."""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path

from fillbook.trace.core.errors import Nonsense

LEAST = 32


def key_beside(where: str) -> str:
    """The key of the book at *where* (a path), made if there is none yet.

    Raises Nonsense where the file can't be read or written, or holds no key.
    """
    path = Path(where + ".key")
    try:
        with contextlib.suppress(FileExistsError):
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(secrets.token_hex(32))
        key = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as trouble:
        raise Nonsense(
            f"The key file {path} can't be read or written ({trouble}). Give this program the right to keep a file beside the book."
        ) from None
    if len(key) < LEAST:
        raise Nonsense(
            f"The key file {path} holds no key. Delete it; a new one is made, and each station says again who works there."
        )
    return key
