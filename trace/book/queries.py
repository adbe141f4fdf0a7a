"""Reading the book: everything pages, commands and verbs ask of it. Nothing here writes."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from fillbook.trace.book.opening import Book, Row
from fillbook.trace.core import ids, limits
from fillbook.trace.core.errors import UnknownItem
from fillbook.trace.core.quote import quoted
from fillbook.trace.core.unseen import as_seen

NOWHERE = Row(state=None, place="", since=0, seq=0)


# -- the shop and its limits ---------------------------------------------------------------------------------------------------
def shop_row(book: Book, shop: str) -> Row:
    found = book.one("SELECT * FROM shop WHERE shop = ?", shop)
    if found is None:
        raise UnknownItem(f"No shop {shop} is in this book.", field="shop")
    return found


def first_request(book: Book, shop: str) -> str | None:
    """The request id that began the shop's journal."""
    return book.value("SELECT request FROM event WHERE shop = ? AND seq = 1", shop)


def was_sent(book: Book, shop: str, request: str) -> bool:
    """Whether an event of the shop was written for this request id."""
    return (
        bool(request)
        and book.value("SELECT 1 FROM event WHERE shop = ? AND request = ?", shop, request) is not None
    )


def timezone(book: Book, shop: str) -> str:
    return book.value("SELECT timezone FROM shop WHERE shop = ?", shop) or "UTC"


def is_us(book: Book, shop: str) -> bool:
    return book.value("SELECT units FROM shop WHERE shop = ?", shop) == "us"


def limit(book: Book, shop: str, name: str, at: int, scope: str = "") -> int:
    """The limit *name* in force at *at*, for one line where it was set for that, else for the shop, else its default."""
    found = book.value(
        "SELECT value FROM limit_set WHERE shop = ? AND name = ? AND from_at <= ? AND scope IN (?, '') "
        "ORDER BY scope DESC, from_at DESC, seq DESC LIMIT 1",
        shop, name, at, scope,
    )  # fmt: skip
    return limits.limit(name).default if found is None else found


class Limits:
    """A shop's limits in force at one time, read at once: for whoever asks many of them, such as every tire on the racks."""

    def __init__(self, book: Book, shop: str, at: int) -> None:
        rows = book.tuples(
            "SELECT name, scope, value FROM limit_set WHERE shop = ? AND from_at <= ? ORDER BY from_at, seq", shop, at
        )  # fmt: skip
        self._set = {(name, scope): value for name, scope, value in rows}

    def __call__(self, name: str, scope: str = "") -> int:
        """As :func:`limit`."""
        found = self._set.get((name, scope))
        if found is None:
            found = self._set.get((name, ""))
        return limits.limit(name).default if found is None else found


def rules_number(book: Book, shop: str, at: int) -> int:
    """The number of the shop's set of rules at *at*: that of the event that set a limit last, 1 for the defaults."""
    return book.value("SELECT max(seq) FROM limit_set WHERE shop = ? AND from_at <= ?", shop, at) or 1


def limits_now(book: Book, shop: str, at: int) -> list[Row]:
    """Every limit with the value in force, and where it comes from."""
    rows = []
    said: dict[str, list[Row]] = {}
    for row in book.rows(
        "SELECT name, scope, value, typed, source, from_at FROM limit_set WHERE shop = ? AND from_at <= ? "
        "ORDER BY scope, from_at DESC, seq DESC",
        shop, at,
    ):  # fmt: skip
        said.setdefault(row.pop("name"), []).append(row)
    for name, one in limits.LIMITS.items():
        scopes: set[str] = set()
        for row in said.get(name, ()):
            if row.scope not in scopes:
                scopes.add(row.scope)
                rows.append(Row(name=name, why=limits.why(name), set=True, **row))
        if "" not in scopes:
            rows.append(
                Row(
                    name=name,
                    why=limits.why(name),
                    set=False,
                    scope="",
                    value=one.default,
                    typed="",
                    source="default",
                    from_at=0,
                )
            )
    return rows


def system(book: Book, shop: str, name: str) -> Row | None:
    return book.one(
        "SELECT * FROM system WHERE shop = ? AND lower(name) = lower(?) ORDER BY seq DESC LIMIT 1", shop, name
    )


def systems(book: Book, shop: str) -> list[Row]:
    return book.rows("SELECT * FROM system WHERE shop = ? ORDER BY seq", shop)


