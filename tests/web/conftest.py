"""What the tests of the pages share: a filled book, a reader of forms that types as a person does, and a browser where there is one."""

import base64
import contextlib
import importlib.util
import json
import os
import re
import shutil
import sys
import threading
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fillbook.trace.book import print_jobs
from fillbook.trace.book.opening import open_book
from fillbook.trace.web.app import create_app

TESTS = Path(__file__).resolve().parent.parent
SECRET = "only for tests, so it may stand here"
FIRST_CODE = "TEST-CHEX"  # what the terminal shows before an empty book is begun


def the_shop():
    """The invented shop's module, loaded once however many ask."""
    if "the_shop_for_pages" not in sys.modules:
        spec = importlib.util.spec_from_file_location("the_shop_for_pages", TESTS / "the_shop.py")
        module = importlib.util.module_from_spec(spec)
        sys.modules["the_shop_for_pages"] = module
        spec.loader.exec_module(module)
    return sys.modules["the_shop_for_pages"]


# -- forms as a person sees them -----------------------------------------------------------------------------------------------
class Form:
    """One form of a page: where it goes, and what stands in it. ``fields`` maps a name to its values in order."""

    def __init__(self, attributes):
        self.action = attributes.get("action", "")
        self.method = attributes.get("method", "get").lower()
        self.fields: dict[str, list[str]] = {}
        self.offered: dict[str, list[str]] = {}
        self.buttons: list[str] = []

    def filled(self, **typed):
        """What is sent after *typed* was put in: a list for a field that may hold several, None for one left out."""
        sent = {name: list(values) for name, values in self.fields.items()}
        for name, value in typed.items():
            if value is None:
                sent.pop(name, None)
            else:
                sent[name] = value if isinstance(value, list) else [value]
        return sent


class Reader(HTMLParser):
    """Reads the forms, the links and the words of a page."""

    def __init__(self, text):
        super().__init__()
        self.forms, self.addresses, self.tags = [], [], []
        self._form = self._select = self._area = None
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self.tags.append((tag, found))
        self.addresses += [found[name] for name in ("href", "src", "action") if found.get(name)]
        name = found.get("name")
        if tag == "form":
            self._form = Form(found)
            self.forms.append(self._form)
        elif self._form is None:
            return
        elif tag == "input":
            kind = found.get("type", "text")
            if kind in ("radio", "checkbox"):
                self._form.offered.setdefault(name, []).append(found.get("value", ""))
                if "checked" in found:
                    self._form.fields.setdefault(name, []).append(found.get("value", ""))
            elif kind != "file":
                self._form.fields.setdefault(name, []).append(found.get("value", ""))
            else:
                self._form.offered.setdefault(name, []).append("a file")
        elif tag == "select":
            self._select, self._form.offered[name] = name, []
        elif tag == "option" and self._select:
            value = found.get("value", "")
            self._form.offered[self._select].append(value)
            if "selected" in found or self._select not in self._form.fields:
                self._form.fields[self._select] = [value]
        elif tag == "textarea":
            self._area = name
            self._form.fields.setdefault(name, []).append("")
        elif tag == "button":
            self._form.buttons.append(name or "")

    def handle_endtag(self, tag):
        if tag == "form":
            self._form = None
        elif tag == "select":
            self._select = None
        elif tag == "textarea":
            self._form.fields[self._area][-1] = self._form.fields[self._area][-1].removeprefix("\n")
            self._area = None

    def handle_data(self, data):
        self.words += data
        if self._area is not None:
            self._form.fields[self._area][-1] += data


