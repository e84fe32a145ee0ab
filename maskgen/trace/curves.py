"""Arcs to lines and cubics: strands fitted as one, cut again at their junctions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from maskgen.geometry.fitting import fit_closed, fit_open
from maskgen.model.paths import Cubic, Line, Point, Segment
from maskgen.trace.assemble import Curve, end_moved, ends_moved, flatten_curve
from maskgen.trace.cracks import Arc, CrackGraph, Side
from maskgen.trace.evidence import Evidence
from maskgen.trace.plain import polyline, with_few_corners
from maskgen.trace.strands import (
    Approach,
    Strand,
    approach,
    join,
    leaving_sides,
    meeting_point,
    pair_through,
    side_evidence,
)
from maskgen.trace.synthesis import bernstein

Floats = NDArray[np.float64]

BARE_PX = 1.0
"""Evidence closer than this to the end of a strand is left out: three colours share those pixels."""
DOUBTFUL_PX = 0.4
"""Evidence with a larger standard deviation is left out where better evidence is near."""
STRAYING_PX = 2.0
"""A fit further than this from all its places is not one: the bow of a corner over left out places is less."""
SAMPLES = 24
"""Places tried on each segment when a junction is put on a strand; refined by parabola."""
SPOT_PX = 0.25
"""Distance of places all along a curve."""
SHARE_SLACK, SLACK_PX = 0.08, 5.0
"""How far along a curve a junction may be from where its share of the cracks puts it: diagonals have more cracks."""
LEAST_CUT = 0.02
"""A cut so close to a node of the strand (share of a segment) takes the node."""


@dataclass(slots=True, eq=False)
class Cut:
    """Where a junction lies on a strand: segment number and parameter."""

    junction: int
    segment: int
    t: float


@dataclass(slots=True, eq=False)
class Course:
    """A strand with its curve and the junctions on it, in order; a closed strand with junctions starts at one."""

    strand: Strand
    curve: Curve
    cuts: list[Cut]
    start: int
    end: int


def fit_courses(
    graph: CrackGraph, evidence: Sequence[Evidence | None], *, tolerance: float
) -> tuple[list[Course], Floats]:
    """Fit every strand; give the courses and the places of the junctions, (k, 2)."""
    places, pairs = _junctions(graph, evidence)
    courses = []
    for strand in join(graph, pairs):
        strand = _turned(graph, strand)
        curve = _fit_strand(graph, evidence, strand, places, tolerance)
        inner = [_head(graph, side) for side in (strand.sides if strand.closed else strand.sides[:-1])]
        if strand.closed and inner[0] >= 0:
            curve = rolled(curve, *nearest(curve, places[inner[-1]]))
        share = _shares(graph, strand)
        cuts = [Cut(j, *nearest(curve, places[j], share=f)) for j, f in zip(inner, share, strict=False) if j >= 0]
        if strand.closed and cuts:
            cuts[-1] = Cut(cuts[-1].junction, len(curve) - 1, 1.0)
        for cut in cuts:
            places[cut.junction] = at(curve[cut.segment], cut.t)
        start, end = (-1, -1) if strand.closed else _ends(graph, strand)
        courses.append(Course(strand, curve, cuts, start, end))
    return courses, places


def cut_arcs(graph: CrackGraph, courses: Sequence[Course], places: Floats) -> list[Curve]:
    """Give the curve of every arc, in the direction of its points, ends exactly on the junctions."""
    curves: list[Curve | None] = [None] * len(graph.arcs)
    for course in courses:
        parts = _cut(course)
        for side, curve in zip(course.strand.sides, parts, strict=True):
            curves[side.arc] = curve if side.forward else _reversed(curve)
    return [_pinned(arc, curves[number], places) for number, arc in enumerate(graph.arcs)]


def _junctions(graph: CrackGraph, evidence: Sequence[Evidence | None]) -> tuple[Floats, list[tuple[Side, Side]]]:
    """Place every junction below the pixel; give the pairs of sides that run on into each other."""
    places = graph.junctions.astype(np.float64)
    pairs: list[tuple[Side, Side]] = []
    for number, sides in enumerate(leaving_sides(graph)):
        junction = places[number].copy()
        inner = [s for s in sides if not graph.arcs[s.arc].on_border]
        courses = []
        for side in inner:
            arc = graph.arcs[side.arc]
            points, sigma = side_evidence(evidence, side)
            far_end = arc.points[-1 if side.forward else 0].astype(np.float64)
            if len(arc.points) == 2 or np.array_equal(far_end, junction):
                far_end = arc.points.mean(axis=0)
            courses.append(approach(side, points, sigma, junction, far_end))
        if len(inner) < len(sides):
            places[number] = _on_edge(graph, junction, courses)
        elif courses:
            places[number] = meeting_point(courses, junction)
            pairs += pair_through(courses)
    return places, pairs


def _on_edge(graph: CrackGraph, junction: Floats, courses: Sequence[Approach]) -> Floats:
    """Where a boundary leaves the canvas: its course cut with the edge."""
    size = np.array([graph.width, graph.height], dtype=np.float64)
    fixed = (junction == 0) | (junction == size)
    if fixed.all() or not courses:
        return junction
    free = int(np.flatnonzero(~fixed)[0])
    course = courses[0]
    run = float(course.outward[1 - free])
    place = junction.copy()
    if abs(run) > 0.2 and len(courses) == 1:
        step = (junction[1 - free] - course.origin[1 - free]) / run
        at = course.origin[free] + step * course.outward[free]
        place[free] = np.clip(at, junction[free] - 1.0, junction[free] + 1.0).clip(0.0, size[free])
    return place


def _fit_strand(
    graph: CrackGraph,
    evidence: Sequence[Evidence | None],
    strand: Strand,
    places: Floats,
    tolerance: float,
) -> Curve:
    parts = [side_evidence(evidence, side) for side in strand.sides]
    points = np.concatenate([p for p, _ in parts])
    sigma = np.concatenate([s for _, s in parts])
    keep = _worth_keeping(points, sigma)
    if strand.closed:
        if keep.sum() < 4:
            arc = graph.arcs[strand.sides[0].arc]
            middles = 0.5 * (arc.points[:-1] + arc.points[1:])
            return polyline(np.vstack([middles, middles[:1]]))
        fitted = fit_closed(points[keep], sigma=sigma[keep], tolerance=tolerance).segments
        return _trusted(fitted, np.vstack([points[keep], points[keep][:1]]), _cracks(graph, strand))
    start, end = _ends(graph, strand)
    first, last = places[start], places[end]
    keep &= np.hypot(*(points - first).T) > BARE_PX
    keep &= np.hypot(*(points - last).T) > BARE_PX
    run = np.vstack([first, points[keep], last])
    spread = np.concatenate([[0.05], sigma[keep], [0.05]])
    if len(run) == 2 and start == end:
        return polyline(np.vstack([first, points, last]))
    fitted = fit_open(run, sigma=spread, tolerance=tolerance)
    return _trusted(fitted, run, _cracks(graph, strand))


def _cracks(graph: CrackGraph, strand: Strand) -> Floats:
    """Lattice points along a strand."""
    parts = [graph.arcs[s.arc].points if s.forward else graph.arcs[s.arc].points[::-1] for s in strand.sides]
    return np.concatenate(parts).astype(np.float64)


def _trusted(fitted: Curve, run: Floats, cracks: Floats) -> Curve:
    """Give the fit, with lines of few corners where it strays from its places and cracks."""
    if not fitted:
        return polyline(with_few_corners(run))
    near = shapely.MultiLineString([run, cracks])
    if shapely.distance(shapely.points(flatten_curve(fitted, 0.1)), near).max() < STRAYING_PX:
        return fitted
    curve = fitted
    places, _, marks = spots_along(curve)
    apart = shapely.distance(shapely.points(places), near)
    if curve[0].start == curve[-1].end:  # begin where it is good
        curve = rolled(curve, *mark_place(marks[int(np.argmin(apart))]))
        places, _, marks = spots_along(curve)
        apart = shapely.distance(shapely.points(places), near)
        run = np.roll(run[:-1], -int(np.argmin(np.hypot(*(run[:-1] - places[0]).T))), axis=0)
        run = np.vstack([run, run[:1]])
    stray = np.flatnonzero(apart > 0.5 * STRAYING_PX)
    groups = [g for g in np.split(stray, np.flatnonzero(np.diff(stray) > 1) + 1) if apart[g].max() >= STRAYING_PX]
    for group in reversed(groups):  # from the end, so that marks stay right
        first, last = max(group[0] - 1, 0), min(group[-1] + 1, len(marks) - 1)
        inner = [mark_place(marks[k]) for k in (first, last) if 0 < k < len(marks) - 1]
        if not inner:
            return polyline(with_few_corners(run))
        parts = split(curve, inner)
        head = parts.pop(0) if first > 0 else ()
        tail = parts.pop() if last < len(marks) - 1 else ()
        low, high = (int(np.argmin(np.hypot(*(run - places[k]).T))) for k in (first, last))
        between = run[low if first == 0 else low + 1 : high if last < len(marks) - 1 else high + 1]
        start, end = (head[-1].end if head else run[0]), (tail[0].start if tail else run[-1])
        curve = (*head, *polyline(with_few_corners(np.vstack([start, between, end]))), *tail)
    return curve


def mark_place(mark: float) -> tuple[int, float]:
    """Segment number and parameter of a mark; the end of a segment rather than the start of the next."""
    number = int(mark)
    return (number - 1, 1.0) if mark == number and number else (number, mark - number)


def _worth_keeping(points: Floats, sigma: Floats) -> NDArray[np.bool_]:
    """Good places, and doubtful ones that are all there is within two pixels along the arc."""
    good = sigma < DOUBTFUL_PX
    if good.all() or not good.any():
        return np.ones(len(points), dtype=bool)
    index = np.flatnonzero(good)
    at = np.arange(len(points))
    after = np.searchsorted(index, at)
    ahead = index[after.clip(max=len(index) - 1)]
    behind = index[(after - 1).clip(min=0)]
    near = np.minimum(np.abs(ahead - at), np.abs(behind - at))
    return np.asarray(good | (near > 2))


def _ends(graph: CrackGraph, strand: Strand) -> tuple[int, int]:
    first, last = strand.sides[0], strand.sides[-1]
    start = graph.arcs[first.arc].start if first.forward else graph.arcs[first.arc].end
    end = graph.arcs[last.arc].end if last.forward else graph.arcs[last.arc].start
    return start, end


def _turned(graph: CrackGraph, strand: Strand) -> Strand:
    """Let a closed strand end with its longest side, so that no other junction is near its seam."""
    if not strand.closed:
        return strand
    lengths = [len(graph.arcs[side.arc].points) for side in strand.sides]
    first = (int(np.argmax(lengths)) + 1) % len(lengths)
    return Strand(strand.sides[first:] + strand.sides[:first], True)


def _shares(graph: CrackGraph, strand: Strand) -> Floats:
    """Share of a strand's cracks passed at the end of each of its sides."""
    lengths = np.cumsum([len(graph.arcs[side.arc].points) - 1 for side in strand.sides])
    return np.asarray(lengths / lengths[-1])


