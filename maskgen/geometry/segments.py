"""Lines and cubics one at a time: points on them, parts of them, where two cross, circles made of them."""

from __future__ import annotations

import math

import numpy as np

from maskgen.model.paths import Cubic, Line, Point, Points, Ring, Segment

CROSSING_STEPS = 12
"""Newton's method doubles its digits: from the crossing of two chords twelve steps are plenty, or hopeless."""

CIRCLE_SPANS = 8
"""Cubics per circle: with the handles below the outline lies within 3e-6 radii of it."""


def canonical(segment: Segment) -> Segment:
    """Turn a segment so that both ways of walking it give the same value (the way `flatten_segment` walks it)."""
    if segment.end < segment.start:
        return segment.reversed()
    if segment.end == segment.start and isinstance(segment, Cubic) and segment.control2 < segment.control1:
        return segment.reversed()
    return segment


def _control(segment: Segment) -> Points:
    if isinstance(segment, Line):
        return np.array([segment.start, segment.end], dtype=np.float64)
    return np.array([segment.start, segment.control1, segment.control2, segment.end], dtype=np.float64)


def point_at(segment: Segment, t: float) -> Point:
    """Give the point at parameter `t`; 0 and 1 give the ends to the bit."""
    if t == 0.0:
        return segment.start
    if t == 1.0:
        return segment.end
    control = _control(segment)
    while len(control) > 1:
        control = control[:-1] + t * (control[1:] - control[:-1])
    return (float(control[0, 0]), float(control[0, 1]))


def slope_at(segment: Segment, t: float) -> Point:
    """Give the derivative by the parameter."""
    control = _control(segment)
    degree = len(control) - 1
    control = degree * np.diff(control, axis=0)
    while len(control) > 1:
        control = control[:-1] + t * (control[1:] - control[:-1])
    return (float(control[0, 0]), float(control[0, 1]))


def part_of(segment: Segment, t0: float, t1: float, start: Point, end: Point) -> Segment:
    """Give the stretch from near `t0` to near `t1` whose ends are `start` and `end`, points on the segment."""
    if isinstance(segment, Line):
        return Line(start, end)
    if t0 == 0.0 and t1 == 1.0 and segment.start == start and segment.end == end:
        return segment
    t0, t1 = (t if t in (0.0, 1.0) else _parameter_of(segment, t, p) for t, p in ((t0, start), (t1, end)))
    if not t0 < t1:
        return Line(start, end)  # shorter than the parameters can tell
    control = _control(segment)
    control = _split(control, t1)[0] if t1 < 1.0 else control
    control = _split(control, t0 / t1)[1] if t0 > 0.0 else control
    # The handles move with their ends, so that the direction there stays.
    first, second = control[1] + (np.array(start) - control[0]), control[2] + (np.array(end) - control[3])
    return Cubic(start, (float(first[0]), float(first[1])), (float(second[0]), float(second[1])), end)


def _parameter_of(segment: Segment, t: float, point: Point) -> float:
    """Give the parameter near `t` of a point on the segment."""
    for _ in range(CROSSING_STEPS):
        (px, py), (dx, dy) = point_at(segment, t), slope_at(segment, t)
        speed = dx * dx + dy * dy
        step = ((point[0] - px) * dx + (point[1] - py) * dy) / speed if speed else 0.0
        t = min(max(t + step, 0.0), 1.0)
        if abs(step) < 1e-15:
            break
    return t


def _split(control: Points, t: float) -> tuple[Points, Points]:
    """Split a cubic in two (de Casteljau)."""
    levels = [control]
    while len(levels[-1]) > 1:
        levels.append(levels[-1][:-1] + t * (levels[-1][1:] - levels[-1][:-1]))
    return np.array([level[0] for level in levels]), np.array([level[-1] for level in levels[::-1]])


def crossing(first: Segment, t: float, second: Segment, u: float, *, within: float) -> Point | None:
    """Give the point where two segments cross near `t` and `u`; None where they do not meet cleanly.

    `within` is how far either may lie from the chords whose crossing was taken as a first guess: the true crossing is
    looked for no farther than that makes possible at the angle they cross at.
    """
    guess = point_at(first, t)
    for _ in range(CROSSING_STEPS):
        (px, py), (qx, qy) = point_at(first, t), point_at(second, u)
        (ax, ay), (bx, by) = slope_at(first, t), slope_at(second, u)
        dx, dy = qx - px, qy - py
        turn = ay * bx - ax * by
        steepness = abs(turn) / max(math.hypot(ax, ay) * math.hypot(bx, by), 1e-300)
        if steepness < 1e-6:
            return None
        if math.hypot(dx, dy) < 1e-13:
            break
        t += (dy * bx - dx * by) / turn
        u += (ax * dy - ay * dx) / turn
        if not (-0.1 < t < 1.1 and -0.1 < u < 1.1):
            return None
    (px, py), (qx, qy) = point_at(first, t), point_at(second, u)
    met = math.hypot(qx - px, qy - py) < 1e-9 and -1e-9 < t < 1 + 1e-9 and -1e-9 < u < 1 + 1e-9
    return (px, py) if met and math.hypot(px - guess[0], py - guess[1]) < 4 * within / steepness else None


def circle(centre: Point, diameter: float, *, spans: int = CIRCLE_SPANS) -> Ring:
    """Make a circle of cubics whose area is exactly that of the circle; an outer ring (positive area)."""
    radius = diameter / 2
    step = 2 * math.pi / spans
    handle = _handle_of_equal_area(step)
    segments = []
    corners = [(centre[0] + radius * math.cos(k * step), centre[1] + radius * math.sin(k * step)) for k in range(spans)]
    for k in range(spans):
        a, b = k * step, (k + 1) * step
        start, end = corners[k], corners[(k + 1) % spans]
        control1 = (start[0] - handle * radius * math.sin(a), start[1] + handle * radius * math.cos(a))
        control2 = (end[0] + handle * radius * math.sin(b), end[1] - handle * radius * math.cos(b))
        segments.append(Cubic(start, control1, control2, end))
    return Ring(tuple(segments))


def _handle_of_equal_area(angle: float) -> float:
    """Give the handle length of a unit arc's cubic under which lies exactly the area of the sector.

    For the arc from (1, 0) with handles h along its tangents, Green's theorem gives
    (10 sin a + 12 h (1 - cos a) - 3 h^2 sin a) / 20; set to a / 2, the smaller root is the handle.
    """
    rise, sine = 1.0 - math.cos(angle), math.sin(angle)
    return (12.0 * rise - math.sqrt(144.0 * rise**2 - 120.0 * sine * (angle - sine))) / (6.0 * sine)
