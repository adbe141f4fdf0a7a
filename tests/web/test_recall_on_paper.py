"""A recall is worked by people who have no more than the tire before them: its size, its unit, its serials, from a file or from paper."""

import csv
import io

import pytest

from fillbook.trace.book import many_tires, recalls
from fillbook.trace.book.opening import Book
from fillbook.trace.core import ids, times

FOUND_BY = ("customer", "site", "unit", "position", "size", "tire_serial", "wheel_serial", "service_number")


def sheet(web, path):
    return list(csv.DictReader(io.StringIO(web.get(path).get_data(as_text=True))))


def expected(book, code):
    """What a tire is found by, read one by one from the facts themselves."""
    tire = book.one("SELECT * FROM tire WHERE item = ?", code)
    sent = [at for (at,) in book.tuples("SELECT at FROM dispatch WHERE item = ? ORDER BY at", code)]
    return {
        "customer": tire.customer, "site": tire.site, "unit": tire.unit, "position": tire.position, "size": tire.size,
        "tire_serial": tire.serial, "wheel_serial": tire.wheel_serial, "service_number": ids.service_number(code),
        "dispatched": times.utc_text(sent[-1]) if sent else "",
    }  # fmt: skip


def test_the_file_for_a_spreadsheet_says_what_each_tire_is_found_by(web):
    rows = sheet(web, "/recall.csv?suspect=B-11")
    assert rows and any(row["dispatched_utc"] for row in rows) and any(row["tire_serial"] for row in rows)
    for row in rows:
        known = expected(web.book, ids.read(row["tire"]))
        assert {name: row[name] for name in FOUND_BY} == {name: known[name] for name in FOUND_BY}
        assert row["dispatched_utc"] == known["dispatched"]


def test_the_file_for_a_program_says_the_same(web):
    found = web.get("/recall.json?suspect=B-11").get_json()["items"]
    assert found
    for one in found:
        assert one["tire"] == expected(web.book, ids.read(one["id"]))
    again = web.get("/recall?suspect=B-11")  # what is kept of the recall was not written into
    assert again.status_code == 200 and recalls.recall(web.book, "BH", "B-11")["items"][0].keys() >= {"id"}


def test_the_command_writes_the_same_columns(web):
    found = recalls.recall(web.book, "BH", "B-11")
    rows = list(csv.DictReader(io.StringIO(recalls.recall_csv(found, web.book))))
    assert [row["size"] for row in rows] == [
        expected(web.book, ids.read(one["id"]))["size"] for one in found["items"]
    ]
    assert all(row["service_number"] and row["serials"] is not None for row in rows)


def test_all_tires_are_read_together(web, monkeypatch):
    tires = [code for (code,) in web.book.tuples("SELECT item FROM tire")]
    asked = []
    read = Book.tuples
    monkeypatch.setattr(Book, "tuples", lambda book, sql, *said: asked.append(sql) or read(book, sql, *said))
    assert len(many_tires.found_by(web.book, tires)) == len(tires) > 4
    assert len(asked) == 2


def test_a_tire_the_book_never_took_in_still_has_its_service_number(web):
    tire = ids.mint("BH", "F", 2026, 99_999)
    found = many_tires.found_by(web.book, [tire])[tire]
    assert {name for name, value in found.items() if value} == {"service_number"}


def test_a_page_says_size_and_unit(web, names):
    words = web.words(web.get("/recall?suspect=B-11"))
    assert "Size and unit" in words and "23.5-25" in words and "L-0" in words
    assert "26.5-25" in web.words(web.get(f"/recall/{names['recall']}"))


def test_an_opened_recall_is_had_as_a_file_with_its_outcomes(web, names):
    path = f"/recall/{names['recall']}"
    assert f'href="{path}.csv"' in web.get(path).get_data(as_text=True)
    rows = sheet(web, f"{path}.csv")
    frozen = recalls.frozen(web.book, "BH", names["recall"])["body"]["frozen"]["items"]
    assert [ids.read(row["tire"]) for row in rows] == [one["item"] for one in frozen]
    assert [int(row["grams_best"]) for row in rows] == [one["grams"][1] for one in frozen]
    for row in rows:
        assert {name: row[name] for name in FOUND_BY} == {
            name: expected(web.book, ids.read(row["tire"]))[name] for name in FOUND_BY
        }
    assert {row["outcome"] for row in rows} == {"", "cut out"} and {
        row["listed_when_opened"] for row in rows
    } == {"yes"}
    web.get("/recall/1.csv", status=404)


