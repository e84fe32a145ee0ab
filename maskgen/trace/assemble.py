"""Curves of arcs to the partition, and the proof that no two of them cross.

Each arc's curve is used by the two faces beside it, forwards by one and backwards by the other, so that the faces can
neither gap nor overlap as long as no curve crosses itself or another. `crossing_arcs` finds those that do.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from maskgen.model.paths import Area, Partition, Piece, Points, Region, Ring, Segment, flatten_segment
from maskgen.trace.cracks import CrackGraph, Side

CHECK_TOLERANCE_PX = 0.01
"""Chord error at which curves are checked for crossings: a fifth of the finest boundary error aimed at."""

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


def crossing_arcs(curves: Sequence[Curve], *, closed: Sequence[bool]) -> set[int]:
    """Numbers of the arcs whose curve crosses itself or another, or touches another away from its ends."""
    lines = [shapely.LineString(flatten_curve(curve, CHECK_TOLERANCE_PX)) for curve in curves]
    bad = {n for n, line in enumerate(lines) if not (line.is_ring if closed[n] else line.is_simple)}
    tree = shapely.STRtree(lines)
    for relation in ("crosses", "overlaps"):
        for a, b in tree.query(lines, predicate=relation).T.tolist():
            if a != b:
                bad |= {a, b}
    first, second = tree.query(lines, predicate="touches")
    for a, b in zip(first.tolist(), second.tolist(), strict=True):
        if a < b and not _touch_at_ends(lines[a], lines[b]):
            bad |= {a, b}
    return bad


def _touch_at_ends(first: shapely.LineString, second: shapely.LineString) -> bool:
    ends = {first.coords[0], first.coords[-1]} & {second.coords[0], second.coords[-1]}
    shared = shapely.get_coordinates(shapely.intersection(first, second))
    return all(any(np.hypot(*(p - np.array(e))) < 1e-9 for e in ends) for p in shared)
