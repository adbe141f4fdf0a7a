"""Lists: what is asked is what is shown, no item stands twice or is lost between two pages, and no page sorts the whole book."""

import csv
import io
import re
from urllib.parse import quote

import pytest

from fillbook.trace.book import customers, events, lists
from fillbook.trace.book.list_kinds import KINDS, Asked
from fillbook.trace.book.search_words import parts_of
from fillbook.trace.core import ids


@pytest.fixture
def shop(tmp_path, helpers):
    """Sixty tires of four customers and some totes, a few of them further than taken in."""
    module = helpers["the_shop"]
    shop = module.Shop.start(str(tmp_path / "lists.db"))
    shop.ready_line()
    for n in range(60):
        shop.act("take in", customer=("Quarry Nine", "Harbour Terminal", "Fenland Recycling", "=SUM(A1)")[n % 4], size=("23.5-25", "12-16.5")[n % 2],
                 serial=f"DOT4K{n:02d}7", unit=f"L-{n}")  # fmt: skip
    shop.act(
        "receive",
        supplier="Northvale",
        lot="NV-2291",
        side="A",
        system="RX-30",
        net_lb=2204,
        totes=2,
        supplier_code="00374",
    )
    shop.act("receive", supplier="Casker & Lowe", lot="77/B", side="B", system="RX-30", net_lb=2204, totes=3)
    yield shop
    shop.book.db.close()


def asked(kind, **more):
    return Asked(kind, **more)


def codes(shop, kind, **more):
    return [row["item"] for row in lists.every(shop.book, shop.site, asked(kind, **more), most=7)]


def tires(shop):
    return [code for (code,) in shop.book.tuples("SELECT item FROM tire ORDER BY item")]


# -- pages -----------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("down", [True, False])
@pytest.mark.parametrize(
    ("kind", "order"), [(k.name, o.name) for k in KINDS.values() for o in k.orders if not o.lacking]
)
def test_no_item_is_lost_or_shown_twice_between_pages(shop, kind, order, down):
    found = codes(shop, kind, order=order, down=down)
    table = KINDS[kind].tables["t"]
    everything = [code for (code,) in shop.book.tuples(f"SELECT item FROM {table}")]
    assert sorted(found) == sorted(everything)
    column = next(o.column for o in KINDS[kind].orders if o.name == order)
    if column.startswith("t."):
        values = [shop.book.value(f"SELECT {column} FROM {table} t WHERE item = ?", code) for code in found]
        assert values == sorted(values, reverse=down)


def test_an_item_that_comes_in_between_two_pages_moves_nothing(shop):
    first = lists.page(shop.book, shop.site, asked("tires", most=10))
    shop.act("take in", customer="Quarry Nine", size="23.5-25")
    second = lists.page(shop.book, shop.site, asked("tires", most=10, after=first.after))
    newest = tires(shop)[::-1]
    assert [row["item"] for row in (*first.rows, *second.rows)] == newest[1:21]


def test_what_is_few_and_what_is_walked_answer_alike(shop, monkeypatch):
    for more in ({"filters": {"customer": "Quarry Nine"}, "order": "taken"}, {"words": "4K1"}, {"words": "quarry", "filters": {"size": "23.5-25"}},
                 {"filters": {"state": "taken in", "customer": "Harbour Terminal"}, "order": "size"}, {"words": "DOT4K107"}):  # fmt: skip
        few = codes(shop, "tires", **more)
        with monkeypatch.context() as patch:
            patch.setattr(lists, "FEW", -1)
            walked = codes(shop, "tires", **more)
        assert few == walked and few, more


@pytest.mark.parametrize("few", [-1, 1_500])
def test_filters_say_what_they_say(shop, few, monkeypatch):
    monkeypatch.setattr(lists, "FEW", few)
    rows = shop.book.rows(
        "SELECT t.*, p.state FROM tire t JOIN place p ON p.item = t.item ORDER BY t.item DESC"
    )
    want = [
        r["item"]
        for r in rows
        if r.customer == "Quarry Nine" and r.size == "23.5-25" and r.state == "taken in"
    ]
    assert (
        codes(shop, "tires", filters={"customer": "Quarry Nine", "size": "23.5-25", "state": "taken in"})
        == want
    )
    hooked = [
        code
        for (code,) in shop.book.tuples(
            "SELECT item FROM place WHERE state = 'hooked up' AND place = ? ORDER BY item DESC", shop.line
        )
    ]
    assert codes(shop, "totes", filters={"place": shop.line}) == hooked and len(hooked) == 2
    assert len(codes(shop, "totes", filters={"lot": "NV-2291"})) == 2
    assert {
        shop.book.value("SELECT side FROM tote WHERE item = ?", c)
        for c in codes(shop, "totes", filters={"side": "B"})
    } == {"B"}


