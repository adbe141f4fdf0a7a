"""The cure clock at size: racks, one decision, one import, each beside a plain reference in the same run; and how good the forecast is.

Run: python -m tests.bench cure      (10 zones, 5 years, a sample every 5 minutes)

Aims on an idle machine: racks of 60 tires 100 ms, one decision 20 ms, 100 000 samples taken in 3 s. The history is put into the
tables directly, since importing five million samples is not what is measured; the tires and the imported file go through the verbs.
The room is CONSTRUCTED: a day's wave, noise, nights below the limit, 2 % lost in outages. The forecast is judged on the packaged real
series of `vega_datasets` (hourly air temperatures of two cities, 2010), on days the forecast has not seen.
"""

from __future__ import annotations

import importlib.util
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from fillbook.trace.book import cures, zones
from fillbook.trace.core import cure, logger, times

_spec = importlib.util.spec_from_file_location("the_shop", Path(__file__).parent.with_name("the_shop.py"))
the_shop = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(the_shop)

STEP, DAY, HOUR, LIMIT = 300, 86_400, 3600, 22_222
TIRES = 60


def room(rng: np.random.Generator, start: int, end: int) -> tuple[np.ndarray, np.ndarray]:
    """Times and thousandths of °C of one zone, two in a hundred lost in outages of some hours."""
    at = np.arange(start, end, STEP)
    wave = 1_800 * np.sin(2 * np.pi * (at % DAY) / DAY) + 600 * np.sin(
        2 * np.pi * (at % (7 * DAY)) / (7 * DAY)
    )
    mc = 22_900 + wave + np.cumsum(rng.normal(0, 20, len(at))) % 400 + rng.integers(-60, 60, len(at))
    kept = np.ones(len(at), bool)
    for first in rng.integers(0, max(1, len(at) - 2_000), len(at) // 3_000):
        kept[first : first + 60] = False
    return at[kept], mc.astype(int)[kept]


def furnish(
    folder: Path, many: int, years: int
) -> tuple[Any, dict[str, tuple[np.ndarray, np.ndarray]], list[tuple[str, str, int]]]:
    """A shop whose zones have that much history, and 60 tires that cure in them: (compact ID, zone, end of the last draw)."""
    shop = the_shop.Shop.start(str(folder / "bench.db"))
    shop.lead("set limit", limit="flat_after", to="0 h", source="not measured here")
    names = [shop.act("add zone", who="Dana", name=f"zone {n}").ids[0] for n in range(1, many + 1)]
    start = shop.now + 60
    end = start + years * 365 * DAY
    rng = np.random.default_rng(7)
    history = {name: room(rng, start, end) for name in names}
    db = shop.book.db.connection()
    db.execute("BEGIN IMMEDIATE")
    for n, (name, (at, mc)) in enumerate(history.items()):
        seq = -1 - n  # not of the journal
        rows = zip(
            [name] * len(at),
            ["logger"] * len(at),
            at.tolist(),
            ["BH"] * len(at),
            [seq] * len(at),
            mc.tolist(),
            strict=True,
        )
        db.executemany("INSERT INTO sample (zone, sensor, at, shop, seq, mc) VALUES (?, ?, ?, ?, ?, ?)", rows)
        db.execute(
            "INSERT INTO sample_block (shop, seq, zone, sensor, first_at, last_at, count, digest, read_as, late) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, 0)",
            ("BH", seq, name, "logger", int(at[0]), int(at[-1]), len(at), "0" * 64, "plain"),
        )
    db.execute("COMMIT")
    shop.now = end - 131 * HOUR
    shop.ready_line(kg=3000)
    tires = []
    for n in range(TIRES):
        shop.now = end - (130 - 2 * n) * HOUR
        tire = shop.fill(kg=40)
        filled = shop.now - 60
        zone = names[n % many]
        shop.act("rack", tires=[tire], zone=zone)
        tires.append((tire, zone, filled))
    shop.now = end
    return shop, history, tires


class Took(float):
    """Milliseconds by the clock; ``cpu`` those this process worked, which another's work on the machine does not lengthen."""

    cpu = 0.0

    def __str__(self) -> str:
        return f"{float(self):.1f} ({self.cpu:.1f})"


def took(what: Callable[[], Any], runs: int = 1) -> tuple[Took, Any]:
    """The median of some runs, and the last answer."""
    wall, cpu, answer = [], [], None
    for _ in range(runs):
        begun, worked = time.perf_counter(), time.process_time()
        answer = what()
        wall.append((time.perf_counter() - begun) * 1000)
        cpu.append((time.process_time() - worked) * 1000)
    found = Took(statistics.median(wall))
    found.cpu = statistics.median(cpu)
    return found, answer


def sums_of(history: dict[str, tuple[np.ndarray, np.ndarray]]) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Prefix sums of credited time by zone."""
    sums = {}
    for name, (at, mc) in history.items():
        dt, a, b = np.diff(at), mc[:-1] - LIMIT, mc[1:] - LIMIT
        crossed = np.where(a * b < 0, np.maximum(a, b) / np.maximum(np.abs(a - b), 1), 0.0)
        share = np.where((a >= 0) & (b >= 0), 1.0, crossed)
        sums[name] = (at, np.concatenate([[0.0], np.cumsum(np.where(dt <= 900, share * dt, 0.0))]))
    return sums


def by_numpy(
    sums: dict[str, tuple[np.ndarray, np.ndarray]], tires: list[tuple[str, str, int]], lag: int, now: int
) -> list[float]:
    return [
        float(np.interp(now, *sums[zone]) - np.interp(filled + lag, *sums[zone])) for _, zone, filled in tires
    ]


LEAD = """
WITH w AS (SELECT at, mc, lead(at) OVER (ORDER BY at) AS at2, lead(mc) OVER (ORDER BY at) AS mc2 FROM sample
           WHERE zone = ? AND sensor = 'logger' AND at BETWEEN ? AND ?)
SELECT sum(CASE WHEN at2 - at > 900 THEN 0.0 WHEN mc >= 22222 AND mc2 >= 22222 THEN at2 - at
                WHEN (mc - 22222.0) * (mc2 - 22222.0) < 0 THEN (at2 - at) * max(mc - 22222.0, mc2 - 22222.0) / abs(mc - mc2) ELSE 0 END) FROM w
"""


def by_sqlite(db: sqlite3.Connection, tires: list[tuple[str, str, int]], lag: int, now: int) -> list[float]:
    return [db.execute(LEAD, (zone, filled + lag, now)).fetchone()[0] or 0.0 for _, zone, filled in tires]


def import_file(count: int, end: int) -> str:
    marks = range(end - count * STEP, end, STEP)
    return "time,temp_f\n" + "".join(
        f"{times.utc_text(at)},{72 + n % 7 / 10:.1f}\n" for n, at in enumerate(marks)
    )


def plain_import(path: Path, text: str) -> int:
    """The same rows read by splitting and fromisoformat and put into a plain table of the same key."""
    from datetime import datetime

    db = sqlite3.connect(path)
    db.execute("PRAGMA journal_mode = wal")
    db.execute(
        "CREATE TABLE s (zone TEXT, sensor TEXT, at INTEGER, mc INTEGER, PRIMARY KEY (zone, sensor, at)) WITHOUT ROWID"
    )
    rows = []
    for line in text.splitlines()[1:]:
        written, value = line.split(",")
        rows.append(
            (
                "Z",
                "logger",
                int(datetime.fromisoformat(written).timestamp()),
                round((float(value) - 32) * 5000 / 9),
            )
        )
    with db:
        db.executemany("INSERT INTO s VALUES (?, ?, ?, ?)", rows)
    db.close()
    return len(rows)


# -- the forecast on real days -------------------------------------------------------------------------------------------------
def forecast(city: str, limit_mc: int, after_h: int) -> tuple[int, int, float, float, float, float]:
    """Over the year's days: tires filled at midnight, foretold *after_h* hours later from the past alone.

    How many were foretold and how many not; bias, standard deviation, median distance and the worst, in hours.
    """
    from vega_datasets import data

    table = getattr(data, city)()
    at = [int(moment.timestamp()) for moment in table["date"].dt.tz_localize("UTC")]
    samples = [(a, round((f - 32) * 5000 / 9)) for a, f in zip(at, table["temp"], strict=True)]
    sensor = cure.Sensor(samples, gap_s=2 * HOUR)
    rule = cure.Rule(limit_mc=limit_mc, standard_s=48 * HOUR)
    errors, without = [], 0
    for start in range(at[0] + 3 * DAY, at[-1] - 20 * DAY, DAY):
        now = start + after_h * HOUR
        seen = cure.Sensor([s for s in samples if start - 3 * DAY <= s[0] <= now], gap_s=2 * HOUR)
        foretold = cure.clock(start, [cure.Stay("Z", start)], {"Z": seen}, [], rule, now).ready_standard_at
        true = cure.reached_at(
            start, [cure.Stay("Z", start)], {"Z": sensor}, [], rule, start + 20 * DAY, rule.standard_s
        )
        if foretold is not None and true is not None and true > now:
            errors.append((foretold - true) / HOUR)
        elif foretold is None:
            without += 1
    away = statistics.median(abs(one) for one in errors)
    return len(errors), without, statistics.mean(errors), statistics.stdev(errors), away, max(errors, key=abs)


def rows(many_zones: int = 10, years: int = 5) -> Iterator[list[str]]:
    """Milliseconds by the clock, in brackets those this process worked; then the forecast against what came."""
    yield ["what", "ours", "aim", "reference in this run"]
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        shop, history, tires = furnish(Path(folder), many_zones, years)
        count = sum(len(at) for at, _ in history.values())
        size = Path(shop.book.where).stat().st_size / 1e6
        print(
            f"{many_zones} zones, {years} years, {count / 1e6:.2f} million samples, {size:.0f} MB, furnished in {time.perf_counter() - begun:.0f} s",
            file=sys.stderr,
        )
        lag = cures.rule_for(shop.book, "BH", "large", shop.now).lag_s
        racks_ms, racks = took(lambda: zones.rack_rows(shop.book, "BH", shop.now), 7)
        one_ms, _ = took(lambda: cures.answer(shop.book, tires[0][0], shop.now), 15)
        build_ms, sums = took(lambda: sums_of(history))
        numpy_ms, by_np = took(lambda: by_numpy(sums, tires, lag, shop.now), 7)
        plain = sqlite3.connect(shop.book.where)
        lead_ms, by_lead = took(lambda: by_sqlite(plain, tires, lag, shop.now), 5)
        lead_one_ms, _ = took(lambda: by_sqlite(plain, tires[:1], lag, shop.now), 15)
        mine = {row["item"]: row["credited_s"] for row in racks}
        apart = max(abs(mine[tire] - seconds) for (tire, _, _), seconds in zip(tires, by_np, strict=True))
        apart_lead = max(abs(mine[tire] - secs) for (tire, _, _), secs in zip(tires, by_lead, strict=True))
        cured = next(row["item"] for row in racks if row["ok"])
        release_ms, _ = took(lambda: shop.lead("release", tire=cured))
        text = import_file(100_000, shop.now)
        import_ms, _ = took(lambda: shop.act("log temperatures", zone="back rack", csv=text))
        parse_ms, _ = took(lambda: logger.parse_plain(text))
        plain_ms, _ = took(lambda: plain_import(Path(folder) / "plain.db", text))
        plain.close()
        shop.book.db.close()
    sums_words = f"numpy prefix sums {numpy_ms}, built once in {build_ms}; sqlite lead() {lead_ms}"
    yield [f"racks page, {TIRES} curing tires", str(racks_ms), "100", sums_words]
    yield ["one release decision", str(one_ms), "20", f"sqlite lead(), hours only {lead_one_ms}"]
    yield ["the release, written", str(release_ms), "", ""]
    plain_words = f"split, fromisoformat, executemany {plain_ms}; our parsing alone {parse_ms}"
    yield ["100 000 samples taken in", str(import_ms), "3000", plain_words]
    # ours round down once per stretch; lead() drops the ends
    yield ["credited seconds apart", "", "", f"{apart:.0f} from numpy's, {apart_lead:.0f} from lead()'s"]
    for city in ("seattle_temps", "sf_temps"):
        for limit_mc, words in ((12_778, "55 °F"), (15_556, "60 °F")):
            for after in (12, 24, 36):
                many, without, bias, spread, away, worst = forecast(city, limit_mc, after)
                yield [
                    f"forecast, {city}, {words}, made after {after} h",
                    f"bias {bias:+.1f} h, spread {spread:.1f} h",
                    "",
                    f"{many} foretold, {without} without; median off {away:.1f} h, worst {worst:+.1f} h",
                ]
