"""Outlines: lines and cubics, closed rings, pieces with holes, areas of several pieces.

Millimetres (pixels while tracing), y down, origin at the top left of the face. An outer ring has positive
signed area in this frame, a hole negative; every function that builds pieces keeps that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Point: TypeAlias = tuple[float, float]
Points: TypeAlias = NDArray[np.float64]
Floats: TypeAlias = NDArray[np.float64]
PointMap: TypeAlias = Callable[[Point], Point]


@dataclass(frozen=True, slots=True)
class Line:
    """A straight run."""

    start: Point
    end: Point

    def reversed(self) -> Line:
        """Give the same run walked the other way."""
        return Line(self.end, self.start)

    def mapped(self, move: PointMap) -> Line:
        """Give the run with every point moved by an affine map."""
        return Line(move(self.start), move(self.end))


@dataclass(frozen=True, slots=True)
class Cubic:
    """A cubic Bezier curve."""

    start: Point
    control1: Point
    control2: Point
    end: Point

    def reversed(self) -> Cubic:
        """Give the same curve walked the other way."""
        return Cubic(self.end, self.control2, self.control1, self.start)

    def mapped(self, move: PointMap) -> Cubic:
        """Give the curve with every point moved by an affine map."""
        return Cubic(move(self.start), move(self.control1), move(self.control2), move(self.end))


Segment: TypeAlias = Line | Cubic


@dataclass(frozen=True, slots=True)
class Ring:
    """A closed boundary: each segment starts where the one before it ends, the last ends at the first's start."""

    segments: tuple[Segment, ...]

    def reversed(self) -> Ring:
        """Give the same boundary walked the other way."""
        return Ring(tuple(s.reversed() for s in reversed(self.segments)))

    def mapped(self, move: PointMap) -> Ring:
        """Give the ring with every point moved by an affine map."""
        return Ring(tuple(s.mapped(move) for s in self.segments))


@dataclass(frozen=True, slots=True)
class Piece:
    """One connected piece of material: its outer boundary and its holes."""

    outer: Ring
    holes: tuple[Ring, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """The outer boundary, then the holes."""
        return (self.outer, *self.holes)

    def mapped(self, move: PointMap) -> Piece:
        """Give the piece with every point moved by an affine map that keeps orientation."""
        return Piece(self.outer.mapped(move), tuple(h.mapped(move) for h in self.holes))


@dataclass(frozen=True, slots=True)
class Area:
    """A set of pieces that do not overlap; empty when there are none."""

    pieces: tuple[Piece, ...] = ()

    @property
    def rings(self) -> tuple[Ring, ...]:
        """All boundaries, piece by piece."""
        return tuple(ring for piece in self.pieces for ring in piece.rings)

    def mapped(self, move: PointMap) -> Area:
        """Give the area with every point moved by an affine map that keeps orientation."""
        return Area(tuple(p.mapped(move) for p in self.pieces))


@dataclass(frozen=True, slots=True)
class Region:
    """All of one colour on a canvas: what `regions.svg` draws as one path."""

    key: str
    name: str
    colour: str
    area: Area


@dataclass(frozen=True, slots=True)
class Partition:
    """Regions that cover a canvas of `width` x `height` once: no gap, no overlap, shared boundaries identical."""

    width: float
    height: float
    regions: tuple[Region, ...]


def affine(scale: float = 1.0, shift: Point = (0.0, 0.0)) -> PointMap:
    """Give the map that scales about the origin, then shifts."""
    return lambda p: (p[0] * scale + shift[0], p[1] * scale + shift[1])


def polygon_ring(points: Points) -> Ring:
    """Make a ring of straight runs from an (n, 2) array of corners, the first not repeated at the end."""
    corners = [(float(x), float(y)) for x, y in points]
    return Ring(tuple(Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)))


def rectangle(left: float, top: float, right: float, bottom: float) -> Piece:
    """Make a rectangular piece."""
    corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)], dtype=np.float64)
    return Piece(polygon_ring(corners))


LEAST_CHORDS = 2
"""Chords of a curve, however flat: two curves that close a ring then enclose something, at any tolerance."""


def flatten_segment(segment: Segment, tolerance: float) -> Points:
    """Points along a segment, its start left out, its end exactly kept, chords within `tolerance`.

    Walking a segment backwards gives exactly the same points, so that neighbours stay neighbours.
    The number of chords is the bound from the second differences of the control points.
    """
    return _flattened((segment,), tolerance)


def flatten(ring: Ring, tolerance: float) -> Points:
    """Corners of a polygon within `tolerance` of the ring, (n, 2), the first not repeated at the end."""
    if not ring.segments:
        return np.zeros((0, 2))
    return np.roll(_flattened(ring.segments, tolerance), 1, axis=0)


