"""Who may do what: every route of the URL map and every verb, walked by nobody, a hand, a lead and the owner, with PINs wrong and right.

The table (``fillbook roles``) is what is walked, so a page without a line fails here, and refuses.
"""

import importlib.util
import io
import re
import shutil
from pathlib import Path

import pytest

from fillbook import resource
from fillbook.trace.book import queries, sign_ins
from fillbook.trace.book.opening import open_book
from fillbook.trace.web import roles
from fillbook.trace.web.app import create_app
from fillbook.trace.work import devices, pins, registry, signing

_spec = importlib.util.spec_from_file_location("what_is_typed", Path(__file__).with_name("test_forms.py"))
forms = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(forms)

PEOPLE = {"nobody": None, "hand": "Sam", "lead": "Lee", "owner": "Dana"}
PIN = {"Sam": "550912", "Lee": "402817", "Dana": "739164"}
WRONG = "118823"
RANK = {name: n for n, name in enumerate(roles.ROLES)}


@pytest.fixture(scope="module")
def pinned(story, tmp_path_factory):
    """The filled book, where everybody has a PIN; their hashes are quick ones, as hundreds are tried."""
    path = str(tmp_path_factory.mktemp("pinned") / "shop.db")
    shutil.copy(story[0], path)
    book = open_book(path)
    with book.transaction():
        for name, pin in PIN.items():
            person = queries.person(book, "BH", name)["item"]
            sign_ins.keep(book, "BH", person, pin=pins.kept(pin, cost=2**4))
    book.db.close()
    return path


@pytest.fixture
def station(pinned, clock, tmp_path, monkeypatch):
    """``station(who)``: a fresh copy of the book, with *who* at the station."""
    monkeypatch.setattr(pins, "COST", 2**4)
    opened = []

    def stand(who, web_class):
        path = str(tmp_path / f"{len(opened)}.db")
        shutil.copy(pinned, path)
        book = open_book(path)
        page = web_class(create_app(path, clock=clock, secret="for the walk only", testing=True), book)
        opened.append(book)
        if who:
            page.choose(who)
        return page

    yield stand
    for book in opened:
        book.db.close()


@pytest.fixture
def at(station, web):
    """``at("lead")``: a station where somebody of that role works."""
    return lambda role: station(PEOPLE[role], type(web))


def head(page):
    return page.book.tuples("SELECT shop, head_seq, head_hash FROM chain ORDER BY shop")


def post(page, path, said, files=None):
    """Send *said* to *path* as a form of this station, whatever the page offers."""
    token = page.form("/who").fields["csrf_token"][0]
    data = {"csrf_token": token, **said, **(files or {})}
    return page.client.post(path, data=data, content_type="multipart/form-data", buffered=True)


# -- the table -------------------------------------------------------------------------------------------------------------------
def test_every_route_has_a_line_and_every_line_a_route(web):
    assert roles.missing(web.app) == []


def test_a_route_without_a_line_is_refused_and_told_how_to_get_one(web):
    app = create_app(web.book.where, clock=lambda: 0, secret="for this page only", testing=True)
    app.add_url_rule("/odd/place", "odd.place", lambda: "open to all")
    assert any('"odd.place": READ' in words for words in roles.missing(app))
    answer = app.test_client().get("/odd/place")
    assert answer.status_code == 403
    assert "no line in PAGES of trace/web/roles.py" in web.words(answer) and "open to all" not in answer.text


def test_the_printed_table_says_role_and_pin_of_each_route(web):
    table = {(row["method"], row["path"]): row["needs"] for row in roles.table(web.app)}
    assert table["POST", "/desk/<code>"] == "lead + PIN"
    assert table["POST", "/cage/<code>/finish/<tire>"] == "hand"
    assert table["GET", "/people"] == "owner" and table["POST", "/people/code"] == "owner + PIN"
    assert table["GET", "/racks"] == "nobody"
    assert {needs.removesuffix(" + PIN") for needs in table.values()} <= {
        *roles.ROLES,
        roles.TOKEN,
        "as its verb",
    }


def test_pages_write_through_the_signed_way_only():
    """A correction's trial is undone and writes nothing; everything else goes by signing.act, which asks for the PIN."""
    folder = Path(roles.__file__).parent
    found = {
        str(path.relative_to(folder)) for path in folder.rglob("*.py") if re.search(r"\bacting\.act\(|import act\b", path.read_text("utf-8"))
    }  # fmt: skip
    assert found == {"office/trial.py", "labels/jobs.py"}
    jobs = (folder / "labels/jobs.py").read_text("utf-8")
    noted = set(re.findall(r'Action\(\s*"([a-z ]+)"', jobs))
    assert noted and not any(
        registry.find(verb).pin for verb in noted
    )  # what became of a print, for whoever asked for it


