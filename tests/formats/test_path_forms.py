"""Extents of path data, against svgelements."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from svgelements import Path

from maskgen.formats.path_forms import PathForm

NUMBERS = st.integers(-200_000, 200_000).map(lambda n: n / 10_000)
POINTS = st.tuples(NUMBERS, NUMBERS)


def written(*points):
    return " ".join(f"{x:.4f} {y:.4f}" for x, y in points)


SEGMENTS = st.one_of(
    POINTS.map(lambda p: f"L{written(p)}"), st.tuples(POINTS, POINTS, POINTS).map(lambda p: f"C{written(*p)}")
)


@given(POINTS, st.lists(SEGMENTS, min_size=1, max_size=6), POINTS, st.lists(SEGMENTS, min_size=1, max_size=3))
def test_the_box_is_that_of_the_outline_not_of_its_control_points(first, segments, second, more):
    data = f"M{written(first)}{''.join(segments)}ZM{written(second)}{''.join(more)}Z"
    assert PathForm.parse(data).box == pytest.approx(Path(data).bbox(), abs=1e-6)


def test_a_bulge_ends_short_of_its_control_points():
    # By hand: the middle of this curve is 3/4 of the way to its control points.
    assert PathForm.parse("M0 0C0 4 10 4 10 0Z").box == pytest.approx((0, 0, 10, 3))