def people(book: Book, shop: str) -> list[Row]:
    return book.rows("SELECT item, name, role FROM person WHERE shop = ? ORDER BY seq", shop)


def lines(book: Book, shop: str) -> list[Row]:
    return book.rows("SELECT item, name FROM line WHERE shop = ? ORDER BY seq", shop)


def zones(book: Book, shop: str) -> list[Row]:
    return book.rows("SELECT item, name, gap_s, tolerance_mk FROM zone WHERE shop = ? ORDER BY seq", shop)


def person(book: Book, shop: str, said: str) -> Row:
    """The person of this name or badge."""
    text = as_seen(said).strip()
    found = book.rows(
        "SELECT item, name, role FROM person WHERE shop = ? AND lower(name) IN (lower(?), lower(?))",
        shop,
        text,
        said.strip(),
    )
    if not found:
        try:
            found = book.rows(
                "SELECT item, name, role FROM person WHERE shop = ? AND item = ?", shop, ids.read(text)
            )
        except Exception:
            found = []
    if len(found) != 1:
        names = ", ".join(p.name for p in people(book, shop)) or "nobody yet"
        why = "is not in this book" if not found else "is the name of several; use the badge"
        raise UnknownItem(
            f"The person {quoted(text)} {why}. The book knows: {names}.",
            field="who",
            expected="a name or badge",
        )
    return found[0]


def by_name(book: Book, shop: str, kind: str, text: str) -> str | None:
    table = {"Z": "zone", "U": "line", "P": "person"}[kind]
    return book.value(
        f"SELECT item FROM {table} WHERE shop = ? AND lower(name) IN (lower(?), lower(?))",
        shop, as_seen(text).strip(), text.strip(),
    )  # fmt: skip


# -- items ---------------------------------------------------------------------------------------------------------------------
def item_exists(book: Book, item: str) -> bool:
    return book.value("SELECT 1 FROM item WHERE code = ?", item) is not None


def shop_of(book: Book, item: str) -> str:
    return book.value("SELECT shop FROM item WHERE code = ?", item)


def last_serial(book: Book, shop: str, kind: str, year: int) -> int:
    return (
        book.value("SELECT max(serial) FROM item WHERE shop = ? AND kind = ? AND year = ?", shop, kind, year)
        or 0
    )


def state_at(book: Book, item: str, at: int) -> Row:
    """State and place of *item* at *at*; state None before it existed."""
    found = book.one(
        "SELECT state, coalesce(place, '') AS place, at AS since, seq, shop, rank FROM touch WHERE item = ? AND state IS NOT NULL "
        "AND at <= ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        item, at,
    )  # fmt: skip
    if found is None:
        return NOWHERE
    if found.state == "hooked up":
        # It came off when the next one was hooked up to its side, whether that was entered before or after it.
        off = book.one(
            "SELECT o.at, o.seq, o.ran_dry FROM line_act h JOIN line_act o ON o.line = h.line AND o.stream = h.stream "
            "WHERE h.shop = ? AND h.seq = ? AND h.what = 'hook' AND o.what IN ('hook', 'off') AND o.item <> h.item AND o.at <= ? "
            "AND (o.at, o.rank, o.seq) > (h.at, h.rank, h.seq) ORDER BY o.at, o.rank, o.seq LIMIT 1",
            found.shop, found.seq, at,
        )  # fmt: skip
        if off:
            state = "empty" if off.ran_dry else "part used"
            return Row(state=state, place="", since=off.at, seq=off.seq)
    return Row(state=found.state, place=found.place, since=found.since, seq=found.seq)


def later_states(book: Book, item: str, at: int) -> list[Row]:
    """What became of *item* after *at*, as the book knows it now; for late entries."""
    return book.rows(
        "SELECT state, at, seq FROM touch WHERE item = ? AND state IS NOT NULL AND at > ? ORDER BY at, rank, seq, n", item, at
    )  # fmt: skip


def place_of(book: Book, item: str) -> Row:
    return book.one("SELECT state, place, since, seq FROM place WHERE item = ?", item) or NOWHERE


def first_seen(book: Book, item: str) -> int | None:
    return book.value("SELECT min(at) FROM touch WHERE item = ? AND state IS NOT NULL", item)


