"""How vinyl is grown: across common boundaries against creep, and onto the vinyl that lies there already.

Plain polygons in millimetres; offsets are round, their arcs within `ARC_MM`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from maskgen.geometry.polygons import polygonal
from maskgen.model.paths import Points

ARC_MM = 0.0005
"""Chord error of the arcs of an offset: half the flattening error of the outlines."""
JOINT_MM = 0.001
"""Outlines nearer than this run along one another: the flattening error."""
SHORT_MM = 3 * JOINT_MM
"""A common edge is first taken this much short of where it comes out into the open, so that it turns no corner there."""
SLIVER_MM = 0.002
"""Vinyl or openings narrower than twice this are left over from the arithmetic; no knife could cut them."""


def dilate(geometry: BaseGeometry, distance_mm: float, *, flat_ends: bool = False) -> BaseGeometry:
    """Give all within a distance, round at corners; `flat_ends` ends lines square instead of round."""
    if distance_mm <= 0:
        return geometry
    half_step = math.acos(max(0.0, 1.0 - ARC_MM / distance_mm))
    quarter = max(1, math.ceil(math.pi / 4 / half_step))
    return geometry.buffer(distance_mm, quad_segs=quarter, cap_style="flat" if flat_ends else "round")


def tidy(geometry: BaseGeometry) -> MultiPolygon:
    """Drop slivers and spikes and close hairlines: what is narrower than twice `SLIVER_MM`; corners stay sharp."""
    shape = geometry
    for distance in (-SLIVER_MM, 2 * SLIVER_MM, -SLIVER_MM):
        shape = shape.buffer(distance, join_style="mitre")
    return polygonal(shape)


def spread_bands(core: BaseGeometry, neighbours: Sequence[tuple[float, BaseGeometry]]) -> BaseGeometry:
    """Give the growth of a region towards its neighbours, each by its own distance, across the common boundary.

    Growth goes only where every region it crosses allows as much, and never over a thin neighbour into what lies
    behind it. The core itself may be part of what comes back.
    """
    bands: list[BaseGeometry] = []
    if core.is_empty:
        return MultiPolygon()
    for distance in sorted({d for d, _ in neighbours if d > 0}):
        room = shapely.union_all([shape for d, shape in neighbours if d >= distance])
        front = core.boundary.intersection(dilate(room, JOINT_MM))
        band = dilate(front, distance).intersection(room)
        bands += touching(band, front)
    return shapely.union_all(bands)


def lap_onto(
    beneath: BaseGeometry, own: BaseGeometry, lap_mm: float, *, left_open: BaseGeometry, tail_mm: float, clear_mm: float
) -> BaseGeometry:
    """Give the vinyl that runs from `own` onto the vinyl beneath, `lap_mm` from the edges the two have in common.

    It ends square to such an edge where the edge comes out into what is left open; the last `tail_mm` of the edge,
    where the growth of one mask or the other makes a step, counts as straight. Where the vinyl beneath is too narrow for
    the whole lap it stays clear of its far edge by `clear_mm`, or half way at the least, so that a mask put on a little
    off covers no open oxide beyond.
    """
    if beneath.is_empty or own.is_empty or lap_mm <= 0:
        return MultiPolygon()
    meeting = beneath.boundary.intersection(dilate(own, JOINT_MM)).difference(dilate(left_open, SHORT_MM))
    runs = [part for part in shapely.get_parts(meeting) if part.length > 0]
    if not runs:
        return MultiPolygon()
    common = shapely.union_all(runs)
    edge = shapely.union_all([straight_ended(line, tail_mm) for line in shapely.get_parts(shapely.line_merge(common))])
    lap = dilate(edge, lap_mm, flat_ends=True).intersection(beneath)
    near = shapely.union_all([edge, common])
    for share in (1.0, 0.5, 0.25):
        clear = share * clear_mm
        lap = lap.difference(dilate(left_open, clear).difference(dilate(near, clear)))
    return shapely.union_all(touching(lap, common))


def straight_ended(line: LineString, tail_mm: float) -> LineString:
    """Give an open line with its last `tail_mm` at both ends made straight, in the direction the rest ends in."""
    if line.is_ring or line.length < 4 * tail_mm or tail_mm <= 0:
        return line
    middle = substring(line, tail_mm, line.length - tail_mm)
    points = shapely.get_coordinates(middle)
    ends = shapely.get_coordinates(line)[[0, -1]]
    first = _onwards(points[1], points[0], ends[0])
    last = _onwards(points[-2], points[-1], ends[1])
    return LineString([*first, *points, *last])


def _onwards(before: Points, corner: Points, end: Points) -> list[Points]:
    """Give the point straight on from a corner that is level with `end`; none where that would lead back."""
    way = (corner - before) / np.hypot(*(corner - before))
    ahead = float((end - corner) @ way)
    return [corner + (ahead + SHORT_MM) * way] if ahead > 0 else []


def touching(geometry: BaseGeometry, line: BaseGeometry) -> list[BaseGeometry]:
    """Keep the polygons that lie along a line."""
    return [part for part in polygonal(geometry).geoms if part.distance(line) < 2 * JOINT_MM]
