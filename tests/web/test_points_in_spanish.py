"""A weight such as 1.000 is asked back where the page is in Spanish: the point may mark thousands there, or decimals.

RAE, *Ortografía de la lengua española* (2010): the decimal marker is a comma or a point; thousands are set off by spaces, and the
point that older practice puts there is still common (from memory).
"""

import pytest

from fillbook.trace.book import queries


@pytest.fixture
def spanish(web):
    web.client.post("/preferences", data={**web.form("/preferences").fields, "language": "es"})
    return web


def receive(web, status, net, unit="kg"):
    return web.do(
        "receive",
        status,
        supplier="Northvale",
        lot="A-77",
        side="A",
        system="RX-30",
        net_g=net,
        net_g__unit=unit,
    )


def last_net(web):
    return web.book.value("SELECT net_g FROM tote ORDER BY seq DESC LIMIT 1")


@pytest.mark.parametrize(
    ("typed", "unit"), [("1.000", "kg"), ("2.204", "lb"), ("14.800", "lb"), ("980.500", "kg")]
)
def test_in_spanish_it_is_asked_back_and_nothing_is_written(spanish, typed, unit):
    head = spanish.head()
    assert f"&#34;{typed}&#34; puede" in spanish.said(receive(spanish, 422, typed, unit))
    assert spanish.head() == head


@pytest.mark.parametrize(
    ("typed", "grams"),
    [("1000", 1_000_000), ("1000.5", 1_000_500), ("980.50", 980_500), ("1000.000", 1_000_000)],
)
def test_what_can_only_be_one_thing_is_taken(spanish, typed, grams):
    receive(spanish, 303, typed)
    assert last_net(spanish) == grams


def test_in_english_a_point_is_a_point(web):
    receive(web, 303, "980.500")
    assert last_net(web) == 980_500


def test_only_weights_are_asked_back(spanish, names):
    spanish.do("read temperature", 303, zone=names["zone"], reading_mc="72.125", reading_mc__unit="f")
    assert queries.readings(spanish.book, names["zone"], 0, 2**53)


def test_in_a_repeated_group_and_in_a_correction_too(spanish, names):
    answer = spanish.do(
        "grind",
        422,
        **{"pieces-0-source": "unknown", "pieces-0-weight_g": "1.200", "pieces-0-weight_g__unit": "kg"},
    )
    assert "puede" in spanish.words(answer)
    receive(spanish, 303, "1000")
    seq = spanish.last()["seq"]
    head = spanish.head()
    spanish.send(
        spanish.form(f"/book/{seq}"), 422, **{"new-net_g": "1.100", "new-net_g__unit": "kg"}, why="leído mal"
    )
    assert spanish.head() == head
