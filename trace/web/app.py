"""The pages, put together: settings, the book, errors, headers, places. Nothing here leaves the shop's network."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from datetime import timedelta
from functools import cache
from pathlib import Path

from flask import Flask, redirect, request
from flask.typing import ResponseReturnValue
from flask_wtf.csrf import CSRFProtect

from fillbook import resource
from fillbook.trace.book import print_jobs
from fillbook.trace.book.opening import create, is_there, open_book
from fillbook.trace.web import (
    answered,
    headers,
    here,
    keys,
    our_names,
    roles,
    showing,
    trouble,
)
from fillbook.trace.web.api import devices
from fillbook.trace.web.api import views as api
from fillbook.trace.web.cage import drafts
from fillbook.trace.web.cage import views as cage
from fillbook.trace.web.counts import views as counts
from fillbook.trace.web.desk import views as desk
from fillbook.trace.web.dock import views as dock
from fillbook.trace.web.floor import views as floor
from fillbook.trace.web.help import views as help_pages
from fillbook.trace.web.holds import views as holds
from fillbook.trace.web.identify import views as identify
from fillbook.trace.web.item import views as item
from fillbook.trace.web.labels import faces, printers, trials
from fillbook.trace.web.labels import views as labels
from fillbook.trace.web.languages import choice, runs
from fillbook.trace.web.languages import views as preferences
from fillbook.trace.web.lineage import views as lineage
from fillbook.trace.web.lists import views as lists
from fillbook.trace.web.office import views as office
from fillbook.trace.web.people import views as people
from fillbook.trace.web.racks import views as racks
from fillbook.trace.web.recall import views as recall
from fillbook.trace.web.regrind import views as regrind
from fillbook.trace.web.scan import views as scan
from fillbook.trace.web.setup import views as setup
from fillbook.trace.web.station import views as station
from fillbook.trace.web.verbs import views as verbs
from fillbook.trace.web.zones import views as zones
from fillbook.trace.work import pins

PLACES = (
    floor, scan, item, labels, faces, printers, trials, dock, cage, drafts, racks, zones, desk, regrind, holds, recall, identify, office, verbs, setup, station, people, lineage, counts, lists, help_pages, preferences, devices, api
)  # fmt: skip
LARGEST_UPLOAD = 24 * 1024 * 1024
WITHOUT_SHOP = ("setup.", "static", "station.", "zones.readings.", "preferences.keep", "preferences.words")


def create_app(
    book_path: str,
    *,
    clock: Callable[[], float] = time.time,
    secret: str | None = None,
    testing: bool = False,
    first_code: str | None = None,
    names: tuple[str, ...] = (),
) -> Flask:
    """The web app of the book at *book_path*, which is started new where none is.

    *clock* gives seconds of UTC. *secret* signs the session cookies; without one it is read from the key file beside the book.
    *first_code* is asked of whoever begins an empty book; without one it is made anew at each start. *names*: what else than the
    labels' host this machine is called in the shop's network.
    Raises ShopError for a book that is older than this program, or a file that is no book.
    """
    book = _open(book_path)
    app = Flask(
        "fillbook",
        static_folder=str(resource("static")),
        static_url_path="/static",
        template_folder=str(Path(__file__).resolve().parent),
    )
    app.jinja_environment = runs.Environment
    app.config.update(
        SECRET_KEY=secret or keys.key_beside(book_path), TESTING=testing, MAX_CONTENT_LENGTH=LARGEST_UPLOAD,
        MAX_FORM_MEMORY_SIZE=LARGEST_UPLOAD, MAX_FORM_PARTS=5000, WTF_CSRF_TIME_LIMIT=None, SESSION_COOKIE_NAME="fillbook",
        SESSION_COOKIE_SAMESITE="Lax", SESSION_COOKIE_HTTPONLY=True, PERMANENT_SESSION_LIFETIME=timedelta(days=30),
        SEND_FILE_MAX_AGE_DEFAULT=timedelta(days=365),
    )  # fmt: skip
    app.extensions["fillbook"] = here.Served(book, clock, first_code or pins.new_code(), names)
    with book.connected():  # what a program that ended left half-printed is said to have stopped
        print_jobs.give_up_all(book)
    here.connect_per_request(app)
    our_names.answer_by_our_names_only(app)
    _send_to_the_beginning(app)
    roles.guard(app)
    CSRFProtect(app)
    headers.secure_headers(app)
    trouble.explain_errors(app)
    showing.teach_templates(app, mark_of)
    answered.mark_answers(app)
    choice.speak(app)
    for place in PLACES:
        app.register_blueprint(place.bp)
    return app


def _open(where: str) -> here.Book:
    book = open_book(where) if is_there(where) else create(where)
    book.db.close()  # each request connects for itself
    return book


def _send_to_the_beginning(app: Flask) -> None:
    """An empty book has one page, to set up its shop; in a book of several shops the station says first where it stands."""

    @app.before_request
    def begin() -> ResponseReturnValue | None:
        if request.path.startswith("/api/"):  # there a device's token says the shop, and no cookie is read
            return None
        found = here.find_shop()
        if found or (request.endpoint or "").startswith(WITHOUT_SHOP):
            return None
        return redirect("/who" if here.book().shops() else "/setup", 303)


@cache
def mark_of(name: str) -> str:
    """A few characters that change when the file *name* under static/ does, so that a browser never shows an old one."""
    return hashlib.sha256(resource(f"static/{name}").read_bytes()).hexdigest()[:10]
