"""PDF drawings, read back from the page's content by another PDF library."""

import io
from functools import reduce

import numpy as np
import pypdf
import pytest
import shapely
from pypdf.generic import ContentStream

from maskgen.errors import InputError
from maskgen.formats.pdf import write_cut
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Area, area_of, bounds, rectangle

MM = 25.4 / 72  # ISO 32000-1: 1/72 in


def filled(data):
    """Every filled path as closed sub-paths in mm from the page's lower left corner, with its painting operator."""
    reader = pypdf.PdfReader(io.BytesIO(data))
    (page,) = reader.pages
    paths, current, here = [], [], None
    matrix = np.eye(3)
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        numbers = [float(o) for o in operands if isinstance(o, int | float)]
        points = [
            tuple((np.array([*numbers[k : k + 2], 1.0]) @ matrix)[:2] * MM) for k in range(0, len(numbers) - 1, 2)
        ]
        match operator:
            case b"cm":
                a, b, c, d, e, f = numbers
                matrix = np.array([[a, b, 0], [c, d, 0], [e, f, 1]]) @ matrix
            case b"m":
                current.append([points[0]])
            case b"l":
                current[-1].append(points[0])
            case b"c":
                start, t = np.array(here), np.linspace(0, 1, 100)[1:, None]
                one, two, end = map(np.array, points)
                curve = (1 - t) ** 3 * start + 3 * t * (1 - t) ** 2 * one + 3 * t**2 * (1 - t) * two + t**3 * end
                current[-1].extend(map(tuple, curve))
            case b"h":
                assert len(current[-1]) > 2
            case b"f" | b"f*":
                paths.append((operator, current))
                current = []
            case b"S" | b"s" | b"B" | b"B*" | b"b" | b"b*" | b"Tj" | b"Do":
                raise AssertionError(f"{operator} paints more than outlines")
        if operator in (b"m", b"l", b"c"):
            here = current[-1][-1]
    return paths, [float(v) * MM for v in page.mediabox]


def test_reads_back_the_same(drawing):
    paths, box = filled(write_cut(drawing))
    assert box == pytest.approx((0, 0, drawing.width, drawing.height), abs=1e-3)
    assert [operator for operator, _ in paths] == [b"f*"] * len(drawing.pieces)
    assert [len(subpaths) for _, subpaths in paths] == [1 + len(piece.holes) for piece in drawing.pieces]
    shapes = [reduce(shapely.symmetric_difference, map(shapely.Polygon, subpaths)) for _, subpaths in paths]
    assert sum(s.area for s in shapes) == pytest.approx(area_of(Area(drawing.pieces)), rel=5e-4)
    left, top, right, bottom = bounds(Area(drawing.pieces))
    low = drawing.top + drawing.height
    wanted = (left - drawing.left, low - bottom, right - drawing.left, low - top)
    assert shapely.union_all(shapes).bounds == pytest.approx(wanted, abs=0.01)


def test_is_not_scaled_when_printed_and_never_changes():
    drawing = CutDrawing(0, 0, 30, 20, (rectangle(1, 1, 5, 5),))
    data = write_cut(drawing)
    catalogue = pypdf.PdfReader(io.BytesIO(data)).trailer["/Root"]
    assert catalogue["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert data == write_cut(drawing)


def test_too_large_a_page_is_refused():
    with pytest.raises(InputError, match="5200 mm, a page holds at most 5080 mm"):
        write_cut(CutDrawing(0, 0, 300, 5200, (rectangle(1, 1, 5, 5),)))
