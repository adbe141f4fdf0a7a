"""Faces: what stands on each label, in which size, in which languages, with which logo; seen while it is chosen."""

from __future__ import annotations

import base64
import hashlib
import json
import threading
from collections import OrderedDict
from typing import Any
from urllib.parse import urlencode

from flask import Blueprint, Response, current_app, flash, redirect, render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict
from werkzeug.exceptions import RequestEntityTooLarge

from fillbook.labels import layout, logos, preview
from fillbook.labels.faces import own_face
from fillbook.trace.book import queries
from fillbook.trace.core import labelling
from fillbook.trace.core.errors import Nonsense, ShopError, UnknownItem
from fillbook.trace.web import here, trouble
from fillbook.trace.web.forms import Form
from fillbook.trace.web.inputs import OPTION_WORDS
from fillbook.trace.work import acting

bp = Blueprint("faces", __name__)
SLOTS = 9  # facts at most, on the largest label
GREYS = (
    2  # a label printer prints black or nothing; so the picture is what comes out of it, and light to send
)
DRAFTS = 12  # logos kept that nobody saved yet
PICTURES = 200  # drawn faces kept, some 8 kB each
VALUES = {
    "sample": "usual values", "longest": "longest values", "accents": "accents and other letters", "right to left": "right to left",
    "not known yet": "not known yet",
}  # fmt: skip
_LOCK = threading.Lock()


def slug(face: str) -> str:
    return face.replace(" ", "-")


def _face(name: str) -> str:
    face = name.replace("-", " ")
    if face not in labelling.LABELS:
        raise UnknownItem(
            f"There is no label called {face!r}: take one of {', '.join(labelling.LABELS)}.", field="face"
        )
    return face


# -- logos that nobody saved yet -----------------------------------------------------------------------------------------------
def _drafts() -> OrderedDict[str, bytes]:
    found: OrderedDict[str, bytes] = current_app.extensions.setdefault("fillbook logos", OrderedDict())
    return found


def _keep(data: bytes) -> str:
    """Keep a logo for the while that somebody looks at it; its digest."""
    logos.checked(data)
    digest = hashlib.sha256(data).hexdigest()
    with _LOCK:
        drafts = _drafts()
        drafts[digest] = data
        drafts.move_to_end(digest)
        while len(drafts) > DRAFTS:
            drafts.popitem(last=False)
    return digest


def _logo(digest: str) -> bytes:
    """A logo somebody just sent, or one the shop has on a label. Raises Nonsense where it is gone."""
    if not digest:
        return b""
    with _LOCK:
        draft = _drafts().get(digest)
    if draft:
        return draft
    book = here.book()
    if book.value("SELECT 1 FROM face_set WHERE shop = ? AND logo = ? LIMIT 1", here.shop(), digest):
        return bytes(book.value("SELECT bytes FROM blob WHERE digest = ?", digest))
    raise Nonsense("The logo is not here any more: choose its file again.", field="logo")


