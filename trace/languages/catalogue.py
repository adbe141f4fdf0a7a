"""One language's catalogue: messages looked up as they are, and sentences of the rules found again by the words that stay.

The ``.po`` file itself is read when a language is first asked for: that takes a tenth of a second once in a program's life, keeps a
file out of the repository that nobody can review, and a correction needs nothing but an editor.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from markupsafe import Markup, escape

from fillbook import resource

#: The languages there are: code -> what it calls itself. English is what the program is written in.
LANGUAGES = {"en": "English", "es": "Español"}
PLACE = re.compile(r"\{([a-z_][a-z0-9_]*)\}")
DEEPEST = 5  # a sentence may hold a phrase, which holds a word
FEW_WORDS = 7  # letters: a pattern that fixes fewer fits what people type, too
ONE_SMALL_WORD = 2  # letters: *to*, *of*, *at* stand between numbers only
LONGEST = 4000  # nothing longer is a sentence of ours

#: Places in which always stands what somebody typed.
TYPED = {
    "complaint",
    "customer",
    "device",
    "lot",
    "lots",
    "sensor",
    "shop",
    "site",
    "size",
    "station",
    "supplier",
    "system",
    "zone",
}

#: Places in which stands what somebody typed, or a sentence of the rules: never taken apart.
REASONS = {"override", "why"}

_SENTENCE = re.compile(r"(?<=[.!?])\s+")
_BETWEEN = ("; ", " · ", ": ", ", ", " (")


def po_file(language: str) -> Any:
    """Where the catalogue of *language* lies."""
    return resource(f"trace/web/translations/{language}/LC_MESSAGES/messages.po")


@lru_cache
def catalogue(language: str) -> Catalogue:
    """The catalogue of *language*; English is an empty one, since its words are the program's own."""
    if language == "en" or language not in LANGUAGES:
        return Catalogue({})
    from babel.messages.pofile import read_po  # labels and papers in English need no reader of catalogues

    with po_file(language).open("rb") as file:
        return Catalogue(
            {m.id: m.string for m in read_po(file, language) if m.id and m.string and not m.fuzzy}
        )


