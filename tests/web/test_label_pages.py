"""Faces chosen and seen before they are used, the paper trial, and the faces' own PDFs."""

import hashlib
import io
import json

import pytest
from PIL import Image

from fillbook.fixtures import draw_faces
from fillbook.labels import proof, rendering
from fillbook.labels.preview import VALUES
from fillbook.trace.book.replay import check_replay
from fillbook.trace.core.labelling import LABELS, SIZES, USUAL


def logo(width=120, height=60, kind="PNG"):
    out = io.BytesIO()
    Image.new("RGB", (width, height), "navy").save(out, kind)
    return out.getvalue()


def sent(data, name="logo.png"):
    return {"logo": (io.BytesIO(data), name)}


def post_large(web, path, fields, data):
    """Post a form with a large file; its body written here, as the test client leaves a temporary file open for one."""
    parts = [
        f'--x\r\nContent-Disposition: form-data; name="{k}"\r\n\r\n{v}\r\n'
        for k, values in fields.items()
        for v in values
    ]
    parts.append(
        '--x\r\nContent-Disposition: form-data; name="logo"; filename="logo.png"\r\nContent-Type: image/png\r\n\r\n'
    )
    body = "".join(parts).encode() + data + b"\r\n--x--\r\n"
    return web.client.post(path, data=body, content_type="multipart/form-data; boundary=x", buffered=True)


def face_form(web, face="tote-label"):
    return web.form(f"/labels/faces/{face}")


def look_at(web, form, files=None, path="/look", **typed):
    """What the preview says while something is changed, and the addresses of its pictures."""
    said = form.filled(**{name.replace("__", " "): value for name, value in typed.items()})
    answer = web.client.post(
        form.action + path, data={**said, **(files or {})}, content_type="multipart/form-data", buffered=True
    )
    page = answer.get_data(as_text=True)
    from html import unescape

    pictures = [unescape(part.split('"')[0]) for part in page.split('<img src="')[1:]]
    return answer, web.words(answer), pictures


def picture(web, address):
    answer = web.get(address)
    assert answer.mimetype == "image/png" and "max-age" in answer.headers["Cache-Control"]
    return Image.open(io.BytesIO(answer.data)).convert("L")


# -- looking ---------------------------------------------------------------------------------------------------------------------
def test_every_face_is_shown_as_it_is_printed_now(web):
    page = web.get("/labels/faces").get_data(as_text=True)
    for face in LABELS:
        assert f"/labels/faces/{face.replace(' ', '-')}" in page
    assert page.count("<img ") == len(LABELS)


@pytest.mark.parametrize("face", LABELS)
def test_a_face_reads_from_its_picture_in_every_size(web, face):
    for size in (USUAL, *SIZES):
        seen = picture(web, f"/labels/face.png?face={face}&size={size.replace(' ', '+')}")
        read = set(proof._texts(seen))
        assert any(text.startswith("BH" + LABELS[face].letter) for text in read), (face, size)


def test_the_preview_follows_what_is_changed_and_writes_nothing(web):
    before = web.head()
    form = face_form(web)
    _, words, pictures = look_at(web, form, size="4x6 in", **{"fact-1": "use_by", "fact-2": "lot"})
    assert "101.6 by 152.4 mm" in words and len(pictures) == 1
    large = picture(web, pictures[0])
    _, _, small = look_at(web, form, size="2x1 in")
    assert large.size == (812, 1218) and picture(web, small[0]).size == (406, 203)
    _, _, other = look_at(web, form, size="4x6 in", **{"fact-1": "lot", "fact-2": "use_by"})
    assert picture(web, other[0]).tobytes() != large.tobytes()
    _, _, two = look_at(web, form, size="4x6 in", **{"fact-1": "use_by", "fact-2": "lot", "word-lot": "lote"})
    assert picture(web, two[0]).tobytes() != large.tobytes()
    assert web.head() == before


@pytest.mark.parametrize("values", VALUES)
def test_hard_values_are_tried_before_a_face_is_used(web, values):
    for face in LABELS:
        answer, words, pictures = look_at(web, face_form(web, face.replace(" ", "-")), values=values)
        assert answer.status_code == 200 and pictures and f"values={values.split()[0]}" in pictures[0]
    if values == "longest":
        _, words, _ = look_at(web, face_form(web), values=values)
        assert "is cut short" in words
    if values == "accents":
        _, words, _ = look_at(
            web, face_form(web, "batch-label"), size="4x6 in", values=values, **{"fact-1": "note"}
        )
        assert "fonts lack some of its letters" in words


def test_a_browser_without_script_shows_it_by_a_button(web):
    form = face_form(web)
    assert "" in form.buttons
    answer, words, pictures = look_at(web, form, path="/show", size="3x2 in", **{"fact-1": "system"})
    assert "<!doctype html>" in answer.get_data(as_text=True) and "76.2 by 50.8 mm" in words
    assert (
        '<option value="system" selected>' in answer.get_data(as_text=True) and "fact=system" in pictures[0]
    )


