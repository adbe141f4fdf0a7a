"""What a correction would change, shown before anybody signs it: the act is done, looked at, and undone."""

from __future__ import annotations

from dataclasses import dataclass, field

from fillbook.trace.book import glance, items, later, on_hold, queries, recalls
from fillbook.trace.core import ids
from fillbook.trace.core.errors import ShopError
from fillbook.trace.web import here
from fillbook.trace.work import acting

RECALLS = 5  # so many opened recalls, the newest first, are listed again


@dataclass
class Picture:
    """The parts of the book that a correction can move."""

    facts: dict[str, dict[str, str]]
    make_ups: dict[str, object]
    holds: dict[str, str]
    alerts: dict[str, str]
    listed: dict[int, frozenset[str]]


@dataclass
class Change:
    """What would be different, as sentences, and the items whose make-up would be."""

    words: list[str] = field(default_factory=list)
    make_ups: list[str] = field(default_factory=list)


def what_changes(seq: int, action: acting.Action) -> Change:
    """Try *action*, a correction of event *seq*, and tell what differs. Raises ShopError where it would be refused."""
    book, shop = here.book(), here.shop()
    touched = glance.touched_by(book, shop, seq)
    before = _picture(touched)
    with acting.dry_run(book):
        answer = acting.act(book, action, now=here.now())
        after = _picture(touched)
    change = _difference(before, after)
    change.words += [finding["words"] for finding in answer.findings]
    return change


def _picture(touched: list[str]) -> Picture:
    book, shop = here.book(), here.shop()
    say = here.say()
    facts = {}
    for item in touched:
        place = queries.place_of(book, item)
        where = say.name(place.place) if place.place else ""
        facts[item] = {**items.facts(book, item, say), "State": " ".join(filter(None, [place.state, where]))}
    holds = {
        f"{h.shop}:{h.seq}.{h.n}": f"{ids.pretty(h['item']) if h['item'] else 'lot ' + h.lot}: {h.why}"
        for h in on_hold.open_holds(book, shop)
    }
    alerts = {one.item: one.words for one in later.alerts(book, shop)}
    return Picture(facts, dict(glance.make_ups(book, shop)), holds, alerts, _listed())


def _listed() -> dict[int, frozenset[str]]:
    """The tires each opened recall would list today."""
    book, shop = here.book(), here.shop()
    found = {}
    for row in queries.recalls(book, shop)[:RECALLS]:
        try:
            now = recalls.recall(
                book, shop, row.suspect, defect=row.defect, threshold_e4=row.threshold_e6 // 100
            )
        except ShopError:  # what was suspected is void by now
            continue
        found[row.seq] = frozenset(one["id"] for one in now["items"])
    return found


def _difference(before: Picture, after: Picture) -> Change:
    change = Change()
    for item, facts in before.facts.items():
        for name in dict.fromkeys([*facts, *after.facts[item]]):
            was, is_now = facts.get(name, ""), after.facts[item].get(name, "")
            if was != is_now:
                change.words.append(
                    f"{here.say().name(item)}, {name.lower()}: {was or 'nothing'} becomes {is_now or 'nothing'}."
                )
    change.words += [
        f"A hold falls away: {words}" for key, words in before.holds.items() if key not in after.holds
    ]
    change.words += [
        f"A hold is put on: {words}" for key, words in after.holds.items() if key not in before.holds
    ]
    change.words += [words for item, words in after.alerts.items() if before.alerts.get(item) != words]
    for seq, listed in before.listed.items():
        now = after.listed.get(seq, frozenset())
        if added := sorted(now - listed):
            change.words.append(
                f"The recall of event {seq} would list {len(added)} more today: {', '.join(added[:5])}."
            )
        if gone := sorted(listed - now):
            change.words.append(
                f"The recall of event {seq} would list {len(gone)} fewer today: {', '.join(gone[:5])}."
            )
    every = {**before.make_ups, **after.make_ups}
    change.make_ups = [
        code for code in every if ids.is_valid(code) and before.make_ups.get(code) != after.make_ups.get(code)
    ]
    return change
