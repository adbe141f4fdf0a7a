"""A shop that does anything in any order, a third of it late or put right afterwards; its book is always what its journal says.

One rule per verb, so a verb without a rule fails. A refusal is an answer, and changes nothing.
"""

import base64
import importlib.util
import os
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule, run_state_machine_as_test

from fillbook.trace.book import derive, links
from fillbook.trace.core.errors import ShopError
from fillbook.trace.work import registry

_spec = importlib.util.spec_from_file_location("the_shop", Path(__file__).parent.with_name("the_shop.py"))
the_shop = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(the_shop)

COUNTS: Counter[str] = Counter()
LATE_MINUTES = (1, 3, 15, 60, 60 * 7, 60 * 24 * 2)
WAIT_MINUTES = (0, 0, 2, 20, 60 * 5, 60 * 30)

A_FEW_KG = st.sampled_from([1, 5, 12, 60, 148, 300])
SHARES = st.sampled_from([None, 0, 20, 40, 70])
WHYS = st.sampled_from(["looked at it", "typed wrong", "customer called"])
PRESSURES = st.sampled_from([None, 40, 60, 95])
PAPER = base64.b64encode(b"%PDF-1.4 lot A-1 conforms to its data sheet").decode()
A_LOGO = base64.b64encode(b"\x89PNG and the rest").decode()
CHANGES = st.sampled_from(["changed early", "ran dry"])


class Draw:
    """What the rules below draw from: the book as it stands, mostly what fits, now and then what doesn't."""

    def __init__(self, shop, data) -> None:
        self.shop, self.data = shop, data

    def of(self, strategy):
        return self.data.draw(strategy)

    def one(self, *choices):
        return self.data.draw(st.sampled_from(choices))

    def item(self, kinds: str, *states: str) -> str:
        rows = self.shop.book.tuples(
            "SELECT i.code, p.state FROM item i JOIN place p ON p.item = i.code WHERE i.shop = 'BH' ORDER BY i.code"
        )
        fitting = [code for code, state in rows if code[2] in kinds and (not states or state in states)]
        if not fitting or self.data.draw(st.integers(0, 9)) == 0:
            fitting = [code for code, _ in rows if code[2] in kinds] or [code for code, _ in rows]
        return self.data.draw(st.sampled_from(fitting))

    def new(self, name: str) -> str:
        return f"{name} {self.shop.head}" if self.data.draw(st.integers(0, 5)) else "line 1"

    def line(self) -> str:
        return self.one("line 1", "line 1", "line 2")

    def lot(self) -> str:
        lots = self.shop.book.tuples("SELECT DISTINCT lot FROM tote ORDER BY lot")
        return self.data.draw(st.sampled_from([lot for (lot,) in lots] or ["A-1"]))

    def event(self, *kinds: str) -> int:
        rows = self.shop.book.tuples("SELECT seq, kind FROM event WHERE shop = 'BH' ORDER BY seq DESC")
        fitting = [seq for seq, kind in rows if not kinds or kind in kinds] or [1]
        return self.data.draw(st.sampled_from(fitting))

    def ago(self) -> str:
        return self.shop.ago(minutes=self.data.draw(st.sampled_from(LATE_MINUTES)))


FILLED = ("filled", "racked", "returned", "leaked", "stretched")
WAITING = ("taken in", "soaking")

