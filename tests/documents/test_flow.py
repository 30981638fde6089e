"""The flow picture: nothing lost in merging, widths true to the milligrams, no box over another, safe markup."""

import random
import re
from collections import Counter
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from custody.documents import flow
from custody.documents.flow import Link, Node
from tests.documents import samples

SVG = "{http://www.w3.org/2000/svg}"


def plant(count, columns, seed=1, metals=("Au",)):
    """A made-up history: ``count`` lots in ``columns`` columns, every one but the last feeding later ones."""
    chance = random.Random(seed)
    nodes = [
        Node(f"n{index}", (f"L-{index:06d}", "melt"), "lot", min(index * columns // count, columns - 1))
        for index in range(count)
    ]
    links = {}
    for node in nodes:
        later = [other for other in nodes if other.column > node.column]
        for other in chance.sample(later, min(len(later), chance.choice((1, 1, 2, 3)))):
            metal = chance.choice(metals)
            links[node.id, other.id, metal] = Link(node.id, other.id, chance.randrange(5_000_000), metal)
    return nodes, list(links.values())


def drawn(picture):
    return ElementTree.fromstring(flow.svg(picture, title="Flow", desc="In words"))


plants = st.builds(
    plant,
    st.integers(1, 200),
    st.integers(1, 12),
    st.integers(0, 10**6),
    st.sampled_from([("Au",), ("Au", "Ag", "Cu")]),
)


@settings(max_examples=60)
@given(plants, st.integers(2, 24), st.integers(3, 8))
def test_condensing_keeps_the_milligrams_and_the_limits(made, limit, columns):
    nodes, links = made
    fewer, merged = flow.condense(nodes, links, limit=limit, columns=columns)
    crowd = Counter(node.column for node in fewer)
    assert len(crowd) <= columns
    assert max(crowd.values()) <= limit
    assert sorted(crowd) == list(range(len(crowd)))
    kept = {node.id for node in fewer if node.kind != flow.OTHERS}
    before, after = flow.throughput(nodes, links), flow.throughput(fewer, merged)
    assert all(after[name] == before[name] for name in kept)
    assert len({(link.source, link.target, link.metal) for link in merged}) == len(merged)
    # what leaves the kept boxes or enters them from anywhere is still there, whoever it is merged with
    for end in ("source", "target"):
        there = sum(link.mg for link in links if getattr(link, end) in kept)
        assert there == sum(link.mg for link in merged if getattr(link, end) in kept)


@settings(max_examples=60)
@given(plants)
def test_no_box_lies_over_another_and_all_lie_in_the_picture(made):
    picture = flow.layout(*made)
    columns = {}
    for slot in picture.slots:
        columns.setdefault(slot.column, []).append(slot)
        assert slot.top >= -0.001
        assert slot.top + slot.height <= picture.height + 0.001
        assert slot.left + flow.BOX_WIDTH <= picture.width
    for column in columns.values():
        column.sort(key=lambda slot: slot.top)
        for upper, lower in pairwise(column):
            assert upper.top + upper.height + flow.GAP <= lower.top + 0.001


@settings(max_examples=60)
@given(plants)
def test_bands_are_as_wide_as_their_milligrams_and_fit_their_boxes(made):
    picture = flow.layout(*made)
    carried = sum(band.link.mg for band in picture.bands)
    wide = sum(band.width for band in picture.bands)
    for band in picture.bands:
        assert band.width * carried == pytest.approx(band.link.mg * wide)
        source, target = band.slots[0], band.slots[-1]
        for slot, top in ((source, band.out_top[0]), (target, band.in_top[-1])):
            assert slot.top - 0.001 <= top
            assert top + band.width <= slot.top + slot.height + 0.001
        assert len(band.in_top) == len(band.out_top) == len(band.slots) - 1
        assert [slot.column for slot in band.slots] == list(range(source.column, target.column + 1))


@settings(max_examples=60)
@given(plants)
def test_bands_at_one_side_of_a_box_touch_and_do_not_cross_there(made):
    bands = flow.layout(*made).bands
    leaving, arriving = {}, {}
    for band in bands:
        leaving.setdefault(band.link.source, []).append((band.out_top[0], band.slots[1].middle, band.width))
        arriving.setdefault(band.link.target, []).append((band.in_top[-1], band.slots[-2].middle, band.width))
    for side in [*leaving.values(), *arriving.values()]:
        side.sort(key=lambda end: (end[1], end[0]))
        for upper, lower in pairwise(side):
            assert upper[0] + upper[2] == pytest.approx(lower[0], abs=0.001)


@settings(max_examples=30)
@given(plants)
def test_every_label_fits_its_box(made):
    picture = flow.layout(*made)
    boxes = [group for group in drawn(picture) if group.get("class", "").startswith("flow-box")]
    assert len(boxes) == len(picture.nodes)
    for box in boxes:
        frame = box.find(f"{SVG}rect")
        top, height = float(frame.get("y")), float(frame.get("height"))
        lines = box.findall(f"{SVG}text")
        assert all(top < float(line.get("y")) < top + height for line in lines)
        assert all(len(line.text) <= 18 for line in lines)


def test_the_same_input_gives_the_same_picture():
    first, second = (flow.svg(flow.layout(*plant(120, 6)), title="Flow", desc="x") for _ in range(2))
    assert first == second


def test_the_smallest_of_a_full_column_become_others():
    nodes = [Node(f"n{index}", (f"L-{index}",), "parcel", 0) for index in range(30)] + [Node("m", ("melt",), "lot", 1)]
    links = [Link(f"n{index}", "m", 100 + index) for index in range(30)]
    fewer, merged = flow.condense(nodes, links, limit=24)
    (others,) = [node for node in fewer if node.kind == flow.OTHERS]
    assert others.lines == ("7 others",)
    assert [node.id for node in fewer if node.column == 0 and node is not others] == [f"n{i}" for i in range(7, 30)]
    assert next(link.mg for link in merged if link.source == others.id) == sum(range(100, 107))


def test_a_long_chain_folds_in_the_middle():
    nodes = [Node(f"n{index}", (f"L-{index}",), "lot", 10 * index) for index in range(40)]
    links = [Link(f"n{index}", f"n{index + 1}", 1000 - index) for index in range(39)]
    fewer, merged = flow.condense(nodes, links, columns=7)
    assert [node.lines[0] for node in sorted(fewer, key=lambda node: node.column)] == [
        "L-0", "L-1", "L-2", "34 lots between", "L-37", "L-38", "L-39",
    ]  # fmt: skip
    assert sorted(link.mg for link in merged) == sorted([1000, 999, 998, 964, 963, 962])


def test_metal_that_rounds_to_nothing_keeps_its_line():
    nodes = [Node("a", ("a",), "lot", 0), Node("b", ("b",), "lot", 1)]
    picture = flow.layout(nodes, [Link("a", "b", 0)])
    assert len([shape for shape in drawn(picture) if shape.tag == f"{SVG}path"]) == 1


@pytest.mark.parametrize("nodes", [[], [Node("a", ("L-1", "doré"), "parcel", 3)]])
def test_hardly_anything_is_a_picture_too(nodes):
    picture = flow.layout(nodes, [])
    assert len(picture.nodes) == len(nodes)
    assert drawn(picture).get("viewBox")


def test_the_picture_is_named_and_scales():
    svg = drawn(flow.layout(samples.NODES, samples.LINKS))
    assert svg.get("role") == "img"
    assert svg.get("aria-labelledby") == "flow-title flow-desc"
    assert svg.find(f"{SVG}title").get("id") == "flow-title"
    assert svg.find(f"{SVG}title").text == "Flow"
    assert svg.find(f"{SVG}desc").text == "In words"
    _, _, width, height = svg.get("viewBox").split()
    assert (svg.get("width"), svg.get("height")) == (width, height)
    other = flow.svg(flow.layout(samples.NODES, samples.LINKS), title="a", desc="b", key="silver")
    assert 'id="silver-title"' in other


def test_no_script_or_style_whatever_a_name_holds():
    name = '"><script>alert(1)</script><g onload="x" style="y">&\x01\ufffe'
    nodes = [Node("a", (name,), name, 0), Node("b", (name,), "bar", 1)]
    text = flow.svg(flow.layout(nodes, [Link("a", "b", 1, name)]), title=name, desc=name)
    svg = ElementTree.fromstring(text)
    shapes = {element.tag.removeprefix(SVG) for element in svg.iter()}
    assert shapes == {"svg", "title", "desc", "path", "g", "rect", "text"}
    attributes = {name for element in svg.iter() for name in element.attrib}
    assert not {name for name in attributes if name.startswith("on") or name == "style" or name.endswith("href")}
    assert svg.find(f"{SVG}title").text == name[:-2]


def test_what_left_the_book_does_not_rest_on_colour():
    svg = drawn(flow.layout(samples.NODES, samples.LINKS))
    dashes = {
        group.get("class").split("flow-")[-1]: group.find(f"{SVG}rect").get("stroke-dasharray")
        for group in svg
        if group.tag == f"{SVG}g"
    }
    assert dashes["loss"] != dashes["difference"]
    assert dashes["parcel"] is None
    assert dashes["loss"] is not None


def test_coordinates_are_rounded_to_a_tenth():
    text = flow.svg(flow.layout(*plant(50, 5)), title="Flow", desc="x")
    assert not re.findall(r"\d\.\d\d", re.sub(r">[^<]*<|-opacity=\"0.6\"", "><", text))
    assert "-0 " not in text


def test_the_picture_in_words():
    assert flow.sentences(samples.NODES, samples.LINKS) == (
        "L-002400 Tern Valley Placer Cooperative to L-002500 melt: 640.123 g Au",
        "L-002401 Old Mill Jewellers to L-002500 melt: 361.793 g Au",
        "difference to A000001 bar: 0.120 g Au",
        "L-002500 melt to A000001 bar: 999.792 g Au",
        "L-002500 melt to slag: 2.124 g Au",
    )


A, B = Node("a", ("a",), "lot", 0), Node("b", ("b",), "lot", 1)


@pytest.mark.parametrize(
    ("nodes", "links", "refusal"),
    [
        ([A, A], [], "same id"),
        ([A], [Link("a", "b", 1)], "leads to no node"),
        ([A, B], [Link("b", "a", 1)], "does not run to the right"),
        ([A, B], [Link("a", "a", 1)], "does not run to the right"),
        ([A, B], [Link("a", "b", -1)], "less than nothing"),
    ],
)
def test_what_is_no_flow_is_refused(nodes, links, refusal):
    with pytest.raises(ValueError, match=refusal):
        flow.layout(nodes, links)
