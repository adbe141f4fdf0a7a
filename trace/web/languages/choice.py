"""Which language and which units a page is shown in: the person's, else this station's, else what the browser asks for."""

from __future__ import annotations

from typing import Any

from flask import Flask, g, has_request_context, request, session
from flask_babel import Babel, get_locale, refresh
from markupsafe import Markup, escape

from fillbook.trace.core import units
from fillbook.trace.core.errors import ShopError
from fillbook.trace.languages.catalogue import LANGUAGES, Catalogue, catalogue
from fillbook.trace.web import here
from fillbook.trace.web.languages import script


def select() -> str:
    """The language of this request."""
    if request.path.startswith("/api/"):  # programs are answered in the words of their description
        return "en"
    chosen = here.preferences().language or session.get("language")
    if chosen in LANGUAGES:
        return chosen
    return request.accept_languages.best_match(list(LANGUAGES), "en") or "en"


def language() -> str:
    """The code of the language this page is in, such as ``es``."""
    try:
        return g.language
    except AttributeError:
        g.language = str(get_locale() or "en") if has_request_context() else "en"
    return g.language


def forget() -> None:
    """What is shown from here on follows a choice just made, or who works here now."""
    for name in ("language", "words", "preferences", "say"):
        g.pop(name, None)
    refresh()


def words() -> Catalogue:
    """The catalogue of this page's language."""
    try:  # asked for hundreds of times in one page
        return g.words
    except AttributeError:
        g.words = catalogue(language())
    return g.words


def in_words(value: Any) -> Any:
    """A value as it is shown: what the rules say in this page's language and the reader's units, what people typed as it is."""
    if isinstance(value, ShopError):
        value = str(value)
    if not isinstance(value, str) or isinstance(value, Markup) or not value:
        return value
    found = words()
    said = found.said(value) if found.here else value
    return (
        units.own_first(said, g.get("shop") is not None and here.say().us)
        if units.measures_twice(said)
        else said
    )


def in_the_language(message: str, /, **places: Any) -> Markup:
    """A template's own words, with what stands in their places."""
    return words().fill(message, places)


def said_as_it_is(*parts: Any) -> Markup:
    """Several values one after the other, with nothing between them that is words."""
    return Markup("".join(escape(part) for part in parts))


def speak(app: Flask) -> None:
    """Let the pages of *app* speak each person's language."""
    Babel(app, configure_jinja=False, default_locale="en", locale_selector=select)
    app.jinja_env.globals.update(
        in_words=in_words,
        in_the_language=in_the_language,
        said_as_it_is=said_as_it_is,
        language=language,
        languages=LANGUAGES,
        words_of_scripts=script.address,
    )

    @app.after_request
    def vary(answer: Any) -> Any:
        if answer.mimetype == "text/html":
            answer.vary.add("Accept-Language")
        return answer
