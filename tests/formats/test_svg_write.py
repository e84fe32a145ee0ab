"""SVG drawings, read back by a general SVG library, an XML parser and a renderer."""

import io
import re
import xml.etree.ElementTree as ElementTree
from functools import reduce

import numpy as np
import pytest
import resvg_py
import shapely
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from svgelements import SVG, Close, Move, Path

from maskgen.formats.numbers import fixed
from maskgen.formats.svg_write import write_cut, write_regions
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import (
    Area,
    Cubic,
    Line,
    Partition,
    Piece,
    Region,
    Ring,
    area_of,
    bounds,
    polygon_ring,
    rectangle,
    signed_area,
)

SVG_NAMESPACE = "{http://www.w3.org/2000/svg}"
PX_PER_MM = 96 / 25.4  # CSS Values: 1 in = 96 px = 25.4 mm


def outlines(data):
    """Every path as its sub-paths, sampled points in mm of the page, by svgelements."""
    found = []
    for path in SVG.parse(io.BytesIO(data)).elements(lambda e: isinstance(e, Path)):
        subpaths = []
        for sub in path.as_subpaths():
            sub = Path(sub)
            assert isinstance(sub[0], Move)
            assert isinstance(sub[-1], Close)
            points = [p for segment in sub[1:] for p in segment.npoint(np.linspace(0, 1, 200))]
            subpaths.append(np.array(points, dtype=float).reshape(-1, 2) / PX_PER_MM)
        found.append(subpaths)
    return found


def even_odd(subpaths):
    return reduce(shapely.symmetric_difference, [shapely.Polygon(p) for p in subpaths])


def test_cut_drawing_reads_back_the_same(drawing):
    paths = outlines(write_cut(drawing))
    assert [len(p) for p in paths] == [1 + len(piece.holes) for piece in drawing.pieces]
    shapes = [even_odd(p) for p in paths]
    for shape, piece in zip(shapes, drawing.pieces, strict=True):
        assert shape.area == pytest.approx(sum(map(signed_area, piece.rings)), rel=5e-4)
    left, top, right, bottom = bounds(Area(drawing.pieces))
    shift = np.array([drawing.left, drawing.top] * 2)
    assert shapely.union_all(shapes).bounds == pytest.approx(np.array([left, top, right, bottom]) - shift, abs=0.01)


def test_only_what_is_cut_is_in_the_file(drawing):
    root = ElementTree.fromstring(write_cut(drawing))
    assert root.attrib == {
        "width": f"{drawing.width:g}mm",
        "height": f"{drawing.height:g}mm",
        "viewBox": f"{drawing.left:g} {drawing.top:g} {drawing.width:g} {drawing.height:g}",
    }
    assert len(root) == len(drawing.pieces)
    for path in root:
        assert path.tag == f"{SVG_NAMESPACE}path"
        assert set(path.attrib) == {"fill-rule", "d"}
        assert path.attrib["fill-rule"] == "evenodd"


def test_a_renderer_paints_the_vinyl(drawing):
    data = resvg_py.svg_to_bytes(svg_string=write_cut(drawing).decode(), dpi=254, background="white")  # 10 px per mm
    grey = np.asarray(Image.open(io.BytesIO(bytes(data))).convert("L"), dtype=float)
    painted = (1 - grey / 255).sum() / grey.size * drawing.width * drawing.height
    assert painted == pytest.approx(area_of(Area(drawing.pieces)), rel=0.005)


def test_text_of_a_small_drawing():
    ring = Ring((Line((0, 0), (4, 0)), Cubic((4, 0), (5, 1), (5, 2), (4.00004, 3)), Line((4.00004, 3), (0, 0))))
    hole = polygon_ring(np.array([(1.0, 0.5), (1.0, 1.0), (2.123456, 0.5)]))
    drawing = CutDrawing(-1.0, 0.0, 10.5, 5.0, (Piece(ring, (hole,)),))
    assert write_cut(drawing).decode() == (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<svg xmlns="http://www.w3.org/2000/svg" width="10.5mm" height="5mm" viewBox="-1 0 10.5 5">\n'
        '<path fill-rule="evenodd" d="M1 0.5L1 1L2.1235 0.5ZM0 0L4 0C5 1 5 2 4 3Z"/>\n'
        "</svg>\n"
    )


def test_what_vanishes_in_rounding_leaves_no_empty_path():
    speck = polygon_ring(np.array([(1.0, 1.0), (1.00001, 1.0), (1.0, 1.00001)]))
    root = ElementTree.fromstring(write_cut(CutDrawing(0, 0, 5, 5, (Piece(speck), rectangle(0, 0, 1, 1)))))
    assert [path.attrib["d"] for path in root] == ["M0 0L1 0L1 1L0 1Z"]


def partition():
    shared = Cubic((3.0000499999, 0.0), (3.7, 1.1234567), (2.2222222, 2.7), (3.33333333, 4.0))
    left = Ring((Line((0, 0), shared.start), shared, Line(shared.end, (0, 4)), Line((0, 4), (0, 0))))
    right = Ring((Line(shared.start, (8, 0)), Line((8, 0), (8, 4)), Line((8, 4), shared.end), shared.reversed()))
    return Partition(
        8.0,
        4.0,
        (
            Region("r1", 'sky & "sea" <blue>\x01', "#1b3f94", Area((Piece(left),))),
            Region("r2", "clear", "clear", Area((Piece(right),))),
        ),
    )


def test_regions_carry_colour_and_name():
    root = ElementTree.fromstring(write_regions(partition()))
    assert (root.attrib["width"], root.attrib["height"], root.attrib["viewBox"]) == ("8mm", "4mm", "0 0 8 4")
    assert [path.attrib["fill"] for path in root] == ["#1b3f94", "none"]
    assert [path.attrib["data-name"] for path in root] == ['sky & "sea" <blue>\ufffd', "clear"]
    assert {path.attrib["fill-rule"] for path in root} == {"evenodd"}


def test_neighbours_print_their_boundary_with_the_same_digits():
    texts = [path.attrib["d"] for path in ElementTree.fromstring(write_regions(partition()))]
    there, back = (
        re.search(r"([-\d.]+ [-\d.]+)C([-\d.]+ [-\d.]+) ([-\d.]+ [-\d.]+) ([-\d.]+ [-\d.]+)", t) for t in texts
    )
    assert there.groups() == back.groups()[::-1]


def test_without_a_size_one_pixel_is_one_unit():
    root = ElementTree.fromstring(write_regions(partition(), unit=""))
    assert (root.attrib["width"], root.attrib["height"], root.attrib["viewBox"]) == ("8", "4", "0 0 8 4")


@given(st.floats(-1e6, 1e6))
def test_numbers_are_plain_and_near(value):
    text = fixed(value)
    assert re.fullmatch(r"-?(0|[1-9]\d*)(\.\d{0,3}[1-9])?", text)
    assert text != "-0"
    assert abs(float(text) - value) <= 0.5e-4 + 1e-9


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_numbers_that_are_none_are_refused(value):
    with pytest.raises(ValueError, match="cannot hold"):
        fixed(value)
