"""Large books of an invented trade, made fast: rows straight into the tables, a shop's people and settings by the verbs.

Per shop 5,000 tires a year of 148 kg, a fifth of it regrind, totes of a metric ton, four to a lot, a batch for ten tires from eight
pieces: three in five are the shop's own tires, most of them filled two to three years before, one in seven scrapped within a
month. The rest is of unknown origin. All of this is assumed, not taken from a real shop.

Pieces of unknown origin decide how long a recall's list is: what was cut after a lot was made may be made of it. By default they are
older than the book (``PIECES_OLD``); cut three years before they are ground, as FILLBOOK_BENCH_PIECES=3 has them, every tire filled
more than three years after a lot can't be excluded, and no way of asking is flat in the size of the book.
"""

from __future__ import annotations

import importlib.util
import os
import sqlite3
import sys
from pathlib import Path
from random import Random
from typing import Any

from fillbook.trace.book.opening import open_book
from fillbook.trace.book.search_words import derive_search
from fillbook.trace.core import ids

_spec = importlib.util.spec_from_file_location("the_shop", Path(__file__).parent.with_name("the_shop.py"))
the_shop = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(the_shop)

SITES = ("BH", "CK", "DM", "FN", "GP", "HR", "JS", "KT", "LV", "MW")
YEAR = 365 * 86_400
TIRES_A_YEAR = 5_000
BASE = 1_000_000  # the numbers of made-up events: far from those the verbs give
FILL_G, SIDE_G, REGRIND_G = 148_000, 59_200, 29_600
FIRST_DAY = 1_000_000_000  # September 2001
PIECES_OLD = (
    int(os.environ.get("FILLBOOK_BENCH_PIECES", 0)) * YEAR
)  # how long before the grinding, 0: before the book began


