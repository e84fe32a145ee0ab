"""Where the knife may begin a closed line: on a straight or gentle stretch, away from corners.

A joint shows least, and lifts least in weeding, where the knife runs straight through it (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.model.paths import Cubic, Line, Point, Points, Ring, Segment, flatten_segment

CHORD_MM = 0.005
"""Chord error when the turning of a line is measured."""

REACH_MM = 1.0
REACH_SHARE = 0.1
"""How far on both sides of a start the line shall run on gently; on small rings a share of their length."""

CORNER_RAD = np.radians(20.0)
CORNER_SHARE = 0.15
"""A corner is where the line turns by more than this within so small a share of the reach to either side."""

GENTLE_RAD = np.radians(12.0)
SLACK = 1.25
"""Turning within reach that counts as gentle; where no stretch is, this much over the least there is."""

STEP_MM = 0.5
"""Straight runs offer a start about this often; shorter ones only at their node."""

MOST = 12
MOST_OFFERS = 50
"""Starts kept per ring, spread along it: enough to shorten the route between rings; and looked at per run."""

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
    straight = np.array([isinstance(segment, Line) for segment in ring.segments])[segments]
    chord, share = _offers(lengths, times, straight)
    along = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])[chord] + share * lengths[chord]
    bends = _Bends.of(ahead, lengths, reach=min(REACH_MM, REACH_SHARE * total))
    clear = bends.off_corners(along)
    good = clear[bends.gentle(along[clear])]
    whole = straight[chord[good]] | (times[chord[good]] + share[good] == 0.0)
    good = good[whole] if whole.any() else good  # a curve that is an arc stays one when it is not split
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
    corners: list[Sequence[float]] = []
    ends = [0]
    for segment in ring.segments:
        corners.append(segment.start)
        if isinstance(segment, Cubic):
            corners.extend(flatten_segment(segment, CHORD_MM)[:-1].tolist())
        ends.append(len(corners))
    count = np.diff(ends)
    segments = np.repeat(np.arange(len(count)), count)
    spans = 1.0 / count[segments]
    times = (np.arange(len(corners)) - np.array(ends)[segments]) * spans
    return np.array(corners), segments, times, spans


def _offers(lengths: Floats, times: Floats, straight: NDArray[np.bool_]) -> tuple[NDArray[np.intp], Floats]:
    """Give places to try, chord and share of it: every node, long runs about every step, within every curve."""
    count = np.clip(np.rint(lengths / STEP_MM), np.where(straight, 0, 1), MOST_OFFERS).astype(np.intp)
    chord = np.repeat(np.arange(len(lengths)), count)
    nth = np.arange(len(chord)) - np.repeat(np.cumsum(count) - count, count)
    nodes = np.flatnonzero(times == 0.0)
    chord, share = np.concatenate([chord, nodes]), np.concatenate([(nth + 0.5) / count[chord], np.zeros(len(nodes))])
    order = np.lexsort((share, chord))
    return chord[order], share[order]


@dataclass(frozen=True, slots=True, eq=False)
class _Bends:
    """Where along a ring, three times round, it turns, and by how much in all up to there; how far a start reaches."""

    places: Floats
    summed: Floats
    total: float
    reach: float

    @classmethod
    def of(cls, ahead: Points, lengths: Floats, *, reach: float) -> _Bends:
        runs = lengths > 0
        heading = np.arctan2(ahead[runs, 1], ahead[runs, 0])
        turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
        at, total = (np.cumsum(lengths) - lengths)[runs], float(lengths.sum())
        summed = np.concatenate([[0.0], np.cumsum(np.tile(turn, 3))])
        return cls(np.concatenate([at - total, at, at + total]), summed, total, reach)

    def turning(self, along: Floats, reach: float) -> Floats:
        """Sum of the angles the line turns by within reach of each place."""
        high = np.searchsorted(self.places, along + reach, side="right")
        low = np.searchsorted(self.places, along - reach, side="left")
        return np.asarray(self.summed[high] - self.summed[low])

    def off_corners(self, along: Floats) -> NDArray[np.intp]:
        """Which places keep the reach from every corner; where none does, which keep furthest away."""
        corners = self.places[self.turning(self.places, CORNER_SHARE * self.reach) > CORNER_RAD]
        if not len(corners):
            return np.arange(len(along))
        after = np.searchsorted(corners, along).clip(1, len(corners) - 1)
        away = np.minimum(np.abs(corners[after - 1] - along), np.abs(corners[after] - along))
        return np.flatnonzero(away >= min(self.reach, 0.9 * float(away.max())))

    def gentle(self, along: Floats) -> NDArray[np.intp]:
        """Which places lie on a gentle stretch; where none does, which come nearest."""
        turning = self.turning(along, self.reach)
        return np.flatnonzero(turning <= max(float(GENTLE_RAD), SLACK * float(turning.min()) + 1e-9))


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
