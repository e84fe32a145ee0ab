"""The ink of a stroke as closed loops of lines and cubics: ribbons, joins and caps, every loop with positive area.

A point is inked when any loop holds it (the sum of their windings is above zero), so the loops may overlap freely and
no boolean operation is needed here. Sources: SVG 2, 13.5 (caps, joins, mitre limit, dashes); offsets of a cubic keep
its tangents, so a cubic with those tangents and two handle lengths by least squares is fitted to each.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from maskgen.geometry.bezier import DEEPEST, gentle_parts, halves, points_on, slopes_on, to_segment
from maskgen.model.drawing import Cap, Join, Stroke, SubPath
from maskgen.model.paths import Cubic, Line, Point, Points, Ring, Segment, signed_area
from maskgen.shape.dashes import dashed

SMOOTH_TURN = math.radians(1.0)
"""A smaller turn between segments is none: the ribbons share the rib between them."""
TIGHT_SPLITS = 3
"""How often a part that bends tighter than half the pen is halved, to keep what is too tight short."""
TIGHT_STEP = 4
"""Samples per chord on a side that is too tight."""
LEAST_SPEED = 0.02
"""Below this share of the curve's own speed its offset is about to turn back on itself."""
SAMPLES = np.linspace(0.0, 1.0, 17)

Vector = tuple[float, float]


def ink_of(subpath: SubPath, stroke: Stroke, *, tolerance: float) -> list[Ring]:
    """Give the loops of one run of the pen, in the drawing's units; offsets of curves within `tolerance` of them.

    Raises
    ------
    ValueError
        For a pen of no area (a frame that squeezes to a line), or more dashes than anybody draws.
    """
    frame = stroke.frame
    scale = math.sqrt(abs(float(np.linalg.det(frame[:, :2]))))
    if not scale > 0.0:
        raise ValueError("the pen has no width in one direction")
    back = _inverse(frame)
    local = subpath.mapped(back)
    runs = [local] if not stroke.dashes else list(dashed(local, stroke))
    loops = [loop for run in runs for loop in _run(run, stroke, tolerance / scale)]
    mapped = [loop.mapped(lambda p: _apply(frame, p)) for loop in loops]
    return [loop if signed_area(loop) > 0 else loop.reversed() for loop in mapped]


def _run(run: SubPath, stroke: Stroke, tolerance: float) -> Iterator[Ring]:
    """Draw one run without dashes, in the units of the pen."""
    half = stroke.pen_width / 2
    parts = [p for s in run.segments() for p in gentle_parts(s)]
    if not parts:
        yield from _dot(run.start, stroke.cap, half)
        return
    normals = _rib_normals(parts, closed=run.closed)
    for part, (n0, n1) in zip(parts, normals, strict=True):
        yield from _ribbon(part, n0, n1, half, tolerance)
    count = len(parts)
    for k in range(count if run.closed else count - 1):
        following = (k + 1) % count
        yield from _join(parts[k].end, normals[k][1], normals[following][0], stroke, half)
    if not run.closed:
        yield from _cap(parts[0].start, (-normals[0][0][0], -normals[0][0][1]), stroke.cap, half)
        yield from _cap(parts[-1].end, normals[-1][1], stroke.cap, half)


def _rib_normals(parts: list[Segment], *, closed: bool) -> list[tuple[Vector, Vector]]:
    """Give the unit normals at both ends of every part, made one where parts meet smoothly."""
    pairs = [[_normal(_leaving(p)), _normal(_arriving(p))] for p in parts]
    for k in range(len(parts) if closed else len(parts) - 1):
        a, b = pairs[k][1], pairs[(k + 1) % len(parts)][0]
        if abs(math.atan2(a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1])) < SMOOTH_TURN:
            both = (a[0] + b[0], a[1] + b[1])
            length = math.hypot(*both)
            pairs[k][1] = pairs[(k + 1) % len(parts)][0] = (both[0] / length, both[1] / length)
    return [(a, b) for a, b in pairs]


def _ribbon(part: Segment, n0: Vector, n1: Vector, half: float, tolerance: float) -> Iterator[Ring]:
    if isinstance(part, Line):
        corners = (
            _at(part.start, n0, half),
            _at(part.end, n1, half),
            _at(part.end, n1, -half),
            _at(part.start, n0, -half),
        )
        yield _polygon(corners)  # fmt: skip
        return
    yield from _curved_ribbon(
        np.array([part.start, part.control1, part.control2, part.end]), n0, n1, half, tolerance, TIGHT_SPLITS
    )


