"""The API for programs: its tokens, what it refuses and how it says so, requests sent twice, and paging.

Statuses and headers after RFC 9110 (HTTP), RFC 6750 (bearer tokens), RFC 9457 (problem details), RFC 8288 (Link), RFC 8259 and
RFC 7493 (JSON and its interoperable subset), and the IETF draft on the Idempotency-Key header.
"""

import hashlib
import json
import re
import shutil

import pytest
from click.testing import CliRunner

from fillbook.trace.book import chain, paged
from fillbook.trace.book.opening import open_book
from fillbook.trace.cli.commands import cli
from fillbook.trace.core import ids
from fillbook.trace.web.api import calls, problems, reading
from fillbook.trace.web.app import create_app
from fillbook.trace.work import acting, devices, registry, signing


class Program:
    """One device's program: asks with its token, numbers its requests."""

    def __init__(self, web, token, names):
        self.web, self.token, self.names, self.number = web, token, names, 0
        self.client = web.app.test_client(use_cookies=False)

    def headers(self, **more):
        return {
            "Authorization": f"Bearer {self.token}",
            **{k.replace("_", "-"): v for k, v in more.items() if v is not None},
        }

    def get(self, path, status=200, **headers):
        answer = self.client.get(path, headers=self.headers(**headers))
        assert answer.status_code == status, (path, answer.status_code, answer.text[:400])
        return answer if status == 304 else self.plain(answer)

    def plain(self, answer):
        assert answer.mimetype in ("application/json", "application/problem+json")
        answer.said = json.loads(answer.text)
        if answer.status_code >= 400:
            problem(answer)
        return answer

    def post(
        self,
        verb,
        status=201,
        *,
        key="",
        sent=None,
        kind="application/json",
        headers=None,
        who="Kim",
        said=None,
        **fields,
    ):
        """Do one verb; *said*: what stands around its fields; *sent*: bytes in place of all that."""
        self.number += 1
        body = sent if sent is not None else json.dumps({"who": who, "fields": fields, **(said or {})})
        with_key = {"Idempotency-Key": key or f"n-{self.number}"} if key is not None else {}
        answer = self.client.post(
            f"/api/verbs/{verb}",
            data=body,
            content_type=kind,
            headers={**self.headers(), **with_key, **(headers or {})},
        )
        assert answer.status_code == status, (verb, answer.status_code, answer.text[:400])
        return self.plain(answer)


def problem(answer):
    """RFC 9457: the media type, the members, a status that is the answer's own, and a type that the page /api explains."""
    said = json.loads(answer.text)
    assert answer.mimetype == "application/problem+json"
    assert set(said) <= {"type", "title", "status", "detail", "field", "expected"}
    assert (
        said["status"] == answer.status_code
        and said["title"]
        and said["detail"].rstrip("…").endswith((".", "?", ")")) | ("…" in said["detail"])
    )
    name = said["type"].removeprefix("/api#")
    assert problems.KINDS[name].status == answer.status_code
    return said


def admit(web, role, name):
    token = devices.new_token()
    fields = {"device": name, "role": role, "token_hash": devices.token_hash(token)}
    acting.act(
        web.book,
        acting.Action("admit device", fields, who="Dana"),
        now=web.app.extensions["fillbook"].clock(),
    )
    return token


@pytest.fixture
def program(web, names):
    return Program(web, admit(web, "owner", "office program"), names)


@pytest.fixture
def scale(web, names):
    return Program(web, admit(web, "hand", "dock scale"), names)


# -- whose token ---------------------------------------------------------------------------------------------------------------
def test_without_a_token_nothing_under_api_is_told_but_its_description(web, names):
    client = web.app.test_client()
    for one in calls.CALLS:
        path = "/api" + re.sub("<[a-z]+>", names["sent"], one.path)
        answer = client.get(path)
        assert (answer.status_code, answer.mimetype) == (401, problems.MEDIA), path
        assert answer.headers["WWW-Authenticate"].startswith("Bearer ")
        problem(answer)
    assert client.post("/api/verbs/hold", json={}).status_code == 401
    assert client.get("/api/openapi.json").status_code == 200


