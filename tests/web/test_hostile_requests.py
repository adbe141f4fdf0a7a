"""What somebody sends who means harm, or a program that is broken: nothing is gained by it, nothing breaks, and it is said in words.

Methods, statuses and Allow after RFC 9110; problem details after RFC 9457; how a browser reads an address after the WHATWG URL
standard (a backslash is a slash, tabs and ends of lines are left out); cells of spreadsheets after OWASP, *CSV Injection*.
"""

import csv
import io
import json
import re
import threading
import urllib.error
import urllib.request
from html.parser import HTMLParser
from urllib.parse import quote

import pytest
from PIL import Image

from fillbook.trace.book import queries
from fillbook.trace.core.errors import ShopError
from fillbook.trace.web import roles
from fillbook.trace.web.api import openapi, problems
from fillbook.trace.work import acting, devices, registry, sensors, signing

ELSEWHERE = "evil.example"


def person(web, name):
    return queries.person(web.book, "BH", name)["item"]


def post(web, path, status, **said):
    token = web.form("/who").fields["csrf_token"][0]
    answer = web.client.post(path, data={"csrf_token": token, **said}, buffered=True)
    assert answer.status_code == status, (path, said, answer.status_code, web.said(answer))
    return answer


def as_a_browser_reads_it(location):
    """The address a browser at http://shop.test goes to, after the WHATWG URL standard."""
    return re.sub(r"[\t\r\n]", "", location).replace("\\", "/")


# -- led away ----------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("back", [
    f"//{ELSEWHERE}", f"/\\{ELSEWHERE}", f"\\\\{ELSEWHERE}", f"/\t/{ELSEWHERE}", f"/\t\\{ELSEWHERE}", f"/\n/{ELSEWHERE}", f"/\r\n/{ELSEWHERE}",
    f"https://{ELSEWHERE}", f"https:{ELSEWHERE}", "javascript:alert(1)", f" //{ELSEWHERE}", f"\t//{ELSEWHERE}", "/ok\r\nSet-Cookie: a=b", "/\x00",
    f"/\x0b/{ELSEWHERE}",
])  # fmt: skip
def test_going_back_never_leads_to_another_host(web, back):
    location = post(web, "/preferences", 303, language="en", back=back).headers["Location"]
    assert location == "/preferences"
    assert not as_a_browser_reads_it(location).startswith("//")


def test_going_back_leads_where_one_was(web):
    where = "/lists/tires?q=a b&state=racked"
    assert (
        post(web, "/preferences", 303, language="en", back=where)
        .headers["Location"]
        .startswith("/lists/tires?q=a")
    )


@pytest.mark.parametrize("came_from", [
    "cage:a\r\nSet-Cookie: a=b", "cage:../../who", f"cage://{ELSEWHERE}", "cage:\x00", "racks:\r\nX: y", "several:" + "A" * 5000, "moving:a?b#c", "\r\n",
    "lay:/../x", "cage:" + quote("BH/U"),
])  # fmt: skip
def test_a_scan_goes_on_at_a_page_of_ours_whatever_the_form_says_it_came_from(web, names, came_from):
    for item in ("waiting", "spare_a", "cup", "zone"):
        there = post(web, "/scan", 303, code=names[item], **{"from": came_from}).headers["Location"]
        assert re.fullmatch(r"/(i|racks|do/[a-z-]+)[A-Za-z0-9/?=&]*", there), there
    token = web.form("/who").fields["csrf_token"][0]
    data = {"csrf_token": token, "code": person(web, "Lee"), "from": came_from}
    answer = web.client.post("/scan/take", data=data)
    assert answer.status_code == 200 and "a=b" not in str(answer.headers.getlist("Set-Cookie"))