def _curved_ribbon(
    control: Points, n0: Vector, n1: Vector, half: float, tolerance: float, depth: int
) -> Iterator[Ring]:
    speeds = [_speeds(control, away) for away in (half, -half)]
    tight = [float(speed.min()) < LEAST_SPEED for speed in speeds]
    wholly = [float(speed.max()) < LEAST_SPEED for speed in speeds]
    if not any(tight):
        left = _offset(control, n0, n1, half, tolerance, DEEPEST)
        right = _offset(control, n0, n1, -half, tolerance, DEEPEST)
        yield _loop([*left, *(s.reversed() for s in reversed(right))])
        return
    if depth and not any(wholly):
        first, second = halves(control)
        middle = _normal(tuple(slopes_on(control, np.array([0.5]))[0]))
        yield from _curved_ribbon(first, n0, middle, half, tolerance, depth - 1)
        yield from _curved_ribbon(second, middle, n1, half, tolerance, depth - 1)
        return
    # Too tight for the inner side to stay a curve: chords there, each with its own quadrilateral.
    points, normals = (v[::TIGHT_STEP] for v in _sampled(control, n0, n1))
    for side, chords in zip((half, -half), tight, strict=True):
        if not chords:
            yield _loop([*_offset(control, n0, n1, side, tolerance, DEEPEST), to_segment(control).reversed()])
            continue
        rim = points + side * normals
        for k in range(len(points) - 1):
            a, b, c, d = (tuple(map(float, v)) for v in (points[k], points[k + 1], rim[k + 1], rim[k]))
            yield from _simple((a, b, c, d))  # type: ignore[arg-type]


def _offset(control: Points, n0: Vector, n1: Vector, away: float, tolerance: float, depth: int) -> list[Segment]:
    """Fit cubics to the curve `away` from another."""
    points, normals = _sampled(control, n0, n1)
    target = points + away * normals
    start, end = target[0], target[-1]
    along0, along1 = _unturned(n0), _unturned(n1)
    t = SAMPLES[:, None]
    b1, b2 = 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t)
    fixed = ((1 - t) ** 3 + b1) * start + (b2 + t**3) * end
    system = np.stack([(b1 * along0).ravel(), (-b2 * along1).ravel()], axis=1)
    (first, second), *_ = np.linalg.lstsq(system, (target - fixed).ravel(), rcond=None)
    fitted = np.array([start, start + first * np.array(along0), end - second * np.array(along1), end])
    drawn = points_on(fitted, np.linspace(0.0, 1.0, 65))
    if depth == 0 or (first >= 0 and second >= 0 and _distance(target, drawn) <= tolerance):
        return [to_segment(fitted)]
    left, right = halves(control)
    middle = _normal(tuple(slopes_on(control, np.array([0.5]))[0]))
    return [
        *_offset(left, n0, middle, away, tolerance, depth - 1),
        *_offset(right, middle, n1, away, tolerance, depth - 1),
    ]


def _join(at: Point, before: Vector, after: Vector, stroke: Stroke, half: float) -> Iterator[Ring]:
    cross = before[0] * after[1] - before[1] * after[0]
    dot = before[0] * after[0] + before[1] * after[1]
    if before == after:
        return
    # Turning towards a normal leaves the gap on its far side.
    side = -half if cross > 0 else half
    a, b = _at(at, before, side), _at(at, after, side)
    if stroke.join is Join.ROUND:
        if dot < -1 + 1e-12:  # straight back: a half circle ahead
            yield from _cap(at, before, Cap.ROUND, half)
            return
        arc = _arc(at, a, math.atan2(cross, dot))
        yield _loop([Line(at, a), *arc, Line(arc[-1].end, at)])
        return
    half_cosine = math.sqrt(max(0.0, (1 + dot) / 2))
    if stroke.join is Join.MITER and half_cosine > 0 and 1 / half_cosine <= stroke.miter_limit:
        middle = (before[0] + after[0], before[1] + after[1])
        reach = side / (half_cosine * math.hypot(*middle))
        yield from _simple((at, a, _at(at, middle, reach), b))
    else:
        yield from _simple((at, a, b))


def _cap(at: Point, normal: Vector, cap: Cap, half: float) -> Iterator[Ring]:
    """Draw the cap of a run that ends here with this normal."""
    a, b = _at(at, normal, half), _at(at, normal, -half)
    if cap is Cap.ROUND:
        arc = _arc(at, b, math.pi)
        yield _loop([*arc, Line(arc[-1].end, b)])
    elif cap is Cap.SQUARE:
        ahead = _unturned(normal)
        yield _polygon((a, _at(a, ahead, half), _at(b, ahead, half), b))


def _dot(at: Point, cap: Cap, half: float) -> Iterator[Ring]:
    x, y = at
    if cap is Cap.ROUND:
        yield Ring(tuple(_arc(at, (x + half, y), 2 * math.pi)))
    elif cap is Cap.SQUARE:
        yield _polygon(((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)))


