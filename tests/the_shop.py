"""An invented shop for the tests: a book in a real file, people, a line, a zone, and a clock in hand.

Everything goes through the verbs, as it does from a form or a command. IDs are compact, times seconds of UTC. Each act takes a
minute of the clock, so that what is written one after the other also happened one after the other.
"""

from __future__ import annotations

import copy
import hashlib
import shutil
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from fillbook.trace.book import chain
from fillbook.trace.book.opening import Book, create, open_book
from fillbook.trace.book.replay import check_replay
from fillbook.trace.book.tables import DERIVED, FACTS, natural
from fillbook.trace.core import times
from fillbook.trace.work import acting

MONDAY = int(datetime(2025, 9, 1, 13, tzinfo=UTC).timestamp())  # 08:00 in Chicago, long past on any clock
MINUTE, HOUR, DAY = 60, 3600, 86_400


class Shop:
    """One shop's book and the hand that writes it. Dana owns it, Lee leads, Sam and Kim fill."""

    site = "BH"

    def __init__(self, book: Book, now: int = MONDAY) -> None:
        self.book, self.now = book, now
        self.lots = 0

    @classmethod
    def start(cls, where: str, *, site: str = "BH", empty: bool = False) -> Shop:
        """A new book at *where*; *empty*: with its owner and nothing else."""
        shop = cls(create(where))
        shop.site = site
        shop.set_up(site)
        if not empty:
            shop.furnish()
        return shop

    def set_up(self, site: str = "BH") -> None:
        self.act(
            "set up shop", who=None, site=site, name="Bramble Hill Tire Works", owner="Dana", timezone="America/Chicago"
        )  # fmt: skip

    def furnish(self) -> None:
        """People, two systems, two lines, two zones."""
        self.act("add person", who="Dana", name="Lee", role="lead")
        for name in ("Sam", "Kim"):
            self.act("add person", who="Dana", name=name)
        self.act("add system", who="Dana", name="RX-30")
        self.act("add system", who="Dana", name="KV-55", parts_a=1, parts_b=2)
        self.line = self.act("add line", who="Dana", name="line 1").ids[0]
        self.line_2 = self.act("add line", who="Dana", name="line 2").ids[0]
        self.zone = self.act("add zone", who="Dana", name="warm room").ids[0]
        self.zone_2 = self.act("add zone", who="Dana", name="back rack").ids[0]

    def copied(self, where: str) -> Shop:
        """This shop with a copy of its book at *where*; its own must be closed."""
        shutil.copy(self.book.where, where)
        twin = copy.copy(self)
        twin.book = open_book(where)
        return twin

    # -- the clock -------------------------------------------------------------------------------------------------------------
    def wait(self, *, minutes: int = 0, hours: int = 0, days: int = 0) -> int:
        self.now += minutes * MINUTE + hours * HOUR + days * DAY
        return self.now

    def ago(self, *, minutes: int = 0, hours: int = 0, days: int = 0) -> str:
        """A time before now, as it is typed for a late entry."""
        return times.utc_text(self.now - minutes * MINUTE - hours * HOUR - days * DAY)

    # -- acting ----------------------------------------------------------------------------------------------------------------
    def act(
        self, verb: str, *, at: str | int | None = None, who: str | None = "Sam", signed_by: str | None = None,
        override: str | None = None, request: str | None = None, **fields: Any,
    ) -> acting.Answer:  # fmt: skip
        """Do one verb at the clock's time, or refuse with a ShopError; then a minute passes."""
        action = acting.Action(
            verb, fields, at=at, who=who, signed_by=signed_by, override=override, request=request, shop=self.site,
        )  # fmt: skip
        done = acting.act(self.book, action, now=self.now)
        self.now += MINUTE
        return done

    def lead(self, verb: str, **fields: Any) -> acting.Answer:
        return self.act(verb, **{"who": "Lee", **fields})

    def correct(self, event: int, *, why: str = "typed wrong", happened: str | None = None, void: bool = False, who: str = "Lee", **fields: Any) -> acting.Answer:  # fmt: skip
        said: dict[str, Any] = {"event": event, "why": why, "void": void}
        if fields:
            said["fields"] = fields
        if happened:
            said["happened"] = happened
        return self.act("correct", who=who, **said)

    def tote(self, side: str = "A", kg: int = 1000, *, lot: str | None = None, system: str = "RX-30", **more: Any) -> str:  # fmt: skip
        self.lots += 1
        fields = {
            "supplier": "Northvale",
            "lot": lot or f"{side}-{self.lots}",
            "side": side,
            "system": system,
            "net_kg": kg,
        }
        return self.act("receive", **(fields | more)).ids[0]

    def hook_up(self, tote: str, *, line: str = "line 1", **more: Any) -> acting.Answer:
        return self.act("hook up", tote=tote, line=line, **more)

    def ready_line(self, line: str = "line 1", *, kg: int = 1000, system: str = "RX-30") -> tuple[str, str]:
        """A fresh tote on each side of *line*."""
        a, b = self.tote("A", kg, system=system), self.tote("B", kg, system=system)
        self.hook_up(a, line=line)
        self.hook_up(b, line=line)
        return a, b

    def tire(self, *, customer: str = "Quarry Nine", size: str = "23.5-25", **more: Any) -> str:
        fields = {"customer": customer, "size": size, "rating_psi": 75, "target_psi": 60}
        return self.act("take in", **(fields | more)).ids[0]

    def fill(
        self, tire: str | None = None, *, kg: int = 148, line: str = "line 1", minutes: int = 12, start: dict[str, Any] | None = None,
        **more: Any,
    ) -> str:  # fmt: skip
        """Take a tire in if none is named, start it, and finish it *minutes* later."""
        tire = tire or self.tire()
        self.act("start fill", tire=tire, line=line, **(start or {}))
        self.wait(minutes=minutes)
        self.act("finish fill", **({"tire": tire, "weight_kg": kg, "pressure_psi": 60} | more))
        return tire

    def rack(self, *tires: str, zone: str = "warm room") -> acting.Answer:
        return self.act("rack", tires=list(tires), zone=zone)

    def csv(self, hours: int, *, f: int = 75, every: int = 5, ending: int | None = None) -> str:
        """A logger's file of the last *hours*, a sample every so many minutes."""
        end = ending if ending is not None else self.now
        marks = range(end - hours * HOUR, end + 1, every * MINUTE)
        # a tenth to and fro, as sensors do: one that says the very same for a day is taken for stuck
        return "time,temp_f\n" + "".join(
            f"{times.utc_text(at)},{f}{'.1' if n % 2 and hours > 20 else ''}\n" for n, at in enumerate(marks)
        )

    def log(self, hours: int, *, zone: str = "warm room", **how: int) -> acting.Answer:
        return self.act("log temperatures", zone=zone, csv=self.csv(hours, **how))

    def cured(self, *, hours: int = 54, **fill: Any) -> str:
        """A tire that was filled, racked, and lay in the warm room until it may be released."""
        tire = self.fill(**fill)
        self.rack(tire)
        self.wait(hours=hours)
        self.log(hours + 1)
        return tire

    def reclaimed(self, **fill: Any) -> str:
        tire = self.fill(**fill)
        self.wait(days=3)
        self.act("reclaim", tire=tire)
        return tire

    def grind(self, **kilograms: int) -> str:
        """A batch: ``grind(BHF2500001X=100, unknown=20)``."""
        return self.act("grind", pieces=[{"source": s, "weight_kg": kg} for s, kg in kilograms.items()]).ids[
            0
        ]

    def load(self, batch: str, kg: int, *, line: str = "line 1", **more: Any) -> acting.Answer:
        return self.act("load", line=line, batch=batch, weight_kg=kg, **more)

    # -- looking ---------------------------------------------------------------------------------------------------------------
    @property
    def head(self) -> int:
        return chain.position(self.book, self.site).seq

    def state(self, item: str) -> str | None:
        from fillbook.trace.book import queries

        return queries.place_of(self.book, item).state

    def links(self, child: str) -> dict[tuple[str, str], tuple[int, int, int]]:
        """(stream, parent) -> grams least, best, most, over all draws of *child*."""
        found: dict[tuple[str, str], tuple[int, int, int]] = {}
        for stream, parent, *grams in self.book.tuples(
            "SELECT k.stream, coalesce(p.code, ''), k.least_g, k.best_g, k.most_g FROM link k JOIN item c ON c.num = k.child "
            "LEFT JOIN item p ON p.num = k.parent WHERE c.code = ?",
            child,
        ):
            before = found.get((stream, parent), (0, 0, 0))
            found[stream, parent] = tuple(b + g for b, g in zip(before, grams, strict=True))  # type: ignore[assignment]
        return found

    def fingerprint(self) -> str:
        """One digest over the journal's head, every fact, every derived row and every blob."""
        return fingerprint(self.book)

    def check(self) -> None:
        """The journal is whole, and the tables are those it gives."""
        for shop in self.book.shops():
            assert chain.check_chain(self.book, shop) is None
        assert check_replay(self.book) is None


def fingerprint(book: Book) -> str:
    whole = hashlib.sha256()
    for query in [
        "SELECT * FROM chain ORDER BY shop", "SELECT shop, seq, hash FROM event ORDER BY shop, seq", "SELECT digest FROM blob",
        *(natural(table) for table in ("item", *FACTS, *DERIVED)),
    ]:  # fmt: skip
        whole.update(repr(sorted(map(repr, book.tuples(query)))).encode())
    return whole.hexdigest()


def derived(book: Book, tables: Iterable[str] = DERIVED) -> dict[str, list[str]]:
    """Every derived row, for comparing."""
    return {table: sorted(map(repr, book.tuples(natural(table)))) for table in tables}
