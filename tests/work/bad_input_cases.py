"""What people get wrong at the bench, as one table. The verbs, the commands and the pages are all held to it.

A case is a verb and what was said; ``{names}`` stand for what :func:`stage` laid out. ``says`` are words the answer holds,
``error`` the kind of refusal, ``field`` the field it points at (None: the act as a whole). ``typed`` says whether it can be typed as
a command at all: an option takes text, never a list where a text belongs.
"""

from dataclasses import dataclass
from typing import Any

from fillbook.trace.core import ids

NOBODYS = ids.mint(
    "BH", "F", 25, ids.next_serial("BH", "F", 25, 70_000)
)  # reads well; no book of ours gave it out


@dataclass(frozen=True)
class Case:
    name: str
    verb: str
    fields: dict[str, Any]
    says: tuple[str, ...]
    error: str = "Nonsense"
    field: str | None = None
    who: str | None = "Sam"
    at: str | None = None
    override: str | None = None
    request: str | None = None
    typed: bool = True

    def said(self, names: dict[str, Any]) -> dict[str, Any]:
        """The fields with the stage's names put in place."""
        return put_in(self.fields, names)

    def time(self, names: dict[str, Any]) -> str | None:
        return put_in(self.at, names)


def put_in(value: Any, names: dict[str, Any]) -> Any:
    if isinstance(value, str) and value.startswith("{") and value.endswith("}"):
        return names[value[1:-1]]
    if isinstance(value, dict):
        return {put_in(key, names): put_in(part, names) for key, part in value.items()}
    if isinstance(value, list):
        return [put_in(part, names) for part in value]
    return value


def stage(shop: Any) -> dict[str, Any]:
    """A morning's work in *shop*, so that every case has something to be wrong about."""
    names: dict[str, Any] = {"line": "line 1", "line_2": "line 2", "zone": "warm room", "nobodys": NOBODYS}
    names["a"], names["b"] = shop.ready_line("line 1")
    names["a_2"], names["b_2"] = shop.ready_line("line 2")
    names["spare_a"] = shop.tote("A", lot="A-77")
    names["other_system"] = shop.tote("A", system="KV-55")
    names["old_a"] = shop.act(
        "receive", supplier="Northvale", lot="A-old", side="A", system="RX-30", net_kg=500, use_by="2025-09-02 08:00"
    ).ids[0]  # fmt: skip
    names["held_a"] = shop.tote("A")
    shop.act("hold", item=names["held_a"], why="lid was open")
    names["first"] = shop.fill(kg=200, start={"bay_f": 75})
    shop.wait(days=3)
    names["fill_event"] = shop.head
    shop.act("reclaim", tire=names["first"])
    names["reclaim_event"] = shop.head
    names["batch"] = shop.act("grind", pieces=[{"source": names["first"], "weight_kg": 150}]).ids[0]
    names["grind_event"] = shop.head
    names["waiting"] = shop.tire()
    names["released"] = shop.cured()
    shop.lead("release", tire=names["released"])
    names["release_event"] = shop.head
    names["racked"] = shop.fill()
    shop.rack(names["racked"])
    names["doubtful"] = shop.fill(pressure_psi=90)
    names["scrapped"] = shop.fill()
    shop.act("scrap", item=names["scrapped"], why="soft through and through")
    names["cup"] = shop.act("pour cup", line="line 1").ids[0]
    names["voided_event"] = shop.act("read temperature", zone="warm room", reading_f=75).seq
    shop.correct(names["voided_event"], void=True)
    names["return_event"] = shop.act("return", complaint="soft", customer="Quarry Nine").seq
    shop.act("hold", item=names["racked"], why="customer called")
    names["sound"] = shop.fill()
    names["filling"] = shop.tire()
    shop.wait(hours=1)
    names["before_the_start"] = shop.ago(minutes=30)
    shop.act("start fill", tire=names["filling"], line="line 2", request="tablet-1")
    shop.wait(hours=1)
    return names


def _wrong_check(code: str) -> str:
    return code[:-1] + ("Y" if code[-1] != "Y" else "Z")