def test_what_was_typed_is_no_formula_in_the_frozen_list_either(web, names):
    web.do("release", tire=names["cured"])
    web.do("dispatch", tires=names["cured"], to="=1+1")
    web.do("open recall", suspect="B-11", why="drum found open")
    opened = web.book.value("SELECT max(seq) FROM recall")
    text = web.get(f"/recall/{opened}.csv").get_data(as_text=True)
    assert "'=1+1" in text and ",=1+1" not in text


# -- what the numbers are of ------------------------------------------------------------------------------------------------------------
def test_weights_are_said_to_be_of_the_fill_as_recorded(web, names):
    clause = "the shares hold whatever it truly weighed"
    for path in ("/recall?suspect=B-11", "/recall/how-sure?suspect=B-11", f"/recall/{names['recall']}"):
        assert clause in web.words(web.get(path)), path
    assert "Of the fills as recorded" in web.words(web.get("/recall/how-sure?suspect=B-11"))


def test_bounds_that_meet_are_one_number(web):
    found = recalls.recall(web.book, "BH", "B-11")["items"]
    alike = [one for one in found if one["grams"]["least"] == one["grams"]["most"]]
    apart = [one for one in found if one["grams"]["most"] - one["grams"]["least"] > 1000]
    assert alike and apart
    text = web.get("/recall?suspect=B-11").get_data(as_text=True)
    rows = {
        one["id"]: next(row for row in text.split("<tr>") if one["id"] in row)
        for one in found
        if one["id"] in text
    }
    for one in alike:
        assert rows[one["id"]].count(" lb") == 1 and "least to most" not in rows[one["id"]]
    for one in apart:
        assert rows[one["id"]].count(" lb") == 3


# -- a defect of setting, and a recall that lists nothing -----------------------------------------------------------------------------
def test_of_a_defect_of_setting_no_threshold_is_named(web):
    words = web.words(web.get("/recall?suspect=B-11&defect=setting"))
    assert (
        "only what went in straight is looked at" in words and "on where it came through regrind" not in words
    )
    assert "on where it came through regrind" in web.words(web.get("/recall?suspect=B-11"))


def test_a_recall_without_tires_says_so_when_it_is_closed(web, names):
    web.do(
        "receive",
        supplier="Northvale",
        lot="B-99",
        side="B",
        system="RX-30",
        totes="1",
        net_g="2204",
        net_g__unit="lb",
    )
    web.do("open recall", suspect="B-99", defect="setting", why="drum found open")
    seq = web.last()["seq"]
    words = web.words(web.get(f"/recall/{seq}/close"))
    assert "No tire is listed, so none needs an outcome." in words and "Every listed tire" not in words
    assert "not looked at" in web.words(web.get(f"/recall/{seq}"))


# -- a stop that is known is overridden without a refusal first ---------------------------------------------------------------------------
def test_the_reason_to_override_is_asked_at_once_where_something_stops_it(web, names):
    def fields(path, action):
        return web.form(path, action).fields

    for tire in (names["held"],):
        assert "override" in fields(f"/desk/{tire}", f"/desk/{tire}")
    assert "override" not in fields(f"/desk/{names['cured']}", f"/desk/{names['cured']}")
    close = f"/recall/{names['recall']}/close"
    assert "override" in fields(close, close)
    web.send(web.form(close), note="all called", override="the quarry keeps them and knows")
    assert web.last()["kind"] == "close recall"


# -- what was written down is said back --------------------------------------------------------------------------------------------------
def test_what_was_cleaned_and_booked_in_is_said_back(web, names):
    web.send(web.form("/do/clean"), line=names["line_2"], parts="side A")
    said = web.words(web.get(f"/cage/{names['line_2']}"))
    assert f"line 2 clean (flushed): side A; written down as event {web.head()}." in said
    web.do(
        "receive",
        supplier="Northvale",
        lot="NB-3000",
        side="B",
        system="RX-30",
        totes="4",
        net_g="2204",
        net_g__unit="lb",
    )
    said = web.words(web.get("/"))
    assert f"4 totes of NB-3000 booked in as event {web.head()}: BH-L" in said and "and 1 more." in said


def test_the_racks_say_once_a_tire_why_there_is_no_forecast(web, names, clock):
    clock.now += 4 * 3600  # the logger has sent nothing since
    text = web.get("/racks").get_data(as_text=True)
    row = next(part for part in text.split("<tr ") if f'data-row="{names["held"]}"' in part).split("</tr>")[0]
    assert row.lower().count("logger of the zone is silent") == 1 and "Cured" in row


@pytest.mark.parametrize("path", ["/recall?suspect=B-11", "/recall?suspect=B-11&tier=certain"])
def test_paper_has_the_head_of_the_journal(web, path):
    at = web.book.one("SELECT head_seq, head_hash FROM chain WHERE shop = 'BH'")
    assert f"Journal: BH:{at.head_seq}:{at.head_hash[:16]}, printed " in web.words(web.get(path))
