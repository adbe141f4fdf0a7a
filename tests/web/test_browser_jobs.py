"""Every job on the floor once, as its person does it, on a phone and on a desktop, with a picture of each step.

Receiving, hook up, purge, grinding, the fill and its pause, return and identify, hold and lift, recall opened, release, dispatch, and a
correction that undoes. Each ends in the book: what the event says, not what the page says.
"""

from __future__ import annotations

import re
import shutil

import pytest

from fillbook.trace.book import on_hold
from fillbook.trace.book.opening import open_book
from fillbook.trace.core import ids

SIZES = {"phone": {"width": 390, "height": 844}, "desktop": {"width": 1440, "height": 900}}


class Hand:
    """One person at one station of a size; takes a picture of every page where a job ended."""

    def __init__(self, context, book, pictures):
        self.page, self.book, self.pictures, self.taken = context.new_page(), book, pictures, 0
        self.page.set_default_timeout(20_000)

    def works_as(self, name):
        self.page.goto("/who")
        self.press(re.compile(f"^{name}"))

    def open(self, path):
        self.page.goto(path)

    def put(self, **values):
        for name, value in values.items():
            field = self.page.locator(f"main form.verb [name='{name.replace('__', '-')}']").first
            if not field.is_visible() and field.get_attribute("type") != "radio":
                field.evaluate("e => { const more = e.closest('details'); if (more) more.open = true; }")
            if field.get_attribute("type") == "radio":
                self.page.locator(f"main form.verb [name='{name}'][value='{value}']").first.check(force=True)
            elif field.evaluate("e => e.tagName") == "SELECT":
                field.select_option(value)
            else:
                field.fill(value)

    def press(self, words):
        with self.page.expect_navigation():
            self.page.locator("main").get_by_role(
                "button", name=words, exact=isinstance(words, str)
            ).first.click()
        self.seen()

    def scan(self, code):
        self.page.locator("#scan").focus()
        self.page.keyboard.type(f"HTTP://FILLBOOK.LOCAL/I/{code}")
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")
        self.seen()

    def seen(self):
        self.taken += 1
        assert self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), self.page.url
        self.page.screenshot(path=str(self.pictures / f"{self.taken:02d}.png"), full_page=True)

    def words(self):
        return self.page.inner_text("main")

    def last(self, kind):
        """The body of the newest event, which is of *kind*."""
        import json

        event = json.loads(self.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1"))
        assert event["kind"] == kind, (event["kind"], self.words())
        return event


@pytest.fixture(params=SIZES)
def hand(request, chromium, serve, story, tmp_path, helpers):
    path, names = story
    mine = str(tmp_path / "shop.db")
    shutil.copy(path, mine)
    clock = helpers["Clock"](names["now"] + 600)
    running = serve(mine, clock)
    phone = request.param == "phone"
    context = chromium.new_context(
        viewport=SIZES[request.param], base_url=running.address, has_touch=phone, is_mobile=phone
    )
    book = open_book(mine)
    yield Hand(context, book, tmp_path), names, clock
    context.close()
    book.db.close()


def test_the_hands_jobs(hand):
    hand, names, clock = hand
    hand.works_as("Sam")

    # the dock: a truck
    hand.open("/dock")
    hand.put(supplier="Northvale", lot="A-77", side="A", system="RX-30", totes="2", net_g="2204")
    hand.press("Book in")
    event = hand.last("receive")
    assert event["body"]["said"]["lot"] == "A-77" and len(event["body"]["ids"]) == 2
    tote = event["body"]["ids"][0]
    clock.now += 60

    # hook up: a scan of the tote on the line's page
    hand.open(f"/cage/{names['line_2']}")
    hand.scan(tote)
    hand.press("Hook up")
    assert hand.last("hook up")["body"]["said"]["tote"] == tote
    clock.now += 60
    hand.open(f"/cage/{names['line_2']}")
    hand.scan(names["spare_b"])
    hand.press("Hook up")
    clock.now += 60

    # purge
    hand.open(f"/do/purge?line={names['line_2']}")
    hand.put(weight_g="6")
    hand.press("Purge")
    assert hand.last("purge")["body"]["said"]["weight_g"] == 2722  # 6 lb of 453.59237 g, to the nearest gram
    clock.now += 60

    # the fill that waits: pause, go on, DONE
    hand.open(f"/cage/{names['line_3']}")
    hand.page.get_by_role("link", name="Pause", exact=True).click()
    hand.page.wait_for_url("**/do/pause?*")
    hand.press("Pause")
    hand.last("pause")
    clock.now += 120
    hand.open(f"/cage/{names['line_3']}")
    hand.scan(names["filling"])
    hand.press("GO ON")
    hand.last("resume")
    clock.now += 300
    hand.open(f"/cage/{names['line_3']}")
    hand.put(weight_g="330", pressure_pa="60")
    hand.press("DONE")
    assert hand.last("finish fill")["body"]["said"]["tire"] == names["filling"]
    clock.now += 60

    # odd: one tap from the line
    hand.open(f"/do/odd-flow?line={names['line_2']}")
    hand.put(what="air seen")
    hand.press("Odd flow")
    hand.last("odd flow")
    clock.now += 60

    # the racks: a tire, then a zone
    hand.open("/racks")
    hand.scan(names["filling"])
    hand.scan(names["zone_2"])
    if hand.page.get_by_role("button", name="Lay on the rack", exact=True).count():
        hand.press("Lay on the rack")
    assert names["filling"] in hand.last("rack")["body"]["said"]["tires"]
    clock.now += 60

    # regrind: what was cut out is ground
    hand.open("/do/grind")
    hand.put(**{"pieces-0-source": "unknown", "pieces-0-weight_g": "50"})
    hand.press("Grind")
    batch = hand.last("grind")["body"]["ids"][0]
    assert ids.kind_of(batch) == "G"
    clock.now += 60

    # a tire comes back, soft and without its tag
    hand.open("/do/return")
    hand.put(complaint="Soft on one side", customer="Quarry Nine", size="23.5-25")
    hand.press("Take back")
    returned = hand.last("return")["seq"]
    assert hand.page.url.endswith(f"/identify/{returned}")
    clock.now += 60

    # a hold is anybody's
    hand.open("/do/hold")
    hand.put(item=names["spare_a"], why="dented")
    hand.press("Hold")
    assert hand.last("hold")["body"]["said"]["item"] == names["spare_a"]


def test_the_leads_jobs(hand):
    hand, names, clock = hand
    hand.works_as("Lee")

    # hold and lift
    hand.open("/do/hold")
    hand.put(item=names["change"], why="dented")
    hand.press("Hold")
    assert on_hold.holds_on(hand.book, names["change"])
    clock.now += 60
    hand.open(f"/do/lift?item={names['change']}")
    hand.put(why="a scratch only")
    hand.press("Lift")
    hand.last("lift")
    assert not on_hold.holds_on(hand.book, names["change"])
    clock.now += 60

    # identify: the return without a tag is nobody's of ours
    hand.open(f"/identify/{names['returned']}")
    hand.put(verdict="not ours", why="another shop's tag")
    hand.press("Sign")
    assert hand.last("identify")["body"]["said"]["verdict"] == "not ours"
    clock.now += 60

    # the desk: release, then send out
    hand.open("/desk")
    hand.scan(names["cured"])
    stopped = hand.page.get_by_text("A lead may override")
    hand.press("Sign and release")
    if hand.page.locator("main [name=override]:visible").count() or stopped.count():
        hand.page.locator("main [name=override]").first.evaluate(
            "e => { const more = e.closest('details'); if (more) more.open = true; }"
        )
        hand.page.locator("main [name=override]").first.fill("lot looked at, good")
        hand.press("Sign and release")
    assert hand.last("release")["body"]["said"]["tire"] == names["cured"] or names["cured"] in str(
        hand.last("release")
    )
    clock.now += 60
    hand.open(f"/do/dispatch?tires={names['cured']}")
    hand.press("Send out")
    if hand.page.locator("main [name=override]:visible").count():
        hand.put(override="the customer knows")
        hand.press("Send out")
    assert names["cured"] in hand.last("dispatch")["body"]["said"]["tires"]
    clock.now += 60

    # a recall is opened from its list
    hand.open("/recall?suspect=A-11")
    hand.put(why="moisture in the drum")
    hand.press("Open the recall")
    recall = hand.last("open recall")
    assert recall["body"]["said"]["suspect"] == "A-11" and hand.page.url.endswith(f"/recall/{recall['seq']}")
    clock.now += 60

    # undo: a purge that was never made is voided, and the page says so before it is signed
    hand.open(f"/book/{names['purge']}")
    form = hand.page.locator("form.verb:has([name=void])").first
    form.locator("[name=void][value=yes]").check(force=True)
    if form.locator("[name=why]").count():
        form.locator("[name=why]").fill("typed on the wrong line")
    with hand.page.expect_navigation():
        form.get_by_role("button").last.click()
    hand.seen()
    for _ in range(2):  # what will change is shown first; then it is signed
        newest = hand.book.value("SELECT kind FROM event ORDER BY seq DESC LIMIT 1")
        if newest == "correct":
            break
        hand.press(re.compile("Correct|Sign|Void"))
    assert hand.last("correct")["corrects"] == names["purge"]
