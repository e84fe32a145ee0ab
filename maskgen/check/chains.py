"""Loose lines that meet joined to chains, as programs that know only single lines and arcs draw outlines.

Where more than two ends meet (edges that neighbours share, corners that touch) a chain turns as sharply as it can,
first always to one side, then to the other: that walks round the faces on both sides of its first line, and the smaller
of the two is what was drawn. A line never leads back along one it covers: that is a copy of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree

from maskgen.check.lines import CLOSED_MM, CutLine, corners_of, met
from maskgen.model.drawing import SubPath
from maskgen.model.paths import Points

MEETING = 12
"""Ends looked at where lines meet."""
SAME_PLACE_MM = 0.001
"""Of lines shorter than the distance at which they meet only the nearest ends count."""
BACK = math.cos(math.radians(177.0))
"""Turns sharper than this may lead back along the line."""
SHORT = 64
"""Lines of a ring looked for first where there are choices: the face on one side may be the whole outside."""
NO_AREA = 1e-6
"""Share of its length squared below which a ring encloses nothing."""

Step = tuple[int, bool]
"""A line, and whether it is walked backwards."""


def joined(lines: list[CutLine]) -> list[CutLine]:
    """Join open lines whose ends meet; a chain closes as soon as it is back where it began."""
    loose = [k for k, line in enumerate(lines) if not line.closed]
    if len(loose) < 2:
        return lines
    meeting = _Meeting.of([lines[k] for k in loose])
    unused = dict.fromkeys(range(len(loose)))
    chains: dict[int, CutLine] = {}
    while unused:
        walk, ring = meeting.around(next(iter(unused)), unused)
        for k, _ in walk:
            del unused[k]
        chain = [(lines[loose[k]], backwards) for k, backwards in walk]
        chains[min(loose[k] for k, _ in walk)] = _chain(chain, ring=ring)
    return [chains.get(k, line) for k, line in enumerate(lines) if line.closed or k in chains]


@dataclass(frozen=True, eq=False)
class _Meeting:
    """Where the ends of loose lines meet. End 2k is the beginning of line k, 2k + 1 its end.

    `away` (2n, 2) leads from each end into its line; `distance` and `near` tell the ends round each, nearest first.
    """

    lines: Sequence[CutLine]
    away: list[tuple[float, float]]
    length: list[float]
    middles: list[tuple[float, float]]
    distance: list[list[float]]
    near: list[list[int]]

    @classmethod
    def of(cls, lines: Sequence[CutLine]) -> _Meeting:
        ends = np.array([line.ends for line in lines]).reshape(-1, 2)
        distance, near = cKDTree(ends).query(ends, k=min(MEETING, len(ends)), distance_upper_bound=CLOSED_MM)
        away = [_direction(p) for line in lines for p in (line.points, line.points[::-1])]
        length = [line.length_mm for line in lines]
        return cls(lines, away, length, [line.at_share(0.5) for line in lines], distance.tolist(), near.tolist())

    def around(self, first: int, unused: dict[int, None]) -> tuple[list[Step], bool]:
        """Give the chain a line belongs to, and whether it closes."""
        for most in (SHORT, len(self.lines)):
            rings = []
            for side in (1.0, -1.0):
                walk = [(first, False)]
                ring, branched = self._walk(walk, unused, side, {first}, most)
                if not branched and ring:
                    return walk, True
                if not branched:
                    break
                if ring:
                    rings.append((self._enclosed(walk), walk))
            if rings:
                return min(rings, key=lambda found: found[0])[1], True
            if not branched:
                break
        back = [(first, True)]
        self._walk(back, unused, 1.0, {k for k, _ in walk}, len(self.lines))
        return [(k, not backwards) for k, backwards in reversed(back[1:])] + walk, False

    def _walk(
        self, walk: list[Step], unused: dict[int, None], side: float, taken: set[int], most: int
    ) -> tuple[bool, bool]:
        """Go on from the last line of a walk as far as lines meet; tell whether it came back, and had a choice.

        One that had a choice gives up beyond `most` lines.
        """
        begin = 2 * walk[0][0] + walk[0][1]
        branched = False
        while True:
            line, backwards = walk[-1]
            here = 2 * line + (not backwards)
            choices = [
                (d, e)
                for d, e in zip(self.distance[here], self.near[here], strict=True)
                if d <= CLOSED_MM
                and ((e == begin and len(walk) > 1) if e // 2 in taken else e // 2 in unused)
                and not self._leads_back(here, e)
            ]
            if not choices:
                return False, branched
            nearest = min(choices)[0] + SAME_PLACE_MM
            meeting = [e for d, e in choices if d <= nearest]
            branched |= len(meeting) > 1
            following = min(meeting, key=lambda e: (self._turn(here, e, side), e != begin, abs(e // 2 - line)))
            if following == begin:
                return True, branched
            if branched and len(walk) >= most:
                return False, True
            taken.add(following // 2)
            walk.append((following // 2, following % 2 == 1))

    def _turn(self, here: int, there: int, side: float) -> float:
        """Give how far a way lies from straight back, turning to one side."""
        (ax, ay), (bx, by) = self.away[here], self.away[there]
        angle = math.atan2(ax * by - ay * bx, ax * bx + ay * by) * side
        return round(angle % (2 * math.pi), 6)

    def _leads_back(self, here: int, there: int) -> bool:
        """Tell a line that runs back along the one it meets: a copy, or a part of one."""
        (ax, ay), (bx, by) = self.away[here], self.away[there]
        if ax * bx + ay * by < -BACK:
            return False
        a, b = here // 2, there // 2
        longer, shorter = (a, b) if self.length[a] >= self.length[b] else (b, a)
        near = min(CLOSED_MM, self.length[shorter] / 4)
        return _distance(self.lines[longer].points, self.middles[shorter]) <= near

    def _enclosed(self, walk: list[Step]) -> float:
        """Give the area a ring encloses; infinite where that is none."""
        points = np.vstack([self.lines[k].points[::-1] if backwards else self.lines[k].points for k, backwards in walk])
        x, y = (points - points[0]).T
        area = abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2
        length = float(np.hypot(*np.diff(points, axis=0).T).sum())
        return area if area > NO_AREA * length**2 else np.inf


def _direction(points: Points) -> tuple[float, float]:
    """Give the unit direction in which a line leaves its beginning."""
    if len(points) > 2:
        length = np.hypot(*(points - points[0]).T)
        far = np.flatnonzero(length > CLOSED_MM)
        points = points[[0, int(far[0]) if len(far) else int(length.argmax())]]
    (x0, y0), (x1, y1) = points.tolist()
    size = math.hypot(x1 - x0, y1 - y0) or 1.0
    return (x1 - x0) / size, (y1 - y0) / size


def _distance(points: Points, place: tuple[float, float]) -> float:
    """Give how far a place lies from a line."""
    if len(points) > 2:
        return float(shapely.LineString(points).distance(shapely.Point(place)))
    (x0, y0), (x1, y1) = points.tolist()
    dx, dy, x, y = x1 - x0, y1 - y0, place[0] - x0, place[1] - y0
    share = min(1.0, max(0.0, (x * dx + y * dy) / ((dx * dx + dy * dy) or 1.0)))
    return math.hypot(x - share * dx, y - share * dy)


def _chain(parts: Sequence[tuple[CutLine, bool]], *, ring: bool) -> CutLine:
    if len(parts) == 1:
        return parts[0][0]
    runs: list[SubPath] = []
    points: list[Points] = []
    for line, backwards in parts:
        runs.extend(line.turned().runs if backwards else line.runs)
        following = line.points[::-1] if backwards else line.points
        points.append(met(points[-1], following) if points else following)
    numbers = tuple(dict.fromkeys(n for line, _ in parts for n in line.paths))
    first = min((line for line, _ in parts), key=lambda line: line.paths[0])
    corners = corners_of(np.vstack(points), ring)
    closed = ring or bool(np.hypot(*(corners[-1] - corners[0])) <= CLOSED_MM)
    return CutLine(numbers, tuple(runs), corners_of(corners, closed), closed, False, first.place)
