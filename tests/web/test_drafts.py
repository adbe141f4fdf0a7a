"""What was typed at a tire and not sent is offered to other devices, filled in by nobody, and gone once the fill is in the book."""

import json

import pytest

from fillbook.trace.book import drafts, replay
from fillbook.trace.work import acting

MONDAY = 1_756_731_600

TYPED = {
    "weight_g": ["148"],
    "weight_g.unit": ["kg"],
    "pressure_pa": ["35"],
    "pressure_pa.unit": ["psi"],
    "topup_g": [""],
}


class Tablet:
    """One browser of the shop, with its own cookie."""

    def __init__(self, web, who):
        self.web, self.client = web, web.app.test_client()
        self.here(lambda: web.choose(who))

    def here(self, does):
        mine, self.web.client = self.web.client, self.client
        try:
            return does()
        finally:
            self.web.client, self.client = mine, self.web.client

    def page(self, names):
        return self.here(lambda: self.web.get(f"/cage/{names['line_3']}").get_data(as_text=True))

    def keep(self, names, said, status=200):
        def send():
            form = self.web.form("/who")  # any form of the page has its token
            data = {
                "csrf_token": form.fields["csrf_token"][0],
                "said": said if isinstance(said, str) else json.dumps(said),
            }
            answer = self.web.client.post(
                f"/cage/{names['line_3']}/draft/{names['filling']}", data=data, buffered=True
            )
            assert answer.status_code == status, answer.get_data(as_text=True)
            return self.web.words(answer)

        return self.here(send)


@pytest.fixture
def two(web):
    return Tablet(web, "Sam"), Tablet(web, "Kim")


def kept(web):
    return web.book.value("SELECT count(*) FROM draft")


def finish(web, names):
    form = web.form(f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}")
    return web.send(
        form, weight_g="330", weight_g__unit="lb", pressure_pa="60", pressure_pa__unit="psi", mix_e4="0"
    )


def test_another_tablet_is_told_whose_it_is_and_what_and_nothing_is_filled_in(web, two, names):
    one, other = two
    one.keep(names, TYPED)
    page = other.page(names)
    assert "Sam typed 148 kg, 35 psi at " in page and "not sent" in page and "Take it over" in page
    form = next(
        f for f in other.here(lambda: web.read(f"/cage/{names['line_3']}")).forms if "/finish/" in f.action
    )
    assert form.fields["weight_g"] == [""] and form.fields["pressure_pa"] == [""]
    assert "not sent" not in one.page(names), "what this tablet typed is on it already"


def test_two_people_at_once_hear_of_each_other_and_replace_only_their_own(web, two, names):
    one, other = two
    one.keep(names, TYPED)
    assert "Sam typed 148 kg, 35 psi" in other.keep(names, {**TYPED, "weight_g": ["151"]})
    assert "Kim typed 151 kg, 35 psi" in one.keep(names, {**TYPED, "weight_g": ["149"]})
    assert kept(web) == 2
    assert "Sam typed 149 kg, 35 psi" in other.page(names)


def test_an_emptied_draft_is_forgotten(web, two, names):
    one, other = two
    one.keep(names, TYPED)
    one.keep(names, "")
    assert kept(web) == 0 and "not sent" not in other.page(names)


def test_the_finished_fill_takes_every_draft_with_it_and_a_late_one_is_not_kept(web, two, names):
    one, other = two
    one.keep(names, TYPED)
    other.keep(names, TYPED)
    finish(web, names)
    assert kept(web) == 0
    said = one.keep(names, TYPED)
    assert (
        kept(web) == 0
        and "Lee finished this fill at" in said
        and "What stands here is not in the book." in said
    )


def test_a_refused_fill_leaves_the_drafts(web, two, names):
    two[0].keep(names, TYPED)
    form = web.form(f"/cage/{names['line_3']}", f"/cage/{names['line_3']}/finish/{names['filling']}")
    web.send(form, 422, weight_g="heavy", pressure_pa="60")
    assert kept(web) == 1


