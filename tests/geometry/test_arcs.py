"""Cubics to arcs with bulges, against the DXF reference's definition and ezdxf's own reading of bulges."""

import numpy as np
import pytest
import shapely
from ezdxf.math import bulge_center, bulge_radius

from maskgen.geometry.arcs import arc_points, as_arcs
from maskgen.geometry.exact import fit_exact
from maskgen.model.paths import Cubic, Line, Ring, flatten, polygon_ring, signed_area

TOLERANCE = 0.003


def circle(radius, centre=(0.0, 0.0)):
    ring = shapely.Point(*centre).buffer(radius, quad_segs=120)
    return fit_exact(shapely.get_coordinates(ring.exterior)[:-1][::-1], tolerance=1e-3)


def drawn(arcs, count=60):
    return np.vstack([arc_points(a, count)[:-1] for a in arcs])


def test_bulge_is_the_tangent_of_a_quarter_of_the_angle():
    # DXF reference, LWPOLYLINE code 42: 90 degrees give 0.414214, a half circle gives 1.
    quarter = 4 / 3 * np.tan(np.pi / 8)
    assert [round(a.bulge, 5) for a in as_arcs(circle(2.0), tolerance=TOLERANCE)] == [1.0, 1.0]
    corner = Ring((Cubic((1.0, 0.0), (1.0, quarter), (quarter, 1.0), (0.0, 1.0)), Line((0.0, 1.0), (0.0, 0.0)),
                   Line((0.0, 0.0), (1.0, 0.0))))  # fmt: skip
    assert as_arcs(corner, tolerance=TOLERANCE)[0].bulge == pytest.approx(0.414214, abs=1e-6)


@pytest.mark.parametrize("radius", [0.5, 3.0, 12.0])
def test_a_circle_is_two_arcs_of_its_radius(radius):
    arcs = as_arcs(circle(radius, (4.0, 5.0)), tolerance=TOLERANCE)
    assert len(arcs) == 2
    for arc in arcs:
        assert bulge_radius(arc.start, arc.end, arc.bulge) == pytest.approx(radius, abs=TOLERANCE)
        assert bulge_center(arc.start, arc.end, arc.bulge).isclose((4.0, 5.0), abs_tol=2 * TOLERANCE)


def test_sign_follows_the_ring():
    ring = circle(2.0)
    assert signed_area(ring) > 0
    assert all(a.bulge > 0 for a in as_arcs(ring, tolerance=TOLERANCE))
    assert all(a.bulge < 0 for a in as_arcs(ring.reversed(), tolerance=TOLERANCE))


def test_a_polygon_is_straight_runs():
    ring = polygon_ring(np.array([(0.0, 0.0), (5.0, 0.0), (5.0, 3.0)]))
    assert [(a.start, a.end, a.bulge) for a in as_arcs(ring, tolerance=TOLERANCE)] == [
        (s.start, s.end, 0.0) for s in ring.segments
    ]


@pytest.mark.parametrize("letter", "aSg")
def test_letters_stay_within_tolerance_and_closed(letters, letter, tools):
    for outline, _ in letters.contours(letter, 8.0):
        ring = fit_exact(outline, tolerance=1e-3)
        arcs = as_arcs(ring, tolerance=TOLERANCE)
        assert [a.end for a in arcs] == [a.start for a in (*arcs[1:], arcs[0])]
        assert tools.apart(drawn(arcs), flatten(ring, 1e-4)) < TOLERANCE + 2e-4
        assert len(arcs) < 4 * len(ring.segments)
        for arc in arcs:
            if arc.bulge:
                # ezdxf reads the same arc: every point lies at its radius from its centre.
                centre = bulge_center(arc.start, arc.end, arc.bulge)
                away = np.hypot(*(arc_points(arc, 9) - (centre.x, centre.y)).T)
                assert away == pytest.approx(bulge_radius(arc.start, arc.end, arc.bulge), rel=1e-6)