@pytest.mark.parametrize(
    "host", [ELSEWHERE, "a b", '"><script>alert(1)</script>', "", "x:99999", "a/b", "x@y", "[::1"]
)
def test_another_name_for_the_server_gets_no_further_than_a_word_on_the_page(web, names, host):
    for path in ("/", "/setup", "/who", f"/zones/{names['zone']}/tokens", "/nothing", "/api/items"):
        answer = web.client.get(path, headers={"Host": host})
        assert answer.status_code < 500 and "<script>alert" not in answer.text
        assert host not in answer.headers.get("Location", "") or not host


# -- other methods, other media ----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("method", "path", "takes"), [
    ("GET", "/scan", {"POST"}), ("PUT", "/who", {"GET", "POST"}), ("DELETE", "/book", {"GET"}), ("GET", "/readings/x", {"POST"}),
    ("PATCH", "/api/items", {"GET"}), ("BREW", "/do/hold", {"GET", "POST"}),
])  # fmt: skip
def test_a_405_names_what_the_address_takes(web, method, path, takes):
    answer = web.client.open(path, method=method)
    assert answer.status_code == 405
    assert takes <= {one.strip() for one in answer.headers["Allow"].split(",")}


@pytest.mark.parametrize(("method", "path", "status"), [
    ("GET", "/readings/BHZ2500001L", 405), ("PUT", "/readings/x", 405), ("GET", "/readings/", 404), ("POST", "/readings/", 404), ("POST", "/readings/a/b", 404),
])  # fmt: skip
def test_a_logger_gets_problem_details_for_an_address_it_mistook(web, method, path, status):
    answer = web.client.open(path, method=method)
    said = json.loads(answer.text)
    assert (answer.status_code, answer.mimetype, said["status"]) == (
        status,
        "application/problem+json",
        status,
    )
    assert said["title"] and said["detail"].endswith(".")


def test_a_broken_program_answers_a_logger_in_its_own_shape_and_keeps_the_token_out_of_the_log(
    web, names, monkeypatch, caplog
):
    def breaks(*_):
        raise RuntimeError("broken")

    monkeypatch.setattr(sensors, "whose", breaks)
    monkeypatch.setitem(web.app.config, "TESTING", False)
    web.app.testing = False
    answer = web.app.test_client().post(
        f"/readings/{names['zone']}", headers={"Authorization": "Bearer secret-token-1"}
    )
    assert (answer.status_code, answer.mimetype) == (500, "application/problem+json")
    assert (
        "broken" not in answer.text
        and "readings failed" in caplog.text
        and "secret-token-1" not in caplog.text
    )


def test_a_pin_stands_in_no_log_when_the_program_breaks(web, names, monkeypatch, caplog):
    signing.set_pin(web.book, "BH", "Dana", "739164", proof=None, now=web.app.extensions["fillbook"].clock())
    form = web.form(f"/desk/{names['cured']}")

    def breaks(*_, **__):
        raise RuntimeError("broken")

    monkeypatch.setattr(acting, "act", breaks)
    web.app.testing = False
    answer = web.client.post(form.action, data=form.filled(signed_by=person(web, "Dana"), pin="739164"))
    assert answer.status_code == 500 and "739164" not in answer.text
    assert "a page failed" in caplog.text and "739164" not in caplog.text


# -- the description ---------------------------------------------------------------------------------------------------------------
def test_every_status_that_a_problem_has_is_described_where_it_can_occur():
    """405 and 404 of an unknown verb belong to no described call; all others do, 500 to each."""
    of_writing = {
        str(kind.status) for name, kind in problems.KINDS.items() if name not in ("not-found", "wrong-method")
    }
    for path, methods in openapi.document()["paths"].items():
        said = set(next(iter(methods.values()))["responses"])
        if "post" in methods:
            assert said == of_writing | {"200", "201"}, path
        else:
            assert {"200", "500", "422"} <= said, path
            assert path == "/api/openapi.json" or {"401", "429"} <= said, path
            assert ("{" not in path) or "404" in said, path


