"""Recall and trace written by hand on plain sqlite3, as quick as we could make them, and frozen: what fillbook is measured against.

They return the columns a recall returns, bounds and strongest way included, from the same tables. Not to be improved with the
program: a reference that moves measures nothing.
"""

from __future__ import annotations

import sqlite3
from math import ceil, floor, log
from typing import Any

TIERS = ("certain", "possible", "through regrind", "not excluded", "traces")


def exact(
    con: sqlite3.Connection, shop: str, supplier: str, lot: str, threshold: float = 0.01
) -> list[tuple[Any, ...]]:
    """(id, tier, exposure least, best, most, grams least, best, most, side share, unknown share, way, state, place, since)."""
    totes, since, made, sides, low = _suspect(con, shop, supplier, lot)
    marks = ",".join(map(str, totes))
    return _listed(con, _reached(con, marks, since, made, sides, low), totes, since, made, sides, threshold)


def bounded(
    con: sqlite3.Connection, shop: str, supplier: str, lot: str, threshold: float = 0.01
) -> list[tuple[Any, ...]]:
    """As :func:`exact`, over the items that paths of a hundredth of the threshold or more reach, summed by paths, best only."""
    totes, since, made, sides, low = _suspect(con, shop, supplier, lot)
    marks, cut = ",".join(map(str, totes)), threshold / 100
    rows = con.execute(
        f"WITH RECURSIVE d(num, e) AS (SELECT num, 1.0 FROM item WHERE num IN ({marks}) UNION ALL "
        "SELECT k.child, d.e * k.most_g / (SELECT sum(best_g) FROM link WHERE child = k.child) FROM d CROSS JOIN link k "
        "WHERE k.parent = d.num AND d.e * k.most_g / (SELECT sum(best_g) FROM link WHERE child = k.child) >= ?), "
        f"r(num) AS (SELECT num FROM d UNION SELECT child FROM link WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? "
        f"AND stream IN ({sides}) UNION SELECT k.child FROM link u JOIN link k ON k.parent = u.child WHERE u.parent = 0 AND u.cut_at >= ? "
        "AND u.child BETWEEN ? AND ?) "
        "SELECT k.ord, k.child, k.draw, k.stream, k.parent, k.least_g, k.best_g, k.most_g, k.cut_at FROM r CROSS JOIN link k "
        "WHERE k.child = r.num ORDER BY k.ord, k.child, k.draw, k.stream",
        (cut, min(since, made), low, low + (1 << 40), min(since, made), low, low + (1 << 40)),
    )  # fmt: skip
    return _listed(con, rows, totes, since, made, sides, threshold)


def _suspect(
    con: sqlite3.Connection, shop: str, supplier: str, lot: str
) -> tuple[list[int], int, int, str, int]:
    rows = con.execute(
        "SELECT i.num, t.received_at, t.made_at, t.side FROM tote t JOIN item i ON i.code = t.item WHERE t.shop = ? AND t.supplier = ? AND t.lot = ?",
        (shop, supplier, lot),
    ).fetchall()
    low = con.execute("SELECT ordinal FROM chain WHERE shop = ?", (shop,)).fetchone()[0] << 40
    return (
        [r[0] for r in rows],
        min(r[1] for r in rows),
        min(r[2] for r in rows),
        f"'{rows[0][3]}','R','G'",
        low,
    )


def _reached(con: sqlite3.Connection, marks: str, since: int, made: int, sides: str, low: int) -> Any:
    return con.execute(
        f"WITH RECURSIVE r(num) AS (SELECT num FROM item WHERE num IN ({marks}) "
        f"UNION SELECT child FROM link WHERE parent = 0 AND cut_at >= ? AND child BETWEEN ? AND ? AND stream IN ({sides}) "
        "UNION SELECT k.child FROM r CROSS JOIN link k WHERE k.parent = r.num) "
        "SELECT k.ord, k.child, k.draw, k.stream, k.parent, k.least_g, k.best_g, k.most_g, k.cut_at FROM r CROSS JOIN link k "
        "WHERE k.child = r.num ORDER BY k.ord, k.child, k.draw, k.stream",
        (min(since, made), low, low + (1 << 40)),
    )


