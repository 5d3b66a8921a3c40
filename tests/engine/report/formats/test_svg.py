"""Drawings as SVG."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.report.formats.svg import svg
from engine.report.layout.drawing import Box, Drawing, Path, Words, hatched
from tests.support.sample_report import nasty_texts

numbers = st.floats(-50.0, 800.0)
points = st.lists(st.tuples(numbers, numbers), min_size=1, max_size=12)
_COMMAND = re.compile(r"([Mlz])([^Mlz]*)")
_NUMBER = re.compile(r"-?\d+")


def walked(data: str) -> list[tuple[float, float]]:
    """The points that path data in tenths goes through, by SVG's rules for M, l and z."""
    x, y, found = 0, 0, []
    for command, text in _COMMAND.findall(data):
        values = [int(v) for v in _NUMBER.findall(text)]
        for dx, dy in zip(values[::2], values[1::2], strict=True):
            x, y = (dx, dy) if command == "M" else (x + dx, y + dy)
            found.append((x / 10, y / 10))
    return found


@given(points, st.booleans())
def test_paths_go_through_their_points(given: list[tuple[float, float]], closed: bool) -> None:
    """To a tenth, however many steps there were: rounding must not add up."""
    path = Path((tuple(given),), stroke="#000000", fill="#ffffff" if closed else "")
    tree = ET.fromstring(svg(Drawing(800, 100, (path,), "t")))
    element = next(e for e in tree.iter() if e.tag.endswith("path"))
    found = walked(element.attrib["d"])
    assert len(found) == len(given)
    for (x, y), (to_x, to_y) in zip(found, given, strict=True):
        assert (x, y) == pytest.approx((to_x, to_y), abs=0.051)


@given(nasty_texts.filter(lambda t: all(c >= " " and c not in "\ufffe\uffff" for c in t)))
def test_texts_are_texts(text: str) -> None:
    """Title and words hold the text itself; it never becomes an element."""
    shapes = (Words(0, 0, text, 9, "#000000"), Box(0, 0, 1, 1, "#ffffff"))
    tree = ET.fromstring(svg(Drawing(10, 10, shapes, text)))
    tags = [e.tag.rpartition("}")[2] for e in tree.iter()]
    assert tags == ["svg", "title", "text", "rect"]
    assert [tree[0].text or "", tree[1].text or ""] == [text, text]


@given(
    st.floats(0.0, 700.0),
    st.floats(0.0, 300.0),
    st.floats(0.5, 300.0),
    st.floats(0.5, 40.0),
    st.booleans(),
)
def test_hatching_stays_in_its_box(
    x: float, y: float, width: float, height: float, crossed: bool
) -> None:
    """No hatch line leaves the box it fills, so no clipping is needed."""
    box = Box(x, y, width, height, "#ffffff")
    for part in hatched(box, "#000000", 3.0, crossed=crossed).parts:
        for px, py in part:
            assert x - 1e-6 <= px <= x + width + 1e-6
            assert y - 1e-6 <= py <= y + height + 1e-6
