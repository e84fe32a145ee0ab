"""Exact polygons to lines and cubics: within tolerance, few nodes, corners and straight edges kept."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.geometry.exact import fit_area_exact, fit_exact
from maskgen.model.paths import Cubic, Line, area_of, flatten, node_count, signed_area

TOLERANCE = 0.003


def corners_of(polygon):
    return shapely.get_coordinates(polygon.exterior)[:-1]


def star(outer, inner, points=5):
    turn = np.arange(2 * points) * np.pi / points
    reach = np.where(np.arange(2 * points) % 2, inner, outer)
    return np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])


@pytest.mark.parametrize("corners", [star(5, 2), np.array([(0, 0), (7, 0), (7, 4), (0, 4)]), star(3, 3, points=4)])
def test_a_polygon_of_long_edges_stays_as_it_is(corners):
    ring = fit_exact(corners, tolerance=TOLERANCE)
    assert all(isinstance(s, Line) for s in ring.segments)
    assert {s.start for s in ring.segments} == {tuple(map(float, c)) for c in corners}


@pytest.mark.parametrize("radius", [0.3, 1.0, 4.0, 10.0])
def test_a_circle_is_a_handful_of_cubics(radius, tools):
    outline = corners_of(shapely.Point(1, 2).buffer(radius, quad_segs=90))
    ring = fit_exact(outline, tolerance=TOLERANCE)
    assert len(ring.segments) <= 4
    away = np.hypot(*(flatten(ring, 1e-5) - (1, 2)).T)
    assert np.abs(away - radius).max() < TOLERANCE
    assert abs(signed_area(ring)) == pytest.approx(np.pi * radius**2, rel=2e-3)


def test_a_rounded_square_has_four_exact_lines_and_four_cubics(tools):
    outline = corners_of(shapely.box(0, 0, 6, 4).buffer(0.5, quad_segs=16))
    ring = fit_exact(outline, tolerance=TOLERANCE)
    lines = [s for s in ring.segments if isinstance(s, Line)]
    assert len(ring.segments) == 8
    assert {frozenset((s.start, s.end)) for s in lines} == {
        frozenset(pair)
        for pair in (
            ((0.0, -0.5), (6.0, -0.5)),
            ((6.5, 0.0), (6.5, 4.0)),
            ((6.0, 4.5), (0.0, 4.5)),
            ((-0.5, 4.0), (-0.5, 0.0)),
        )
    }
    # Steiner: a convex shape grown by r has area A + P r + pi r^2.
    assert abs(signed_area(ring)) == pytest.approx(24 + 20 * 0.5 + np.pi * 0.25, rel=1e-4)


def test_joints_of_smooth_runs_share_their_tangent():
    outline = corners_of(shapely.box(0, 0, 6, 4).buffer(0.5, quad_segs=16))
    ring = fit_exact(outline, tolerance=TOLERANCE)
    for before, after in zip(ring.segments, ring.segments[1:] + ring.segments[:1], strict=True):
        a = np.subtract(before.end, before.control2 if isinstance(before, Cubic) else before.start)
        b = np.subtract(after.control1 if isinstance(after, Cubic) else after.end, after.start)
        assert abs(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)) < np.radians(0.5)


@pytest.mark.parametrize("letter", "a&SK")
@pytest.mark.parametrize("distance", [0.0, 0.1, -0.1])
def test_offset_letters_stay_within_tolerance_with_few_nodes(letters, letter, distance, tools):
    shape = letters.shape(letter, 8.0)
    grown = shape.buffer(distance, quad_segs=16) if distance else shape
    area = fit_area_exact(grown, tolerance=TOLERANCE)
    polygons = [grown] if grown.geom_type == "Polygon" else list(grown.geoms)
    rings = [r for p in polygons for r in (p.exterior, *p.interiors)]
    fitted = [flatten(r, 1e-4) for r in area.rings]
    assert len(fitted) == len(rings)
    for ring, outline in zip(rings, fitted, strict=True):
        assert tools.apart(shapely.get_coordinates(ring)[:-1], outline) < TOLERANCE + 1e-4
    assert area_of(area) == pytest.approx(grown.area, rel=1e-3)
    vertices = sum(len(r.coords) - 1 for r in rings)
    assert node_count(area) <= vertices
    if letter != "K":
        assert node_count(area) < 0.2 * vertices


def test_orientation_outer_positive_holes_negative(letters):
    area = fit_area_exact(letters.shape("B", 8.0), tolerance=TOLERANCE)
    (piece,) = area.pieces
    assert signed_area(piece.outer) > 0
    assert [signed_area(h) < 0 for h in piece.holes] == [True, True]


def test_a_slit_narrower_than_the_tolerance_is_not_closed_by_the_fit():
    disc = shapely.Point(0, 0).buffer(2, quad_segs=64)
    hole = shapely.Point(0.1, 0).buffer(1.8985, quad_segs=64)
    area = fit_area_exact(disc.difference(hole), tolerance=TOLERANCE)
    rings = [shapely.LinearRing(flatten(r, 1e-4)) for r in area.rings]
    assert len(rings) == 2
    assert not rings[0].intersects(rings[1])


def test_direction_of_the_polygon_is_kept():
    outline = corners_of(shapely.Point(0, 0).buffer(1, quad_segs=30))
    ways = [signed_area(fit_exact(way, tolerance=TOLERANCE)) for way in (outline, outline[::-1])]
    assert ways[0] == pytest.approx(-ways[1], rel=1e-3)


def test_empty_area():
    assert fit_area_exact(shapely.MultiPolygon(), tolerance=TOLERANCE).pieces == ()


def on_grid(low, high):
    """Lengths as drawings state them, to 0.1 µm: the other library's distance divides by edges of no length."""
    return st.integers(round(low * 10_000), round(high * 10_000)).map(lambda n: n / 10_000)


places = st.tuples(on_grid(-5, 5), on_grid(-5, 5), on_grid(0.2, 2.0))


@settings(max_examples=25, deadline=None)
@given(st.lists(places, min_size=1, max_size=5), on_grid(0.05, 0.4))
def test_unions_of_discs_and_bars_keep_tolerance_and_validity(discs, bar):
    shape = shapely.union_all(
        [
            *(shapely.Point(x, y).buffer(r, quad_segs=40) for x, y, r in discs),
            *(shapely.LineString([(x, y), (0, 0.5)]).buffer(bar, quad_segs=12) for x, y, _ in discs if abs(x) > 0.1),
        ]
    )
    area = fit_area_exact(shape, tolerance=TOLERANCE)
    for piece in area.pieces:
        polygon = shapely.Polygon(flatten(piece.outer, 3e-4), [flatten(h, 3e-4) for h in piece.holes])
        assert polygon.is_valid
    fitted = shapely.MultiLineString([shapely.LinearRing(flatten(r, 3e-4)) for r in area.rings])
    assert shapely.hausdorff_distance(fitted, shape.boundary, densify=0.05) < TOLERANCE + 4e-4