def test_how_many_is_said_and_capped(shop, monkeypatch):
    assert lists.page(shop.book, shop.site, asked("tires", most=10)).many == 60
    assert (
        lists.page(shop.book, shop.site, asked("tires", most=10, filters={"customer": "Quarry Nine"})).many
        == 15
    )
    assert lists.page(shop.book, shop.site, asked("tires", most=10, words="quarry")).many == 15
    monkeypatch.setattr(lists, "COUNTED", 20)
    assert lists.page(shop.book, shop.site, asked("tires", most=10)).many == 21


def test_no_page_reads_or_sorts_the_whole_book(shop, monkeypatch):
    """SQLite's own account of it: in the order of an index there is neither a scan of a table nor a sort."""
    monkeypatch.setattr(lists, "FEW", -1)
    for kind in KINDS.values():
        for order in kind.orders:
            for filters in ({}, *({name: "x"} for name in kind.filters)):
                said = lists.plan(shop.book, shop.site, asked(kind.name, order=order.name, filters=filters))
                assert not [line for line in said if line.startswith("SCAN") or "ORDER BY" in line], (
                    kind.name,
                    order.name,
                    filters,
                    said,
                )


def test_a_place_to_go_on_from_that_no_page_gave_is_refused(web):
    for rest in (
        "after=x&item=rubbish",
        "sort=taken&after=soon&item=BHF2500001Z",
        "after=1&item=ZZF2500001Z",
        f"after=x&item={'9' * 400}",
    ):
        answer = web.get(f"/lists/tires?{rest}", status=422)
        assert "begin at its first page" in web.said(answer), rest


# -- words -----------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("kind", "words", "many"),
    [
        ("tires", "quarry", 15), ("tires", "arry ni", 15), ("tires", "HARBOUR terminal", 15), ("tires", "terminal harbour", 15), ("tires", "4K07", 1),
        ("tires", "K 107", 1), ("tires", "23.5", 30), ("tires", "quarry 23.5", 15), ("tires", "harbour 23.5", 0), ("tires", "l-5", 11), ("tires", "zebra", 0),
        ("totes", "2291", 2), ("totes", "v-22", 2), ("totes", "00374", 2), ("totes", "casker", 3), ("totes", "& lowe", 3), ("totes", "77/b", 3),
    ],
)  # fmt: skip
def test_any_part_of_what_an_item_bears_finds_it(shop, kind, words, many):
    assert len(codes(shop, kind, words=words)) == many


def test_an_id_is_found_by_its_beginning_its_number_and_its_service_number(shop):
    code = tires(shop)[11]
    for text in (
        ids.pretty(code),
        code.lower(),
        code[2:],
        ids.pretty(code)[3:],
        str(int(code[5:10])),
        ids.service_number(code),
    ):
        assert code in codes(shop, "tires", words=text), text
    assert len(codes(shop, "tires", words=code[:6])) == 60
    assert codes(shop, "tires", words="no such 99999") == []


def test_every_part_of_every_word_is_kept_and_none_of_a_word_that_is_gone(shop):
    kept = {}
    for part, word in shop.book.tuples("SELECT part, word FROM word_part"):
        kept.setdefault(word, set()).add(part)
    words = {word for (word,) in shop.book.tuples("SELECT word FROM search") if len(word) >= 3}
    assert set(kept) == words and all(kept[word] == set(parts_of(word)) for word in words)
    seq = shop.book.value("SELECT seq FROM tire WHERE serial = 'DOT4K107'")
    shop.correct(seq, serial="DOT9Z111")
    assert codes(shop, "tires", words="K107") == [] and len(codes(shop, "tires", words="Z111")) == 1
    assert shop.book.value("SELECT count(*) FROM word_part WHERE word = 'DOT4K107'") == 0
    assert len(codes(shop, "tires", words="quarry")) == 15  # still borne by others
    assert shop.book.value("SELECT count(*) FROM word_part WHERE word = 'QUARRYNINE'") == len(
        parts_of("QUARRYNINE")
    )


