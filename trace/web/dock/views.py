"""The dock: a truck of totes is booked in lot by lot, and each tote gets its label. The supplier's own label fills the form in."""

from __future__ import annotations

import contextlib

from flask import Blueprint, flash, g, redirect, render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import RequestEntityTooLarge

from fillbook.labels import supplier_codes
from fillbook.trace.book import glance, queries
from fillbook.trace.core import supplier_notes
from fillbook.trace.core.errors import Nonsense, ShopError
from fillbook.trace.web import here, trouble
from fillbook.trace.web.dock import codes
from fillbook.trace.web.forms import Form
from fillbook.trace.web.inputs import Input
from fillbook.trace.web.trouble import status_of
from fillbook.trace.web.verbs.views import after
from fillbook.trace.work.acting import Action
from fillbook.trace.work.ask import Words

bp = Blueprint("dock", __name__)
KEPT = ("supplier", "system", "side")  # the next lot off the same truck mostly shares them
FIRST = ("supplier", "lot", "side", "system", "totes", "net_g")


class Receipt(Form):
    """The receipt of a lot, with what the supplier's label filled in and from where."""

    def __init__(self, **more: object) -> None:
        super().__init__("receive", action="/dock", first=FIRST, **more)  # type: ignore[arg-type]
        self.filled = codes.Filled()
        self.code_wrong: ShopError | None = None
        self.just_refused = False  # a code of this very request lacks its beginning

    def take_sources(self) -> None:
        """Where values are from, kept while the form goes to and fro; a value changed by hand is the hand's."""
        self.filled.sources = {
            name.removeprefix("from-"): words[:300]
            for name, words in self.said.items()
            if name.startswith("from-")
            and self.said.get(name.removeprefix("from-")) == self.said.get(name.replace("from-", "was-"))
        }

    def read_label(self) -> None:
        """Read the supplier's label into the form; what does not read is said, and what was typed stays."""
        self.take(request.form)
        self.take_sources()
        before = self.said.getlist("refused")
        if without := self.said.get("without", ""):
            self._leave_out(without)
        try:
            said, own = codes.said_in(
                self.said.getlist("codes"), request, here.book(), none_will_do=bool(without)
            )
            filled = codes.fill_in(here.book(), here.shop(), said, self.said)
        except ShopError as wrong:
            self.code_wrong = wrong
            self._say_what_was_read()
            self.filled.refused = codes.still_refused(before, [])
            return
        filled.troubles = [codes.why_not_ours(item) for item in own] + filled.troubles
        self.just_refused = bool(filled.refused)
        filled.refused = codes.still_refused([*before, *filled.refused], filled.kept)
        self.said.setlist("codes", filled.kept)
        self.said["code"] = ""
        for name, value in filled.values.items():
            self.said[name] = value
        if filled.several:  # the first tote's serial stands among them now
            self.said["supplier_serial"] = ""
            self.filled.sources.pop("supplier_serial", None)
        filled.sources = self.filled.sources | filled.sources
        self.filled = filled

    def _leave_out(self, code: str) -> None:
        """Take out the code that was read by mistake, and what it filled in; what the other codes say is read once more."""
        self.said.setlist("codes", [one for one in self.said.getlist("codes") if one != code])
        for name in self.filled.sources:  # a value changed by hand is not among them
            self.said.pop(name, None)
        self.filled.sources = {}

    def read(self) -> Action:
        """As any form; one of the shop's own labels is no word of a receipt. Raises Nonsense for it, too."""
        for one in self.all_fields:
            text = self.said.get(one.name, "").strip()
            if text and isinstance(one.mark, Words) and (item := codes.own_label(here.book(), text)):
                raise Nonsense(codes.why_not_ours(item), field=one.name)
        return super().read()

    def codes_again(self) -> None:
        """The codes read before, shown again beside a form that was refused, with what does not fit among them."""
        self.take_sources()
        self._say_what_was_read()
        self.filled.refused = codes.still_refused(self.said.getlist("refused"), [])

    def _say_what_was_read(self) -> None:
        book, shop = here.book(), here.shop()
        for code in self.said.getlist("codes")[: codes.MOST_CODES]:
            with contextlib.suppress(ShopError):
                self.filled.codes.append(supplier_codes.read(code, codes.notes_of(book, shop)))
        if said := [one.code for one in self.filled.codes]:
            self.filled.troubles = codes.fill_in(book, shop, said, MultiDict()).troubles

    def inputs(self) -> list[Input]:
        drawn = super().inputs()
        for one in drawn:
            if one.name in self.filled.sources and one.value:
                one.hint = f"From {self.filled.sources[one.name]}"
        return drawn

    def at_once(self, drawn: list[Input]) -> list[Input]:
        """What the label filled in stands where it is seen."""
        shown = [one for one in drawn if one.name in FIRST or one.error or one.name in self.filled.sources]
        order = {name: n for n, name in enumerate(FIRST)}
        return sorted(shown, key=lambda one: order.get(one.name, len(order)))