# -- choosing --------------------------------------------------------------------------------------------------------------------
def test_a_face_that_was_chosen_is_printed(web, names):
    form = face_form(web)
    web.send(form, size="3x2 in", **{"fact-1": "lot", "fact-2": "use_by", "word-lot": "lote"})
    said = web.last()
    assert (
        said["kind"] == "adjust face"
        and said["body"]["facts"] == ["lot", "use_by"]
        and said["body"]["words"] == {"lot": "lote"}
    )
    made = web.send(web.form(f"/labels?ids={names['spare_b']}", "/labels.pdf"), 200, why="new face").data
    assert next(rendering.rendered(made, 100)).size == (300, 200)
    again = face_form(web)
    assert (again.fields["size"], again.fields["fact-1"], again.fields["word-lot"]) == (
        ["3x2 in"],
        ["lot"],
        ["lote"],
    )


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"size": "9x9 in"}, 'No face fits the size "9x9 in"'),
        (
            {"size": "2x1 in", "fact-1": "lot", "fact-2": "system"},
            "2 facts are 1 too many for the 2x1 in tote label",
        ),
        ({"fact-1": "lot", "fact-2": "lot"}, "A fact is named twice"),
        ({"fact-1": "pressure"}, 'A tote label has no fact "pressure"'),
        ({"word-lot": "l" * 41}, "longer than 40 characters"),
    ],
)
def test_a_face_that_cannot_be_had_is_said_in_preview_and_refused(web, typed, words):
    before = web.head()
    _, said, pictures = look_at(web, face_form(web), **typed)
    assert words in said and not pictures
    answer = web.send(face_form(web), 422, **typed)
    assert words in web.words(answer) and web.head() == before


def test_a_hand_may_look_but_not_choose(web):
    web.choose("Sam")
    _, _, pictures = look_at(web, face_form(web), size="3x2 in")
    assert pictures
    before = web.head()
    assert web.send(face_form(web), 403, size="3x2 in").status_code == 403 and web.head() == before


# -- the logo ----------------------------------------------------------------------------------------------------------------------
def test_a_logo_is_seen_kept_and_printed(web):
    data = logo()
    form = face_form(web)
    _, _, without = look_at(web, form, size="3x2 in")
    answer, _, pictures = look_at(web, form, sent(data), size="3x2 in")
    digest = hashlib.sha256(data).hexdigest()
    assert f'data-kept="{digest}"' in answer.get_data(as_text=True)
    assert picture(web, pictures[0]).tobytes() != picture(web, without[0]).tobytes()
    web.send(form, size="3x2 in", logo_kept=digest)  # the file itself is not sent again
    assert web.last()["body"]["logo"] == digest
    assert web.book.value("SELECT bytes FROM blob WHERE digest = ?", digest) == data
    web.send(face_form(web), **{"fact-1": "lot"})  # and stays with the face when something else is changed
    assert web.last()["body"]["logo"] == digest and web.last()["body"]["facts"] == ["lot"]
    web.send(face_form(web), logo_off="yes")
    assert web.last()["body"]["logo"] == ""


def test_a_face_with_a_logo_is_corrected_without_sending_it_again(web):
    data = logo()
    web.send(face_form(web), size="3x2 in", files=sent(data))
    seq, digest = web.last()["seq"], hashlib.sha256(data).hexdigest()
    form = web.form(f"/book/{seq}")
    web.send(form, **{"new-facts": "use_by", "why": "the lot is on the drum"})
    body = web.last()["body"]["body"]
    assert body["logo"] == digest and body["facts"] == ["use_by"]
    row = web.book.one("SELECT * FROM face_set ORDER BY seq DESC")
    assert (row.logo, json.loads(row.facts), row.size) == (digest, ["use_by"], "3x2 in")
    assert check_replay(web.book) is None
    refused = web.client.post(
        "/do/adjust-face",
        data={
            **web.form("/do/adjust-face").filled(face="tote label", size="3x2 in"),
            "logo": f"sha256:{'0' * 64}",
        },
    )
    assert refused.status_code == 422  # a digest alone is no logo


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"GIF89a", "no picture that can be read"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 90, "no picture that can be read"),
        (b"%PDF-1.4", "no picture that can be read"),
    ],
)
def test_a_bad_logo_is_said(web, data, words):
    before = web.head()
    _, said, pictures = look_at(web, face_form(web), sent(data), size="3x2 in")
    assert words in said and not pictures
    answer = web.send(face_form(web), 422, files=sent(data), size="3x2 in")
    assert words in web.words(answer) and web.head() == before


def test_a_picture_of_more_pixels_than_a_logo_is_said(web):
    out = io.BytesIO()
    Image.new("1", (6000, 6000)).save(out, "PNG")
    _, said, _ = look_at(web, face_form(web), sent(out.getvalue()), size="3x2 in")
    assert "too many pixels" in said


