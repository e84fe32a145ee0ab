"""Curves that cross are mended where they cross, and only there.

Most crossings lie within a pixel or two of a junction, where two boundaries part at a small angle and either may
be off by a hundredth of a pixel; most others in necks thinner than a pixel. There a stretch of one curve or of both is
laid anew: as a cubic that keeps its directions at both ends, as a line, or along the middles of the cracks. A try is
kept when it leaves fewer crossings than there were; what cannot be mended so is left to `untangle`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from maskgen.model.paths import Cubic, Line
from maskgen.trace.assemble import CHECK_TOLERANCE_PX, SAME_PX, Curve, crossing_pairs, flatten_curve
from maskgen.trace.cracks import Arc, CrackGraph
from maskgen.trace.curves import mark_place, point, rolled, split, spots_along
from maskgen.trace.plain import polyline, with_few_corners

Floats = NDArray[np.float64]

TOGETHER_PX = 6.0
"""Crossings of two curves nearer to each other than this, or to a junction of both, are mended as one."""
MARGINS_PX = (0.7, 1.5, 3.0, 6.0)
"""A curve is laid anew from this far before the crossings to this far behind them."""
TOUCH_PX = 0.3
"""A curve passes a crossing where it is this near."""
ASTRAY_PX = 1.5
"""A stretch laid anew stays this near its cracks."""
NEAR_PX = 3.0
"""A curve stays this near its cracks."""
MOST_ROUNDS = 4
"""Mending one crossing can uncover another."""
MOST_CROSSINGS = 200
"""A picture with more pairs that cross is noise; mending it would take long."""


def mended(graph: CrackGraph, curves: Sequence[Curve]) -> list[Curve]:
    """Give the curves of all arcs with crossings mended where that can be done on the spot."""
    patient = _Patient(graph, curves)
    for _ in range(MOST_ROUNDS):
        pairs = sorted(crossing_pairs(patient.curves, closed=patient.closed))
        if len(pairs) > MOST_CROSSINGS or not sum([patient.mend(a, b) for a, b in pairs]):
            break
    return patient.curves


class _Patient:
    def __init__(self, graph: CrackGraph, curves: Sequence[Curve]) -> None:
        self.graph = graph
        self.curves = list(curves)
        self.closed = [arc.closed for arc in graph.arcs]
        self.boxes = np.array([[*arc.points.min(axis=0), *arc.points.max(axis=0)] for arc in graph.arcs], np.float64)

    def mend(self, a: int, b: int) -> bool:
        """Mend the crossings of two arcs, or of one with itself; say whether anything was done."""
        done = False
        lines = [_line(self.curves[n]) for n in (a, b)]
        found = self_crossings(lines[0], closed=self.closed[a]) if a == b else crossings(*lines)
        for spots in _together(found, self._common(a, b)):
            done |= self._mend_at(a, b, spots)
        return done

    def _common(self, a: int, b: int) -> Floats:
        ends = [{_key(p): p for p in (self.curves[n][0].start, self.curves[n][-1].end)} for n in (a, b)]
        shared = [p for k, p in ends[0].items() if a != b and k in ends[1]]
        return np.array(shared, dtype=np.float64).reshape(-1, 2)

    def _mend_at(self, a: int, b: int, spots: Floats) -> bool:
        near = self._near(a) + [n for n in self._near(b) if n not in self._near(a)]
        kept = self.curves[a], self.curves[b]
        before = self._count(a, b, near)
        order = sorted({a, b}, key=lambda n: (len(self.graph.arcs[n].points), n))
        for margin in MARGINS_PX:
            for chosen in ([order[0]], order[1:], order) if a != b else ([a],):
                for way in ("cubic", "line", "cracks"):
                    self.curves[a], self.curves[b] = kept
                    for number in chosen:
                        self.curves[number] = self._laid(number, spots, margin, way)
                    if self._count(a, b, near) < before:
                        return True
        self.curves[a], self.curves[b] = kept
        return False

    def _near(self, number: int) -> list[int]:
        low, high = self.boxes[number, :2] - NEAR_PX, self.boxes[number, 2:] + NEAR_PX
        return np.flatnonzero(np.all((self.boxes[:, :2] <= high) & (self.boxes[:, 2:] >= low), axis=1)).tolist()

    def _count(self, a: int, b: int, near: Sequence[int]) -> int:
        """Crossings of two arcs with each other, themselves and those near."""
        total = 0
        lines = {n: _line(self.curves[n]) for n in near}
        for number in {a, b}:
            total += len(self_crossings(lines[number], closed=self.closed[number]))
            touching = [n for n in near if n != number and (n not in (a, b) or n > number)]
            for other in touching:
                if shapely.intersects(lines[number], lines[other]):
                    total += len(crossings(lines[number], lines[other]))
        return total

    def _laid(self, number: int, spots: Floats, margin: float, way: str) -> Curve:
        """Give a curve with the stretches about some places laid anew, as far as they stay near their cracks."""
        curve, arc = self.curves[number], self.graph.arcs[number]
        if arc.on_border:
            return curve
        if arc.closed:
            curve = _seam_away(curve, spots)
        places, along, marks = spots_along(curve)
        apart = np.hypot(*(places[:, None] - spots[None]).transpose(2, 0, 1)).min(axis=1)
        reached = along[apart < max(TOUCH_PX, float(apart.min()) + 1e-9)]
        groups = np.split(reached, np.flatnonzero(np.diff(reached) > 2 * margin) + 1)
        cracks = shapely.LineString(arc.points)
        for group in reversed(groups):  # from the end, so that marks stay right
            ends = np.clip(np.searchsorted(along, [group[0] - margin, group[-1] + margin]), 0, len(along) - 1)
            first, last = ends.tolist()
            whole = first == 0 and last == len(along) - 1
            if last <= first or whole:
                continue
            inner = [k for k in (first, last) if 0 < k < len(along) - 1]
            parts = list(split(curve, [mark_place(marks[k]) for k in inner]))
            head = parts.pop(0) if first > 0 else ()
            tail = parts.pop() if len(parts) > 1 else ()
            start, end = np.array(parts[0][0].start), np.array(parts[-1][-1].end)
            laid = _stretch(arc, start, end, head, tail, way)
            if shapely.distance(shapely.points(flatten_curve(laid, 0.1)), cracks).max() < ASTRAY_PX:
                curve = (*head, *laid, *tail)
        return curve


def _stretch(arc: Arc, start: Floats, end: Floats, head: Curve, tail: Curve, way: str) -> Curve:
    chord = end - start
    if way == "line":
        return (Line(point(start), point(end)),)
    if way == "cubic":
        size = float(np.hypot(*chord))
        into = _course(head[-1].reversed()) * -size if head else chord
        out = _course(tail[0]) * size if tail else chord
        return (Cubic(point(start), point(start + into / 3), point(end - out / 3), point(end)),)
    middles = 0.5 * (arc.points[:-1] + arc.points[1:])
    first, last = (int(np.argmin(np.hypot(*(middles - p).T))) for p in (start, end))
    if arc.closed and last < first:
        middles, last = np.vstack([middles, middles]), last + len(middles)
    between = middles[first + 1 : last]
    return polyline(with_few_corners(np.vstack([start, between, end])))


def _course(segment: Line | Cubic) -> Floats:
    """Direction in which a segment starts."""
    if isinstance(segment, Cubic):
        for other in (segment.control1, segment.control2):
            step = np.subtract(other, segment.start)
            if np.hypot(*step) > SAME_PX:
                return np.asarray(step / np.hypot(*step))
    step = np.subtract(segment.end, segment.start)
    return np.asarray(step / max(float(np.hypot(*step)), SAME_PX))


def _seam_away(curve: Curve, spots: Floats) -> Curve:
    """Let a closed curve start as far from some places as it can."""
    places, _, marks = spots_along(curve)
    apart = np.hypot(*(places[:, None] - spots[None]).transpose(2, 0, 1)).min(axis=1)
    return rolled(curve, *mark_place(marks[int(np.argmax(apart))]))


def _line(curve: Curve) -> shapely.LineString:
    return shapely.LineString(flatten_curve(curve, CHECK_TOLERANCE_PX))


def _key(place: tuple[float, float]) -> tuple[float, float]:
    return round(place[0], 9), round(place[1], 9)


def crossings(one: shapely.LineString, other: shapely.LineString) -> Floats:
    """Places (n, 2) where two lines meet elsewhere than at ends of both."""
    points = shapely.get_coordinates(shapely.intersection(one, other))
    keep = np.ones(len(points), dtype=bool)
    at_end = []
    for line in (one, other):
        ends = shapely.get_coordinates(line)[[0, -1]]
        at_end.append((np.abs(points[:, None] - ends[None]).max(axis=2) < SAME_PX).any(axis=1))
    keep &= ~(at_end[0] & at_end[1])
    return np.asarray(points[keep])


def self_crossings(line: shapely.LineString, *, closed: bool) -> Floats:
    """Places (n, 2) where a line meets itself."""
    if shapely.is_ring(line) if closed else shapely.is_simple(line):
        return np.zeros((0, 2))
    points = shapely.get_coordinates(line)
    chords = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    first, second = shapely.STRtree(chords).query(chords, predicate="intersects")
    apart = second - first > 1
    if closed:
        apart &= second - first < len(chords) - 1
    return np.asarray(shapely.get_coordinates(shapely.intersection(chords[first[apart]], chords[second[apart]])))


def _together(found: Floats, common: Floats) -> Iterator[Floats]:
    """Groups of crossings near each other, each with the junctions of both curves that are near it."""
    left = list(found)
    while left:
        group = [left.pop()]
        grown = True
        while grown:
            close = [p for p in left if min(np.hypot(*(p - q)) for q in group) < TOGETHER_PX]
            left = [p for p in left if not any(p is q for q in close)]
            group += close
            grown = bool(close)
        group += [j for j in common if min(np.hypot(*(j - q)) for q in group) < TOGETHER_PX]
        yield np.array(group)
