"""Nobody gains a role by a correction, nor signs in somebody else's name: what the signer proves is what the act takes."""

import importlib.util
from pathlib import Path

import pytest

from fillbook.trace.book import queries
from fillbook.trace.core.errors import Conflict, NotAllowed, ShopError
from fillbook.trace.work import acting, signing

_spec = importlib.util.spec_from_file_location(
    "the_shop_that_signs_for_others", Path(__file__).parent.with_name("the_shop.py")
)
the_shop = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(the_shop)

PIN = {"Dana": "739164", "Lee": "402817", "Sam": "550912"}


@pytest.fixture(scope="module")
def pinned(tmp_path_factory):
    """A shop whose owner Dana, lead Lee and hand Sam have a PIN; Kim, a hand, has none. A tire is filled."""
    shop = the_shop.Shop.start(str(tmp_path_factory.mktemp("for_others") / "shop.db"))
    signing.set_pin(shop.book, "BH", "Dana", PIN["Dana"], proof=None, now=shop.now)
    for name in ("Lee", "Sam"):
        code = signing.give_code(shop.book, "BH", name, by=None, now=shop.now)
        signing.set_pin(shop.book, "BH", name, PIN[name], proof=code, now=shop.now)
    shop.ready_line()
    shop.tire_ready = shop.cured()
    shop.book.db.close()
    return shop


@pytest.fixture
def shop(pinned, tmp_path):
    twin = pinned.copied(str(tmp_path / "shop.db"))
    yield twin
    twin.book.db.close()


def act(shop, verb, who, *, pin=None, signed_by=None, override=None, request=None, **fields):
    action = acting.Action(
        verb, fields, who=who, signed_by=signed_by, override=override, request=request, shop="BH"
    )
    return signing.act(shop.book, action, pin=pin, now=shop.now)


def added(shop, name):
    """The number of the event that added *name*."""
    return shop.book.value("SELECT seq FROM person WHERE name = ?", name)


def role(shop, name):
    return queries.person(shop.book, "BH", name).role


def head(shop):
    return shop.book.value("SELECT max(head_seq) FROM chain")


# -- a correction takes the role of what it corrects -----------------------------------------------------------------------------
@pytest.mark.parametrize("how", [{"fields": {"role": "owner"}}, {"fields": {"name": "Boss"}}, {"void": True}])
@pytest.mark.parametrize("whose", ["Lee", "Sam"])
def test_a_lead_corrects_nobodys_role_or_name(shop, whose, how):
    before = head(shop)
    with pytest.raises(NotAllowed, match="takes the owner"):
        act(shop, "correct", "Lee", pin=PIN["Lee"], event=added(shop, whose), why="more", **how)
    assert (role(shop, "Lee"), role(shop, "Sam"), head(shop)) == ("lead", "hand", before)


def test_an_owners_tapped_name_lends_no_role_to_a_leads_pin(shop):
    """The station says that Dana works there, which takes no PIN; the lead signs with the lead's."""
    with pytest.raises(NotAllowed, match="takes the owner"):
        act(shop, "correct", "Dana", signed_by="Lee", pin=PIN["Lee"], event=added(shop, "Lee"),
            fields={"role": "owner"}, why="more")  # fmt: skip
    assert role(shop, "Lee") == "lead"


def test_the_owner_corrects_a_role_with_their_own_pin(shop):
    act(
        shop,
        "correct",
        "Dana",
        pin=PIN["Dana"],
        event=added(shop, "Sam"),
        fields={"role": "lead"},
        why="wrong",
    )
    assert role(shop, "Sam") == "lead"


def test_a_lead_still_corrects_what_a_lead_or_a_hand_may_do(shop):
    weighed = shop.book.value("SELECT max(seq) FROM event WHERE kind = 'finish fill'")
    act(shop, "correct", "Lee", pin=PIN["Lee"], event=weighed, fields={"weight_kg": 151}, why="misread")
    assert shop.book.value("SELECT kind FROM event ORDER BY seq DESC LIMIT 1") == "correct"


@pytest.mark.parametrize("said", ["nothing", None, "1e9", 10**30, -1, [1], True])
def test_a_number_that_is_no_event_is_refused_in_words(shop, said):
    with pytest.raises(ShopError) as refused:
        act(shop, "correct", "Lee", pin=PIN["Lee"], event=said, void=True, why="x")
    assert str(refused.value).endswith((".", "?"))


def test_where_no_pin_is_asked_the_role_is_asked_all_the_same(shop):
    """On the command line: whoever has the file has the book, but the names still mean something."""
    action = acting.Action(
        "correct",
        {"event": added(shop, "Lee"), "fields": {"role": "owner"}, "why": "more"},
        who="Lee",
        shop="BH",
    )
    with pytest.raises(NotAllowed, match="takes the owner"):
        acting.act(shop.book, action, now=shop.now)
    assert role(shop, "Lee") == "lead"


# -- a signature is its signer's -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("pin", [None, PIN["Sam"], "118823"])
@pytest.mark.parametrize("override", [None, "asked for"])
def test_an_everyday_act_bears_no_signature_without_its_pin(shop, pin, override):
    """An everyday act takes no PIN; but whoever is named as having signed it did."""
    before = head(shop)
    with pytest.raises(NotAllowed):
        act(
            shop,
            "hold",
            "Sam",
            signed_by="Lee",
            pin=pin,
            override=override,
            item=shop.tire_ready,
            why="dented",
        )
    with pytest.raises(NotAllowed):
        act(shop, "hold", "Kim", signed_by="Sam", override=override, item=shop.tire_ready, why="dented")
    assert shop.book.value("SELECT count(*) FROM hold WHERE item = ?", shop.tire_ready) == 0
    assert head(shop) == before


def test_an_everyday_act_may_be_signed_with_the_signers_pin(shop):
    act(shop, "hold", "Kim", signed_by="Lee", pin=PIN["Lee"], item=shop.tire_ready, why="dented")
    assert shop.book.value("SELECT count(*) FROM hold WHERE item = ?", shop.tire_ready) == 1


def test_whoever_names_themself_as_signer_of_an_everyday_act_is_asked_for_nothing(shop):
    act(shop, "hold", "Kim", signed_by="Kim", item=shop.tire_ready, why="dented")
    assert shop.book.value("SELECT count(*) FROM hold WHERE item = ?", shop.tire_ready) == 1


# -- sent twice ------------------------------------------------------------------------------------------------------------------
def test_the_same_request_with_another_signature_is_another_request(shop):
    said = {"request": "n-1", "item": shop.tire_ready, "why": "dented"}
    act(shop, "hold", "Kim", **said)
    assert act(shop, "hold", "Kim", **said).repeated
    with pytest.raises(Conflict, match="used before for something else"):
        act(shop, "hold", "Kim", signed_by="Lee", pin=PIN["Lee"], **said)