# -- the form ------------------------------------------------------------------------------------------------------------------
class FaceForm(Form):
    """A label's face as a page asks it: facts one by one, a second word for each, a logo that stays once it was sent."""

    def __init__(self, face: str) -> None:
        super().__init__(
            "adjust face", fixed={"face": face}, action=f"/labels/faces/{slug(face)}", button="Use this face"
        )
        self.face = face
        self.about = []
        self.values = "sample"
        self.logo_wrong: ShopError | None = None
        self.language = queries.language(here.book(), here.shop())
        row = queries.face_set(here.book(), here.shop(), face)
        self.size, self.facts, self.words, self.logo = labelling.USUAL, [], {}, ""
        if row:
            self.size, self.logo = row.size, row.logo
            self.facts, self.words = json.loads(row.facts), json.loads(row.words)

    def take(self, said: MultiDict) -> None:
        super().take(said)
        self.size = said.get("size", labelling.USUAL)
        self.facts = [name for n in range(1, SLOTS + 1) if (name := said.get(f"fact-{n}", ""))]
        self.words = {name: word for name in self.names if (word := said.get(f"word-{name}", "").strip())}
        self.values = said.get("values", "sample") if said.get("values") in VALUES else "sample"
        self.logo = "" if said.get("logo_off") else said.get("logo_kept", "")
        try:
            upload = request.files.get("logo")
            if upload is not None and upload.filename:
                data = upload.read()
                if len(data) > labelling.LARGEST_LOGO:
                    raise Nonsense(
                        f"The logo is {len(data) / 1e6:.1f} MB; at most {labelling.LARGEST_LOGO / 1e6:.0f} MB are taken. "
                        "Save it smaller: it is printed 27 mm (1.1 in) wide.",
                        field="logo",
                    )
                self.logo = _keep(data)
        except ShopError as wrong:
            self.logo_wrong = wrong

    @property
    def names(self) -> tuple[str, ...]:
        """What may have a second word."""
        kind = labelling.LABELS[self.face]
        side = (*labelling.SUBSTANCES, "side") if self.face == "tote label" else ()
        return (*side, *kind.facts, *kind.more)

    @property
    def may(self) -> list[str]:
        """The facts this label can have."""
        return [*labelling.LABELS[self.face].facts, *labelling.LABELS[self.face].more]

    def chosen(self) -> dict[str, Any]:
        """What the face is made of. Raises Nonsense for what cannot be had."""
        if self.logo_wrong is not None:
            raise self.logo_wrong
        if self.logo:
            labelling.check_face(self.face, self.size, self.facts, self.words)
            labelling.check_logo(self.face, self.size)
        return {"size": self.size, "facts": self.facts, "words": self.words, "logo": _logo(self.logo)}

    def read(self) -> acting.Action:
        chosen = self.chosen()
        own_face(self.face, **chosen)
        self.said.setlist("facts", list(self.facts))
        self.said.setlist("words", [f"{name}={word}" for name, word in self.words.items()])
        action = super().read()
        action.fields.pop("logo", None)
        if chosen["logo"]:
            action.fields["logo"] = base64.b64encode(chosen["logo"]).decode()
        return action

    # -- what is shown ---------------------------------------------------------------------------------------------------------
    def look(self) -> dict[str, Any]:
        """The preview: addresses of its pictures, what whoever chooses should know, or what is wrong."""
        try:
            chosen = self.chosen()
            tried = {"values": preview.VALUES[self.values], "language": self.language, **chosen}
            label = preview.sample_label(self.face, **tried)
            notes = layout.notes([label])  # lays it out as for its picture, which a request of its own draws
        except ShopError as wrong:
            return {"wrong": str(wrong), "pictures": [], "notes": []}
        face = label.own
        assert face is not None
        sides = ("front", "back")[: len(face.pages)] if len(face.pages) > 1 else ("",)
        return {
            "wrong": "", "notes": notes, "width": face.width, "height": face.height, "keeps": self.logo,
            "pictures": [(side, self.picture(page=n)) for n, side in enumerate(sides)],
        }  # fmt: skip

    @property
    def shape(self) -> tuple[int, int]:
        """Width and height in tenths of a millimetre, so that a page keeps the room for a picture not yet there."""
        face = own_face(self.face, self.size)
        return round(face.width * 10), round(face.height * 10)

    def picture(self, **more: Any) -> str:
        """The address of the face's picture."""
        more = {"language": "" if self.language == "en" else self.language, **more}
        said = [("face", self.face), ("size", self.size), ("values", self.values), ("logo", self.logo)]
        said += [("fact", name) for name in self.facts] + [
            ("word", f"{k}={v}") for k, v in self.words.items()
        ]
        return "/labels/face.png?" + urlencode(
            [(k, v) for k, v in {**dict(said[:4]), **more}.items() if v != ""] + said[4:]
        )


# -- the pages -----------------------------------------------------------------------------------------------------------------
@bp.get("/labels/faces")
def faces() -> str:
    return render_template(
        "labels/faces.html",
        forms=[FaceForm(face) for face in labelling.LABELS],
        slug=slug,
        spoken=OPTION_WORDS["language"][queries.language(here.book(), here.shop())],
    )


@bp.get("/labels/faces/<face>")
def face(face: str) -> ResponseReturnValue:
    form = FaceForm(_face(face))
    if request.args.get("size") in (labelling.USUAL, *labelling.SIZES):
        form.size = request.args["size"]
    return _page(form)


