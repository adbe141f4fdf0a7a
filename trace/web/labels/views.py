"""Labels: which ones, printed before or not, as a PDF, on sheets or to the station's printer; and jobs that run in the background.

Looking is free; what is handed out or accepted is written down, and never more than that.
"""

from __future__ import annotations

import io
import uuid
from dataclasses import replace

from flask import Blueprint, Response, redirect, render_template, request, send_file, session
from flask.typing import ResponseReturnValue

from fillbook.labels import printing as printers
from fillbook.labels import sheets
from fillbook.labels.layout import face_of
from fillbook.trace.book import glance, print_jobs, queries
from fillbook.trace.book.opening import Row
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.web import here, printing
from fillbook.trace.web.forms import Form
from fillbook.trace.web.item.views import the_item
from fillbook.trace.web.labels import jobs
from fillbook.trace.web.trouble import status_of
from fillbook.trace.work import acting

bp = Blueprint("labels", __name__)
MOST = 500  # one print event names at most so many
SHOWN = 60  # of them on the page
WAIT_S = 4.0  # for a few labels on their way to a printer; then their page says how far they are
SHEET = ("paper", "columns", "rows", "left", "top", "across", "down")
PLAIN_SHEET = {
    "paper": "letter",
    "columns": "3",
    "rows": "5",
    "left": "8",
    "top": "8",
    "across": "0",
    "down": "0",
}


# -- which labels --------------------------------------------------------------------------------------------------------------
def _asked() -> list[str]:
    """The items that were asked for: by their IDs, by the event that gave them out, or by kind where never printed."""
    args = request.values
    found = [the_item(code) for part in args.getlist("ids") for code in part.replace(",", " ").split()]
    if (event := here.number(args.get("event", ""))) is not None:
        found += glance.items_of(here.book(), here.shop(), event)
    if args.get("unprinted") in ("L", "F", "G", "C", "Z", "U", "P"):
        found += glance.unprinted(here.book(), here.shop(), args["unprinted"], MOST)
    if args.get("unprinted") == "refused":
        found += queries.not_accepted(here.book(), here.shop())[:MOST]
    found = list(dict.fromkeys(found))
    if len(found) > MOST:
        raise Nonsense(
            f"{len(found)} labels at once are too many; ask for at most {MOST}, then for the rest.",
            field="ids",
        )
    return found


def _form(items: list[str], how: str = "handed out", printer: str = "") -> Form:
    fixed = {"items": items, "how": how} | ({"printer": printer} if printer else {})
    form = Form("print", fixed=fixed, first=("why",), action="/labels.pdf", button="Print")
    form.about = []
    return form


# -- sheets --------------------------------------------------------------------------------------------------------------------
def _sheet_asked(where: printing.Where) -> str:
    """The sheet that was asked for, as it is written; the station's own where nothing was said; empty: each label by itself."""
    args = request.values
    if args.get("paper"):
        said = {name: args.get(name, "").strip().replace(",", ".") or PLAIN_SHEET[name] for name in SHEET}
        return (
            f"{said['paper']}:{said['columns']}x{said['rows']},margins={said['left']}x{said['top']},"
            f"gaps={said['across']}x{said['down']}"
        )
    if "sheet" in args:
        return args["sheet"].strip()
    return where.sheet if where.printer == "browser" else ""


def _sheet_words(text: str) -> dict[str, str]:
    """What stands in the sheet's fields."""
    try:
        one = sheets.sheet(text)
    except Nonsense:
        return {name: request.values.get(name, plain) for name, plain in PLAIN_SHEET.items()}
    return {
        "paper": one.paper, "columns": str(one.columns), "rows": str(one.rows), "left": f"{one.left:g}", "top": f"{one.top:g}",
        "across": f"{one.across:g}", "down": f"{one.down:g}",
    }  # fmt: skip


# -- the page ------------------------------------------------------------------------------------------------------------------
@bp.get("/labels")
def labels() -> ResponseReturnValue:
    items = _asked()
    return _page(_form(items), items)


def _page(form: Form, items: list[str], sheet_trouble: ShopError | None = None) -> ResponseReturnValue:
    book, shop = here.book(), here.shop()
    if not items:
        return _overview()
    where = printing.here_prints(book, shop)
    text, onto, trouble, notes, smaller = _sheet_asked(where), None, sheet_trouble, [], []
    made = printing.labels_for(book, items)
    if text and not trouble:
        try:
            onto = sheets.sheet(text)
            session["sheet"] = text
        except Nonsense as wrong:
            trouble = wrong
    try:
        if onto:
            fitted = [sheets.fitted(label, onto) for label in made]
            smaller = sorted(
                {printing.by_name(b) for a, b in zip(made, fitted, strict=True) if face_of(a) != face_of(b)}
            )
            made = fitted
        notes = printing.warnings(made)
    except Nonsense as wrong:  # such as an address that is too long for the QR code
        if form.error is None:
            form.refuse(wrong)
    printed = {item: len(queries.prints_of(book, item)) for item in items}
    asks_why = any(printed.values()) or (form.error is not None and form.error.field == "why")
    why = next((one for one in form.inputs() if one.name == "why"), None) if asks_why else None
    if why:
        why.needed = True
    if where.printer != "browser" and not text:
        form.action = "/labels/send"
    status = form.status if form.error else status_of(trouble) if trouble else 200
    return render_template(
        "labels/labels.html", form=form, why=why, items=items, shown=items[:SHOWN], printed=printed, focus_form=True,
        warnings=notes, where=where, many=printers.MANY, sheet=text if onto else "", onto=onto, sheet_trouble=trouble,
        sheet_words=_sheet_words(text or session.get("sheet", "")), smaller=smaller, start=request.values.get("start", "1"),
        asked=[(k, v) for k, v in request.args.items(multi=True) if k in ("ids", "event", "unprinted")]
        or [("ids", " ".join(items))],
    ), status  # fmt: skip