#: verb -> what is said, drawn.
SAID = {
    "set up shop": lambda d: {"site": d.one("BH", "KV", "DD"), "name": "Another shop", "owner": "Dana"},
    "add person": lambda d: {"name": d.new("hand"), "role": d.one("hand", "lead")},
    "add system": lambda d: {"name": d.new("QM"), "parts_b": d.one(1, 3)},
    "add zone": lambda d: {"name": d.new("room"), "gap_min": d.one(15, 60)},
    "add line": lambda d: {"name": d.new("line")},
    "set limit": lambda d: d.one(
        {"limit": "hose_content_high", "to": d.one("4 kg", "9 kg"), "source": "weighed", "line": d.line()},
        {"limit": "hopper_content_low", "to": "20 kg", "source": "weighed", "from_when": d.ago()},
        {"limit": "cure_standard", "to": "30 h", "source": "data sheet"},
        {"limit": "mixed_content_high", "to": d.one("2 kg", "0 kg"), "source": "weighed", "line": d.line(), "from_when": d.ago()},
    ),
    "receive": lambda d: {
        "supplier": "Northvale", "lot": d.one("A-1", "A-2", "B-1", "B-2", "A-3"), "side": d.one("A", "B"), "system": d.one("RX-30", "RX-30", "KV-55"),
        "totes": d.one(1, 2), "net_kg": d.one(60, 1000),
    },
    "hold": lambda d: d.one({"item": d.item("LGF"), "why": "smell"}, {"lot": d.lot(), "why": "supplier called"}),
    "lift": lambda d: d.one({"item": d.item("LGF"), "why": "looked at it"}, {"lot": d.lot(), "why": "tested again"}),
    "hook up": lambda d: {"line": d.line(), "tote": d.item("L", "in store", "part used"), "change": d.of(CHANGES), "how_full": d.one(None, "1/4", "3/4")},
    "unhook": lambda d: {"tote": d.item("L", "hooked up"), "empty": d.one(True, False)},
    "weigh": lambda d: {"item": d.item("LLLU"), "weight_kg": d.one(0, 12, 60, 400)},
    "clean": lambda d: {"line": d.line(), "parts": d.one("both sides", "side A", "hopper", "tube and gun", "everything")},
    "purge": lambda d: {"line": d.line(), "weight_kg": d.of(A_FEW_KG), "mix_pct": d.of(SHARES)},
    "load": lambda d: {"line": d.line(), "batch": d.item("G", "in store", "in use"), "weight_kg": d.of(A_FEW_KG), "used_up": d.one(False, False, True)},
    "take in": lambda d: {"customer": d.one("Quarry Nine", "Pit Four"), "size": "23.5-25", "tires": d.one(1, 3), "rating_psi": 75, "mix_pct": d.of(SHARES)},
    "start fill": lambda d: {"tire": d.item("F", *WAITING), "line": d.line(), "bay_f": d.one(None, 55, 75)},
    "finish fill": lambda d: {
        "tire": d.item("F", "filling", "taken in"), "weight_kg": d.of(A_FEW_KG), "pressure_psi": d.of(PRESSURES), "mix_pct": d.of(SHARES),
        "topup_kg": d.one(None, 6), "line": d.one(None, d.line(), d.line()), "started": d.one(None, None, d.ago()),
    },
    "pause": lambda d: {"tire": d.item("F", "filling"), "weight_kg": d.of(A_FEW_KG)},
    "resume": lambda d: {"tire": d.item("F", "paused"), "line": d.one(None, d.line())},
    "abandon": lambda d: {"tire": d.item("F", "filling", "paused"), "why": "bead leaks", "weight_kg": d.one(None, 20)},
    "leak": lambda d: {"tire": d.item("F", *FILLED, "filling"), "where": d.one("bead", "valve"), "weight_kg": d.one(None, 1)},
    "stretch": lambda d: {"tire": d.item("F", *FILLED, *WAITING), "pressure_psi": 60},
    "reclaim": lambda d: {"tire": d.item("F", *FILLED, "released"), "weight_kg": d.one(None, 50)},
    "grind": lambda d: {
        "pieces": [
            {"source": d.item("FG", "reclaimed", "in store", "in use"), "weight_kg": d.of(A_FEW_KG)},
            *d.one([], [{"source": "unknown", "weight_kg": 7, "cut_no_later_than": d.ago()}], [{"source": d.item("FG", "reclaimed"), "weight_kg": 3}]),
        ]
    },
    "scrap": lambda d: {"item": d.item("LGF"), "why": "soft", "weight_kg": d.one(None, 3)},
    "rack": lambda d: {"zone": d.one("warm room", "back rack"), "tires": [d.item("F", *FILLED)]},
    "read temperature": lambda d: {"zone": d.one("warm room", "back rack"), "reading_f": d.one(60, 75), "lowest_since": d.one(None, d.ago())},
    "log temperatures": lambda d: {"zone": d.one("warm room", "back rack"), "csv": d.shop.csv(d.one(2, 30), f=d.one(70, 75), every=30)},
    "store": lambda d: {"zone": d.one("warm room", "back rack"), "totes": [d.item("L", "in store", "part used")]},
    "hang sensor": lambda d: {"zone": d.one("warm room", "back rack"), "sensor": d.one("logger", "spare"), "offset_dc": d.one(-1, 0, 1)},
    "take down sensor": lambda d: {"zone": d.one("warm room", "back rack"), "sensor": d.one("logger", "spare")},
    "trust samples": lambda d: {"event": d.event("log temperatures"), "why": "looked at it"},
    "let sensor send": lambda d: {"zone": "warm room", "sensor": "logger", **d.one({"token_hash": "5f" * 32}, {"stop": True})},
    "admit device": lambda d: {"device": d.one("dock scale", "cage tablet"), "role": d.one("hand", "lead"), "token_hash": f"{d.one(1, 2, 3):064x}"},
    "dismiss device": lambda d: {"device": d.one("dock scale", "cage tablet"), "why": d.one("", "lost")},
    "settle": lambda d: {"tire": d.item("F", "released", "dispatched"), "why": "looked at it"},
    "pour cup": lambda d: {"line": d.line(), "zone": d.one(None, "warm room"), "mix_pct": d.of(SHARES)},
    "read cup": lambda d: {"cup": d.item("C"), "is_set": d.one(True, True, False), "hardness": d.one([], [44, 46])},
    "release": lambda d: {"tire": d.item("F", *FILLED)},
    "dispatch": lambda d: {"tires": [d.item("F", "released", "racked")]},
    "return": lambda d: d.one({"tire": d.item("F", "dispatched", "racked"), "complaint": "soft"}, {"size": "23.5-25", "complaint": "soft"}),
    "identify": lambda d: {"event": d.event("return"), "verdict": d.one("ours", "undetermined", "not ours"), "tire": d.one(None, d.item("F", "dispatched")), "why": "the rim"},
    "print": lambda d: {"items": [d.item("LGFCZUP")], "why": d.one(None, "torn")},
    "print failed": lambda d: {"items": [d.item("LGFCZUP")], "printer": "lp:dock", "trouble": "out of labels"},
    "adjust face": lambda d: {"face": d.one("tote label", "tire tag"), "size": d.one("usual", "3x2 in", "4x6 in"), "words": ["size=tamaño"], "logo": d.one(None, A_LOGO)},
    "choose language": lambda d: {"language": d.one("en", "es")},
    "choose printer": lambda d: {"station": d.one("dock", "desk"), "printer": d.one("browser", "lp:dock"), "dpi": d.one(203, 300)},
    "paper trial": lambda d: {"stock": "white", "step": d.one("new", "soap"), "tags": 10, "qr": d.one(4, 9), "bars": 5, "either": d.one(9, 10), "readable": 10},
    "note supplier code": lambda d: {"supplier": "Northvale", "pattern": "(?P<lot>[A-Z]-\\d+)", "example": d.one("A-12", "12-A")},
    "open recall": lambda d: {"suspect": d.one(d.lot(), d.item("LGF")), "defect": d.one("setting", "contamination"), "why": "complaint"},
    "account for": lambda d: {"recall": d.event("open recall"), "tires": [d.item("F", "dispatched", "racked")], "became": d.one("looked at, stays", "destroyed there", "out of reach"), "found": d.one("he called", "")},
    "close recall": lambda d: {"recall": d.event("open recall"), "note": d.one("all called", "")},
    "start shift": lambda d: {"line": d.line(), "caught_a_g": d.one(None, 500), "caught_b_g": d.one(None, 510), "weight_kg": d.one(None, 2)},
    "end shift": lambda d: {"line": d.line(), "weight_kg": d.one(None, 3)},
    "run pump": lambda d: {"line": d.line(), "weight_kg": d.one(None, 4)},
    "odd flow": lambda d: {"line": d.line(), "what": d.one("air seen", "pressure odd")},
    "pour heel": lambda d: {"tote": d.item("L", "in store", "part used"), "into": d.item("L", "in store", "part used", "hooked up"), "weight_kg": d.one(2, 30)},
    "open order": lambda d: {"number": d.new("order"), "customer": "Quarry Nine", "size": "23.5-25", "tires": 2, "billed": d.one("weight", "piece")},
    "inspect": lambda d: {"tire": d.item("F", *WAITING), "casing": d.one("new", "used"), "rating_psi": 75, "rating_from": "sidewall", "wheel_good": d.one(True, False)},
    "reserve ids": lambda d: {"tires": d.one(1, 3)},
    "inspect tote": lambda d: {"tote": d.item("L"), "seal_good": d.one(True, False), "temperature_f": 75, "desiccant": d.one("fresh", "spent")},
    "attach": lambda d: d.one({"item": d.item("LF"), "what": "certificate", "file": PAPER}, {"lot": d.lot(), "what": "delivery note", "file": PAPER}),
    "keep": lambda d: {"cup": d.item("C"), "shelf": "B2", "until": "2027-01-01 08:00"},
    "take retain": lambda d: {"tote": d.item("L"), "shelf": "B3", "until": "2027-01-01 08:00"},
    "empty waste": lambda d: {"line": d.line(), "weight_kg": d.one(1, 3), "became": d.one("pieces", "thrown away")},
    "correct": lambda d: {"event": d.event(), "why": d.of(WHYS), **d.one({"void": True}, {"happened": d.ago()}, {"fields": d.one(*PUT_RIGHT)}, {"fields": d.one(*PUT_RIGHT), "happened": d.ago()})},
}  # fmt: skip

