"""Who may open which page, and which verb a page's form does: one table, asked before every request. What has no line is refused.

Reading stays open inside the shop, as the paper on the wall would be: a phone that scans a label shows the tire. What tells of
people is the owner's. A page that *writes* names its verb, and the verb's own role and PIN hold (``work/registry.py``), so that
a page, the API and the table can't say different things.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from flask import Flask, request
from flask.typing import ResponseReturnValue

from fillbook.trace.core.errors import NotAllowed
from fillbook.trace.web import here
from fillbook.trace.work import registry
from fillbook.trace.work.acting import ARTICLES

NOBODY, HAND, LEAD, OWNER = "nobody", "hand", "lead", "owner"
TOKEN = "token"  # a device's own token says its role; trace/web/api asks for it
ROLES = (NOBODY, HAND, LEAD, OWNER)
ANY_VERB = "any"


@dataclass(frozen=True)
class Needs:
    """What a route asks: the least *role* of who works at the station, and the *verb* its form does, if it does one.

    ``pin``: what is asked beside a verb, such as a new code, takes the signer's PIN, too.
    """

    role: str = NOBODY
    verb: str | None = None
    pin: bool = False

    @property
    def words(self) -> str:
        """The line's meaning for the printed table."""
        if self.verb == ANY_VERB:
            return "as its verb"
        if self.verb:
            verb = registry.find(self.verb)
            return verb.role + (" + PIN" if verb.pin else "")
        return self.role + (" + PIN" if self.pin else "")


def does(verb: str) -> Needs:
    """A route that takes the form of *verb* and nothing else: through ``Form.send`` or ``Form.act``, and no other way.

    When its form is older than the sign-in, the view runs once more without writing, to draw the form with what was typed.
    """
    return Needs(verb=verb)


READ = Needs()

#: endpoint (blueprint.function) -> what it needs. A new route gets its line here.
PAGES: dict[str, Needs] = {
    "static": READ,
    # looking
    "floor.floor": READ, "cage.cage": READ, "cage.line": READ, "cage.change": READ, "counts.kilograms_page": READ,
    "counts.lines_page": READ, "counts.orders": READ, "desk.desk": READ, "desk.tire": READ, "dock.dock": READ, "holds.holds": READ,
    "identify.case": READ, "identify.waiting": READ, "item.attached": READ, "item.item": READ, "labels.labels": READ,
    "help.every_job": READ, "help.job": READ, "lists.every_list": READ, "lists.one_list": READ, "lists.sheet": READ,
    "lineage.picture": READ, "office.book": READ, "office.event": READ, "office.verify": READ, "racks.racks": READ,
    "racks.zone": READ, "recall.as_csv": READ, "recall.as_json": READ, "recall.how_sure_are_we": READ, "recall.opened": READ, "recall.opened_csv": READ,
    "recall.recall": READ, "recall.closing": READ, "recall.close": does("close recall"), "regrind.regrind": READ, "scan.search": READ, "verbs.every_verb": READ, "verbs.form": READ,
    "counts.habits_page": Needs(OWNER),
    # the zones; a logger that sends by itself shows its own token
    "zones.every_zone": READ, "zones.zone": READ, "zones.tokens": READ, "zones.file": READ, "zones.readings.take": Needs(TOKEN),
    "racks.now": READ, "racks.morning": READ, "racks.heating": READ, "desk.several": READ, "desk.sheet": READ, "desk.day_sheet": READ,
    "desk.release_several": does("release"), "zones.give_token": does("let sensor send"), "zones.take_file": does("log temperatures"),
    # scanning leads to a page; a badge says who works here; at the racks a scan lays a tire, as the verb's own rules allow
    "scan.scan": READ, "scan.take": READ, "station.who": READ, "station.choose": READ, "station.leave": READ,
    # reading in another language or other units changes nothing in the book
    "preferences.page": READ, "preferences.keep": READ, "preferences.words": READ,
    # writing
    "cage.start": does("start fill"), "cage.finish": does("finish fill"), "cage.changed": does("hook up"),
    # what was typed and not sent is no act: it is kept for who works here, and erased when the fill is finished
    "drafts.draft": Needs(HAND),
    "desk.release": does("release"), "dock.receive": does("receive"), "identify.sign": does("identify"),
    "labels.hand_out": does("print"), "office.correct": does("correct"), "verbs.do": does(ANY_VERB),
    # labels: looking, drawing and asking a printer write nothing; an opened PDF was asked for by the form that began its job
    "labels.job": READ, "labels.stop": READ, "labels.open_pdf": READ, "labels.send": does("print"), "faces.faces": READ,
    "faces.face": READ, "faces.picture": READ, "faces.look": READ, "faces.show": READ, "faces.adjust": does("adjust face"),
    "printers.choose": READ, "printers.look": READ, "printers.chosen": does("choose printer"), "trials.trial": READ,
    "trials.sheet": READ, "trials.keep": does("paper trial"), "dock.read": READ, "dock.notes": READ, "dock.look": READ,
    "dock.show": READ, "dock.note": does("note supplier code"),
    # setting up: an empty book takes the code its terminal shows, a further shop an owner who signs
    "setup.setup": READ, "setup.start": READ,
    # devices, and what they ask with their tokens; each verb's own role and PIN hold there, too
    "devices.page": Needs(OWNER), "devices.admit": does("admit device"), "devices.dismiss": does("dismiss device"),
    "api.page": READ, "api.description": READ, "api.act": Needs(TOKEN), "api.device": Needs(TOKEN), "api.verbs": Needs(TOKEN),
    "api.verb": Needs(TOKEN), "api.limits": Needs(TOKEN), "api.items": Needs(TOKEN), "api.item": Needs(TOKEN),
    "api.timeline": Needs(TOKEN), "api.trace": Needs(TOKEN), "api.recall": Needs(TOKEN), "api.racks": Needs(TOKEN),
    "api.desk": Needs(TOKEN), "api.events": Needs(TOKEN), "api.event": Needs(TOKEN),
    # people and what they sign with; anybody may set their own PIN, with the old one or a code
    "people.people": Needs(OWNER), "people.code": Needs(OWNER, pin=True), "people.lift": Needs(OWNER, pin=True),
    "people.pin": READ, "people.set_pin": READ,
}  # fmt: skip