def _overview() -> str:
    book, shop = here.book(), here.shop()
    return render_template(
        "labels/overview.html", unprinted=glance.labels_waiting(book, shop),
        refused=len(queries.not_accepted(book, shop)), where=printing.here_prints(book, shop), jobs=print_jobs.newest(book, shop),
        running=print_jobs.RUNNING, name_of=lambda person: queries.name_of(book, person),
    )  # fmt: skip


# -- printing ------------------------------------------------------------------------------------------------------------------
@bp.post("/labels.pdf")
def hand_out() -> ResponseReturnValue:
    """The labels as a PDF, each by itself or on sheets: a few at once, many as a job."""
    items = _asked()
    form = _form(items)
    if not items:
        raise Nonsense("No label was chosen: open an item or a receipt and print from there.", field="ids")
    where = printing.here_prints(here.book(), here.shop())
    sheet = _sheet_asked(replace(where, sheet=""))
    start = here.number(request.form.get("start", "1")) or 0
    try:
        if sheet and not 1 <= start <= sheets.sheet(sheet).places:
            raise Nonsense(
                f"The sheet has the places 1 to {sheets.sheet(sheet).places}; choose the first free one.",
                field="start",
            )
    except Nonsense as trouble:
        return _page(form, items, trouble)
    if len(items) > printers.MANY:
        return _begin(form, items, printing.Where("browser", where.dpi, sheet), start)
    try:  # outside the writing: drawing and reading back take their time
        if sheet:
            made = printing.sheets_pdf(here.book(), items, sheet, start, where.dpi)
        else:
            made = printing.labels_pdf(here.book(), items, where.dpi)
    except Nonsense as trouble:
        form.take(request.form)
        form.refuse(trouble)
        return _page(form, items)
    done = form.send()
    if done is None:
        return _page(form, items)
    return _pdf(made, done.seq)


@bp.post("/labels/send")
def send() -> ResponseReturnValue:
    """The labels to this station's printer, in the background; a few are waited for."""
    items = _asked()
    if not items:
        raise Nonsense("No label was chosen: open an item or a receipt and print from there.", field="ids")
    where = printing.here_prints(here.book(), here.shop())
    if where.printer == "browser":
        return hand_out()
    return _begin(_form(items, "accepted", where.printer), items, replace(where, sheet=""), 1)


def _begin(form: Form, items: list[str], where: printing.Where, start: int) -> ResponseReturnValue:
    """Begin a job, if its record would be taken: a reprint without its reason is refused before anything is drawn or sent."""
    book, shop = here.book(), here.shop()
    form.take(request.form)
    try:
        with acting.dry_run(book):
            answer = form.act()
    except ShopError as trouble:
        form.refuse(trouble)
        return _page(form, items)
    form.done(replace(answer, repeated=False))
    job = jobs.name_of(form.request_id)
    person = form.doer()
    assert person is not None  # the form's act took somebody
    fresh = print_jobs.begin(
        book, job, shop, items, asked_at=here.now(), who=person["item"],
        station=session.get("station", ""), printer=where.printer, why=form.said.get("why", "").strip(),
        dpi=printing.office_dpi(where.dpi) if where.sheet else where.dpi, sheet=where.sheet, start=start,
    )  # fmt: skip
    if fresh:
        jobs.start(book, here.served().clock, shop, job, WAIT_S if len(items) <= printers.MANY else 0)
    return redirect(f"/labels/jobs/{job}", 303)


def _pdf(made: bytes, seq: int) -> Response:
    return send_file(io.BytesIO(made), "application/pdf", download_name=f"labels-{seq}.pdf", max_age=0)


# -- jobs ----------------------------------------------------------------------------------------------------------------------
def _job(name: str) -> Row:
    row = print_jobs.find(here.book(), here.shop(), name)
    if row is None:
        raise UnknownItem(
            "There is no such print job; the last ones stand on the page of the labels.", field="job"
        )
    return row


@bp.get("/labels/jobs/<job>")
def job(job: str) -> str:
    row = _job(job)
    left = print_jobs.rest(row)
    part = request.args.get("part") == "state"
    runs = row.state in print_jobs.RUNNING
    return render_template(
        "labels/job_state.html" if part else "labels/job.html", job=row, runs=runs, rest=left, shown=left[:SHOWN],
        where=printing.Where(row.printer, row.dpi, row.sheet), again=f"/labels/jobs/{row.job}" if runs else "",
        request_id=uuid.uuid4().hex,
    )  # fmt: skip


@bp.post("/labels/jobs/<job>/stop")
def stop(job: str) -> ResponseReturnValue:
    """End the job after the label that is on its way."""
    row = _job(job)
    print_jobs.stopped(here.book(), row.job, jobs.BY_HAND, sure=False)
    return redirect(f"/labels/jobs/{row.job}", 303)


@bp.post("/labels/jobs/<job>.pdf")
def open_pdf(job: str) -> ResponseReturnValue:
    made, seq = jobs.hand_out(
        here.book(), here.shop(), _job(job).job, station=session.get("station"), now=here.now()
    )
    return _pdf(made, seq)
