"""Lines of the knife, tried with a blade that trails: its tip is drawn along behind the axis at a fixed distance."""

import itertools
import math

import numpy as np
import pytest
import shapely
from scipy.spatial import KDTree

from maskgen.geometry.polygons import from_polygons, to_polygon
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Piece, polygon_ring, rectangle
from maskgen.shape.knife import knife_paths

OFFSET = 0.25  # mm, the usual 45 degree blade (common practice, no source)


def dragged(paths, offset, pointing=(1.0, 0.0)):
    """Where the tip scratches: pulled towards the axis in small steps; lifted, the blade keeps its direction."""
    traces = []
    tip_to_axis = np.array(pointing) * offset
    for path in paths:
        tip = path[0] - tip_to_axis
        trace = [tip]
        for a, b in itertools.pairwise(path):
            steps = max(1, math.ceil(math.dist(a, b) / 0.004))
            for k in range(1, steps + 1):
                axis = a + (b - a) * k / steps
                tip = axis - (axis - tip) / np.linalg.norm(axis - tip) * offset
                trace.append(tip)
        tip_to_axis = path[-1] - tip
        traces.append(np.array(trace))
    return traces


def drawing(*pieces):
    return CutDrawing(-5, -5, 60, 60, pieces)


def furthest(trace, piece):
    """Hausdorff distance, to 2 um."""
    outline = shapely.get_coordinates(to_polygon(piece).exterior.segmentize(0.004))
    return max(KDTree(outline).query(trace)[0].max(), KDTree(trace).query(outline)[0].max())


def started_mid_side():
    return Piece(polygon_ring(np.array([(5.0, 0.0), (10.0, 0.0), (10.0, 8.0), (0.0, 8.0), (0.0, 0.0)])))


def test_without_settings_the_outline_itself_is_cut():
    (path,) = knife_paths(drawing(rectangle(0, 0, 10, 8)))
    assert path.tolist() == [[0, 0], [10, 0], [10, 8], [0, 8], [0, 0]]


def test_overcut_runs_on_past_the_start():
    (path,) = knife_paths(drawing(rectangle(0, 0, 10, 8)), overcut_mm=12.0)
    assert path.tolist() == [[0, 0], [10, 0], [10, 8], [0, 8], [0, 0], [10, 0], [10, 2]]


def test_a_dragged_tip_rounds_corners_unless_the_axis_makes_up_for_it():
    piece = started_mid_side()
    (plain,) = dragged(knife_paths(drawing(piece)), OFFSET)
    assert furthest(plain, piece) > 0.1
    (made_up,) = dragged(knife_paths(drawing(piece), knife_offset_mm=OFFSET), OFFSET)
    assert furthest(made_up, piece) < 0.005


@pytest.mark.parametrize("offset", [0.175, 0.25, 1.0])
def test_sharp_and_round_outlines_are_cut_by_the_tip(offset):
    star = shapely.Polygon(
        [
            (20 + r * math.cos(a), 20 + r * math.sin(a))
            for r, a in zip(itertools.cycle((12, 5)), np.arange(10) * math.pi / 5)
        ]
    )
    round_one = shapely.Point(20, 20).buffer(4, quad_segs=64)
    for shape in (star, round_one):
        (piece,) = from_polygons(shape).pieces
        paths = knife_paths(drawing(piece), knife_offset_mm=offset)
        start = np.diff(np.array(to_polygon(piece).exterior.coords)[:2], axis=0)[0]
        (trace,) = dragged(paths, offset, pointing=start / np.linalg.norm(start))
        assert furthest(trace, piece) < 0.01


def test_between_outlines_the_blade_keeps_its_direction():
    pieces = [started_mid_side(), rectangle(20, 20, 30, 30), Piece(rectangle(40, 0, 45, 9).outer.reversed())]
    traces = dragged(knife_paths(drawing(*pieces), knife_offset_mm=OFFSET, overcut_mm=0.5), OFFSET)
    for trace, piece in zip(traces, pieces, strict=True):
        assert furthest(trace, piece) < 0.005  # never off the outline, not even where the knife comes down


def test_small_rings_are_overcut_half_way_at_most():
    (path,) = knife_paths(drawing(rectangle(0, 0, 1, 1)), overcut_mm=50.0)
    assert np.hypot(*np.diff(path, axis=0).T).sum() == pytest.approx(6.0)
