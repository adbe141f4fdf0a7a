"""A whole random shop, twice: what truly flows, in parcels of material, and what its people write into the book.

Nothing here knows how fillbook reckons; the parcels are pushed through hoses and hoppers in ``tests/core/flow_parcels.py``. What is
written goes through the verbs, like everything people write. The two differ as they do in a shop:

* a hose or hopper holds anything between the limits that were set, another content after each change-over;
* a hose is anything between plug flow and laminar, a hopper plug, one stirred tank or two to five in a row;
* every weight is off by up to its basis: what was written down is not what flowed;
* totes run dry in the middle of a fill, and how full the tire was then is noted, or not;
* some acts are entered hours late, in another order than they happened; one tote that is used up may never be entered at all;
* tires are cut out and come round again as regrind; some pieces are of unknown origin, and may be one of the shop's own tires;
* where a shop does not blow out after each fill, what tube, fill hose and gun hold goes into the next tire, unless somebody blew it out:
  noted, or not where it stood so long that it would have set.
"""

from __future__ import annotations

import importlib.util
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

from fillbook.trace.book import recalls
from fillbook.trace.core import times


def _load(name: str, where: Path) -> Any:
    spec = importlib.util.spec_from_file_location(name, where)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


HERE = Path(__file__).resolve().parent
parcels = _load("flow_parcels", HERE.parent / "core" / "flow_parcels.py")
the_shop = _load("the_shop", HERE.parent / "the_shop.py")

ELSEWHERE = "filled elsewhere"
#: The most a weight may be off, by its basis: the shop's defaults, which the simulation writes down once more for itself.
OFF = {
    "scale": 0.01,
    "supplier's label": 0.01,
    "pump total": 0.03,
    "usual empty weight": 0.10,
    "chart": 0.15,
    "run time": 0.25,
}
FILL_BASES = ("pump total",) * 6 + ("scale", "usual empty weight", "chart", "run time")
LISTED = ("certain", "possible", "through regrind")
THRESHOLD = 0.01
A_GRAM = 1.0
SETS_AFTER = 15 * 60  # seconds: the shop's default for how long mixed material may stand


@dataclass
class Line:
    """One pump: what its hoses and hopper truly are and hold now."""

    name: str
    hoses: dict[str, Any]
    hopper: Any
    hose_band: tuple[int, int]
    hopper_band: tuple[int, int]
    on: dict[str, str] = field(default_factory=dict)  # side -> tote
    bias: float = 0.0
    tube: Any = None  # what it holds goes into the next tire; None: blown out after each fill
    flowed_at: int = 0


@dataclass
class Tote:
    lot: str
    side: str
    left: float  # grams truly in it


@dataclass
class Made:
    """What a tire or batch truly is: grams by lot; and, of a tire, what of it came straight from totes."""

    by_lot: Counter = field(default_factory=Counter)
    straight: Counter = field(default_factory=Counter)

    def share(self, lot: str) -> float:
        return self.by_lot[lot] / sum(self.by_lot.values())