# -- looking ---------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("role", PEOPLE)
def test_every_page_opens_for_its_role_and_no_lesser_one(at, helpers, names, role):
    page = at(role)
    before = head(page)
    needed = {
        rule.rule: roles.need(rule.endpoint)
        for rule in page.app.url_map.iter_rules()
        if "GET" in rule.methods
    }
    tried = 0
    for rule, path in helpers["places_to_look"](names).items():
        need = needed[rule]
        if need.role == roles.TOKEN:
            continue
        allowed = RANK[need.role] <= RANK[role]
        answer = page.client.get(path, buffered=True)
        assert answer.status_code == (200 if allowed else 403), (role, path, answer.status_code)
        if not allowed:
            assert "This is for" in page.words(answer) and "Say at the top who works here" in page.words(
                answer
            )
            tried += 1
    assert head(page) == before
    assert tried == (
        0 if role == "owner" else sum(RANK[n.role] > RANK[role] for n in needed.values() if n.role in RANK)
    )


# -- writing ---------------------------------------------------------------------------------------------------------------------
def typed(page, names, verb):
    """What is typed for *verb*, without a signer; what has to have happened before is done at the terminal."""
    said = {k: v for k, v in forms.typed(names)[verb].items() if k != "signed_by"}
    if verb == "account for":  # the recall that was just opened for it
        said["recall"] = str(page.book.value("SELECT max(seq) FROM recall"))
    if verb == "attach":
        return said, lambda: {"file": (io.BytesIO(forms.PNG), "drum.png")}
    return said, lambda: {}


def prepare(page, names, verb):
    """The acts that come first, as the commands do them: without a PIN."""
    from fillbook.trace.work import acting

    for earlier in forms.BEFORE.get(verb, []):
        said = forms.typed(names)[earlier]
        fields = {"pause": {"tire": said.get("tire"), "weight_lb": 50}}.get(
            earlier, {k: v for k, v in said.items() if k != "signed_by"}
        )
        acting.act(page.book, acting.Action(earlier, fields, who="Dana", shop="BH"), now=page.clock())
        page.clock.now += 600


def guesses(name):
    return {"none": None, "wrong": WRONG, "right": PIN.get(name, PIN["Lee"])}


#: A form of its own makes what is sent here: any other's has the keys it takes.
ELSEWHERE = {"admit device": "/do/dismiss-device"}


@pytest.mark.parametrize(
    "verb", [v for v in sorted(registry.everything()) if v not in ("set up shop", "settle")]
)
def test_every_verb_takes_its_role_and_its_pin(at, names, clock, verb):
    """By its form at /do: who may not is refused and the journal stays; who may is not refused for role or PIN."""
    needs = registry.find(verb)
    path = f"/do/{needs.command}"
    for role, name in PEOPLE.items():
        page = at(role)
        page.clock = clock
        prepare(page, names, verb)
        said, files = typed(page, names, verb)
        form = page.form(ELSEWHERE.get(verb, path))
        overrides = "override" in said  # an everyday act that has to be overridden: a lead's, with a PIN
        least = "lead" if overrides and needs.role == "hand" else needs.role
        asks = needs.pin or overrides
        before = head(page)
        for pin_is, pin in guesses(name).items():
            answer = post(page, path, {**form.filled(**said), **({"pin": pin} if pin else {})}, files())
            fine = role != "nobody" and RANK[role] >= RANK[least] and (pin_is == "right" or not asks)
            if not fine:
                want = 404 if role == "nobody" else 403
                assert answer.status_code == want, (role, pin_is, answer.status_code, page.said(answer))
                assert head(page) == before, (role, pin_is)
                continue
            assert answer.status_code == 303, (role, pin_is, page.said(answer))
            assert page.last()["kind"] == verb and head(page) != before
            break
        if pin := guesses(name)["right"]:
            assert pin not in answer.get_data(as_text=True)


EXAMPLES = {  # the address of a page that takes a signed verb, where it is not that of a page to look at
    "/dock/codes": "/dock/codes", "/labels/printers": "/labels/printers",
}  # fmt: skip


