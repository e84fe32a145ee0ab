"""Areas that share boundaries made one, without touching a curve: shared segments cancel, the rest is walked anew."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.model.paths import Area, Line, Piece, Point, Ring, Segment, flatten, signed_area

NESTING_TOLERANCE = 0.01
"""Chord error when asking which ring lies in which; nested rings of a partition do not cross."""

SAME_SIZE = 1e-9
"""Relative difference of areas up to which a hole and the island filling it count as equal (float rounding)."""


def unite(areas: Iterable[Area]) -> Area:
    """Unite areas of one partition; a boundary two of them share (the same segment, walked both ways) goes.

    Everything else keeps its lines and cubics exactly.
    """
    count = Counter(segment for area in areas for ring in area.rings for segment in ring.segments)
    kept: list[Segment] = []
    for segment, number in count.items():
        kept.extend([segment] * (number - count.get(segment.reversed(), 0)))
    return pieces_from_rings(walk_rings(kept))


def walk_rings(segments: Sequence[Segment]) -> tuple[Ring, ...]:
    """Join directed segments to rings; where several leave a point, the sharpest turn towards the inside wins."""
    leaving: dict[Point, list[Segment]] = defaultdict(list)
    for segment in segments:
        leaving[segment.start].append(segment)
    rings = []
    for first in segments:
        if first not in leaving[first.start]:
            continue
        run = []
        current: Segment | None = first
        while current is not None:
            leaving[current.start].remove(current)
            run.append(current)
            current = None if current.end == first.start else _next(current, leaving[current.end])
        rings.append(Ring(tuple(run)))
    return tuple(rings)


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


def _next(current: Segment, choices: Sequence[Segment]) -> Segment | None:
    if len(choices) <= 1:
        return choices[0] if choices else None
    heading = _direction(_handle(current.reversed()), current.end)

    def turn(segment: Segment) -> float:
        change = _direction(segment.start, _handle(segment)) - heading
        return math.remainder(change, 2 * math.pi)

    return max(choices, key=turn)


def _handle(segment: Segment) -> Point:
    """The first point along a segment that differs from its start: where it heads."""
    if isinstance(segment, Line):
        return segment.end
    return next((p for p in (segment.control1, segment.control2) if p != segment.start), segment.end)


def _direction(start: Point, end: Point) -> float:
    return math.atan2(end[1] - start[1], end[0] - start[0])
