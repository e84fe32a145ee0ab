"""Where the knife may begin a closed line: on a straight or gentle stretch, away from corners.

A joint shows least, and lifts least in weeding, where the knife runs straight through it (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.model.paths import Cubic, Line, Point, Points, Ring, Segment, flatten_segment

CHORD_MM = 0.005
"""Chord error when the turning of a line is measured."""

REACH_MM = 1.0
REACH_SHARE = 0.1
"""How far on both sides of a start the line shall run on gently; on small rings a share of their length."""

GENTLE_RAD = np.radians(12.0)
SLACK = 1.25
"""Turning within reach that counts as gentle; where no stretch is, this much over the least there is."""

STEP_MM = 3.0
SHORT_MM = 0.5
"""Long runs offer a start at least this often; runs shorter than the second are not split but begun at their node."""

MOST = 12
"""Starts kept per ring, spread along it: enough to shorten the route between rings."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Start:
    """A place on a ring: on which segment, how far along it (0 to 1), and where that is."""

    segment: int
    t: float
    point: Point


def start_points(ring: Ring) -> tuple[Start, ...]:
    """Give the places where the knife may begin, at least one, in their order along the ring."""
    corners, segments, times, spans = _chords(ring)
    ahead = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(*ahead.T)
    total = float(lengths.sum())
    if total <= 0.0:
        return (Start(0, 0.0, ring.segments[0].start),)
    chord, share = _offers(lengths, times)
    along = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])[chord] + share * lengths[chord]
    turning = _turning(ahead, lengths, along, reach=min(REACH_MM, REACH_SHARE * total))
    limit = max(float(GENTLE_RAD), SLACK * float(turning.min()) + 1e-9)
    good = np.flatnonzero(turning <= limit)
    kept = good[_spread(along[good], total)]
    on, at = segments[chord[kept]].tolist(), (times[chord] + share * spans[chord])[kept].tolist()
    return tuple(Start(k, t, _point_on(ring.segments[k], t)) for k, t in zip(on, at, strict=True))


def started_at(ring: Ring, start: Start) -> Ring:
    """Give the same ring begun at a start, its segment split there."""
    before, after = _split(ring.segments[start.segment], start.t)
    head, tail = ring.segments[: start.segment], ring.segments[start.segment + 1 :]
    return Ring((*after, *tail, *head, *before))


def _chords(ring: Ring) -> tuple[Points, NDArray[np.intp], Floats, Floats]:
    """Give for every chord its start, its segment, and from where along the segment it runs how far."""
    corners, segments, times, spans = [], [], [], []
    for index, segment in enumerate(ring.segments):
        ends = flatten_segment(segment, CHORD_MM)
        count = len(ends)
        corners.append(np.vstack([[segment.start], ends[:-1]]))
        segments.append(np.full(count, index))
        times.append(np.arange(count) / count)
        spans.append(np.full(count, 1.0 / count))
    return np.vstack(corners), np.concatenate(segments), np.concatenate(times), np.concatenate(spans)


def _offers(lengths: Floats, times: Floats) -> tuple[NDArray[np.intp], Floats]:
    """Give places to try, chord and share of it: mid chord, several on a long chord, the node of a short segment."""
    count = np.clip(np.rint(lengths / STEP_MM), 1, MOST).astype(np.intp)
    chord = np.repeat(np.arange(len(lengths)), count)
    nth = np.arange(len(chord)) - np.repeat(np.cumsum(count) - count, count)
    share = (nth + 0.5) / count[chord]
    at_node = (lengths[chord] < SHORT_MM) & (times[chord] == 0.0)
    return chord, np.where(at_node, 0.0, share)


def _turning(ahead: Points, lengths: Floats, along: Floats, *, reach: float) -> Floats:
    """Sum of the angles the line turns by within reach of each place."""
    runs = lengths > 0
    heading = np.arctan2(ahead[runs, 1], ahead[runs, 0])
    turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
    at = (np.cumsum(lengths) - lengths)[runs]
    total = lengths.sum()
    places = np.concatenate([at - total, at, at + total])
    summed = np.concatenate([[0.0], np.cumsum(np.tile(turn, 3))])
    high = np.searchsorted(places, along + reach, side="right")
    low = np.searchsorted(places, along - reach, side="left")
    return np.asarray(summed[high] - summed[low])


def _spread(along: Floats, total: float) -> NDArray[np.intp]:
    """Choose at most `MOST` places, one in each equal stretch of the ring."""
    if len(along) <= MOST:
        return np.arange(len(along))
    return np.unique(np.floor(along / total * MOST), return_index=True)[1]


def _point_on(segment: Segment, t: float) -> Point:
    return _split(segment, t)[1][0].start if t > 0.0 else segment.start


def _split(segment: Segment, t: float) -> tuple[tuple[Segment, ...], tuple[Segment, ...]]:
    """Split a segment (de Casteljau); nothing before when `t` is 0."""
    if t <= 0.0:
        return (), (segment,)
    if isinstance(segment, Line):
        middle = _between(segment.start, segment.end, t)
        return (Line(segment.start, middle),), (Line(middle, segment.end),)
    a = _between(segment.start, segment.control1, t)
    b = _between(segment.control1, segment.control2, t)
    c = _between(segment.control2, segment.end, t)
    ab, bc = _between(a, b, t), _between(b, c, t)
    middle = _between(ab, bc, t)
    return (Cubic(segment.start, a, ab, middle),), (Cubic(middle, bc, c, segment.end),)


def _between(a: Point, b: Point, t: float) -> Point:
    return a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t