def _cut(course: Course) -> list[Curve]:
    strand, whole = course.strand, course.curve
    marks = [c.segment + c.t for c in course.cuts]
    if strand.closed and marks:
        marks = marks[:-1]
    if not marks:
        return [whole]
    marks = _spaced(marks, float(len(whole)))
    cuts = []
    for mark in marks:
        segment = min(int(mark), len(whole) - 1)
        t = mark - segment
        cuts.append((segment - 1, 1.0) if t == 0.0 and segment else (segment, t))
    return split(whole, cuts)


def _spaced(marks: Sequence[float], end: float) -> list[float]:
    """Put marks that are out of order just after one another."""
    least = LEAST_CUT / 4
    room = [min(mark, end - least * (len(marks) - k)) for k, mark in enumerate(marks)]
    spaced: list[float] = []
    for mark in room:
        spaced.append(max(mark, (spaced[-1] if spaced else 0.0) + least))
    return spaced


def _head(graph: CrackGraph, side: Side) -> int:
    arc = graph.arcs[side.arc]
    return arc.end if side.forward else arc.start


def nearest(curve: Curve, place: Floats, *, share: float | None = None) -> tuple[int, float]:
    """Segment number and parameter of the nearest place on a curve; close to a node, the node.

    With `share`, only about that share of the way along the curve: it may pass the place again elsewhere.
    """
    t = np.linspace(0.0, 1.0, SAMPLES + 1)
    spots = np.concatenate([_points(segment, t) for segment in curve])
    apart = np.hypot(*(spots - place).T)
    if share is not None:
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(spots, axis=0).T))])
        slack = SHARE_SLACK * along[-1] + SLACK_PX
        apart = np.where(np.abs(along - share * along[-1]) <= slack, apart, apart + slack)
    number, k = divmod(int(np.argmin(apart)), SAMPLES + 1)
    fine = np.linspace(t[max(k - 1, 0)], t[min(k + 1, SAMPLES)], 2 * SAMPLES + 1)
    at_best = float(fine[int(np.argmin(np.hypot(*(_points(curve[number], fine) - place).T)))])
    if at_best < LEAST_CUT:
        return (number - 1, 1.0) if number else (0, 0.0)
    return (number, 1.0) if at_best > 1.0 - LEAST_CUT else (number, at_best)


