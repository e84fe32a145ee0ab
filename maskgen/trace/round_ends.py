"""Corners tried as round: the pixels decide.

The end of a stroke or the outside of its bend, with a radius of a few pixels, has so few places along it that one
corner, or two and a short line between, can be the cheaper description. Each is replaced by a cubic that meets its
neighbours smoothly, everything is refined again, and the replacement stays where it explains the pixels around better.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from maskgen.model.artwork import FlatPicture
from maskgen.model.paths import Cubic, Line, Segment
from maskgen.trace.assemble import Curve
from maskgen.trace.cracks import CrackGraph
from maskgen.trace.curves import Course, Cut, point, split_segment
from maskgen.trace.refine import STRICTNESS, settled

Floats = NDArray[np.float64]

LONGEST_PX = 8.0
"""Ends wider than this have evidence enough of their own."""
LEAST_TURN, LEAST_WHOLE_TURN = np.radians(25.0), np.radians(70.0)
"""Turns at each of the two corners, and together, of what may be a round end."""
JOIN_TURNS = np.radians(15.0), np.radians(150.0)
"""Turns of a single corner that may be a round bend."""
TRIMS_PX = (1.2, 3.5)
"""How far from a corner its round bend is first tried to begin."""
LEAST_ROOM_PX = 0.4
"""A bend that would begin nearer to the corner is not tried."""
END_LEFT, BEND_LEFT = 0.8, 0.3
"""Share of the misfit that a round end, or a round bend of one corner, may leave: any curve fits a little better."""
LEAST_RADIUS_PX = 1.4
"""A bend of one corner with a smaller radius cannot be told from a corner: of corners rounded for a better fit, those
of true ones have radii of 0.3 to 1.1 px."""
LEAST_SIGNIFICANCE = 12.0
"""Multiple of the noise's square that a round bend must save."""
AROUND_PX = 4.0
"""Pixels within this distance decide."""
APART_PX = 6.0
"""Bends nearer to each other are not tried together: one would take the credit for the other."""
ROUNDS = STRICTNESS
"""Rounds of refinement for a trial: fewer are faster, and lose every tenth corner of small pictures."""
MOST_ROUNDS = 3
"""Those left out for that are tried in further rounds."""
MOST_TRIES = 400
"""A picture with more corners than this is noisy; rounding them would take long."""


@dataclass(frozen=True, slots=True)
class _Try:
    """On which course; the segments before and after what becomes a cubic (adjacent for a corner); how far from it."""

    course: int
    before: int
    after: int
    reach: float

    @property
    def single(self) -> bool:
        """Whether it replaces a single corner."""
        return self.after - self.before == 1


def with_round_ends(
    flat: FlatPicture, graph: CrackGraph, courses: Sequence[Course], places: Floats
) -> tuple[list[Course], Floats]:
    """Give refined courses, round where the picture is."""
    if not courses:
        return list(courses), places
    trial = _Trial(flat, graph, [_begun_smooth(c) for c in courses], places)
    trial.round(lambda n, course: _ends(n, course))
    for trim in TRIMS_PX:
        trial.round(lambda n, course, trim=trim: _bends(n, course, trim))  # type: ignore[misc]
    return trial.courses, trial.places


class _Trial:
    def __init__(self, flat: FlatPicture, graph: CrackGraph, courses: list[Course], places: Floats) -> None:
        self.flat, self.graph = flat, graph
        self.courses, self.places, self.misfit = settled(flat, graph, courses, places, ())

    def round(self, find: Callable[[int, Course], list[_Try]]) -> None:
        """Try what is found, of those near each other the one first that explains least; then the others."""
        refused = np.zeros((0, 2))
        for _ in range(MOST_ROUNDS):
            tries = [t for n, course in enumerate(self.courses) for t in find(n, course)]
            if not tries or len(tries) > MOST_TRIES:
                return
            spots = np.array([_middle(self.courses[t.course].curve, t) for t in tries])
            misfit, noise = self.misfit.near(spots, AROUND_PX), self.misfit.noise
            chosen = _first(spots, np.array(misfit), LEAST_SIGNIFICANCE * noise**2, refused)
            if not chosen:
                return
            kept = self._kept([tries[k] for k in chosen], spots[chosen], [misfit[k] for k in chosen], noise)
            refused = np.vstack([refused, spots[[k for k in chosen if tries[k] not in kept]]])

    def _kept(self, tries: Sequence[_Try], spots: Floats, before: Sequence[float], noise: float) -> list[_Try]:
        """Make those round that the pixels bear out; give them."""
        courses, places, misfit = settled(self.flat, self.graph, _rounded(self.courses, tries), self.places, ROUNDS)
        after = misfit.near(spots, AROUND_PX)
        kept = [
            t
            for t, old, new in zip(tries, before, after, strict=True)
            if old - new > LEAST_SIGNIFICANCE * noise**2 and _convinces(tries, t, courses[t.course].curve, new / old)
        ]
        if len(kept) < len(tries) and kept:
            courses, places, misfit = settled(self.flat, self.graph, _rounded(self.courses, kept), self.places, ROUNDS)
        if kept:
            self.courses, self.places, self.misfit = courses, places, misfit
        return kept


