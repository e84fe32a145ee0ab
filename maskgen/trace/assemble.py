"""Curves of arcs to the partition, and the proof that no two of them cross.

Each arc's curve is used by the two faces beside it, forwards by one and backwards by the other, so that the faces can
neither gap nor overlap as long as no curve crosses itself or another. `crossing_arcs` finds those that do.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from maskgen.model.paths import (
    Area,
    Cubic,
    Line,
    Partition,
    Piece,
    Point,
    Points,
    Region,
    Ring,
    Segment,
    flatten,
    flatten_segment,
    signed_area,
)
from maskgen.trace.cracks import CrackGraph, Side

CHECK_TOLERANCE_PX = 0.01
"""Chord error at which curves are checked for crossings: a fifth of the finest boundary error aimed at."""

SAME_PX = 1e-9
"""Places closer than this are the same junction."""

Curve = tuple[Segment, ...]


def assemble(graph: CrackGraph, curves: Sequence[Curve], palette: Sequence[str]) -> Partition:
    """Rebuild the faces from the curves of their arcs: one region for each palette entry, in its order."""
    pieces: list[list[Piece]] = [[] for _ in palette]
    for face in graph.faces:
        outer, *holes = (_ring(ring, curves) for ring in face.rings)
        pieces[face.label].append(Piece(outer, tuple(holes)))
    regions = tuple(
        Region(f"c{number}", "", colour, Area(tuple(found)))
        for number, (colour, found) in enumerate(zip(palette, pieces, strict=True), start=1)
    )
    return Partition(float(graph.width), float(graph.height), regions)


def _ring(sides: Sequence[Side], curves: Sequence[Curve]) -> Ring:
    segments: list[Segment] = []
    for side in sides:
        curve = curves[side.arc]
        segments.extend(curve if side.forward else (s.reversed() for s in reversed(curve)))
    return Ring(tuple(segments))


def flatten_curve(curve: Curve, tolerance: float) -> Points:
    """Points along a curve, both ends kept."""
    return np.vstack([np.array([curve[0].start]), *(flatten_segment(s, tolerance) for s in curve)])


def ends_moved(curve: Curve, start: Point, end: Point) -> Curve:
    """Give a curve with its two ends elsewhere, their handles moved along."""
    if len(curve) == 1:
        return (end_moved(curve[0], start, end),)
    return (end_moved(curve[0], start, curve[0].end), *curve[1:-1], end_moved(curve[-1], curve[-1].start, end))


def end_moved(segment: Segment, start: Point, end: Point) -> Segment:
    """Give a segment with its ends elsewhere, handles moved along."""
    if isinstance(segment, Line):
        return Line(start, end)
    (sx, sy), (ex, ey) = segment.start, segment.end
    (ax, ay), (bx, by) = segment.control1, segment.control2
    return Cubic(
        start,
        (ax + start[0] - sx, ay + start[1] - sy),
        (bx + end[0] - ex, by + end[1] - ey),
        end,
    )


def crossing_pairs(curves: Sequence[Curve], *, closed: Sequence[bool]) -> set[tuple[int, int]]:
    """Pairs of arcs whose curves meet anywhere but at common ends; an arc with itself where it does so alone."""
    lines = np.array([shapely.LineString(flatten_curve(curve, CHECK_TOLERANCE_PX)) for curve in curves])
    fine = np.where(closed, shapely.is_ring(lines), shapely.is_simple(lines))
    bad = {(n, n) for n in np.flatnonzero(~fine).tolist()}
    first, second = shapely.STRtree(lines).query(lines, predicate="intersects")
    first, second = first[first < second], second[first < second]
    meeting = shapely.intersection(lines[first], lines[second])
    points, pair = shapely.get_coordinates(meeting, return_index=True)
    ends = np.array([[c[0].start, c[-1].end] for c in curves])
    on_first = (np.abs(ends[first][pair] - points[:, None]).max(axis=2) < SAME_PX).any(axis=1)
    on_second = (np.abs(ends[second][pair] - points[:, None]).max(axis=2) < SAME_PX).any(axis=1)
    wrong = np.union1d(pair[~(on_first & on_second)], np.flatnonzero(shapely.length(meeting) > 0))
    return bad | set(zip(first[wrong].tolist(), second[wrong].tolist(), strict=True))


def ill_faces(graph: CrackGraph, curves: Sequence[Curve]) -> list[list[int]]:
    """Arcs (those on the canvas edge left out) of each face that is turned over or out of place."""
    found = []
    for face in graph.faces:
        rings = [_ring(ring, curves) for ring in face.rings]
        turned = [signed_area(ring) * (1 if number == 0 else -1) <= 0 for number, ring in enumerate(rings)]
        outer, *holes = (flatten(ring, CHECK_TOLERANCE_PX) for ring in rings)
        if any(turned) or len(outer) < 3 or not shapely.Polygon(outer, holes).is_valid:
            arcs = [s.arc for ring in face.rings for s in ring if not graph.arcs[s.arc].on_border]
            if arcs:
                found.append(arcs)
    return found