class RandomShop:
    """A shop with its truth beside it. *fills*: how many tires; *tote_kg*: how large its totes are; *tubes*: what stays in the tube
    goes into the next tire."""

    def __init__(
        self,
        seed: int,
        *,
        fills: int = 40,
        tote_kg: tuple[int, int] = (250, 600),
        missed: bool = True,
        tubes: bool = False,
    ) -> None:
        self.random = Random(seed)
        self.shop = the_shop.Shop.start(":memory:")
        self.book = self.shop.book
        self.tote_kg = tote_kg
        self.tubes = tubes
        self.totes: dict[str, Tote] = {}
        self.made: dict[str, Made] = {}
        self.lots: list[str] = []
        self.open_lot: dict[str, tuple[str, int]] = {}
        self.waiting: list[tuple[int, str, dict[str, Any]]] = []  # acts to be entered late
        self.reclaimed: list[str] = []
        self.used: set[str] = set()
        self.batches: list[str] = []
        self.may_miss = missed
        self.unbooked: set[str] = set()  # totes that were never entered as hooked up
        self.lines = [self._line(name) for name in ("line 1", "line 2")[: self.random.choice((1, 1, 2))]]
        self.run(fills)

    # -- chance ----------------------------------------------------------------------------------------------------------------
    def chance(self, of: float) -> bool:
        return self.random.random() < of

    def truly(self, grams: float, basis: str, bias: float = 0.0) -> float:
        """What a weight that was written down truly was."""
        most = OFF[basis]
        if basis == "pump total" and bias and self.chance(0.7):
            return grams * (1 + bias)
        return grams * (1 + parcels.somewhere(self.random, -most, most))

    # -- the book --------------------------------------------------------------------------------------------------------------
    def enter(self, verb: str, fields: dict[str, Any], *, late: bool = False) -> Any:
        """Write it down: now, or (*late*) after some more has happened."""
        if late:
            self.waiting.append((self.shop.now, verb, fields))
            self.shop.now += 60
            return None
        return self.shop.act(verb, who="Lee", override="there was no other", **fields)

    def catch_up(self, part: float = 1.0) -> None:
        """Enter some of what is waiting, in any order."""
        self.random.shuffle(self.waiting)
        many = round(len(self.waiting) * part)
        todo, self.waiting = self.waiting[:many], self.waiting[many:]
        for at, verb, fields in todo:
            self.shop.act(verb, who="Lee", at=times.utc_text(at), override="entered late", **fields)
            self.shop.now += 60

    def _line(self, name: str) -> Line:
        low = self.random.choice((1500, 3000, 5000))
        hose = low, low + self.random.choice((0, 500, 3000))
        low = self.random.choice((10_000, 20_000))
        hopper = low, low + self.random.choice((15_000, 40_000))
        for limit, grams in zip(
            ("hose_content_low", "hose_content_high", "hopper_content_low", "hopper_content_high"), (*hose, *hopper), strict=True
        ):  # fmt: skip
            self.shop.lead("set limit", limit=limit, to=f"{grams / 1000:g} kg", source="weighed", line=name)
        hoses = {
            side: parcels.Hose(
                parcels.somewhere(self.random, *hose),
                spread=parcels.somewhere(self.random, 0, 1),
                clean_after=5,
                rings=16,
            )
            for side in "AB"
        }
        zones = self.random.choice((0, 1, 1, 2, 3, 5))
        line = Line(
            name, hoses, parcels.Hopper(parcels.somewhere(self.random, *hopper), zones=zones), hose, hopper,
            bias=self.random.choice((0, -0.03, 0.03, 0.02)),
        )  # fmt: skip
        if self.tubes:
            self.hang_tube(line)
        return line

    def hang_tube(self, line: Line) -> None:
        """Another tube, fill hose and gun, of another content; what stood in the old one is gone."""
        low = self.random.choice((400, 1200, 2500))
        tube = low, low + self.random.choice((0, 200, 1500))
        for end, grams in zip(("low", "high"), tube, strict=True):
            self.shop.lead(
                "set limit",
                limit=f"mixed_content_{end}",
                to=f"{grams / 1000:g} kg",
                source="weighed",
                line=line.name,
            )
        content, spread = parcels.somewhere(self.random, *tube), parcels.somewhere(self.random, 0, 1)
        line.tube = parcels.Tube(content, spread=spread, clean_after=5)

    # -- what happens ----------------------------------------------------------------------------------------------------------
    def run(self, fills: int) -> None:
        for line in self.lines:
            for side in "AB":
                self.hook_up(line, side)
        done = 0
        while done < fills or any(code in self.unbooked for code in self.hooked()):
            line = self.random.choice(self.lines)
            what = self.random.random()
            if what < 0.60:
                self.fill(line)
                done += 1
            elif what < 0.66:
                self.purge(line)
            elif what < 0.72:
                self.hook_up(line, self.random.choice("AB"), used_to_the_end=self.chance(0.2))
            elif what < 0.745 and line.tube and self.chance(0.2):
                self.hang_tube(line)
            elif what < 0.745 and line.tube and self.chance(0.5):
                line.tube.blow_out()
                self.enter(
                    "clean",
                    {"line": line.name, "how": "blown out", "parts": "tube and gun"},
                    late=self.chance(0.1),
                )
            elif what < 0.745:
                self.clean(line)
            elif what < 0.83:
                self.load(line)
            elif what < 0.88:
                self.cut_out()
            elif what < 0.94:
                self.grind()
            else:
                self.catch_up(0.5)
            self.shop.wait(minutes=self.random.randint(1, 20 if self.tubes else 90))
        self.catch_up()

    def receive(self, side: str) -> str:
        lot, left = self.open_lot.get(side, ("", 0))
        if not left:
            lot, left = f"{side}-{len(self.lots) + 1}", self.random.choice((1, 2, 3))
            self.lots.append(lot)
        self.open_lot[side] = lot, left - 1
        kg = self.random.randint(*self.tote_kg)
        code = self.shop.tote(side, kg, lot=lot)
        self.totes[code] = Tote(lot, side, self.truly(kg * 1000, "supplier's label"))
        return code

    def hook_up(self, line: Line, side: str, *, used_to_the_end: bool = False) -> None:
        """Change a tote over outside a fill. *used_to_the_end*: it ran dry just now, with air in the hose or not."""
        before = line.on.get(side)
        if before in self.unbooked:  # it stays on until it is used up: less than a tote's worth can't show
            return
        shared = self.chance(0.1)  # one tote on two lines at once
        back = [
            code for code, tote in self.totes.items()
            if tote.side == side and tote.left > 50_000 and code not in (before, *self.unbooked) and (shared or code not in self.hooked())
        ]  # fmt: skip
        in_order = not any(verb == "hook up" for _, verb, _ in self.waiting)
        code = self.random.choice(back) if back and in_order and self.chance(0.4) else self.receive(side)
        dry = bool(before) and used_to_the_end and self.totes[before].left < 30_000
        if dry:
            self._air(line, side)
        fields = {"line": line.name, "tote": code, "change": "ran dry" if dry else "changed early"}
        self._change(line, side, code)
        self.enter("hook up", fields, late=self.chance(0.1) and before is not None)

    def hooked(self) -> set[str]:
        return {code for line in self.lines for code in line.on.values()}

    def _air(self, line: Line, side: str) -> None:
        """The hose ran partly empty: some of what it held is lost, and new material takes its room."""
        if self.chance(0.6):
            line.hoses[side].spill(self.random.random())

    def _change(self, line: Line, side: str, code: str) -> None:
        line.on[side] = code
        hose = line.hoses[side]
        hose.becomes(parcels.somewhere(self.random, *line.hose_band))
        hose.hook_up(code)

    def purge(self, line: Line) -> None:
        grams = self.random.randint(5, 120) * 100
        true = self.truly(grams, "scale")
        self._fill_tube(line, 0.0)
        self._through_gun(line, true, 0.0)
        line.flowed_at = self.shop.now
        self.enter("purge", {"line": line.name, "weight_g": grams, "basis": "scale"}, late=self.chance(0.1))

    def clean(self, line: Line) -> None:
        parts = self.random.choice(("both sides", "side A", "hopper"))
        for side in {"both sides": "AB", "side A": "A", "hopper": ""}[parts]:
            line.hoses[side].empty()
        if parts == "hopper":
            if not self.batches:
                return
            line.hopper.empty()
            self.enter("clean", {"line": line.name, "how": "emptied clean", "parts": parts})
            self.load(line, always=True)
            return
        self.enter("clean", {"line": line.name, "parts": parts}, late=self.chance(0.1))

    def load(self, line: Line, *, always: bool = False) -> None:
        room = line.hopper_band[1] - line.hopper.level
        if not self.batches or (room < 3_000 and not always):
            return
        most = int(room / 1.011)
        least = min(most, max(1_000, int((line.hopper_band[0] - line.hopper.level) / 0.989)))
        grams = self.random.randint(max(1_000, least), max(1_000, least, most))
        batch = self.random.choice(self.batches[-3:])
        line.hopper.pour(batch, self.truly(grams, "scale"))
        self.enter(
            "load",
            {"line": line.name, "batch": batch, "weight_g": grams},
            late=not always and self.chance(0.1),
        )

    def cut_out(self) -> None:
        old = [tire for tire in self.made if tire[2] == "F" and tire not in self.used]
        if old:
            tire = self.random.choice(old)
            self.used.add(tire)
            self.shop.wait(days=2)
            self.enter("reclaim", {"tire": tire})
            self.reclaimed.append(tire)

    def grind(self) -> None:
        """A batch of what was cut out, of an earlier batch's rest, of pieces from elsewhere that may be one of the shop's own."""
        pieces: list[dict[str, Any]] = []
        made = Made()

        def put(of: Counter, grams: float) -> None:
            whole = sum(of.values())
            for name, part in of.items():
                made.by_lot[name] += part / whole * grams

        while self.reclaimed and len(pieces) < 4:
            tire = self.reclaimed.pop()
            kg = self.random.randint(10, 40)
            pieces.append({"source": tire, "weight_kg": kg})
            put(self.made[tire].by_lot, self.truly(kg * 1000, "scale"))
        if self.batches and self.chance(0.3):
            pieces.append({"source": self.batches[-1], "weight_kg": (kg := self.random.randint(2, 15))})
            put(self.made[self.batches[-1]].by_lot, self.truly(kg * 1000, "scale"))
        tires = [code for code in self.made if code[2] == "F"]
        if self.chance(0.3) or not pieces:
            kg = self.random.randint(5, 60)
            piece = {"source": "unknown", "weight_kg": kg}
            of = Counter({ELSEWHERE: 1.0})
            if tires and self.chance(0.15):
                of = self.made[self.random.choice(tires)].by_lot
            else:  # cut long before any lot here was made
                piece["cut_no_later_than"] = times.utc_text(the_shop.MONDAY - 400 * 86_400)
            pieces.append(piece)
            put(of, self.truly(kg * 1000, "scale"))
        batch = self.enter("grind", {"pieces": pieces}).ids[0]
        self.made[batch] = made
        self.batches.append(batch)

    # -- the fill --------------------------------------------------------------------------------------------------------------
    def fill(self, line: Line) -> None:
        tire = self.shop.tire()
        kg = self.random.randint(20, 150)
        basis = self.random.choice(FILL_BASES)
        mix = self.random.choice((0, 20, 40)) if self.batches else 0
        topup = self.random.choice((0, 0, 3, 8))
        started = self.shop.now
        self.enter("start fill", {"tire": tire, "line": line.name})
        draws = [(kg * 1000, mix / 100)] + ([(topup * 1000, min(mix, 40) / 100)] if topup else [])
        bias = line.bias
        factor = self.truly(1.0, basis, bias)
        true = [(grams * factor, share) for grams, share in draws]
        in_tube = line.tube.content if line.tube else 0.0  # it may have to be filled first
        for grams, share in true:
            if line.hopper.level - (grams + in_tube) * share < line.hopper_band[0]:
                self.load(line)
        regrind = sum((grams + in_tube) * share for grams, share in true)
        if line.hopper.level - regrind < line.hopper_band[0]:
            mix, true = 0, [(grams, 0.0) for grams, _ in true]
        self.shop.wait(minutes=2)
        made = self.made.setdefault(tire, Made())
        self._fill_tube(line, true[0][1], started)
        self._fill(line, tire, made, true, started)
        self.shop.wait(minutes=self.random.randint(2, 10))
        self.enter("finish fill", {
            "tire": tire, "weight_kg": kg, "pressure_psi": 60, "mix_pct": mix, "basis": basis,
            **({"topup_kg": topup, "topup_mix_pct": min(mix, 40)} if topup else {}),
        })  # fmt: skip
        line.flowed_at = self.shop.now

    def _fill(self, line: Line, tire: str, made: Made, true: list[tuple[float, float]], started: int) -> None:
        """What truly goes in, side by side; a tote that runs dry on the way is changed, which is noted at the time."""
        whole = sum(grams for grams, _ in true)
        changes = []
        for side in "AB":
            needed = sum(grams * (1 - share) / 2 for grams, share in true)
            left = self.totes[line.on[side]].left
            if left < needed:
                changes.append((left / needed, side))
            elif self.chance(0.03) and line.on[side] not in self.unbooked:  # changed early, in the middle
                changes.append((self.random.uniform(0.05, 0.95), side))
        done = 0.0
        for part, side in [*sorted(changes), (1.0, "")]:
            self._flow(line, made, true, whole * done, whole * part)
            done = part
            if side:
                self._change_inside(line, side, part)

    def _change_inside(self, line: Line, side: str, part: float) -> None:
        before = line.on[side]
        dry = self.totes[before].left < 1.0
        if dry:
            self._air(line, side)
        code = self.receive(side)
        quarter = round(part * 4)
        noted = {1: "1/4", 2: "1/2", 3: "3/4"}.get(quarter)
        fields = {"line": line.name, "tote": code, "change": "ran dry" if dry else "changed early"}
        if noted and abs(part - quarter / 4) < 0.12 and self.chance(0.5):
            fields["how_full"] = noted
        self._change(line, side, code)
        missing = self.may_miss and dry and not self.unbooked and self.chance(0.15)
        if missing:
            self.unbooked.add(code)
            self.shop.now += 60
        else:
            self.enter("hook up", fields, late=self.chance(0.1))

    def _flow(
        self, line: Line, made: Made, true: list[tuple[float, float]], start: float, end: float
    ) -> None:
        """The part of a fill between *start* and *end* (grams of the whole), main mix first, then the top-up."""
        at = 0.0
        for grams, share in true:
            part = max(0.0, min(end, at + grams) - max(start, at))
            at += grams
            if part <= 0:
                continue
            for code, got in self._through_gun(line, part, share).items():
                if code in self.made:  # a batch
                    of = self.made[code].by_lot
                    for lot, grams_of in of.items():
                        made.by_lot[lot] += got * grams_of / sum(of.values())
                    continue
                lot = self.totes[code].lot if code in self.totes else ELSEWHERE
                made.by_lot[lot] += got
                made.straight[lot] += got

    def _through_gun(self, line: Line, grams: float, share: float) -> Counter:
        """*grams* out of the gun, of what comes from the sides and the hopper now, or has come before."""
        steps = max(1, round(grams / line.tube.content * line.tube.STEPS)) if line.tube else 1
        out: Counter = Counter()
        for _ in range(steps):
            came = self._come(line, grams / steps, share)
            out.update(line.tube.push(came) if line.tube else came)
        return out

    def _come(self, line: Line, grams: float, share: float) -> Counter:
        came: Counter = Counter()
        for side in "AB":
            came.update(self._draw_side(line, side, grams * (1 - share) / 2))
        if share:
            came.update(line.hopper.draw(grams * share))
        return came

    def _fill_tube(self, line: Line, share: float, started: int | None = None) -> None:
        """A tube that was blown out is filled first. Where it stood long enough to set, somebody has blown it out, noted or not."""
        if line.tube is None:
            return
        stood = (self.shop.now if started is None else started) - line.flowed_at
        if stood > SETS_AFTER and self.chance(0.5):
            line.tube.blow_out()
        if line.tube.is_empty:
            line.tube.fill(self._come(line, line.tube.content, share))

    def _draw_side(self, line: Line, side: str, grams: float) -> Counter:
        self.totes[line.on[side]].left -= grams
        return line.hoses[side].draw(grams)


