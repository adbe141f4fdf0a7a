"""A foreign name that was made to lead to this machine (DNS rebinding) shows nothing of the book and writes nothing.

Names that nobody can register: RFC 6761 (localhost, test), RFC 6762 (local), RFC 8375 (home.arpa). Status 421 after RFC 9110, 15.5.20.
"""

import pytest

from fillbook.trace.web import our_names
from fillbook.trace.web.app import create_app

FOREIGN = [
    "evil.example",
    "evil.example:8470",
    "EVIL.EXAMPLE.",
    "fillbook.local.evil.example",
    "192.168.0.5.evil.example",
    "1.2.3",
    "127.0.0.1.example",
]
OURS = [
    "127.0.0.1:8470",
    "192.168.0.5",
    "[::1]:8470",
    "[fe80::1]",
    "localhost:8470",
    "fillbook",
    "FILLBOOK.LOCAL",
    "book.lan:80",
    "book.home.arpa",
    "book.internal",
]


@pytest.mark.parametrize("host", FOREIGN)
def test_a_foreign_name_is_told_so_and_neither_reads_nor_writes(web, names, host):
    before, token = web.head(), web.form("/who").fields["csrf_token"][0]
    for path in ("/", "/lists/tires", "/lists/tires.csv", f"/i/{names['a']}", "/people", "/do/hold"):
        answer = web.client.get(path, headers={"Host": host})
        assert answer.status_code == 421, path
        assert "does not go by the name" in web.words(answer) and "Quarry" not in answer.text
    said = {"csrf_token": token, "item": names["a"], "why": "x", "who": "Kim"}
    answer = web.client.post("/do/hold", data=said, headers={"Host": host})
    assert (answer.status_code, web.head()) == (421, before)


@pytest.mark.parametrize("host", OURS)
def test_the_machines_numbers_and_names_of_the_shops_own_network_are_answered(web, host):
    assert web.client.get("/", headers={"Host": host}).status_code in (200, 303)


def test_the_labels_host_and_what_the_server_was_told_are_answered(web, clock):
    where = web.book.where
    app = create_app(
        where, clock=clock, secret="for this page only", testing=True, names=("book.works.example",)
    )
    client = app.test_client()
    assert client.get("/", headers={"Host": "Book.Works.Example:8470"}).status_code == 200
    assert client.get("/", headers={"Host": "other.works.example"}).status_code == 421
    web.book.execute("UPDATE shop SET host = ?", ["tires.works.example:8470"])
    assert client.get("/", headers={"Host": "tires.works.example"}).status_code == 200


def test_an_empty_book_may_be_begun_by_any_name_since_it_asks_for_its_code(empty):
    answer = empty.client.get("/setup", headers={"Host": "book.works.example"})
    assert answer.status_code == 200


def test_what_shows_a_token_of_its_own_is_not_asked_for_a_name(web):
    assert web.client.get("/api/items", headers={"Host": "evil.example"}).status_code == 401
    assert web.client.post("/readings/x", headers={"Host": "evil.example"}).status_code == 401


def test_a_name_is_read_without_its_port():
    assert [our_names.bare(one) for one in ("[::1]:80", "[::1", "A.B.:1", "", "::1")] == [
        "::1",
        "::1",
        "a.b",
        "",
        "",
    ]
