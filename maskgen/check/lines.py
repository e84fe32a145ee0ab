"""A line the knife follows: its runs of lines and curves, its corners along chords, its length and its ends.

Everything in millimetres, y down.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal
from maskgen.model.drawing import SubPath, flattened
from maskgen.model.paths import Line, Point, Points, Ring, Segment

CLOSED_MM = 0.03
"""Ends this near are one place: between 0.01, which must close, and 0.05, which must not."""
FLATTEN_MM = 0.001
NO_LENGTH_MM = 1e-6


@dataclass(frozen=True, eq=False)
class CutLine:
    """One line the knife follows.

    `paths` are the numbers of the drawing's paths it comes from, `runs` its runs of the pen in their order. `points`
    (n, 2) are its corners along chords, the first not repeated when it is closed.
    """

    paths: tuple[int, ...]
    runs: tuple[SubPath, ...]
    points: Points
    closed: bool
    filled: bool
    place: str

    @cached_property
    def nodes(self) -> int:
        """Number of nodes: one per run of line or curve that has a length."""
        return sum(int(_lengths(run).sum()) for run in self.runs)

    @cached_property
    def edges(self) -> NDArray[np.float64]:
        """Chords, (n, 2, 2), the closing one among them."""
        points = np.vstack([self.points, self.points[:1]]) if self.closed else self.points
        return np.stack([points[:-1], points[1:]], axis=1)

    @cached_property
    def length_mm(self) -> float:
        """Length along the chords."""
        return float(np.hypot(*(self.edges[:, 1] - self.edges[:, 0]).T).sum())

    @property
    def ends(self) -> tuple[Point, Point]:
        """Where an open line begins and ends."""
        (ax, ay), (bx, by) = self.points[0], self.points[-1]
        return (float(ax), float(ay)), (float(bx), float(by))

    def at_share(self, share: float) -> Point:
        """Give the point at a share of the length."""
        if len(self.points) == 2 and not self.closed:
            (ax, ay), (bx, by) = self.points.tolist()
            return ax + share * (bx - ax), ay + share * (by - ay)
        x, y = self.at_shares(np.array([share]))[0]
        return float(x), float(y)

    def at_shares(self, shares: NDArray[np.float64]) -> Points:
        """Give the points (n, 2) at shares of the length."""
        steps = np.hypot(*(self.edges[:, 1] - self.edges[:, 0]).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        points = np.vstack([self.points, self.points[:1]]) if self.closed else self.points
        places = shares * along[-1]
        return np.stack([np.interp(places, along, points[:, 0]), np.interp(places, along, points[:, 1])], axis=1)

    def turned(self) -> CutLine:
        """Give the line walked the other way."""
        return replace(self, runs=tuple(_reversed(run) for run in reversed(self.runs)), points=self.points[::-1])

    def outline(self) -> BaseGeometry:
        """Give what a closed line encloses; one that crosses itself by even-odd."""
        if len(self.points) < 3:
            return Polygon()
        polygon = Polygon(self.points)
        return polygon if polygon.is_valid else polygonal(shapely.make_valid(polygon))

    def ring(self) -> Ring:
        """Give a closed line as a ring of its own lines and cubics, small gaps bridged."""
        segments: list[Segment] = []
        for run in self.runs:
            segments.extend(run.segments())
        return Ring(tuple(_linked(segments)))


def _linked(segments: list[Segment]) -> list[Segment]:
    linked: list[Segment] = []
    for k, segment in enumerate(segments):
        linked.append(segment)
        following = segments[(k + 1) % len(segments)].start
        if following != segment.end:
            linked.append(Line(segment.end, following))
    return linked


def line_of_ring(ring: Ring) -> CutLine:
    """Give a ring as a closed cut line of its own."""
    run = run_of_ring(ring)
    points, _ = flattened(run, FLATTEN_MM)
    return CutLine((0,), (run,), corners_of(points, True), True, True, "")


def run_of_ring(ring: Ring) -> SubPath:
    """Give a ring as a closed run of the pen."""
    rows, straight = [], []
    for s in ring.segments:
        if isinstance(s, Line):
            rows.append((s.start, s.start, s.end, s.end))
        else:
            rows.append((s.start, s.control1, s.control2, s.end))
        straight.append(isinstance(s, Line))
    control = np.array(rows, dtype=np.float64).reshape(-1, 4, 2)
    return SubPath(ring.segments[0].start, control, np.array(straight, dtype=np.bool_), True)


def corners_of(points: Points, closed: bool) -> Points:
    """Drop repeated points, and at the end of a closed run what only repeats its start."""
    steps = np.abs(np.diff(points, axis=0)).max(axis=1) > 0
    points = points[np.r_[True, steps]]
    if not closed or len(points) < 2:
        return points
    if np.hypot(*(points[-1] - points[0])) <= NO_LENGTH_MM:
        points = points[:-1]
    rest = met(points[:1], points[::-1])[::-1]
    return rest if len(rest) > 2 else points


def met(before: Points, after: Points) -> Points:
    """Give the corners that follow on others without the step between them where that is a rounding.

    An end that lies a little beside or beyond the place it should meet would be a spike or a loop.
    """
    away = np.hypot(*(after - before[-1]).T)
    if away[0] > CLOSED_MM:
        return after
    far = np.flatnonzero(away > away[0])
    return after[far[0] :] if len(far) else after


def _reversed(run: SubPath) -> SubPath:
    return replace(run, start=run.end, control=run.control[::-1, ::-1], straight=run.straight[::-1])


def _lengths(run: SubPath) -> NDArray[np.bool_]:
    has_length: NDArray[np.bool_] = (
        np.abs(run.control - run.control[:, :1]).max(axis=(1, 2), initial=0.0) > NO_LENGTH_MM
    )
    return has_length
