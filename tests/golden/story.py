"""A story in which every verb happens once at least: for the golden journal, and for a book in another database."""

import base64
import contextlib


def tell(shop) -> None:
    """Let it happen in *shop*, which is furnished and otherwise empty."""
    act, lead = shop.act, shop.lead
    shop.wait(minutes=30)
    lead("set limit", limit="hose_content_high", to="5 kg", source="weighed once", line="line 1")
    act(
        "open order",
        number="1001",
        customer="Quarry Nine",
        size="23.5-25",
        tires=3,
        target_psi=60,
        billed="weight",
    )
    a, b = shop.tote("A", lot="A-11", grade="55"), shop.tote("B", lot="B-11")
    spare, rest = shop.tote("A", lot="A-12"), shop.tote("A", lot="A-13", kg=40)
    act("inspect tote", tote=a, seal_good=True, temperature_f=75, desiccant="fresh")
    act(
        "attach",
        lot="A-11",
        what="certificate",
        file=base64.b64encode(b"%PDF-1.4 lot A-11 conforms").decode(),
    )
    act("store", zone="back rack", totes=[spare])
    act("take retain", tote=a, weight_g=200, shelf="R1", until="2027-09-01 08:00")
    lead("choose printer", station="dock", printer="lp:dock")
    lead("choose language", language="es")
    lead(
        "adjust face",
        face="tote label",
        size="3x2 in",
        words=["lot=lote"],
        logo=base64.b64encode(b"\x89PNG and the rest").decode(),
    )
    lead("note supplier code", supplier="Northvale", pattern="(?P<lot>[A-Z]-[0-9]+)", example="A-11")
    act("paper trial", stock="white, wax", step="new", tags=10, qr=10, bars=9, either=10, readable=10)
    act("print", items=[a, b])
    act("print failed", items=[a], printer="lp:dock", trouble="out of labels")
    act("hook up", line="line 1", tote=a)
    act("hook up", line="line 1", tote=b)
    act("start shift", line="line 1", caught_a_g=500, caught_b_g=502)
    act("purge", line="line 1", weight_kg=4)
    tire, late, third = act(
        "take in",
        order="1001",
        customer="Quarry Nine",
        size="23.5-25",
        tires=3,
        rating_psi=75,
        unit="LOADER 12",
    ).ids
    act("inspect", tire=tire, casing="used", plies=16, wheel_good=True, inside_good=True)
    act("stretch", tire=tire, pressure_psi=60)
    act("start fill", tire=tire, line="line 1", bay_f=75, casing_f=74)
    shop.wait(minutes=10)
    act("pause", tire=tire, weight_kg=60)
    act("resume", tire=tire)
    act("leak", tire=tire, where="valve", weight_kg=1)
    act("odd flow", line="line 1", what="air seen")
    shop.wait(minutes=5)
    act("finish fill", tire=tire, weight_kg=150, topup_kg=6, pressure_psi=60, mix_pct=0)
    cup = act("pour cup", line="line 1", zone="warm room", mix_f=78).ids[0]
    act("rack", tires=[tire], zone="warm room")
    act("start fill", tire=third, line="line 1")
    act("abandon", tire=third, why="the bead would not seat", weight_kg=8)
    act("empty waste", line="line 1", weight_kg=3, became="pieces")
    act("end shift", line="line 1", weight_kg=2)
    lead("hang sensor", zone="warm room", sensor="logger")
    act("store", zone="warm room", totes=[shop.tote()])
    lead("let sensor send", zone="warm room", sensor="logger", token_hash="5f" * 32)
    for mark in (73, 74):
        act("read temperature", zone="back rack", reading_f=mark)
    shop.wait(hours=54)
    spike = shop.csv(53).replace(",75\n", ",140\n", 40).replace(",140\n", ",75\n", 39)
    act("log temperatures", zone="warm room", csv=spike)
    logged = shop.head
    colder = spike.replace(",75\n", ",60\n", 200)
    act("read cup", cup=cup, is_set=True, hardness=[54, 55, 56])
    act("keep", cup=cup, shelf="C4", until="2026-09-01 08:00")
    for _ in range(4):
        if not shop.book.value(
            "SELECT 1 FROM hold h WHERE h.item = ? AND NOT EXISTS (SELECT 1 FROM lift l WHERE l.hold_seq = h.seq AND l.hold_n = h.n)",
            tire,
        ):
            break
        hold = shop.book.one(
            "SELECT seq, n FROM hold h WHERE h.item = ? AND NOT EXISTS (SELECT 1 FROM lift l WHERE l.hold_seq = h.seq AND l.hold_n = h.n) "
            "ORDER BY seq, n LIMIT 1",
            tire,
        )
        lead("lift", item=tire, hold=f"{hold.seq}.{hold.n}", why="looked at: dry and tight")
    lead("release", tire=tire, tag_scanned=True, override="the owner wants it today")
    act("dispatch", tires=[tire])
    act("hold", lot="A-12", why="smells of water")
    lead("open recall", suspect="A-11", defect="setting", why="mock recall")
    recall = shop.head
    came = act("return", complaint="soft", size="23.5-25", unit="LOADER 12")
    lead("identify", event=came.seq, verdict="ours", tire=tire, why="the rim's number")
    lead("close recall", recall=recall, note="came back and looked at", override="the mock ends here")
    act("scrap", item=third, why="never set", weight_kg=8)
    act("unhook", tote=a)
    act("pour heel", tote=rest, into=a, weight_kg=30)
    act("clean", line="line 1", parts="everything")
    act("run pump", line="line 1", weight_kg=1)
    a_2 = shop.tote("A", lot="A-14")
    act("weigh", item=a_2, weight_kg=998)
    act("hook up", line="line 1", tote=a_2)
    fourth = shop.fill(kg=120, mix_pct=0)
    shop.wait(days=3)
    act("reclaim", tire=fourth)
    batch = act(
        "grind", pieces=[{"source": fourth, "weight_kg": 100}, {"source": "unknown", "weight_kg": 20}]
    ).ids[0]
    act("load", line="line 1", batch=batch, weight_kg=90)
    act("finish fill", tire=late, line="line 1", weight_kg=80, mix_pct=40, pressure_psi=58)
    act("reserve ids", tires=3)
    act("admit device", who="Dana", device="dock scale", token_hash="3c" * 32)
    act("dismiss device", who="Dana", device="dock scale", why="replaced")
    lead("trust samples", event=logged, why="looked at the spike: the door stood open")
    lead("take down sensor", zone="warm room", sensor="logger")
    shop.correct(shop.book.value("SELECT seq FROM event WHERE kind = 'load'"), weight_kg=88)
    shop.correct(shop.book.value("SELECT seq FROM event WHERE kind = 'read temperature'"), void=True)
    shop.correct(logged, csv=colder)
    lead("settle", tire=tire, why="called the customer; it is looked at on Friday")
    act("hold", item=spare, why="dented")
    sign_and_forget(shop)
    for chapter in LATER.values():
        chapter(shop)