def name_of(book: Book, item: str) -> str:
    """What people call it: the name of a line, zone or person, else the written ID."""
    if not item or not ids.is_valid(item):
        return item
    table = {"Z": "zone", "U": "line", "P": "person"}.get(ids.kind_of(item))
    named = book.value(f"SELECT name FROM {table} WHERE item = ?", item) if table else None
    return named or (table and _was_called(book, item)) or ids.pretty(item)


def _was_called(book: Book, item: str) -> str:
    """The name of a person, line or zone whose event was voided: what they did before still says who it was."""
    text = book.value(
        "SELECT e.text FROM item i JOIN event e ON e.shop = i.shop AND e.seq = i.seq WHERE i.code = ?", item
    )
    return str(json.loads(text)["body"]["said"].get("name", "")) if text else ""


def timeline(book: Book, item: str) -> list[Row]:
    """What happened to *item*, oldest first: at, words, seq, who."""
    return book.rows(
        "SELECT t.at, t.words, t.seq, t.state, t.place, t.shop, e.kind, e.corrects FROM touch t "
        "JOIN event e ON e.shop = t.shop AND e.seq = t.seq WHERE t.item = ? ORDER BY t.at, t.rank, t.seq, t.n",
        item,
    )


def tote(book: Book, item: str) -> Row | None:
    return book.one("SELECT * FROM tote WHERE item = ?", item)


def tire(book: Book, item: str) -> Row | None:
    return book.one("SELECT * FROM tire WHERE item = ?", item)


def rating(book: Book, item: str) -> int | None:
    """The lowest rating of a tire in pascals: what was read at the last look, else what it was taken in with."""
    seen = book.value(
        "SELECT value FROM inspection WHERE item = ? AND name = 'rating_pa' ORDER BY at DESC, seq DESC LIMIT 1",
        item,
    )
    return int(seen) if seen is not None else book.value("SELECT rating_pa FROM tire WHERE item = ?", item)


def inspections(book: Book, item: str) -> list[Row]:
    """What was looked at on an item, newest first: at, name, value, good."""
    return book.rows(
        "SELECT at, name, value, good, seq FROM inspection WHERE item = ? ORDER BY at DESC, seq DESC, n", item
    )


def inspected(book: Book, item: str, name: str, at: int) -> Row | None:
    """The newest look at one thing on an item, by *at*."""
    return book.one(
        "SELECT at, value, good, seq FROM inspection WHERE item = ? AND name = ? AND at <= ? ORDER BY at DESC, seq DESC LIMIT 1",
        item, name, at,
    )  # fmt: skip


def order(book: Book, shop: str, number: str) -> Row | None:
    return book.one(
        "SELECT * FROM work_order WHERE shop = ? AND lower(number) = lower(?) ORDER BY seq DESC LIMIT 1",
        shop,
        number,
    )


def orders(book: Book, shop: str) -> list[Row]:
    """The work orders, newest first, with how many tires were taken in on each."""
    return book.rows(
        "SELECT o.*, (SELECT count(*) FROM tire t WHERE t.shop = o.shop AND t.order_number = o.number) AS taken_in "
        "FROM work_order o WHERE o.shop = ? ORDER BY o.seq DESC",
        shop,
    )


def taken_in_on(book: Book, shop: str, number: str) -> int:
    return book.value(
        "SELECT count(*) FROM tire WHERE shop = ? AND lower(order_number) = lower(?)", shop, number
    )


def last_touch(book: Book, item: str, state: str, at: int) -> int | None:
    """When *item* came into *state* last, by *at*."""
    return book.value("SELECT max(at) FROM touch WHERE item = ? AND state = ? AND at <= ?", item, state, at)


def soaked_s(book: Book, tire: str, at: int) -> int:
    """Seconds a tire lay in a warm zone before its fill, by its scans up to *at*."""
    rows = book.tuples(
        "SELECT state, at FROM touch WHERE item = ? AND state IS NOT NULL AND at <= ? ORDER BY at, rank, seq, n",
        tire,
        at,
    )
    ends = [row[1] for row in rows[1:]] + [at]
    return sum(end - began for (state, began), end in zip(rows, ends, strict=True) if state == "soaking")


def fill(book: Book, item: str) -> Row | None:
    return book.one("SELECT * FROM fill WHERE item = ?", item)


def batch(book: Book, item: str) -> Row | None:
    return book.one("SELECT * FROM batch WHERE item = ?", item)


def ingredients(book: Book, item: str) -> list[Row]:
    return book.rows("SELECT source, grams, cut_at FROM ingredient WHERE batch = ? ORDER BY n", item)