#: Fields a correction changes; each fits some verbs, and is refused by the rest.
PUT_RIGHT = (
    {"weight_kg": 33}, {"weight_lb": 150}, {"net_kg": 900}, {"lot": "A-9"}, {"line": "line 2"}, {"zone": "back rack"}, {"pressure_psi": 55},
    {"change": "ran dry"}, {"mix_pct": 25}, {"topup_kg": 9}, {"customer": "Pit Four"}, {"parts": "hopper"}, {"is_set": False},
    {"pieces": [{"source": "unknown", "weight_kg": 40}]}, {"why": "another reason"}, {"used_up": True}, {"reading_f": 66}, {"parts_b": 2},
)  # fmt: skip


#: What often follows, so that days get as far as a release and a return.
THEN = {
    "receive": ("hook up",), "take in": ("start fill", "inspect"), "start fill": ("pause", "leak", "abandon", "finish fill", "finish fill"),
    "pause": ("resume",), "abandon": ("resume",), "resume": ("finish fill",), "finish fill": ("rack", "reclaim"), "rack": ("release", "log temperatures"),
    "release": ("dispatch",), "dispatch": ("return",), "return": ("identify",), "pour cup": ("read cup", "keep"), "reclaim": ("grind",),
    "grind": ("load",), "open recall": ("account for", "close recall"),
}  # fmt: skip