# -- roles -------------------------------------------------------------------------------------------------------------------------
def test_a_lead_at_a_station_lets_the_owner_sign_a_persons_correction_and_can_not_sign_it(web, clock):
    """Lee works here. The form asks who signs, offers owners only, and takes Dana's PIN."""
    signing.set_pin(web.book, "BH", "Dana", "739164", proof=None, now=clock.now)
    code = signing.give_code(web.book, "BH", "Lee", by=None, now=clock.now)
    signing.set_pin(web.book, "BH", "Lee", "402817", proof=code, now=clock.now)
    added = web.book.value("SELECT seq FROM person WHERE name = 'Lee'")
    form = web.form(f"/book/{added}")
    assert form.offered["signed_by"] and set(form.offered["signed_by"]) <= {"", person(web, "Dana")}
    before = web.head()
    said = {"new-role": "owner", "why": "promoted"}
    for pin in ("402817", None):
        answer = web.client.post(form.action, data=form.filled(**said, signed_by=None, pin=pin))
        assert answer.status_code == 403 and web.head() == before
    answer = web.client.post(
        form.action, data=form.filled(**said, signed_by=person(web, "Dana"), pin="402817")
    )
    assert answer.status_code == 403
    assert queries.person(web.book, "BH", "Lee").role == "lead"
    web.send(web.form(f"/book/{added}"), **said, signed_by=person(web, "Dana"), pin="739164")
    assert queries.person(web.book, "BH", "Lee").role == "owner"


def test_a_voided_badge_signs_nobody_in(web, clock):
    """Whoever works at the station stays; whoever was there by the voided name is there no more."""
    added = acting.act(
        web.book, acting.Action("add person", {"name": "Nia"}, who="Dana", shop="BH"), now=clock.now
    )
    web.choose("Nia")
    void = {"event": added.seq, "void": True, "why": "a slip"}
    acting.act(web.book, acting.Action("correct", void, who="Dana", shop="BH"), now=clock.now)
    assert "data-who" not in web.get("/").text
    web.choose("Lee")
    for path in ("/scan", "/scan/take"):
        answer = post(web, path, 404, code=added.ids[0])
        assert "nobody any more" in answer.text
        assert 'data-who="Lee"' in web.get("/do/hold").text


@pytest.mark.parametrize("device_role", ["lead", "owner"])
def test_through_a_device_a_correction_takes_the_role_of_what_it_corrects(web, clock, device_role):
    token = devices.new_token()
    fields = {"device": "office program", "role": device_role, "token_hash": devices.token_hash(token)}
    acting.act(web.book, acting.Action("admit device", fields, who="Dana"), now=clock.now)
    added = web.book.value("SELECT seq FROM person WHERE name = 'Lee'")
    said = {"event": added, "fields": {"role": "owner"}, "why": "more"}
    for n, who in enumerate(("Lee", "Dana")):
        answer = web.app.test_client().post(
            "/api/verbs/correct", json={"who": who, "fields": said}, headers={"Authorization": f"Bearer {token}", "Idempotency-Key": str(n)}
        )  # fmt: skip
        may = (who, device_role) == ("Dana", "owner")
        assert answer.status_code == (201 if may else 403), answer.text
    assert queries.person(web.book, "BH", "Lee").role == ("owner" if device_role == "owner" else "lead")


def test_a_page_uses_up_no_request_id_of_a_device(web, names, clock):
    token = devices.new_token()
    fields = {"device": "scale", "role": "hand", "token_hash": devices.token_hash(token)}
    seq = acting.act(web.book, acting.Action("admit device", fields, who="Dana"), now=clock.now).seq
    for taken in (f"device {seq}: n-1", f" device {seq}: n-1", f"\tdevice {seq}: n-1"):
        web.send(web.form("/do/hold"), item=names["a"], why="dented", request=taken)
        assert re.fullmatch("[0-9a-f]{32}", web.last()["request"])
    answer = web.app.test_client().post(
        "/api/verbs/hold", json={"who": "Kim", "fields": {"item": names["b"], "why": "leaks"}},
        headers={"Authorization": f"Bearer {token}", "Idempotency-Key": "n-1"},
    )  # fmt: skip
    assert answer.status_code == 201, answer.text