def draws_of(book: Book, item: str) -> list[Row]:
    return book.rows(
        "SELECT * FROM line_act WHERE item = ? AND what = 'draw' ORDER BY at, rank, seq, n", item
    )


def attachments(book: Book, item: str) -> list[Row]:
    """The papers that belong to *item*, or to the lot it is of: shop, seq, what, media, digest, at."""
    return book.rows(
        "SELECT a.* FROM attachment a WHERE a.item = ? UNION SELECT a.* FROM attachment a JOIN tote t ON t.shop = a.shop "
        "AND t.lot = a.lot AND t.supplier = a.supplier WHERE t.item = ? AND a.lot <> '' ORDER BY 2",
        item, item,
    )  # fmt: skip


def findings_on(book: Book, item: str) -> list[Row]:
    return book.rows(
        "SELECT code, words, holds, shop, seq, n FROM finding WHERE item = ? ORDER BY seq, n", item
    )


def lots(book: Book, shop: str) -> list[Row]:
    """The lots received, newest first: supplier, lot, side, system, totes, net grams, first received."""
    return book.rows(
        "SELECT supplier, lot, side, system, count(*) AS totes, sum(net_g) AS net_g, min(received_at) AS received_at, "
        "min(use_by) AS use_by FROM tote WHERE shop = ? AND lot <> '' GROUP BY supplier, lot, side, system ORDER BY min(received_at) DESC",
        shop,
    )


def lot_totes(book: Book, shop: str, supplier: str, lot: str) -> list[Row]:
    return book.rows(
        "SELECT * FROM tote WHERE shop = ? AND supplier = ? AND lot = ? ORDER BY item", shop, supplier, lot
    )


def find_lot(book: Book, shop: str, said: str) -> Row | None:
    """The one lot written as ``LOT`` or ``SUPPLIER/LOT``; None where none is, UnknownItem where several suppliers use it."""
    if found := _lot_as_written(book, shop, as_seen(said)):
        return found
    return _lot_as_written(book, shop, said) if as_seen(said) != said else None


def _lot_as_written(book: Book, shop: str, said: str) -> Row | None:
    text = said.strip().removeprefix("lot ").strip()
    from fillbook.trace.book.search_words import plain_word

    # By the search's words first, so that no more totes are looked at than may fit; a lot without a letter or digit has no such word.
    words = {plain_word(text[n:]) for n in (0, *(n + 1 for n, c in enumerate(text) if c == "/"))}
    few = (
        f" AND item IN (SELECT item FROM search WHERE word IN ({', '.join('?' * len(words))}) AND field = 'lot')"
        if "" not in words
        else ""
    )
    rows = book.rows(
        "SELECT DISTINCT supplier, lot FROM tote WHERE shop = ? AND (lower(lot) = lower(?) OR lower(supplier || '/' || lot) = lower(?))" + few,
        shop, text, text, *(sorted(words) if few else ()),
    )  # fmt: skip
    if len(rows) > 1:
        both = " or ".join(f"{r.supplier}/{r.lot}" for r in rows)
        raise UnknownItem(f"Several suppliers use the lot {text}: say {both}.", field="lot")
    return rows[0] if rows else None


def chunks(items: Sequence[str], most: int = 500) -> Iterator[Sequence[str]]:
    """*items* some at a time, as many as either database takes in one query."""
    for start in range(0, len(items), most):
        yield items[start : start + most]


# -- the line ------------------------------------------------------------------------------------------------------------------
def connected(book: Book, line: str, at: int) -> dict[str, str]:
    """Side -> the tote hooked up to *line* at *at*, and ``R`` -> the batch loaded last."""
    found = {}
    for side in ("A", "B", "R"):
        row = book.one(
            "SELECT what, item FROM line_act WHERE line = ? AND stream = ? AND what IN ('hook', 'off', 'load', 'clean') AND at <= ? "
            "AND NOT (what = 'clean' AND stream <> 'R') ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
            line, side, at,
        )  # fmt: skip
        if row and row.what in ("hook", "load"):
            found[side] = row.item
    return found