@pytest.mark.parametrize(
    "said",
    [
        "Bearer",
        "Bearer ",
        "Bearer x",
        "Basic ZGFuYTp4",
        "Bearer " + "é" * 43,
        "Bearer fillbook-" + "A" * 43,
        "x" * 9000,
    ],
)
def test_a_wrong_token_is_401_and_says_so(web, said):
    answer = web.client.get("/api/items", headers={"Authorization": said})
    assert answer.status_code == 401 and 'error="invalid_token"' in answer.headers["WWW-Authenticate"]


def test_a_signed_in_browsers_cookie_is_worth_nothing_there(web, names):
    assert web.get("/").status_code == 200  # Lee works at this station
    before = web.head()
    answer = web.client.post(
        "/api/verbs/hold",
        json={"who": "Lee", "fields": {"item": names["a"], "why": "x"}},
        headers={"Idempotency-Key": "1"},
    )
    assert (answer.status_code, web.head()) == (401, before)
    assert "Set-Cookie" not in web.app.test_client().get("/api/openapi.json").headers


def test_only_the_hash_of_a_token_is_kept(web, program):
    web.book.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    with open(web.book.where, "rb") as file:
        kept = file.read()
    assert program.token.encode() not in kept
    assert hashlib.sha256(program.token.encode()).hexdigest().encode() in kept


def test_a_dismissed_device_is_out_at_once_and_its_token_never_comes_back(web, program, clock):
    program.get("/api/device")
    acting.act(
        web.book, acting.Action("dismiss device", {"device": "OFFICE PROGRAM"}, who="Dana"), now=clock.now
    )
    program.get("/api/device", 401)
    again = {"device": "office program", "role": "owner", "token_hash": devices.token_hash(program.token)}
    with pytest.raises(Exception, match="given to a device before"):
        acting.act(web.book, acting.Action("admit device", again, who="Dana"), now=clock.now)
    program.get("/api/device", 401)


def test_a_device_admitted_or_dismissed_by_a_lead_is_refused_and_the_event_cant_be_corrected(
    web, program, clock
):
    with pytest.raises(Exception, match="takes the owner"):
        acting.act(
            web.book,
            acting.Action("admit device", {"device": "x", "token_hash": "1a" * 32}, who="Lee"),
            now=clock.now,
        )
    admitted = web.book.value("SELECT max(seq) FROM event WHERE kind = 'admit device'")
    answer = program.post("correct", 422, who="Lee", event=admitted, fields={"role": "owner"}, why="more")
    assert "stays as it was written" in answer.said["detail"]


def test_too_many_wrong_tokens_wait_but_the_right_one_still_passes(web, scale, clock):
    for _ in range(reading.WRONG_TOKENS):
        assert web.client.get("/api/items", headers={"Authorization": "Bearer nobody"}).status_code == 401
    answer = web.client.get("/api/items", headers={"Authorization": "Bearer nobody"})
    assert problem(answer)["type"] == "/api#locked-out" and 0 < int(answer.headers["Retry-After"]) <= 60
    scale.get("/api/items")
    clock.now += 61
    assert web.client.get("/api/items", headers={"Authorization": "Bearer nobody"}).status_code == 401


def test_a_device_of_one_shop_sees_and_writes_nothing_of_another(web, program, names, clock):
    set_up = acting.Action("set up shop", {"site": "ZX", "name": "Other Works", "owner": "Kit"})
    theirs = acting.act(web.book, set_up, now=clock.now).ids[0]
    program.get(f"/api/items/{theirs}", 404)
    assert all(one["id"].startswith("BH-") for one in program.get("/api/items?limit=200").said["items"])
    assert all(one["event"]["shop"] == "BH" for one in program.get("/api/events?limit=200").said["events"])
    answer = program.post("hold", 403, said={"shop": "ZX"}, item=names["a"], why="x")
    assert answer.said["field"] == "shop"


