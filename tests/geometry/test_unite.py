"""Uniting areas of a partition: shared boundaries go, nothing else moves."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.geometry.polygons import to_multipolygon
from maskgen.geometry.unite import pieces_from_rings, unite
from maskgen.model.paths import Area, Cubic, Line, Piece, Ring, area_of, polygon_ring, rectangle


def test_two_squares_with_a_common_side_become_one_outline():
    left, right = Area((rectangle(0, 0, 1, 1),)), Area((rectangle(1, 0, 2, 1),))
    both = unite([left, right])
    assert len(both.pieces) == 1
    assert len(both.pieces[0].outer.segments) == 6
    assert area_of(both) == pytest.approx(2.0)


def test_a_filled_hole_vanishes_and_curves_stay_curves():
    bow = Cubic((0.0, 0.0), (1.0, -1.0), (3.0, -1.0), (4.0, 0.0))
    inner = Ring((bow, Line((4.0, 0.0), (0.0, 0.0))))
    frame = Piece(polygon_ring(np.array([(-5, -5), (9, -5), (9, 5), (-5, 5)], float)), (inner.reversed(),))
    united = unite([Area((frame,)), Area((Piece(inner),))])
    assert united == Area((Piece(frame.outer),))
    assert unite([Area((frame,))]).pieces[0].holes[0].segments[-1] == bow.reversed()


@settings(max_examples=60, deadline=None)
@given(st.lists(st.booleans(), min_size=36, max_size=36))
def test_cells_of_a_grid_unite_as_the_general_library_says(chosen):
    cells = [Area((rectangle(i % 6, i // 6, i % 6 + 1, i // 6 + 1),)) for i, taken in enumerate(chosen) if taken]
    united = to_multipolygon(unite(cells))
    expected = shapely.union_all([shapely.box(i % 6, i // 6, i % 6 + 1, i // 6 + 1) for i, t in enumerate(chosen) if t])
    assert united.symmetric_difference(expected).area == pytest.approx(0.0, abs=1e-12)
    assert united.is_valid


def test_a_hole_goes_to_the_smallest_ring_around_it():
    rings = [rectangle(0, 0, 10, 10).outer, rectangle(2, 2, 8, 8).outer.reversed(), rectangle(3, 3, 7, 7).outer]
    rings.append(rectangle(4, 4, 6, 6).outer.reversed())
    area = pieces_from_rings(rings)
    assert [len(p.holes) for p in area.pieces] == [1, 1]
    assert area_of(area) == pytest.approx(100 - 36 + 16 - 4)
