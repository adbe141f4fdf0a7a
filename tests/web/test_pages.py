"""Every page: it answers, it is light, it fetches nothing from elsewhere, it writes nothing; and scanning finds the right one."""

import gzip
import re

import pytest

from fillbook import resource
from fillbook.trace.core import ids

LIGHT = 25_000  # bytes, compressed


@pytest.fixture
def owners(web):
    """The filled book before its owner, who may look at everything."""
    web.choose("Dana")
    return web


def rules(app):
    """What a browser opens; the calls of programs, under /api/, are walked in test_api.py."""
    return sorted(
        rule.rule
        for rule in app.url_map.iter_rules()
        if "GET" in rule.methods and not rule.rule.startswith("/api/")
    )


def all_pages(helpers, names):
    return [*helpers["places_to_look"](names).values(), *helpers["more_to_look"](names)]


def test_every_route_has_an_address_here(web, helpers, names):
    assert set(rules(web.app)) == set(helpers["places_to_look"](names))


def test_every_page_answers_on_a_filled_book(owners, helpers, names):
    for path in all_pages(helpers, names):
        owners.get(path)


def test_every_page_answers_on_an_empty_book_by_leading_to_the_first_one(empty, helpers, names):
    for rule, path in helpers["places_to_look"](names).items():
        answer = empty.client.get(path, follow_redirects=True, buffered=True)
        assert answer.status_code == 200, path
        if not rule.startswith("/static"):
            assert answer.request.path == "/setup", path


def test_every_page_answers_in_a_shop_that_was_just_set_up(empty, helpers, names):
    empty.send(empty.form("/setup"), site="BH", name="Bramble Hill", owner="Dana", timezone="America/Chicago")
    known = {
        "/", "/search", "/labels", "/dock", "/cage", "/fill", "/racks", "/desk", "/regrind", "/holds", "/identify", "/book",
        "/book/verify", "/do", "/who", "/setup", "/labels/faces", "/labels/faces/badge", "/labels/printers", "/labels/trial", "/dock/codes",
    }  # fmt: skip
    for path in known:
        empty.get(path)
    for rule, path in helpers["places_to_look"](
        names
    ).items():  # what names an item that is not there says so
        if "<" in rule and rule not in (
            "/do/<name>",
            "/lists/<kind>",
            "/lists/<kind>.csv",
            "/help/<name>",
            "/labels/faces/<face>",
            "/static/<path:filename>",
            "/static/words/<language>.js",
            "/book/<int(max=999999999999):seq>",
        ):
            empty.get(path, status=404)
    empty.get("/recall.csv?suspect=B-11", status=404)
    assert "Add a line" in empty.words(empty.get("/"))


def test_looking_writes_nothing(owners, helpers, names):
    before = helpers["the_shop"].fingerprint(owners.book)
    for path in all_pages(helpers, names):
        owners.get(path)
    assert helpers["the_shop"].fingerprint(owners.book) == before


def test_every_page_is_light_with_all_it_needs(owners, helpers, names):
    rest = sum(
        len(gzip.compress(resource(f"static/{name}").read_bytes()))
        for name in ("fillbook.css", "fillbook.js", "mark.svg")
    )
    for path in all_pages(helpers, names):
        answer = owners.get(path)
        if answer.mimetype == "application/pdf":  # a paper to print, fetched when somebody asks for it
            continue
        size = len(gzip.compress(answer.data)) + rest
        assert size < LIGHT or answer.mimetype != "text/html", (
            path,
            size,
        )  # a file is as long as what is in it


def test_nothing_is_fetched_from_elsewhere_and_nothing_stands_inline(owners, helpers, names):
    for path in all_pages(helpers, names):
        answer = owners.get(path)
        if answer.mimetype != "text/html":
            continue
        page = helpers["Reader"](answer.get_data(as_text=True))
        for address in page.addresses:
            assert re.match(r"/(?!/)|#", address), (path, address)
        for tag, attributes in page.tags:
            assert tag != "style" and "style" not in attributes, path
            assert not any(name.startswith("on") for name in attributes), (path, attributes)
            assert tag != "script" or attributes.get("src"), path


def test_the_style_sheet_and_the_script_name_no_other_place():
    for name in ("fillbook.css", "fillbook.js", "mark.svg"):
        text = (
            resource(f"static/{name}").read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        )
        assert "//" not in re.sub(r"^\s*//.*$", "", text, flags=re.MULTILINE)
        assert "url(" not in text and "@import" not in text


