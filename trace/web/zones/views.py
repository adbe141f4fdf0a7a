"""A zone's page: its history as a picture and a table, who lay there, what is in doubt, its loggers and how they send."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, flash, g, make_response, redirect, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import loggers, queries, zones
from fillbook.trace.book.opening import Row
from fillbook.trace.core import ids, times
from fillbook.trace.core.errors import ShopError, UnknownItem, WrongKind
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item
from fillbook.trace.web.zones import picture, readings, upload
from fillbook.trace.work import sensors

bp = Blueprint("zones", __name__)
bp.register_blueprint(readings.bp)
DAYS = {1: "24 hours", 7: "7 days", 30: "30 days"}
FLAGGED = 60  # doubtful samples drawn at most
SHOWN_TIRES = 40


def the_zone(code: str) -> Row:
    """The zone of an address; raises UnknownItem or WrongKind."""
    found = the_item(code)
    if ids.kind_of(found) != "Z":
        raise WrongKind(
            f"{ids.pretty(found)} is a {ids.KINDS[ids.kind_of(found)]}; this page is a zone's. Scan the zone's sign."
        )
    zone = next((row for row in queries.zones(here.book(), here.shop()) if row["item"] == found), None)
    if zone is None:
        raise UnknownItem(f"{ids.pretty(found)} was voided and names nothing any more. Use the right label.")
    return zone


@bp.get("/zones")
@here.one_picture
def every_zone() -> str:
    book, shop = here.book(), here.shop()
    rows = queries.zones(book, shop)
    doubts = loggers.open_doubts(book, shop)
    return render_template(
        "zones/zones.html", zones=rows, limit=queries.limit(book, shop, "cure_temperature", here.now()),
        newest={z["item"]: queries.newest_sample(book, z["item"]) for z in rows},
        hung={z["item"]: _hanging(z) for z in rows}, doubts={z["item"]: sum(d.zone == z["item"] for d in doubts) for z in rows},
    )  # fmt: skip


def _hanging(zone: Row) -> list[dict[str, Any]]:
    return [one for one in loggers.known(here.book(), zone) if one["until"] is None]


@bp.get("/zones/<code>")
@here.one_picture
def zone(code: str) -> str:
    row = the_zone(code)
    g.scan_from = "racks"
    book, shop, now = here.book(), here.shop(), here.now()
    days = next((n for n in DAYS if str(n) == request.args.get("days")), 1)
    end = min(now, here.number(request.args.get("until", "")) or now)
    start = end - days * picture.DAY
    found = zones.history(book, shop, row["item"], start, end)
    flagged = [
        sample
        for doubt in found["doubts"]
        for sample in queries.samples(book, row["item"], doubt["sensor"], doubt["first_at"], doubt["last_at"])
        if max(start, doubt["first_at"]) <= sample[0] <= min(end, doubt["last_at"])
    ][:FLAGGED]
    return render_template(
        "zones/zone.html", zone=row, found=found, picture=picture.draw(found, us=here.say().us, zone=here.say().zone, flagged=flagged),
        rows=picture.rows(found, days), days=days, periods=DAYS, end=end, high=picture.HIGH, wide=picture.WIDE,
        earlier=end - days * picture.DAY, later=None if end >= now else min(now, end + days * picture.DAY), known=_hanging(row),
        newest=queries.newest_sample(book, row["item"]), shown=SHOWN_TIRES, day=lambda at: times.show_date(at, here.say().zone),
        doubts=[d for d in loggers.open_doubts(book, shop) if d.zone == row["item"]], spans=_spans(found),
    )  # fmt: skip


def _spans(found: dict[str, Any]) -> dict[str, tuple[float, float]]:
    """Where each stay lies along the picture, in percent of its width."""
    start, end = found["start"], found["end"]
    spans = {}
    for n, one in enumerate(found["tires"]):
        a, b = max(one["from"], start), min(one["until"] or end, end)
        spans[n] = (
            round(100 * (a - start) / (end - start), 2),
            max(0.5, round(100 * (b - a) / (end - start), 2)),
        )
    return spans  # type: ignore[return-value]


# -- letting a logger send -----------------------------------------------------------------------------------------------------
@bp.get("/zones/<code>/tokens")
@here.one_picture
def tokens(code: str) -> str:
    row = the_zone(code)
    return _tokens(row, _token_form(row, None, prefill={"sensor": request.args.get("sensor", "")}))


@bp.post("/zones/<code>/tokens")
def give_token(code: str) -> ResponseReturnValue:
    """Make a token and show it this once; its hash stands in the book. A repeat of the same form shows none: it is kept nowhere."""
    row = the_zone(code)
    token, digest = sensors.new_token()
    stop = request.form.get("stop") == "yes"
    form = _token_form(row, None if stop else digest, stop=stop)
    try:
        form.take(request.form)
        if stop:
            # Several forms stand there, each with its logger: a question would stand in all of them
            form.opened_by = ""
        done = form.act()
    except ShopError as trouble:
        form.refuse(trouble)
        return _tokens(row, form), form.status
    form.done(done)
    name = form.said.get("sensor", "")
    if stop:
        flash(f"Logger {name} in {row.name} sends no longer: its token is good for nothing now.", "go")
        return redirect(f"/zones/{row['item']}/tokens", 303)
    answer = make_response(
        render_template(
            "zones/token.html", zone=row, sensor=name, token=token, seq=done.seq, host=request.host_url
        )
    )
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _token_form(
    row: Row, digest: str | None, *, stop: bool = False, prefill: dict[str, str] | None = None
) -> Form:
    fixed = {"zone": row["item"], "stop": stop} | ({"token_hash": digest} if digest else {})
    form = Form(
        "let sensor send", fixed=fixed, hidden={"token_hash", "stop"}, first=("sensor",), prefill=prefill, button="Make its token",
        action=f"/zones/{row['item']}/tokens",
    )  # fmt: skip
    form.about = []
    return form


def _tokens(row: Row, form: Form) -> str:
    return render_template(
        "zones/tokens.html", zone=row, form=form, known=loggers.known(here.book(), row), sending=_sending(row)
    )


def _sending(row: Row) -> list[Row]:
    """The loggers that may send now, with who let them."""
    return [
        one
        for one in here.book().rows(
            "SELECT t.* FROM sensor_token t WHERE t.zone = ? AND t.seq = (SELECT max(n.seq) FROM sensor_token n WHERE n.shop = t.shop "
            "AND n.zone = t.zone AND n.sensor = t.sensor) ORDER BY t.sensor",
            row["item"],
        )
        if not one.ended
    ]


# -- a logger's file -----------------------------------------------------------------------------------------------------------
@bp.get("/zones/<code>/file")
@here.one_picture
def file(code: str) -> str:
    row = the_zone(code)
    names = list(dict.fromkeys(one["sensor"] for one in loggers.known(here.book(), row))) or ["logger"]
    return render_template(
        "zones/file.html", zone=row, names=names, error=None, sensor=request.args.get("sensor", names[0])
    )


@bp.post("/zones/<code>/file")
def take_file(code: str) -> ResponseReturnValue:
    """First what was found in the file is shown, and nothing stored; sent on from there, it is."""
    row = the_zone(code)
    form = upload.form(row)
    try:
        sent = upload.sent()
        form.take(upload.fields(sent))
        # Who did it is asked once it was to be taken
        goes_on = request.form.get("take") or request.form.get("did_it")
        if goes_on and not upload.changed(sent):
            done = form.act()
            form.done(done)
            if not done.repeated:
                event = here.book().one(
                    "SELECT count, first_at, last_at FROM sample_block WHERE shop = ? AND seq = ?",
                    done.shop,
                    done.seq,
                )
                flash(
                    f"{event.count} {'reading' if event.count == 1 else 'readings'} of {row.name} {'was' if event.count == 1 else 'were'} taken in, {here.say().time(event.first_at)} to "
                    f"{here.say().time(event.last_at)} (event {done.seq}).", "go",
                )  # fmt: skip
                return redirect(f"/zones/{row['item']}?days={_days(event.first_at)}", 303)
            return redirect(f"/zones/{row['item']}", 303)
    except ShopError as trouble:
        form.refuse(trouble)
        if not form.said.get("csv"):
            return _file_again(row, form)
    try:
        look = upload.look(row, sent, form)
    except ShopError as trouble:
        form.refuse(trouble)
        return _file_again(row, form)
    return render_template("zones/look.html", zone=row, look=look, form=form), form.status


def _file_again(row: Row, form: Form) -> tuple[str, int]:
    names = list(dict.fromkeys(one["sensor"] for one in loggers.known(here.book(), row))) or ["logger"]
    sensor = request.form.get("sensor", names[0])
    return render_template(
        "zones/file.html", zone=row, names=names, error=form.error, sensor=sensor
    ), form.status


def _days(first: int) -> int:
    """The shortest period of the picture that shows *first*."""
    return next((n for n in DAYS if here.now() - first <= n * picture.DAY), 30)
