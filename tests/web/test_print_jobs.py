"""Printing from the pages: a printer for each station, jobs that run on when the browser is closed, and what becomes of each label.

Against a real IPP printer (CUPS's ippeveprinter) where there is one, and a made-up one for its troubles (RFC 8011).
"""

import importlib.util
import json
import os
import re
import sys
import time
from dataclasses import replace

import pytest

from fillbook.labels import printing as printers
from fillbook.labels import proof
from fillbook.labels.pdf import make_pdf
from fillbook.trace.book import print_jobs
from fillbook.trace.core import ids
from fillbook.trace.core.errors import Nonsense
from fillbook.trace.web.app import create_app
from fillbook.trace.web.labels import jobs
from fillbook.trace.web.printing import labels_for


def loaded(name):
    """A module of the labels' tests: the made-up printer, and the fixture that starts the real one."""
    from pathlib import Path

    if f"{name}_for_pages" not in sys.modules:
        spec = importlib.util.spec_from_file_location(
            f"{name}_for_pages", Path(__file__).resolve().parent.parent / "labels" / f"{name}.py"
        )
        module = importlib.util.module_from_spec(spec)
        sys.modules[f"{name}_for_pages"] = module
        spec.loader.exec_module(module)
    return sys.modules[f"{name}_for_pages"]


real_printer = loaded("test_label_printing").real_printer
printed = loaded("test_label_printing").printed
free_port = loaded("test_label_printing").free_port
BUSY, FAULT = 0x0507, 0x0504  # RFC 8011, appendix B


@pytest.fixture
def fake():
    made = []

    def make(*args, **how):
        made.append(loaded("fake_ipp").FakePrinter(*args, **how))
        return made[-1]

    yield make
    for one in made:
        one.close()


def prints_at(web, printer, station="dock", dpi="203", status=303):
    """Choose the station's printer on its page."""
    return web.send(web.form("/labels/printers"), status, station=station, printer=printer, dpi=dpi)


def totes(web, many):
    """A truck: so many totes of one lot, and the page of their labels."""
    answer = web.send(
        web.form("/dock"),
        supplier="Northvale",
        lot=f"P-{many}",
        side="A",
        system="RX-30",
        totes=str(many),
        net_g="2204",
    )
    return answer.location


def codes_of(form):
    return form.fields["ids"]


def job_of(web, answer):
    assert re.fullmatch("/labels/jobs/[0-9a-f]{32}", answer.location)
    return answer.location


def ended(web, where):
    """The words of a job's page once it runs no more."""
    until = time.monotonic() + 20
    while time.monotonic() < until:
        page = web.get(where)
        if "data-again" not in page.get_data(as_text=True):
            return web.words(page)
        time.sleep(0.05)
    raise AssertionError("the job runs on")


def accepted(web, codes):
    """How often each label was written down as accepted."""
    rows = web.book.tuples("SELECT item, count(*) FROM print WHERE how = 'accepted' GROUP BY item")
    return [dict(rows).get(code, 0) for code in codes]


# -- a real printer ------------------------------------------------------------------------------------------------------------
def first_copies(web, codes):
    """The labels of *codes* as they were printed first; printed now, each would be a copy."""
    return [replace(label, copy=1) for label in labels_for(web.book, codes)]


def test_a_real_printer_gets_the_very_bytes_that_were_read_back(web, real_printer):
    uri, folder = real_printer
    prints_at(web, uri)
    before = len(printed(folder, 0))
    form = web.form(totes(web, 3), "/labels/send")
    codes = codes_of(form)
    words = ended(web, job_of(web, web.send(form)))
    assert "3 of 3 accepted" in words and "The printer took them all" in words
    assert accepted(web, codes) == [1, 1, 1]
    got = printed(folder, before + 3)[before:]
    assert sorted(got) == sorted(make_pdf([label]) for label in first_copies(web, codes))


def test_a_real_printer_has_no_queue_of_another_name(web, real_printer):
    prints_at(web, real_printer[0].replace("/ipp/print", "/ipp/elsewhere"))
    form = web.form(totes(web, 2), "/labels/send")
    words = ended(web, job_of(web, web.send(form)))
    assert "no queue of that name" in words and accepted(web, codes_of(form)) == [0, 0]