def sign_and_forget(shop):
    """A lead sets a PIN with a code; somebody tries five others."""
    from fillbook.trace.core.errors import NotAllowed
    from fillbook.trace.work import signing

    code = signing.give_code(shop.book, "BH", "Lee", by=None, now=shop.now, station="terminal")
    signing.set_pin(shop.book, "BH", "Lee", "402817", proof=code, now=shop.wait(minutes=1))
    for _ in range(signing.FREE_TRIES):
        with contextlib.suppress(NotAllowed):
            signing.check_pin(shop.book, "BH", "Lee", "991133", shop.now, station="desk")
    shop.wait(minutes=1)


def a_tire_that_stays_away(shop):
    """A tire is sent out, recalled, and looked at where it is."""
    away = shop.fill(kg=120, mix_pct=0)
    shop.lead("release", tire=away, override="its twin was cut open and is sound", signed_by="Dana")
    shop.act("dispatch", tires=[away])
    recall = shop.lead("open recall", suspect="A-14", defect="setting", why="smells of water").seq
    shop.lead(
        "account for", recall=recall, tires=[away], became="looked at, stays", found="Lee went there: hard"
    )


#: What was added to the story after it had been told: the kind of event that came with it -> its chapter.
LATER = {"account for": a_tire_that_stays_away}