def _arc(centre: Point, start: Point, turn: float) -> list[Segment]:
    """Draw a circular arc as cubics of at most a quarter turn."""
    count = max(1, math.ceil(abs(turn) / (math.pi / 2) - 1e-9))
    step = turn / count
    handle = 4 / 3 * math.tan(step / 4)
    x, y = start[0] - centre[0], start[1] - centre[1]
    segments: list[Segment] = []
    here = start
    for k in range(1, count + 1):
        cos, sin = math.cos(k * step), math.sin(k * step)
        u, v = cos * x - sin * y, sin * x + cos * y
        hx, hy = here[0] - centre[0], here[1] - centre[1]
        to = start if k == count and math.isclose(abs(turn), 2 * math.pi) else (centre[0] + u, centre[1] + v)
        first = (here[0] - handle * hy, here[1] + handle * hx)
        segments.append(Cubic(here, first, (to[0] + handle * v, to[1] - handle * u), to))
        here = to
    return segments


def _sampled(control: Points, n0: Vector, n1: Vector) -> tuple[Points, Points]:
    """Give points of a cubic and its unit normals there, those at the ends as told."""
    slope = slopes_on(control, SAMPLES)
    length = np.hypot(*slope.T)
    normals = np.stack([-slope[:, 1], slope[:, 0]], axis=1) / np.where(length > 0, length, 1.0)[:, None]
    normals[0], normals[-1] = n0, n1
    for k in np.flatnonzero(length[1:-1] == 0.0) + 1:
        normals[k] = normals[k - 1]
    return points_on(control, SAMPLES), normals


def _speeds(control: Points, away: float) -> Points:
    """Give the speeds along the curve `away` along its normals, as shares of the speed of the curve itself."""
    t = np.linspace(0.0, 1.0, 33)
    first = slopes_on(control, t)
    bend = np.diff(control, n=2, axis=0)
    second = 6 * ((1 - t)[:, None] * bend[0] + t[:, None] * bend[1])
    speed = np.hypot(*first.T)
    # A handle of no length makes the slope vanish at its end, where curvature says nothing.
    known = speed > 1e-6 * speed.max(initial=0.0)
    cross = (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])[known]
    speeds: Points = 1.0 - away * cross / speed[known] ** 3
    return speeds if len(speeds) else np.ones(1)


def _distance(points: Points, line: Points) -> float:
    """Give the largest distance of points from a polyline."""
    a, b = line[:-1], line[1:]
    along = b - a
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("pij,ij->pi", points[:, None] - a, along) / square, 0.0, 1.0)
    foot = a + share[..., None] * along
    return float(np.hypot(*np.moveaxis(points[:, None] - foot, -1, 0)).min(axis=1).max())


def _leaving(part: Segment) -> Vector:
    points = [part.end] if isinstance(part, Line) else [part.control1, part.control2, part.end]
    return next(((x - part.start[0], y - part.start[1]) for x, y in points if (x, y) != part.start), (1.0, 0.0))


def _arriving(part: Segment) -> Vector:
    x, y = _leaving(part.reversed())
    return -x, -y


def _normal(direction: Vector) -> Vector:
    length = math.hypot(*direction)
    return (-direction[1] / length, direction[0] / length) if length > 0 else (0.0, 1.0)


def _unturned(normal: Vector) -> Vector:
    return normal[1], -normal[0]


def _at(point: Point, direction: Vector, away: float) -> Point:
    return float(point[0] + away * direction[0]), float(point[1] + away * direction[1])


def _polygon(corners: tuple[Point, ...]) -> Ring:
    return Ring(tuple(Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True) if a != b))


def _simple(corners: tuple[Point, ...]) -> Iterator[Ring]:
    """Give a polygon, or where its edges cross the two triangles it is swept from."""
    if len(corners) == 4:
        a, b, c, d = corners
        first, second = _polygon((a, b, c)), _polygon((a, c, d))
        if signed_area(first) * signed_area(second) < 0:
            yield from (first if signed_area(first) > 0 else first.reversed(),
                        second if signed_area(second) > 0 else second.reversed())  # fmt: skip
            return
    yield _polygon(corners)


def _loop(segments: list[Segment]) -> Ring:
    """Close segments with a straight run on each gap."""
    closed: list[Segment] = []
    for k, segment in enumerate(segments):
        if segment.start != segment.end or isinstance(segment, Cubic):
            closed.append(segment)
        following = segments[(k + 1) % len(segments)]
        if following.start != segment.end:
            closed.append(Line(segment.end, following.start))
    return Ring(tuple(closed))


def _apply(frame: Points, point: Point) -> Point:
    x, y = point
    return (
        float(frame[0, 0] * x + frame[0, 1] * y + frame[0, 2]),
        float(frame[1, 0] * x + frame[1, 1] * y + frame[1, 2]),
    )


def _inverse(frame: Points) -> Points:
    linear = np.linalg.inv(frame[:, :2])
    inverse: Points = np.hstack([linear, -(linear @ frame[:, 2])[:, None]])
    return inverse