def test_a_long_word_is_found_by_its_middle(shop):
    name = "Consolidated Aggregates and Haulage of the Lower Valley Incorporated"
    tire = shop.tire(customer=name)
    for text in (
        name,
        name[10:50],
        "lower valley",
        "haulageofthelowervalleyinc",
        "Aggregates and Haulage of the Upper",
    ):
        assert codes(shop, "tires", words=text) == ([] if "Upper" in text else [tire]), text


def test_the_box_on_every_page_finds_parts_too(web, names):
    for text in ("arbour term", "T441", ids.pretty(names["sent"])[3:9]):
        words = web.words(web.get(f"/search?q={quote(text)}"))
        assert "Nothing in this book" not in words, text


@pytest.mark.parametrize(
    "text",
    ["%", "_", "'", '"; DROP TABLE tire; --', "%%%%", "\\", "\x00", "🛞", "ß", "İ", "a" * 5000, " ", "٣٣٣"],
)
def test_odd_words_find_nothing_and_break_nothing(web, text):
    for kind in ("tires", "totes", "batches", "cups", "customers"):
        assert (
            web.client.get(
                f"/lists/{kind}", query_string={"q": text, "customer": text, "place": text, "lot": text}
            ).status_code
            == 200
        )
    assert web.client.get("/lists/events", query_string={"q": text}).status_code in (200, 422)


# -- customers, events -----------------------------------------------------------------------------------------------------------
def test_customers_come_by_name_with_their_tires(shop):
    rows, after = customers.page(shop.book, shop.site, most=3)
    more, end = customers.page(shop.book, shop.site, after=after, most=3)
    assert [(r.customer, r.tires) for r in (*rows, *more)] == [
        ("=SUM(A1)", 15),
        ("Fenland Recycling", 15),
        ("Harbour Terminal", 15),
        ("Quarry Nine", 15),
    ]
    assert end is None
    assert [r.customer for r in customers.page(shop.book, shop.site, "land rec")[0]] == ["Fenland Recycling"]


def test_events_by_kind_by_item_and_by_time(shop):
    def every(**more):
        found, after = [], None
        while True:
            rows, after = events.page(shop.book, shop.site, events.Asked(after=after, most=7, **more))
            found += [one.seq for one in rows]
            if after is None:
                return found

    head = shop.book.value("SELECT head_seq FROM chain")
    assert every() == list(range(head, 0, -1)) and every(down=False) == list(range(1, head + 1))
    assert sorted(every(by_time=True)) == list(range(1, head + 1))
    assert every(kind="receive") == [
        s for (s,) in shop.book.tuples("SELECT seq FROM event WHERE kind = 'receive' ORDER BY seq DESC")
    ]
    assert every(item=tires(shop)[4]) == [
        s
        for (s,) in shop.book.tuples(
            "SELECT DISTINCT seq FROM touch WHERE item = ? ORDER BY seq DESC", tires(shop)[4]
        )
    ]
    assert events.kinds(shop.book, shop.site) == [
        k for (k,) in shop.book.tuples("SELECT DISTINCT kind FROM event ORDER BY kind")
    ]


# -- the pages -------------------------------------------------------------------------------------------------------------------
def test_a_list_shows_what_was_asked_and_keeps_it(web, helpers, names):
    answer = web.get("/lists/tires?customer=Quarry+Nine&state=dispatched&sort=taken")
    words = web.words(answer)
    assert ids.pretty(names["sent"]) in words and ids.pretty(names["held"]) not in words
    page = helpers["Reader"](answer.get_data(as_text=True))
    form = next(f for f in page.forms if f.action == "/lists/tires")
    assert (
        form.fields["customer"] == ["Quarry Nine"]
        and form.fields["state"] == ["dispatched"]
        and form.fields["sort"] == ["taken"]
    )
    assert any("csv" in a and "customer=Quarry+Nine" in a for a in page.addresses)