# -- jobs ----------------------------------------------------------------------------------------------------------------------
def test_more_than_twenty_labels_go_on_when_the_browser_is_closed(web, fake):
    made = fake()
    prints_at(web, made.uri)
    form = web.form(totes(web, 23), "/labels/send")
    where = job_of(web, web.send(form))
    other = web.app.test_client()  # the first browser is gone; another station looks
    until = time.monotonic() + 20
    while "data-again" in (page := other.get(where).get_data(as_text=True)) and time.monotonic() < until:
        time.sleep(0.05)
    assert "23 of 23" in page and len(made.documents) == 23
    assert accepted(web, codes_of(form)) == [1] * 23
    listed = other.get("/labels").get_data(as_text=True)
    assert where in listed


def test_a_page_without_script_asks_again_by_itself(web, fake):
    prints_at(web, fake([BUSY] * 10_000).uri)
    where = job_of(web, web.send(web.form(totes(web, 21), "/labels/send")))
    page = web.get(where).get_data(as_text=True)
    assert '<noscript><meta http-equiv="refresh" content="2"></noscript>' in page and "0 of 21" in page
    stop = next(f for f in web.read(where).forms if f.action.endswith("/stop"))
    web.send(stop)
    assert jobs.BY_HAND in ended(web, where)


def test_a_job_that_fails_half_way_sends_only_the_rest(web, fake):
    broken = fake([0] * 7 + [FAULT])
    prints_at(web, broken.uri)
    form = web.form(totes(web, 22), "/labels/send")
    codes = codes_of(form)
    where = job_of(web, web.send(form))
    words = ended(web, where)
    assert (
        "7 of 22" in words
        and "Stopped after 7 of 22; 15 were not accepted" in words
        and "fault of its own" in words
    )
    assert ids.pretty(codes[7]) in words and ids.pretty(codes[6]) not in words
    assert accepted(web, codes) == [1] * 7 + [0] * 15
    failed = json.loads(web.book.value("SELECT text FROM event WHERE kind = 'print failed'"))["body"]["said"]
    assert failed["items"] == codes[7:] and "fault of its own" in failed["trouble"]
    good = fake()
    prints_at(web, good.uri)
    again = next(f for f in web.read(where).forms if f.action == "/labels/send")
    assert codes_of(again) == codes[7:]
    assert "15 of 15" in ended(web, job_of(web, web.send(again)))
    assert len(good.documents) == 15 and accepted(web, codes) == [1] * 22


def test_what_no_printer_took_is_offered_again_on_the_page_of_labels(web, fake):
    prints_at(web, fake([FAULT]).uri)
    form = web.form(totes(web, 2), "/labels/send")
    ended(web, job_of(web, web.send(form)))
    assert "2 labels were not accepted by a printer" in web.words(web.get("/labels"))
    prints_at(web, fake().uri)
    again = web.form("/labels?unprinted=refused", "/labels/send")
    assert sorted(codes_of(again)) == sorted(codes_of(form))
    ended(web, job_of(web, web.send(again)))
    assert "not accepted by a printer" not in web.words(web.get("/labels"))


def test_a_program_that_ended_half_way_says_so_when_it_starts_again(web):
    form = web.form(totes(web, 22), "/labels.pdf")
    codes, job = codes_of(form), "0" * 32
    lee = web.book.value("SELECT item FROM person WHERE name = 'Lee'")
    print_jobs.begin(
        web.book, job, "BH", codes, asked_at=1, who=lee, station="dock", printer="lp:dock", dpi=203
    )
    assert print_jobs.goes_on(web.book, job, "sending", doubt=codes[5])
    print_jobs.count(web.book, job, 5)
    assert print_jobs.goes_on(web.book, job, "sending", doubt=codes[5])
    again = create_app(
        web.book.where, clock=web.app.extensions["fillbook"].clock, secret="x" * 40, testing=True
    )
    page = again.test_client().get(f"/labels/jobs/{job}").get_data(as_text=True)
    assert "Stopped after 5 of 22; 17 were not accepted" in page and print_jobs.ENDED in page
    assert "may have come out too" in page and ids.pretty(codes[5]) in page and "data-again" not in page
    assert not print_jobs.goes_on(web.book, job, "sending")  # a thread that is still there would end