def test_the_same_request_from_many_at_once_is_done_once(web, names, clock, serve):
    token = devices.new_token()
    fields = {"device": "scale", "role": "hand", "token_hash": devices.token_hash(token)}
    acting.act(web.book, acting.Action("admit device", fields, who="Dana"), now=clock.now)
    served, before, found = serve(web.book.where, clock), web.head(), []

    def send():
        asked = urllib.request.Request(
            f"{served.address}/api/verbs/hold", data=json.dumps({"who": "Kim", "fields": {"item": names["a"], "why": "x"}}).encode(),
            headers={"Authorization": f"Bearer {token}", "Content-Type": "application/json", "Idempotency-Key": "k"},
        )  # fmt: skip
        try:
            with urllib.request.urlopen(asked, timeout=20) as answer:
                found.append((answer.status, json.load(answer)["seq"]))
        except urllib.error.HTTPError as trouble:
            found.append((trouble.code, trouble.read()))

    threads = [threading.Thread(target=send) for _ in range(10)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(found) == [(200, before + 1)] * 9 + [(201, before + 1)]
    assert web.head() == before + 1


# -- hostile words -----------------------------------------------------------------------------------------------------------------
MARKS = "\"'><img src=x onerror=alert(1)>{{7*7}}=1"


class Tags(HTMLParser):
    """The attributes of a page through which words would become a program."""

    def __init__(self, text):
        super().__init__()
        self.bad = []
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        self.bad += [
            (tag, name)
            for name, value in attributes
            if name.startswith("on") or (value or "").strip().lower().startswith("javascript:")
        ]


def test_hostile_words_in_every_field_stay_words_on_every_page(web, names, clock, helpers):
    def act(verb, **fields):
        clock.now += 1
        return acting.act(
            web.book, acting.Action(verb, fields, who="Dana", station=MARKS[:40], shop="BH"), now=clock.now
        )

    act("add person", name="P" + MARKS, role="owner")
    zone, line = (act(f"add {what}", name=what + MARKS).ids[0] for what in ("zone", "line"))
    act("add system", name="S" + MARKS)
    tote = act(
        "receive",
        supplier="N" + MARKS,
        lot="L" + MARKS,
        side="A",
        system="RX-30",
        net_kg=900,
        totes=1,
        supplier_code="c" + MARKS,
    ).ids[0]
    act("open order", number="o" + MARKS, customer="C" + MARKS, size="20.5-25")
    tire = act(
        "take in",
        customer="C" + MARKS,
        size="20.5-25",
        unit="u" + MARKS,
        serial="s" + MARKS,
        site="si" + MARKS,
        order="o" + MARKS,
    ).ids[0]
    act("return", complaint="co" + MARKS, customer="q" + MARKS, size="s" + MARKS)
    for item in (names["a"], names["sent"], tote, tire):
        act("hold", item=item, why="w" + MARKS)
    act("set limit", limit="cure_temperature", to="73 f", source="d" + MARKS)
    act("open recall", suspect="A-11", why="r" + MARKS)
    act("admit device", device=("d" + MARKS)[:40], token_hash="1a" * 32)
    act("hang sensor", zone="warm room", sensor="se" + MARKS)
    web.choose("P" + MARKS)
    asked = [f"{page}={MARKS}" for page in (
        "/recall?suspect", "/search?q", "/do/hold?why", "/lists/tires?q", "/lists/tires?state", "/lists/customers?q", "/kilograms?by", "/book/verify?kept",
        "/labels?ids", "/pin?person", "/devices?device",
    )]  # fmt: skip
    items = [f"/{page}/{item}" for page in ("i", "lineage") for item in (tote, tire)] + [
        f"/desk/{tire}",
        f"/racks/{zone}",
        f"/cage/{line}",
        f"/zones/{zone}",
    ]
    written = [f"/book/{seq}" for seq in range(web.head() - 16, web.head() + 1)]
    forms = [f"/do/{verb.command}" for verb in registry.everything().values()]
    shown = 0
    for path in [
        *helpers["places_to_look"](names).values(),
        *helpers["more_to_look"](names),
        *asked,
        *items,
        *written,
        *forms,
        "/i/" + MARKS,
        "/" + MARKS,
    ]:
        answer = web.client.get(quote(path, safe="/?=&,:+%"), buffered=True)
        assert answer.status_code < 500, path
        if answer.mimetype in ("text/html", "image/svg+xml"):
            assert not Tags(answer.text).bad, path
            assert "49=1" not in answer.text, path
            shown += "&lt;img" in answer.text
    assert shown > 80


def test_a_form_that_holds_hostile_words_in_each_place_comes_back_with_words(web):
    every = dict.fromkeys(("code", "person", "language", "units", "why", "item", "name", "from", "signed_by", "request", "back", "at", "override", "station", "new", "again", "proof", "tires", "saw", "about", "shop", "who"), MARKS)  # fmt: skip
    before = web.head()
    for rule in web.app.url_map.iter_rules():
        if (
            "POST" in rule.methods
            and roles.need(rule.endpoint).role != roles.TOKEN
            and rule.endpoint != "station.leave"
        ):
            token = web.form("/who").fields["csrf_token"][0]
            answer = web.client.post(
                re.sub("<[^>]+>", "1", rule.rule), data={**every, "csrf_token": token}, buffered=True
            )
            assert answer.status_code < 500, rule
            assert answer.mimetype != "text/html" or not Tags(answer.text).bad, rule
    assert web.head() == before


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20"])
def test_no_cell_of_any_file_begins_as_a_formula(web, clock, sign):
    words = f"{sign}1+1"
    tire = {"customer": words, "size": "20.5-25", "unit": words, "serial": words, "site": words}
    acting.act(web.book, acting.Action("take in", tire, who="Dana", shop="BH", station=words), now=clock.now)
    acting.act(
        web.book,
        acting.Action("add person", {"name": words, "role": "owner"}, who="Dana", shop="BH"),
        now=clock.now,
    )
    acting.act(
        web.book,
        acting.Action("hold", {"lot": "A-11", "why": words}, who=words, shop="BH", station=words),
        now=clock.now,
    )
    seen = 0
    for kind in ("tires", "totes", "batches", "cups", "customers", "events"):
        for row in csv.reader(io.StringIO(web.get(f"/lists/{kind}.csv").text)):
            assert not any(cell.startswith(sign) for cell in row), (kind, row)
            seen += sum(cell == f"'{words}" for cell in row)
    assert seen >= 6


# -- what fits into a cookie -------------------------------------------------------------------------------------------------------
def test_many_long_findings_do_not_overflow_the_cookie_that_carries_them(web, names, monkeypatch):
    """RFC 6265, 6.1: a browser keeps at least 4096 bytes of a cookie; the common ones keep no more, and drop what is longer."""
    real = signing.act

    def with_findings(*args, **kwargs):
        done = real(*args, **kwargs)
        many = tuple(
            {"code": "odd", "words": f"{n} {'čtyři ' * 90}.", "item": "", "holds": False} for n in range(60)
        )
        return acting.Answer(done.shop, done.seq, done.ids, many)

    monkeypatch.setattr(signing, "act", with_findings)
    answer = web.do("hold", item=names["a"], why="dented")
    assert all(len(cookie) < 4096 for cookie in answer.headers.getlist("Set-Cookie"))
    page = web.words(web.get(answer.headers["Location"]))
    assert "0 čtyři" in page and f"More was noted with event {web.head()}: 56." in page


@pytest.mark.parametrize("number", ["²", "٣", "1e3", "+1", "1_0", " 1 ", "0x1", "１"])
def test_a_number_in_odd_digits_is_read_or_refused_and_breaks_nothing(web, number):
    try:
        said = {"name": f"S {number}", "parts_a": number}
        acting.act(
            web.book,
            acting.Action("add system", said, who="Dana", shop="BH"),
            now=web.app.extensions["fillbook"].clock(),
        )
    except ShopError as trouble:
        assert "whole number" in str(trouble)


def test_pages_and_files_are_kept_by_no_cache_that_others_share(web, helpers, names):
    """RFC 9111, 5.2.2.7 (private). What is the same for everybody says so."""
    for rule, path in helpers["places_to_look"](names).items():
        if not rule.startswith("/static/"):
            said = web.client.get(path, buffered=True).headers["Cache-Control"]
            assert "private" in said or "no-store" in said or ("no-cache" in said and "max-age=0" in said), (
                path,
                said,
            )
            assert "public" not in said


# -- pictures, cookies ---------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("size", "refused"), [((4100, 4000), True), ((3900, 4000), False)])
def test_a_small_file_of_many_pixels_is_not_unpacked(web, size, refused):
    """A sound picture of some kilobytes, below what the library itself calls a bomb: the pixels are counted before they are unpacked."""
    out = io.BytesIO()
    Image.new("L", size, 255).save(out, "PNG")
    assert len(out.getvalue()) < 100_000
    out.seek(0)
    answer = post(web, "/scan", 422, photo=(out, "bomb.png"))
    assert ("too many pixels" in web.said(answer)) is refused
    assert ("No code can be read" in web.said(answer)) is not refused


def test_the_stations_cookie_is_no_scripts_and_of_no_other_site(web):
    """RFC 6265bis: HttpOnly, SameSite; without Domain it goes to this host alone."""
    (cookie,) = post(web, "/who", 303, person=person(web, "Lee"), station="dock").headers.getlist(
        "Set-Cookie"
    )
    said = {part.strip().lower() for part in cookie.split(";")[1:]}
    assert {"httponly", "samesite=lax", "path=/"} <= said
    assert not any(part.startswith("domain") for part in said)


@pytest.mark.parametrize("origin", [None, "https://evil.example", "null", "http://localhost.evil.example"])
def test_no_address_takes_a_form_without_its_token(web, names, helpers, origin):
    """Every route that takes a form, with what it would do; only those that ask for a token of their own are free of the forms' guard."""
    web.choose("Dana")  # whom no role stops
    before = [
        web.book.tuples(f"SELECT * FROM {table}")
        for table in ("chain", "sign_in", "draft", "preference", "print_job")
    ]
    looked = helpers["places_to_look"](names)
    tried = 0
    for rule in web.app.url_map.iter_rules():
        if "POST" not in rule.methods or roles.need(rule.endpoint).role == roles.TOKEN:
            continue
        path = re.sub("<[^>]+>", "1", looked.get(rule.rule, rule.rule).split("?")[0])
        said = {
            "item": names["a"],
            "why": "x",
            "person": person(web, "Dana"),
            "new": "8826",
            "again": "8826",
            "code": names["a"],
            "language": "es",
        }
        headers = {} if origin is None else {"Origin": origin}
        for token in ({}, {"csrf_token": ""}, {"csrf_token": "IjEi.Zm9v.YmFy"}):
            answer = web.client.post(path, data={**said, **token}, headers=headers, buffered=True)
            no_file = (
                origin is None and rule.endpoint == "zones.take_file"
            )  # drawn again, it first lacks its file
            assert answer.status_code == (422 if no_file else 400), (path, token, answer.status_code)
            assert origin is None or "older than this station" not in answer.text
        tried += 1
    assert tried > 25
    assert before == [
        web.book.tuples(f"SELECT * FROM {table}")
        for table in ("chain", "sign_in", "draft", "preference", "print_job")
    ]
    assert 'data-who="Dana"' in web.get("/do/hold").text