def test_headers_keep_the_page_to_itself(web):
    headers = web.get("/").headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    cookie = web.client.get("/who").headers.get("Set-Cookie") or web.app.config["SESSION_COOKIE_SAMESITE"]
    assert "Lax" in cookie


def test_every_input_has_a_caption_and_every_id_stands_once(owners, helpers, names):
    for path in all_pages(helpers, names):
        answer = owners.get(path)
        if answer.mimetype != "text/html":
            continue
        page = helpers["Reader"](answer.get_data(as_text=True))
        there = [a["id"] for _, a in page.tags if a.get("id")]
        assert len(there) == len(set(there)), (path, sorted(i for i in there if there.count(i) > 1))
        labelled = {a.get("for") for tag, a in page.tags if tag == "label"}
        for tag, a in page.tags:
            if tag in ("select", "textarea") or (
                tag == "input" and a.get("type") not in ("hidden", "radio", "checkbox")
            ):
                assert a.get("id") in labelled or a.get("aria-label"), (path, a)


# -- an item's page --------------------------------------------------------------------------------------------------------------
def test_a_tires_page_tells_where_it_came_from_and_what_happened(web, names):
    words = web.words(web.get(f"/i/{names['sent']}"))
    for part in (
        ids.pretty(names["sent"]),
        "Quarry Nine",
        ids.pretty(names["a"]),
        "Northvale A-11",
        "dispatched",
        "released",
        "event",
    ):
        assert part in words


def test_a_totes_page_tells_where_it_went(web, names):
    words = web.words(web.get(f"/i/{names['a']}"))
    assert ids.pretty(names["sent"]) in words and "Went to" in words


def test_times_are_those_of_the_shop(web, names):
    # the first receipt: 2025-09-01 13:08 UTC is 08:08 in Chicago
    assert re.search(r"2025-09-01 08:\d\d", web.words(web.get(f"/i/{names['a']}")))


@pytest.mark.parametrize("written", ["{0}", "{1}", "{2}"])
@pytest.mark.parametrize("path", ["/i/", "/I/"])
def test_a_labels_address_is_read_in_any_case(web, names, path, written):
    code = names["sent"]
    address = path + written.format(code, code.lower(), ids.pretty(code).lower())
    assert ids.pretty(code) in web.words(web.get(address))


def test_a_voided_item_says_so_and_offers_nothing(web, names):
    seq = web.book.value("SELECT seq FROM touch WHERE item = ? ORDER BY seq LIMIT 1", names["second"])
    web.send(web.form(f"/book/{seq}"), void="yes", why="entered twice")
    item = web.book.value("SELECT item FROM place WHERE state = 'void'")
    words = web.words(web.get(f"/i/{item}"))
    assert "void" in words and "To the cage" not in words


# -- bad addresses ---------------------------------------------------------------------------------------------------------------
def test_unknown_and_unreadable_are_said_in_a_sentence(web, names):
    site_elsewhere = ids.mint("ZX", "F", 26, ids.next_serial("ZX", "F", 26, 416))
    for path, status, part in [
        (f"/i/{site_elsewhere}", 404, "no such label was given out"),
        ("/i/rubbish", 422, "is not an ID"),
        (f"/i/{names['sent'][:-1]}{'2' if names['sent'][-1] != '2' else '3'}", 422, "last character"),
        (f"/desk/{names['a']}", 422, "is a tote"),
        (f"/cage/{names['a']}", 422, "is a tote"),
        (f"/cage/{names['line']}?tire={names['a']}", 422, "is a tote"),
        (f"/racks/{names['line']}", 422, "is a line"),
        ("/book/99999", 404, "no event 99999"),
        ("/recall/1", 404, "opened no recall"),
        ("/identify/1", 404, "no return without a label"),
        ("/do/fly", 404, "no verb"),
        ("/recall.json", 422, "what is under suspicion"),
        ("/recall.csv?suspect=B-11&threshold_pct=0", 422, "not a percentage"),
        ("/book/verify?kept=BH:1", 422, "at least 8 characters"),
        ("/nowhere", 404, "no such page"),
        ("/scan", 405, "only takes a form"),
        ("/labels?ids=rubbish", 422, "is not an ID"),
    ]:
        words = web.words(web.get(path, status=status))
        assert part in words, (path, words)