def test_every_page_that_takes_a_signed_verb_asks_for_the_pin(at, helpers, names, clock):
    """The desk, an event's page, an identification…: each by its own address, as a hand who knows it would try."""
    page = at("lead")
    looked = helpers["places_to_look"](names)
    signed = {
        rule.rule: roles.need(rule.endpoint).verb for rule in page.app.url_map.iter_rules()
        if "POST" in rule.methods and (verb := roles.need(rule.endpoint).verb) and verb != roles.ANY_VERB and registry.find(verb).pin
    }  # fmt: skip
    assert {
        "/desk/<code>",
        "/identify/<int(max=999999999999):seq>",
        "/book/<int(max=999999999999):seq>",
    } <= set(signed)
    for rule, verb in sorted(signed.items()):
        path = looked.get(rule, EXAMPLES.get(rule, rule)).split("?")[0]
        assert "<" not in path, f"EXAMPLES of this test needs an address for {rule}"
        said = {
            k: v
            for k, v in forms.typed(names)[verb].items()
            if k not in ("signed_by", "event", "tire", "face")
        }
        if verb == "correct":
            said = {"void": "yes", "why": "misread"}
        if rule == "/devices":
            said["token"] = devices.new_token()
        if rule == "/desk/several":
            said |= {"all": names["cured"], "tires": names["cured"]}
        signer = registry.find(verb).role
        for role in ("nobody", "hand", signer):
            page = at(role)
            page.clock = clock
            prepare(page, names, verb)
            before = head(page)
            for pin in (None, WRONG):
                answer = post(page, path, {**said, **({"pin": pin} if pin else {})})
                assert answer.status_code == (404 if role == "nobody" else 403), (
                    rule,
                    role,
                    page.said(answer),
                )
                assert head(page) == before, (rule, role)
        answer = post(page, path, {**said, "pin": PIN[PEOPLE[signer]]})
        assert answer.status_code in (200, 303) and page.last()["kind"] == verb, (rule, page.said(answer))


@pytest.mark.parametrize("role", PEOPLE)
def test_an_empty_or_hostile_form_at_every_address_is_answered_and_changes_nothing(at, helpers, names, role):
    page = at(role)
    looked = helpers["places_to_look"](names)
    before = head(page)
    for rule in page.app.url_map.iter_rules():
        need = roles.need(rule.endpoint)
        if "POST" not in rule.methods or need.role == roles.TOKEN or rule.endpoint == "station.leave":
            continue
        path = re.sub(r"<[^>]+>", "1", looked.get(rule.rule, rule.rule).split("?")[0])
        for said in (
            {},
            {
                "pin": WRONG,
                "signed_by": "Dana",
                "person": "Lee",
                "new": "8826",
                "again": "8826",
                "proof": "AAAA-BBBB",
            },
        ):
            answer = post(page, path, said)
            assert answer.status_code < 500, (path, answer.status_code)
            if RANK[need.role] > RANK[role]:
                assert answer.status_code == 403, (path, answer.status_code)
    later = {kind for (kind,) in page.book.tuples("SELECT kind FROM event WHERE seq > ?", before[0][1])}
    everyday = {
        name for name, verb in registry.everything().items() if not verb.pin
    }  # a tote change says all by its address
    assert later <= {"wrong PINs", *(everyday if role != "nobody" else ())}
    assert sign_ins.row(page.book, queries.person(page.book, "BH", "Lee")["item"]).pin is not None
    signing_as = {row[0] for row in page.book.tuples("SELECT person FROM sign_in WHERE code IS NOT NULL")}
    assert not signing_as, "a code was given to somebody who may not have it"


@pytest.mark.parametrize(("role", "pin", "status"), [
    ("nobody", PIN["Dana"], 403), ("hand", PIN["Sam"], 403), ("lead", PIN["Lee"], 403), ("owner", None, 403), ("owner", WRONG, 403),
    ("owner", PIN["Dana"], 200),
])  # fmt: skip
def test_a_code_is_given_by_an_owner_who_signs(at, role, pin, status):
    page = at(role)
    before = head(page)
    sam = queries.person(page.book, "BH", "Sam")["item"]
    answer = post(page, "/people/code", {"person": sam, **({"pin": pin} if pin else {})})
    assert answer.status_code == status
    assert (head(page) != before) == (status == 200)
    given = re.search(r'<p class="code">([A-Z0-9-]+)</p>', answer.text)
    assert bool(given) == (status == 200)
    if given:
        assert answer.headers["Cache-Control"] == "no-store"
        assert signing.set_pin(
            page.book, "BH", "Sam", "8826", proof=given[1], now=page.app.extensions["fillbook"].clock()
        )


def test_every_static_file_is_open_and_nothing_beside_them(web):
    assert web.get("/static/fillbook.css").data == resource("static/fillbook.css").read_bytes()
    assert web.client.get("/static/../trace/web/roles.py").status_code == 404
