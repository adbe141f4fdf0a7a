"""What lists there are: their columns, filters and orders, and what somebody asks of one."""

from __future__ import annotations

from dataclasses import dataclass, field

from fillbook.trace.book.opening import Row

COUNTED = 10_000
PAGE = 50


@dataclass(frozen=True)
class Order:
    """One way to put a list in order: its column, the table whose index has that order, and whether some items lack the value."""

    name: str
    words: str
    column: str
    table: str
    number: bool = False
    lacking: str = ""


@dataclass(frozen=True)
class Kind:
    """One list: the letter of its items, where its rows are, its filters (name -> column, table) and its orders, the first by default."""

    name: str
    letter: str
    tables: dict[str, str]  # alias -> table; all are joined by item, those of ``maybe`` where they have a row
    maybe: tuple[str, ...]
    columns: str
    filters: dict[str, str]  # name -> alias.column
    period: str  # alias.column
    orders: tuple[Order, ...]
    states: tuple[str, ...] = ()


KINDS = {
    one.name: one
    for one in (
        Kind(
            "tires", "F", {"t": "tire", "p": "place", "f": "fill"}, ("f",),
            "t.item, t.customer, t.site, t.unit, t.size, t.serial, t.wheel_serial, t.order_number, t.taken_at, p.state, p.place, p.since, "
            "f.at AS filled_at, f.grams, f.pressure_pa",
            {"state": "p.state", "place": "p.place", "customer": "t.customer", "size": "t.size"}, "f.at",
            (
                Order("id", "ID", "t.item", "t"),
                Order("customer", "Customer", "t.customer", "t"),
                Order("size", "Size", "t.size", "t"),
                Order("taken", "Taken in", "t.taken_at", "t", True),
                Order("filled", "Filled", "f.at", "f", True, "tires that are not filled yet"),
            ),
            ("reserved", "taken in", "soaking", "filling", "paused", "filled", "racked", "released", "dispatched", "returned", "reclaimed",
             "abandoned", "scrapped"),
        ),
        Kind(
            "totes", "L", {"t": "tote", "p": "place"}, (),
            "t.item, t.supplier, t.lot, t.side, t.system, t.net_g, t.received_at, t.use_by, t.supplier_code, p.state, p.place, p.since",
            {"state": "p.state", "place": "p.place", "supplier": "t.supplier", "lot": "t.lot", "side": "t.side"}, "t.received_at",
            (
                Order("id", "ID", "t.item", "t"),
                Order("lot", "Lot", "t.lot", "t"),
                Order("received", "Received", "t.received_at", "t", True),
                Order("use-by", "Use by", "t.use_by", "t", True, "totes without such a day"),
            ),
            ("in store", "hooked up", "part used", "empty", "mixed", "scrapped"),
        ),
        Kind(
            "batches", "G", {"t": "batch", "p": "place"}, (), "t.item, t.made_at, t.grams, p.state, p.place, p.since",
            {"state": "p.state", "place": "p.place"}, "t.made_at",
            (Order("id", "ID", "t.item", "t"), Order("ground", "Ground", "t.made_at", "t", True)),
            ("in store", "in use", "used up", "scrapped"),
        ),
        Kind(
            "cups", "C", {"t": "cup", "p": "place"}, (), "t.item, t.line, t.at, t.zone, p.state, p.place, p.since",
            {"state": "p.state", "place": "p.place"}, "t.at",
            (Order("id", "ID", "t.item", "t"), Order("poured", "Poured", "t.at", "t", True)),
            ("curing", "passed", "failed", "kept"),
        ),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What somebody wants to see of one list. Times are seconds of UTC; ``after`` is where the last page ended: value and item."""

    kind: str
    words: str = ""
    filters: dict[str, str] = field(default_factory=dict)
    since: int | None = None
    until: int | None = None
    order: str = ""
    down: bool = True
    after: tuple[int | str, str] | None = None
    most: int = PAGE

    @property
    def of_a_period(self) -> bool:
        return self.since is not None or self.until is not None

    @property
    def narrowed(self) -> bool:
        return bool(self.words or self.filters or self.of_a_period)


@dataclass(frozen=True)
class Listed:
    """One page: its rows, where the next begins (None: it was the last), and how many there are in all where that is known.

    ``many`` is None where counting would mean looking at every row; it is capped at :data:`COUNTED` + 1.
    """

    rows: list[Row]
    after: tuple[int | str, str] | None
    many: int | None


def order_of(asked: Asked) -> Order:
    kind = KINDS[asked.kind]
    return next((one for one in kind.orders if one.name == asked.order), kind.orders[0])
