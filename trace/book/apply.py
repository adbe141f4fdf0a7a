"""From an event to fact rows. Nothing else writes facts, and this reads nothing but the event and the blobs it names.

Fact rows carry the number of the event that said them, so a correction can take them away and write those of the new body in
their place. Minted IDs are never taken away: a voided tire keeps its number and the word *void*.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from fillbook.trace.book import derive
from fillbook.trace.book.journal import Chain, Event
from fillbook.trace.book.opening import Book
from fillbook.trace.book.tables import FACTS
from fillbook.trace.core import ids, logger
from fillbook.trace.core.errors import Damaged

#: Order of touches within one second.
PREPARE, DRAW, AFTER = 1, 2, 3


@dataclass
class Facts:
    """Writes the rows of one event."""

    book: Book
    event: Event
    touches: int = 0

    def row(self, table: str, **columns: Any) -> None:
        self.book.insert(table, {"shop": self.event.shop, "seq": self.event.seq, **columns})

    def touch(
        self,
        item: str,
        words: str,
        *,
        state: str | None = None,
        place: str | None = None,
        at: int | None = None,
        rank: int = AFTER,
    ) -> None:
        """One line of the item's history; *state* and *place* where they change."""
        self.row(
            "touch", n=self.touches, item=item, at=self.event.happened_at if at is None else at, rank=rank,
            state=state, place=place, words=words,
        )  # fmt: skip
        self.touches += 1


Handler = Callable[[Facts, Event, dict[str, Any]], None]
HANDLERS: dict[str, Handler] = {}


def handles(kind: str) -> Callable[[Handler], Handler]:
    def register(handler: Handler) -> Handler:
        HANDLERS[kind] = handler
        return handler

    return register


def take_away(book: Book, shop: str, seq: int) -> derive.Affected:
    """Remove the facts of event *seq*, and tell what they bore on."""
    before = derive.affected_by(book, shop, seq)
    for table in FACTS:
        book.execute(f"DELETE FROM {table} WHERE shop = ? AND seq = ?", (shop, seq))
    return before


def apply(book: Book, chain: Chain, event: Event, before: derive.Affected | None = None) -> None:
    """Write the facts of *event* and derive again what they bear on.

    *before* is what the facts of a corrected event bore on, where they were taken away already.
    """
    _number(book, chain, event)
    if event.corrects is None:
        _write(book, event)
        derive.refresh(book, event.shop, derive.affected_by(book, event.shop, event.seq))
        return
    target = original(book, event.shop, event.corrects)
    if before is None:
        before = take_away(book, event.shop, target.seq)
    if event.body["void"]:
        _void(book, target, event)
    else:
        _write(book, replace(target, happened_at=event.happened_at, body=event.body["body"]), before.holds)
    facts = Facts(book, event)
    _findings(facts, event)
    for item in touched(target.body):
        facts.touch(item, f"{target.kind}: {'voided' if event.body['void'] else 'corrected'} · {event.body['said']['why']}",
                    at=event.recorded_at)  # fmt: skip
    derive.refresh(
        book,
        event.shop,
        before
        | derive.affected_by(book, event.shop, target.seq)
        | derive.affected_by(book, event.shop, event.seq),
    )


def original(book: Book, shop: str, seq: int) -> Event:
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", shop, seq)
    if text is None:
        raise Damaged(f"Event {shop}:{seq} is corrected but missing.")
    return Event.from_text(text)


def effective(book: Book, shop: str, seq: int) -> Event | None:
    """The event as it now stands: its newest correction's body; None when it is void or missing."""
    text = book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", shop, seq)
    if text is None:
        return None
    event = Event.from_text(text)
    newest = book.value(
        "SELECT text FROM event WHERE shop = ? AND corrects = ? ORDER BY seq DESC LIMIT 1", shop, seq
    )
    if newest is None:
        return event
    correction = Event.from_text(newest)
    if correction.body["void"]:
        return None
    return replace(event, happened_at=correction.happened_at, body=correction.body["body"])