# -- roles and PINs --------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("role", registry.ROLES)
def test_nobody_acts_through_a_device_above_its_role(web, names, role):
    """Every verb × every role of a device, the owner named as acting: what the device's role does not cover is 403 before anything is read."""
    device = Program(web, admit(web, role, "the device"), names)
    before = web.head()
    for verb in registry.everything().values():
        covered = registry.ROLES.index(role) >= registry.ROLES.index(verb.role) and verb.name != "set up shop"
        answer = device.post(verb.command, 422 if covered else 403, who="Dana", colour="red")
        assert answer.said["type"] == ("/api#nonsense" if covered else "/api#not-allowed"), verb.name
    assert web.head() == before


def test_nor_above_their_own_role(program, names):
    answer = program.post("release", 403, who="Kim", tire=names["cured"])
    assert "takes a lead" in answer.said["detail"]


def test_an_override_through_a_hands_device_is_refused_whoever_signs(scale, names):
    said = {"override": "the customer waits", "signed_by": "Dana"}
    answer = scale.post("dispatch", 403, said=said, tires=[names["cured"]])
    assert "An override takes a lead" in answer.said["detail"]


def test_a_signer_with_a_pin_sends_it_along_and_it_stands_nowhere(web, program, names, clock):
    signing.set_pin(web.book, "BH", "Dana", "48213", proof=None, now=clock.now)
    limit = {"limit": "cure_temperature", "to": "73 f", "source": "data sheet"}
    assert program.post("set-limit", 403, who="Dana", **limit).said["type"] == "/api#pin"
    assert (
        program.post("set-limit", 403, who="Dana", said={"pin": "11111"}, **limit).said["type"] == "/api#pin"
    )
    program.post("set-limit", who="Dana", said={"pin": "48213"}, **limit)
    assert "48213" not in json.dumps(web.last()["body"])
    for _ in range(signing.FREE_TRIES):
        answer = program.client.post(
            "/api/verbs/set-limit",
            json={"who": "Dana", "pin": "99999", "fields": limit},
            headers=program.headers(Idempotency_Key="w"),
        )
    assert problem(answer)["type"] == "/api#locked-out" and int(answer.headers["Retry-After"]) > 0
    assert "99999" not in answer.text


# -- writing ---------------------------------------------------------------------------------------------------------------------
def test_a_verb_is_written_with_its_device_its_station_and_its_request(web, scale, names):
    answer = scale.post("hold", key="3f1c", said={"station": "dock 2"}, item=names["a"], why="dented")
    assert answer.said == {"shop": "BH", "seq": web.head(), "ids": [], "findings": [], "repeated": False}
    assert answer.headers["Location"] == f"/api/events/{web.head()}"
    written = web.last()
    assert written["station"] == "dock 2, by dock scale" and written["request"].endswith(": 3f1c")
    assert scale.get(answer.headers["Location"]).said["event"] == written


def test_ids_and_findings_come_back_as_they_stand_on_labels(scale, names):
    fields = {
        "supplier": "Northvale",
        "lot": 2231,
        "side": "A",
        "system": "RX-30",
        "net_kg": 950.5,
        "totes": 2,
    }
    minted = scale.post("receive", **fields).said["ids"]
    assert len(minted) == 2 and all(re.fullmatch("BH-L25-[0-9]{5}-.", code) for code in minted)
    facts = scale.get(f"/api/items/{minted[0]}").said["facts"]
    assert facts["Lot"] == "2231" and facts["Net"].startswith("2095.5 lb")


def test_the_same_request_twice_is_done_once_and_answered_alike(web, scale, names):
    first = scale.post("hold", key="a-1", item=names["a"], why="dented")
    head = web.head()
    again = scale.post(
        "hold", 200, key='"a-1"', item=names["a"], why="dented"
    )  # quoted, as the draft writes it
    assert again.said == first.said | {"repeated": True} and web.head() == head
    other = scale.post("hold", 409, key="a-1", item=names["a"], why="leaks")
    assert other.said["type"] == "/api#request-id-used" and web.head() == head


