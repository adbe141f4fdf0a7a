"""Signing as the pages ask it: the PIN's field, the code of the first start, one's own PIN, and a sign-in that ran out."""

import json
import re

import pytest
from click.testing import CliRunner

from fillbook.trace.book import queries, sign_ins
from fillbook.trace.cli.commands import cli
from fillbook.trace.cli.serving import code_of_this_start
from fillbook.trace.web import here
from fillbook.trace.web.app import create_app
from fillbook.trace.work import pins, signing

HOUR = 3600
RECEIVE = {
    "supplier": "Northvale",
    "lot": "A-77",
    "side": "A",
    "system": "RX-30",
    "totes": "2",
    "net_g": "2204",
}


@pytest.fixture(autouse=True)
def quick_hashes(monkeypatch):
    monkeypatch.setattr(pins, "COST", 2**4)


def person(web, name):
    return queries.person(web.book, "BH", name)["item"]


def set_pins(web, clock, **of):
    with web.book.transaction():
        for name, pin in of.items():
            sign_ins.keep(web.book, "BH", person(web, name), pin=pins.kept(pin))


def again(web, answer, action, helpers):
    return next(f for f in helpers["Reader"](answer.get_data(as_text=True)).forms if f.action == action)


def kinds(web):
    return [kind for (kind,) in web.book.tuples("SELECT kind FROM event ORDER BY seq")]


# -- the field -------------------------------------------------------------------------------------------------------------------
def test_a_shop_without_pins_is_asked_for_none_and_its_owner_is_told(web, names):
    assert "pin" not in web.form(f"/desk/{names['cured']}").fields
    assert "Nobody has a PIN yet" not in web.words(web.get("/"))
    web.choose("Dana")
    for path in ("/", "/book", "/people"):
        assert "Nobody has a PIN yet" in web.words(web.get(path))
    assert "Nobody has a PIN yet" not in web.words(web.get("/racks"))


def test_the_pin_is_asked_in_the_forms_of_signed_acts_and_in_no_other(web, names, clock):
    set_pins(web, clock, Lee="402817", Dana="7391")
    for path in (
        f"/desk/{names['cured']}",
        "/do/lift",
        "/do/set-limit",
        "/do/correct",
        f"/book/{names['purge']}",
        "/do/add-person",
    ):
        text = web.get(path).get_data(as_text=True)
        field = re.search(r'<input[^>]* name="pin"[^>]*>', text)[0]
        assert (
            'type="password"' in field
            and 'inputmode="numeric"' in field
            and 'autocomplete="off"' in field
            and "value" not in field
        )
    for path in (
        "/dock",
        f"/cage/{names['line']}?tire={names['waiting']}",
        "/do/rack",
        "/do/hold",
        "/desk",
        "/regrind",
    ):
        assert 'name="pin"' not in web.get(path).get_data(as_text=True), path
    web.choose("Dana")
    assert "Nobody has a PIN yet" not in web.words(web.get("/"))


def test_who_works_here_stands_as_the_signer_and_a_hand_has_to_choose(web, names, clock):
    set_pins(web, clock, Lee="402817", Dana="7391")
    assert web.form(f"/desk/{names['cured']}").fields["signed_by"] == [person(web, "Lee")]
    web.choose("Sam")
    form = web.form(f"/desk/{names['cured']}")
    assert form.fields["signed_by"] == [""] and person(web, "Sam") not in form.offered["signed_by"]
    web.send(form, signed_by=person(web, "Dana"), pin="7391")
    assert web.last()["signed_by"] == person(web, "Dana") and web.last()["who"] == person(web, "Sam")


def test_a_wrong_pin_is_said_and_what_was_typed_stays_but_for_the_pin(web, names, clock, helpers):
    set_pins(web, clock, Lee="402817")
    before = web.head()
    form = web.form("/do/set-limit")
    answer = web.send(form, 403, limit="cure_standard", to="50 h", source="the data sheet", pin="996611")
    assert "That is not what Lee signs with. 4 more wrong ones" in web.said(answer).replace("&#39;", "'")
    assert "996611" not in answer.text and web.head() == before
    form = again(web, answer, "/do/set-limit", helpers)
    assert (form.fields["source"], form.fields["pin"]) == (["the data sheet"], [""])
    web.send(form, pin="402817")
    assert web.last()["kind"] == "set limit" and "402817" not in json.dumps(web.last())


