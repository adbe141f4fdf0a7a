"""What stands on an item's label: the face it takes, where its address points, and its few facts in words."""

from __future__ import annotations

import json
from typing import Any

from fillbook.trace.book import queries
from fillbook.trace.book.items import Say
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, labelling, times

FACES = {kind.letter: name for name, kind in labelling.LABELS.items()}


def chosen_face(book: Book, item: str) -> dict[str, Any] | None:
    """What the shop chose for the label of *item*: size, facts, second-language words, logo; None where it chose nothing."""
    row = queries.face_set(book, queries.shop_of(book, item), FACES[ids.kind_of(item)])
    if row is None:
        return None
    logo = book.value("SELECT bytes FROM blob WHERE digest = ?", row.logo) if row.logo else b""
    return {
        "size": row.size,
        "facts": json.loads(row.facts),
        "words": json.loads(row.words),
        "logo": bytes(logo or b""),
    }


def label_facts(book: Book, item: str) -> tuple[str, str, dict[str, str]]:
    """The face of *item* (compact ID), the shop's host, and the facts by name in the shop's units; unknown ones left out.

    Days are those of the shop's clocks. A tire's two dates are on its tag only once it was released.
    """
    shop = queries.shop_row(book, queries.shop_of(book, item))
    kind = ids.kind_of(item)
    found = _FACTS.get(kind, _name)(book, item, Say(book, shop.shop), shop.timezone)
    return FACES[kind], shop.host, {name: value for name, value in found.items() if value}


def _tote(book: Book, item: str, say: Say, zone: str) -> dict[str, str]:
    tote = queries.tote(book, item)
    if tote is None:
        return {}
    return {
        "side": tote.side, "system": tote.system, "lot": tote.lot, "supplier": tote.supplier, "net_weight": say.mass(tote.net_g),
        "received": times.show_date(tote.received_at, zone),
        "use_by": "" if tote.use_by is None else times.show_date(tote.use_by, zone),
    }  # fmt: skip


def _tire(book: Book, item: str, say: Say, zone: str) -> dict[str, str]:
    tire, fill = queries.tire(book, item), queries.fill(book, item)
    found: dict[str, str] = {}
    if tire:
        found = {
            "customer": tire.customer,
            "size": tire.size,
            "serial": tire.serial,
            "mix": say.share(tire.mix_e4),
        }
    if fill:
        found |= {
            "mix": say.share(fill.mix_e4), "weight": say.mass(fill.grams), "filled_at": say.time(fill.at),
            "pressure": say.pressure(fill.pressure_pa),
        }  # fmt: skip
    if released := queries.releases(book, item):
        found |= {"move_from": say.time(released[-1].moved_at), "load_from": say.time(released[-1].work_at)}
    return found


def _batch(book: Book, item: str, say: Say, zone: str) -> dict[str, str]:
    batch = queries.batch(book, item)
    if batch is None:
        return {}
    sources = [piece.source for piece in queries.ingredients(book, item)]
    known = list(dict.fromkeys(ids.pretty(source) for source in sources if source))
    made_of = ", ".join(known[:3]) + (f" and {len(known) - 3} more" if len(known) > 3 else "")
    unknown = "pieces of unknown origin" if "" in sources else ""
    return {
        "made_of": ", ".join(filter(None, [made_of, unknown])),
        "made_at": say.time(batch.made_at),
        "weight": say.mass(batch.grams),
    }


def _cup(book: Book, item: str, say: Say, zone: str) -> dict[str, str]:
    cup = book.one("SELECT at, line FROM cup WHERE item = ?", item)
    return {} if cup is None else {"poured_at": say.time(cup.at), "line": say.name(cup.line)}


def _name(book: Book, item: str, say: Say, zone: str) -> dict[str, str]:
    return {"name": say.name(item)}


_FACTS = {"L": _tote, "F": _tire, "G": _batch, "C": _cup}
