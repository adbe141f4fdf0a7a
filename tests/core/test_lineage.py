from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from fillbook.trace.core import lineage
from fillbook.trace.core.lineage import Edge, Node

nodes = st.lists(
    st.builds(
        lambda n, kind, start, length, fold: Node(f"{kind}{n}", kind, start, start + length, fold, f"{kind}{n}"),
        st.integers(0, 400), st.sampled_from("LGF"), st.integers(0, 10**7), st.integers(0, 10**6), st.sampled_from("abcdef"),
    ),
    min_size=1, max_size=120, unique_by=lambda node: node.id,
)  # fmt: skip


@given(nodes, st.sets(st.sampled_from(["L:a", "G:b", "F:c"])), st.data())
def test_every_item_is_in_one_box_and_no_two_boxes_overlap(found, opened, data):
    edges = [
        Edge(a.id, b.id, data.draw(st.integers(1, 10**6)))
        for a in found[:10] for b in found[10:20]
    ]  # fmt: skip
    boxes, flows = lineage.fold(found, edges, opened)
    members = [one for box in boxes for one in box.members]
    assert sorted(members) == sorted(node.id for node in found)
    picture = lineage.place(boxes, flows, 1000)
    for n, one in enumerate(picture.boxes):
        assert one.x >= 0 and one.x + one.w <= 1000 and one.y + one.h <= picture.height
        for other in picture.boxes[n + 1 :]:
            apart = (
                one.x + one.w <= other.x
                or other.x + other.w <= one.x
                or one.y + one.h <= other.y
                or other.y + other.h <= one.y
            )
            assert apart, (one, other)


def test_flows_between_boxes_add_up_and_stay_outside_one_box():
    found = [
        Node("L1", "L", 0, 9, "lot", "L1"),
        Node("L2", "L", 0, 9, "lot", "L2"),
        Node("F1", "F", 5, 5, "May", "F1"),
    ]
    edges = [Edge("L1", "F1", 30), Edge("L2", "F1", 12), Edge("L1", "L2", 5)]
    boxes, flows = lineage.fold(found, edges)
    assert [(box.key, box.words) for box in boxes] == [("L:lot", "lot · 2"), ("F1", "F1")]
    assert [(flow.parent, flow.child, flow.grams) for flow in flows] == [("L:lot", "F1", 42)]
    opened, parts = lineage.fold(found, edges, {"L:lot"})
    assert sorted(flow.grams for flow in parts) == [5, 12, 30]
    assert len(opened) == 3


def test_a_later_box_lies_further_right():
    boxes, flows = lineage.fold(
        [Node(f"F{n}", "F", n * 1000, n * 1000, f"{n}", f"F{n}") for n in range(5)], []
    )
    xs = [box.x for box in lineage.place(boxes, flows, 900).boxes]
    assert xs == sorted(xs) and len(set(xs)) == 5


def test_nothing_gives_an_empty_picture():
    assert lineage.place([], [], 900).boxes == ()


@given(nodes, st.data())
def test_no_line_lies_under_a_box_that_is_not_its_own(found, data):
    ids = [node.id for node in found]
    pairs = data.draw(st.lists(st.tuples(st.sampled_from(ids), st.sampled_from(ids)), max_size=40))
    boxes, flows = lineage.fold(found, [Edge(a, b, 5) for a, b in pairs])
    picture = lineage.place(boxes, flows, 1000)
    for flow in picture.flows:
        for (x0, y0), (x1, y1) in pairwise(flow.points):
            left, right, top, bottom = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
            for box in picture.boxes:  # a line that turns stays in the rectangle of its two points
                apart = right <= box.x or left >= box.x + box.w or bottom <= box.y or top >= box.y + box.h
                assert apart, (flow, box)
        own = {box.key: box for box in picture.boxes}
        for key, (x, y) in ((flow.parent, flow.points[0]), (flow.child, flow.points[-1])):
            assert own[key].x <= x <= own[key].x + own[key].w and y in (own[key].y, own[key].y + own[key].h)
