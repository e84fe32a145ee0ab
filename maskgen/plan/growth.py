"""How vinyl is grown: across common boundaries, against creep.

Plain polygons in millimetres; offsets are round, their arcs within `ARC_MM`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal

ARC_MM = 0.0005
"""Chord error of the arcs of an offset: half the flattening error of the outlines."""
JOINT_MM = 0.001
"""Outlines nearer than this run along one another: the flattening error."""
RUN = 24
"""Segments offset at a time."""
SLIVER_MM = 0.002
"""Vinyl or openings narrower than twice this are left over from the arithmetic; no knife could cut them."""


def offset(shapes: Any, distance_mm: Any, **style: Any) -> Any:
    """Offset one geometry or an array of them, as `shapely.buffer` does.

    Where edges are very short GEOS divides by nothing on its way, to no harm; numpy would warn of it.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return shapely.buffer(shapes, distance_mm, **style)


def dilate(geometry: BaseGeometry, distance_mm: float, *, flat_ends: bool = False) -> BaseGeometry:
    """Give all within a distance, round at corners; `flat_ends` ends lines square instead of round."""
    if distance_mm <= 0:
        return geometry
    half_step = math.acos(max(0.0, 1.0 - ARC_MM / distance_mm))
    quarter = max(1, math.ceil(math.pi / 4 / half_step))
    parts = _short_runs(geometry) if "LineString" in geometry.geom_type else [geometry]
    cap = "flat" if flat_ends else "round"
    return shapely.union_all(offset(parts, distance_mm, quad_segs=quarter, cap_style=cap))


def _short_runs(lines: BaseGeometry) -> list[BaseGeometry]:
    """Cut lines into runs that overlap by a segment: long lines close together would take minutes to offset."""
    runs: list[BaseGeometry] = []
    for line in shapely.get_parts(lines):
        points = shapely.get_coordinates(line)
        ring = bool(line.is_closed)
        points = np.vstack([points, points[1:2]]) if ring else points
        runs += [shapely.LineString(points[k : k + RUN + 2]) for k in range(0, max(1, len(points) - 2), RUN)]
    return runs


def tidy(geometry: BaseGeometry) -> MultiPolygon:
    """Drop slivers and spikes and close hairlines: what is narrower than twice `SLIVER_MM`; corners stay sharp."""
    shape = geometry
    for distance in (-SLIVER_MM, 2 * SLIVER_MM, -SLIVER_MM):
        shape = offset(shape, distance, join_style="mitre")
    # A mitred offset of a hair's breadth may cross itself where edges are shorter still.
    return polygonal(shape if shape.is_valid else shapely.make_valid(shape))


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


def touching(geometry: BaseGeometry, line: BaseGeometry) -> list[BaseGeometry]:
    """Keep the polygons that lie along a line."""
    return [part for part in polygonal(geometry).geoms if part.distance(line) < 2 * JOINT_MM]