class Web:
    """One browser at one station, without drawing: opens pages, fills forms in, sends them."""

    def __init__(self, app, book):
        self.app, self.book = app, book
        self.client = app.test_client()
        self.now = [0]

    def get(self, path, status=200):
        answer = self.client.get(path, buffered=True)
        assert answer.status_code == status, (path, answer.status_code, self.said(answer))
        return answer

    def read(self, path):
        return Reader(self.get(path).get_data(as_text=True))

    def form(self, path, action=None):
        """The form of a page that goes to *action*; the page's own address, if not said."""
        wanted = action or path.split("?")[0]
        return next(f for f in self.read(path).forms if f.action == wanted)

    def send(self, form, status=303, files=None, **typed):
        """Send *form* with what was *typed*; ``a__b`` in a name stands for ``a.b``, ``a--b`` is written as in the page."""
        if form.action == "/setup" and "code" in form.fields:
            typed.setdefault("code", FIRST_CODE)
        said = form.filled(**{name.replace("__", "."): value for name, value in typed.items()})
        answer = self.client.post(
            form.action, data={**said, **(files or {})}, content_type="multipart/form-data", buffered=True
        )
        assert answer.status_code == status, (form.action, answer.status_code, self.said(answer))
        return answer

    def do(self, verb, status=303, **typed):
        """Type one verb's form and send it."""
        return self.send(self.form(f"/do/{verb.replace(' ', '-')}"), status, **typed)

    def choose(self, name):
        """Say who works at this station."""
        person = self.book.value("SELECT item FROM person WHERE name = ?", name)
        self.send(self.form("/who"), person=person)

    def said(self, answer):
        """What a page says is wrong; all its words where it says nothing of the kind."""
        found = re.search(
            r'role="alert"[^>]*>(?:\s*<svg.*?</svg><p>)?(.*?)</p>', answer.get_data(as_text=True), re.DOTALL
        )
        return found[1] if found else self.words(answer)

    @staticmethod
    def words(answer):
        """What a person reads on the page."""
        return (
            " ".join(Reader(answer.get_data(as_text=True)).words.split())
            if answer.mimetype == "text/html"
            else ""
        )

    def head(self):
        return self.book.value("SELECT max(head_seq) FROM chain")

    def fill_form(self, names):
        """The form of the tire that is being filled, and what is typed: 330 lb at 60 psi."""
        form = self.form(f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}")
        said = {
            "weight_g": "330",
            "weight_g__unit": "lb",
            "pressure_pa": "60",
            "pressure_pa__unit": "psi",
            "mix_e4": "0",
        }
        return form, said

    def finish_fill(self, names, **typed):
        """The page after DONE for the tire that is being filled: 330 lb at 60 psi, but for what is *typed*."""
        form, said = self.fill_form(names)
        return self.get(self.send(form, **{**said, **typed}).headers["Location"])

    def last(self):
        """The newest event."""
        return json.loads(self.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1"))


# -- books -----------------------------------------------------------------------------------------------------------------------
@pytest.fixture(scope="session")
def story(tmp_path_factory):
    """A book in which something of everything has happened, and where to find it: (path, names)."""
    path = str(tmp_path_factory.mktemp("story") / "shop.db")
    return path, tell(the_shop().Shop.start(path))


def tell(shop):
    """Let something of everything happen in *shop*, close its book, and say where to find what."""
    module = the_shop()
    a = shop.act(
        "receive", supplier="Northvale", lot="A-11", side="A", system="RX-30", net_lb=2204, totes=3
    ).ids
    b = shop.act("receive", supplier="Northvale", lot="B-11", side="B", system="RX-30", net_lb=2204, totes=3,
                 use_by=module.times.utc_text(shop.now + 9 * module.DAY)).ids  # fmt: skip
    shop.act("print", items=list(a), how="handed out")
    shop.hook_up(a[0])
    shop.hook_up(b[0])
    first = [shop.fill(shop.tire(unit=f"L-{n}", serial=f"DOT44{n}"), kg=150, minutes=20) for n in range(4)]
    cup = shop.act("pour cup", line="line 1", zone="warm room").ids[0]
    shop.rack(*first)
    shop.wait(hours=60)
    shop.log(61)
    shop.act("read cup", cup=cup, is_set=True, hardness=[30, 31, 29, 30, 32])
    for tire in first[:3]:
        shop.lead("release", tire=tire)
    shop.act("dispatch", tires=first[:2])
    shop.wait(days=3)
    shop.act("reclaim", tire=first[2])
    batch = shop.act(
        "grind", pieces=[{"source": first[2], "weight_kg": 140}, {"source": "unknown", "weight_kg": 20}]
    ).ids[0]
    shop.load(batch, 60)
    shop.hook_up(a[1], change="ran dry")
    purge = shop.act("purge", line="line 1", weight_kg=4).seq
    paper = shop.act(
        "attach", lot="A-11", what="certificate", file=base64.b64encode(b"%PDF-1.4 a certificate").decode()
    ).seq
    held = shop.fill(shop.tire(size="26.5-25"), kg=180, mix_pct=40, pressure_psi=90)
    shop.act("rack", tires=[held], zone="warm room", signed_by="Lee", override="60 psi")
    shop.wait(hours=3)
    shop.log(4)
    waiting = [shop.tire(customer="Harbour Terminal"), shop.tire(customer="Quarry Nine", size="20.5-25")]
    line_3 = shop.lead("add line", name="line 3").ids[0]
    change = shop.tote("A", system="KV-55")
    shop.ready_line("line 3", system="KV-55")
    filling = shop.tire(customer="Fenland Recycling")
    shop.act("start fill", tire=filling, line="line 3")
    returned = shop.act("return", complaint="Soft on one side", customer="Quarry Nine", size="23.5-25").seq
    shop.act("hold", lot="A-11", why="drum found open")
    spike = "".join(f"{shop.ago(minutes=5 * n)},{120 if n == 3 else 74 + n % 2}\n" for n in range(6, 0, -1))
    doubted = shop.act("log temperatures", zone="back rack", csv="time,temp_f\n" + spike).seq
    # Its regrind is not in the hopper any more: of what line 1 runs it keeps nothing
    shop.act("clean", line="line 1", parts="hopper")
    fresh = shop.act("grind", pieces=[{"source": "unknown", "weight_kg": 90}]).ids[0]
    shop.load(fresh, 40)
    recall = shop.lead("open recall", suspect=first[2], why="found soft inside").seq
    shop.lead("lift", lot="A-11", why="it was another drum")
    lee = shop.book.value("SELECT item FROM person WHERE name = 'Lee'")
    print_jobs.begin(
        shop.book,
        "5" * 32,
        "BH",
        list(a),
        asked_at=shop.now,
        who=lee,
        station="dock",
        printer="lp:dock",
        dpi=203,
    )
    names = {
        "a": a[0], "b": b[0], "spare_a": a[2], "spare_b": b[1], "fresh_b": b[2], "sent": first[0], "cured": first[3], "held": held, "waiting": waiting[0],
        "second": waiting[1], "batch": batch, "fresh_batch": fresh, "cup": cup, "line": shop.line, "line_2": shop.line_2, "zone": shop.zone, "zone_2": shop.zone_2,
        "line_3": line_3, "change": change, "filling": filling, "returned": returned, "recall": recall, "doubted": doubted, "purge": purge, "paper": paper, "now": shop.now, "reclaimed": first[2], "hooked": a[1],
    }  # fmt: skip
    shop.book.db.close()
    return names


class Clock:
    """The time the served app goes by, set by the test."""

    def __init__(self, now):
        self.now = now

    def __call__(self):
        return self.now


@pytest.fixture
def names(story):
    return story[1]


@pytest.fixture
def clock(names):
    return Clock(names["now"])


@pytest.fixture
def web(story, clock, tmp_path):
    """A station before a copy of the filled book; Lee, a lead, works there."""
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    app = create_app(path, clock=clock, secret=SECRET, testing=True, first_code=FIRST_CODE)
    book = open_book(path)
    page = Web(app, book)
    page.choose("Lee")
    yield page
    book.db.close()


@pytest.fixture
def empty(tmp_path):
    """A station before a book that holds nothing."""
    path = str(tmp_path / "new.db")
    app = create_app(path, clock=Clock(the_shop().MONDAY), secret=SECRET, testing=True, first_code=FIRST_CODE)
    book = open_book(path)
    yield Web(app, book)
    book.db.close()


def places_to_look(names):
    """Every page that can be looked at: the rule of its route -> an address of it in the filled book."""
    return {
        "/devices": "/devices", "/api": "/api", "/preferences": "/preferences", "/static/words.js": "/static/words.js?language=es",
        "/attached/<int:seq>": f"/attached/{names['paper']}",
        "/": "/", "/search": "/search?q=quarry", "/i/<path:code>": f"/i/{names['sent']}", "/I/<path:code>": f"/I/{names['a']}",
        "/labels": f"/labels?ids={names['a']},{names['sent']}", "/labels/jobs/<job>": f"/labels/jobs/{'5' * 32}", "/labels/faces": "/labels/faces",
        "/labels/faces/<face>": "/labels/faces/tote-label", "/labels/face.png": "/labels/face.png?face=tote+label", "/labels/printers": "/labels/printers",
        "/labels/trial": "/labels/trial", "/dock/codes": "/dock/codes", "/dock": "/dock", "/cage": "/cage", "/fill": "/fill",
        "/cage/<code>": f"/cage/{names['line']}?tire={names['waiting']}", "/racks": "/racks", "/racks/now": "/racks/now", "/racks/morning.pdf": "/racks/morning.pdf", "/desk/sheet.pdf": "/desk/sheet.pdf", "/desk/day-sheet.pdf": "/desk/day-sheet.pdf", "/racks/heating": "/racks/heating", "/desk/several": f"/desk/several?tires={names['cured']},{names['held']}",
        "/zones": "/zones", "/zones/<code>": f"/zones/{names['zone']}", "/zones/<code>/file": f"/zones/{names['zone']}/file",
        "/zones/<code>/tokens": f"/zones/{names['zone']}/tokens", "/racks/<code>": f"/racks/{names['zone']}", "/desk": "/desk", "/desk/<code>": f"/desk/{names['cured']}",
        "/regrind": "/regrind", "/holds": "/holds", "/recall": "/recall?suspect=B-11", "/recall.json": "/recall.json?suspect=B-11",
        "/recall.csv": "/recall.csv?suspect=B-11", "/recall/<int(max=999999999999):seq>": f"/recall/{names['recall']}", "/recall/<int(max=999999999999):seq>.csv": f"/recall/{names['recall']}.csv", "/recall/<int(max=999999999999):seq>/close": f"/recall/{names['recall']}/close", "/identify": "/identify",
        "/identify/<int(max=999999999999):seq>": f"/identify/{names['returned']}", "/book": "/book", "/book/verify": "/book/verify",
        "/book/<int(max=999999999999):seq>": f"/book/{names['purge']}", "/do": "/do", "/do/<name>": "/do/take-in", "/setup": "/setup", "/who": "/who",
        "/cage/<code>/change/<tote>": f"/cage/{names['line_3']}/change/{names['change']}",
        "/kilograms": "/kilograms?by=tote", "/kilograms/lines": "/kilograms/lines?since=first", "/recall/how-sure": "/recall/how-sure?suspect=B-11", "/orders": "/orders", "/habits": "/habits", "/people": "/people", "/pin": "/pin",
        "/lineage/<path:code>": f"/lineage/{names['sent']}", "/static/<path:filename>": "/static/fillbook.css",
        "/lists": "/lists", "/lists/<kind>": "/lists/tires", "/lists/<kind>.csv": "/lists/tires.csv?state=racked", "/help": "/help", "/help/<name>": "/help/fill",
    }  # fmt: skip


def more_to_look(names):
    """Further faces of the same pages."""
    return [
        f"/i/{names['a']}", f"/i/{names['batch']}", f"/i/{names['cup']}", f"/i/{names['zone']}", f"/i/{names['line']}", f"/i/{names['held']}",
        f"/desk/{names['held']}", f"/desk/{names['sent']}", f"/desk/{names['waiting']}", f"/cage/{names['line_2']}", f"/cage/{names['line']}",
        "/labels", f"/labels?ids={names['a']}&paper=letter&columns=3&rows=5", "/labels/faces/tire-tag", "/recall", "/search", "/do/hook-up", "/do/grind", "/do/log-temperatures", "/do/return", "/do/rack", "/do/attach",
        f"/book/{names['returned']}", f"/racks/{names['zone_2']}", f"/racks?tires={names['waiting']},{names['second']}", f"/lineage/{names['batch']}", "/kilograms", f"/cage/{names['line_3']}",
    ]  # fmt: skip


# -- a browser -------------------------------------------------------------------------------------------------------------------
QUIET = (
    "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync",
)  # fmt: skip


@pytest.fixture(scope="session")
def chromium():
    """A headless browser. Without one these tests are skipped on a user's machine, and fail where CI says so."""
    where = next(
        filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "chrome"))), None
    )
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        where = None
    if where is None:
        reason = "no chromium on this machine: install it to try the pages in a browser"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=where, args=list(QUIET))
        yield browser
        browser.close()


