"""Outlines: exact areas, flattening that neighbours share, rings that never lose their inside."""

import math

import numpy as np
import pytest
import svgelements
from hypothesis import assume, given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from maskgen.model.paths import (
    Area,
    Cubic,
    Line,
    Piece,
    Ring,
    area_of,
    bounds,
    flatten,
    flatten_segment,
    length_of,
    rectangle,
    signed_area,
)

HANDLE = 4 / 3 * math.tan(math.pi / 8)  # the usual handle of a quarter circle
numbers = st.floats(-50, 50).map(lambda v: round(v, 3))
points = st.tuples(numbers, numbers)


def quarter(turn, radius=5.0):
    def at(x, y):
        c, s = round(math.cos(turn * math.pi / 2)), round(math.sin(turn * math.pi / 2))
        return (radius * (c * x - s * y), radius * (s * x + c * y))

    return Cubic(at(1, 0), at(1, HANDLE), at(HANDLE, 1), at(0, 1))


CIRCLE = Ring(tuple(quarter(turn) for turn in range(4)))


def test_a_circle_of_four_cubics_has_nearly_its_area_and_length():
    """Four such cubics are within 2.8e-4 of the radius of a circle (a well-known bound, from memory)."""
    assert signed_area(CIRCLE) == pytest.approx(math.pi * 25, rel=6e-4)
    assert length_of(CIRCLE) == pytest.approx(math.tau * 5, rel=6e-4)
    assert bounds(Area((Piece(CIRCLE),))) == pytest.approx((-5, -5, 5, 5), abs=2e-3)


def test_a_hole_is_taken_off():
    hole = rectangle(2, 2, 4, 5).outer.reversed()
    assert area_of(Area((Piece(rectangle(0, 0, 10, 10).outer, (hole,)),))) == pytest.approx(94.0)


@given(points, points, points, points)
def test_flattening_is_the_same_from_either_end(a, b, c, d):
    curve = Cubic(a, b, c, d)
    assume(curve != curve.reversed())  # out and back on one line: there is no other end
    there = np.vstack([[a], flatten_segment(curve, 0.01)])
    back = np.vstack([[d], flatten_segment(curve.reversed(), 0.01)])
    assert np.array_equal(there, back[::-1])


@given(points, points, points, points, st.sampled_from([1.0, 0.1, 0.01]))
def test_chords_stay_within_the_tolerance(a, b, c, d, tolerance):
    curve = np.array([a, b, c, d])
    line = Polygon(np.vstack([[a], flatten_segment(Cubic(a, b, c, d), tolerance), [a]])).exterior
    t = np.linspace(0, 1, 101)[:, None]
    on = (1 - t) ** 3 * curve[0] + 3 * t * (1 - t) ** 2 * curve[1] + 3 * t**2 * (1 - t) * curve[2] + t**3 * curve[3]
    assert max(line.distance(Point(p)) for p in on) <= tolerance * (1 + 1e-9) + 1e-9


def test_a_ring_of_two_flat_curves_keeps_its_inside_at_any_tolerance():
    up = Cubic((0, 0), (0.01, 0.01), (0.02, 0.01), (0.03, 0))
    down = Cubic((0.03, 0), (0.02, -0.01), (0.01, -0.01), (0, 0))
    assert len(flatten(Ring((up, down)), 1.0)) >= 3
    assert len(flatten(Ring((up, Line((0.03, 0), (0, 0)))), 1.0)) == 3


@given(points, points, points, points)
def test_bounds_are_those_another_library_finds(a, b, c, d):
    """The extent of one cubic and the chord that closes it, against svgelements."""
    assume(len({a, b, c, d}) == 4)
    ring = Ring((Cubic(a, b, c, d), Line(d, a)))
    expected = svgelements.CubicBezier(a, b, c, d).bbox()
    assert bounds(Area((Piece(ring),))) == pytest.approx(expected, abs=1e-6)


def test_bounds_of_a_circle_are_exact():
    assert bounds(Area((Piece(CIRCLE),))) == pytest.approx((-5, -5, 5, 5), abs=1e-12)
