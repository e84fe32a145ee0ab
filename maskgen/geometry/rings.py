"""Rings sorted into pieces: which hole belongs to which outline."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.model.paths import Area, Piece, Ring, flatten, signed_area

NESTING_TOLERANCE = 0.01
"""Chord error when asking which ring lies in which; nested rings of a partition do not cross."""

SAME_SIZE = 1e-9
"""Relative difference of areas up to which a hole and the island filling it count as equal (float rounding)."""


def pieces_from_rings(rings: Iterable[Ring]) -> Area:
    """Sort rings that do not cross into pieces: each hole (negative area) goes to the smallest outer ring around it."""
    sized = [(signed_area(ring), ring) for ring in rings]
    outers = [(size, ring) for size, ring in sized if size > 0]
    holes = [(-size, ring) for size, ring in sized if size < 0]
    if not holes:
        return Area(tuple(Piece(ring) for _, ring in outers))
    tree = shapely.STRtree([_filled(ring) for _, ring in outers])
    members: dict[int, list[Ring]] = defaultdict(list)
    for size, hole in holes:
        inside = tree.query(_filled(hole).representative_point(), predicate="within")
        # An outer ring in the hole, or filling it, may hold the same point: it is not larger than the hole.
        around = [index for index in inside if outers[index][0] > size * (1 + SAME_SIZE)]
        if around:
            members[min(around, key=lambda index: outers[index][0])].append(hole)
    return Area(tuple(Piece(ring, tuple(members[index])) for index, (_, ring) in enumerate(outers)))


def _filled(ring: Ring) -> BaseGeometry:
    return shapely.make_valid(Polygon(flatten(ring, NESTING_TOLERANCE)))
