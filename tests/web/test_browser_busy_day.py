"""Fourteen fills in a real browser, with the touches of a gloved hand counted: two a tire, four where a tote runs dry in it.

A touch is a tap or a click. A scan is none (the hand scanner types it), nor is typing a weight or a pressure.
"""

from __future__ import annotations

import pytest

from fillbook.trace.book import on_hold, queries
from fillbook.trace.book.opening import open_book
from fillbook.trace.book.replay import check_replay
from fillbook.trace.core import ids


class Hand:
    """Someone with gloves on, a scanner in hand; counts what is touched."""

    def __init__(self, page):
        self.page, self.touches = page, 0

    def scan(self, code):
        self.page.locator("#scan").focus()
        self.page.keyboard.type(f"HTTP://FILLBOOK.LOCAL/I/{code}")
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def type(self, **values):
        for name, value in values.items():
            self.page.locator(f"main form.verb [name='{name}']").first.fill(value)

    def choose(self, name, value):
        self.page.locator(f"main form.verb [name='{name}'][value='{value}']").check(force=True)
        self.touches += 1

    def press(self, words):
        with self.page.expect_navigation():
            self.page.locator("main").get_by_role("button", name=words, exact=True).click()
        self.touches += 1

    def counted(self):
        found, self.touches = self.touches, 0
        return found


@pytest.fixture
def day(chromium, serve, helpers, tmp_path):
    """A shop on a Monday morning, set up through its verbs, and a phone before it."""
    path = str(tmp_path / "shop.db")
    shop = helpers["the_shop"].Shop.start(path)
    a = shop.act(
        "receive", supplier="Northvale", lot="A-7", side="A", system="RX-30", net_kg=560, totes=2
    ).ids
    b = shop.tote("B", 1300, lot="B-7")
    shop.hook_up(a[0])
    shop.hook_up(b)
    shop.load(shop.grind(unknown=700), 60)
    shop.act(
        "open order",
        number="W-204",
        customer="Quarry Nine",
        size="12.00-20",
        tires=14,
        target_psi=60,
        mix_pct=40,
    )
    tires = shop.act("take in", order="W-204", tires=14).ids
    for tire in tires:
        shop.act("inspect", tire=tire, casing="used", rating_psi=75, rating_from="sidewall")
    clock = helpers["Clock"](shop.now)
    people = {p.name: p["item"] for p in queries.people(shop.book, "BH")}
    shop.book.db.close()
    running = serve(path, clock)
    context = chromium.new_context(viewport={"width": 360, "height": 740}, base_url=running.address)
    page = context.new_page()
    page.set_default_timeout(10_000)
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()
    yield Hand(page), clock, path, tires, a, people
    context.close()


def test_two_touches_a_tire_and_four_with_a_tote_change(day):
    hand, clock, path, tires, totes, _ = day
    hand.page.goto("/cage")
    hand.page.get_by_role("link", name="line 1").first.click()
    line = hand.page.url
    table = []
    for n, tire in enumerate(tires, 1):
        hand.counted()
        hand.page.goto(line)
        hand.scan(tire)
        hand.press("GO")
        clock.now += 8 * 60
        if n == 6:  # the tote runs dry in the middle of this one: scan the new one on the fill's own page
            hand.page.goto(line)
            hand.scan(totes[1])
            hand.choose("how_full", "1/2")
            hand.press("Ran dry")
            clock.now += 4 * 60
        hand.page.goto(line)
        hand.scan(tire)
        hand.type(weight_g="330", pressure_pa="60")
        hand.press("DONE")
        clock.now += 6 * 60
        table.append((ids.pretty(tire), hand.counted(), "tote change" if n == 6 else ""))
    print("\ntouches per tire:", *(f"{name}  {touches}  {why}" for name, touches, why in table), sep="\n  ")
    assert [touches for _, touches, why in table if not why] == [2] * 13
    assert [touches for _, touches, why in table if why] == [4]  # GO, half full, ran dry, DONE
    book = open_book(path)
    assert book.value("SELECT count(*) FROM fill") == 14
    assert book.value("SELECT count(*) FROM line_act WHERE ran_dry = 1 AND how_full = 2") == 1
    assert any(h.why.startswith("A side ran dry") for h in on_hold.holds_on(book, tires[5]))
    assert check_replay(book) is None
    book.db.close()


def test_a_fill_survives_an_interruption_and_a_dead_tablet(day, serve, helpers, chromium):
    hand, clock, path, tires, _, _ = day
    hand.page.goto("/cage")
    hand.page.get_by_role("link", name="line 1").first.click()
    line = hand.page.url.split("?")[0]
    hand.scan(tires[0])
    hand.press("GO")
    clock.now += 300
    hand.page.goto(f"/do/pause?tire={tires[0]}")
    hand.press("Pause")
    # the tablet dies here; another one comes, and the same address shows what is open
    running = serve(path, clock)
    other = chromium.new_context(viewport={"width": 360, "height": 740}, base_url=running.address)
    page = other.new_page()
    page.set_default_timeout(10_000)
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Kim").click()
    again = Hand(page)
    page.goto(running.address + "/cage/" + line.rsplit("/", 1)[1])
    again.scan(tires[0])
    clock.now += 60
    again.press("GO ON")
    page.goto(f"/cage/{line.rsplit('/', 1)[1]}")
    again.scan(tires[0])
    again.type(weight_g="330", pressure_pa="60")
    again.press("DONE")
    book = open_book(path)
    assert queries.place_of(book, tires[0]).state == "filled"
    book.db.close()
    other.close()
