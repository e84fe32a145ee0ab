"""Figures of a traced partition against the true one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from benchmarks.tracing_truth import Truth, line_inside, thinned
from maskgen.geometry.polygons import to_multipolygon, to_polygon
from maskgen.model.paths import Area, Line, Partition, Segment

SAMPLE_PX = 0.5
MATCH_PX = 1.5
MADE_CORNER_DEGREES = 20.0


@dataclass(frozen=True)
class Figures:
    """Errors in px; `nodes` is made / original; `found` of the true corners, `right` of the made ones."""

    mean: float
    p95: float
    largest: float
    union: float
    nodes: float
    found: float
    right: float
    gap: float


def distances(lines: BaseGeometry, other: BaseGeometry) -> np.ndarray:
    """Distance of points every `SAMPLE_PX` along lines to other lines."""
    parts = [p for p in shapely.get_parts(lines) if p.length > 0]
    points = []
    for part in parts:
        corners = np.asarray(part.coords)
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(corners, axis=0).T))])
        count = max(1, round(along[-1] / SAMPLE_PX))
        at = (np.arange(count) + 0.5) / count * along[-1]
        spots = np.stack([np.interp(at, along, corners[:, k]) for k in (0, 1)], axis=1)
        points.append(shapely.points(spots))
    pieces = np.concatenate([_chords(p) for p in shapely.get_parts(other)])
    tree = shapely.STRtree(pieces)
    _, apart = tree.query_nearest(np.concatenate(points), return_distance=True, all_matches=False)
    return np.asarray(apart)


def _chords(line: BaseGeometry) -> np.ndarray:
    c = np.asarray(line.coords)
    return shapely.linestrings(np.stack([c[:-1], c[1:]], axis=1))


def boundary_errors(made: BaseGeometry, truth: Truth) -> tuple[float, float, float]:
    """Mean, 95 % and largest distance, both ways together."""
    if made.is_empty or truth.boundary.is_empty:
        return float("nan"), float("nan"), float("nan")
    both = np.concatenate([distances(made, truth.boundary), distances(truth.boundary, made)])
    return float(both.mean()), float(np.percentile(both, 95)), float(both.max())


def made_boundary(areas: list[BaseGeometry], size: float) -> BaseGeometry:
    return shapely.union_all([line_inside(a.boundary, size) for a in areas])


def corners_and_nodes(partition: Partition) -> tuple[np.ndarray, np.ndarray]:
    """Places where some region's boundary breaks its direction, and all nodes, off the canvas edge."""
    corners, nodes = [np.zeros((0, 2))], [np.zeros((0, 2))]
    for region in partition.regions:
        for ring in region.area.rings:
            ends = np.array([s.end for s in ring.segments])
            into = np.array([_direction(s, at_end=True) for s in ring.segments])
            out = np.roll(np.array([_direction(s, at_end=False) for s in ring.segments]), -1, axis=0)
            cross = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
            turn = np.abs(np.degrees(np.arctan2(cross, np.sum(into * out, axis=1))))
            nodes.append(ends)
            corners.append(ends[turn > MADE_CORNER_DEGREES])
    size = partition.width

    def inside(p: np.ndarray) -> np.ndarray:
        p = np.unique(p, axis=0)
        return p[np.all((p > 1e-6) & (p < size - 1e-6), axis=1)]

    return thinned(inside(np.vstack(corners)), 0.3), inside(np.vstack(nodes))


def _direction(segment: Segment, *, at_end: bool) -> np.ndarray:
    if isinstance(segment, Line):
        points = [segment.start, segment.end]
    else:
        points = [segment.start, segment.control1, segment.control2, segment.end]
    p = np.array(points[::-1] if at_end else points)
    steps = p[1:] - p[0]
    far = steps[np.argmax(np.hypot(*steps.T) > 1e-6)]
    return -far if at_end else far


def figures(partition: Partition, truth: Truth) -> Figures:
    """Measure a partition; its regions' colours are matched to the nearest true ones."""
    areas = {r.colour: to_multipolygon(r.area, tolerance=0.002) for r in partition.regions if r.area.pieces}
    mean, p95, largest = boundary_errors(made_boundary(list(areas.values()), truth.size), truth)
    corners, nodes = corners_and_nodes(partition)
    found = _share(truth.corners, corners)
    right = _share(corners, truth.corners)
    return Figures(
        mean,
        p95,
        largest,
        _union(areas, truth),
        len(nodes) / max(1, len(truth.nodes)),
        found,
        right,
        gap_and_overlap([r.area for r in partition.regions], truth.size),
    )


def _share(points: np.ndarray, of: np.ndarray) -> float:
    if not len(points):
        return float("nan")
    if not len(of):
        return 0.0
    apart = np.hypot(*(points[:, None] - of[None]).transpose(2, 0, 1))
    return float(np.mean(apart.min(axis=1) <= MATCH_PX))


def _rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) if colour.startswith("#") else np.full(3, 999)


def _union(areas: dict[str, BaseGeometry], truth: Truth) -> float:
    """Mean intersection over union, weighted by true area."""
    total = 0.0
    for colour, true in truth.areas.items():
        best = min(areas, key=lambda c: float(np.hypot.reduce(_rgb(c) - _rgb(colour))))
        both = shapely.intersection(areas[best], true).area
        total += true.area * both / (areas[best].area + true.area - both)
    return total / sum(a.area for a in truth.areas.values())


def gap_and_overlap(areas: list[Area], size: float) -> float:
    """Worst of gap, overlap and invalid rings, as a share of the canvas (1 for an invalid ring)."""
    polygons = [to_polygon(piece, tolerance=0.01) for area in areas for piece in area.pieces]
    if not all(p.is_valid for p in polygons):
        return 1.0
    canvas, total = size * size, sum(p.area for p in polygons)
    covered = shapely.union_all(polygons).area
    return float(max(abs(canvas - covered), abs(total - covered)) / canvas)