def need(endpoint: str | None) -> Needs | None:
    return PAGES.get(endpoint or "")


def missing(app: Flask) -> list[str]:
    """What is wrong with the table: a sentence for each route without a line, and for each line without a route."""
    rules = {rule.endpoint: rule.rule for rule in app.url_map.iter_rules()}
    lacking = [
        f'The route {rule} has no line in PAGES of trace/web/roles.py: add "{endpoint}": READ, does("its verb") or Needs(OWNER).'
        for endpoint, rule in sorted(rules.items())
        if endpoint not in PAGES
    ]
    return lacking + [
        f'PAGES names "{endpoint}", which is no route.' for endpoint in PAGES if endpoint not in rules
    ]


def guard(app: Flask) -> None:
    """Ask the table before every request."""

    @app.before_request
    def may_they() -> ResponseReturnValue | None:
        if request.endpoint is None:  # no such page: answered as such
            return None
        asked = need(request.endpoint)
        if asked is None:
            raise NotAllowed(
                f"Nobody may open this page: it has no line in PAGES of trace/web/roles.py ({request.endpoint}). "
                "Whoever keeps the program adds it."
            )
        if asked.role not in (NOBODY, TOKEN):
            check(asked.role)
        return None


def check(role: str) -> None:
    """Refuse unless somebody of at least *role* works at this station."""
    if here.is_at_least(role):
        return
    person = here.who()
    there = f"{person.name} is a {person.role}" if person else "nobody has said who works here"
    raise NotAllowed(f"This is for {ARTICLES[role]}; {there}. Say at the top who works here.")


def table(app: Flask) -> list[dict[str, Any]]:
    """Every route with what it needs, for printing: method, path, needs, verb."""
    found = []
    for rule in sorted(app.url_map.iter_rules(), key=lambda one: (one.rule, sorted(one.methods or ()))):
        asked = need(rule.endpoint)
        for method in sorted((rule.methods or set()) - {"HEAD", "OPTIONS"}):
            found.append(
                {"method": method, "path": rule.rule, "needs": asked.words if asked else "refused", "verb": (asked.verb or "") if asked else ""}
            )  # fmt: skip
    return found
