"""Which printer a station prints on, chosen where the station stands; and how that printer is."""

from __future__ import annotations

from flask import Blueprint, flash, redirect, render_template, request, session
from flask.typing import ResponseReturnValue

from fillbook.labels import printing as printers
from fillbook.labels import sheets
from fillbook.trace.book import queries
from fillbook.trace.core.errors import ShopError
from fillbook.trace.web import here, printing
from fillbook.trace.web.forms import Form
from fillbook.trace.web.inputs import Input

bp = Blueprint("printers", __name__)


class PrinterForm(Form):
    """Where this station prints. The printer and the sheet are read as they will be used, before anything is written."""

    def __init__(self) -> None:
        station = session.get("station", "")
        row = queries.printer_of(here.book(), here.shop(), station) if station else None
        super().__init__(
            "choose printer", action="/labels/printers", button="Print there", first=("station", "printer", "dpi", "sheet"),
            prefill={
                "station": station, "printer": request.args.get("printer") or (row.printer if row else "browser"),
                "dpi": str(row.dpi) if row else "203", "sheet": row.sheet if row else "",
            },
        )  # fmt: skip

    def read(self):  # type: ignore[no-untyped-def]
        action = super().read()
        to = printers.printer(str(action.fields.get("printer", "")))
        action.fields["printer"] = to.name
        if action.fields.get("sheet"):
            sheets.sheet(str(action.fields["sheet"]))
        return action

    def inputs(self) -> list[Input]:
        drawn = super().inputs()
        for one in drawn:
            if one.name == "dpi":
                one.widget, one.options = "pick", [(n, n) for n in ("203", "300", "600")]
                one.hint = "Most label printers have 203; it stands in their papers"
            elif one.name == "printer":
                one.offers = ["browser", *(f"lp:{name}" for name in printing.queues())]
                one.hint = "browser; lp: and the name of a queue of this machine; or the printer's address, such as ipp://dock-printer.local/ipp/print"
            elif one.name == "sheet":
                one.hint = "Only where an office printer holds sheets of labels, such as letter:3x5"
        return drawn


@bp.get("/labels/printers")
def choose() -> ResponseReturnValue:
    return _page(PrinterForm())


def _page(form: Form) -> ResponseReturnValue:
    book, shop = here.book(), here.shop()
    rows = {
        row.station.lower(): row
        for row in book.rows("SELECT * FROM printer_set WHERE shop = ? ORDER BY seq", shop)
    }
    return render_template(
        "labels/printers.html", form=form, chosen=sorted(rows.values(), key=lambda row: row.station.lower()), queues=printing.queues(),
        station=session.get("station", ""), words=lambda row: printing.Where(row.printer, row.dpi, row.sheet).words,
        focus_form=form.error is not None,
    ), form.status  # fmt: skip


@bp.post("/labels/printers")
def chosen() -> ResponseReturnValue:
    form = PrinterForm()
    done = form.send()
    if done is None:
        return _page(form)
    station, to = form.said["station"].strip(), printers.printer(form.said["printer"])
    session["station"] = station
    session.permanent = True
    flash(f"{station} prints from now on: {printing.Where(to.name).words}.", "go")
    known = printing.queues()
    if to.kind == "lp" and to.name[3:] not in known:
        flash(
            f"This machine has no queue {to.name[3:]} now"
            + (f": it has {', '.join(known)}." if known else ", and knows of none at all.")
            + " Labels are not accepted until it is there.",
            "look",
        )
    return redirect("/labels/printers", 303)


@bp.post("/labels/printers/look")
def look() -> ResponseReturnValue:
    """Ask a chosen printer how it is; nothing is printed or written down."""
    row = queries.printer_of(here.book(), here.shop(), request.form.get("station", ""))
    if row is None:
        flash("No printer was chosen for that station yet.", "look")
    elif row.printer.startswith("lp:"):
        known = printing.queues()
        good = row.printer[3:] in known
        flash(
            f"The queue {row.printer[3:]} is there." if good
            else f"This machine has no queue {row.printer[3:]}" + (f"; it has {', '.join(known)}." if known else ", and knows of none."),
            "go" if good else "look",
        )  # fmt: skip
    elif row.printer == "browser":
        flash("It prints from the browser: nothing to ask.", "go")
    else:
        try:
            printers.look(printers.printer(row.printer))
            flash(f"{row.printer} answers and takes jobs.", "go")
        except ShopError as trouble:
            flash(str(trouble), "look")
    return redirect("/labels/printers", 303)
