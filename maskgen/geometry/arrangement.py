"""The faces that lines and cubics cut a plane into, and areas rebuilt from them with their curves kept.

Which faces there are, and what lies beside what, is settled once, on chords within `FLATTEN_MM`, noded on a fine
grid; the outlines that come back are the curves themselves, split exactly where they were cut. Every stretch of
outline exists once and both areas beside it use it, so that neighbours share their boundary to the last bit.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import FLATTEN_MM
from maskgen.geometry.segments import canonical, crossing, part_of, point_at
from maskgen.model.paths import Area, Cubic, Line, Piece, Point, Points, Ring, Segment, flatten, flatten_segment

GRID_PER_MM = 1e7
"""Noding grid: far below anything cut, far above the rounding of coordinates of a few hundred millimetres."""

Label = TypeVar("Label", bound=Hashable)
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Arrangement:
    """Faces and the edges between them.

    `vertices` (n, 2); `edges` (m, 2) vertex indices in the direction of the segment they lie on, `source` (m,) its
    index in `segments`, `span` (m, 2) the parameters there; `beside` (m, 2) the faces to the left and right (as seen
    with y up; -1 outside all); `direction` (m,) the angle of the edge's chord; `inside` (f, 2) a point within every
    face; `face_areas` (f,) along the chords.
    """

    segments: tuple[Segment, ...]
    vertices: Points
    edges: Indices
    source: Indices
    span: NDArray[np.float64]
    beside: Indices
    direction: NDArray[np.float64]
    inside: Points
    face_areas: NDArray[np.float64]


def arrange(segments: Iterable[Segment]) -> Arrangement:
    """Cut the plane along segments that may cross, touch and overlap.

    Where several lie on one another the first given draws the line.
    """
    unique = tuple(dict.fromkeys(canonical(s) for s in segments if s.start != s.end or isinstance(s, Cubic)))
    chords = _Chords.of(unique)
    lines = chords.runs()
    noded = shapely.union_all(shapely.multilinestrings(lines), grid_size=1.0 / GRID_PER_MM)
    parts = shapely.get_parts(noded)
    coordinates, part = shapely.get_coordinates(parts, return_index=True)
    grid, vertex = _numbered(np.rint(coordinates * GRID_PER_MM))
    follows = part[1:] == part[:-1]
    edges = np.stack([vertex[:-1][follows], vertex[1:][follows]], axis=1)
    edges, source, span = chords.sources(edges, grid)
    faces = shapely.get_parts(shapely.polygonize(parts))
    return Arrangement(
        segments=unique,
        vertices=_exact_vertices(unique, grid, edges, source, span),
        edges=edges,
        source=source,
        span=span,
        beside=_faces_beside(faces, edges, grid),
        direction=np.arctan2(*(grid[edges[:, 1]] - grid[edges[:, 0]]).T[::-1]),
        inside=shapely.get_coordinates(shapely.point_on_surface(faces)),
        face_areas=shapely.area(faces),
    )


def find_faces(arrangement: Arrangement, layers: Sequence[BaseGeometry]) -> Indices:
    """Give for every face the index of the first layer it lies in, -1 for none."""
    found = np.full(len(arrangement.inside), len(layers), dtype=np.int64)
    if len(layers) and len(found):
        owner = np.repeat(np.arange(len(layers)), [shapely.get_num_geometries(layer) for layer in layers])
        tree = shapely.STRtree(np.concatenate([shapely.get_parts(layer) for layer in layers]))
        face, polygon = tree.query(shapely.points(arrangement.inside), predicate="intersects")
        np.minimum.at(found, face, owner[polygon])
    return np.where(found == len(layers), -1, found)


def assemble(arrangement: Arrangement, labels: Sequence[Label | None]) -> dict[Label, Area]:
    """Merge faces of one label into areas; faces labelled None belong to none."""
    numbers: dict[Label, int] = {}
    for label in labels:
        if label is not None:
            numbers.setdefault(label, len(numbers))
    of_face = np.array([-1 if x is None else numbers[x] for x in labels] + [-1], dtype=np.int64)
    rings = _rings(arrangement, of_face[arrangement.beside])
    return {label: _area(rings.get(number, [])) for label, number in numbers.items()}


@dataclass(frozen=True, slots=True, eq=False)
class _Chords:
    """Straight bits of segments: ends in whole grid steps, the segment each lies on, and its parameters there."""

    start: Points
    end: Points
    source: Indices
    span: NDArray[np.float64]

    @classmethod
    def of(cls, segments: Sequence[Segment]) -> _Chords:
        runs = [np.vstack([np.array([s.start]), flatten_segment(s, FLATTEN_MM)]) for s in segments]
        counts = [len(run) - 1 for run in runs]
        t = [np.linspace(0.0, 1.0, count + 1) for count in counts]
        start = np.rint(np.vstack([run[:-1] for run in runs] or [np.zeros((0, 2))]) * GRID_PER_MM)
        end = np.rint(np.vstack([run[1:] for run in runs] or [np.zeros((0, 2))]) * GRID_PER_MM)
        source = np.repeat(np.arange(len(runs), dtype=np.int64), counts)
        span = np.hstack([np.stack([k[:-1], k[1:]]) for k in t] or [np.zeros((2, 0))]).T
        kept = np.any(start != end, axis=1)
        return cls(start[kept], end[kept], source[kept], span[kept])

    def runs(self) -> NDArray[np.object_]:
        """Give one line for each segment."""
        breaks = np.flatnonzero(np.diff(self.source, prepend=-1))
        number = np.cumsum(np.diff(self.source, prepend=-1) != 0) - 1
        points = np.insert(self.end, breaks, self.start[breaks], axis=0) / GRID_PER_MM
        index = np.insert(number, breaks, number[breaks])
        lines: NDArray[np.object_] = shapely.linestrings(points, indices=index)
        return lines

    def sources(self, edges: Indices, grid: Points) -> tuple[Indices, Indices, NDArray[np.float64]]:
        """Find the segment every noded edge lies on, turn the edge its way, and give its parameters."""
        length = np.hypot(*(grid[edges[:, 1]] - grid[edges[:, 0]]).T)
        chord = self._nearest(grid[edges].mean(axis=1), length)
        origin, along = self.start[chord], self.end[chord] - self.start[chord]
        share = np.einsum("ijk,ik->ij", grid[edges] - origin[:, None], along)
        share /= np.einsum("ik,ik->i", along, along)[:, None]
        first = self.span[chord, :1]
        span = first + np.clip(share, 0.0, 1.0) * (self.span[chord, 1:] - first)
        backwards = span[:, 0] > span[:, 1]
        edges, span = edges.copy(), span.copy()
        edges[backwards], span[backwards] = edges[backwards][:, ::-1], span[backwards][:, ::-1]
        return edges, self.source[chord], span

    def _nearest(self, points: Points, length: NDArray[np.float64]) -> Indices:
        """Find the chord that runs through a point; of several on one another the first given."""
        lines = shapely.linestrings(np.stack([self.start, self.end], axis=1))
        tree, spots = shapely.STRtree(lines), shapely.points(points)
        # Snapping moves an edge by less than two grid steps; a chord that only touches it lies farther from its middle.
        point, chord = tree.query(spots, predicate="dwithin", distance=np.minimum(2.0, 0.25 * length))
        missed = np.setdiff1d(np.arange(len(points)), point)
        if len(missed):
            where, nearest = tree.query_nearest(spots[missed], all_matches=False)
            point, chord = np.r_[point, missed[where]], np.r_[chord, nearest]
        away = np.round(shapely.distance(spots[point], lines[chord]), 2)
        order = np.lexsort((chord, away, point))
        _, first = np.unique(point[order], return_index=True)
        found: Indices = chord[order][first].astype(np.int64)
        return found


def _numbered(grid: Points) -> tuple[Points, Indices]:
    """Give distinct points and, for every point, its number among them."""
    _, first, number = np.unique(grid[:, 0] + 1j * grid[:, 1], return_index=True, return_inverse=True)
    return grid[first], number.reshape(-1).astype(np.int64)


def _faces_beside(faces: NDArray[np.object_], edges: Indices, grid: Points) -> Indices:
    """Give the faces to the left and right of every edge."""
    rings, face = shapely.get_rings(shapely.orient_polygons(faces), return_index=True)
    coordinates, ring = shapely.get_coordinates(rings, return_index=True)
    known = grid[:, 0] + 1j * grid[:, 1]
    steps = np.rint(coordinates * GRID_PER_MM)
    vertex = np.searchsorted(known, steps[:, 0] + 1j * steps[:, 1])
    follows = ring[1:] == ring[:-1]
    walked = vertex[:-1][follows] * len(grid) + vertex[1:][follows]
    owner = face[ring[:-1][follows]]
    order = np.argsort(walked)
    beside = np.full(edges.shape, -1, dtype=np.int64)
    for side, (a, b) in enumerate([edges.T, edges.T[::-1]]):
        key = a * len(grid) + b
        place = np.minimum(np.searchsorted(walked[order], key), max(len(walked) - 1, 0))
        if len(walked):
            hit = walked[order][place] == key
            beside[hit, side] = owner[order][place][hit]
    return beside


def _exact_vertices(
    segments: Sequence[Segment], grid: Points, edges: Indices, source: Indices, span: NDArray[np.float64]
) -> Points:
    """Place vertices where the segments themselves end and cross, not where their chords do."""
    exact = grid / GRID_PER_MM
    vertex = edges.reshape(-1)
    on = np.repeat(source, 2)
    parameter = span.reshape(-1)
    order = np.lexsort((on, vertex))
    vertex, on, parameter = vertex[order], on[order], parameter[order]
    starts = np.flatnonzero(np.r_[True, vertex[1:] != vertex[:-1]]) if len(vertex) else np.zeros(0, dtype=np.int64)
    first, last = on[starts], on[np.r_[starts[1:], len(on)] - 1] if len(starts) else starts
    at_end = (parameter == 0.0) | (parameter == 1.0)
    ends = np.logical_or.reduceat(at_end, starts) if len(starts) else at_end
    for k in np.flatnonzero(ends | (first != last)):
        stop = starts[k + 1] if k + 1 < len(starts) else len(on)
        here: dict[int, float] = {}
        for index, t in zip(on[starts[k] : stop].tolist(), parameter[starts[k] : stop].tolist(), strict=True):
            here.setdefault(index, t)
        exact[vertex[starts[k]]] = _exact_place(segments, here, exact[vertex[starts[k]]])
    return exact


def _exact_place(segments: Sequence[Segment], here: dict[int, float], near: Points) -> Point:
    """Give the true place of a vertex on the segments `here` (index to parameter), the first given counting most."""
    leader, t = next(iter(here.items()))
    if t in (0.0, 1.0):
        return point_at(segments[leader], t)
    place: Point = (float(near[0]), float(near[1]))
    for index, other in here.items():
        if other in (0.0, 1.0):
            place = point_at(segments[index], other)
            break
    else:
        for index, other in list(here.items())[1:]:
            met = crossing(segments[leader], t, segments[index], other, within=FLATTEN_MM)
            if met is not None:
                return met
    line = segments[leader]
    return _onto(line, place) if isinstance(line, Line) else place


def _onto(line: Line, point: Point) -> Point:
    """Drop a point that is next to a line exactly onto it; level and upright lines keep their coordinate to the bit."""
    (ax, ay), (bx, by) = line.start, line.end
    if ax == bx or ay == by:
        return (ax if ax == bx else point[0], ay if ay == by else point[1])
    dx, dy = bx - ax, by - ay
    t = ((point[0] - ax) * dx + (point[1] - ay) * dy) / (dx * dx + dy * dy)
    return (ax + t * dx, ay + t * dy)


@dataclass(frozen=True, slots=True)
class _Run:
    """A stretch of one segment between two vertices, with the direction of its chord at either end."""

    start: int
    end: int
    segment: Segment
    leaving: float
    arriving: float

    def reversed(self) -> _Run:
        return _Run(self.end, self.start, self.segment.reversed(), self.arriving + np.pi, self.leaving + np.pi)


def _rings(arrangement: Arrangement, sides: Indices) -> dict[int, list[Ring]]:
    """Walk the outlines of every label; `sides` (m, 2) are the labels beside the edges."""
    walks: dict[int, list[_Run]] = {}
    for run, left, right in _runs(arrangement, sides):
        if left >= 0:
            walks.setdefault(left, []).append(run)
        if right >= 0:
            walks.setdefault(right, []).append(run.reversed())
    return {label: _closed(runs) for label, runs in walks.items()}


def _runs(arrangement: Arrangement, sides: Indices) -> list[tuple[_Run, int, int]]:
    """Join edges between different labels as far as they lie on one segment with nothing branching off."""
    kept = np.flatnonzero(sides[:, 0] != sides[:, 1])
    if not len(kept):
        return []
    kept = kept[np.lexsort((arrangement.span[kept, 0], arrangement.source[kept]))]
    edges, source = arrangement.edges[kept], arrangement.source[kept]
    degree = np.bincount(edges.reshape(-1), minlength=len(arrangement.vertices))
    joint = edges[:-1, 1]
    joined = (joint == edges[1:, 0]) & (source[:-1] == source[1:]) & (degree[joint] == 2)
    begins = np.flatnonzero(np.r_[True, ~joined])
    closes = np.r_[begins[1:], len(kept)] - 1
    ends = arrangement.vertices
    angle = arrangement.direction[kept]
    runs = []
    for a, b in zip(begins.tolist(), closes.tolist(), strict=True):
        u, v = int(edges[a, 0]), int(edges[b, 1])
        t0, t1 = float(arrangement.span[kept[a], 0]), float(arrangement.span[kept[b], 1])
        start, end = (tuple(map(float, ends[w])) for w in (u, v))
        segment = part_of(arrangement.segments[source[a]], t0, t1, start, end)  # type: ignore[arg-type]
        left, right = sides[kept[a]].tolist()
        runs.append((_Run(u, v, segment, float(angle[a]), float(angle[b])), left, right))
    return runs


def _closed(runs: list[_Run]) -> list[Ring]:
    """Link runs with the area on their left into rings; where rings touch, each keeps to its own sector."""
    leaving: dict[int, list[int]] = {}
    for index, run in enumerate(runs):
        leaving.setdefault(run.start, []).append(index)
    unused = dict.fromkeys(range(len(runs)))
    rings = []
    while unused:
        index = next(iter(unused))
        walk = []
        while index in unused:
            del unused[index]
            walk.append(runs[index].segment)
            index = _next(runs, index, leaving)
        rings.append(Ring(tuple(walk)))
    return rings


def _next(runs: list[_Run], index: int, leaving: dict[int, list[int]]) -> int:
    choices = leaving[runs[index].end]
    if len(choices) == 1:
        return choices[0]
    back = runs[index].arriving + np.pi
    # The area lies clockwise of the way back; the first way out in that sense bounds it.
    return min(choices, key=lambda k: (back - runs[k].leaving - 1e-12) % (2 * np.pi))


def _area(rings: list[Ring]) -> Area:
    """Sort rings into outer ones and holes, each hole with the smallest outer ring around it."""
    outlines = [flatten(ring, FLATTEN_MM) for ring in rings]
    doubled = [float(np.sum(p[:, 0] * np.roll(p[:, 1], -1) - np.roll(p[:, 0], -1) * p[:, 1])) for p in outlines]
    outer = [k for k, a in enumerate(doubled) if a > 0]
    holes: dict[int, list[Ring]] = {k: [] for k in outer}
    polygons = {k: shapely.Polygon(outlines[k]) for k in outer}
    for k, a in enumerate(doubled):
        if a >= 0:
            continue
        inner = shapely.Polygon(outlines[k])
        around = [j for j in outer if doubled[j] > -a and _holds(polygons[j], inner)]
        if around:
            holes[min(around, key=lambda j: doubled[j])].append(rings[k])
    return Area(tuple(Piece(rings[k], tuple(holes[k])) for k in outer))


def _holds(outer: shapely.Polygon, inner: shapely.Polygon) -> bool:
    x0, y0, x1, y1 = outer.bounds
    a0, b0, a1, b1 = inner.bounds
    if a0 < x0 - FLATTEN_MM or b0 < y0 - FLATTEN_MM or a1 > x1 + FLATTEN_MM or b1 > y1 + FLATTEN_MM:
        return False
    return bool(outer.contains(inner.representative_point()))
