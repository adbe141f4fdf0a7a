"""The page *how sure are we?* of a recall, and the lines' weights it rests on."""

from __future__ import annotations

from fillbook.trace.book import how_sure, recalls, spans


def test_each_tier_says_its_sentence_with_this_recalls_numbers(web):
    said = how_sure.explain(web.book, "BH", recalls.recall(web.book, "BH", "B-11"))
    words = " ".join(web.read("/recall/how-sure?suspect=B-11").words.split())
    assert [one["tier"] for one in said["tiers"]] == [
        "certain",
        "possible",
        "through regrind",
        "not excluded",
        "traces",
    ]
    for one in (*(tier["sentence"] for tier in said["tiers"]), *said["rests_on"]):
        assert one in words
    assert said["tiers"][0]["count"] > 0


def test_the_list_leads_there_with_what_was_asked(web):
    for defect, said in (
        ("contamination", "a defect of contamination, from 2.00 % on where it came through regrind"),
        ("setting", "a defect of setting; only what went in straight is looked at"),
    ):
        page = web.read(f"/recall?suspect=B-11&defect={defect}&threshold_pct=2")
        (there,) = [a for a in page.addresses if a.startswith("/recall/how-sure")]
        assert said in web.read(there).words


def test_without_a_suspect_it_goes_back_to_ask(web):
    assert web.get("/recall/how-sure", status=303).location == "/recall"


def test_a_suspect_that_is_none_is_said(web):
    web.get("/recall/how-sure?suspect=nothing-like-it", status=404)


def test_the_lines_weights_stand_beside_what_the_fills_took(web):
    page = " ".join(web.read("/kilograms/lines?since=first").words.split())
    rows = [
        row
        for line in web.book.rows("SELECT item FROM line")
        for row in spans.table(web.book, "BH", line.item)
    ]
    assert rows
    for row in rows:
        assert (
            row["tote"] in page
            and f"{row['held_g'] / 453.59237:.1f} lb" in page
            and f"{row['drawn_g'] / 453.59237:.1f} lb" in page
        )


def test_lines_weights_from_lately_leave_out_what_ended_long_ago(web):
    (line, *_) = [row.item for row in web.book.rows("SELECT item FROM line")]
    whole = spans.table(web.book, "BH", line)
    assert spans.table(web.book, "BH", line, max(row["from"] for row in whole) + 1) == [
        row for row in whole if row["until"] is None
    ]