def test_two_devices_may_number_their_requests_alike(web, scale, program, names):
    one = scale.post("hold", key="17", item=names["a"], why="dented")
    two = program.post("hold", key="17", item=names["a"], why="dented")
    assert two.said["seq"] == one.said["seq"] + 1


def test_what_was_refused_may_be_sent_again_with_the_same_id(scale, names):
    scale.post("hold", 422, key="b", item=names["a"])
    scale.post("hold", 201, key="b", item=names["a"], why="dented")


@pytest.mark.parametrize("key", [None, "with blank", "x" * 61, "ключ", '"', '""', "a,b"])
def test_a_request_without_an_id_of_its_own_is_400(web, scale, names, key):
    headers = {} if key is None else {"Idempotency-Key": key.encode().decode("latin-1")}
    before = web.head()
    answer = scale.post("hold", 400, key=None, headers=headers, item=names["a"], why="x")
    assert answer.said["field"] == "Idempotency-Key" and web.head() == before


def test_what_moved_on_since_it_was_looked_at_is_a_conflict(web, scale, names):
    seen = web.head()
    scale.post("hold", item=names["a"], why="dented")
    answer = scale.post(
        "hold", 409, said={"saw": seen, "saw_items": [ids.pretty(names["a"])]}, item=names["a"], why="leaks"
    )
    assert answer.said["type"] == "/api#conflict" and "moved on" in answer.said["detail"]


def test_a_stop_is_409_and_what_a_body_names_and_the_book_lacks_is_422(scale, names):
    assert scale.post("dispatch", 409, tires=[names["held"]]).said["type"] == "/api#stopped"
    nobody = ids.mint("BH", "F", 25, ids.next_serial("BH", "F", 25, 4000))
    assert scale.post("reclaim", 422, tire=nobody).said["type"] == "/api#wrong-item"
    assert scale.post("reclaim", 422, tire=names["a"]).said["type"] == "/api#wrong-kind"
    assert scale.post("hold", 422, who="Nobody", item=names["a"], why="x").said["field"] == "who"


# -- what can't be read ------------------------------------------------------------------------------------------------------------
ENVELOPE = b'{"who": "Kim", "fields": {"item": "x", "why": %s}}'
UNREADABLE = {
    "nothing": b"", "no JSON": b"{who: Kim}", "half": b'{"who": "Kim"', "two": b"{}{}", "a list": b"[]", "a text": b'"x"', "null": b"null",
    "a byte order mark": b"\xef\xbb\xbf{}", "UTF-16": '{"who": "Kim"}'.encode("utf-16"), "latin-1": b'{"who": "J\xf6rg"}',
    "a key twice": b'{"who": "Kim", "who": "Lee"}', "a key twice inside": b'{"fields": {"why": 1, "why": 2}}',
    "NaN": ENVELOPE % b"NaN", "Infinity": ENVELOPE % b"-Infinity", "a thousand digits": ENVELOPE % (b"9" * 5000),
    "a fraction of a thousand digits": ENVELOPE % (b"0." + b"9" * 5000), "deep": ENVELOPE % (b"[" * 40 + b"]" * 40),
    "very deep": b'{"fields":' * 100_000 + b"1" + b"}" * 100_000, "half a character": ENVELOPE % b'"\\ud800"',
    "half a character in a key": b'{"\\udc00": 1}', "a trailing comma": b'{"who": "Kim",}', "a comment": b'{"who": "Kim"} // so',
}  # fmt: skip


@pytest.mark.parametrize("sent", UNREADABLE.values(), ids=UNREADABLE)
def test_what_is_no_strict_json_is_400_and_changes_nothing(web, scale, sent):
    before = web.head()
    assert scale.post("hold", 400, sent=sent).said["type"] == "/api#unreadable"
    assert web.head() == before