def open_fill(book: Book, line: str, at: int | None = None) -> Row | None:
    """The fill that was started on *line* and not finished (by *at*)."""
    row = book.one(
        "SELECT s.* FROM fill_start s WHERE s.line = ? AND (? IS NULL OR s.at <= ?) ORDER BY s.at DESC, s.seq DESC LIMIT 1",
        line, at, at,
    )  # fmt: skip
    if row is None:
        return None
    done = book.value(
        "SELECT 1 FROM fill f WHERE f.item = ? AND (? IS NULL OR f.at <= ?)", row["item"], at, at
    )
    gone = state_at(book, row["item"], at if at is not None else 2**53).state not in ("filling",)
    return None if done or gone else row


def event_of_request(book: Book, shop: str, request: str) -> int | None:
    """The event that was written for this request; None where none was."""
    return book.value("SELECT seq FROM event WHERE shop = ? AND request = ?", shop, request)


def start_of(book: Book, tire: str, at: int = 2**53) -> Row | None:
    """How a tire's fill was started or went on last, by *at*."""
    return book.one(
        "SELECT * FROM fill_start WHERE item = ? AND at <= ? ORDER BY at DESC, seq DESC LIMIT 1", tire, at
    )


def starts_of(book: Book, tire: str) -> list[Row]:
    """The start of a tire's fill, and each time it went on after it was interrupted, the oldest first."""
    return book.rows("SELECT * FROM fill_start WHERE item = ? ORDER BY at, seq", tire)


def off_ratio_at(book: Book, line: str, at: int, but: int | None = None) -> bool:
    """Whether what the line gives just after *at* may be off-ratio: a side ran dry shortly before.

    *but*: the number of an event that is being corrected; what its own draws left behind is not looked at.
    """
    from fillbook.trace.book.line_state import LineState
    from fillbook.trace.core import flow

    text = book.value(
        "SELECT state FROM line_state WHERE line = ? AND at <= ? AND seq <> ? ORDER BY at DESC, rank DESC, seq DESC, n DESC LIMIT 1",
        line,
        at,
        but or 0,
    )
    return bool(text) and any(flow.possibly_off_ratio(s) for s in LineState.from_text(text).streams.values())


def last_fill_on(book: Book, line: str, at: int) -> Row | None:
    return book.one(
        "SELECT * FROM fill WHERE line = ? AND at <= ? ORDER BY at DESC, seq DESC LIMIT 1", line, at
    )


def used_of(book: Book, item: str, but: str = "") -> int:
    """Grams of *item* that went into draws and batches (best); *but*: one of them that is not counted."""
    return book.value(
        "SELECT coalesce(sum(k.best_g), 0) FROM link k JOIN item i ON i.num = k.parent WHERE i.code = ? "
        "AND k.child <> coalesce((SELECT num FROM item WHERE code = ?), 0)",
        item, but,
    )  # fmt: skip


def given_by(book: Book, item: str) -> int:
    """Grams that left a fill or batch on paper: ground on, scrapped."""
    ground = book.value("SELECT coalesce(sum(grams), 0) FROM ingredient WHERE source = ?", item)
    scrapped = book.value(
        "SELECT coalesce(sum(grams), 0) FROM out_of WHERE item = ? AND what = 'scrap'", item
    )
    return int(ground) + int(scrapped)


# -- cups and cure -------------------------------------------------------------------------------------------------------------
def cup_covering(book: Book, fill: Row) -> Row | None:
    """The sample cup that covers a fill: the last one poured on its line up to the end of the fill."""
    return book.one(
        "SELECT * FROM cup WHERE line = ? AND at <= ? ORDER BY at DESC, seq DESC LIMIT 1", fill.line, fill.at
    )


def cup_verdict(book: Book, cup: str, at: int) -> Row | None:
    return book.one(
        "SELECT * FROM cup_read WHERE cup = ? AND at <= ? ORDER BY at DESC, seq DESC LIMIT 1", cup, at
    )


def stays(book: Book, tire: str) -> list[tuple[str, int, int | None]]:
    """Where the tire lay: (zone, from, until); until None while it lies there still."""
    rows = book.rows(
        "SELECT state, coalesce(place, '') AS place, at FROM touch WHERE item = ? AND state IS NOT NULL ORDER BY at, rank, seq, n",
        tire,
    )
    return stays_of(rows)


def stays_of(touches: Iterable[Row]) -> list[tuple[str, int, int | None]]:
    """The stays of a tire from its touches (state, place, at) in order."""
    found: list[tuple[str, int, int | None]] = []
    for row in touches:
        if found and found[-1][2] is None:
            found[-1] = (found[-1][0], found[-1][1], row.at)
        if row.state == "racked":
            found.append((row.place, row.at, None))
    return [stay for stay in found if stay[2] is None or stay[2] > stay[1]]