RECEIVE = {"supplier": "Northvale", "lot": "A-9", "side": "A", "system": "RX-30", "net_kg": 1000}
HOOK = {"line": "{line}", "tote": "{spare_a}"}
FINISH = {"tire": "{filling}", "weight_kg": 150, "pressure_psi": 60}


def without(fields: dict[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in fields.items() if key != name}


CASES = (
    # -- who and what is named
    Case("an ID nobody was given", "reclaim", {"tire": "{nobodys}"}, ("no such label",), "UnknownItem", "tire"),
    Case("a wrong check character", "reclaim", {"tire": _wrong_check(NOBODYS)}, ("last character does not fit",), field="tire"),
    Case("half an ID", "reclaim", {"tire": "BH-F25"}, ("is not an ID",), field="tire"),
    Case("a tire where a tote belongs", "hook up", {"line": "{line}", "tote": "{waiting}"}, ("is a tire", "belongs a tote"), "WrongKind", "tote"),
    Case("a tote where a line belongs", "hook up", {"line": "{a}", "tote": "{spare_a}"}, ("belongs a line",), "WrongKind", "line"),
    Case("a line by a name nobody gave", "hook up", {"line": "line 9", "tote": "{spare_a}"}, ("line 9",), field="line"),
    Case("an unknown person", "receive", RECEIVE, ("Alex", "The book knows"), "UnknownItem", "who", who="Alex"),
    Case("nobody named", "receive", RECEIVE, ("Say who",), "UnknownItem", "who", who=None),
    Case("a role too low", "release", {"tire": "{racked}"}, ("takes a lead", "Sam is a hand"), "NotAllowed", "who"),
    Case("a hand overrides", "hook up", {"line": "{line}", "tote": "{held_a}"}, ("Only a lead",), "NotAllowed", "override", override="in a hurry"),
    Case("a hand adds a person", "add person", {"name": "Jo"}, ("takes the owner",), "NotAllowed", "who"),
    Case("a system nobody added", "receive", RECEIVE | {"system": "RX-31"}, ("RX-31", "Known: RX-30, KV-55"), "UnknownItem", "system"),
    Case("a lot on the other side than before", "receive", RECEIVE | {"lot": "A-77", "side": "B"}, ("came in before as side A",), field="side"),
    Case("a name taken twice", "add line", {"name": "Line 1"}, ("is taken",), "Conflict", "name", who="Dana"),
    Case("a system added twice", "add system", {"name": "rx-30"}, ("in the book already",), "Conflict", "name", who="Dana"),
    # -- fields
    Case("an unknown field", "receive", RECEIVE | {"colour": "amber"}, ("colour is not a field", "It takes"), field="colour", typed=False),
    Case("a missing field", "receive", without(RECEIVE, "lot"), ("lot is missing",), field="lot"),
    Case("a missing weight", "receive", without(RECEIVE, "net_kg"), ("net_g or net_kg or net_lb is missing",), field="net_g"),
    Case("two units of one measure", "receive", RECEIVE | {"net_lb": 2204}, ("say the same thing twice",), field="net_lb"),
    Case("a side that is none", "receive", RECEIVE | {"side": "C"}, ("A, B",), field="side"),
    Case("a count that is none", "receive", RECEIVE | {"totes": "a few"}, ("whole number",), field="totes"),
    Case("no tote at all", "receive", RECEIVE | {"totes": 0}, ("totes",), field="totes"),
    Case("yes or no that is neither", "unhook", {"tote": "{a}", "empty": "maybe"}, ("yes or no",), field="empty"),
    Case("a list where a text belongs", "receive", RECEIVE | {"lot": ["A-1"]}, ("lot is a text",), field="lot", typed=False),
    Case("true where a weight belongs", "receive", RECEIVE | {"net_kg": True}, ("not a number",), field="net_kg", typed=False),
    Case("a text over the longest", "take in", {"customer": "Q" * 201, "size": "12-16.5"}, ("201 characters",), field="customer"),
    Case("control characters in a text", "take in", {"customer": "Quarry\u0007Nine", "size": "12-16.5"}, ("U+0007",), field="customer"),
    Case("a letter that turns the line round", "take in", {"customer": "Quarry \u202eeniN", "size": "12-16.5"}, ("U+202E",), field="customer"),
    Case("half a letter", "take in", {"customer": "Quarry \ud800", "size": "12-16.5"}, ("U+D800",), field="customer", typed=False),
    Case("blanks for a name", "take in", {"customer": "   ", "size": "12-16.5"}, ("customer",), field="customer"),
    # -- weights and measures
    Case("a negative weight", "finish fill", FINISH | {"weight_kg": -5}, ("-5 kg",), field="weight_kg"),
    Case("a weight of nothing", "finish fill", FINISH | {"weight_kg": 0}, ("0 kg",), field="weight_kg"),
    Case("an absurd weight", "finish fill", FINISH | {"weight_kg": 40000}, ("at most 30000 kg",), field="weight_kg"),
    Case("an absurd weight in pounds", "finish fill", {"tire": "{filling}", "weight_lb": 70000, "pressure_psi": 60}, ("at most 66138 lb",), field="weight_lb"),
    Case("an absurd pressure in psi", "finish fill", FINISH | {"weight_kg": 12, "pressure_psi": 500}, ("between 0 and 435 psi",), field="pressure_psi"),
    Case("a weight beyond every number", "finish fill", FINISH | {"weight_kg": "9" * 40}, ("too long",), field="weight_kg"),
    Case("a weight that is a word", "finish fill", FINISH | {"weight_kg": "heavy"}, ("not a plain number",), field="weight_kg"),
    Case("a comma that may mean thousands", "finish fill", FINISH | {"weight_kg": "1,200"}, ("thousands or decimals",), field="weight_kg"),
    Case("an absurd pressure", "finish fill", FINISH | {"pressure_psi": 900}, ("435 psi",), field="pressure_psi"),
    Case("more regrind than all of it", "finish fill", FINISH | {"mix_pct": 110}, ("100 %",), field="mix_pct"),
    Case("an absurd temperature", "read temperature", {"zone": "{zone}", "reading_f": 400}, ("between -76 and 194 °F",), field="reading_f"),
    Case("a durometer beyond its scale", "read cup", {"cup": "{cup}", "is_set": True, "hardness": [45, 140]}, ("0 to 100",), field="hardness"),
    Case("a limit that is none", "set limit", {"limit": "speed", "to": "5 h", "source": "owner"}, ("no limit",), field="limit", who="Lee"),
    Case("a limit without its unit", "set limit", {"limit": "cure_temperature", "to": "72", "source": "owner"}, ("a number and a unit",), field="to", who="Lee"),
    Case("a limit without its source", "set limit", {"limit": "cure_temperature", "to": "72 f", "source": " "}, ("comes from",), field="source", who="Lee"),
    # -- times
    Case("a time that lies ahead", "receive", RECEIVE, ("ahead",), field="at", at="2199-06-01 08:00"),
    Case("a time before the item existed", "hook up", HOOK, ("not in the book at", "came in at"), field="at", at="2025-08-01 08:00"),
    Case("an hour that never was", "receive", RECEIVE, ("never happened",), field="at", at="2025-03-09 02:30"),
    Case("an hour that was twice", "receive", RECEIVE, ("happened twice", "-05:00"), field="at", at="2024-11-03 01:30"),
    Case("a time that cannot be read", "receive", RECEIVE, ("not a time",), field="at", at="yesterday"),
    Case("a day that is none", "receive", RECEIVE | {"use_by": "2025-02-30 08:00"}, ("calendar",), field="use_by"),
    Case("a reset after the reading", "read temperature", {"zone": "{zone}", "reading_f": 75, "lowest_since": "2026-06-01 08:00"}, ("reset before",), field="lowest_since", at="2025-09-05 12:00"),
    Case("pieces cut after they were ground", "grind", {"pieces": [{"source": "unknown", "weight_kg": 5, "cut_no_later_than": "2199-01-01 08:00"}]}, ("after they were ground",), field="pieces[0].cut_no_later_than"),
    Case("finished before it was started", "finish fill", FINISH, ("was started at",), field="at", at="{before_the_start}"),
    # -- the line
    Case("a side A tote on side B's hose", "hook up", HOOK | {"side": "B"}, ("isocyanate", "side B"), "Stopped", "tote"),
    Case("two systems on one line", "hook up", {"line": "{line}", "tote": "{other_system}"}, ("never mixed",), "Stopped", "tote"),
    Case("a tote on two lines at once", "hook up", {"line": "{line_2}", "tote": "{a}"}, ("take it off there first",), "Stopped", "tote"),
    Case("a tote hooked up twice", "hook up", {"line": "{line}", "tote": "{a}"}, ("already",), field="tote"),
    Case("a held tote", "hook up", {"line": "{line}", "tote": "{held_a}"}, ("on hold",), "Stopped", "tote"),
    Case("a tote past its date", "hook up", {"line": "{line}", "tote": "{old_a}"}, ("used by",), "Stopped", "tote"),
    Case("a tote that is on no line", "unhook", {"tote": "{spare_a}"}, ("not hooked up",), field="tote"),
    Case("a second open fill on a line", "start fill", {"tire": "{waiting}", "line": "{line_2}"}, ("finish that fill first",), field="line"),
    Case("a tire started twice", "start fill", {"tire": "{filling}", "line": "{line}"}, ("is being filled",), field="tire"),
    Case("a filled tire filled again", "start fill", {"tire": "{racked}", "line": "{line}"}, ("taken in anew",), field="tire"),
    Case("a fill finished twice", "finish fill", FINISH | {"tire": "{racked}"}, ("correct its fill",), field="tire"),
    Case("a fill without start or line", "finish fill", FINISH | {"tire": "{waiting}"}, ("say on which line",), field="line"),
    # -- racks, desk, regrind
    Case("a tire racked while it is filled", "rack", {"zone": "{zone}", "tires": ["{filling}"]}, ("finish its fill",), field="tires"),
    Case("a tire racked where it lies", "rack", {"zone": "{zone}", "tires": ["{racked}"]}, ("already",), field="tires"),
    Case("a tire named twice", "rack", {"zone": "{zone}", "tires": ["{racked}", "{racked}"]}, ("twice",), field="tires"),
    Case("a tire released twice", "release", {"tire": "{released}"}, ("released already",), field="tire", who="Lee"),
    Case("an uncured tire released", "release", {"tire": "{doubtful}"}, ("override",), "Stopped", "tire", who="Lee"),
    Case("an unreleased tire dispatched", "dispatch", {"tires": ["{sound}"]}, ("not released",), "Stopped", "tires"),
    Case("a held tire dispatched", "dispatch", {"tires": ["{racked}"]}, ("on hold", "no dispatch"), "Stopped", "tires"),
    Case("an unfilled tire dispatched", "dispatch", {"tires": ["{waiting}"]}, ("no filled tire",), field="tires"),
    Case("an unfilled tire that comes back", "return", {"tire": "{waiting}", "complaint": "flat"}, ("never filled",), field="tire"),
    Case("a tire that comes back with no clue", "return", {"complaint": "flat"}, ("at least one clue",), field="customer"),
    Case("a return that is none", "identify", {"event": 1, "verdict": "ours", "why": "looked at it"}, ("no return",), "UnknownItem", "event", who="Lee"),
    Case("ours, yet another's", "identify", {"event": "{return_event}", "verdict": "not ours", "tire": "{released}", "why": "looked at it"}, ("it is ours",), field="verdict", who="Lee"),
    Case("a fill cut out that is not there", "reclaim", {"tire": "{waiting}"}, ("no fill to cut out",), field="tire"),
    Case("scrap cut out for regrind", "reclaim", {"tire": "{scrapped}"}, ("never becomes regrind",), field="tire"),
    Case("a held tire cut out", "reclaim", {"tire": "{racked}"}, ("on hold",), "Stopped", "tire"),
    Case("ground before it was cut out", "grind", {"pieces": [{"source": "{released}", "weight_kg": 5}]}, ("before it is ground",), field="pieces[0].source"),
    Case("scrap ground", "grind", {"pieces": [{"source": "{scrapped}", "weight_kg": 5}]}, ("never becomes regrind",), field="pieces[0].source"),
    Case("a batch of nothing", "grind", {"pieces": []}, ("pieces",), field="pieces", typed=False),
    Case("a batch made from itself", "correct", {"event": "{grind_event}", "fields": {"pieces": [{"source": "{batch}", "weight_kg": 5}]}, "why": "typed wrong"}, ("can't be made from itself",), field="pieces[0].source", who="Lee"),
    Case("a piece without its weight", "grind", {"pieces": [{"source": "unknown"}]}, ("weight_g or weight_kg or weight_lb is missing",), field="pieces[0].weight_g"),
    Case("scrapped twice", "scrap", {"item": "{scrapped}", "why": "again"}, ("scrapped at",), field="item"),
    # -- holds, corrections, papers
    Case("a hold on two things", "hold", {"item": "{a}", "lot": "A-77", "why": "smell"}, ("one of the two",), field="item"),
    Case("a hold on a lot that never came", "hold", {"lot": "Z-1", "why": "smell"}, ("No lot",), "UnknownItem", "lot"),
    Case("a hold without a reason", "hold", {"item": "{a}", "why": " "}, ("why",), field="why"),
    Case("a lift of no hold", "lift", {"item": "{a}", "why": "looked at it"}, ("No such hold",), "UnknownItem", "item", who="Lee"),
    Case("an event that is not there", "correct", {"event": 9999, "void": True, "why": "typed wrong"}, ("no event 9999",), "UnknownItem", "event", who="Lee"),
    Case("an event voided twice", "correct", {"event": "{voided_event}", "void": True, "why": "typed wrong"}, ("voided already",), field="event", who="Lee"),
    Case("a release corrected", "correct", {"event": "{release_event}", "void": True, "why": "typed wrong"}, ("stays as it was written",), field="event", who="Lee"),
    Case("a correction of nothing", "correct", {"event": "{fill_event}", "why": "typed wrong"}, ("one of the two",), field="fields", who="Lee"),
    Case("a correction to an unknown field", "correct", {"event": "{fill_event}", "fields": {"colour": "amber"}, "why": "typed wrong"}, ("not a field",), field="colour", who="Lee"),
    Case("a correction to a negative weight", "correct", {"event": "{fill_event}", "fields": {"weight_lb": -3}, "why": "typed wrong"}, ("-3 lb",), field="weight_lb", who="Lee"),
    Case("a correction into the future", "correct", {"event": "{fill_event}", "happened": "2199-01-01 08:00", "why": "typed wrong"}, ("ahead",), field="happened", who="Lee"),
    Case("a cut-out fill voided under its batch", "correct", {"event": "{reclaim_event}", "void": True, "why": "typed wrong"}, ("was ground into",), "Conflict", "event", who="Lee"),
    Case("a fill voided under its batch", "correct", {"event": "{fill_event}", "void": True, "why": "typed wrong"}, ("was ground into",), "Conflict", "event", who="Lee"),
    Case("a recall of nothing known", "open recall", {"suspect": "Z-1", "why": "complaint"}, ("neither a lot",), "UnknownItem", "suspect", who="Lee"),
    Case("one request for two things", "start fill", {"tire": "{waiting}", "line": "{line}"}, ("used before for something else",), "Conflict", "request", request="tablet-1"),
    Case("a logger's file without its first line", "log temperatures", {"zone": "{zone}", "csv": "2025-09-01T08:00:00-05:00,75\n"}, ("Nothing was taken in yet", "ONLY by its values", "read_as"), field="read_as"),
    Case("a shop set up twice", "set up shop", {"site": "BH", "name": "Another", "owner": "Dana"}, ("set up already",), "Conflict", "site", who=None),
    Case("a site with an O", "set up shop", {"site": "BO", "name": "Another", "owner": "Dana"}, ("without I and O",), field="site", who=None),
    Case("a zone of time that is none", "set up shop", {"site": "BK", "name": "Another", "owner": "Dana", "timezone": "America/Nowhere"}, ("no time zone",), field="timezone", who=None),
)  # fmt: skip