def test_a_number_with_an_absurd_exponent_is_answered_at_once(scale, names):
    for number in (b"1e999999999", b"-1E+308", b"1e-999999999"):
        sent = b'{"who": "Kim", "fields": {"tote": "%s", "weight_kg": %s, "line": "line 1"}}' % (
            names["a"].encode(),
            number,
        )
        scale.post("purge", 422, sent=sent)


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"colour": "red"}, "colour"), ({"who": 5}, "who"), ({"who": ""}, "who"), ({"at": 1759500000}, "at"), ({"at": "yesterday"}, "at"),
        ({"at": "2031-01-01T00:00:00Z"}, "at"), ({"saw": "1"}, "saw"), ({"saw": -1}, "saw"), ({"saw": 1.5}, "saw"), ({"saw_items": "x"}, "saw_items"),
        ({"saw_items": ["BH-F25-00001-X"]}, "saw_items[0]"), ({"fields": []}, "fields"), ({"station": "x" * 31}, "station"),
        ({"station": "a\u0000b"}, "station"), ({"request": "1"}, "request"), ({"who": "x" * 201}, "who"), ({"pin": 4821}, "pin"),
    ],
)  # fmt: skip
def test_an_envelope_that_says_nonsense_names_the_key(web, scale, names, said, field):
    before = web.head()
    answer = scale.post("hold", 422, said=said, item=names["a"], why="x")
    assert answer.said["field"] == field and web.head() == before
    assert "4821" not in answer.text


@pytest.mark.parametrize(
    "kind",
    [
        "",
        "text/plain",
        "text/json",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "application/json; charset=utf-16",
    ],
)
def test_anything_but_json_is_415(scale, names, kind):
    assert scale.post("hold", 415, kind=kind, item=names["a"], why="x").said["type"] == "/api#wrong-media"


def test_a_compressed_body_is_415(scale):
    scale.post("hold", 415, sent=b"\x1f\x8b", headers={"Content-Encoding": "gzip"})


def test_more_than_24_mb_is_413(web, scale, names):
    before = web.head()
    answer = scale.post("log-temperatures", 413, zone=names["zone"], csv="x" * (24 * 1024 * 1024))
    assert answer.said["type"] == "/api#too-large" and web.head() == before


def test_an_answer_never_repeats_a_whole_file(scale, names):
    answer = scale.post("hold", 422, item="x" * 100_000, why="x")
    assert len(answer.text) < 2_000


# -- addresses -------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("path", ["/api/", "/api/nothing", "/api/items/", "/api/items//", "/api/verbs/hold/it", "/api/items/BH-F25-99999-X", "/api/events/0",
                                  "/api/events/x", "/api/events/" + "9" * 40, "/api/desk/%F0%9F%98%80", "/api/verbs/no-such-verb", "/api/items/%00"])  # fmt: skip
def test_an_address_of_nothing_is_404_and_never_a_page(program, path):
    assert program.get(path, 404).said["type"] == "/api#not-found"


@pytest.mark.parametrize("method", ["PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "BREW"])
def test_another_method_is_405_and_names_those_that_are_taken(program, method):
    for path, takes in (("/api/items", "GET"), ("/api/openapi.json", "GET"), ("/api/verbs/hold", "POST")):
        answer = program.client.open(path, method=method, headers=program.headers())
        assert (answer.status_code, answer.mimetype) == (405, problems.MEDIA)
        assert takes in answer.headers["Allow"]


def test_a_verb_has_one_address(scale, names):
    for other in ("Hold", "hook up", "hook_up", "set-up-shop "):
        scale.post(other, 404, item=names["a"], why="x")


def test_under_another_shops_cookie_or_none_an_unknown_address_is_no_page_either(empty):
    for path in ("/api/nothing", "/api/items"):
        answer = empty.client.get(path)
        assert answer.mimetype == problems.MEDIA and answer.status_code in (401, 404)


def test_a_head_is_the_get_without_its_body(program):
    answer = program.client.head("/api/items", headers=program.headers())
    assert (answer.status_code, answer.data) == (200, b"")


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ("limit=0", "limit"), ("limit=201", "limit"), ("limit=x", "limit"), ("limit=1&limit=2", "limit"), ("limit=٣", "limit"), ("kind=car", "kind"),
        ("sort=id", "sort"), ("after=x", "after"), ("search=" + "x" * 201, "search"), ("search=a%00b", "search"), ("limit=" + "9" * 5000, "limit"),
    ],
)  # fmt: skip
def test_a_question_that_is_none_is_422_and_names_its_word(program, asked, field):
    assert program.get(f"/api/items?{asked}", 422).said["field"] == field