def test_a_bad_recall_keeps_what_was_asked(web, helpers):
    answer = web.get("/recall?suspect=NO-SUCH-LOT&defect=setting&threshold_pct=2", status=404)
    form = next(f for f in helpers["Reader"](answer.get_data(as_text=True)).forms if f.action == "/recall")
    assert form.fields["suspect"] == ["NO-SUCH-LOT"] and form.fields["defect"] == ["setting"]
    assert form.fields["threshold_pct"] == ["2"]


# -- scanning --------------------------------------------------------------------------------------------------------------------
def scan(web, text, page="/", status=303):
    return web.send(web.form(page, "/scan"), status, code=text)


@pytest.mark.parametrize(
    ("page", "what", "leads_to"),
    [
        ("/", "sent", "/i/{0}"),
        ("/", "a", "/i/{0}"),
        ("/", "batch", "/i/{0}"),
        ("/", "cup", "/i/{0}"),
        ("/", "line", "/cage/{0}"),
        ("/", "zone", "/racks/{0}"),
        ("/cage/{line}", "waiting", "/cage/{line}?tire={0}"),
        ("/cage/{line}", "spare_a", "/cage/{line}/change/{0}"),
        ("/cage/{line}", "batch", "/do/load?line={line}&batch={0}"),
        ("/racks/{zone}", "held", "/racks/{zone}"),
        ("/desk", "cured", "/desk/{0}"),
    ],
)
def test_a_scan_leads_to_the_page_of_its_kind(web, names, page, what, leads_to):
    code = names[what]
    for text in (code, ids.pretty(code).lower()):
        answer = scan(web, text, page.format(**names))
        assert answer.location == leads_to.format(code, **names)


def test_the_labels_address_scans_and_its_host_is_never_asked(web, names):
    answer = scan(web, ids.address("some.other.host:99", names["sent"]))
    assert answer.location == f"/i/{names['sent']}"


def test_another_places_address_is_shown_and_never_followed(web, helpers):
    address = "https://elsewhere.example/prize?x=<b>1</b>"
    answer = scan(web, address, status=422)
    words = web.words(answer)
    assert "not followed" in words and address in words
    page = helpers["Reader"](answer.get_data(as_text=True))
    assert all("elsewhere" not in a for a in page.addresses)
    assert next(f for f in page.forms if f.action == "/scan").fields["code"] == [address]


def test_a_foreign_label_is_told_with_what_it_says(web):
    code = ids.mint("ZX", "F", 26, ids.next_serial("ZX", "F", 26, 416))
    answer = scan(web, ids.address("other.example", code), status=404)
    assert "OTHER.EXAMPLE" in web.words(answer)


def test_words_are_searched(web, names):
    # A page of its own: the browser's Back asks nothing
    words = web.words(web.get(scan(web, "harbour").location))
    assert ids.pretty(names["waiting"]) in words and "customer" in words
    assert "Nothing in this book" in web.words(web.get(scan(web, "zebra").location, status=404))


def test_a_service_number_leads_to_its_tire(web, names):
    assert scan(web, ids.service_number(names["sent"])).location == f"/i/{names['sent']}"


def test_a_wrong_check_character_is_never_searched_as_words(web, names):
    wrong = names["sent"][:-1] + ("2" if names["sent"][-1] != "2" else "3")
    assert "last character" in web.words(scan(web, wrong, status=422))


def test_nothing_scanned_is_said(web):
    assert "Nothing was read" in web.words(scan(web, "  ", status=422))


def test_a_scanned_badge_says_who_works_here(web):
    badge = web.book.value("SELECT item FROM person WHERE name = 'Kim'")
    scan(web, badge)
    assert "Kim" in web.words(web.get("/"))


# -- answers ---------------------------------------------------------------------------------------------------------------------
def test_the_verdict_is_the_largest_word_on_the_desk(web, names):
    for tire, verdict in (
        (names["cured"], "Cured"),
        (names["held"], "On hold"),
        (names["sent"], "Dispatched"),
    ):
        text = web.get(f"/desk/{tire}").get_data(as_text=True)
        assert re.search(rf"<h1><svg.*?</svg><span>{verdict}</span></h1>", text), tire
    assert "needed" in web.words(web.get(f"/desk/{names['cured']}"))


