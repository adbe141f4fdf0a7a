"""A signature is a name, a role and a PIN: what is kept of it, what is asked for, and what wrong ones cost."""

import base64
import hashlib
import importlib.util
import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from fillbook.trace.book import chain, queries, sign_ins
from fillbook.trace.book.opening import open_book
from fillbook.trace.core.errors import Nonsense, NotAllowed, Stopped, UnknownItem
from fillbook.trace.work import acting, pins, registry, signing

_spec = importlib.util.spec_from_file_location(
    "the_shop_that_signs", Path(__file__).parent.with_name("the_shop.py")
)
the_shop = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(the_shop)

PIN, OTHER = "402817", "7391"


@pytest.fixture(scope="module")
def signed_shop(tmp_path_factory):
    """A shop whose owner and lead have a PIN; a tire is filled and lies in the warm room."""
    path = str(tmp_path_factory.mktemp("signing") / "shop.db")
    shop = the_shop.Shop.start(path)
    signing.set_pin(shop.book, "BH", "Dana", OTHER, proof=None, now=shop.now)
    give(shop, "Lee", PIN)
    shop.ready_line()
    shop.tire_ready = shop.cured()
    shop.book.db.close()
    return shop


@pytest.fixture
def shop(signed_shop, tmp_path):
    twin = signed_shop.copied(str(tmp_path / "shop.db"))
    yield twin
    twin.book.db.close()


def give(shop, name, pin):
    code = signing.give_code(shop.book, "BH", name, by=None, now=shop.now)
    signing.set_pin(shop.book, "BH", name, pin, proof=code, now=shop.now)
    return code


def act(shop, verb, who, *, pin=None, signed_by=None, override=None, **fields):
    action = acting.Action(verb, fields, who=who, signed_by=signed_by, override=override, shop="BH")
    done = signing.act(shop.book, action, pin=pin, now=shop.now)
    shop.now += 60
    return done


def wrong(shop, times, name="Lee", at=None):
    """*times* wrong PINs; the last refusal."""
    for _ in range(times):
        with pytest.raises(NotAllowed) as refused:
            signing.check_pin(shop.book, "BH", name, "990011", shop.now if at is None else at)
    return refused.value


def kinds(shop):
    return [kind for (kind,) in shop.book.tuples("SELECT kind FROM event ORDER BY seq")]


# -- what is kept --------------------------------------------------------------------------------------------------------------
def test_scrypt_gives_what_its_standard_says():
    """RFC 7914, section 12, third vector (from memory; OpenSSL's own scrypt agrees): the hash stands on the published function."""
    known = "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887"
    found = hashlib.scrypt(
        b"pleaseletmein", salt=b"SodiumChloride", n=16384, r=8, p=1, maxmem=2**26, dklen=64
    )
    assert found.hex() == known
    assert (
        pins._hash("pleaseletmein", b"SodiumChloride", 16384, 8, 1).hex() == known[:64]
    )  # its first 32 bytes


def test_a_kept_pin_fits_itself_and_no_other_and_two_of_the_same_look_different():
    one, two = pins.kept(PIN), pins.kept(PIN)
    assert one != two and PIN not in one
    assert pins.fits(PIN, one) and pins.fits(PIN, two)
    assert not pins.fits("402818", one) and not pins.fits("", one) and not pins.fits(PIN, None)


def test_parameters_stand_with_the_hash_and_grow_when_somebody_signs(shop):
    small = pins.kept(PIN, cost=2**10)
    assert small.startswith("scrypt$1024$8$1$") and pins.is_outgrown(small)
    lee = queries.person(shop.book, "BH", "Lee")["item"]
    with shop.book.transaction():
        sign_ins.keep(shop.book, "BH", lee, pin=small)
    signing.check_pin(shop.book, "BH", "Lee", PIN, shop.now)
    now_kept = sign_ins.row(shop.book, lee).pin
    assert now_kept.startswith(f"scrypt${pins.COST}$8$1$") and pins.fits(PIN, now_kept)