@dataclass
class Tally:
    """Over the lots of one or more shops: how many tires are listed in each tier, and how many of those truly hold the lot."""

    listed: Counter = field(default_factory=Counter)
    holding: Counter = field(default_factory=Counter)
    truly: int = 0  # tires that hold the lot straight, or the threshold of it in any way
    tires: int = 0
    wrong: list[str] = field(default_factory=list)

    def ratio(self) -> float:
        """Tires in certain, possible and through regrind, by those that truly hold."""
        return sum(self.listed[tier] for tier in LISTED) / max(1, self.truly)

    def __add__(self, other: Tally) -> Tally:
        return Tally(
            self.listed + other.listed, self.holding + other.holding, self.truly + other.truly, self.tires + other.tires,
            self.wrong + other.wrong,
        )  # fmt: skip

    def lines(self) -> list[str]:
        found = [f"{'tier':16} {'listed':>8} {'truly holding':>14}"]
        for tier in (*LISTED, "not excluded", "traces"):
            found.append(f"{tier:16} {self.listed[tier]:8} {self.holding[tier]:14}")
        return [
            *found,
            f"listed ÷ truly holding {self.ratio():.3f} (certain, possible, through regrind; {self.truly} truly hold)",
        ]


def holds(made: Made, lot: str) -> bool:
    return made.straight[lot] >= A_GRAM or made.share(lot) >= THRESHOLD


