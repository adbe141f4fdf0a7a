"""Which of several devices' drafts a page offers: equal ones once, and none that was taken over as it is."""

from __future__ import annotations

from fillbook.trace.web.cage import drafts


class Row:
    def __init__(self, tablet, said, who="BHP2500004M", at=0):
        self.tablet, self.said, self.who, self.station, self.at = tablet, said, who, "", at


def offered(monkeypatch, rows, mine="mine"):
    monkeypatch.setattr(drafts.drafts, "of_others", lambda *_: rows)
    monkeypatch.setattr(drafts.queries, "name_of", lambda _, who: who)
    for name in ("book", "shop", "now"):
        monkeypatch.setattr(drafts.here, name, lambda: None)
    monkeypatch.setattr(drafts, "tablet", lambda: mine)
    return [(one.name, one.words) for one in drafts.others("BHF2500001X")]


A = '{"weight_g": ["330"], "weight_g.unit": ["lb"]}'
B = '{"weight_g": ["340"], "weight_g.unit": ["lb"]}'


def took(said, *marks):
    return said[:-1] + ', "took": [' + ", ".join(f'"{one}"' for one in marks) + "]}"


def test_equal_drafts_are_offered_once_the_newest(monkeypatch):
    assert offered(monkeypatch, [Row("b", A, "Kim"), Row("a", A, "Sam")]) == [("Kim", "330 lb")]


def test_a_draft_that_was_taken_over_is_closed_until_more_is_typed_into_it(monkeypatch):
    mark = drafts.mark_of("a", A)
    taker = Row("b", took(A.replace("330", "331"), mark), "Kim")
    assert offered(monkeypatch, [taker, Row("a", A, "Sam")]) == [("Kim", "331 lb")]
    assert offered(monkeypatch, [taker, Row("a", B, "Sam")]) == [("Kim", "331 lb"), ("Sam", "340 lb")]


def test_who_took_it_over_is_not_offered_it_again(monkeypatch):
    mine = Row("mine", took(B, drafts.mark_of("a", A)), "Kim")
    assert offered(monkeypatch, [mine, Row("a", A, "Sam")]) == []


def test_the_mark_does_not_tell_the_device():
    assert "secret" not in drafts.mark_of("secret", A) and drafts.mark_of("a", A) != drafts.mark_of("b", A)
