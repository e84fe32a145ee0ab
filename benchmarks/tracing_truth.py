"""The true partition of a vector drawing: what a perfect tracer would give back.

Fills and strokes are flattened in painting order with shapely, in the drawing's own units; what stays visible of each
colour is the truth. Nodes are the joints of the original outlines (of strokes: of their two sides) that lie on a
visible boundary, and the points where visible boundaries meet or break.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

CORNER_DEGREES = 25.0
WINDOW = 0.08 / 72  # of the canvas: tangents of the truth are taken over this arc length


@dataclass(frozen=True, eq=False)
class Paint:
    """One painted shape: polygon, colour, and the nodes of its outline (n, 2)."""

    polygon: BaseGeometry
    colour: str
    nodes: np.ndarray


@dataclass(frozen=True, eq=False)
class Truth:
    """The visible partition: polygons by colour, boundary lines between colours, nodes and corners (n, 2)."""

    size: float
    areas: dict[str, BaseGeometry]
    boundary: BaseGeometry
    nodes: np.ndarray
    corners: np.ndarray

    def scaled(self, pixels: float) -> Truth:
        """Give the truth on a canvas of another size."""
        factor = pixels / self.size

        def grow(g: BaseGeometry) -> BaseGeometry:
            return shapely.transform(g, lambda c: c * factor)

        areas = {c: grow(g) for c, g in self.areas.items()}
        return Truth(pixels, areas, grow(self.boundary), self.nodes * factor, self.corners * factor)


def flatten_paints(paints: list[Paint], *, size: float, ground: str) -> Truth:
    """Paint shapes over the ground, the last on top, and keep what can be seen."""
    left = shapely.box(0, 0, size, size)
    areas: dict[str, BaseGeometry] = {}
    for paint in reversed(paints):
        seen = shapely.intersection(paint.polygon, left)
        left = shapely.difference(left, paint.polygon)
        areas[paint.colour] = shapely.union(areas.get(paint.colour, shapely.Polygon()), seen)
    areas[ground] = shapely.union(areas.get(ground, shapely.Polygon()), left)
    least = (1e-3 * size) ** 2 / 10
    areas = {c: _without_dust(g, least) for c, g in areas.items()}
    areas = {c: g for c, g in areas.items() if g.area > least}
    edges = [line_inside(g.boundary, size) for g in areas.values()]
    boundary = shapely.union_all(edges)
    corners = _corners(areas, size)
    junctions = _junctions(boundary)
    drawn = np.vstack([p.nodes for p in paints] or [np.zeros((0, 2))])
    if len(drawn):
        drawn = drawn[shapely.distance(shapely.points(drawn), boundary) < 2e-5 * size]
    nodes = thinned(np.vstack([corners, junctions, drawn]), 0.002 * size)
    return Truth(size, areas, boundary, nodes, corners)


def line_inside(lines: BaseGeometry, size: float) -> BaseGeometry:
    """The part of lines that does not run along the canvas edge."""
    return shapely.intersection(lines, shapely.box(0, 0, size, size).buffer(-1e-6 * size))


def thinned(points: np.ndarray, distance: float) -> np.ndarray:
    """Points with later ones within `distance` of an earlier one left out."""
    kept: list[np.ndarray] = []
    for p in points:
        if not kept or np.min(np.hypot(*(np.array(kept) - p).T)) > distance:
            kept.append(p)
    return np.array(kept).reshape(-1, 2)


def _without_dust(geometry: BaseGeometry, least: float) -> BaseGeometry:
    parts = [p for p in shapely.get_parts(geometry) if p.geom_type == "Polygon"]
    return shapely.MultiPolygon([p for p in parts if p.area > least])


def _junctions(boundary: BaseGeometry) -> np.ndarray:
    merged = shapely.line_merge(boundary)
    ends = [np.asarray(line.coords)[[0, -1]] for line in shapely.get_parts(merged) if not line.is_ring]
    if not ends:
        return np.zeros((0, 2))
    points, count = np.unique(np.round(np.vstack(ends), 9), axis=0, return_counts=True)
    return points[count >= 3]


def _corners(areas: dict[str, BaseGeometry], size: float) -> np.ndarray:
    found = [np.zeros((0, 2))]
    for area in areas.values():
        for polygon in shapely.get_parts(area):
            found += [ring_corners(np.asarray(r.coords)[:-1], size) for r in (polygon.exterior, *polygon.interiors)]
    points = np.vstack(found)
    inside = np.all((points > 1e-6 * size) & (points < size * (1 - 1e-6)), axis=1)
    return thinned(points[inside], 0.003 * size)


def ring_corners(points: np.ndarray, size: float) -> np.ndarray:
    """Vertices of a finely flattened ring where the tangent breaks."""
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    total, window = along[-1], WINDOW * size
    if total < 4 * window:
        return np.zeros((0, 2))

    def at(s: np.ndarray) -> np.ndarray:
        s = np.mod(s, total)
        return np.stack([np.interp(s, along, closed[:, 0]), np.interp(s, along, closed[:, 1])], axis=1)

    s = along[:-1]
    before, after = points - at(s - window), at(s + window) - points
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    turn = np.abs(np.degrees(np.arctan2(cross, np.sum(before * after, axis=1))))
    corners = []
    for k in np.argsort(-turn):
        if turn[k] < CORNER_DEGREES:
            break
        gaps = [abs(s[k] - s[c]) for c in corners]
        if all(min(gap, total - gap) > 1.5 * window for gap in gaps):
            corners.append(k)
    return points[corners]
