"""The sentences that scripts say: they stand in the scripts in English, inside ``inWords("…")``."""

from __future__ import annotations

import hashlib
import json
import re
from functools import lru_cache

from fillbook import resource
from fillbook.trace.languages.catalogue import catalogue

_SAID = re.compile(r'inWords\(("(?:[^"\\]|\\.)*")[,)]')


@lru_cache
def words_of_scripts() -> dict[str, list[str]]:
    """Each script -> what it says."""
    found = {}
    for path in sorted(resource("static").glob("*.js")):
        words = [json.loads(one) for one in _SAID.findall(path.read_text(encoding="utf-8"))]
        if words:
            found[path.name] = words
    return found


@lru_cache
def script(language: str) -> str:
    """A script that gives the others their words in *language*."""
    here = catalogue(language).here
    words = {
        one: here[one.strip()] for said in words_of_scripts().values() for one in said if one.strip() in here
    }
    spaced = {one: one.replace(one.strip(), known, 1) for one, known in words.items()}
    return "window.ourWords = " + json.dumps(spaced, ensure_ascii=False, sort_keys=True) + ";\n"


@lru_cache
def address(language: str) -> str:
    """Where that script is had; with a mark that changes when its words do."""
    mark = hashlib.sha256(script(language).encode()).hexdigest()[:10]
    return f"/static/words.js?language={language}&v={mark}"
