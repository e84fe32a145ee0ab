"""Short runs between two corners tried as round ends: the pixels decide.

The end of a stroke with a radius of a few pixels has so few places along it that two corners and a short line can be
the cheaper description. Each such run is replaced by a cubic that meets its neighbours smoothly, everything is refined
again, and the replacement stays where it explains the pixels around it better.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from maskgen.model.artwork import FlatPicture
from maskgen.model.paths import Cubic, Line, Segment
from maskgen.trace.cracks import CrackGraph
from maskgen.trace.curves import Course, point, split_segment
from maskgen.trace.refine import misfit_near, refine

Floats = NDArray[np.float64]

LONGEST_PX = 8.0
"""Ends wider than this have evidence enough of their own."""
LEAST_TURN, LEAST_WHOLE_TURN = np.radians(25.0), np.radians(70.0)
"""Turns at each of the two corners, and together, of what may be a round end."""
AROUND_PX = 4.0
"""Pixels within this distance decide."""


def with_round_ends(
    flat: FlatPicture, graph: CrackGraph, courses: Sequence[Course], places: Floats
) -> tuple[list[Course], Floats]:
    """Give refined courses with round ends where the picture has them."""
    ends = [(n, k) for n, course in enumerate(courses) for k in _candidates(course)]
    if not ends:
        return list(courses), places
    tried, tried_places = refine(flat, graph, _rounded(courses, ends), places)
    middles = np.array([_middle(courses[n].curve[k]) for n, k in ends])
    before = misfit_near(flat, graph, courses, places, middles, AROUND_PX)
    after = misfit_near(flat, graph, tried, tried_places, middles, AROUND_PX)
    kept = [end for end, old, new in zip(ends, before, after, strict=True) if new < old]
    if len(kept) == len(ends):
        return tried, tried_places
    return refine(flat, graph, _rounded(courses, kept), places) if kept else (list(courses), places)


def _candidates(course: Course) -> list[int]:
    busy = {cut.segment + step for cut in course.cuts[: -1 if course.strand.closed else None] for step in (-1, 0, 1)}
    found = []
    for k in range(1, len(course.curve) - 1):
        before, run, after = course.curve[k - 1 : k + 2]
        chord = np.subtract(run.end, run.start)
        if k in busy or k - 1 in found or not 0.5 < np.hypot(*chord) < LONGEST_PX:
            continue
        first, second = _turn(_leaving(before), _entering(run)), _turn(_leaving(run), _entering(after))
        alike = first * second > 0 and min(abs(first), abs(second)) > LEAST_TURN
        room = 0.5 * float(np.hypot(*chord))
        if alike and abs(first + second) > LEAST_WHOLE_TURN and min(_length(before), _length(after)) > 1.5 * room:
            found.append(k)
    return found


def _rounded(courses: Sequence[Course], ends: Sequence[tuple[int, int]]) -> list[Course]:
    made = list(courses)
    for number, k in ends:
        curve = list(made[number].curve)
        before, run, after = curve[k - 1 : k + 2]
        reach = 0.5 * float(np.hypot(*np.subtract(run.end, run.start)))
        curve[k - 1], _ = split_segment(before, 1.0 - min(reach / _length(before), 0.6))
        _, curve[k + 1] = split_segment(after, min(reach / _length(after), 0.6))
        start, end = np.array(curve[k - 1].end), np.array(curve[k + 1].start)
        into, out = _leaving(curve[k - 1]), _entering(curve[k + 1])
        turn = min(abs(_turn(into, out)), np.pi)
        handle = float(np.hypot(*(end - start))) * (2 / 3) * np.tan(turn / 4) / max(np.sin(turn / 2), 1e-3)
        curve[k] = Cubic(point(start), point(start + handle * into), point(end - handle * out), point(end))
        made[number] = replace(made[number], curve=tuple(curve))
    return made


def _length(segment: Segment) -> float:
    return float(np.hypot(*np.subtract(segment.end, segment.start)))


def _middle(segment: Segment) -> tuple[float, float]:
    return 0.5 * (segment.start[0] + segment.end[0]), 0.5 * (segment.start[1] + segment.end[1])


def _entering(segment: Segment) -> Floats:
    ahead = segment.end if isinstance(segment, Line) else segment.control1
    return _unit(np.subtract(ahead, segment.start), segment)


def _leaving(segment: Segment) -> Floats:
    behind = segment.start if isinstance(segment, Line) else segment.control2
    return _unit(np.subtract(segment.end, behind), segment)


def _unit(course: Floats, segment: Segment) -> Floats:
    if np.hypot(*course) < 1e-6:
        course = np.subtract(segment.end, segment.start)
    return np.asarray(course / max(float(np.hypot(*course)), 1e-9))


def _turn(into: Floats, out: Floats) -> float:
    return float(np.arctan2(into[0] * out[1] - into[1] * out[0], into @ out))
