"""What is drawn once and kept: never for other words, another language, another choice, or a logo that is gone."""

import io

from markupsafe import Markup
from PIL import Image

from fillbook.labels import papers
from fillbook.labels.papers import Table, Typed
from fillbook.trace.book import sheets
from fillbook.trace.web.kept import kept
from fillbook.trace.web.labels import faces
from fillbook.trace.web.racks import morning

FACE = "/labels/face.png?face=tote+label&size=3x2+in"


# -- marks in a page -------------------------------------------------------------------------------------------------------------
def test_a_mark_is_drawn_once_for_each_argument_and_language(web):
    drawn = []

    def macro(word, where=""):
        drawn.append((word, where))
        return f"{word}·{where}"

    mark = kept(macro)
    with web.app.test_request_context("/", headers={"Accept-Language": "en"}):
        assert [mark("racked"), mark("racked"), mark("racked", where="back rack")] == [
            "racked·",
            "racked·",
            "racked·back rack",
        ]
        assert mark(Markup("racked")) == "racked·"  # markup is not escaped, text is: never one for the other
    assert len(drawn) == 3
    with web.app.test_request_context("/", headers={"Accept-Language": "es"}):
        mark("racked")
    assert len(drawn) == 4


def test_a_state_stands_in_the_language_of_each_reader(web):
    for language, word in (
        ("en", "dispatched"),
        ("es", "despachada"),
        ("en", "dispatched"),
        ("es", "despachada"),
    ):
        page = web.client.get("/lists/tires", headers={"Accept-Language": language}, buffered=True).text
        assert f"<span>{word}" in page, language


def test_what_somebody_typed_stays_text_in_a_mark(web):
    with web.book.transaction():
        web.book.execute(
            "UPDATE zone SET name = '<b>warm</b>' WHERE item = (SELECT place FROM place WHERE state = 'racked' LIMIT 1)"
        )
    page = web.get("/lists/tires?state=racked").text
    assert "&lt;b&gt;warm&lt;/b&gt;" in page and "<b>warm</b>" not in page


# -- faces -----------------------------------------------------------------------------------------------------------------------
def test_a_face_is_drawn_once_and_answered_from_then_on(web, monkeypatch):
    first = web.get(FACE)
    monkeypatch.setattr(faces.preview, "face_png", None)  # nothing is drawn any more
    again = web.get(FACE)
    assert again.data == first.data and again.headers["ETag"] == first.headers["ETag"]
    unchanged = web.client.get(FACE, headers={"If-None-Match": first.headers["ETag"]}, buffered=True)
    assert unchanged.status_code == 304 and not unchanged.data


def test_every_choice_has_a_picture_of_its_own(web):
    ways = ("", "&small=1", "&values=longest", "&fact=lot", "&fact=lot&fact=supplier", "&fact=supplier&fact=lot", "&word=lot%3Dlote&fact=lot",
            "&language=es")  # fmt: skip
    seen = [web.get(FACE + way).data for way in ways]
    assert len(set(seen)) == len(ways)
    assert [web.get(FACE + way).data for way in ways] == seen
    tag = [web.get(f"/labels/face.png?face=tire+tag&page={page}").data for page in (0, 1)]
    assert tag[0] != tag[1]


def test_a_kept_picture_is_not_shown_once_its_logo_is_gone(web):
    out = io.BytesIO()
    Image.new("RGB", (120, 60), "navy").save(out, "PNG")
    with web.app.app_context():
        digest = faces._keep(out.getvalue())
    with_logo = web.get(f"{FACE}&logo={digest}").data
    assert with_logo != web.get(FACE).data
    web.app.extensions["fillbook logos"].clear()
    assert "The logo is not here any more" in web.words(web.get(f"{FACE}&logo={digest}", status=422))


def test_only_so_many_pictures_are_kept(web, monkeypatch):
    monkeypatch.setattr(faces, "PICTURES", 2)
    for way in ("", "&fact=lot", "&fact=supplier"):
        web.get(FACE + way)
    assert len(web.app.extensions["fillbook faces"]) == 2


# -- papers ------------------------------------------------------------------------------------------------------------
def test_a_paper_is_drawn_once_for_all_that_stands_on_it():
    def drawn(line="None.", cell="None.", **how):
        table = Table(("Tire", "Cup"), [[cell, "none"]], (30, 40))
        return papers.paper(
            "Morning list", [line], [("Zones", table)], head="BH:1", **{"language": "es", **how}
        )

    ways = [{}, {"line": Typed("None.")}, {"cell": Typed("None.")}, {"cell": ["None.", "None."]}, {"cell": "none"}, {"page": "a4"},
            {"language": "en"}, {"wide": False}, {"sign": ("Checked by, name and time",)}]  # fmt: skip
    made = [drawn(**way) for way in ways]
    assert len(set(made)) == len(ways)
    assert all(drawn(**way) is one for way, one in zip(ways, made, strict=True))


def test_papers_kept_take_no_more_room_than_they_may(monkeypatch):
    monkeypatch.setattr(papers, "KEPT", 100_000)
    first = papers.paper("Day sheet", ["1"], [], head="BH:1")
    for n in range(2, 9):
        papers.paper("Day sheet", [str(n)], [], head="BH:1")
        assert sum(map(len, papers._DRAWN.values())) <= 100_000
    assert papers.paper("Day sheet", ["1"], [], head="BH:1") == first


def test_a_cell_without_markup_is_set_as_the_reader_of_markup_sets_it(monkeypatch):
    from reportlab.platypus import Paragraph

    rows = [
        ["BH-F26-00417-Y", "warm " * 40, "Győr"],
        ["  two  blanks ", "a & b <c>", ""],
        ["مصنع 12", ["One.", "Two."], "tab\there"],
    ]
    table = Table(("Tire", "What blocks it", "Zone"), rows, (40, 50, 60))
    quick = papers._drawn("T", ["u"], [("n", table)], "BH:1", (), True, "letter", "en")

    class Plain(Paragraph):  # what is handed over as set already is read like any other text
        def __init__(self, text, style, frags=None):
            super().__init__(frags[0].text if frags else text, style)

    monkeypatch.setattr("reportlab.platypus.Paragraph", Plain)
    assert papers._drawn("T", ["u"], [("n", table)], "BH:1", (), True, "letter", "en") == quick


def test_the_morning_list_is_drawn_anew_once_anything_on_it_changed(web, names):
    now, shop = names["now"], web.book.shops()[0]
    first = morning.morning_list_pdf(web.book, shop, now)
    assert morning.morning_list_pdf(web.book, shop, now) is first
    assert morning.morning_list_pdf(web.book, shop, now + 3600) != first
    assert morning.morning_list_pdf(web.book, shop, now, "a4") != first
    before = sheets.morning_list(web.book, shop, now)
    with web.book.transaction():
        web.book.execute("UPDATE tire SET customer = 'Fenland Recycling'")
    assert sheets.morning_list(web.book, shop, now) != before
    assert morning.morning_list_pdf(web.book, shop, now) != first


# -- pages after an event ----------------------------------------------------------------------------------------------------------
def test_a_page_says_at_once_what_an_event_changed(web):
    form = web.form("/do/take-in")
    count = web.book.value("SELECT count(*) FROM place WHERE state = 'taken in'")
    assert f"taken in: </span>{count}<" in web.get("/").text or count == 0
    unprinted = web.words(web.get("/labels"))
    web.send(form, customer="Quarry Nine", size="23.5-25", rating_pa="75", target_pa="60")
    assert f"taken in: </span>{count + 1}<" in web.get("/").text
    assert web.words(web.get("/labels")) != unprinted
