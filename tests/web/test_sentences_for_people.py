"""Sentences say what is there in the reader's own words: one tire is no tires, what came off is named, Spanish words are taken, too."""

from __future__ import annotations

import json
import re

import pytest

from fillbook.trace.book import glance
from fillbook.trace.core import ids, times


@pytest.fixture
def spanish(web):
    web.send(web.form("/preferences"), language="es")
    return web


def silent(web, names):
    now = names["now"] + 400 * 86_400
    return [
        one.words for one in glance.alerts(web.book, "BH", now) if one.words.startswith("No logger sample")
    ]


def test_one_tire_earns_and_several_earn(web, names):
    racked = [
        row["item"]
        for row in web.book.rows("SELECT item FROM place WHERE state = 'racked' AND place = ?", names["zone"])
    ]
    assert len(racked) > 1
    assert any(f"{len(racked)} tires lie there and earn no hours." in words for words in silent(web, names))
    for tire in racked[1:]:
        web.book.execute("UPDATE place SET place = ? WHERE item = ?", [names["zone_2"], tire])
    assert any("1 tire lies there and earns no hours." in words for words in silent(web, names))


def test_a_long_silence_is_said_in_days(web, names):
    assert silent(web, names) and all(
        " days; " in words and " h " not in words for words in silent(web, names)
    )


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, "0 h 00 min"),
        (172_799, "47 h 59 min"),
        (172_800, "2 days"),
        (729 * 86_400, "729 days"),
        (730 * 86_400, "2 years"),
    ],
)
def test_a_length_of_time_is_said_in_the_largest_unit_that_fits(seconds, words):
    assert times.lasting(seconds) == words


def test_hooking_up_says_which_tote_came_off(web, names):
    answer = web.do("hook up", line=names["line"], tote=ids.pretty(names["spare_a"]), change="changed early")
    event = web.last()
    off = ids.pretty(event["body"]["before"])
    assert f"{off} came off, with a rest in it" in web.words(web.get(answer.location))
    assert re.search(f"Came off *{off}", web.words(web.get(f"/book/{event['seq']}")))


def test_unknown_pieces_are_named_in_the_readers_language(spanish):
    form = spanish.form("/do/grind")
    said = {"pieces-0-source": "Desconocido", "pieces-0-weight_g": "4"}
    spanish.send(form, **said)
    last = spanish.last()
    assert last["kind"] == "grind" and last["body"]["said"]["pieces"][0]["source"] == "unknown"
    assert "desconocido" in json.dumps(spanish.form(f"/book/{last['seq']}").fields, ensure_ascii=False)


def test_a_search_says_what_was_written_not_the_word_it_is_kept_under(web):
    from fillbook.trace.book import items

    found = [one for one in items.search(web.book, "BH", "quarry") if one["by"] == "customer"]
    assert found and {one["why"] for one in found} == {"customer Quarry Nine"}
