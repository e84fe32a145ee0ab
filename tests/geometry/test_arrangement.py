"""Arrangements against another library's overlay, and against what must hold of any partition."""

import math
from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.geometry.arrangement import arrange, assemble, find_faces
from maskgen.geometry.polygons import to_multipolygon
from maskgen.geometry.segments import circle
from maskgen.model.paths import Area, Cubic, Line, Piece, area_of, flatten, rectangle, signed_area


def segments(*rings):
    return [s for ring in rings for s in ring.segments]


def fine(ring):
    return shapely.Polygon(flatten(ring, 1e-6))


def test_two_circles_and_a_plate_meet_exactly():
    plate, one, two = rectangle(0, 0, 60, 30).outer, circle((25.0, 15.0), 20.0), circle((35.0, 15.0), 20.0)
    arrangement = arrange(segments(plate, one, two))
    inside = [find_faces(arrangement, [shapely.Polygon(flatten(r, 1e-3))]) == 0 for r in (one, two)]
    labels = [f"{int(a)}{int(b)}" for a, b in zip(*inside, strict=True)]
    areas = assemble(arrangement, labels)
    # The lens of two circles of radius r whose centres are d apart.
    r, d = 10.0, 10.0
    lens = 2 * r * r * math.acos(d / 2 / r) - d / 2 * math.sqrt(4 * r * r - d * d)
    assert area_of(areas["11"]) == pytest.approx(lens, rel=1e-5)  # the cubics are circles within 3e-6
    assert area_of(areas["10"]) == pytest.approx(math.pi * 100 - lens, rel=1e-5)
    assert sum(area_of(a) for a in areas.values()) == pytest.approx(1800.0, rel=1e-12)
    (crossing,) = {
        s.start
        for ring in areas["11"].rings
        for s in ring.segments
        if s.start[1] < 15.0 and abs(s.start[0] - 30.0) < 0.01
    }
    assert crossing == pytest.approx((30.0, 15.0 - math.sqrt(75.0)), abs=1e-4)


def test_boundaries_are_shared_to_the_bit():
    plate, one, two = rectangle(0, 0, 60, 30).outer, circle((25.0, 15.0), 20.0), circle((35.0, 13.0), 20.0)
    arrangement = arrange(segments(plate, one, two))
    areas = assemble(arrangement, list(range(len(arrangement.inside))))
    walked = Counter(s for area in areas.values() for ring in area.rings for s in ring.segments)
    assert max(walked.values()) == 1
    lonely = [s for s in walked if walked[s.reversed()] == 0]
    assert {s.start for s in lonely} | {s.end for s in lonely} == {(0.0, 0.0), (60.0, 0.0), (60.0, 30.0), (0.0, 30.0)}


def test_what_is_not_cut_comes_back_as_it_was():
    plate, dot = rectangle(0, 0, 60, 30).outer, circle((25.0, 15.0), 20.0)
    arrangement = arrange(segments(plate, dot))
    areas = assemble(arrangement, ["dot" if a < 400 else "plate" for a in arrangement.face_areas])
    assert set(areas["dot"].pieces[0].outer.segments) == set(dot.segments)
    assert set(areas["plate"].pieces[0].holes[0].segments) == {s.reversed() for s in dot.segments}
    assert signed_area(areas["plate"].pieces[0].holes[0]) == pytest.approx(-100 * math.pi, rel=1e-12)


def test_lines_on_one_another_give_one_line():
    left, right = rectangle(0, 0, 10, 10).outer, rectangle(10, 2, 20, 7).outer
    arrangement = arrange(segments(left, right))
    assert len(arrangement.inside) == 2
    together = assemble(arrangement, ["all", "all"])["all"]
    assert area_of(together) == pytest.approx(150.0)
    assert len(together.pieces) == 1
    # The left block's side stays in two runs about the joint, the joint itself is gone.
    assert all(
        {s.start[0], s.end[0]} != {10.0} or s.start[1] in (0.0, 2.0, 7.0, 10.0) for s in together.rings[0].segments
    )
    assert len(together.pieces[0].outer.segments) == 8