class AnyDay(RuleBasedStateMachine):
    """Anything, in any order."""

    @initialize()
    def morning(self) -> None:
        self.shop = the_shop.Shop.start(":memory:")
        self.shop.ready_line("line 1")
        self.shop.ready_line("line 2")
        self.shop.act(
            "take in", customer="Quarry Nine", size="23.5-25", tires=4, rating_psi=75, target_psi=60
        )
        self.shop.fill(kg=100)
        reclaimed = self.shop.reclaimed(kg=90)
        self.shop.load(self.shop.grind(**{reclaimed: 80}), 50)
        self.whole = self.shop.fingerprint()

    def do(self, verb: str, data) -> None:
        """Do *verb* at some time by somebody; a refusal leaves everything as it was."""
        shop, draw = self.shop, Draw(self.shop, data)
        shop.wait(minutes=draw.of(st.sampled_from(WAIT_MINUTES)))
        said = {name: value for name, value in SAID[verb](draw).items() if value is not None}
        who = (
            draw.one("Sam", "Lee", "Lee", "Dana", "Dana", "Dana")
            if registry.find(verb).role == "hand"
            else draw.one("Dana", "Lee", "Dana")
        )
        at = draw.ago() if verb != "correct" and draw.of(st.integers(0, 9)) < 4 else None
        late = at is not None or verb == "correct"
        COUNTS["tried"] += 1
        COUNTS["tried late"] += late
        try:
            shop.act(verb, who=who, at=at, override=draw.one(None, "decided so"), **said)
        except ShopError as trouble:
            assert str(trouble).endswith((".", ")")), str(trouble)
            assert self.shop.fingerprint() == self.whole, f"{verb} was refused and changed something"
            COUNTS["refused"] += 1
            return
        COUNTS["done"] += 1
        COUNTS["done late"] += late
        COUNTS[f"done: {verb}"] += 1
        self.whole = shop.fingerprint()
        if verb != "correct" and draw.of(st.integers(0, 3)) == 0:
            self.do("correct", data)
        if verb in THEN and draw.of(st.booleans()):
            self.do(draw.one(*THEN[verb]), data)

    def teardown(self) -> None:
        if not hasattr(self, "shop"):
            return
        shop = self.shop
        try:
            shop.check()
            before = the_shop.derived(shop.book)
            derive.derive_all(shop.book)
            assert the_shop.derived(shop.book) == before
            self.sources_come_before_what_is_made_of_them()
            self.every_draw_is_made_of_its_grams()
        finally:
            shop.book.db.close()

    def sources_come_before_what_is_made_of_them(self) -> None:
        late = "SELECT k.child, k.parent FROM link k JOIN link p ON p.child = k.parent WHERE k.parent <> 0 AND p.ord >= k.ord"
        assert self.shop.book.tuples(late) == []

    def every_draw_is_made_of_its_grams(self) -> None:
        for seq, n, grams in self.shop.book.tuples("SELECT seq, n, grams FROM line_act WHERE what = 'draw'"):
            given = self.shop.book.value(
                "SELECT sum(best_g) FROM link WHERE draw = ? AND stream <> 'G'", links.draw_id(seq, n)
            )
            assert (given or 0) == grams