@pytest.mark.parametrize(
    "easy", ["1234", "0000", "4321", "98765432", "1212", "123123", "19841984", "1984", "2007", "77777777", "5566", "3456", "7890"]
)  # fmt: skip
def test_a_pin_that_is_guessed_first_is_refused_in_one_sentence_that_does_not_say_it(easy):
    with pytest.raises(Nonsense) as refused:
        pins.checked(easy)
    assert easy not in str(refused.value) and "guessed too soon" in str(refused.value)


@pytest.mark.parametrize("fine", ["9012", "4028", "13572468", "8826"])
def test_other_pins_are_taken(fine):
    assert pins.checked(f" {fine} ") == fine


@pytest.mark.parametrize("odd", ["123", "123456789", "12a4", "", "١٢٣٤", "12 34", "-123"])
def test_a_pin_is_four_to_eight_digits(odd):
    with pytest.raises(Nonsense, match="4 to 8 digits"):
        pins.checked(odd)


def test_no_pin_and_no_code_stands_in_an_event_or_in_a_file_of_the_journal(shop):
    code = give(shop, "Sam", "550912")
    text = "\n".join(chain.export(shop.book, "BH"))
    for secret in (PIN, OTHER, "550912", code, pins.read_code(code), "scrypt"):
        assert secret not in text
    assert kinds(shop).count("PIN changed") == 5  # the owner's, and a code and a PIN for each of two
    shop.check()


def test_the_side_table_may_be_erased_and_the_book_is_still_what_its_journal_says(shop):
    shop.book.execute("DELETE FROM sign_in")
    shop.check()


# -- what is asked -------------------------------------------------------------------------------------------------------------
def test_one_table_says_role_and_pin_of_each_verb():
    asks = {name for name, verb in registry.everything().items() if verb.pin}
    assert {
        "release",
        "lift",
        "correct",
        "open recall",
        "add person",
        "set limit",
        "add line",
        "add zone",
        "identify",
    } <= asks
    assert not asks & {
        "receive",
        "hook up",
        "start fill",
        "finish fill",
        "rack",
        "dispatch",
        "hold",
        "print",
        "return",
    }
    assert all(verb.pin for verb in registry.everything().values() if verb.role != "hand"), (
        "what a lead does takes a PIN"
    )


def test_everyday_acts_take_no_pin_and_a_release_takes_the_leads(shop):
    act(shop, "print", "Sam", items=[shop.tire_ready])
    before = shop.fingerprint()
    with pytest.raises(signing.PinNeeded, match="To release takes Lee's PIN"):
        act(shop, "release", "Lee", tire=shop.tire_ready)
    with pytest.raises(signing.WrongPin, match="4 more wrong ones"):
        act(shop, "release", "Lee", tire=shop.tire_ready, pin=OTHER)
    assert shop.fingerprint() == before
    act(shop, "release", "Lee", tire=shop.tire_ready, pin=PIN)
    assert kinds(shop)[-1] == "release"


def test_a_hand_at_the_station_lets_a_lead_sign_with_the_leads_own_pin(shop):
    with pytest.raises(signing.WrongPin):
        act(shop, "release", "Sam", signed_by="Lee", pin=OTHER, tire=shop.tire_ready)
    act(shop, "release", "Sam", signed_by="Lee", pin=PIN, tire=shop.tire_ready)
    last = json.loads(shop.book.value("SELECT text FROM event ORDER BY seq DESC LIMIT 1"))
    assert (last["who"], last["signed_by"]) == tuple(
        queries.person(shop.book, "BH", n)["item"] for n in ("Sam", "Lee")
    )


def test_a_hand_is_refused_by_role_whatever_is_typed_as_a_pin(shop):
    give(shop, "Sam", "550912")
    for pin in (None, PIN, "550912"):
        with pytest.raises(NotAllowed, match="Sam is a hand"):
            act(shop, "release", "Sam", pin=pin, tire=shop.tire_ready)