def test_an_override_of_an_everyday_act_asks_for_the_pin_too(web, names, clock, helpers):
    set_pins(web, clock, Lee="402817")
    web.do("hold", item=names["waiting"], why="dent")
    form = web.form(f"/do/start-fill?tire={names['waiting']}&line={names['line']}")
    assert "pin" not in form.fields
    answer = web.send(form, 409)
    form = again(web, answer, form.action, helpers)
    assert "pin" in form.fields and "override" in form.fields
    assert web.send(form, 403, override="looked at it").status_code == 403
    web.send(form, override="looked at it", pin="402817")
    assert web.last()["kind"] == "start fill"


def test_five_wrong_ones_lock_with_the_time_until_when_and_an_owner_lifts_it(web, names, clock):
    set_pins(web, clock, Lee="402817", Dana="7391")
    for _ in range(4):
        web.send(web.form(f"/desk/{names['cured']}"), 403, pin="118823")
    words = web.words(web.send(web.form(f"/desk/{names['cured']}"), 403, pin="118823"))
    assert re.search(r"5 wrong PINs for Lee: nobody signs as Lee until \d{4}-\d\d-\d\d \d\d:\d\d", words)
    assert "nobody signs as Lee" in web.words(
        web.send(web.form(f"/desk/{names['cured']}"), 403, pin="402817")
    )
    assert kinds(web)[-1] == "wrong PINs"
    assert "wrong PINs; signing had to wait" in web.words(web.get(f"/i/{person(web, 'Lee')}"))
    assert web.get(f"/book/{web.head()}")  # the event has a page, and no form to change it
    web.choose("Dana")
    page = web.get("/people").text
    assert "after wrong PINs" in page and 'formaction="/people/lift"' in page
    form = web.form("/people", "/people/code")
    form.action = "/people/lift"
    web.send(form, 403, person=person(web, "Lee"), pin="402817")
    web.send(form, person=person(web, "Lee"), pin="7391")
    web.choose("Lee")
    web.send(web.form(f"/desk/{names['cured']}"), pin="402817")
    assert web.last()["kind"] == "release"


def test_a_tried_correction_needs_no_pin_and_writes_nothing(web, names, clock):
    set_pins(web, clock, Lee="402817")
    before = web.head()
    form = web.form(f"/book/{names['purge']}")
    assert "This would change" in web.words(
        web.send(form, 200, look="yes", why="misread", **{"new-weight_g": "5"})
    )
    web.send(form, 403, why="misread", **{"new-weight_g": "5"})
    assert web.head() == before


# -- one's own PIN -----------------------------------------------------------------------------------------------------------------
def test_the_first_owner_sets_a_pin_freely_and_gives_the_others_their_codes(web, helpers):
    web.choose("Dana")
    form = web.form("/pin")
    assert "proof" not in form.fields
    assert "guessed too soon" in web.said(web.send(form, 422, new="1234", again="1234"))
    assert "not the same" in web.said(web.send(form, 422, new="7391", again="7392"))
    answer = web.send(form, new="7391", again="7391")
    assert answer.location == "/people" and "Still without one: Lee" in web.words(web.get("/people"))
    assert "proof" in web.form("/pin").fields
    page = web.send(web.form("/people", "/people/code"), 200, person=person(web, "Lee"), pin="7391")
    code = re.search(r'<p class="code">([A-Z0-9-]{9})</p>', page.text)[1]
    assert code not in web.get("/people").text  # it was shown this once
    web.choose("Lee")
    form = web.form("/pin")
    assert "no code to compare" not in web.said(
        web.send(form, 403, proof="ABCD-EFGH", new="4028", again="4028")
    )
    web.send(form, proof=code, new="4028", again="4028")
    assert kinds(web)[-3:] == ["PIN changed"] * 3
    web.do("add line", name="line 9", pin="4028")


def test_what_was_typed_as_a_pin_or_code_never_comes_back_into_the_page(web, clock):
    set_pins(web, clock, Lee="402817")
    answer = web.send(web.form("/pin"), 403, proof="118823", new="550912", again="550912")
    assert not {"118823", "550912"} & set(re.findall(r"\d+", answer.text))