def spots_along(curve: Curve) -> tuple[Floats, Floats, Floats]:
    """Places all along a curve (n, 2), the length up to each, and its mark: segment number + parameter."""
    places, marks = [np.array([curve[0].start])], [np.zeros(1)]
    for number, segment in enumerate(curve):
        count = max(SAMPLES, int(np.hypot(*np.subtract(segment.end, segment.start)) / SPOT_PX))
        t = np.arange(1, count + 1) / count
        places.append(_points(segment, t))
        marks.append(number + t)
    joined = np.vstack(places)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(joined, axis=0).T))])
    return joined, along, np.concatenate(marks)


def _points(segment: Segment, t: Floats) -> Floats:
    if isinstance(segment, Line):
        control = np.array([segment.start, segment.end])
        return np.asarray((1 - t)[:, None] * control[0] + t[:, None] * control[1])
    p = np.array([segment.start, segment.control1, segment.control2, segment.end])
    return np.asarray(bernstein(t) @ p)


def at(segment: Segment, t: float) -> Floats:
    """Place on a segment; its ends exactly."""
    if t == 1.0:
        return np.array(segment.end)
    if t == 0.0:
        return np.array(segment.start)
    return np.asarray(_points(segment, np.array([t]))[0])


def split_segment(segment: Segment, t: float) -> tuple[Segment, Segment]:
    """Cut one segment by de Casteljau's construction."""
    place = point(at(segment, t))
    if isinstance(segment, Line):
        return Line(segment.start, place), Line(place, segment.end)
    p = np.array([segment.start, segment.control1, segment.control2, segment.end])
    q = (1 - t) * p[:-1] + t * p[1:]
    r = (1 - t) * q[:-1] + t * q[1:]
    return (
        Cubic(segment.start, point(q[0]), point(r[0]), place),
        Cubic(place, point(r[1]), point(q[2]), segment.end),
    )


