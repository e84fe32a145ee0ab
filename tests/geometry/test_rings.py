"""Rings sorted into pieces."""

import pytest

from maskgen.geometry.rings import pieces_from_rings
from maskgen.model.paths import area_of, rectangle


def test_a_hole_goes_to_the_smallest_ring_around_it():
    rings = [rectangle(0, 0, 10, 10).outer, rectangle(2, 2, 8, 8).outer.reversed(), rectangle(3, 3, 7, 7).outer]
    rings.append(rectangle(4, 4, 6, 6).outer.reversed())
    area = pieces_from_rings(rings)
    assert [len(p.holes) for p in area.pieces] == [1, 1]
    assert area_of(area) == pytest.approx(100 - 36 + 16 - 4)
