"""One cubic as its control points (4, 2): places on it, slopes, parts of it."""

from __future__ import annotations

import math

import numpy as np

from maskgen.model.paths import Cubic, Line, Points, Segment

MOST_TURN = math.radians(60.0)
"""A part that turns further is split once more by `gentle_parts`."""
DEEPEST = 9
"""How often a cubic is halved at the most."""


def control_of(segment: Segment) -> Points:
    """Give a segment as a cubic's control points."""
    if isinstance(segment, Cubic):
        return np.array([segment.start, segment.control1, segment.control2, segment.end])
    a, b = np.array(segment.start), np.array(segment.end)
    return np.array([a, a + (b - a) / 3, a + (b - a) * 2 / 3, b])


def to_segment(control: Points) -> Cubic:
    """Give control points as a segment."""
    a, b, c, d = ((float(x), float(y)) for x, y in control)
    return Cubic(a, b, c, d)


def points_on(control: Points, t: Points) -> Points:
    """Give the places (n, 2) at parameters (n,)."""
    t = t[:, None]
    weights = np.hstack([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3])
    value: Points = weights @ control
    return value


def slopes_on(control: Points, t: Points) -> Points:
    """Give the derivatives (n, 2) by the parameter, at parameters (n,)."""
    t = t[:, None]
    legs = np.diff(control, axis=0)
    value: Points = 3 * ((1 - t) ** 2 * legs[0] + 2 * t * (1 - t) * legs[1] + t**2 * legs[2])
    return value


def between(control: Points, t0: float, t1: float) -> Points:
    """Give the part of a cubic between two parameters (blossoming)."""

    def blossom(a: float, b: float, c: float) -> Points:
        level = control
        for t in (a, b, c):
            level = level[:-1] + t * (level[1:] - level[:-1])
        result: Points = level[0]
        return result

    return np.array([blossom(t0, t0, t0), blossom(t0, t0, t1), blossom(t0, t1, t1), blossom(t1, t1, t1)])


def halves(control: Points) -> tuple[Points, Points]:
    """Split a cubic at the middle of its parameter."""
    return between(control, 0.0, 0.5), between(control, 0.5, 1.0)


def gentle_parts(segment: Segment, depth: int = DEEPEST) -> list[Segment]:
    """Split a cubic until no part turns far."""
    if isinstance(segment, Line):
        return [segment]
    control = np.array([segment.start, segment.control1, segment.control2, segment.end])
    legs = np.diff(control, axis=0)
    legs = legs[np.hypot(*legs.T) > 0]
    turn = np.abs(_turns(legs)).sum() if len(legs) > 1 else 0.0
    if turn <= MOST_TURN:
        return [segment]
    if depth == 0:
        return [Line(segment.start, segment.end)] if segment.start != segment.end else []
    left, right = halves(control)
    return gentle_parts(to_segment(left), depth - 1) + gentle_parts(to_segment(right), depth - 1)


def _turns(legs: Points) -> Points:
    a, b = legs[:-1], legs[1:]
    turn: Points = np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.einsum("ij,ij->i", a, b))
    return turn