def test_the_recall_page_and_its_files_say_the_same(web, names):
    asked = "suspect=B-11&defect=contamination"
    found = web.get(f"/recall.json?{asked}").get_json()
    sheet = web.get(f"/recall.csv?{asked}").get_data(as_text=True).splitlines()
    words = web.words(web.get(f"/recall?{asked}"))
    assert found["items"] and len(sheet) == len(found["items"]) + 1
    for one in found["items"]:
        assert any(line.startswith(one["id"] + ",") for line in sheet)
        if one["tier"] != "traces":
            assert one["id"] in words
    for path in ("/recall.json", "/recall.csv"):
        assert "attachment" in web.get(f"{path}?{asked}").headers["Content-Disposition"]


def test_a_cell_that_looks_like_a_formula_is_made_harmless(web, names):
    web.do("release", tire=names["cured"])
    web.do("dispatch", tires=names["cured"], to="=1+1")
    sheet = web.get("/recall.csv?suspect=B-11").get_data(as_text=True)
    assert "'=1+1" in sheet and ",=1+1" not in sheet


def test_an_opened_recall_stays_as_it_was(web, names):
    page = web.words(web.get(f"/recall/{names['recall']}"))
    assert f"Recall of {ids.pretty(names['reclaimed'])}" in page and ids.pretty(names["held"]) in page


def test_the_journal_is_shown_whole_and_a_kept_head_is_compared(web):
    page = web.words(web.get("/book"))
    head = re.search(r"BH:\d+:[0-9a-f]{16}", page)[0]
    assert "Whole, from the first event" in web.words(web.get(f"/book/verify?kept={head}"))
    seq, digest = head.split(":")[1:]
    wrong = f"BH:{seq}:{'0' if digest[0] != '0' else '1'}{digest[1:]}"
    assert "is not the one that was kept" in web.words(web.get(f"/book/verify?kept={wrong}"))


def test_a_shop_in_metric_units_is_asked_and_told_in_them(empty):
    empty.send(
        empty.form("/setup"), site="MT", name="Metric", owner="Dana", timezone="Europe/Berlin", units="metric"
    )
    form = empty.form("/do/finish-fill")
    assert form.offered["weight_g.unit"][0] == "kg" and form.offered["pressure_pa.unit"][0] == "kpa"
    assert empty.form("/do/read-temperature").offered["reading_mc.unit"][0] == "c"


def test_a_us_shop_is_asked_in_pounds_psi_and_fahrenheit(web):
    form = web.form("/do/finish-fill")
    assert form.offered["weight_g.unit"][0] == "lb" and form.offered["pressure_pa.unit"][0] == "psi"
    assert web.form("/do/read-temperature").offered["reading_mc.unit"][0] == "f"


def test_where_the_work_can_hurt_it_is_said_who_comes_first(web, names):
    for path, part in (("/dock", "isocyanate"), (f"/cage/{names['line']}?tire={names['waiting']}", "Cage, clip-on chuck"),
                       (f"/racks/{names['zone']}", "Fill heats"), (f"/desk/{names['cured']}", "Fill heats")):  # fmt: skip
        words = web.words(web.get(path))
        assert part in words and "licensed practice come first" in words, path


def test_a_book_of_two_shops_asks_first_where_the_station_stands(web):
    web.choose("Dana")  # a further shop is begun by an owner
    web.send(web.form("/setup"), site="ZX", name="Other Works", owner="Kit", timezone="UTC")
    other = web.app.test_client()
    answer = other.get("/dock")
    assert (answer.status_code, answer.location) == (303, "/who")
    words = web.words(other.get("/who"))
    assert "Other Works" in words and "Bramble Hill" in words
    assert "Kit" in web.words(web.get("/")) and "Other Works" in web.words(web.get("/"))


def test_an_attached_paper_opens_from_the_page_of_each_tote_of_its_lot(web, names):
    assert f'href="/attached/{names["paper"]}"' in web.get(f"/i/{names['a']}").text
    answer = web.get(f"/attached/{names['paper']}")
    assert (answer.mimetype, answer.data) == ("application/pdf", b"%PDF-1.4 a certificate")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


def test_an_attached_paper_is_corrected_without_sending_it_again(web, names):
    form = web.form(f"/book/{names['paper']}")
    before = web.book.one("SELECT * FROM attachment")
    web.send(form, **{"new-lot": "B-11", "why": "it was the polyol's"})
    after = web.book.one("SELECT * FROM attachment")
    assert (before.lot, after.lot) == ("A-11", "B-11")
    assert (after.digest, after.media) == (before.digest, before.media)
