"""Drawings as runs and arcs: near the outline, begun where the knife begins, arcs where the outline has them."""

import math
from collections import Counter

import numpy as np
import pytest
import shapely

from maskgen.geometry.arcs import Arc, arc_points
from maskgen.geometry.polygons import to_polygon
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Cubic, Line, Piece, Ring, flatten, polygon_ring, rectangle, signed_area
from maskgen.shape.arc_paths import _begun_at, arc_drawing
from maskgen.shape.cutting import in_cutting_order

QUARTER = 4 / 3 * math.tan(math.pi / 8)


def circle(x, y, radius):
    runs, at = [], [(1, 0), (0, 1), (-1, 0), (0, -1)]
    for (c, s), (c2, s2) in zip(at, at[1:] + at[:1], strict=True):
        points = [(c, s), (c - QUARTER * s, s + QUARTER * c), (c2 + QUARTER * s2, s2 - QUARTER * c2), (c2, s2)]
        runs.append(Cubic(*[(x + radius * px, y + radius * py) for px, py in points]))
    return Ring(tuple(runs))


def walked(path):
    """Points along a path of corners and bulges, worked out from what a bulge is: tan of a quarter of the angle."""
    points = []
    for (x0, y0, bulge), (x1, y1, _) in zip(path.corners, path.corners[1:] + path.corners[:1], strict=True):
        points.append((x0, y0))
        if bulge:
            start, chord = complex(x0, y0), complex(x1 - x0, y1 - y0)
            centre = start + chord / 2 * (1 + 1j * (1 - bulge**2) / (2 * bulge))
            for share in np.linspace(0, 1, 129)[1:-1]:
                turned = centre + (start - centre) * np.exp(4j * math.atan(bulge) * share)
                points.append((turned.real, turned.imag))
    return points


def drawing(*pieces):
    return in_cutting_order(CutDrawing(0.0, 0.0, 80.0, 60.0, pieces))


def test_letters_stay_within_the_promise(letters):
    cut = drawing(*letters("R&S8", 14.0).pieces)
    rings = [ring for piece in cut.pieces for ring in (*piece.holes, piece.outer)]
    paths = arc_drawing(cut).paths
    assert len(paths) == len(rings)
    for path, ring in zip(paths, rings, strict=True):
        outline = shapely.LinearRing(flatten(ring, 1e-4))
        assert shapely.hausdorff_distance(shapely.LinearRing(walked(path)), outline, densify=0.2) < 0.005
        assert path.corners[0][:2] == ring.segments[0].start
    total = sum(to_polygon(piece).area for piece in cut.pieces)
    signed = sum(shapely.Polygon(walked(p)).area * (1 if shapely.LinearRing(walked(p)).is_ccw else -1) for p in paths)
    assert signed == pytest.approx(total, rel=5e-4)


def test_a_circle_becomes_three_arcs_begun_at_its_start():
    # two half circles, one of them split where the knife begins
    ring = circle(30, 30, 12)
    (path,) = arc_drawing(drawing(Piece(ring))).paths
    assert len(path.corners) <= 3
    sweep = [4 * math.degrees(math.atan(bulge)) for _, _, bulge in path.corners]
    assert sum(sweep) == pytest.approx(360, abs=0.01)
    assert np.hypot(*(np.array(walked(path)) - 30).T) == pytest.approx(12, abs=0.004)
    (cut,) = drawing(Piece(ring)).pieces
    assert path.corners[0][:2] == pytest.approx(cut.outer.segments[0].start)


def test_a_narrow_ring_keeps_its_area():
    angle = -np.arange(300) * math.pi / 150
    hole = polygon_ring(np.column_stack([30 + 12 * np.cos(angle), 30 + 12 * np.sin(angle)]))
    piece = Piece(circle(30, 30, 12.5), (hole,))
    outer, inner = sorted(
        (shapely.Polygon(walked(p)) for p in arc_drawing(drawing(piece)).paths), key=lambda s: -s.area
    )
    # exact by Green's theorem; the walked chords lose some 0.01 % of the outer disc, 0.1 % of the ring
    assert outer.area - inner.area == pytest.approx(signed_area(piece.outer) + signed_area(hole), rel=1.5e-3)
    assert np.hypot(*(np.array(outer.exterior.coords) - 30).T) == pytest.approx(12.5, abs=0.005)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_an_arc_is_split_where_the_knife_begins(share):
    for bulge in (0.2, -0.7, 1.0):
        half = [Arc((0.0, 0.0), (10.0, 4.0), bulge), Arc((10.0, 4.0), (0.0, 0.0), 0.0)]
        start = tuple(map(float, arc_points(half[0], 1001)[int(1000 * share)]))
        first, *_, last = _begun_at(half, start)
        assert first.start == start == last.end
        angles = [4 * math.atan(first.bulge), 4 * math.atan(last.bulge)]
        assert angles == pytest.approx([4 * math.atan(bulge) * (1 - share), 4 * math.atan(bulge) * share])


def test_straight_runs_stay_straight():
    (path,) = arc_drawing(CutDrawing(0, 0, 20, 20, (rectangle(1, 2, 9, 8),))).paths
    assert path.corners == ((1, 2, 0), (9, 2, 0), (9, 8, 0), (1, 8, 0))


def test_rounded_tiles_are_runs_and_quarter_circles():
    r, k = 3.0, 3.0 * (1 - QUARTER)
    ring = Ring(
        (
            Line((3, 0), (17, 0)),
            Cubic((17, 0), (20 - k, 0), (20, k), (20, r)),
            Line((20, 3), (20, 7)),
            Cubic((20, 7), (20, 10 - k), (20 - k, 10), (17, 10)),
            Line((17, 10), (3, 10)),
            Cubic((3, 10), (k, 10), (0, 10 - k), (0, 7)),
            Line((0, 7), (0, 3)),
            Cubic((0, 3), (0, k), (k, 0), (3, 0)),
        )
    )
    (path,) = arc_drawing(CutDrawing(0, 0, 20, 10, (Piece(ring),))).paths
    bulges = Counter(round(bulge, 4) for _, _, bulge in path.corners)
    assert bulges == {0.0: 4, 0.4142: 4}  # tan(90 / 4 degrees)


@pytest.mark.parametrize("away_mm", [-0.0008, -1e-5, 0.0, 1e-6, 0.0008])
@pytest.mark.parametrize("angle", [0.0, 1e-6, 1e-4, 0.3, math.pi / 2, math.pi - 1e-5, math.pi, 4.0])
def test_a_circle_keeps_its_area_wherever_near_it_the_knife_begins(away_mm, angle):
    # two half circles stand for an outline that lies within the tolerance of them
    turn, radius = np.exp(1j * angle), 26.0
    halves = [Arc((26.0, 0.0), (-26.0, 0.0), 1.0), Arc((-26.0, 0.0), (26.0, 0.0), 1.0)]
    place = (radius + away_mm) * turn
    begun = _begun_at(halves, (place.real, place.imag))
    walk = np.vstack([arc_points(arc, 4001)[:-1] for arc in begun])
    assert shapely.Polygon(walk).area == pytest.approx(math.pi * radius**2, rel=1e-4)
    assert np.hypot(*walk.T) == pytest.approx(radius, abs=0.002)