def test_a_form_sent_twice_is_one_job(web, fake):
    made = fake()
    prints_at(web, made.uri)
    form = web.form(totes(web, 3), "/labels/send")
    first, second = job_of(web, web.send(form)), job_of(web, web.send(form, 303, why="sent twice"))
    assert first == second
    ended(web, first)
    assert len(made.documents) == 3 and accepted(web, codes_of(form)) == [1, 1, 1]


def test_a_label_the_book_does_not_take_stops_the_job_and_is_named(web, fake, monkeypatch):
    made = fake()
    prints_at(web, made.uri)
    form = web.form(totes(web, 3), "/labels/send")
    act, seen = jobs.acting.act, []

    def refusing(book, action, **how):
        if action.verb == "print" and action.fields["how"] == "accepted" and len(action.fields["items"]) == 1:
            seen.append(1)
            if len(seen) == 2:
                raise Nonsense("it was voided meanwhile.")
        return act(book, action, **how)

    monkeypatch.setattr(jobs.acting, "act", refusing)
    words = ended(web, job_of(web, web.send(form)))
    codes = codes_of(form)
    assert (
        f"The printer took the label of {ids.pretty(codes[1])}, but the book does not take the note" in words
    )
    assert "may have come out too" in words and accepted(web, codes) == [1, 0, 0]


# -- a printer's troubles, typed into the pages ----------------------------------------------------------------------------------
def test_a_printer_that_is_off_is_said(web):
    prints_at(web, f"ipp://127.0.0.1:{free_port()}/ipp/print")
    form = web.form(totes(web, 1), "/labels/send")
    words = ended(web, job_of(web, web.send(form)))
    assert "is the printer switched on" in words and accepted(web, codes_of(form)) == [0]


def test_a_printer_out_of_labels_is_said(web, fake):
    made = fake(reasons=("media-empty-error",), state=5)
    prints_at(web, made.uri)
    form = web.form(totes(web, 2), "/labels/send")
    words = ended(web, job_of(web, web.send(form)))
    assert "is out of labels: load a roll" in words and "0 of 2" in words
    assert not made.documents and accepted(web, codes_of(form)) == [0, 0]
    web.send(next(f for f in web.read("/labels/printers").forms if f.action.endswith("/look")))
    assert "is out of labels: load a roll" in web.words(web.get("/labels/printers"))


def test_a_busy_printer_is_asked_again(web, fake):
    made = fake([BUSY, BUSY, 0, BUSY])
    prints_at(web, made.uri)
    form = web.form(totes(web, 2), "/labels/send")
    assert "2 of 2" in ended(web, job_of(web, web.send(form))) and len(made.documents) == 2


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"printer": "dock printer"}, "is no printer: write browser, lp:QUEUE or ipp://HOST/ipp/print"),
        ({"printer": "lp:-o raw"}, "is no name of a queue"),
        ({"printer": "http://dock/"}, "is no printer"),
        ({"printer": "browser", "sheet": "letter:30x90"}, "No face fits the sheet"),
        ({"printer": "browser", "sheet": "napkin"}, "is no sheet"),
        ({"printer": "browser", "dpi": "96"}, "is no label printer we draw for"),
        ({"printer": "browser", "station": " "}, "Station is missing"),
    ],
)
def test_what_is_no_printer_is_refused_and_changes_nothing(web, typed, words):
    before = web.head()
    answer = web.send(web.form("/labels/printers"), 422, **{"station": "dock", "printer": "browser", **typed})
    assert words in web.said(answer) and web.head() == before


@pytest.fixture
def lp(tmp_path, monkeypatch):
    """An lp and an lpstat of our own in the path: the machine has the queue ``dock``, and refuses any other in CUPS's words."""
    (tmp_path / "lp").write_text(
        '#!/bin/sh\nif [ "$2" != dock ]; then echo "lp: The printer or class does not exist." >&2; exit 1; fi\n'
        f'cat > "{tmp_path}/$(ls "{tmp_path}" | grep -c pdf).pdf"\n'
    )
    (tmp_path / "lpstat").write_text("#!/bin/sh\necho dock\n")
    for name in ("lp", "lpstat"):
        (tmp_path / name).chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    return tmp_path