def test_pieces_that_touch_at_a_point_stay_two():
    one, two = rectangle(0, 0, 10, 10).outer, rectangle(10, 10, 20, 20).outer
    arrangement = arrange(segments(one, two))
    area = assemble(arrangement, ["x", "x"])["x"]
    assert [len(p.outer.segments) for p in area.pieces] == [4, 4]


def test_rings_in_rings_become_holes():
    rings = [circle((15.0, 15.0), d) for d in (28.0, 20.0, 12.0, 4.0)]
    arrangement = arrange(segments(*rings))
    order = np.argsort(-arrangement.face_areas)
    labels = [None] * len(order)
    for at in range(len(order)):
        deep = sum(fine(r).contains(shapely.Point(arrangement.inside[at])) for r in rings)
        labels[at] = "odd" if deep % 2 else None
    area = assemble(arrangement, labels)["odd"]
    assert area_of(area) == pytest.approx(math.pi / 4 * (28**2 - 20**2 + 12**2 - 4**2), rel=1e-9)
    assert sorted(len(p.holes) for p in area.pieces) == [1, 1]


def test_nothing_gives_nothing():
    arrangement = arrange([])
    assert len(arrangement.inside) == 0
    assert assemble(arrangement, []) == {}


curve = st.tuples(*[st.tuples(st.floats(0, 20), st.floats(0, 20))] * 3)


@given(st.lists(curve, min_size=1, max_size=3), st.floats(1, 18), st.floats(1, 18))
@settings(max_examples=40, deadline=None)
def test_any_loops_agree_with_another_library(loops, x, y):
    """Loops of one line and one cubic over a rectangle, by even-odd, against an overlay of fine polygons."""
    plate = rectangle(x / 2, y / 2, x / 2 + 11, y / 2 + 11).outer
    rings = [(Cubic(a, b, c, (a[0] + 1.0, c[1])), Line((a[0] + 1.0, c[1]), a)) for a, b, c in loops]
    arrangement = arrange([*plate.segments, *(s for ring in rings for s in ring)])
    areas = assemble(arrangement, list(range(len(arrangement.inside))))
    total = sum(area_of(a) for a in areas.values())
    lines = [shapely.LinearRing(flatten(plate, 1e-6))]
    for ring in rings:
        points = np.vstack([np.array([ring[0].start]), *(flatten_fine(s) for s in ring)])
        lines.append(shapely.LineString(points))
    other = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.union_all(lines, grid_size=1e-9))))
    assert total == pytest.approx(float(shapely.area(other).sum()), abs=5e-3)
    for area, chorded in zip(areas.values(), arrangement.face_areas, strict=True):
        assert area_of(area) == pytest.approx(chorded, abs=5e-2)
        assert to_multipolygon(area).is_valid


def flatten_fine(segment):
    t = np.linspace(0, 1, 2001)[1:, None]
    if isinstance(segment, Line):
        return np.array([segment.end])
    p = np.array([segment.start, segment.control1, segment.control2, segment.end])
    return (1 - t) ** 3 * p[0] + 3 * t * (1 - t) ** 2 * p[1] + 3 * t**2 * (1 - t) * p[2] + t**3 * p[3]


@pytest.mark.parametrize("spans", [4, 8, 12])
def test_circles_have_the_circles_area(spans):
    ring = circle((3.0, 4.0), 7.0, spans=spans)
    assert signed_area(ring) == pytest.approx(math.pi * 12.25, rel=1e-13)
    away = np.hypot(*(flatten(ring, 1e-6) - [3.0, 4.0]).T)
    assert np.abs(away - 3.5).max() < {4: 1.2e-3, 8: 2e-5, 12: 2e-6}[spans]
    assert Area((Piece(ring),))