def test_a_logo_of_a_hundred_megabytes_is_said(web):
    form = face_form(web)
    before = web.head()
    answer = post_large(web, form.action, form.filled(size="3x2 in"), b"\x89PNG" + b"\0" * 1_200_000)
    assert (
        answer.status_code == 422
        and "The logo is 1.2 MB; at most 1 MB are taken. Save it smaller" in web.words(answer)
    )
    answer = post_large(web, form.action, form.filled(size="3x2 in"), b"\x89PNG" + b"\0" * 100_000_000)
    assert web.head() == before
    assert answer.status_code == 413
    assert "The logo is larger than 24 MB; at most 1 MB is taken. Save it smaller" in web.said(answer)


def test_a_label_too_small_for_a_logo_is_said(web):
    _, said, pictures = look_at(web, face_form(web), sent(logo()), size="2x1 in")
    assert "has no room for a logo: take 3x2 in or larger" in said and not pictures


def test_a_logo_that_is_gone_is_asked_for_again(web):
    _, said, _ = look_at(web, face_form(web), size="3x2 in", logo_kept="f" * 64)
    assert "The logo is not here any more: choose its file again." in said


# -- what a label cannot carry -----------------------------------------------------------------------------------------------------
def test_an_address_too_long_for_the_symbol_is_said_by_how_much(web, names):
    web.book.execute(
        "UPDATE shop SET host = ?", ("A-VERY-LONG-NAME-OF-A-MACHINE-IN-THE-SHOP.FILLBOOK.LOCAL",)
    )
    answer = web.client.get(f"/labels?ids={names['spare_a']}")
    assert answer.status_code == 422
    assert "characters too long for its QR code, which holds 61" in web.said(answer)


def test_letters_no_font_has_are_said_before_printing(web):
    web.do("take in", customer="日本 Quarry", size="23.5-25", tires="1")
    item = web.last()["body"]["ids"][0]
    assert 'is printed as "¿¿ Quarry"' in web.words(web.get(f"/labels?ids={item}"))


# -- the paper trial ---------------------------------------------------------------------------------------------------------------
def trial_form(web):
    return web.form("/labels/trial")


def test_a_trial_is_kept_step_by_step(web, names):
    counts = {"tags": "10", "qr": "9", "bars": "10", "either": "10", "readable": "10"}
    answer = web.send(trial_form(web), stock="matt PP 76, resin", step="new", **counts)
    assert "step=48+h+in+the+zone" in answer.location and answer.location.endswith("#counts")
    web.send(
        web.form(answer.location.split("#")[0], "/labels/trial"),
        **{**counts, "qr": "6", "why": "corner scuffed"},
    )
    words = web.words(web.get("/labels/trial"))
    assert "9 of 10" in words and "6 of 10" in words and "corner scuffed" in words
    assert words.index("new9 of 10") < words.index("48 h in the zone6 of 10")
    sheet = web.form("/labels/trial", "/labels/trial.pdf")
    made = web.send(sheet, 200, tags_tried=f"{names['a']}\n{names['sent']}", page="a4").data
    assert rendering.page_count(made) >= 1 and made.startswith(b"%PDF")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"qr": "11"}, "tags can&#39;t be: count again"),
        ({"either": "3"}, "either read on"),
        ({"stock": " "}, "Stock and ribbon is missing"),
    ],
)
def test_counts_that_cannot_be_are_refused(web, typed, words):
    before = web.head()
    said = {
        "stock": "matt",
        "step": "soap",
        "tags": "10",
        "qr": "9",
        "bars": "9",
        "either": "9",
        "readable": "9",
        **typed,
    }
    assert words in web.said(web.send(trial_form(web), 422, **said)) and web.head() == before


def test_a_trial_sheet_names_tags_of_this_book(web):
    sheet = web.form("/labels/trial", "/labels/trial.pdf")
    assert "Say which tags are tried" in web.said(web.send(sheet, 422))
    assert web.send(sheet, 422, tags_tried="rubbish").status_code == 422


# -- the faces' own PDFs -----------------------------------------------------------------------------------------------------------
def test_the_faces_pdfs_are_as_the_program_draws_them(tmp_path):
    made = draw_faces.draw(tmp_path)
    kept = sorted(path.name for path in draw_faces.FACES.glob("*"))
    assert kept == sorted(path.name for path in made)
    for path in made:
        ours, theirs = (
            list(rendering.rendered(p.read_bytes(), 60)) for p in (path, draw_faces.FACES / path.name)
        )
        assert [p.size for p in ours] == [p.size for p in theirs], path.name
        assert all(a.tobytes() == b.tobytes() for a, b in zip(ours, theirs, strict=True)), (
            f"{path.name} has another drawing: python -m fillbook.fixtures.draw_faces makes it anew; look at it"
        )
    assert sum(path.stat().st_size for path in draw_faces.FACES.glob("*")) < 400_000


def test_the_faces_pdfs_show_every_label_in_every_size():
    shown = {label.own.name for labels in draw_faces.files().values() for label in labels}
    assert shown >= {*LABELS, *(f"{face} {size}" for face in LABELS for size in SIZES)}