def _page(form: Receipt, status: int = 200) -> ResponseReturnValue:
    g.scan_from = "dock"
    book, shop = here.book(), here.shop()
    return render_template(
        "dock/dock.html", form=form, receipts=glance.receipts(book, shop), unprinted=glance.labels_waiting(book, shop)["L"],
        systems=queries.systems(book, shop), focus_form=True, why_refused=codes.why_refused,
    ), status  # fmt: skip


@bp.get("/dock")
def dock() -> ResponseReturnValue:
    return _page(Receipt(prefill={name: request.args.get(name) for name in KEPT}))


@bp.post("/dock")
def receive() -> ResponseReturnValue:
    form = Receipt()
    done = form.send()
    if done is None:
        form.codes_again()
        return _page(form, form.status)
    return after(form, done)


@bp.post("/dock/read")
def read() -> ResponseReturnValue:
    """Read the supplier's label into the form; nothing is written down."""
    form = Receipt()
    form.read_label()
    return _page(form, status_of(form.code_wrong) if form.code_wrong else 422 if form.just_refused else 200)


# -- the shop's notes on its suppliers' codes ----------------------------------------------------------------------------------
def _note_form() -> Form:
    said = {name: request.args.get(name) for name in ("supplier", "example", "pattern", "dates")}
    row = queries.supplier_notes(here.book(), here.shop()).get(said["supplier"] or "")
    if row:
        said |= {name: said[name] or row[name] for name in ("example", "pattern", "dates")}
    return Form(
        "note supplier code",
        action="/dock/codes",
        button="Keep the note",
        first=("supplier", "example", "pattern", "dates"),
        prefill=said,
    )


@bp.get("/dock/codes")
def notes() -> ResponseReturnValue:
    return _notes_page(_note_form())


def _notes_page(form: Form, part: bool = False) -> ResponseReturnValue:
    found, wrong = {}, ""
    pattern, example = form.said.get("pattern", "").strip(), form.said.get("example", "").strip()
    if pattern and example:
        try:
            found = supplier_codes.preview(pattern, example, form.said.get("dates") or "YYMMDD")
        except ShopError as trouble:
            wrong = str(trouble)
    return render_template(
        "dock/code_look.html" if part else "dock/codes.html", form=form, found=found, wrong=wrong, parts=supplier_notes.PARTS,
        notes=list(queries.supplier_notes(here.book(), here.shop()).values()), focus_form=not part,
    ), 200 if part else form.status  # fmt: skip


@bp.post("/dock/codes/look")
def look() -> ResponseReturnValue:
    """What the pattern reads from the example, while it is typed."""
    form = _note_form()
    form.take(request.form)
    return _notes_page(form, part=True)


@bp.post("/dock/codes/show")
def show() -> ResponseReturnValue:
    """The same for a browser that runs no script."""
    form = _note_form()
    form.take(request.form)
    return _notes_page(form)


@bp.post("/dock/codes")
def note() -> ResponseReturnValue:
    form = _note_form()
    done = form.send()
    if done is None:
        return _notes_page(form)
    flash(f"Codes of {form.said['supplier'].strip()} are read by this note from now on.", "go")
    return redirect("/dock/codes", 303)


@bp.errorhandler(RequestEntityTooLarge)
def too_large(_: RequestEntityTooLarge) -> ResponseReturnValue:
    return trouble.page(
        "The photograph is larger than 24 MB: take it at a lower resolution, or type the number that stands below the bars. Nothing was changed.",
        413,
    )
