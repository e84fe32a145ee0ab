"""The cut lines of a drawing: what the knife would follow, each run of the pen once, loose ends that meet joined.

Everything in millimetres, y down. A run is closed where the file says so, where it is filled, or where its ends lie
within `CLOSED_MM`; runs of hairlines whose ends meet are one line, as drawn by programs that know only single lines.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal
from maskgen.model.drawing import Drawing, DrawnPath, SubPath, flattened
from maskgen.model.paths import Line, Point, Points, Ring, Segment

CLOSED_MM = 0.03
"""Ends this near are one place: between 0.01, which must close, and 0.05, which must not."""
PEN_STROKE_MM = 0.3 - 1e-6
"""From this width on a stroke is drawn as a shape; up to 0.1 it must be a cut line."""
MEETING = 8
"""Ends looked at where lines meet."""
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
        steps = np.hypot(*(self.edges[:, 1] - self.edges[:, 0]).T)
        along = np.concatenate([[0.0], np.cumsum(steps)])
        points = np.vstack([self.points, self.points[:1]]) if self.closed else self.points
        return (
            float(np.interp(share * along[-1], along, points[:, 0])),
            float(np.interp(share * along[-1], along, points[:, 1])),
        )

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


@dataclass(frozen=True, eq=False)
class StrayRun:
    """A run of no length."""

    path: int
    at: Point
    place: str


@dataclass(frozen=True, eq=False)
class CutLines:
    """What is in a drawing: the lines to cut, strokes drawn with a width, runs of no length."""

    drawing: Drawing
    lines: tuple[CutLine, ...]
    wide: tuple[int, ...]
    strays: tuple[StrayRun, ...]


def find_lines(drawing: Drawing) -> CutLines:
    """Find the cut lines of a drawing in millimetres.

    A path with a wide stroke is cut along its middle where that closes; where it does not, nothing of it is a cut line.
    """
    lines: list[CutLine] = []
    strays: list[StrayRun] = []
    wide: list[int] = []
    for number, path in enumerate(drawing.paths):
        is_wide = path.stroke is not None and path.stroke.width >= PEN_STROKE_MM
        if is_wide:
            wide.append(number)
        for run in path.subpaths:
            points, _ = flattened(run, FLATTEN_MM)
            moved = np.any(np.abs(points - points[0]) > NO_LENGTH_MM)
            if not moved:
                strays.append(StrayRun(number, run.start, path.place))
                continue
            line = _line(number, path, run, points)
            if line.closed or not is_wide:
                lines.append(line)
    return CutLines(drawing, tuple(_joined(lines)), tuple(wide), tuple(strays))


def line_of_ring(ring: Ring) -> CutLine:
    """Give a ring as a closed cut line of its own."""
    run = run_of_ring(ring)
    points, _ = flattened(run, FLATTEN_MM)
    return CutLine((0,), (run,), _corners(points, True), True, True, "")


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


def _line(number: int, path: DrawnPath, run: SubPath, points: Points) -> CutLine:
    filled = path.fill is not None and _has_area(points)
    near = bool(np.hypot(*(points[-1] - points[0])) <= CLOSED_MM)
    closed = run.closed or filled or (near and len(points) > 2)
    return CutLine((number,), (run,), _corners(points, closed), closed, filled, path.place)


def _has_area(points: Points) -> bool:
    """Tell whether filling a run shows anything (the default fill of a straight line does not)."""
    x, y = (points - points[0]).T
    doubled = np.abs(x * np.roll(y, -1) - np.roll(x, -1) * y).max(initial=0.0)
    return bool(doubled > NO_LENGTH_MM * np.hypot(x, y).max(initial=0.0))


def _corners(points: Points, closed: bool) -> Points:
    """Drop repeated points, and the last of a closed run where it is the first again."""
    steps = np.abs(np.diff(points, axis=0)).max(axis=1) > 0
    points = points[np.r_[True, steps]]
    if closed and len(points) > 1 and np.hypot(*(points[-1] - points[0])) <= NO_LENGTH_MM:
        points = points[:-1]
    return points


def _joined(lines: list[CutLine]) -> list[CutLine]:
    """Join open lines whose ends meet: on from each end to the next line in the file that begins or ends there.

    A chain closes as soon as it is back where it began, so that a copy drawn over it stays a chain of its own.
    """
    loose = [k for k, line in enumerate(lines) if not line.closed]
    if len(loose) < 2:
        return lines
    ends = np.array([lines[k].ends for k in loose]).reshape(-1, 2)
    middles = np.array([lines[k].at_share(0.5) for k in loose])
    distance, near = cKDTree(ends).query(ends, k=min(MEETING, len(ends)), distance_upper_bound=CLOSED_MM)
    unused = dict.fromkeys(range(len(loose)))
    chains: dict[int, CutLine] = {}
    while unused:
        first = next(iter(unused))
        del unused[first]
        walk = [(first, False)]
        ring = _walk(walk, ends, middles, distance, near, unused)
        if not ring:
            back = [(first, True)]
            _walk(back, ends, middles, distance, near, unused)
            walk = [(k, not backwards) for k, backwards in reversed(back[1:])] + walk
        chain = [(lines[loose[k]], backwards) for k, backwards in walk]
        chains[min(loose[k] for k, _ in walk)] = _chain(chain, ring=ring)
    return [chains.get(k, line) for k, line in enumerate(lines) if line.closed or k in chains]


def _walk(
    walk: list[tuple[int, bool]],
    ends: Points,
    middles: Points,
    distance: Points,
    near: NDArray[np.int64],
    unused: dict[int, None],
) -> bool:
    """Go on from the last line of a walk as far as lines meet; tell whether it came back to its beginning."""
    begin = 2 * walk[0][0] + walk[0][1]
    while True:
        line, backwards = walk[-1]
        here = 2 * line + (not backwards)
        meeting = [(d, e) for d, e in zip(distance[here].tolist(), near[here].tolist(), strict=True) if d <= CLOSED_MM]
        choices = [
            (round(d, 6), abs(e // 2 - line), e)
            for d, e in meeting
            if e // 2 in unused and not _copies(ends, middles, here, e)
        ]
        back = [round(d, 6) for d, e in meeting if e == begin] if len(walk) > 1 else []
        # Of lines shorter than the distance at which they meet, the nearest end counts, not the beginning.
        if back and (not choices or back[0] <= min(choices)[0]):
            return True
        if not choices:
            return False
        following = min(choices)[2]
        del unused[following // 2]
        walk.append((following // 2, following % 2 == 1))


def _copies(ends: Points, middles: Points, here: int, there: int) -> bool:
    """Tell a line that leads back along the one it meets: a copy of it."""
    near = min(CLOSED_MM, float(np.hypot(*(ends[here] - ends[here ^ 1]))) / 4)
    return bool(
        np.abs(ends[here ^ 1] - ends[there ^ 1]).max() <= near
        and np.abs(middles[here // 2] - middles[there // 2]).max() <= near
    )


def _chain(parts: Sequence[tuple[CutLine, bool]], *, ring: bool) -> CutLine:
    if len(parts) == 1:
        return parts[0][0]
    runs: list[SubPath] = []
    points: list[Points] = []
    for line, backwards in parts:
        runs.extend(line.turned().runs if backwards else line.runs)
        points.append(line.points[::-1] if backwards else line.points)
    numbers = tuple(dict.fromkeys(n for line, _ in parts for n in line.paths))
    first = min((line for line, _ in parts), key=lambda line: line.paths[0])
    joined = _corners(np.vstack(points), ring)
    closed = ring or bool(np.hypot(*(joined[-1] - joined[0])) <= CLOSED_MM)
    return CutLine(numbers, tuple(runs), _corners(joined, closed), closed, False, first.place)


def _reversed(run: SubPath) -> SubPath:
    return replace(run, start=run.end, control=run.control[::-1, ::-1], straight=run.straight[::-1])


def _lengths(run: SubPath) -> NDArray[np.bool_]:
    has_length: NDArray[np.bool_] = (
        np.abs(run.control - run.control[:, :1]).max(axis=(1, 2), initial=0.0) > NO_LENGTH_MM
    )
    return has_length