def _rule_for(verb: str):
    def do(self, data):
        self.do(verb, data)

    do.__name__ = "do_" + verb.replace(" ", "_")
    return rule(data=st.data())(do)


#: What the links hang on comes up more often: as many rules of the same verb.
OFTEN = {
    "finish fill": 5,
    "hook up": 4,
    "load": 3,
    "grind": 3,
    "reclaim": 3,
    "rack": 2,
    "purge": 2,
    "receive": 2,
    "correct": 3,
    "release": 2,
}

for _verb in SAID:
    for _n in range(OFTEN.get(_verb, 1)):
        setattr(AnyDay, f"do_{_verb.replace(' ', '_')}_{_n}", _rule_for(_verb))


def test_every_verb_has_its_rule_and_every_rule_its_verb():
    rules = Counter(one.function.__name__.removeprefix("do_").replace("_", " ") for one in AnyDay().rules)
    assert set(rules) == set(registry.everything())
    assert {verb: many for verb, many in rules.items() if many > 1} == OFTEN


def test_whatever_happens_the_book_is_what_its_journal_says():
    COUNTS.clear()
    run_state_machine_as_test(
        AnyDay,
        settings=settings(
            max_examples=45,
            stateful_step_count=30,
            deadline=None,
            derandomize=bool(os.environ.get("CI")),
            suppress_health_check=list(HealthCheck),
        ),
    )
    print(dict(COUNTS))
    assert COUNTS["done"] >= 150
    assert COUNTS["tried late"] >= 0.3 * COUNTS["tried"]
    assert COUNTS["done late"] >= 0.3 * COUNTS["done"], dict(COUNTS)