def _first(spots: Floats, misfit: Floats, least: float, refused: Floats) -> list[int]:
    """Numbers of spots with misfit that have none with more nearby, in order; refused ones neither count nor hinder."""
    chosen: list[int] = []
    for k in np.argsort(-misfit, kind="stable").tolist():
        again = len(refused) and np.hypot(*(refused - spots[k]).T).min() < 0.5 * AROUND_PX
        apart = all(np.hypot(*(spots[k] - spots[j])) > APART_PX for j in chosen)
        if misfit[k] > least and apart and not again:
            chosen.append(k)
    return sorted(chosen)


def _convinces(tries: Sequence[_Try], one: _Try, curve: Curve, left: float) -> bool:
    """Whether a corner made round, leaving so much of the misfit, is more than a corner put a little better."""
    if not one.single:
        return left < END_LEFT
    earlier = [t for t in tries if t.course == one.course and t.before < one.before]
    bend = curve[one.before + 1 + sum(1 if t.single else 0 for t in earlier)]
    turn = abs(_turn(_entering(bend), _leaving(bend)))
    return left < BEND_LEFT and 0.5 * _length(bend) > LEAST_RADIUS_PX * np.sin(0.5 * turn)


def _begun_smooth(course: Course) -> Course:
    """Let a closed course that begins at a corner begin elsewhere: only corners within a course are tried."""
    curve = course.curve
    if not course.strand.closed or course.cuts or len(curve) < 3:
        return course
    turns = [abs(_turn(_leaving(curve[k - 1]), _entering(curve[k]))) for k in range(len(curve))]
    first = int(np.argmin(turns))
    return replace(course, curve=curve[first:] + curve[:first])


def _ends(number: int, course: Course) -> list[_Try]:
    found: list[_Try] = []
    for k in range(1, len(course.curve) - 1):
        before, run, after = course.curve[k - 1 : k + 2]
        width = _length(run)
        if (found and found[-1].after > k - 1) or not 0.5 < width < LONGEST_PX:
            continue
        first, second = _turn(_leaving(before), _entering(run)), _turn(_leaving(run), _entering(after))
        alike = first * second > 0 and min(abs(first), abs(second)) > LEAST_TURN
        room = 0.5 * width
        one = _Try(number, k - 1, k + 1, room)
        if (
            alike
            and abs(first + second) > LEAST_WHOLE_TURN
            and min(_length(before), _length(after)) > 1.5 * room
            and _undisturbed(course, one)
        ):
            found.append(one)
    return found


def _bends(number: int, course: Course, trim: float) -> list[_Try]:
    found: list[_Try] = []
    for k in range(1, len(course.curve)):
        before, after = course.curve[k - 1 : k + 1]
        turn = abs(_turn(_leaving(before), _entering(after)))
        if not JOIN_TURNS[0] < turn < JOIN_TURNS[1]:
            continue
        reach = min(trim, 0.4 * _length(before), 0.4 * _length(after))
        one = _Try(number, k - 1, k, reach)
        if reach > LEAST_ROOM_PX and reach > 0.3 * trim and _undisturbed(course, one):
            found.append(one)
    return found


def _undisturbed(course: Course, one: _Try) -> bool:
    """Whether no junction lies on what would be replaced."""
    low = one.before + 1.0 - _share(course.curve[one.before], one.reach) - 0.05
    high = one.after + _share(course.curve[one.after], one.reach) + 0.05
    return not any(low < cut.segment + cut.t < high for cut in course.cuts)


def _share(segment: Segment, reach: float) -> float:
    return min(reach / max(_length(segment), 1e-6), 0.6)


def _rounded(courses: Sequence[Course], tries: Sequence[_Try]) -> list[Course]:
    made = list(courses)
    for number in sorted({t.course for t in tries}):
        made[number] = _rounded_course(made[number], [t for t in tries if t.course == number])
    return made


def _rounded_course(course: Course, tries: Sequence[_Try]) -> Course:
    curve = list(course.curve)
    marks = [(float(cut.segment), cut.t) for cut in course.cuts]
    for one in reversed(tries):
        begin, stop = _share(curve[one.before], one.reach), _share(curve[one.after], one.reach)
        before, _ = split_segment(curve[one.before], 1.0 - begin)
        _, after = split_segment(curve[one.after], stop)
        bend = _bend(before, after)
        shift = 1 if one.single else 0
        for k, (segment, t) in enumerate(marks):
            if segment == one.before:
                marks[k] = segment, t / (1.0 - begin)
            elif segment == one.after:
                marks[k] = segment + shift, (t - stop) / (1.0 - stop)
            elif segment > one.after:
                marks[k] = segment + shift, t
        curve[one.before : one.after + 1] = [before, bend, after]
    cuts = [Cut(c.junction, int(s), t) for c, (s, t) in zip(course.cuts, marks, strict=True)]
    return replace(course, curve=tuple(curve), cuts=cuts)


def _bend(before: Segment, after: Segment) -> Cubic:
    """Cubic like a circle's arc from the end of one segment to the start of another."""
    start, end = np.array(before.end), np.array(after.start)
    into, out = _leaving(before), _entering(after)
    turn = min(abs(_turn(into, out)), np.pi)
    handle = float(np.hypot(*(end - start))) * (2 / 3) * np.tan(turn / 4) / max(np.sin(turn / 2), 1e-3)
    return Cubic(point(start), point(start + handle * into), point(end - handle * out), point(end))


def _middle(curve: Curve, one: _Try) -> tuple[float, float]:
    (ax, ay), (bx, by) = curve[one.before].end, curve[one.after].start
    return 0.5 * (ax + bx), 0.5 * (ay + by)


def _length(segment: Segment) -> float:
    return float(np.hypot(*np.subtract(segment.end, segment.start)))


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