def test_a_leads_name_at_the_station_does_not_lend_the_role_to_a_hands_pin(shop):
    give(shop, "Sam", "550912")
    with pytest.raises(NotAllowed, match="Sam is a hand"):
        act(shop, "release", "Lee", signed_by="Sam", pin="550912", tire=shop.tire_ready)
    held = shop.tire()
    shop.act("hold", item=held, why="dent")
    with pytest.raises(NotAllowed, match="An override takes a lead"):
        act(shop, "start fill", "Lee", signed_by="Sam", pin="550912", override="go", tire=held, line="line 1")


def test_an_override_of_an_everyday_act_takes_the_pin_too(shop):
    held = shop.tire()
    shop.act("hold", item=held, why="dent")
    with pytest.raises(Stopped):
        act(shop, "start fill", "Lee", tire=held, line="line 1")
    with pytest.raises(signing.PinNeeded):
        act(shop, "start fill", "Lee", override="looked at it", tire=held, line="line 1")
    act(shop, "start fill", "Lee", override="looked at it", pin=PIN, tire=held, line="line 1")


def test_several_tires_are_released_with_one_signature(shop):
    other = shop.cured()
    act(shop, "release", "Lee", pin=PIN, tires=[shop.tire_ready, other])
    assert shop.state(other) == "released"


def test_who_signs_for_themself_is_no_second_person(shop):
    """The same person named twice: a tire that was stopped waits for somebody else's look all the same."""
    held = shop.tire()
    shop.act("hold", item=held, why="dent")
    done = shop.act("start fill", who="Lee", signed_by="Lee", override="quite sure", tire=held, line="line 1")
    assert [one["holds"] for one in done.findings if one["item"] == held] == [True]


def test_a_shop_without_pins_signs_as_before_until_an_owner_has_one(tmp_path):
    shop = the_shop.Shop.start(str(tmp_path / "shop.db"))
    assert not signing.asks_pins(shop.book, "BH")
    act(shop, "add line", "Lee", name="line 3")
    give(shop, "Lee", PIN)  # a lead who has one signs with it; who has none does not need it yet
    with pytest.raises(signing.PinNeeded):
        act(shop, "add line", "Lee", name="line 4")
    act(shop, "add person", "Dana", name="Pat", role="lead")
    signing.set_pin(shop.book, "BH", "Dana", OTHER, proof=None, now=shop.now)
    with pytest.raises(signing.NoPin, match="Pat has no PIN yet"):
        act(shop, "add line", "Pat", name="line 5")
    shop.book.db.close()


def test_the_commands_ask_no_pin_since_whoever_has_the_file_has_the_book(shop):
    shop.lead("release", tire=shop.tire_ready)
    assert shop.state(shop.tire_ready) == "released"


def test_a_person_of_another_shop_can_neither_act_nor_sign_here(shop):
    shop.act("set up shop", who=None, site="KV", name="Other Works", owner="Kit", timezone="UTC")
    signing.set_pin(shop.book, "KV", "Kit", "8264", proof=None, now=shop.now)
    kit = queries.person(shop.book, "KV", "Kit")["item"]
    for who, signed_by in (("Kit", None), (kit, None), ("Sam", "Kit"), ("Sam", kit)):
        with pytest.raises(UnknownItem):
            act(shop, "release", who, signed_by=signed_by, pin="8264", tire=shop.tire_ready)


# -- setting it ------------------------------------------------------------------------------------------------------------------
def test_a_code_sets_one_pin_once_and_is_good_for_a_day(shop):
    code = signing.give_code(shop.book, "BH", "Sam", by=None, now=shop.now)
    with pytest.raises(NotAllowed, match="run out"):
        signing.set_pin(shop.book, "BH", "Sam", "550912", proof=code, now=shop.now + signing.CODE_GOOD_S)
    signing.set_pin(shop.book, "BH", "Sam", "550912", proof=code.lower().replace("-", " "), now=shop.now)
    with pytest.raises(NotAllowed, match="no code to compare"):
        signing.set_pin(shop.book, "BH", "Sam", "602177", proof=code, now=shop.now)
    signing.set_pin(
        shop.book, "BH", "Sam", "602177", proof="550912", now=shop.now
    )  # the PIN until now does as well
    signing.check_pin(shop.book, "BH", "Sam", "602177", shop.now)