def _page(form: FaceForm, part: bool = False) -> ResponseReturnValue:
    look = form.look()
    if form.error is None and look["wrong"]:
        form.error = Nonsense(look["wrong"])
    sizes = (labelling.USUAL, *labelling.SIZES)
    return render_template(
        "labels/face_look.html" if part else "labels/face.html", form=form, look=look, sizes=sizes, all_facts=labelling.FACTS,
        rooms={size: _room(form.face, size) for size in sizes}, slots=range(1, SLOTS + 1), values=VALUES, slug=slug(form.face),
        most=labelling.LARGEST_LOGO, kind=labelling.LABELS[form.face], focus_form=False,
        every=[(size, "/labels/face.png?" + urlencode({"face": form.face, "size": size, "values": form.values, "language": form.language, "small": 1})) for size in sizes],
    ), 200 if part else form.status  # fmt: skip


def _room(face: str, size: str) -> int:
    return labelling.USUAL_ROOM[face] if size == labelling.USUAL else labelling.SIZES[size].room


@bp.post("/labels/faces/<face>/look")
def look(face: str) -> ResponseReturnValue:
    """What the face would be, a moment after something was changed; nothing is written."""
    form = FaceForm(_face(face))
    form.take(request.form)
    return _page(form, part=True)


@bp.post("/labels/faces/<face>/show")
def show(face: str) -> ResponseReturnValue:
    """The same for a browser that runs no script: the whole page again."""
    form = FaceForm(_face(face))
    form.take(request.form)
    return _page(form)


@bp.post("/labels/faces/<face>")
def adjust(face: str) -> ResponseReturnValue:
    form = FaceForm(_face(face))
    form.take(request.form)  # once: a file that was sent can be read but once
    try:
        answer = form.act()
    except ShopError as wrong:
        form.refuse(wrong)
        return _page(form)
    form.done(answer)
    flash(f"The {form.face} has this face from now on: labels printed before stay as they are.", "go")
    return redirect(f"/labels/faces/{slug(form.face)}", 303)


@bp.get("/labels/face.png")
def picture() -> Response:
    """A face as a picture, of the choices in the address."""
    args = request.args
    face = _face(args.get("face", ""))
    values = preview.VALUES.get(args.get("values", ""), preview.SAMPLE)
    host = queries.shop_row(here.book(), here.shop()).host or "FILLBOOK.LOCAL"
    logo = args.get("logo", "")
    chosen = _logo(logo)  # also where the picture is kept: a logo that is gone is said to be
    key = (
        face, args.get("size", labelling.USUAL), tuple(args.getlist("fact")), tuple(args.getlist("word")), logo, host, args.get("values", ""),
        args.get("page", "0"), bool(args.get("small")), args.get("language", "en"),
    )  # fmt: skip
    made = _drawn().get(key)
    if made is None:
        made, _ = preview.face_png(
            face, args.get("size", labelling.USUAL), args.getlist("fact"), labelling.words_of(args.getlist("word")),
            chosen, host=host, values=values, page=here.number(args.get("page", "0")) or 0, greys=GREYS,
            shrink=2 if args.get("small") else 1, language=args.get("language", "en"),
        )  # fmt: skip
        with _LOCK:
            drawn = _drawn()
            drawn[key] = made
            while len(drawn) > PICTURES:
                drawn.popitem(last=False)
    answer = Response(made, mimetype="image/png")
    answer.headers["Cache-Control"] = "private, max-age=600"
    answer.set_etag(hashlib.sha256(made).hexdigest()[:20])
    return answer.make_conditional(request)


def _drawn() -> OrderedDict[tuple[Any, ...], bytes]:
    """The pictures drawn last, by everything that determines them."""
    found: OrderedDict[tuple[Any, ...], bytes] = current_app.extensions.setdefault(
        "fillbook faces", OrderedDict()
    )
    return found


@bp.errorhandler(RequestEntityTooLarge)
def too_large(_: RequestEntityTooLarge) -> ResponseReturnValue:
    return trouble.page(
        f"The logo is larger than {current_app.config['MAX_CONTENT_LENGTH'] // 1024**2} MB; at most "
        f"{labelling.LARGEST_LOGO / 1e6:.0f} MB is taken. Save it smaller: it is printed 27 mm (1.1 in) wide. Nothing was changed.",
        413,
    )