def test_a_zone_is_named_as_people_name_it(web, names):
    assert ids.pretty(names["held"]) in web.words(web.get("/lists/tires?place=warm+room"))


def test_a_period_is_of_whole_days_in_the_shops_time(web, names):
    day = re.search(r"\d{4}-\d\d-\d\d", web.words(web.get(f"/i/{names['a']}")))[0]
    assert ids.pretty(names["a"]) in web.words(web.get(f"/lists/totes?from={day}&to={day}"))
    assert ids.pretty(names["a"]) not in web.words(web.get(f"/lists/totes?to={day[:4]}-01-01"))
    for wrong, part in (("from=yesterday", "is not a day"), ("from=2025-02-30", "is not a day"), ("to=0000-01-01", "is not a day"),
                        ("from=2025-03-02&to=2025-03-01", "before the first")):  # fmt: skip
        answer = web.get(f"/lists/totes?{wrong}", status=422)
        assert part in web.said(answer), wrong


def test_what_fits_nothing_says_how_to_go_on_and_what_is_empty_says_what_to_do_first(web, empty):
    assert "Nothing fits" in web.words(web.get("/lists/tires?q=zebra"))
    empty.send(empty.form("/setup"), site="BH", name="Bramble Hill", owner="Dana", timezone="America/Chicago")
    for kind, part in (
        ("tires", "Take one in"),
        ("totes", "Book in the first lot"),
        ("batches", "Grind a batch"),
        ("cups", "Pour a cup"),
        ("customers", "Take a tire in"),
    ):
        assert part in empty.words(empty.get(f"/lists/{kind}")), kind
    assert "set up shop" in empty.words(empty.get("/lists/events"))


def test_an_unknown_list_is_told(web):
    for path in ("/lists/bolts", "/lists/bolts.csv"):
        assert "There is no list of" in web.said(web.get(path, status=404))


def test_the_file_is_the_whole_filtered_list_and_holds_no_formula(web, helpers):
    web.do("take in", customer="=HYPERLINK(1)", size="-12", serial="@x", tires="1")
    lines = list(csv.reader(io.StringIO(web.get("/lists/tires.csv").get_data(as_text=True), newline="")))
    assert len(lines) == web.book.value("SELECT count(*) FROM tire") + 1
    assert all(len(line) == len(lines[0]) for line in lines)
    assert not [cell for line in lines for cell in line if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    odd = next(line for line in lines if "HYPERLINK" in ",".join(line))
    assert "'=HYPERLINK(1)" in odd and "'-12" in odd and "'@x" in odd
    few = web.get("/lists/tires.csv?state=dispatched")
    assert (
        len(few.get_data(as_text=True).splitlines())
        == web.book.value("SELECT count(*) FROM place WHERE state = 'dispatched'") + 1
    )
    assert few.get_data().count(b"\r\n") and "attachment" in few.headers["Content-Disposition"]
    for kind in ("totes", "batches", "cups", "customers", "events"):
        assert len(web.get(f"/lists/{kind}.csv").get_data(as_text=True).splitlines()) > 1, kind


def test_a_newest_act_is_one_touch_from_its_correction(web, names):
    tire = names["waiting"]
    page = web.get(f"/i/{tire}")
    seq = web.book.value(
        "SELECT seq FROM touch WHERE item = ? ORDER BY at DESC, rank DESC, seq DESC LIMIT 1", tire
    )
    assert (
        f'href="/book/{seq}#correct">That was wrong' in page.text and page.text.count("That was wrong") == 1
    )
    form = web.form(f"/book/{seq}")
    web.send(form, void="yes", why="it was another tire")
    assert "That was wrong" not in web.get(f"/i/{tire}").text


def test_a_long_history_is_shown_in_parts(web, names):
    code = names["line"]
    shown, path = [], f"/i/{code}"
    while path:
        text = web.get(path).text
        shown += re.findall(r'<li><time>.*?</time> <span>.*?</span> <a href="/book/(\d+)">', text)
        found = re.search(r'href="([^"]+)#time-line">Earlier', text)
        path = found[1].replace("&amp;", "&") if found else None
    assert len(shown) == web.book.value("SELECT count(*) FROM touch WHERE item = ?", code)
