"""HPGL, read back by a plain reader of IN, SP, PU and PD and against a file worked out by hand.

Unit: 1/40 mm = 0.025 mm (HPGL summaries).
"""

import math
import re

import numpy as np
import pytest
import shapely

from maskgen.errors import InputError
from maskgen.formats.hpgl import write_cut, write_paths
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Area, Piece, bounds, polygon_ring, rectangle, signed_area


def lines(data):
    """The lines a pen would draw, whole units, and whether the pen ends up."""
    here, down, drawn = (0, 0), False, []
    for instruction in re.sub(rb"\s", b"", data).decode("ascii").split(";")[:-1]:
        name, numbers = instruction[:2], [int(n) for n in instruction[2:].split(",") if n]
        points = list(zip(numbers[::2], numbers[1::2], strict=name != "SP"))
        match name:
            case "IN" | "SP":
                down = False
            case "PU":
                down, here = False, (points or [here])[-1]
            case "PD":
                if not down:
                    drawn.append([here])
                drawn[-1] += points
                down, here = True, (points or [here])[-1]
            case _:
                raise AssertionError(instruction)
    return [np.array(line) for line in drawn], not down


def test_hundred_millimetres_are_four_thousand_units():
    (line,), up = lines(write_cut(CutDrawing(0, 0, 100, 100, (rectangle(0, 0, 100, 100),))))
    assert up
    assert line.tolist() == [[0, 4000], [4000, 4000], [4000, 0], [0, 0], [0, 4000]]


def test_text_worked_out_by_hand():
    # window from -1, -2: x = (x + 1) * 40, y = (-2 + 10 - y) * 40; the hole before the outline
    outer = polygon_ring(np.array([(0.0, 0.0), (5.0, 0.0), (5.0, 4.0)]))
    hole = polygon_ring(np.array([(3.0, 1.0), (4.01, 1.51), (4.0, 1.0)]))
    drawing = CutDrawing(-1.0, -2.0, 10.0, 10.0, (Piece(outer, (hole,)),))
    assert write_cut(drawing) == (
        b"IN;SP1;\nPU160,280;\nPD200,260,200,280,160,280;\nPU40,320;\nPD240,320,240,160,40,320;\nPU;SP0;\n"
    )


def test_circle_of_a_thousand_points_closes_exactly():
    angle = np.arange(1000) * math.pi / 500
    ring = polygon_ring(np.column_stack([25 + 20 * np.cos(angle), 25 + 20 * np.sin(angle)]))
    (line,), _ = lines(write_cut(CutDrawing(0, 0, 50, 50, (Piece(ring),))))
    assert line[0].tolist() == line[-1].tolist()
    assert np.hypot(*(line / 40 - 25).T) == pytest.approx(20, abs=0.0185)  # half the grid's diagonal


def test_reads_back_the_same(drawing):
    found, up = lines(write_cut(drawing))
    assert up
    assert len(found) == sum(len(piece.rings) for piece in drawing.pieces)
    assert all(line[0].tolist() == line[-1].tolist() for line in found)
    areas = [shapely.Polygon(line).area / 1600 for line in found]
    rings = [ring for piece in drawing.pieces for ring in (*piece.holes, piece.outer)]
    assert sum(areas) == pytest.approx(sum(abs(signed_area(ring)) for ring in rings), rel=5e-4)
    left, top, right, bottom = bounds(Area(drawing.pieces))
    corners = np.vstack(found)
    wanted = np.array([left - drawing.left, drawing.top + drawing.height - bottom]) * 40
    assert corners.min(axis=0) == pytest.approx(wanted, abs=1)
    wanted = np.array([right - drawing.left, drawing.top + drawing.height - top]) * 40
    assert corners.max(axis=0) == pytest.approx(wanted, abs=1)


def test_every_corner_lies_on_the_outline(drawing):
    found, _ = lines(write_cut(drawing))
    rings = [ring for piece in drawing.pieces for ring in (*piece.holes, piece.outer)]
    for line, ring in zip(found, rings, strict=True):
        outline = shapely.LinearRing([(p[0] - drawing.left, drawing.top + drawing.height - p[1]) for p in _dense(ring)])
        drawn = shapely.LinearRing(line / 40)
        assert shapely.hausdorff_distance(drawn, outline, densify=0.5) <= 0.0185 + 0.0125


def _dense(ring):
    for segment in ring.segments:
        points = [getattr(segment, n) for n in ("start", "control1", "control2", "end") if hasattr(segment, n)]
        degree = len(points) - 1
        for t in np.linspace(0, 1, 24, endpoint=False):
            weights = [math.comb(degree, k) * t**k * (1 - t) ** (degree - k) for k in range(degree + 1)]
            yield np.dot(weights, np.array(points))


def test_instructions_stay_short(drawing):
    assert max(map(len, re.findall(rb"[^;]*;", write_cut(drawing)))) <= 255


def test_nothing_lies_off_the_sheet():
    with pytest.raises(InputError, match=r"at -1\.00, 3\.00 mm lies outside the sheet of 10\.00 x 10\.00 mm"):
        write_cut(CutDrawing(0, 0, 10, 10, (rectangle(-1, 3, 4, 5),)))


def test_lines_of_the_knife_are_written_as_they_are():
    window = CutDrawing(0, 0, 10, 10, ())
    drawn, _ = lines(write_paths(window, [np.array([(1.0, 1.0), (2.0, 1.0), (2.0, 3.0)])]))
    assert [line.tolist() for line in drawn] == [[[40, 360], [80, 360], [80, 280]]]


def test_an_empty_drawing_moves_nothing():
    assert lines(write_cut(CutDrawing(0, 0, 10, 10, ()))) == ([], True)