def _listed(
    con: sqlite3.Connection, rows: Any, totes: list[int], since: int, made: int, sides: str, threshold: float
) -> list[tuple[Any, ...]]:
    suspects = set(totes)
    value: dict[int, tuple[float, float, float]] = dict.fromkeys(totes, (1.0, 1.0, 1.0))
    strength = dict.fromkeys(totes, (0, 0.0))
    came: dict[int, int] = {}
    sums: dict[
        int, list[Any]
    ] = {}  # lower, best, upper, total, direct least, direct most, unknown, ways, of set, of side
    side = sides[1]

    def of(number: int) -> tuple[float, float, float]:
        found = value.get(number)
        if found is None:
            s = sums.get(number)
            found = (0.0, 0.0, 0.0)
            if s is not None and s[2]:
                best = min(1.0, s[1] / s[3])
                found = (min(s[0] / s[3], best), best, max(best, min(1.0, s[2] / s[3])))
                strongest = None
                for parent, (b, m) in s[7].items():
                    if parent not in strength:
                        continue
                    may, so_far = strength[parent]
                    reached = (may, so_far + log(b)) if b else (may - 1, so_far + log(m))
                    if strongest is None or reached > strongest:
                        strongest, came[number] = reached, parent
                if strongest is not None:
                    strength[number] = strongest[0], strongest[1] - log(s[3])
            value[number] = found
        return found

    def close(group: list[tuple[Any, ...]]) -> None:
        child, stream = group[0][1], group[0][3]
        s = sums.get(child)
        if s is None:
            s = sums[child] = [0.0, 0.0, 0.0, 0, 0, 0, 0, {}, 0, 0]
        values, grams, mine = [], 0, 0
        for row in group:
            parent, best = row[4], row[6]
            grams += best
            if parent:
                v = of(parent)
                if v[2] and row[7]:
                    way = s[7].setdefault(parent, [0, 0])
                    way[0] += best
                    way[1] += row[7]
                if parent in suspects:
                    mine += best
            else:
                s[6] += best
                fits = stream not in "AB" or stream == side
                v = (
                    (0.0, 0.0, 1.0)
                    if fits and row[8] >= (since if stream in "AB" else made)
                    else (0.0, 0.0, 0.0)
                )
            values.append(v)
        s[3] += grams
        if stream == side:
            s[8] += mine
            s[9] += grams
        if not any(v[2] for v in values):
            return
        rest = grams - sum(row[5] for row in group)
        lower = sum(row[5] * v[0] for row, v in zip(group, values, strict=True))
        upper = sum(row[5] * v[2] for row, v in zip(group, values, strict=True))
        s[1] += sum(row[6] * v[1] for row, v in zip(group, values, strict=True))
        if rest:
            left = rest
            for v, room in sorted((v[0], row[7] - row[5]) for row, v in zip(group, values, strict=True)):
                lower += min(room, left) * v
                left -= min(room, left)
            left = rest
            for v, room in sorted(
                ((v[2], row[7] - row[5]) for row, v in zip(group, values, strict=True)), reverse=True
            ):
                upper += min(room, left) * v
                left -= min(room, left)
        s[0] += lower
        s[2] += upper
        if mine or any(row[4] in suspects for row in group):
            inside = [row for row in group if row[4] in suspects]
            outside = [row for row in group if row[4] not in suspects]
            s[4] += max(sum(r[5] for r in inside), grams - sum(r[7] for r in outside))
            s[5] += min(sum(r[7] for r in inside), grams - sum(r[5] for r in outside))

    group: list[tuple[Any, ...]] = []
    for row in rows:
        if group and (
            row[1] != group[0][1] or row[3] != group[0][3] or (row[2] != group[0][2] and row[3] != "G")
        ):
            close(group)
            group = []
        group.append(row)
    if group:
        close(group)
    kept: dict[int, str] = {}
    least = threshold * (1 - 1e-9)
    for number, s in sums.items():
        v = of(number)
        tier = (
            "certain" if s[4] > 0 else "possible" if s[5] > 0 else "through regrind" if v[1] >= least
            else "not excluded" if v[2] >= least else ""
        )  # fmt: skip
        if tier:
            kept[number] = tier
    names: dict[int, str] = {}
    found = []
    ways = {}
    for number in kept:
        way = [number]
        while way[-1] in came:
            way.append(came[way[-1]])
        ways[number] = way[::-1]
    every = list({step for way in ways.values() for step in way})
    for start in range(0, len(every), 500):
        names.update(
            con.execute(
                f"SELECT num, code FROM item WHERE num IN ({','.join(map(str, every[start : start + 500]))})"
            )
        )
    numbers = list(kept)
    for start in range(0, len(numbers), 500):
        part = ",".join(map(str, numbers[start : start + 500]))
        for number, code, state, place, at in con.execute(
            f"SELECT i.num, i.code, p.state, p.place, p.since FROM item i JOIN place p ON p.item = i.code WHERE i.num IN ({part}) AND +i.kind = 'F'"
        ):
            s, v = sums[number], value[number]
            found.append(
                (code, kept[number], *v, floor(v[0] * s[3] + 1e-6), round(v[1] * s[3]), ceil(v[2] * s[3] - 1e-6),
                 s[8] / s[9] if s[8] else 0.0, s[6] / s[3], [names[step] for step in ways[number]], state, place, at)
            )  # fmt: skip
    found.sort(key=lambda one: (TIERS.index(one[1]), -round(one[3], 12), one[0]))
    return found


def backward(con: sqlite3.Connection, code: str, cut: float = 1e-5) -> list[tuple[str, float]]:
    """(tote or '', share) of a tire, summed by paths that carry *cut* or more."""
    return con.execute(
        "WITH RECURSIVE b(num, e) AS (SELECT num, 1.0 FROM item WHERE code = ? UNION ALL "
        "SELECT k.parent, b.e * k.best_g / (SELECT sum(best_g) FROM link WHERE child = b.num) FROM b CROSS JOIN link k "
        "WHERE k.child = b.num AND b.e * k.best_g / (SELECT sum(best_g) FROM link WHERE child = b.num) >= ?) "
        "SELECT coalesce(i.code, ''), sum(b.e) FROM b LEFT JOIN item i ON i.num = b.num WHERE b.num = 0 OR i.kind = 'L' GROUP BY b.num ORDER BY 2 DESC",
        (code, cut),
    ).fetchall()
