"""Words shrink, then wrap, then end in …; letters the fonts lack are replaced where everybody sees it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillbook.labels import fitting


@pytest.mark.parametrize(
    ("typed", "printed", "changed"),
    [
        ("Märklund & Søn, Çelik", "Märklund & Søn, Çelik", False),
        ("Cafe\u0301", "Café", False),  # the accent as a character of its own
        ("  two \t lines\r\nof it ", "two lines of it", False),
        ("soft\u00adhyphen, bell\x07, \u202eturned", "softhyphen, bell, turned", False),
        ("Győr", "Győr", False),
        ("Ђорђе, Ωμέγα", "Ђорђе, Ωμέγα", False),
        ("①２", "12", True),
        ("日本 5", "¿¿ 5", True),
        ("🛞", "¿", True),
        ("\uffff", "¿", True),
        ("\u0301", "", True),
        ("", "", False),
    ],
)
def test_what_is_printed_of_what_was_typed(typed, printed, changed):
    assert fitting.printable(typed)[:2] == (printed, changed)


def test_a_short_value_stands_as_large_as_the_box_allows():
    assert fitting.fit("40 %", 200, 20, bold=True, most=12, least=7) == fitting.Fitted(12, ("40 %",))


def test_a_longer_one_shrinks_first():
    fitted = fitting.fit("Bay Harbor Terminal", 110, 40, bold=True, most=12, least=7, lines=2)
    assert len(fitted.lines) == 1 and 7 <= fitted.size < 12 and not fitted.cut


def test_then_it_wraps():
    fitted = fitting.fit(
        "Bay Harbor Terminal, yard 2, gate 14", 110, 40, bold=True, most=12, least=9, lines=2
    )
    assert len(fitted.lines) == 2 and 9 <= fitted.size <= 12
    assert " ".join(fitted.lines) == "Bay Harbor Terminal, yard 2, gate 14" and not fitted.cut


def test_then_it_is_cut_and_says_so():
    fitted = fitting.fit("Bay Harbor Terminal " * 9, 110, 40, bold=True, most=12, least=9, lines=2)
    assert fitted.cut and len(fitted.lines) == 2 and fitted.lines[-1].endswith("…")


@settings(max_examples=120, deadline=None)
@given(
    text=st.text(st.sampled_from("iW ÅÇgj-0…¿"), min_size=1, max_size=700),
    wide=st.floats(10, 300),
    high=st.floats(8.4, 60),
    lines=st.integers(1, 4),
    bold=st.booleans(),
)
def test_nothing_ever_runs_out_of_its_box(text, wide, high, lines, bold):
    said = fitting.printable(text)[0]
    fitted = fitting.fit(said, wide, high, bold=bold, most=14, least=7, lines=lines)
    assert 0 < len(fitted.lines) <= lines
    assert len(fitted.lines) * fitted.size * fitting.LINE <= high + 1e-6
    assert all(fitting.width(line, bold) * fitted.size <= wide + 1e-6 for line in fitted.lines)
    if not fitted.cut:
        assert "".join(fitted.lines).replace(" ", "") == said.replace(" ", "")