def test_a_draft_is_no_evidence(web, two, names):
    before = web.head()
    two[0].keep(names, TYPED)
    assert web.head() == before and replay.check_replay(web.book) is None


def test_after_a_shift_a_draft_is_nobodys(web, two, names, clock):
    one, other = two
    one.keep(names, TYPED)
    clock.now += drafts.KEPT_S + 1
    assert "not sent" not in other.page(names)


@pytest.mark.parametrize(
    "said",
    ["[1, 2]", "{", '{"weight_g": "148"}', '{"weight_g": [148]}', json.dumps({"weight_g": ["1" * 501]})],
)
def test_what_is_no_draft_is_refused_with_a_sentence(web, two, names, said):
    assert "A draft is the fields of the fill's form" in two[0].keep(names, said, 422)
    assert kept(web) == 0


def test_a_draft_is_small_and_keeps_only_the_forms_fields(web, two, names):
    two[0].keep(names, {"weight_g": ["148"], "pin": ["402817"], "csrf_token": ["x"]})
    assert json.loads(web.book.value("SELECT said FROM draft")) == {"weight_g": ["148"]}
    long = {name: ["x" * 500] * 2 for name in ("weight_g", "topup_g", "line", "basis", "override")}
    assert "Shorten it, or send it." in two[0].keep(names, long, 422)


def test_only_who_works_here_keeps_one_and_never_from_another_site(web, two, names):
    path = f"/cage/{names['line_3']}/draft/{names['filling']}"
    assert (
        two[0].client.post(path, data={"said": json.dumps(TYPED)}).status_code == 400
    )  # without the page's token
    assert kept(web) == 0
    nobody = Tablet(web, "Sam")
    nobody.here(lambda: web.send(web.form("/who", "/who/leave")))
    nobody.keep(names, TYPED, 403)
    assert kept(web) == 0


def test_a_dozen_devices_are_enough_for_one_tire(web, names):
    tablets = [Tablet(web, "Sam") for _ in range(drafts.MOST + 1)]
    for one in tablets[:-1]:
        one.keep(names, TYPED)
    assert "finish its fill on one of them" in tablets[-1].keep(names, TYPED, 422)


@pytest.mark.parametrize(
    "said",
    ["[" * 3000, '{"weight_g": ["\\ud800"]}', '{"weight_g": [' + "1" * 5000 + "]}", '{"a": ' * 1000],
    ids=["nested", "half a pair", "a long number", "nested names"],
)
def test_what_no_page_sends_is_refused_with_a_sentence_too(web, two, names, said):
    assert "A draft is the fields of the fill's form" in two[0].keep(names, said, 422)
    assert kept(web) == 0


def test_what_is_far_too_long_is_not_even_read(web, two, names):
    """Two hundred thousand brackets one in the other are deeper than the reader goes."""
    assert "What was typed is 200000 characters long" in two[0].keep(names, "[" * 200_000, 422)
    assert kept(web) == 0


@pytest.mark.parametrize("which", ["tire", "line"])
def test_another_shops_tire_or_line_takes_no_draft(web, two, names, which):
    act = acting.act(
        web.book, acting.Action("set up shop", {"site": "ZX", "name": "Other Works", "owner": "Kit"}), now=MONDAY
    )  # fmt: skip
    assert act.shop == "ZX"
    fields = {"customer": "Pit Four", "size": "23.5-25"}, {"name": "their line"}
    verb, said = ("take in", fields[0]) if which == "tire" else ("add line", fields[1])
    (theirs,) = acting.act(web.book, acting.Action(verb, said, who="Kit", shop="ZX"), now=MONDAY + 60).ids
    mixed = {"line_3": names["line_3"], "filling": names["filling"]}
    mixed["filling" if which == "tire" else "line_3"] = theirs
    assert "is another shop's. Open the tire in this shop's cage." in two[0].keep(mixed, TYPED, 404)
    assert kept(web) == 0
