"""The devices of the shop, for the owner: admitting one shows its token once, dismissing one ends it."""

from __future__ import annotations

from dataclasses import replace

from flask import Blueprint, flash, redirect, render_template, request
from flask.typing import ResponseReturnValue

from fillbook.trace.book import devices as reading
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.web import here
from fillbook.trace.web.forms import Form
from fillbook.trace.work import acting, devices

bp = Blueprint("devices", __name__)


class Admission(Form):
    """The form of `admit device` with the token in it. Sent twice it shows the same token; the server never keeps it."""

    def __init__(self, token: str) -> None:
        super().__init__(
            "admit device", fixed={"token": token}, first=("device", "role"), hidden={"token", "token_hash"}, action="/devices",
            button="Admit",
        )  # fmt: skip
        self.about = []

    def read(self) -> acting.Action:
        """What was posted, with the token's hash in the token's place."""
        action = super().read()
        fields = {name: value for name, value in action.fields.items() if name != "token"}
        return replace(action, fields=fields | {"token_hash": devices.token_hash(self.fixed["token"])})


@bp.get("/devices")
def page() -> ResponseReturnValue:
    return _page(Admission(devices.new_token()))


@bp.post("/devices")
def admit() -> ResponseReturnValue:
    token = request.form.get("token", "")
    if not devices.is_token(token):
        raise Nonsense(
            "The form came without its token. Open the page Devices again and send it from there.",
            field="token",
        )
    form = Admission(token)
    done = form.send()
    if done is None:
        return _page(form, form.status)
    return _unkept(
        render_template(
            "api/token.html",
            token=token,
            device=form.said.get("device", ""),
            role=form.said.get("role", "hand"),
            seq=done.seq,
        )
    )


@bp.post("/devices/dismiss")
def dismiss() -> ResponseReturnValue:
    form = Form("dismiss device", first=("device", "why"), action="/devices/dismiss", button="Dismiss")
    done = form.send()
    if done is None:
        return _page(Admission(devices.new_token()), form.status, dismissed=form)
    flash(f"{form.said.get('device', '')} is dismissed; its token is worth nothing any more.", "go")
    return redirect("/devices", 303)


def _page(form: Form, status: int = 200, dismissed: Form | None = None) -> ResponseReturnValue:
    there = reading.admitted(here.book(), here.shop())
    chosen = next((one.device for one in there if one.device == request.args.get("device")), None)
    if chosen and dismissed is None:
        dismissed = Form(
            "dismiss device",
            fixed={"device": chosen},
            hidden={"device"},
            first=("why",),
            action="/devices/dismiss",
            button="Dismiss",
        )
        dismissed.about = []
    return _unkept(render_template("api/devices.html", form=form, dismiss=dismissed, devices=there), status)


def _unkept(text: str, status: int = 200) -> ResponseReturnValue:
    """A page with a token in it is kept by no browser."""
    return text, status, {"Cache-Control": "no-store"}