def test_without_the_old_pin_or_a_code_nobody_sets_one(shop):
    for name, proof in (
        ("Lee", ""),
        ("Lee", OTHER),
        ("Dana", ""),
        ("Dana", PIN),
        ("Sam", "ABCD-EFGH"),
        ("Sam", ""),
    ):
        with pytest.raises((NotAllowed, Nonsense)) as refused:
            signing.set_pin(shop.book, "BH", name, "550912", proof=proof, now=shop.now)
        assert refused.value.field == "proof"
    signing.check_pin(shop.book, "BH", "Lee", PIN, shop.now)


def test_an_old_pin_stays_until_the_code_is_used(shop):
    """Else a code for the only owner would open the shop to whoever taps a name."""
    signing.give_code(shop.book, "BH", "Dana", by=None, now=shop.now)
    assert not signing.may_do_without(shop.book, "BH")
    signing.check_pin(shop.book, "BH", "Dana", OTHER, shop.now)


def test_wrong_codes_count_as_wrong_pins(shop):
    signing.give_code(shop.book, "BH", "Lee", by=None, now=shop.now)
    for n in range(signing.FREE_TRIES):
        with pytest.raises(NotAllowed):
            signing.set_pin(shop.book, "BH", "Lee", "550912", proof=f"ABCD-EFG{n + 2}", now=shop.now)
    with pytest.raises(signing.LockedOut):
        signing.check_pin(shop.book, "BH", "Lee", PIN, shop.now)


# -- wrong ones --------------------------------------------------------------------------------------------------------------------
def test_the_wait_begins_with_the_fifth_and_doubles_up_to_an_hour(shop):
    now = shop.now
    assert isinstance(wrong(shop, 4, at=now), signing.WrongPin)
    waits = []
    for _ in range(9):
        refused = wrong(shop, 1, at=now)
        assert isinstance(refused, signing.LockedOut)
        waits.append(refused.until - now)
        with pytest.raises(signing.LockedOut):  # even the right one waits, and does not count
            signing.check_pin(shop.book, "BH", "Lee", PIN, refused.until - 1)
        now = refused.until
    assert waits == [60, 120, 240, 480, 960, 1920, 3600, 3600, 3600]
    assert kinds(shop).count("wrong PINs") == 9
    signing.check_pin(shop.book, "BH", "Lee", PIN, now)
    assert isinstance(wrong(shop, 4, at=now), signing.WrongPin)  # it began anew
    shop.check()


def test_a_wait_says_until_when_and_whom_to_ask(shop):
    words = str(wrong(shop, 5))
    assert (
        words.startswith("5 wrong PINs for Lee: nobody signs as Lee until 2025-09-0")
        and "An owner can lift this" in words
    )


def test_the_event_says_who_stood_where_and_holds_no_pin(shop):
    for _ in range(5):
        with pytest.raises(NotAllowed):
            signing.sign(shop.book, "BH", role="lead", who="Sam", signed_by="Lee", pin="990011", now=shop.now, doing="release",
                         station="desk tablet")  # fmt: skip
    text = shop.book.value("SELECT text FROM event WHERE kind = 'wrong PINs'")
    event = json.loads(text)
    sam, lee = (queries.person(shop.book, "BH", name)["item"] for name in ("Sam", "Lee"))
    assert (event["who"], event["station"]) == (sam, "desk tablet")
    assert (
        event["body"]["said"] == {"person": lee, "wrong": 5, "until": shop.now + 60} and "990011" not in text
    )


def test_a_restart_forgives_nothing(shop):
    wrong(shop, 5)
    shop.book.db.close()
    again = open_book(shop.book.where)
    with pytest.raises(signing.LockedOut):
        signing.check_pin(again, "BH", "Lee", PIN, shop.now + 59)
    signing.check_pin(again, "BH", "Lee", PIN, shop.now + 60)
    again.db.close()
    shop.book.db.connect()


def test_one_persons_wrong_ones_are_not_anothers(shop):
    wrong(shop, 5, "Lee")
    signing.check_pin(shop.book, "BH", "Dana", OTHER, shop.now)