def test_the_people_page_names_roles_badges_and_pins(web, clock):
    set_pins(web, clock, Lee="402817")
    web.choose("Dana")
    words = web.words(web.get("/people"))
    assert "has a PIN" in words and "needs no PIN" in words and "no PIN yet" in words
    text = web.get("/people").text
    assert f'href="/labels?ids={person(web, "Sam")}"' in text and 'action="/do/add-person"' in text


# -- the first start -----------------------------------------------------------------------------------------------------------------
FIRST = {"site": "BH", "name": "Bramble Hill", "owner": "Dana", "timezone": "America/Chicago"}


@pytest.mark.parametrize("code", ["", "AAAA-BBBB", None])
def test_nobody_begins_the_book_without_the_code_of_the_terminal(empty, code):
    answer = empty.send(empty.form("/setup"), 403, code=code, **FIRST)
    assert "That is not the code of this start" in empty.words(answer) and "Bramble Hill" in answer.text
    assert empty.book.shops() == []


def test_the_owner_may_set_a_pin_in_the_same_breath(empty):
    assert "guessed too soon" in empty.words(empty.send(empty.form("/setup"), 422, new="4444", **FIRST))
    assert empty.book.shops() == []
    answer = empty.send(empty.form("/setup"), new="7391", code="test chex", **FIRST)
    assert answer.location == "/"
    signing.check_pin(empty.book, "BH", "Dana", "7391", empty.app.extensions["fillbook"].clock())
    assert "Nobody has a PIN yet" not in empty.words(empty.get("/"))


def test_only_the_terminal_shows_the_code_and_each_start_a_new_one(tmp_path):
    path = str(tmp_path / "new.db")
    one, other = create_app(path, testing=True), create_app(path, testing=True)
    code = code_of_this_start(one)
    assert re.fullmatch(r"[A-Z2-9]{4}-[A-Z2-9]{4}", code) and code != code_of_this_start(other)
    for path in ("/setup", "/", "/who", "/people"):
        assert code not in one.test_client().get(path, follow_redirects=True).text


def test_a_book_that_was_begun_shows_no_code(web):
    assert code_of_this_start(web.app) is None
    assert "code" not in web.form("/setup").fields


def test_a_further_shop_takes_an_owner_who_signs_and_no_other_way_leads_there(web, clock):
    set_pins(web, clock, Dana="7391", Lee="402817")
    other = {"site": "ZX", "name": "Other Works", "owner": "Kit"}
    form = web.form("/setup")
    for said in (
        {"pin": "402817"},
        {"pin": "402817", "signed_by": person(web, "Lee")},
        {"signed_by": person(web, "Dana")},
    ):
        web.send(form, 403, **{**other, **said})
    hidden = web.client.post("/do/set-up-shop", data={**form.filled(**other)})
    assert hidden.status_code == 403 and web.book.shops() == ["BH"]
    web.send(form, signed_by=person(web, "Dana"), pin="7391", **other)
    assert web.book.shops() == ["BH", "ZX"]


def test_a_lost_pin_is_helped_at_the_servers_terminal(web, clock):
    import time

    clock.now = int(time.time())
    set_pins(web, clock, Dana="7391")
    said = CliRunner().invoke(cli, ["--book", web.book.where, "new-pin-code", "dana"])
    code = re.search(r"Dana's one-time code: (\S+)", said.output)[1]
    web.choose("Dana")
    web.send(web.form("/pin"), proof=code, new="8826", again="8826")
    signing.check_pin(web.book, "BH", "Dana", "8826", clock.now)
    said = CliRunner().invoke(cli, ["--book", web.book.where, "new-pin-code", "Nobody"])
    assert said.exit_code == 1 and "is not in this book" in said.output


def test_the_table_of_roles_is_printed():
    said = CliRunner().invoke(cli, ["roles"]).output
    assert re.search(r"^release +lead +PIN$", said, re.MULTILINE) and re.search(
        r"^POST +/desk/<code> +lead \+ PIN +release$", said, re.MULTILINE
    )
    table = json.loads(CliRunner().invoke(cli, ["roles", "--json"]).output)
    assert {"verb": "hook up", "role": "hand", "pin": False} in table["verbs"]


# -- the shift -------------------------------------------------------------------------------------------------------------------
def test_a_station_stays_signed_in_while_it_is_used_and_forgets_after_a_shift(web, clock):
    for _ in range(4):
        clock.now += here.SHIFT_S - 60
        assert "Who works here?" not in web.words(web.get("/"))
    clock.now += here.SHIFT_S + 1
    assert "Who works here?" in web.words(web.get("/"))