class Catalogue:
    """Messages of one language. ``here`` holds each message and its words; places stand in braces in both."""

    def __init__(self, here: Mapping[str, str]) -> None:
        self.here = dict(here)
        for message, words in here.items():
            for part, said in _ends(message, words):
                self.here.setdefault(part, said)
        self._folded: dict[str, str] = {}
        for message, words in self.here.items():
            if not PLACE.search(message):
                self._folded.setdefault(_fold(message), words)
        self._patterns: dict[str, list[tuple[int, re.Pattern[str], str]]] = {}
        for message, words in self.here.items():
            if PLACE.search(message):
                self._add(message, words)
        for found in self._patterns.values():
            found.sort(key=lambda one: -one[0])
        self._made: dict[str, list[tuple[str, str]]] = {}
        self.said = lru_cache(maxsize=20_000)(self._said)

    def _add(self, message: str, words: str) -> None:
        """Index a sentence under its longest fixed word, so that only a few are tried for any text."""
        fixed = PLACE.sub("\0", message)
        weight = len(re.findall(r"[^\W\d_]", fixed))
        keys = re.findall(r"(?<![^\W_\0])(?<!\0)[^\W\d_]{2,}(?![^\W_\0])(?!\0)", fixed)
        names = PLACE.findall(message)
        pieces = PLACE.split(message)[::2]
        pattern = re.escape(pieces[0])
        for name, after in zip(names, pieces[1:], strict=True):
            pattern += f"(?P<{name}>.*?)" + re.escape(after)
        key = max(keys, key=len, default="")
        self._patterns.setdefault(key, []).append((weight, re.compile(pattern, re.DOTALL), words))

    # -- a template's own run ----------------------------------------------------------------------------------------------------
    def fill(self, message: str, places: Mapping[str, Any]) -> Markup:
        """*message* in this language with *places* filled in, as HTML."""
        made = self._made.get(message)
        if made is None:
            words = self.here.get(message, message)
            parts = PLACE.split(words) if places or PLACE.search(message) else [words]
            made = self._made[message] = [
                (_escaped(parts[n]), parts[n + 1] if n + 1 < len(parts) else "")
                for n in range(0, len(parts), 2)
            ]
        if len(made) == 1 and not made[0][1]:
            return Markup(made[0][0])
        return Markup("".join(text + (escape(places[name]) if name in places else "") for text, name in made))

    # -- a value that is shown ---------------------------------------------------------------------------------------------------
    def _said(self, text: str) -> str:
        if not self.here or len(text) > LONGEST:
            return text
        return self.find(text) or text

    def find(self, text: str, deep: int = 0) -> str | None:
        """*text* in this language, or None where the catalogue does not know it."""
        bare = text.strip()
        if not re.search(r"[^\W\d_]{2}", bare):
            return None
        found = self.here.get(bare) or self._case(bare) or self._by_pattern(bare, deep, FEW_WORDS)
        if found is None and deep <= DEEPEST:
            found = self._in_parts(bare, deep) or self._by_pattern(bare, deep)
        if found is None:
            return None
        return text.replace(bare, found, 1) if bare != text else found

    def _case(self, text: str) -> str | None:
        """The same words with another first letter, or with or without the full stop."""
        known = self._folded.get(_fold(text))
        if known is None:
            return None
        known = known.rstrip(".") + ("." if text.endswith(".") else "")
        if text[0].isupper():
            return known[0].upper() + known[1:]
        return known[0].lower() + known[1:] if not known[1:2].isupper() else known

    def _by_pattern(self, text: str, deep: int, least: int = 0) -> str | None:
        """The sentence whose fixed words *text* has; only one that fixes *least* characters or more."""
        if deep > DEEPEST:
            return None
        tried: list[tuple[int, re.Pattern[str], str]] = list(self._patterns.get("", ()))
        for word in set(re.findall(r"[^\W\d_]{2,}", text)):
            tried += self._patterns.get(word, ())
        tried.sort(key=lambda one: -one[0])
        for weight, pattern, words in tried:
            if weight < least:
                break
            if found := pattern.fullmatch(text):
                known = {
                    name: self._in_place(name, value, deep + 1) for name, value in found.groupdict().items()
                }
                values = {name: known[name] or value for name, value in found.groupdict().items()}
                if weight <= ONE_SMALL_WORD and not all(
                    known[n] or re.search(r"\d", value) for n, value in found.groupdict().items()
                ):
                    continue  # "Lee to look" is no "{about} to {about2}"
                if weight < FEW_WORDS and not all(
                    known[name] or _no_words(value) for name, value in found.groupdict().items()
                ):
                    continue  # "drum found at gate" is no "{value} at {time}"
                return PLACE.sub(lambda m, values=values: values.get(m[1], m[0]), words)
        return None

    def _in_place(self, name: str, value: str, deep: int) -> str | None:
        """What stands in a place: nothing of what is always typed; of a reason only a whole sentence of the rules."""
        if not value or name in TYPED:
            return None
        if name in REASONS:
            return self.here.get(value) or self._case(value) or self._by_pattern(value, deep, FEW_WORDS)
        return self.find(value, deep)

    def _in_parts(self, text: str, deep: int) -> str | None:
        """Several sentences, or phrases one after the other; None where no part is known."""
        parts = _SENTENCE.split(text)
        if len(parts) > 1:
            return self._parts(parts, " ", deep)
        for between in _BETWEEN:
            if between in text:
                found = self._known_start(text, between, deep) or self._parts(
                    text.split(between), between, deep, whole=between == ", "
                )
                if found is not None:
                    return found
        for word in ("or", "and"):
            if f" {word} " in text and word in self.here:
                found = self._parts(
                    text.split(f" {word} "), f" {self.here[word]} ", deep, whole=True, any_of=False
                )
                if found is not None:
                    return found
        if text.endswith((")", ":", ".", ",")):
            found = self.find(text[:-1], deep + 1)
            return found and found + text[-1]
        return None

    def _known_start(self, text: str, between: str, deep: int) -> str | None:
        """The longest beginning of *text* that is known as it is, and what follows it."""
        at = text.rfind(between)
        while at > 0:
            known = self.here.get(text[:at]) or self._case(text[:at])
            if known:
                rest = text[at + len(between) :]
                return known + between + (self.find(rest, deep + 1) or rest)
            at = text.rfind(between, 0, at)
        return None

    def _parts(
        self, parts: list[str], between: str, deep: int, whole: bool = False, any_of: bool = True
    ) -> str | None:
        """*whole*: only where each part is known, or no words; a list that somebody typed stays as it is."""
        found = [self.find(part, deep + 1) if part else None for part in parts]
        if (any_of and not any(found)) or (
            whole and not all(one or _no_words(part) for one, part in zip(found, parts, strict=True))
        ):
            return None
        return between.join(one or part for one, part in zip(found, parts, strict=True))


def _ends(message: str, words: str) -> Iterator[tuple[str, str]]:
    """The ends of a sentence that stand by themselves, too, once it was put together and is taken apart again."""
    for mark in (";", ",", ":", "."):
        if message.startswith(mark + " ") and words.startswith(mark + " "):
            yield message[2:], words[2:]
    if message.endswith(":") and words.endswith(":"):
        yield message[:-1], words[:-1]
    before, colon, rest = message.partition(": ")
    said_before, said_colon, said = words.partition(": ")
    if (
        colon
        and said_colon
        and len(rest.split()) > 3
        and not PLACE.search(before + said_before)
        and PLACE.findall(rest) == PLACE.findall(said)
    ):
        yield rest, said
    first = re.match(r"(\{\w+\}) (?=[A-Z])", message)
    if first and words.startswith(first[0]):
        yield message[first.end() :], words[first.end() :]


def _no_words(text: str) -> bool:
    """Whether a part of a sentence is a number, a time, an ID or a short name rather than words of its own."""
    return bool(re.search(r"\d", text)) or len(text.split()) <= 1


def _fold(text: str) -> str:
    text = text.rstrip(".")
    return text[:1].lower() + text[1:]


def _escaped(text: str) -> str:
    """Words of ours as HTML; an apostrophe is left as it is, since our attributes stand in double quotation marks."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
