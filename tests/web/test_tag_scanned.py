""" "Tag scanned: yes" stands at the release desk only after a scanner or a photograph read that tag; else it says no."""

import pytest

from fillbook.trace.core import ids
from fillbook.trace.work import acting


@pytest.fixture(autouse=True)
def no_open_recall(web, names, clock):
    """What an open recall lists stays for a reason of its own."""
    said = {"recall": names["recall"], "note": "each drum was looked at"}
    acting.act(
        web.book,
        acting.Action("close recall", said, who="Lee", override="each drum was looked at", shop="BH"),
        now=clock.now,
    )
    clock.now += 60


def read(web, code, by="", came_from="desk"):
    """What a scan in the box leads to: the address."""
    form = {**web.form("/", "/scan").filled(), "code": code, "from": came_from, "by": by}
    return web.client.post("/scan", data=form).headers["Location"]


def stands(web, path, action=None):
    return web.form(path, action or path.split("?")[0]).fields["tag_scanned"]


def test_a_page_opened_by_its_address_says_no(web, names):
    assert stands(web, f"/desk/{names['cured']}") == ["no"]
    assert stands(web, f"/desk/{names['cured']}?scanned=yes") == [
        "no"
    ]  # an address may be kept, sent on, opened again


@pytest.mark.parametrize("typed", ["{pretty}", "{code}", "HTTP://FILLBOOK.LOCAL:8470/I/{code}"])
def test_what_was_typed_or_pasted_says_no(web, names, typed):
    tire = names["cured"]
    where = read(web, typed.format(pretty=ids.pretty(tire), code=tire))
    assert where.startswith(f"/desk/{tire}") and stands(web, where) == ["no"]


def test_a_scan_says_yes_for_that_tire_and_two_touches_release_it(web, names, clock):
    tire = names["cured"]
    where = read(web, f"HTTP://FILLBOOK.LOCAL:8470/I/{tire}", by="scanner")
    form = web.form(where, f"/desk/{tire}")
    assert form.fields["tag_scanned"] == ["yes"] and stands(web, f"/desk/{names['held']}") == ["no"]
    web.send(form)
    body = web.last()["body"]
    assert body["said"]["tag_scanned"] is True and not [f for f in body["findings"] if f["code"] == "typed"]


def test_a_scan_of_long_ago_is_none_of_this_release(web, names, clock):
    read(web, names["cured"], by="scanner")
    clock.now += 3600
    assert stands(web, f"/desk/{names['cured']}") == ["no"]


def test_not_scanned_is_said_before_and_stays_in_the_event(web, names):
    path = f"/desk/{names['cured']}"
    assert "compare it with the tire before you sign" in web.words(web.get(path))
    web.send(web.form(path))
    body = web.last()["body"]
    assert body["said"]["tag_scanned"] is False and [f["code"] for f in body["findings"]] == ["typed"]


def test_several_are_scanned_only_where_each_was(web, names, clock):
    tires = f"{names['cured']},{names['held']}"
    assert stands(web, f"/desk/several?tires={tires}") == ["no"]
    web.client.post(
        "/scan/take",
        data={**web.form("/", "/scan").filled(), "code": names["cured"], "from": "several:", "by": "scanner"},
    )
    assert stands(web, f"/desk/several?tires={names['cured']}") == ["yes"]
    assert stands(web, f"/desk/several?tires={tires}") == [
        "yes"
    ]  # the other stays: its tag is not signed for


def test_who_says_nothing_did_not_scan(web, names, clock):
    acting.act(
        web.book, acting.Action("release", {"tire": names["cured"]}, who="Lee", shop="BH"), now=clock.now
    )
    assert web.last()["body"]["said"]["tag_scanned"] is False