def make(where: str, tires: int, shops: int, progress: bool = True) -> None:
    """A book at *where* with *tires* tires in all, in *shops* shops."""
    first = the_shop.Shop.start(where, site=SITES[0], empty=True)
    for site in SITES[:shops]:
        shop = type(first)(first.book, the_shop.MONDAY)
        shop.site = site
        if site != SITES[0]:
            shop.set_up(site)
        shop.furnish()
    first.book.db.close()
    db = sqlite3.connect(where, isolation_level=None)
    db.execute("PRAGMA synchronous = OFF")
    for number, site in enumerate(SITES[:shops]):
        db.execute("BEGIN")
        _Shop(db, site, Random(number)).run(tires // shops)
        db.execute("COMMIT")
        if progress:
            print(f"  made shop {number + 1} of {shops}", file=sys.stderr)
    db.close()
    book = open_book(where)
    with book.transaction():
        for (item,) in book.tuples("SELECT item FROM tote"):
            derive_search(book, item)
        book.execute("DELETE FROM whole")
        book.execute("INSERT INTO whole SELECT child, max(ord), sum(best_g) FROM link GROUP BY child")
    book.execute("ANALYZE")
    book.db.close()


COLUMNS = {
    "item": "num code shop kind year serial seq",
    "touch": "shop seq n item at rank state place words",
    "tote": "shop seq item supplier lot side system grade net_g basis received_at made_at use_by",
    "place": "item state place since seq",
    "line_act": "shop seq n line at rank what stream item started_at grams a_g b_g r_g mix_e4 purpose basis ran_dry how_full",
    "link": "child draw stream parent ord least_g best_g most_g cut_at",
    "fill": "shop seq item line started_at at grams mix_e4 pressure_pa flow_stopped cold who",
    "tire": "shop seq item customer site unit position size section serial wheel_serial rating_pa target_pa mix_e4 earlier order_number taken_at",
    "batch": "shop seq item made_at grams",
    "ingredient": "shop seq n batch source grams cut_at",
}


class _Shop:
    def __init__(self, db: sqlite3.Connection, site: str, random: Random) -> None:
        self.db, self.site, self.random = db, site, random
        ordinal, self.items = db.execute(
            "SELECT ordinal, items FROM chain WHERE shop = ?", (site,)
        ).fetchone()
        self.base = ordinal << 40
        self.line = db.execute(
            "SELECT item FROM line WHERE shop = ? ORDER BY seq LIMIT 1", (site,)
        ).fetchone()[0]
        self.seq = BASE
        self.serials: dict[tuple[str, int], int] = {}
        self.rows: dict[str, list[tuple[Any, ...]]] = {}
        self.more: dict[str, tuple[str, tuple[Any, ...]]] = {}
        self.tote: dict[str, tuple[int, int]] = {}  # side -> (number, grams left)
        self.lot: dict[str, tuple[str, int]] = {}

    def put(self, table: str, *row: Any) -> None:
        rows = self.rows.setdefault(table, [])
        if table not in self.more:
            self.more[table] = self.columns(table, len(row))
        rows.append((*row, *self.more[table][1]))
        if len(rows) >= 20_000:
            self.flush(table)

    def columns(self, table: str, given: int) -> tuple[str, tuple[Any, ...]]:
        """The columns that are written, and plain values for those no bench reads."""
        mine = COLUMNS[table].split()
        assert len(mine) == given, table
        more = [
            (name, "" if kind == "TEXT" else 0)
            for _, name, kind, needed, default, _ in self.db.execute(f"PRAGMA table_info({table})")
            if needed and default is None and name not in mine
        ]
        return ", ".join([*mine, *(name for name, _ in more)]), tuple(value for _, value in more)

    def flush(self, table: str) -> None:
        rows = self.rows.pop(table, [])
        if rows:
            marks = ", ".join("?" * len(rows[0]))
            self.db.executemany(f"INSERT INTO {table} ({self.more[table][0]}) VALUES ({marks})", rows)

    def item(self, kind: str, at: int) -> tuple[int, str]:
        year = (1970 + at // 31_556_952) % 100
        serial = ids.next_serial(self.site, kind, year, self.serials.get((kind, year), 0))
        self.serials[kind, year] = serial
        code = ids.mint(self.site, kind, year, serial)
        self.items += 1
        self.seq += 1
        self.put("item", self.base + self.items, code, self.site, kind, year, serial, self.seq)
        return self.base + self.items, code

    def touch(
        self, seq: int, n: int, code: str, at: int, rank: int, state: str, place: str, words: str
    ) -> None:
        self.put("touch", self.site, seq, n, code, at, rank, state, place, words)

    def new_tote(self, side: str, at: int) -> int:
        lot, left = self.lot.get(side, ("", 0))
        if not left:
            lot, left = f"{side}{self.items}", 4
        self.lot[side] = lot, left - 1
        number, code = self.item("L", at)
        self.put(
            "tote",
            self.site,
            self.seq,
            code,
            "Northvale",
            lot,
            side,
            "RX-30",
            "",
            1_000_000,
            "supplier's label",
            at,
            at - 86_400 * 60,
            None,
        )
        self.put("place", code, "hooked up", self.line, at, self.seq)
        self.touch(self.seq, 0, code, at, 1, "hooked up", self.line, "hooked up")
        self.act(self.seq, at, 1, "hook", side, code)
        self.tote[side] = number, 1_000_000
        return number

    def act(
        self,
        seq: int,
        at: int,
        rank: int,
        what: str,
        stream: str,
        code: str,
        *,
        draw: bool = False,
        grams: int = 0,
    ) -> None:
        a = b = SIDE_G if draw else 0
        r = REGRIND_G if draw else 0
        self.put(
            "line_act", self.site, seq, 0, self.line, at, rank, what, stream, code, at - 600 if draw else None,
            FILL_G if draw else grams, a, b, r, 2000 if draw else 0, "main" if draw else "", "pump total" if draw else "scale", 0, None,
        )  # fmt: skip

    def links(
        self,
        child: int,
        draw: int,
        stream: str,
        order: int,
        grams: int,
        parents: list[tuple[int, int, int | None]],
        off: int,
    ) -> None:
        """Parents with their best grams and date; each may be *off* grams off, as far as the others leave room."""
        for parent, best, cut_at in parents:
            room = min(off, grams - best)
            self.put(
                "link",
                child,
                draw,
                stream,
                parent,
                order,
                max(0, best - min(off, best, room)),
                best,
                min(grams, best + room),
                cut_at,
            )

    def run(self, tires: int) -> None:
        random, at = self.random, FIRST_DAY
        step = YEAR // TIRES_A_YEAR
        made: list[tuple[int, str, int]] = []
        batch, before = self.grind(made, at), 0
        old: dict[str, int] = {}
        for n in range(tires):
            at += step
            if n % 10 == 0:
                before, batch = batch, self.grind(made, at)
            number, code = self.item("F", at)
            seq = self.seq
            draw = seq * 64
            for side in "AB":
                tote, left = self.tote.get(side, (0, 0))
                if left < SIDE_G:
                    old[side], tote = tote, self.new_tote(side, at - 700)
                    left = 1_000_000
                    was = old[side]
                    parents = [(was, 4_400, None if was else at), (tote, SIDE_G - 4_400, None)]
                    self.links(number, draw, side, at * 2 + 1, SIDE_G, parents, 1_800)
                else:
                    self.put("link", number, draw, side, tote, at * 2 + 1, SIDE_G, SIDE_G, SIDE_G, None)
                self.tote[side] = tote, left - SIDE_G
            part = random.randint(5, 25) * 1000 if n % 2 and before else 0
            parents = [(batch, REGRIND_G - part, None), *([(before, part, None)] if part else [])]
            self.links(number, draw, "R", at * 2 + 1, REGRIND_G, parents, 3_000)
            self.act(seq, at, 2, "draw", "", code, draw=True)
            self.put(
                "fill", self.site, seq, code, self.line, at - 600, at, FILL_G, 2000, 414_000, 1, 0, "Dana"
            )
            self.put(
                "tire", self.site, seq, code, f"Customer {n % 40}", "", "", "", "23.5-25", "large", "", "", 500_000, 414_000, 2000, "", "", at - 3600
            )  # fmt: skip
            self.touch(seq, 0, code, at - 3600, 1, "taken in", "", "taken in")
            self.touch(seq, 1, code, at, 2, "filled", self.line, "filled")
            self.touch(seq, 2, code, at + 3 * 86_400, 3, "dispatched", "", "dispatched")
            self.put("place", code, "dispatched", "", at + 3 * 86_400, seq)
            made.append((number, code, at))
        for table in list(self.rows):
            self.flush(table)
        self.db.execute("UPDATE chain SET items = ? WHERE shop = ?", (self.items, self.site))

    def grind(self, made: list[tuple[int, str, int]], at: int) -> int:
        random = self.random
        number, code = self.item("G", at - 900)
        seq, pieces = self.seq, {}
        for _ in range(8):
            back = (
                random.randint(30, 400)
                if random.random() < 0.15
                else random.randint(2 * TIRES_A_YEAR, 3 * TIRES_A_YEAR)
            )
            if random.random() < 0.6 and back < len(made):
                source = made[-back]
                pieces[source[0]] = (source[1], 36_000, None)
            else:
                grams = pieces.get(0, ("", 0, None))[1] + 36_000
                pieces[0] = "", grams, at - PIECES_OLD if PIECES_OLD else FIRST_DAY - YEAR
        whole = sum(piece[1] for piece in pieces.values())
        self.put("batch", self.site, seq, code, at - 900, whole)
        self.put("place", code, "in use", self.line, at - 900, seq)
        self.touch(seq, 0, code, at - 900, 1, "in store", "", "ground")
        for n, (_, (source, grams, cut_at)) in enumerate(pieces.items()):
            self.put("ingredient", self.site, seq, n, code, source, grams, cut_at)
        for source, (_, grams, cut_at) in pieces.items():
            off = 0 if len(pieces) == 1 else 2 * grams * (whole - grams) // whole // 100
            self.put("link", number, 0, "G", source, (at - 900) * 2, grams - off, grams, grams + off, cut_at)
        self.act(seq, at - 800, 1, "load", "R", code, grams=296_000)
        return number