def test_the_systems_queue_is_offered_and_takes_the_labels(web, lp):
    assert "It has dock." in web.words(web.get("/labels/printers"))
    prints_at(web, "lp:dock", dpi="300")
    form = web.form(totes(web, 2), "/labels/send")
    assert "2 of 2 accepted" in ended(web, job_of(web, web.send(form)))
    codes = codes_of(form)
    assert [(lp / f"{n}.pdf").read_bytes() for n in range(2)] == [
        make_pdf([one], 300) for one in first_copies(web, codes)
    ]
    assert {row.printer for row in web.book.rows("SELECT printer FROM print WHERE how = 'accepted'")} == {
        "lp:dock"
    }


def test_a_queue_nobody_has_is_said_when_it_is_chosen_and_when_it_refuses(web, lp):
    prints_at(web, "lp:dokc")
    assert "This machine has no queue dokc now: it has dock." in web.words(web.get("/labels/printers"))
    form = web.form(totes(web, 1), "/labels/send")
    words = ended(web, job_of(web, web.send(form)))
    assert "The queue dokc did not take the label" in words and accepted(web, codes_of(form)) == [0]


# -- reprints --------------------------------------------------------------------------------------------------------------------
def test_a_reprint_wants_its_reason_before_anything_is_sent_and_shows_the_copy(web, names, fake):
    made = fake()
    prints_at(web, made.uri)
    form = web.form(f"/labels?ids={names['a']}", "/labels/send")
    assert "once; now copy 2" in web.words(web.get(f"/labels?ids={names['a']}"))
    before = web.head()
    assert "say why it is printed again" in web.said(web.send(form, 422))
    assert not made.asked and web.head() == before
    ended(web, job_of(web, web.send(form, why="scuffed")))
    row = web.book.one("SELECT copy, why, how FROM print WHERE item = ? ORDER BY seq DESC", names["a"])
    assert (row["copy"], row.why, row.how) == (2, "scuffed", "accepted")
    assert "2 times; now copy 3" in web.words(web.get(f"/labels?ids={names['a']}"))


def test_the_station_of_another_name_prints_from_the_browser(web, fake):
    prints_at(web, fake().uri)
    with web.client.session_transaction() as kept:
        assert kept["station"] == "dock"
        kept["station"] = "cage"
    assert web.form(totes(web, 1), "/labels.pdf")
    with web.client.session_transaction() as kept:
        kept["station"] = "DOCK"
    assert web.form("/labels?unprinted=L", "/labels/send")


# -- many labels in the browser --------------------------------------------------------------------------------------------------
def test_many_labels_for_the_browser_are_drawn_as_a_job_and_recorded_when_opened(web):
    form = web.form(totes(web, 21), "/labels.pdf")
    codes = codes_of(form)
    before = web.head()
    where = job_of(web, web.send(form))
    assert "21 of 21 drawn and read back" in ended(web, where) and web.head() == before
    opening = next(f for f in web.read(where).forms if f.action.endswith(".pdf"))
    answer = web.send(opening, 200)
    assert answer.mimetype == "application/pdf" and web.head() == before + 1
    assert [code in texts for code, texts in zip(codes, proof.read_back(answer.data), strict=True)] == [
        True
    ] * 21
    assert web.last()["kind"] == "print" and web.last()["body"]["said"]["how"] == "handed out"
    assert web.send(opening, 200).data == answer.data and web.head() == before + 1  # a second touch
    assert "All were handed out" in web.words(web.get(where))


def test_a_pdf_that_is_not_drawn_yet_is_not_handed_out(web):
    codes = codes_of(web.form(totes(web, 2), "/labels.pdf"))
    job = "1" * 32
    lee = web.book.value("SELECT item FROM person WHERE name = 'Lee'")
    print_jobs.begin(web.book, job, "BH", codes, asked_at=1, who=lee, station="", printer="browser", dpi=203)
    token = web.form(totes(web, 1), "/labels.pdf").fields["csrf_token"][0]
    before = web.head()
    answer = web.client.post(f"/labels/jobs/{job}.pdf", data={"csrf_token": token})
    assert answer.status_code == 422 and "not drawn yet" in web.said(answer) and web.head() == before