# -- paging ------------------------------------------------------------------------------------------------------------------------
def walked(program, path, part):
    """Everything of a paged answer, page by page along next; Link says the same."""
    found, pages = [], 0
    while path:
        answer = program.get(path)
        link = answer.headers.get("Link")
        assert link == (f'<{answer.said["next"]}>; rel="next"' if answer.said["next"] else None)
        found += answer.said[part]
        path, pages = answer.said["next"], pages + 1
    return found, pages


def test_walking_the_pages_gives_every_item_once_in_order(web, program):
    found, pages = walked(program, "/api/items?limit=7", "items")
    there = [code for (code,) in web.book.tuples("SELECT code FROM item WHERE kind <> 'W' ORDER BY code")]
    assert [one["id"] for one in found] == [ids.pretty(code) for code in there]
    assert pages == -(-len(there) // 7)


def test_what_comes_in_meanwhile_neither_doubles_nor_hides_what_was_there(web, program, names):
    first = program.get("/api/items?kind=tote&limit=2").said
    program.post("receive", supplier="Northvale", lot="A-99", side="A", system="RX-30", net_kg=900)
    rest, _ = walked(program, first["next"], "items")
    seen = [one["id"] for one in [*first["items"], *rest]]
    assert len(seen) == len(set(seen)) == web.book.value("SELECT count(*) FROM tote")


@pytest.mark.parametrize("few", [0, 10_000])
def test_filters_and_words_agree_with_looking_at_each_item(web, program, monkeypatch, few):
    """Both ways a search goes about it, few taken together and many walked past, find what a plain look finds."""
    monkeypatch.setattr(paged, "FEW", few)
    for kind, letter in (("tire", "F"), ("tote", "L"), ("", "")):
        for state in ("", "racked", "in store"):
            for words in ("", "quarry", "A-11", "north", "nothing bears this", "dot442"):
                asked = "&".join(
                    f"{k}={v}" for k, v in (("kind", kind), ("state", state), ("search", words)) if v
                )
                found, _ = walked(program, f"/api/items?limit=3&{asked}", "items")
                want = []
                for code, at in web.book.tuples(
                    "SELECT i.code, p.state FROM item i LEFT JOIN place p ON p.item = i.code WHERE i.kind <> 'W' ORDER BY i.code"
                ):
                    bears = [w for (w,) in web.book.tuples("SELECT word FROM search WHERE item = ?", code)]
                    fits = all(
                        any(re.sub("[^A-Z0-9]", "", part.upper()) in w for w in bears)
                        for part in words.split()
                    )
                    if (not letter or code[2] == letter) and (not state or at == state) and fits:
                        want.append(ids.pretty(code))
                assert [one["id"] for one in found] == want, asked


def test_an_id_its_beginning_and_its_number_find_it(program, names):
    pretty = ids.pretty(names["sent"])
    for words in (
        pretty,
        pretty[:12],
        names["sent"],
        str(int(pretty[7:12])),
        ids.service_number(names["sent"]),
    ):
        assert pretty in [
            one["id"] for one in program.get(f"/api/items?search={words}&limit=200").said["items"]
        ], words


def test_pages_of_items_go_along_an_index_at_any_size(web):
    """SQLite's own plan: no sorting, no table read from end to end."""
    for asked in (
        {},
        {"kind": "F"},
        {"state": "racked"},
        {"kind": "F", "state": "racked", "after": "BHF2500001X"},
    ):
        seen = []
        execute = web.book.execute
        web.book.execute = lambda sql, args=(), execute=execute, seen=seen: (
            seen.append((sql, args)),
            execute(sql, args),
        )[1]
        try:
            paged.items(web.book, "BH", **asked)
        finally:
            web.book.execute = execute
        sql, args = seen[-1]
        plan = [row[3] for row in web.book.tuples(f"EXPLAIN QUERY PLAN {sql}", *args)]
        assert not any("TEMP B-TREE" in step or step.startswith("SCAN") for step in plan), plan


def test_a_timeline_is_paged_and_whole(web, program, names):
    for item in (names["sent"], names["line"], names["zone"]):
        found, _ = walked(program, f"/api/items/{item}/timeline?limit=2", "timeline")
        assert len(found) == web.book.value("SELECT count(*) FROM touch WHERE item = ?", item) > 0
        assert [one["at"] for one in found] == sorted(one["at"] for one in found)
    program.get(f"/api/items/{names['sent']}/timeline?after=1.2", 422)


def test_the_journal_is_read_on_from_where_one_was_and_its_hashes_hold(web, program):
    found, _ = walked(program, "/api/events?limit=11", "events")
    assert [one["seq"] for one in found] == list(range(1, web.head() + 1))
    lines, after = [], 0
    while True:
        answer = program.client.get(
            f"/api/events?after={after}&limit=200", headers=program.headers(Accept="application/x-ndjson")
        )
        assert answer.mimetype == "application/x-ndjson"
        lines += answer.text.splitlines()
        if "Link" not in answer.headers:
            break
        after = len(lines)
    assert lines == list(chain.export(web.book, "BH"))
    assert [hashlib.sha256(line.encode()).hexdigest() for line in lines] == [one["hash"] for one in found]
    assert program.get(f"/api/events?after={web.head()}").said == {"events": [], "next": None}


# -- what is kept -------------------------------------------------------------------------------------------------------------------
def test_an_answer_that_still_holds_is_304_until_something_is_written(program, scale, names):
    for path in (
        "/api/items?limit=3",
        f"/api/items/{names['a']}",
        "/api/recall?suspect=B-11",
        "/api/verbs",
        "/api/openapi.json",
    ):
        mark = program.get(path).headers["ETag"]
        kept = program.get(path, 304, If_None_Match=mark)
        assert kept.headers["ETag"] == mark and kept.data == b""
        packed = program.client.get(path, headers=program.headers(Accept_Encoding="gzip")).headers["ETag"]
        program.get(path, 304, If_None_Match=packed)
        assert program.get(path, If_None_Match='"other"').said
    mark = program.get(f"/api/items/{names['a']}").headers["ETag"]
    scale.post("hold", item=names["a"], why="dented")
    answer = program.get(f"/api/items/{names['a']}", If_None_Match=mark)
    assert any(one["why"] == "dented" for one in answer.said["holds"])


def test_what_the_clock_changes_has_no_etag(program, names):
    for path in ("/api/racks", f"/api/desk/{names['held']}", "/api/device"):
        assert "ETag" not in program.get(path).headers


def test_looking_writes_nothing(web, program, helpers, names):
    before = helpers["the_shop"].fingerprint(web.book)
    for one in calls.CALLS:
        address = re.sub("<id>", names["sent"], one.path).replace("<verb>", "receive").replace("<seq>", "3")
        program.get(f"/api{address}" + ("?suspect=B-11" if one.name == "recall" else ""))
    assert helpers["the_shop"].fingerprint(web.book) == before


# -- answers agree with the pages ------------------------------------------------------------------------------------------------------
def test_the_recall_is_the_one_the_page_gives(web, program):
    mine = program.get("/api/recall?suspect=B-11&threshold_pct=1&traces=true").said
    page = web.get("/recall.json?suspect=B-11&defect=contamination").get_json()
    assert (
        mine["items"]
        and {one["id"]: one["grams"] for one in page["items"]}.items()
        <= {one["id"]: one["grams"] for one in mine["items"]}.items()
    )
    assert mine["account"] == page["account"]
    program.get("/api/recall?suspect=B-11&threshold_pct=0", 422)
    program.get("/api/recall?suspect=no-such-lot", 404)


def test_the_desk_says_what_its_page_says(web, program, names):
    assert program.get(f"/api/desk/{names['cured']}").said["verdict"] == "Cured"
    held = program.get(f"/api/desk/{names['held']}").said
    assert held["verdict"] == "On hold" and not held["ok"]
    assert ids.pretty(names["held"]) in [one["id"] for one in program.get("/api/racks").said["racks"]]


# -- at the terminal ---------------------------------------------------------------------------------------------------------------
def test_the_command_admits_a_device_and_shows_its_token_once(web, names):
    def run(*said):
        done = CliRunner().invoke(cli, ["--book", web.book.where, *said, "--who", "Dana"])
        assert done.exit_code == 0, done.output
        return done.output

    token = re.search(
        r"shown this once and kept nowhere: (\S+)", run("admit-device", "--device", "dock scale")
    )[1]
    said = Program(web, token, names).get("/api/device").said
    assert (said["device"], said["role"]) == ("dock scale", "hand")
    run("dismiss-device", "--device", "dock scale", "--why", "lost")
    Program(web, token, names).get("/api/device", 401)


# -- the page Devices ----------------------------------------------------------------------------------------------------------------
def token_of(page):
    return re.search(r'class="code token">(fillbook-[\w-]{43})<', page)[1]


def test_the_owner_admits_a_device_and_its_token_is_shown_once(web, names):
    web.choose("Dana")
    form = web.form("/devices")
    answer = web.send(form, 200, device="cage tablet", role="hand")
    token = token_of(answer.text)
    assert answer.headers["Cache-Control"] == "no-store"
    Program(web, token, names).get("/api/device")
    assert token not in web.get("/devices").text and token not in json.dumps(web.last())
    assert "cage tablet" in web.words(web.get("/devices"))
    again = web.send(form, 200, device="cage tablet", role="hand")  # the finger slipped: sent twice
    assert token_of(again.text) == token
    web.send(web.form("/devices?device=cage+tablet", "/devices/dismiss"), 303, why="lost")
    Program(web, token, names).get("/api/device", 401)
    assert web.last()["body"]["said"]["why"] == "lost"


def test_a_device_without_a_name_or_with_a_taken_one_is_said_on_the_page(web, program):
    web.choose("Dana")
    assert "missing" in web.said(web.send(web.form("/devices"), 422, device=""))
    assert "admitted already" in web.said(web.send(web.form("/devices"), 409, device="Office Program"))
    assert "token" in web.said(web.send(web.form("/devices"), 422, device="x", token="fillbook-weak"))


def test_a_lead_neither_sees_nor_admits_devices(web):
    web.get("/devices", 403)  # Lee works here
    web.choose("Dana")
    form = web.form("/devices")
    web.choose("Lee")
    before = web.head()
    # The page was opened by Dana: who did it?
    asked = web.client.post("/devices", data=form.filled(device="x"))
    assert asked.status_code == 422 and "Who did it?" in web.said(asked)
    lee = web.book.value("SELECT item FROM person WHERE name = 'Lee'")
    assert web.client.post("/devices", data=form.filled(device="x", did_it=lee)).status_code in (400, 403)
    assert web.head() == before


def test_a_second_program_on_the_same_book_knows_the_device_too(web, program, story, clock, tmp_path):
    copy = str(tmp_path / "copy.db")
    web.book.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    shutil.copy(web.book.where, copy)
    app = create_app(copy, clock=clock, secret="another secret, only for tests", testing=True)
    assert (
        app.test_client().get("/api/device", headers=program.headers()).get_json()["device"]
        == "office program"
    )
    book = open_book(copy)
    assert book.value("SELECT count(*) FROM device_act") == 1
    book.db.close()