def sensors(book: Book, zone: str) -> list[str]:
    """The loggers whose files came in for *zone*."""
    return [
        row[0]
        for row in book.tuples(
            "SELECT DISTINCT sensor FROM sample_block WHERE zone = ? ORDER BY sensor", zone
        )
    ]


def samples(book: Book, zone: str, sensor: str, start: int, end: int) -> list[tuple[int, int]]:
    """A logger's samples (at, thousandths of °C) around [start, end], one per time: the lowest where its files disagree."""
    before = book.value(
        "SELECT max(at) FROM sample WHERE zone = ? AND sensor = ? AND at < ?", zone, sensor, start
    )
    after = book.value(
        "SELECT min(at) FROM sample WHERE zone = ? AND sensor = ? AND at > ?", zone, sensor, end
    )
    return book.tuples(
        "SELECT at, min(mc) FROM sample WHERE zone = ? AND sensor = ? AND at BETWEEN ? AND ? GROUP BY at ORDER BY at",
        zone, sensor, start if before is None else before, end if after is None else after,
    )  # fmt: skip


def readings(book: Book, zone: str, start: int, end: int) -> list[tuple[int, int, int | None]]:
    """Hand readings (at, thousandths of °C, lowest since) of *zone*, from a day before *start* on."""
    return book.tuples(
        "SELECT at, mc, lowest_since FROM reading WHERE zone = ? AND at BETWEEN ? AND ? ORDER BY at, seq",
        zone,
        start - 86_400,
        end,
    )


def blocks(book: Book, zone: str, start: int, end: int) -> list[Row]:
    return book.rows(
        "SELECT shop, seq, sensor, digest, first_at, last_at, count FROM sample_block WHERE zone = ? AND last_at >= ? AND first_at <= ? ORDER BY seq",
        zone, start, end,
    )  # fmt: skip


def newest_sample(book: Book, zone: str) -> Row | None:
    newest = [
        row
        for sensor in sensors(book, zone)
        if (
            row := book.one(
                "SELECT at, mc, sensor FROM sample WHERE zone = ? AND sensor = ? ORDER BY at DESC LIMIT 1",
                zone,
                sensor,
            )
        )
    ]
    return max(newest, key=lambda row: row.at, default=None)


def in_state(book: Book, shop: str, *states: str, most: int | None = None) -> list[Row]:
    """Tires in one of these states, longest there first; of each state no more than *most*, then of all."""
    columns = "p.item, p.state, p.place, p.since, t.customer, t.size, t.section"
    if most is None:
        marks = ", ".join("?" * len(states))
        return book.rows(  # CROSS: from the few in that state to their tires, never from all tires
            f"SELECT {columns} FROM place p CROSS JOIN tire t "
            f"WHERE p.state IN ({marks}) AND p.item BETWEEN ? AND ? AND t.item = p.item ORDER BY p.since, p.item",
            *states, shop + "F", shop + "FZ",
        )  # fmt: skip
    of_one_state = (  # substr and no range of IDs: else they would be looked up by ID, all of them, and sorted
        f"SELECT * FROM (SELECT {columns} FROM place p CROSS JOIN tire t WHERE p.state = ? AND substr(p.item, 1, 3) = ? "
        "AND t.item = p.item ORDER BY p.since, p.item LIMIT ?) {}"
    )
    union = " UNION ALL ".join(of_one_state.format(f"s{n}") for n in range(len(states)))
    return book.rows(
        f"SELECT * FROM ({union}) found ORDER BY since, item LIMIT ?",
        *(arg for state in states for arg in (state, shop + "F", most)), most,
    )  # fmt: skip


def cut_and_whole(book: Book, shop: str, most: int) -> list[Row]:
    """Fills that were cut out and of which nothing was ground or scrapped yet, longest there first, no more than *most*."""
    return book.rows(  # a fill that was ground stays reclaimed for ever: only the newest are looked at
        "SELECT p.item, p.state, p.place, p.since, t.customer, t.size, t.section FROM (SELECT * FROM place WHERE state = 'reclaimed' "
        "AND item BETWEEN ? AND ? ORDER BY item DESC LIMIT 5000) p CROSS JOIN tire t WHERE t.item = p.item "
        "AND NOT EXISTS (SELECT 1 FROM ingredient i WHERE i.source = p.item) "
        "AND NOT EXISTS (SELECT 1 FROM out_of o WHERE o.item = p.item AND o.what = 'scrap' AND o.grams > 0) "
        "ORDER BY p.since, p.item LIMIT ?",
        shop + "F", shop + "FZ", most,
    )  # fmt: skip