# -- sheets ----------------------------------------------------------------------------------------------------------------------
def test_labels_go_to_sheets_from_the_first_free_place(web):
    where = totes(web, 3)
    path = f"{where}&paper=a4&columns=2&rows=5&left=4,5&top=8&across=2&down=0"
    form = web.form(path, "/labels.pdf")
    assert form.fields["sheet"] == ["a4:2x5,margins=4.5x8,gaps=2x0"] and len(form.offered["start"]) == 10
    answer = web.send(form, 200, start="9")
    pages = proof.read_back(answer.data, 300)
    codes = codes_of(form)
    assert [sum(code in page for code in codes) for page in pages] == [2, 1]
    assert web.last()["body"]["said"]["how"] == "handed out"


@pytest.mark.parametrize(
    ("sheet", "words"),
    [
        ("paper=letter&columns=9&rows=9", "No face fits the sheet"),
        ("paper=letter&columns=many&rows=9", "is no sheet"),
        ("paper=quarto&columns=2&rows=2", "is no paper we know"),
        ("paper=letter&columns=2&rows=2&left=400", "No face fits the sheet"),
    ],
)
def test_a_sheet_no_face_fits_is_said(web, names, sheet, words):
    page = web.get(f"/labels?ids={names['a']}&{sheet}", 422)
    assert words in web.said(page)


def test_a_place_that_is_not_on_the_sheet_is_said(web, names):
    form = web.form(f"/labels?ids={names['b']}&paper=letter&columns=2&rows=5", "/labels.pdf")
    before = web.head()
    answer = web.send(form, 422, start="11", why="again")
    assert "places 1 to 10" in web.said(answer) and web.head() == before


def test_a_smaller_place_takes_a_smaller_face_and_says_so(web):
    assert "its 2x1 in face is printed" in web.words(
        web.get(f"{totes(web, 1)}&paper=letter&columns=3&rows=10")
    )


def test_many_labels_go_to_sheets_as_a_job(web):
    form = web.form(f"{totes(web, 25)}&paper=letter&columns=3&rows=10", "/labels.pdf")
    where = job_of(web, web.send(form, start="4"))
    assert "25 of 25" in ended(web, where)
    made = web.send(next(f for f in web.read(where).forms if f.action.endswith(".pdf")), 200).data
    assert [len(page) for page in proof.read_back(made, 300)] == [2 * 25]


# -- side rows -------------------------------------------------------------------------------------------------------------------
def test_old_jobs_go_and_nothing_of_them_is_evidence(web):
    lee = web.book.value("SELECT item FROM person WHERE name = 'Lee'")
    for n in range(print_jobs.KEPT + 5):
        print_jobs.begin(
            web.book, f"{n:032x}", "BH", ["x"], asked_at=n, who=lee, station="", printer="browser", dpi=203
        )
    assert web.book.value("SELECT count(*) FROM print_job") == print_jobs.KEPT
    assert web.book.value("SELECT min(asked_at) FROM print_job") == 6
    from fillbook.trace.book.replay import check_replay

    assert check_replay(web.book) is None


def test_jobs_of_one_printer_follow_one_another(web, fake):
    made = fake()
    prints_at(web, made.uri)
    with jobs._ONE_AT_A_TIME[made.uri]:
        form = web.form(totes(web, 21), "/labels/send")
        where = job_of(web, web.send(form))
        time.sleep(0.2)
        assert "waiting for another job" in web.words(web.get(where)) and made.asked == 0
    assert "21 of 21" in ended(web, where)


def test_a_job_nobody_has_is_said(web):
    assert "no such print job" in web.said(web.get("/labels/jobs/nothing", 404))


def test_up_to_twenty_labels_are_opened_at_once(web):
    assert printers.MANY == 20
    assert web.send(web.form(totes(web, 20), "/labels.pdf"), 200).mimetype == "application/pdf"