class Served:
    """A running server, its address, and the clock it goes by."""

    def __init__(self, app, clock):
        from waitress.server import create_server

        self.clock, self.app = clock, app
        self.server = create_server(app, host="127.0.0.1", port=0, threads=4)
        self.address = f"http://127.0.0.1:{self.server.effective_port}"
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()

    def _run(self):
        with contextlib.suppress(OSError):  # closed under it
            self.server.run()

    def stop(self):
        """Close it in its own thread, once no worker is left: one that woke the loop through a closed pipe would write into whatever
        file has that number by then, such as the next test's book."""
        self.server.task_dispatcher.shutdown(timeout=5)
        self.server.trigger.pull_trigger(self._close)
        self.thread.join(timeout=10)

    def _close(self):
        for channel in list(self.server.active_channels.values()):
            channel.close()
        self.server.close()


@pytest.fixture
def serve():
    """Starts servers and stops them: ``serve(path, clock)``."""
    running = []

    def start(path, clock):
        running.append(Served(create_app(path, clock=clock, secret=SECRET, first_code=FIRST_CODE), clock))
        return running[-1]

    yield start
    for one in running:
        one.stop()


@pytest.fixture
def sams_phone(chromium, serve, story, tmp_path, helpers):
    """Sam at a phone, on a copy of the story's book that is served ten minutes after it ends: the page, names, and the book's path."""
    path, names = story
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    running = serve(mine, helpers["Clock"](names["now"] + 600))
    context = chromium.new_context(viewport={"width": 390, "height": 844}, base_url=running.address)
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()
    yield page, names, mine
    context.close()


@pytest.fixture
def helpers():
    """The names other test files may use from here."""
    return {
        "places_to_look": places_to_look,
        "more_to_look": more_to_look,
        "Reader": Reader,
        "Web": Web,
        "Clock": Clock,
        "the_shop": the_shop(),
    }