def reserved(book: Book, shop: str) -> list[str]:
    """The IDs of tires that stand on paper day sheets and were not taken in yet, in order."""
    return [
        code
        for (code,) in book.tuples(
            "SELECT item FROM place WHERE state = 'reserved' AND item BETWEEN ? AND ? ORDER BY item",
            shop + "F", shop + "FZ",
        )
    ]  # fmt: skip


def states(book: Book) -> list[str]:
    """The states that anything is in, each found by one step along the index."""
    rows = book.tuples(
        "WITH RECURSIVE step(state) AS (SELECT min(state) FROM place UNION ALL "
        "SELECT (SELECT min(p.state) FROM place p WHERE p.state > step.state) FROM step WHERE step.state IS NOT NULL) "
        "SELECT state FROM step WHERE state IS NOT NULL"
    )
    return [state for (state,) in rows]


def releases(book: Book, tire: str) -> list[Row]:
    return book.rows("SELECT * FROM released WHERE item = ? ORDER BY at, seq", tire)


def prints_of(book: Book, item: str) -> list[Row]:
    return book.rows("SELECT * FROM print WHERE item = ? ORDER BY at, seq", item)


def not_accepted(book: Book, shop: str) -> list[str]:
    """Items whose label a printer refused and none has taken since."""
    return [
        code
        for (code,) in book.tuples(
            "SELECT f.item FROM print_failed f WHERE f.shop = ? AND f.seq > "
            "coalesce((SELECT max(p.seq) FROM print p WHERE p.item = f.item), 0) GROUP BY f.item ORDER BY f.item",
            shop,
        )
    ]


def language(book: Book, shop: str) -> str:
    """The code of the language the shop's labels are in, and the papers its commands make."""
    return (
        book.value("SELECT language FROM language_set WHERE shop = ? ORDER BY seq DESC LIMIT 1", shop) or "en"
    )


def face_set(book: Book, shop: str, face: str) -> Row | None:
    """What the shop last chose for a label; None: nothing yet."""
    return book.one(
        "SELECT * FROM face_set WHERE shop = ? AND face = ? ORDER BY seq DESC LIMIT 1", shop, face
    )


def printer_of(book: Book, shop: str, station: str) -> Row | None:
    """The printer last chosen for a station."""
    return book.one(
        "SELECT * FROM printer_set WHERE shop = ? AND lower(station) = lower(?) ORDER BY seq DESC LIMIT 1",
        shop,
        station,
    )


def paper_trials(book: Book, shop: str) -> list[Row]:
    return book.rows("SELECT * FROM paper_trial WHERE shop = ? ORDER BY stock, at, seq", shop)


def supplier_notes(book: Book, shop: str) -> dict[str, Row]:
    """How each supplier's codes are read: the newest note for each."""
    return {
        row.supplier: row
        for row in book.rows("SELECT * FROM supplier_note WHERE shop = ? ORDER BY seq", shop)
    }


def recalls(book: Book, shop: str) -> list[Row]:
    return book.rows(
        "SELECT r.*, (SELECT count(*) FROM recall_item i WHERE i.shop = r.shop AND i.seq = r.seq) AS listed, c.at AS closed_at "
        "FROM recall r LEFT JOIN recall_close c ON c.shop = r.shop AND c.recall_seq = r.seq WHERE r.shop = ? ORDER BY r.seq DESC",
        shop,
    )


def opened_recall(book: Book, shop: str, seq: int) -> Row | None:
    """The recall that event *seq* opened, as it was frozen then; None where it opened none."""
    return book.one("SELECT * FROM recall WHERE shop = ? AND seq = ?", shop, seq)


def returns(book: Book, shop: str) -> list[Row]:
    return book.rows("SELECT * FROM came_back WHERE shop = ? ORDER BY at DESC, seq DESC", shop)


def event_words(book: Book, shop: str, seq: int) -> dict[str, Any]:
    import json

    return json.loads(book.value("SELECT text FROM event WHERE shop = ? AND seq = ?", shop, seq))