def test_an_owner_lifts_a_wait_and_a_code_ends_it(shop):
    wrong(shop, 6 - 1)
    signing.lift_wait(
        shop.book, "BH", "Lee", by=queries.person(shop.book, "BH", "Dana")["item"], now=shop.now
    )
    signing.check_pin(shop.book, "BH", "Lee", PIN, shop.now)
    wrong(shop, 5)
    signing.give_code(shop.book, "BH", "Lee", by=None, now=shop.now)
    signing.check_pin(shop.book, "BH", "Lee", PIN, shop.now)


def test_guesses_at_once_are_counted_each_and_no_more_are_looked_at(shop):
    """Eight at the same moment: five count, the rest are told to wait, and the journal says so once."""
    ready = threading.Barrier(8)
    where = shop.book.where

    def guess(pin):
        book = open_book(where)
        try:
            ready.wait()
            signing.check_pin(book, "BH", "Lee", pin, shop.now)
            return "right"
        except NotAllowed as trouble:
            return type(trouble).__name__
        finally:
            book.db.close()

    with ThreadPoolExecutor(8) as stations:
        answers = list(stations.map(guess, ["990011"] * 8))
    assert answers.count("WrongPin") == 4 and answers.count("LockedOut") == 4
    lee = queries.person(shop.book, "BH", "Lee")["item"]
    assert sign_ins.row(shop.book, lee).wrong == 5 and kinds(shop).count("wrong PINs") == 1
    shop.check()


def test_two_at_once_count_as_two(shop):
    ready = threading.Barrier(2)

    def guess(_):
        book = open_book(shop.book.where)
        try:
            ready.wait()
            with pytest.raises(signing.WrongPin):
                signing.check_pin(book, "BH", "Lee", "990011", shop.now)
        finally:
            book.db.close()

    with ThreadPoolExecutor(2) as stations:
        list(stations.map(guess, range(2)))
    assert sign_ins.row(shop.book, queries.person(shop.book, "BH", "Lee")["item"]).wrong == 2


def test_an_unknown_person_costs_as_long_as_a_known_one(shop, monkeypatch):
    """Counted in hashes taken, which do not depend on how busy the machine is."""
    taken = []
    true = pins._hash
    monkeypatch.setattr(pins, "_hash", lambda *args: taken.append(args[2:]) or true(*args))
    for name in ("Lee", "Nobody", "Sam"):  # a PIN, no such person, no PIN
        taken.clear()
        with pytest.raises((NotAllowed, UnknownItem)):
            signing.check_pin(shop.book, "BH", name, "990011", shop.now)
        assert taken == [(pins.COST, pins.BLOCK, pins.LANES)], name


def test_a_hash_takes_long_enough_to_matter_and_not_so_long_that_a_hand_waits():
    took = []
    for _ in range(3):
        began = time.perf_counter()
        pins.fits(PIN, None)
        took.append(time.perf_counter() - began)
    assert 0.005 < min(took) < 2  # 60 ms on a small machine; wide bounds, since machines differ


def test_a_pin_is_never_checked_inside_a_transaction_that_could_forget_the_count(shop):
    with shop.book.transaction(), pytest.raises(RuntimeError, match="outside any transaction"):
        signing.check_pin(shop.book, "BH", "Lee", PIN, shop.now)


def test_codes_are_short_readable_and_never_the_same(shop):
    codes = {pins.new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(len(code) == 9 and code[4] == "-" and not set(code) & set("01ILOU") for code in codes)
    assert signing.same_code(" k7qm 4txp", "K7QM-4TXP") and not signing.same_code("", "K7QM-4TXP")
    assert signing.same_code("é", "K7QM-4TXP") is False


def test_the_kept_text_is_plain_and_complete():
    name, *numbers, salt, hashed = pins.kept(PIN).split("$")
    assert name == "scrypt" and [int(n) for n in numbers] == [pins.COST, pins.BLOCK, pins.LANES]
    assert len(base64.b64decode(salt)) == 16 and len(base64.b64decode(hashed)) == 32
