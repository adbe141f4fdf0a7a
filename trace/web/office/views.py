"""The book itself: its journal and whether it is whole, its people, lines, zones, systems and limits; correcting an event."""

from __future__ import annotations

import json
from typing import Any

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from fillbook.trace.book import chain, glance, queries
from fillbook.trace.core import times
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.web import here, inputs, limit_form
from fillbook.trace.web.forms import Form
from fillbook.trace.web.office import event_lines, trial
from fillbook.trace.work import acting, registry
from fillbook.trace.work.ask import fields_of
from fillbook.trace.work.corrections import FIXED

bp = Blueprint("office", __name__)
PAGE = 40
NO_REASON_YET = "not said yet"  # in a trial only, which is undone
NEW = "new-"  # before the names of the corrected verb's fields, some of which are called as the correction's own


@bp.get("/book")
@here.one_picture
def book() -> str:
    mine, shop = here.book(), here.shop()
    before = here.number(request.args.get("before", ""))
    return render_template(
        "office/book.html", head=chain.position(mine, shop), people=queries.people(mine, shop), lines=queries.lines(mine, shop),
        zones=queries.zones(mine, shop), systems=queries.systems(mine, shop), limits=limit_form.by_part(),
        events=glance.newest_events(mine, shop, before, PAGE), page=PAGE,
    )  # fmt: skip


@bp.get("/book/verify")
@here.one_picture
def verify() -> str:
    kept = request.args.get("kept", "").strip()
    trouble = chain.check_chain(here.book(), here.shop(), _kept(kept))
    return render_template(
        "office/verify.html", trouble=trouble, head=chain.position(here.book(), here.shop()), kept=kept
    )


def _kept(text: str) -> tuple[int, str] | None:
    """A head that was kept elsewhere, as papers print it: SHOP:NUMBER:HASH."""
    if not text:
        return None
    parts = text.split(":")
    if (
        len(parts) != 3
        or here.number(parts[1]) is None
        or len(parts[2]) < 8
        or parts[0].upper() != here.shop()
    ):
        raise Nonsense(
            f"A kept head of this shop is written {here.shop()}:NUMBER:HASH, with at least 8 characters of the hash, as it stands on its papers.",
            field="kept",
        )
    return int(parts[1]), parts[2].lower()


@bp.get("/book/<int(max=999999999999):seq>")
@here.one_picture
def event(seq: int) -> str:
    return _page(seq, _correction(seq))


@bp.post("/book/<int(max=999999999999):seq>")
def correct(seq: int) -> ResponseReturnValue:
    form = _correction(seq)
    if form is None:
        raise Nonsense(f"Event {seq} stays as it was written; add a new one instead.", field="event")
    form.take(request.form)
    try:
        if request.form.get("look"):
            return _page(seq, form, trial.what_changes(seq, form.read_to_look()))
        answer = form.act()
    except ShopError as trouble:
        form.refuse(trouble)
        return _page(seq, form), form.status
    form.done(answer)
    if not answer.repeated:
        flash(
            f"Event {seq} was {'voided' if form.said.get('void') == 'yes' else 'corrected'}; what follows from it was worked out anew.",
            "go",
        )
    return redirect(url_for("office.event", seq=seq), 303)


class Correction(Form):
    """The form of one event's correction: its verb's fields as they stand, of which only the changed ones are sent."""

    def __init__(self, seq: int, kind: str, now_said: MultiDict) -> None:
        super().__init__(
            "correct", action=url_for("office.correct", seq=seq), fixed={"event": str(seq)}, button="Correct"
        )
        self.changed = self.captions_of = registry.find(kind)
        self.role = max(self.role, self.changed.role, key=registry.ROLES.index)
        self.stands = now_said
        self.about = []

    def read(self) -> acting.Action:
        action = super().read()
        asked = fields_of(self.changed.ask)
        stood = inputs.fields_said(self.changed.name, asked, self.stands, {}, NEW)
        says = inputs.fields_said(self.changed.name, asked, self.said, request.files, NEW)
        fields: dict[str, Any] = {k: v for k, v in says.items() if stood.get(k) != v}
        inputs.check_points(asked, fields)
        told = {one.name for one in asked if any(a in says for a in one.accepts)}
        fields |= {
            one.name: None
            for one in asked
            if one.name not in told and any(a in stood for a in one.accepts) and NEW + one.name in self.said
        }
        said = {k: v for k, v in action.fields.items() if k in ("event", "why", "void")}
        happened = self.said.get("happened", "").strip()
        if happened and happened != self.stands.get("happened"):
            said["happened"] = happened
        return acting.Action(
            action.verb, {**said, **({"fields": fields} if fields else {})}, who=action.who, signed_by=action.signed_by,
            override=action.override, request=action.request, station=action.station, shop=action.shop, saw=self.saw,
        )  # fmt: skip

    def read_to_look(self) -> acting.Action:
        """The action as it would be with its reason, which nobody has to know yet."""
        typed = self.said.get("why", "")
        try:
            self.said["why"] = typed.strip() or NO_REASON_YET
            return self.read()
        finally:
            self.said["why"] = typed

    def shown(self) -> list[inputs.Input]:
        return self.changed_inputs()

    def changed_inputs(self) -> list[inputs.Input]:
        """The verb's own fields, with what stands in them or what was just typed."""
        said = self.said if self.posted else self.stands
        drawn = [inputs.draw(self.changed.name, one, said, NEW) for one in fields_of(self.changed.ask)]
        field = (self.error.field or "").removeprefix("fields.") if self.error else ""
        for one in drawn:
            if field and field.split("[")[0] in one.stored:
                one.error = str(self.error)
        return drawn


def _correction(seq: int) -> Correction | None:
    """The form to correct event *seq*; None where it is void or of a kind that stays."""
    stands = glance.event_now(here.book(), here.shop(), seq)
    if stands is None or stands.kind in FIXED:
        return None
    zone = here.say().zone
    said = inputs.as_typed(fields_of(registry.find(stands.kind).ask), stands.body["said"], zone, NEW)
    said["happened"] = times.local(stands.happened_at, zone).strftime("%Y-%m-%dT%H:%M")
    return Correction(seq, stands.kind, said)


def _page(seq: int, form: Correction | None, change: trial.Change | None = None) -> str:
    mine, shop = here.book(), here.shop()
    written = chain.event_at(mine, shop, seq)
    if written is None:
        raise UnknownItem(
            f"There is no event {seq} in this shop's journal; it ends at {chain.position(mine, shop).seq}."
        )
    corrected = glance.corrections_of(mine, shop, seq)
    current = glance.event_now(mine, shop, seq) if corrected else None
    return render_template(
        "office/event.html", event=written, form=form, change=change, corrected=corrected, void=bool(corrected) and form is None,
        said=event_lines.lines(written.kind, written.body), current=current, stands=event_lines.lines(current.kind, current.body) if current else [],
        newest=chain.event_at(mine, shop, corrected[-1]) if corrected else None, text=json.dumps(json.loads(written.text()), indent=1, ensure_ascii=False),
        stays=written.kind in FIXED, ids=written.body.get("ids", []), findings=written.body.get("findings", []),
        words=registry.VERBS[written.kind].words if written.kind in registry.everything() else "",
        came_off=written.body.get("before", "") if written.kind == "hook up" else "",
    )  # fmt: skip