def compare(one: RandomShop, listing: Any = None) -> Tally:
    """Recall every lot of a random shop and hold the answer against the truth.

    *listing*: another way to list, for showing that the comparison sees it: lot -> {tire: (tier, lower, upper)}.
    """
    tally = Tally()
    shown = {tire: made for tire, made in one.made.items() if tire[2] == "F"}
    for lot in one.lots:
        listed = (listing or book_lists)(one, lot)
        tally.tires += len(shown)
        for tire, made in shown.items():
            tier, lower, upper = listed.get(tire, (None, 0.0, 0.0))
            share, straight = made.share(lot), made.straight[lot]
            truly = holds(made, lot)
            tally.truly += truly
            if tier:
                tally.listed[tier] += 1
                tally.holding[tier] += truly
            if truly and tier not in (*LISTED, "not excluded"):
                tally.wrong.append(
                    f"{tire} holds {straight:.1f} g straight and {share:.2%} of {lot}, and is {tier or 'not listed'}"
                )
            if tier == "certain" and straight <= 0:
                tally.wrong.append(f"{tire} is certain of {lot} and holds none of it")
            if not lower - 1e-6 <= share <= upper + 1e-6:
                tally.wrong.append(
                    f"{tire} holds {share:.6f} of {lot}; the book says {lower:.6f} to {upper:.6f} ({tier})"
                )
    return tally


def book_lists(one: RandomShop, lot: str) -> dict[str, tuple[str, float, float]]:
    from fillbook.trace.core import ids

    found = recalls.recall(one.book, "BH", lot, threshold_e4=round(THRESHOLD * 10_000), with_traces=True)
    return {
        ids.read(item["id"]): (item["tier"], item["exposure"]["least"], item["exposure"]["most"])
        for item in found["items"]
    }
