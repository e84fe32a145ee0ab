"""Lines that cross themselves, and pieces that overlap partly.

A line crosses itself where two of its chords cross, or where it runs through one point twice from side to side; loops
smaller than `NOISE_MM` are rounding. Two lines overlap partly when what they share and what each has alone are all
wider than `NOISE_MM`: a shared edge, a copy, or one inside the other is no overlap.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from maskgen.check.lines import CutLine
from maskgen.check.near import Chords
from maskgen.model.paths import Point

NOISE_MM = 0.006
"""Just over the distance within which two lines count as one."""
SAME_PLACE_MM = 0.05
MOST_OVERLAPS = 5_000

Indices = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Crossing:
    """A place where lines cross: both numbers the same when a line crosses itself."""

    first: int
    second: int
    at: Point


def self_crossings(chords: Chords, pairs: Indices) -> tuple[Crossing, ...]:
    """Find where lines cross themselves, each place once."""
    own = pairs[chords.line[pairs[:, 0]] == chords.line[pairs[:, 1]]]
    own = own[~_adjoining(chords, own)]
    points, s, t, proper = _meet(chords.ends[own[:, 0]], chords.ends[own[:, 1]])
    touching = ~proper & _through(chords, own, s, t)
    hit = proper | touching
    own, points, s, t = own[hit], points[hit], s[hit], t[hit]
    first = chords.start[own[:, 0]] + s * chords.length[own[:, 0]]
    second = chords.start[own[:, 1]] + t * chords.length[own[:, 1]]
    line = chords.line[own[:, 0]]
    loop = np.abs(second - first)
    loop = np.where(chords.closed[line], np.minimum(loop, chords.totals[line] - loop), loop)
    found: list[Crossing] = []
    for k in np.flatnonzero(loop > 2 * NOISE_MM).tolist():
        at = (float(points[k, 0]), float(points[k, 1]))
        number = int(line[k])
        if not any(c.first == number and _near(c.at, at) for c in found[-200:]):
            found.append(Crossing(number, number, at))
    return tuple(found)


def overlaps(lines: Sequence[CutLine], chords: Chords, pairs: Indices, left_out: set[int]) -> tuple[Crossing, ...]:
    """Find pairs of closed lines that overlap partly; the place is where their outlines cross."""
    a, b = chords.line[pairs[:, 0]], chords.line[pairs[:, 1]]
    allowed = np.array([line.closed and k not in left_out for k, line in enumerate(lines)], dtype=np.bool_)
    between = (a != b) & allowed[a] & allowed[b] if len(lines) else np.zeros(0, dtype=np.bool_)
    meeting = np.unique(np.sort(np.stack([a[between], b[between]], axis=1), axis=1), axis=0)
    outlines: dict[int, BaseGeometry] = {}
    found = []
    for first, second in meeting[:MOST_OVERLAPS].tolist():
        for k in (first, second):
            if k not in outlines:
                outlines[k] = lines[k].outline()
        at = _overlap(outlines[first], outlines[second])
        if at is not None:
            found.append(Crossing(first, second, at))
    return tuple(found)


def _overlap(first: BaseGeometry, second: BaseGeometry) -> Point | None:
    shared = shapely.intersection(first, second)
    if not _has_width(shared) or not _has_width(shapely.difference(first, second)):
        return None
    if not _has_width(shapely.difference(second, first)):
        return None
    wide = [part for part in shapely.get_parts(shared) if _has_width(part)]
    lens = max(wide, key=lambda part: part.area)
    corners = shapely.intersection(shapely.intersection(first.boundary, second.boundary), lens.boundary)
    points = shapely.get_coordinates(corners)
    if not len(points):
        points = shapely.get_coordinates(lens.representative_point())
    x, y = min(points.tolist(), key=lambda p: (round(p[1], 6), p[0]))
    return float(x), float(y)


def _has_width(part: BaseGeometry) -> bool:
    return bool(part.area > NOISE_MM**2) and not shapely.buffer(part, -NOISE_MM / 2, quad_segs=1).is_empty


def _adjoining(chords: Chords, pairs: Indices) -> NDArray[np.bool_]:
    """Tell chords that follow one another."""
    a, b = pairs.T
    line = chords.line[a]
    first = np.searchsorted(chords.line, np.arange(len(chords.totals)))
    last = np.searchsorted(chords.line, np.arange(len(chords.totals)), side="right") - 1
    wraps = chords.closed[line] & (a == first[line]) & (b == last[line])
    adjoining: NDArray[np.bool_] = (b - a == 1) | wraps
    return adjoining


def _meet(first: Floats, second: Floats) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
    """Give where chords meet: the point, both parameters, and whether they cross well inside both."""
    p, r = first[:, 0], first[:, 1] - first[:, 0]
    q, s = second[:, 0], second[:, 1] - second[:, 0]
    turn = r[:, 0] * s[:, 1] - r[:, 1] * s[:, 0]
    level = np.abs(turn) <= 1e-9 * np.hypot(*r.T) * np.hypot(*s.T)
    safe = np.where(level, 1.0, turn)
    d = q - p
    t = (d[:, 0] * s[:, 1] - d[:, 1] * s[:, 0]) / safe
    u = (d[:, 0] * r[:, 1] - d[:, 1] * r[:, 0]) / safe
    margin = 1e-9
    proper = ~level & (t > margin) & (t < 1 - margin) & (u > margin) & (u < 1 - margin)
    outside = level | (t < -margin) | (t > 1 + margin) | (u < -margin) | (u > 1 + margin)
    t, u = np.where(outside, np.nan, t), np.where(outside, np.nan, u)
    return p + np.nan_to_num(t)[:, None] * r, t, u, proper


def _through(chords: Chords, pairs: Indices, s: Floats, t: Floats) -> NDArray[np.bool_]:
    """Tell touches at a corner where the line runs from one side of itself to the other."""
    result = np.zeros(len(pairs), dtype=np.bool_)
    for k in np.flatnonzero(~np.isnan(s) & ~np.isnan(t)).tolist():
        ways = [_ways(chords, int(pairs[k, j]), (s, t)[j][k]) for j in (0, 1)]
        if any(way is None for way in ways):
            continue
        (in1, out1), (in2, out2) = ways  # type: ignore[misc]
        result[k] = _sector(in1, out1, in2) * _sector(in1, out1, out2) < 0
    return result


def _ways(chords: Chords, chord: int, share: float) -> tuple[Point, Point] | None:
    """Give the directions back and on from a point of a chord, across its corner where it lies on one."""
    before = after = chord
    step = chords.ends[:, 1] - chords.ends[:, 0]
    line = chords.line[chord]
    first, last = np.searchsorted(chords.line, [line, line + 1])
    if share < 1e-9:
        before = chord - 1 if chord > first else (last - 1 if chords.closed[line] else -1)
    elif share > 1 - 1e-9:
        after = chord + 1 if chord + 1 < last else (first if chords.closed[line] else -1)
    if before < 0 or after < 0:
        return None
    back, on = -step[before], step[after]
    return (float(back[0]), float(back[1])), (float(on[0]), float(on[1]))


def _sector(back: Point, on: Point, way: Point) -> int:
    """Tell on which side of a corner a direction leads: 1, -1, or 0 along it."""
    a, b, c = (np.arctan2(v[1], v[0]) for v in (back, on, way))
    corner, turn = (b - a) % (2 * np.pi), (c - a) % (2 * np.pi)
    if min(turn, 2 * np.pi - turn) < 1e-7 or abs(turn - corner) < 1e-7:
        return 0
    return 1 if turn < corner else -1


def _near(a: Point, b: Point) -> bool:
    return abs(a[0] - b[0]) < SAME_PLACE_MM and abs(a[1] - b[1]) < SAME_PLACE_MM