def touched(body: dict[str, Any]) -> list[str]:
    """The items an event body names, minted or mentioned, each once and in order."""
    found: dict[str, None] = dict.fromkeys(body.get("ids", []))

    def look(value: Any) -> None:
        if isinstance(value, str) and 11 <= len(value) <= 12 and ids.is_valid(value):
            found.setdefault(value)
        elif isinstance(value, list):
            for part in value:
                look(part)
        elif isinstance(value, dict):
            for part in value.values():
                look(part)

    look(body.get("said", {}))
    return list(found)


def _number(book: Book, chain: Chain, event: Event) -> None:
    """Give the new items of an event, and its draws without an item, their numbers."""
    codes = [code for code in event.body.get("ids", []) if event.corrects is None]
    draws = (
        event.body.get("draws", []) if event.corrects is None else (event.body["body"] or {}).get("draws", [])
    )
    seq = event.corrects or event.seq
    for n, draw in enumerate(draws):
        code = nameless(event.shop, seq, n)
        if not draw["item"] and not book.value("SELECT 1 FROM item WHERE code = ?", code):
            codes.append(code)
    if not codes:
        return
    first = chain.number_items(len(codes))
    rows = []
    for offset, code in enumerate(codes):
        kind = "W" if ":" in code else ids.kind_of(code)
        year, serial = (0, 0) if kind == "W" else (int(code[3:5]), int(code[5:-1]))
        rows.append((first + offset, code, event.shop, kind, year, serial, seq))
    book.insert_many("item", ("num", "code", "shop", "kind", "year", "serial", "seq"), rows)


def nameless(shop: str, seq: int, n: int) -> str:
    """The name of a draw that went into no item: a purge, waste, a pump run."""
    return f"{shop}:{seq}.{n}"


def _write(book: Book, event: Event, holds: dict[str, int] | None = None) -> None:
    """The facts of *event*; *holds* are those its earlier body had led to, by their words."""
    handler = HANDLERS.get(event.kind)
    if handler is None:
        raise Damaged(
            f"Event {event.shop}:{event.seq} is a {event.kind!r}, which this program does not know. Use a newer one."
        )
    facts = Facts(book, event)
    handler(facts, event, event.body["said"])
    _findings(facts, event, holds or {})


def _findings(facts: Facts, event: Event, holds: dict[str, int] | None = None) -> None:
    """Findings, and the holds they lead to. A hold keeps its number through a correction while its words stay the same; another
    gets a new one, so that what was lifted for one reason isn't lifted for another."""
    kept = holds or {}
    lifted = facts.book.value(
        "SELECT max(hold_n) FROM lift WHERE shop = ? AND hold_seq = ?", event.shop, event.seq
    )
    new = max([-1 if lifted is None else lifted, *kept.values()]) + 1
    for n, found in enumerate(event.body["findings"]):
        facts.row(
            "finding",
            n=n,
            item=found["item"],
            code=found["code"],
            words=found["words"],
            holds=int(found["holds"]),
        )
        if found["holds"]:
            number = kept.get(found["words"], new)
            new = max(new, number + 1)
            facts.row(
                "hold", n=number, item=found["item"], lot="", supplier="", why=found["words"], at=event.happened_at, by_rule=1,
                who=event.who,
            )  # fmt: skip


def _void(book: Book, target: Event, correction: Event) -> None:
    facts = Facts(book, target)
    for code in target.body["ids"]:
        facts.touch(code, f"{target.kind}: void", state="void", place="", at=target.happened_at)


