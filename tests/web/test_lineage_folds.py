"""The lineage picture stays readable with hundreds of items, unfolds step by step, and says the same as the exact sums."""

import re

import pytest

from fillbook.trace.book import pedigree, reach, suspects
from fillbook.trace.core import exposure, ids, lineage

DAY = 86_400


def nodes(kind, many, *, days=1, lots=1):
    return [
        lineage.Node(f"{kind}{n}", kind, 1_700_000_000 + n * days * DAY, 1_700_000_000 + n * days * DAY, f"lot {n % lots}" if kind == "L" else f"{kind}{n}", f"{kind}{n}")
        for n in range(many)
    ]  # fmt: skip


def shown(items, kind, opened=()):
    folded = pedigree._folded(items, kind, opened, "UTC")
    return lineage.fold(folded, [])[0]


@pytest.mark.parametrize(
    ("kind", "many", "days"), [("F", 500, 1), ("F", 500, 8), ("G", 300, 3), ("F", 40, 0), ("L", 400, 2)]
)
def test_hundreds_of_items_are_a_few_boxes_and_each_is_in_one(kind, many, days):
    items = nodes(kind, many, days=days, lots=90)
    boxes = shown(items, kind)
    assert len(boxes) <= pedigree.ALONE
    assert sorted(member for box in boxes for member in box.members) == sorted(item.id for item in items)


def test_a_box_unfolds_into_a_few_smaller_ones_until_each_item_stands_alone():
    items = nodes("F", 700, days=2)
    opened: list[str] = []
    for _ in range(6):
        boxes = shown(items, "F", opened)
        widest = max(boxes, key=lambda box: len(box.members))
        if len(widest.members) == 1:
            break
        before = len(boxes)
        opened.append(widest.key)
        boxes = shown(items, "F", opened)
        assert before < len(boxes) <= before + 31  # a month has at most 31 days
        assert sorted(m for box in boxes for m in box.members) == sorted(item.id for item in items)
    deep = ["F:2023", "F:2023-11", *(f"F:2023-11-{day:02d}" for day in range(1, 31))]
    alone = [box.members[0] for box in shown(items, "F", deep) if len(box.members) == 1]
    assert {item.id for item in items[:8]} <= set(alone)


def test_totes_fold_by_lot_and_many_lots_by_year():
    few = shown(nodes("L", 24, lots=6), "L")
    assert sorted(box.words for box in few) == [f"lot {n} · 4" for n in range(6)]
    many = nodes("L", 200, days=5, lots=100)
    years = shown(many, "L")
    assert {box.words[:4] for box in years} == {"2023", "2024", "2025", "2026"}
    assert "2024-03 · 6" in {box.words for box in shown(many, "L", ("L:2024",))}
    assert any(box.words.startswith("L") for box in shown(many, "L", ("L:2024", "L:2024-03")))


def test_a_picture_of_hundreds_is_no_taller_than_a_few_screens():
    items = [*nodes("L", 300, days=3, lots=80), *nodes("G", 200, days=4), *nodes("F", 600, days=1)]
    folded = [
        one
        for kind in "LGF"
        for one in pedigree._folded([n for n in items if n.kind == kind], kind, (), "UTC")
    ]
    picture = lineage.place(*lineage.fold(folded, []), 1100)
    assert len(picture.boxes) <= 3 * pedigree.ALONE and picture.height < 1600
    for one in picture.boxes:
        for other in picture.boxes:
            if one is not other:
                assert (
                    one.x + one.w <= other.x
                    or other.x + other.w <= one.x
                    or one.y + one.h <= other.y
                    or other.y + other.h <= one.y
                )


# -- the walks that stop, held against the sums that do not ----------------------------------------------------------------------
@pytest.mark.parametrize("cut", [0.0, 0.0025, 0.02])
def test_what_is_cut_off_is_never_more_than_was_said(web, cut):
    """Against :mod:`exposure`, which follows every path."""
    book = web.book
    seen = 0
    for (code,) in book.tuples("SELECT code FROM item WHERE kind IN ('L', 'G', 'F') ORDER BY num"):
        number = book.value("SELECT num FROM item WHERE code = ?", code)
        name = dict(book.tuples("SELECT num, code FROM item"))
        exact_back = exposure.origins_all(suspects.backward(book, code), code)
        exact_on = exposure.fractions(suspects.onward(book, code), [code])
        for kin, exact in (
            (reach.back_to(book, number, cut), exact_back),
            (reach.on_from(book, number, cut), exact_on),
        ):
            mine = {name[n]: share for n, share in kin.shares.items()}
            for one, share in mine.items():
                assert share <= exact[one] + 1e-9
                if not cut:
                    assert share == pytest.approx(exact[one])
                seen += 1
            lacking = {
                one: share
                for one, share in exact.items()
                if one and one != code and one not in mine and share > 0
            }
            assert all(share < max(cut, 1e-12) * 3 for share in lacking.values()), (code, lacking)
    assert seen > 30


def test_the_share_of_what_is_held_lies_between_what_is_said(web):
    book = web.book
    for (code,) in book.tuples("SELECT code FROM item WHERE kind IN ('G', 'F') ORDER BY num"):
        number = book.value("SELECT num FROM item WHERE code = ?", code)
        links = suspects.backward(book, code)
        for (held,) in book.tuples("SELECT code FROM item WHERE kind IN ('L', 'G', 'F') AND code <> ?", code):
            exact = exposure.fractions(links, [held]).get(code, 0.0)
            for cut in (0.0, 0.001, 0.3):
                found, left = reach.share_in(
                    book, number, {book.value("SELECT num FROM item WHERE code = ?", held)}, cut
                )
                assert found - 1e-9 <= exact <= found + left + 1e-9, (code, held, cut)


# -- the page --------------------------------------------------------------------------------------------------------------------
def test_a_box_opens_by_a_tap_and_folds_again(web, names):
    code = names["b"]
    text = web.get(f"/lineage/{code}").text
    table = re.findall(r'<td><a class="id" href="/i/([A-Z0-9]+)"', text)
    assert table and all(ids.is_valid(one) for one in table)
    folded = re.findall(r'href="(/lineage/[^"]+open=[^"]+)"', web.get(f"/lineage/{names['held']}").text)
    for address in folded[:3]:
        opened = web.get(address.replace("&amp;", "&").split("#")[0]).text
        assert "Fold " in opened and opened.count('<rect class="box') > web.get(
            f"/lineage/{names['held']}"
        ).text.count('<rect class="box')


@pytest.mark.parametrize(
    "said",
    [
        "open=",
        "open=L:nothing",
        "open=" + "x" * 500,
        "open=%00",
        "&".join(["open=F:2025"] * 60),
        "open=Z:1&open=%3Cscript%3E",
    ],
)
def test_an_odd_unfolding_changes_nothing(web, names, said):
    plain = web.get(f"/lineage/{names['sent']}").text
    odd = web.get(f"/lineage/{names['sent']}?{said}").text
    assert odd.count("<rect") == plain.count("<rect") and "<script>" not in odd