def point(p: Floats) -> Point:
    """Give a place as plain numbers."""
    return float(p[0]), float(p[1])


def rolled(whole: Curve, number: int, t: float) -> Curve:
    """Let a closed curve start at a place on it."""
    if t == 1.0:
        return whole[number + 1 :] + whole[: number + 1]
    if t == 0.0:
        return whole[number:] + whole[:number]
    first, second = split_segment(whole[number], t)
    return (second, *whole[number + 1 :], *whole[:number], first)


def split(whole: Curve, cuts: Sequence[tuple[int, float]]) -> list[Curve]:
    """Cut a curve at places in order: segment number, parameter above 0."""
    parts: list[Curve] = []
    current: list[Segment] = []
    queue = list(cuts)
    for number, segment in enumerate(whole):
        rest, used = segment, 0.0
        while queue and queue[0][0] == number:
            t = queue.pop(0)[1]
            if 0.0 < t < 1.0:
                first, rest = split_segment(rest, (t - used) / (1.0 - used))
                used = t
                current.append(first)
            elif t == 1.0:
                current.append(rest)
                used = 1.0
            parts.append(tuple(current))
            current = []
        if used < 1.0:
            current.append(rest)
    parts.append(tuple(current))
    return parts


def _pinned(arc: Arc, curve: Curve | None, places: Floats) -> Curve:
    """Move the ends of an arc's curve exactly onto its junctions."""
    if arc.closed:
        assert curve is not None
        last = curve[-1]
        start = curve[0].start
        closing: Segment = end_moved(last, last.start, start)
        return (*curve[:-1], closing)
    start, end = point(places[arc.start]), point(places[arc.end])
    return (Line(start, end),) if curve is None else ends_moved(curve, start, end)


def _reversed(curve: Curve) -> Curve:
    return tuple(s.reversed() for s in reversed(curve))