# -- setting up ----------------------------------------------------------------------------------------------------------------
@handles("set up shop")
def _set_up_shop(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("shop", name=said["name"], timezone=said["timezone"], host=said["host"], units=said["units"])
    owner = event.body["ids"][0]
    facts.row("person", item=owner, name=said["owner"], role="owner")
    facts.touch(owner, "started the book", state="here", place="")


@handles("add person")
def _add_person(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("person", item=event.body["ids"][0], name=said["name"], role=said["role"])
    facts.touch(event.body["ids"][0], f"joined as {said['role']}", state="here", place="")


@handles("add system")
def _add_system(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("system", name=said["name"], ratio_a=said["parts_a"], ratio_b=said["parts_b"])


@handles("add zone")
def _add_zone(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "zone", item=event.body["ids"][0], name=said["name"], gap_s=said["gap_s"], tolerance_mk=said["tolerance_mk"]
    )  # fmt: skip
    facts.touch(event.body["ids"][0], "set up", state="in use", place="")


@handles("add line")
def _add_line(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("line", item=event.body["ids"][0], name=said["name"])
    facts.touch(event.body["ids"][0], "set up", state="in use", place="")


@handles("set limit")
def _set_limit(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "limit_set", name=said["limit"], scope=said.get("line", ""), value=event.body["value"], typed=said["to"],
        source=said["source"], from_at=said.get("from_when", event.happened_at),
    )  # fmt: skip


# -- dock and holds ------------------------------------------------------------------------------------------------------------
@handles("receive")
def _receive(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for tote in event.body["ids"]:
        facts.row(
            "tote", item=tote, supplier=said["supplier"], lot=said["lot"], side=said["side"], system=said["system"], grade=said.get("grade", ""),
            net_g=said["net_g"], basis=said["basis"], received_at=event.happened_at, made_at=said.get("made"),
            use_by=said.get("use_by"), supplier_code=said.get("supplier_code", ""), supplier_item=said.get("supplier_item", ""),
            supplier_serial=said.get("supplier_serial", ""),
        )  # fmt: skip
        facts.touch(
            tote,
            f"received from {said['supplier']}, lot {said['lot']}",
            state="in store",
            place="",
            rank=PREPARE,
        )


@handles("hold")
def _hold(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "hold", n=0, item=said.get("item", ""), lot=event.body["lot"], supplier=event.body["supplier"], why=said["why"],
        at=event.happened_at, by_rule=0, who=event.who,
    )  # fmt: skip
    for item in event.body["covers"]:
        facts.touch(item, f"put on hold: {said['why']}")


@handles("lift")
def _lift(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row("lift", hold_seq=body["hold_seq"], hold_n=body["hold_n"], at=event.happened_at, who=event.signed_by or event.who,
              why=said["why"])  # fmt: skip
    for item in body["covers"]:
        facts.touch(item, f"hold lifted: {said['why']}")


# -- the line ------------------------------------------------------------------------------------------------------------------
def _act(facts: Facts, n: int, line: str, what: str, stream: str, item: str, **more: Any) -> None:
    facts.row(
        "line_act", n=n, line=line, at=facts.event.happened_at, rank=DRAW if what == "draw" else PREPARE, what=what,
        stream=stream, item=item, **more,
    )  # fmt: skip


@handles("hook up")
def _hook_up(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body, line = event.body, said["line"]
    if body["before"]:
        ran_dry = said["change"] == "ran dry"
        # Its state isn't said here: it follows from the acts on the line, whatever is corrected or entered late.
        facts.touch(body["before"], "ran dry and came off" if ran_dry else "came off", rank=PREPARE)
    _act(facts, 0, line, "hook", body["side"], said["tote"], ran_dry=int(said["change"] == "ran dry"),
         how_full=body["quarters"] or None)  # fmt: skip
    facts.touch(said["tote"], f"hooked up, side {body['side']}", state="hooked up", place=line, rank=PREPARE)


@handles("unhook")
def _unhook(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _act(facts, 0, event.body["line"], "off", event.body["side"], said["tote"], ran_dry=int(said["empty"]))
    facts.touch(said["tote"], "taken off, empty" if said["empty"] else "taken off", rank=PREPARE, place="",
                state="empty" if said["empty"] else "part used")  # fmt: skip


@handles("clean")
def _clean(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, stream in enumerate(event.body["streams"]):
        _act(facts, n, said["line"], "clean", stream, "")
    facts.touch(said["line"], f"{said['how']}: {', '.join(event.body['parts'])}", rank=PREPARE)


@handles("weigh")
def _weigh(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body, item = event.body, said["item"]
    tote = item != body["line"]
    facts.row(
        "weighing", item=item if tote else "", line=body["line"], stream=body["stream"], at=event.happened_at, rank=PREPARE,
        grams=said["weight_g"], basis=said["basis"],
    )  # fmt: skip
    facts.touch(item, "weighed" if tote else "hopper weighed", rank=PREPARE)


@handles("load")
def _load(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _act(facts, 0, said["line"], "load", "R", said["batch"], grams=said["weight_g"], basis=said["basis"])
    used_up = said["used_up"]
    facts.touch(said["batch"], "loaded, used up" if used_up else "loaded", state="used up" if used_up else "in use",
                place=said["line"], rank=PREPARE)  # fmt: skip


def _draws(facts: Facts, event: Event, line: str) -> None:
    for n, draw in enumerate(event.body["draws"]):
        facts.row(
            "line_act", n=n, line=line, at=event.happened_at, rank=DRAW, what="draw", stream="",
            item=draw["item"] or nameless(event.shop, event.seq, n), started_at=event.body["started_at"], grams=draw["grams"],
            a_g=draw["a_g"], b_g=draw["b_g"], r_g=draw["r_g"], mix_e4=draw["mix_e4"], purpose=draw["purpose"], basis=draw["basis"],
        )  # fmt: skip


@handles("purge")
def _purge(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _draws(facts, event, said["line"])
    facts.touch(said["line"], "purged to waste", rank=DRAW)


@handles("take in")
def _take_in(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    known = event.body["facts"]
    tires = event.body["tires"]
    for tire in tires:
        facts.row(
            "tire", item=tire, customer=known["customer"], site=known.get("site", ""), unit=known.get("unit", ""),
            position=known.get("position", ""), size=known["size"], section=known["section"], serial=said.get("serial", ""),
            wheel_serial=said.get("wheel_serial", ""), rating_pa=said.get("rating_pa"), target_pa=known.get("target_pa"),
            mix_e4=known.get("mix_e4"), earlier=said.get("earlier", ""), order_number=said.get("order", ""),
            taken_at=event.happened_at,
        )  # fmt: skip
        facts.touch(tire, f"taken in for {known['customer']}", state="taken in", place="", rank=PREPARE)
    if said.get("earlier"):
        facts.touch(said["earlier"], f"casing filled again as {ids.pretty(tires[0])}")


@handles("open order")
def _open_order(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "work_order", number=said["number"], customer=said["customer"], site=said.get("site", ""), machine=said.get("machine", ""),
        unit=said.get("unit", ""), position=said.get("position", ""), tires=said["tires"], size=said["size"],
        target_pa=said.get("target_pa"), mix_e4=said.get("mix_e4"), grade=said.get("grade", ""), billed=said["billed"],
    )  # fmt: skip


@handles("reserve ids")
def _reserve_ids(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for tire in event.body["ids"]:
        facts.touch(tire, "reserved for a paper day sheet", state="reserved", place="", rank=PREPARE)


def _seen(facts: Facts, event: Event, item: str, words: str) -> None:
    """What was looked at on an item: one row each."""
    for n, one in enumerate(event.body["seen"]):
        facts.row(
            "inspection",
            n=n,
            item=item,
            at=event.happened_at,
            name=one["name"],
            value=one["value"],
            good=int(one["good"]),
        )
    bad = [one["name"].replace("_", " ") for one in event.body["seen"] if not one["good"]]
    facts.touch(item, f"{words}: not good: {', '.join(bad)}" if bad else words)


@handles("inspect")
def _inspect(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _seen(facts, event, said["tire"], "looked at")


@handles("inspect tote")
def _inspect_tote(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _seen(facts, event, said["tote"], "looked at")


@handles("stretch")
def _stretch(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _seen(facts, event, said["tire"], "stands at operating pressure")


# -- shifts, and the middle of a fill ------------------------------------------------------------------------------------------
@handles("start shift")
def _start_shift(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("shift", line=said["line"], at=event.happened_at, what="start", caught_a_g=said.get("caught_a_g"),
              caught_b_g=said.get("caught_b_g"), who=event.who)  # fmt: skip
    _draws(facts, event, said["line"])
    facts.touch(said["line"], "shift started", rank=DRAW)


@handles("end shift")
def _end_shift(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "shift",
        line=said["line"],
        at=event.happened_at,
        what="end",
        caught_a_g=None,
        caught_b_g=None,
        who=event.who,
    )
    _draws(facts, event, said["line"])
    facts.touch(said["line"], "shift ended", rank=DRAW)


@handles("run pump")
def _run_pump(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _draws(facts, event, said["line"])
    facts.touch(said["line"], "pump run", rank=DRAW)


@handles("pause")
def _pause(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _draws(facts, event, event.body["line"])
    facts.touch(said["tire"], "fill interrupted", state="paused", place=event.body["line"], rank=DRAW)


@handles("resume")
def _resume(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.touch(said["tire"], "fill goes on", state="filling", place=event.body["line"], rank=PREPARE)
    facts.row("fill_start", item=said["tire"], line=event.body["line"], at=event.happened_at, bay_mc=None, casing_mc=None,
              mix_mc=None, who=event.who)  # fmt: skip


@handles("abandon")
def _abandon(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _draws(facts, event, event.body["line"])
    facts.touch(
        said["tire"], f"fill given up: {said['why']}", state="abandoned", place=event.body["line"], rank=DRAW
    )


@handles("leak")
def _leak(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    _draws(facts, event, event.body["line"])
    facts.touch(said["tire"], f"leaked at the {said['where']}", rank=DRAW)


@handles("odd flow")
def _odd_flow(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, stream in enumerate("AB"):
        _act(facts, n, said["line"], "odd", stream, "")
    facts.touch(said["line"], said["what"], rank=PREPARE)


@handles("pour heel")
def _pour_heel(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    mixture = body["mixture"]
    facts.row(
        "tote", item=mixture, supplier="", lot="", side=body["side"], system=body["system"], grade=body["grade"],
        net_g=said["weight_g"] + body["rest_g"], basis=said["basis"], received_at=event.happened_at, made_at=None, use_by=None, supplier_code="",
    )  # fmt: skip
    facts.row("batch", item=mixture, made_at=event.happened_at, grams=said["weight_g"] + body["rest_g"])
    for n, (source, grams) in enumerate(((said["tote"], said["weight_g"]), (said["into"], body["rest_g"]))):
        facts.row("ingredient", n=n, batch=mixture, source=source, grams=grams, cut_at=None)
    facts.touch(
        said["tote"], f"rest poured into {ids.pretty(mixture)}", state="empty", place="", rank=PREPARE
    )
    facts.touch(
        said["into"], f"mixed; is {ids.pretty(mixture)} from now on", state="mixed", place="", rank=PREPARE
    )
    facts.touch(mixture, f"mixed from {ids.pretty(said['tote'])} and {ids.pretty(said['into'])}", state="in store", place="",
                rank=PREPARE)  # fmt: skip


@handles("attach")
def _attach(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row(
        "attachment", item=said.get("item", ""), lot=body["lot"], supplier=body["supplier"], what=said["what"], media=body["media"],
        digest=body["digest"], at=event.happened_at,
    )  # fmt: skip
    if said.get("item"):
        facts.touch(said["item"], f"{said['what']} attached")


@handles("keep")
def _keep(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("kept", item=said["cup"], shelf=said["shelf"], keep_until=said["until"])
    facts.touch(said["cup"], f"kept on {said['shelf']}", place=said["shelf"])


@handles("take retain")
def _take_retain(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    retain = event.body["retain"]
    facts.row("batch", item=retain, made_at=event.happened_at, grams=said["weight_g"])
    facts.row("ingredient", n=0, batch=retain, source=said["tote"], grams=said["weight_g"], cut_at=None)
    facts.row("kept", item=retain, shelf=said["shelf"], keep_until=said["until"])
    facts.touch(said["tote"], f"liquid retain {ids.pretty(retain)} taken", rank=PREPARE)
    facts.touch(
        retain,
        f"liquid retain of {ids.pretty(said['tote'])}",
        state="kept",
        place=said["shelf"],
        rank=PREPARE,
    )


@handles("empty waste")
def _empty_waste(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "waste_out", line=said["line"], at=event.happened_at, grams=said["weight_g"], became=said["became"]
    )
    facts.touch(said["line"], f"waste emptied: {said['became']}")


@handles("start fill")
def _start_fill(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "fill_start", item=said["tire"], line=said["line"], at=event.happened_at, bay_mc=said.get("bay_mc"),
        casing_mc=said.get("casing_mc"), mix_mc=said.get("mix_mc"), who=event.who,
    )  # fmt: skip
    facts.touch(said["tire"], "fill started", state="filling", place=said["line"], rank=PREPARE)


@handles("finish fill")
def _finish_fill(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row(
        "fill", item=said["tire"], line=body["line"], started_at=body["began"], at=event.happened_at,
        grams=body["grams"], mix_e4=body["mix_e4"], pressure_pa=said.get("pressure_pa"),
        flow_stopped=int(said["flow_stopped"]), cold=int(body["cold"]), who=event.who,
    )  # fmt: skip
    _draws(facts, event, body["line"])
    facts.touch(said["tire"], "filled", state="filled", place=body["line"], rank=DRAW)


# -- regrind -------------------------------------------------------------------------------------------------------------------
@handles("grind")
def _grind(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    batch = event.body["ids"][0]
    facts.row(
        "batch", item=batch, made_at=event.happened_at, grams=sum(p["weight_g"] for p in said["pieces"])
    )
    for n, piece in enumerate(said["pieces"]):
        source = "" if piece["source"] == "unknown" else piece["source"]
        cut_at = piece.get("cut_no_later_than", event.happened_at) if not source else None
        facts.row("ingredient", n=n, batch=batch, source=source, grams=piece["weight_g"], cut_at=cut_at)
        if source:
            state = "used up" if source in event.body["used_up"] else None
            facts.touch(source, f"ground into {ids.pretty(batch)}", state=state, place="" if state else None)
    facts.touch(batch, "ground", state="in store", place="", rank=PREPARE)


@handles("reclaim")
def _reclaim(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "out_of", n=0, item=said["tire"], what="reclaim", at=event.happened_at, grams=event.body["grams"]
    )
    facts.touch(said["tire"], "fill cut out for regrind", state="reclaimed", place="")


@handles("scrap")
def _scrap(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "out_of", n=0, item=said["item"], what="scrap", at=event.happened_at, grams=said.get("weight_g")
    )
    facts.touch(said["item"], f"scrapped: {said['why']}", state="scrapped", place="")


# -- cure ----------------------------------------------------------------------------------------------------------------------
@handles("rack")
def _rack(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for tire in said["tires"]:
        before = tire in event.body["soaking"]
        facts.touch(
            tire,
            "lies in the warm to soak" if before else "racked",
            state="soaking" if before else "racked",
            place=said["zone"],
        )


@handles("read temperature")
def _read_temperature(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "reading",
        zone=said["zone"],
        at=event.happened_at,
        mc=said["reading_mc"],
        lowest_since=said.get("lowest_since"),
    )


@handles("log temperatures")
def _log_temperatures(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    block = facts.book.value("SELECT bytes FROM blob WHERE digest = ?", body["digest"])
    if block is None:
        raise Damaged(
            f"The readings of event {event.shop}:{event.seq} (digest {body['digest'][:16]}) are missing."
        )
    samples = logger.from_block(bytes(block))
    if hashlib.sha256(block).hexdigest() != body["digest"]:
        raise Damaged(
            f"The readings of event {event.shop}:{event.seq} were changed: their digest no longer fits."
        )
    facts.row(
        "sample_block", zone=said["zone"], sensor=said["sensor"], first_at=body["first_at"], last_at=body["last_at"], count=body["count"],
        digest=body["digest"], read_as=body["read_as"], late=int(body["late"]),
    )  # fmt: skip
    for n, one in enumerate(body["doubts"]):
        facts.row("doubt", n=n, zone=said["zone"], sensor=said["sensor"], **one)
    facts.book.insert_many(
        "sample",
        ("zone", "sensor", "at", "shop", "seq", "mc"),
        [(said["zone"], said["sensor"], s.at, event.shop, event.seq, s.mc) for s in samples],
    )


@handles("store")
def _store(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, tote in enumerate(said["totes"]):
        facts.touch(tote, "stored", state=event.body["states"][n], place=said["zone"], rank=PREPARE)


@handles("trust samples")
def _trust_samples(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "trust", digest=event.body["digest"], zone=event.body["zone"], at=event.happened_at, who=event.signed_by or event.who,
        why=said["why"],
    )  # fmt: skip
    facts.touch(event.body["zone"], f"doubtful samples of event {said['event']} trusted: {said['why']}")


@handles("hang sensor")
def _hang_sensor(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "sensor_act", zone=said["zone"], sensor=said["sensor"], at=event.happened_at, what="hang", offset_mk=said["offset_mk"],
        tolerance_mk=said.get("tolerance_mk"), gap_s=said.get("gap_s"),
    )  # fmt: skip
    facts.touch(said["zone"], f"logger {said['sensor']} hung")


@handles("take down sensor")
def _take_down_sensor(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "sensor_act", zone=said["zone"], sensor=said["sensor"], at=event.happened_at, what="down", offset_mk=0
    )
    facts.touch(said["zone"], f"logger {said['sensor']} taken down")


@handles("let sensor send")
def _let_sensor_send(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "sensor_token", zone=said["zone"], sensor=said["sensor"], token_hash=said.get("token_hash", ""),
        who=event.signed_by or event.who, at=event.happened_at, ended=int(said["stop"]),
    )  # fmt: skip
    facts.touch(
        said["zone"],
        f"logger {said['sensor']} may {'no longer send' if said['stop'] else 'send its readings itself'}",
    )


@handles("admit device")
def _admit_device(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "device_act", device=said["device"], at=event.happened_at, who=event.signed_by or event.who, what="admitted", role=said["role"],
        token_hash=said["token_hash"], why="",
    )  # fmt: skip


@handles("dismiss device")
def _dismiss_device(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "device_act", device=event.body["device"], at=event.happened_at, who=event.signed_by or event.who, what="dismissed", role="",
        token_hash="", why=said["why"],
    )  # fmt: skip


@handles("pour cup")
def _pour_cup(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    cup = event.body["ids"][0]
    facts.row(
        "cup",
        item=cup,
        line=said["line"],
        at=event.happened_at,
        zone=said.get("zone", ""),
        mix_mc=said.get("mix_mc"),
    )
    _draws(facts, event, said["line"])
    facts.touch(cup, "poured", state="curing", place=said.get("zone", ""), rank=DRAW)


@handles("read cup")
def _read_cup(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    passed = event.body["passed"]
    facts.row(
        "cup_read", cup=said["cup"], at=event.happened_at, is_set=int(said["is_set"]),
        hardness=" ".join(str(v) for v in said["hardness"]), passed=int(passed), scale=said["scale"], dwell_s=said.get("dwell_s"),
        cup_mc=said.get("cup_mc"), thickness_dmm=said.get("thickness_dmm"),
    )  # fmt: skip
    facts.touch(said["cup"], "passed" if passed else "failed", state="passed" if passed else "failed")


# -- the desk ------------------------------------------------------------------------------------------------------------------
@handles("release")
def _release(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, frozen in enumerate(event.body["frozen"]):
        facts.row(
            "released", n=n, item=frozen["item"], at=event.happened_at, path=frozen["path"], overridden=int(frozen["overridden"]),
            credited_s=frozen["credited_s"], attended_s=frozen["attended_s"], moved_at=frozen["moved_at"], work_at=frozen["work_at"],
        )  # fmt: skip
        words = "released, overridden" if frozen["overridden"] else "released"
        facts.touch(frozen["item"], words, state="released", place="")


@handles("settle")
def _settle(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "settled", item=said["tire"], at=event.happened_at, who=event.signed_by or event.who, why=said["why"]
    )
    facts.touch(said["tire"], f"later readings looked at: {said['why']}")


@handles("dispatch")
def _dispatch(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    overridden = int(any(f["code"] for f in event.body["findings"]))
    for n, tire in enumerate(said["tires"]):
        to = event.body["to"][n]
        facts.row("dispatch", n=n, item=tire, at=event.happened_at, sent_to=to, overridden=overridden)
        facts.touch(tire, f"dispatched to {to}", state="dispatched", place=to)


@handles("return")
def _return(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    tire = said.get("tire", "")
    facts.row(
        "came_back", item=tire, at=event.happened_at, return_seq=event.seq, complaint=said["complaint"], customer=said.get("customer", ""),
        size=said.get("size", ""), clues=event.body["clues"], verdict="ours" if tire else "undetermined",
    )  # fmt: skip
    _candidates(facts, event.seq, event.body["candidates"])
    if tire:
        facts.touch(tire, f"came back: {said['complaint']}", state="returned", place="")


@handles("identify")
def _identify(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row(
        "came_back", item=body["item"], at=body["returned_at"], return_seq=body["return_seq"], complaint=body["complaint"], customer=body["customer"],
        size=body["size"], clues=body["clues"], verdict=said["verdict"],
    )  # fmt: skip
    _candidates(facts, body["return_seq"], body["candidates"])
    if body["item"]:
        facts.touch(body["item"], f"came back without a label: {body['complaint']}; {said['why']}", state="returned", place="",
                    at=body["returned_at"])  # fmt: skip


def _candidates(facts: Facts, return_seq: int, candidates: Iterable[dict[str, str]]) -> None:
    for n, one in enumerate(candidates):
        facts.row(
            "candidate",
            n=n,
            return_seq=return_seq,
            item=one["item"],
            speaks_for=one["for"],
            speaks_against=one["against"],
        )


# -- papers --------------------------------------------------------------------------------------------------------------------
@handles("print")
def _print(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, item in enumerate(said["items"]):
        facts.row(
            "print",
            n=n,
            item=item,
            at=event.happened_at,
            face=event.body["faces"][n],
            how=said["how"],
            why=said.get("why", ""),
            copy=event.body["copies"][n],
            printer=said.get("printer", ""),
        )
        facts.touch(
            item,
            f"label {said['how']}"
            + (f", copy {event.body['copies'][n]}" if event.body["copies"][n] > 1 else ""),
        )


@handles("print failed")
def _print_failed(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    for n, item in enumerate(said["items"]):
        facts.row(
            "print_failed",
            n=n,
            item=item,
            at=event.happened_at,
            printer=said["printer"],
            trouble=said["trouble"],
        )
        facts.touch(item, f"label not accepted by {said['printer']}")


@handles("adjust face")
def _adjust_face(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    body = event.body
    facts.row("face_set", face=said["face"], size=said["size"], facts=json.dumps(body["facts"]), logo=body["logo"],
              words=json.dumps(body["words"], sort_keys=True))  # fmt: skip


@handles("choose language")
def _choose_language(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row("language_set", language=said["language"])


@handles("choose printer")
def _choose_printer(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "printer_set",
        station=said["station"],
        printer=said["printer"],
        dpi=said["dpi"],
        sheet=said.get("sheet", ""),
    )


@handles("paper trial")
def _paper_trial(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    counts = {name: said[name] for name in ("stock", "step", "tags", "qr", "bars", "either", "readable")}
    facts.row("paper_trial", at=event.happened_at, why=said.get("why", ""), **counts)


@handles("note supplier code")
def _note_supplier_code(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "supplier_note",
        supplier=said["supplier"],
        pattern=said["pattern"],
        dates=said["dates"],
        example=said["example"],
    )


@handles("open recall")
def _open_recall(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    frozen = event.body["frozen"]
    facts.row(
        "recall", suspect=event.body["suspect"], defect=said["defect"], threshold_e6=frozen["threshold_e6"], at=event.happened_at,
        position_seq=frozen["position_seq"], position_hash=frozen["position_hash"], why=said["why"],
    )  # fmt: skip
    for n, one in enumerate(frozen["items"]):
        facts.row("recall_item", n=n, item=one["item"], tier=one["tier"], least_g=one["grams"][0], best_g=one["grams"][1],
                  most_g=one["grams"][2])  # fmt: skip
        facts.touch(one["item"], f"listed in the recall of {event.body['suspect']}: {one['tier']}")


@handles("close recall")
def _close_recall(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.row(
        "recall_close", recall_seq=said["recall"], at=event.happened_at, who=event.signed_by or event.who, note=said["note"],
    )  # fmt: skip
    for n, one in enumerate(event.body["frozen"]["items"]):
        facts.row("recall_outcome", n=n, item=one["item"], tier=one["tier"], outcome=one["outcome"],
                  listed_then=int(one["listed_then"]))  # fmt: skip
        facts.touch(one["item"], f"the recall of {event.body['suspect']} was closed: {one['outcome'] or 'no outcome yet'}")


@handles("wrong PINs")
def _wrong_pins(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    facts.touch(said["person"], f"{said['wrong']} wrong PINs; signing had to wait")


@handles("PIN changed")
def _pin_changed(facts: Facts, event: Event, said: dict[str, Any]) -> None:
    words = {
        "set": "PIN set",
        "code given": "one-time code given for a new PIN",
        "wait lifted": "wait after wrong PINs lifted",
    }
    facts.touch(said["person"], words.get(said["what"], said["what"]))