def test_a_form_sent_after_the_shift_comes_back_filled_and_asks_only_who(web, clock, helpers):
    form = web.form("/do/receive")
    before = web.head()
    clock.now += 13 * HOUR
    answer = web.send(form, 404, **RECEIVE)
    words = web.words(answer)
    assert "stood unused for a shift" in words and "What you typed is kept" in words and web.head() == before
    form = again(web, answer, "/do/receive", helpers)
    assert (form.fields["lot"], form.fields["net_g"], form.fields["who"]) == (["A-77"], ["2204"], [""])
    web.send(form, who=person(web, "Sam"))
    assert web.last()["who"] == person(web, "Sam") and web.last()["body"]["said"]["lot"] == "A-77"


@pytest.mark.parametrize("lost", ["the cookie", "the token"])
def test_a_form_older_than_the_sign_in_comes_back_filled_and_can_be_sent_again(web, helpers, lost):
    form = web.form("/do/receive")
    before = web.head()
    if lost == "the cookie":
        web.client = web.app.test_client()
    else:
        form.fields["csrf_token"] = ["older than the key"]
    answer = web.send(form, 400, **RECEIVE)
    assert "What you typed is kept below" in web.words(answer) and web.head() == before
    form = again(web, answer, "/do/receive", helpers)
    assert form.fields["lot"] == ["A-77"]
    web.send(form, **({"who": person(web, "Sam")} if lost == "the cookie" else {}))
    assert web.last()["body"]["said"]["lot"] == "A-77"


def test_a_pasted_file_and_a_correction_are_kept_too(web, names, helpers):
    web.client = web.app.test_client()
    lines = "time,temp_f\n2025-09-02T08:00:00-05:00,75\n2025-09-02T08:05:00-05:00,75\n"
    form = web.form("/do/log-temperatures")
    form.fields["csrf_token"] = ["old"]
    answer = web.send(form, 400, zone=names["zone_2"], csv=lines)
    assert "08:05:00-05:00,75" in again(web, answer, "/do/log-temperatures", helpers).fields["csv"][0]
    path = f"/book/{names['purge']}"
    form = web.form(path)
    form.fields["csrf_token"] = ["old"]
    before = web.head()
    answer = web.send(form, 400, why="misread the scale", pin="402817", **{"new-weight_g": "5"})
    form = again(web, answer, path, helpers)
    assert (form.fields["why"], form.fields["new-weight_g"]) == (["misread the scale"], ["5"])
    assert "402817" not in answer.text and web.head() == before


def test_a_form_another_site_sends_is_not_drawn_with_its_words(web):
    answer = web.client.post(
        "/do/hold",
        data={"lot": "A-11", "why": "typed by nobody here"},
        headers={"Origin": "http://elsewhere.example"},
    )
    assert answer.status_code == 400 and "typed by nobody here" not in answer.text


def test_in_a_book_of_two_shops_a_form_knows_its_shop_when_the_cookie_is_gone(web, helpers):
    web.choose("Dana")
    web.send(web.form("/setup"), site="ZX", name="Other Works", owner="Kit", timezone="UTC")
    web.choose("Sam")
    form = web.form("/do/receive")
    assert form.fields["shop"] == ["BH"]
    web.client = web.app.test_client()
    answer = web.send(form, 400, **RECEIVE)
    form = again(web, answer, "/do/receive", helpers)
    kit = queries.person(web.book, "ZX", "Kit")["item"]
    assert web.send(form, 404, who=kit).status_code == 404  # a person of one shop does not act in the other
    web.send(form, who=person(web, "Sam"))
    assert (
        json.loads(web.book.value("SELECT text FROM event WHERE shop = 'BH' ORDER BY seq DESC LIMIT 1"))[
            "kind"
        ]
        == "receive"
    )


def test_a_badge_is_enough_and_a_shift_can_be_ended(web):
    web.send(web.form("/", "/scan"), code=f"HTTP://FILLBOOK.LOCAL/I/{person(web, 'Kim')}")
    web.do("hold", lot="B-11", why="smells odd")
    assert web.last()["who"] == person(web, "Kim")
    web.send(web.form("/who", "/who/leave"))
    assert "Who works here?" in web.words(web.get("/"))