def _flattened(segments: Sequence[Segment], tolerance: float) -> Points:
    """Points along a chain of segments, as `flatten_segment`; each by itself, so that any chain gives the same ones."""
    curved = np.array([isinstance(segment, Cubic) for segment in segments], dtype=np.bool_)
    ends = np.array([segment.end for segment in segments], dtype=np.float64)
    if not curved.any():
        return ends
    curves = [segment for segment in segments if isinstance(segment, Cubic)]
    turned = np.array([(c.end, c.control2) < (c.start, c.control1) for c in curves], dtype=np.bool_)
    control = np.array([(c.start, c.control1, c.control2, c.end) for c in curves], dtype=np.float64)
    control[turned] = control[turned, ::-1]
    second = control[:, :-2] - 2 * control[:, 1:-1] + control[:, 2:]
    bend = np.hypot(second[..., 0], second[..., 1]).max(axis=1)
    chords = np.maximum(LEAST_CHORDS, np.ceil(np.sqrt(0.75 * bend / tolerance))).astype(np.int64)

    which = np.repeat(np.arange(len(curves)), chords)
    step = np.arange(len(which)) - np.repeat(np.cumsum(chords) - chords, chords)
    t = (np.where(turned[which], chords[which] - 1 - step, step + 1) / chords[which])[:, None]
    s = 1 - t
    p0, p1, p2, p3 = (control[which, k] for k in range(4))
    points: Points = s * s * s * p0 + 3 * t * s * s * p1 + 3 * t * t * s * p2 + t * t * t * p3
    if curved.all():
        return points
    sizes = np.ones(len(segments), dtype=np.int64)
    sizes[curved] = chords
    whole = np.empty((int(sizes.sum()), 2))
    on_curve = np.repeat(curved, sizes)
    whole[on_curve], whole[~on_curve] = points, ends[~curved]
    return whole


def signed_area(ring: Ring) -> float:
    """Exact signed area by Green's theorem; positive for an outer ring (clockwise as seen, y down)."""
    return sum(_segment_area(s) for s in ring.segments)


def _segment_area(segment: Segment) -> float:
    def cross(a: Point, b: Point) -> float:
        return a[0] * b[1] - a[1] * b[0]

    if isinstance(segment, Line):
        return 0.5 * cross(segment.start, segment.end)
    p0, p1, p2, p3 = segment.start, segment.control1, segment.control2, segment.end
    return (
        6 * cross(p0, p1)
        + 3 * cross(p0, p2)
        + cross(p0, p3)
        + 3 * cross(p1, p2)
        + 3 * cross(p1, p3)
        + 6 * cross(p2, p3)
    ) / 20.0


def area_of(area: Area) -> float:
    """Exact area, holes taken off."""
    return sum(signed_area(ring) for ring in area.rings)


def bounds(area: Area) -> tuple[float, float, float, float]:
    """Left, top, right, bottom, exactly: of the ends of all segments and the places where curves turn back.

    Raises
    ------
    ValueError
        For an empty area.
    """
    segments = [segment for piece in area.pieces for segment in piece.outer.segments]
    points = np.array([segment.end for segment in segments], dtype=np.float64)
    control = np.array([(s.start, s.control1, s.control2, s.end) for s in segments if isinstance(s, Cubic)])
    low, high = points.min(axis=0), points.max(axis=0)
    if len(control):
        reach = control.reshape(-1, 2)
        if np.any(reach.min(axis=0) < low) or np.any(reach.max(axis=0) > high):
            turns = np.vstack([_turning_points(control[..., axis], control) for axis in (0, 1)])
            low, high = np.minimum(low, turns.min(axis=0)), np.maximum(high, turns.max(axis=0))
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def _turning_points(values: Floats, control: Floats) -> Points:
    """Give the points of cubics (n, 4, 2) where one coordinate (n, 4) turns back; ends where it does not."""
    p0, p1, p2, p3 = values.T
    a, b, c = p3 - 3 * p2 + 3 * p1 - p0, 2 * (p2 - 2 * p1 + p0), p1 - p0
    # Citardauq's form of the roots holds where the leading coefficient vanishes.
    root = np.sqrt(np.maximum(b * b - 4 * a * c, 0.0))
    q = -0.5 * (b + np.where(b < 0, -root, root))
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.nan_to_num(np.stack([q / a, c / q], axis=1), nan=0.0, posinf=0.0, neginf=0.0)
    t = np.clip(t, 0.0, 1.0)[..., None]
    s = 1 - t
    p0, p1, p2, p3 = (control[:, None, k] for k in range(4))
    points: Points = s * s * s * p0 + 3 * t * s * s * p1 + 3 * t * t * s * p2 + t * t * t * p3
    return points.reshape(-1, 2)


def length_of(ring: Ring, tolerance: float = 1e-3) -> float:
    """Length of the boundary, along chords within `tolerance`."""
    points = flatten(ring, tolerance)
    return float(np.hypot(*(points - np.roll(points, 1, axis=0)).T).sum())


def node_count(area: Area) -> int:
    """Number of nodes, one per segment."""
    return sum(len(ring.segments) for ring in area.rings)
