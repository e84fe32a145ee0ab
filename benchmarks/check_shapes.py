"""Outlines for the labelled set: runs of lines, cubics and circular arcs in millimetres, y down.

Nothing here comes from the project's own code; the truth of a fault is reckoned from these values and by shapely.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

Point = tuple[float, float]
Step = tuple[str, tuple[float, ...]]
"""`("L", (x, y))`, `("C", (x1, y1, x2, y2, x, y))`, or `("A", (bulge, x, y))`: bulge is the tangent of a quarter of the
angle, positive where the arc turns from x to y."""


@dataclass(frozen=True)
class Run:
    """One run of the pen; a closed one ends where it began. `circle` (x, y, radius) tells a full circle."""

    start: Point
    steps: tuple[Step, ...]
    closed: bool = True
    circle: tuple[float, float, float] | None = None

    def ends(self) -> Iterator[tuple[Point, Step]]:
        """Give every step with where it begins."""
        here = self.start
        for step in self.steps:
            yield here, step
            here = end_of(step)

    def mapped(self, matrix: Sequence[float]) -> Run:
        """Map by (a, b, c, d, e, f) as in SVG; without skew, arcs stay arcs."""
        a, b, c, d, e, f = matrix

        def at(x: float, y: float) -> Point:
            return a * x + c * y + e, b * x + d * y + f

        turn = 1.0 if a * d - b * c > 0 else -1.0
        steps: list[Step] = []
        for kind, v in self.steps:
            if kind == "A":
                steps.append(("A", (v[0] * turn, *at(v[1], v[2]))))
            else:
                steps.append((kind, tuple(w for k in range(0, len(v), 2) for w in at(v[k], v[k + 1]))))
        circle = self.circle and (*at(*self.circle[:2]), self.circle[2] * math.hypot(a, b))
        return Run(at(*self.start), tuple(steps), self.closed, circle)

    def reversed(self) -> Run:
        """Walk it the other way."""
        steps: list[Step] = []
        for here, (kind, v) in reversed(list(self.ends())):
            if kind == "L":
                steps.append(("L", here))
            elif kind == "C":
                steps.append(("C", (v[2], v[3], v[0], v[1], *here)))
            else:
                steps.append(("A", (-v[0], *here)))
        return replace(self, start=end_of(self.steps[-1]), steps=tuple(steps))

    def points(self, chord: float = 0.0002) -> list[Point]:
        """Give corners along chords within a distance."""
        result = [self.start]
        for here, (kind, v) in self.ends():
            if kind == "L":
                result.append((v[0], v[1]))
            elif kind == "C":
                result.extend(_cubic_points(here, v, chord))
            else:
                result.extend(_arc_points(here, v, chord))
        return result

    def polygon(self) -> shapely.Polygon:
        """What it encloses."""
        return shapely.Polygon(self.points())

    def line(self) -> shapely.LineString:
        """Itself."""
        return shapely.LineString(self.points())


@dataclass(frozen=True)
class Shape:
    """What a program would keep in one path: runs that belong together; `width` of a pen, 0 for a cut line."""

    runs: tuple[Run, ...]
    filled: bool = True
    width: float = 0.0

    def mapped(self, matrix: Sequence[float]) -> Shape:
        """Map all runs."""
        return replace(self, runs=tuple(run.mapped(matrix) for run in self.runs))


def end_of(step: Step) -> Point:
    """Where a step ends."""
    return step[1][-2], step[1][-1]


def centre_of(here: Point, bulge: float, end: Point) -> tuple[Point, float, float]:
    """Give centre, radius and turn (radians, from x to y) of an arc."""
    (x0, y0), (x1, y1) = here, end
    turn = 4 * math.atan(bulge)
    away = (1 / bulge - bulge) / 4
    centre = ((x0 + x1) / 2 - away * (y1 - y0), (y0 + y1) / 2 + away * (x1 - x0))
    return centre, math.dist(centre, here), turn


def _cubic_points(here: Point, v: tuple[float, ...], chord: float) -> list[Point]:
    control = np.array([here, v[0:2], v[2:4], v[4:6]])
    bend = np.hypot(*np.diff(control, 2, axis=0).T).max()
    count = max(2, math.ceil(math.sqrt(6 * bend / (8 * chord))))
    t = np.linspace(0, 1, count + 1)[1:, None]
    p = (
        (1 - t) ** 3 * control[0]
        + 3 * t * (1 - t) ** 2 * control[1]
        + 3 * t**2 * (1 - t) * control[2]
        + t**3 * control[3]
    )
    return [(float(x), float(y)) for x, y in p]


def _arc_points(here: Point, v: tuple[float, ...], chord: float) -> list[Point]:
    (cx, cy), radius, turn = centre_of(here, v[0], (v[1], v[2]))
    count = max(2, math.ceil(abs(turn) / math.sqrt(8 * chord / radius)))
    begin = math.atan2(here[1] - cy, here[0] - cx)
    angles = [begin + turn * k / count for k in range(1, count)]
    return [*((cx + radius * math.cos(a), cy + radius * math.sin(a)) for a in angles), (v[1], v[2])]


def line(*corners: Point) -> Run:
    """An open run of straight lines."""
    return Run(corners[0], tuple(("L", c) for c in corners[1:]), closed=False)


def polygon(*corners: Point) -> Run:
    """A closed run of straight lines."""
    return Run(corners[0], tuple(("L", c) for c in (*corners[1:], corners[0])))


def box(x: float, y: float, width: float, height: float) -> Run:
    """A rectangle about its middle."""
    w, h = width / 2, height / 2
    return polygon((x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h))


def circle(x: float, y: float, radius: float) -> Run:
    """A circle of two arcs."""
    right, left = (x + radius, y), (x - radius, y)
    return Run(right, (("A", (1.0, *left)), ("A", (1.0, *right))), circle=(x, y, radius))


def rounded(x: float, y: float, width: float, height: float, radius: float) -> Run:
    """A rectangle with round corners."""
    w, h, r, b = width / 2, height / 2, radius, math.tan(math.pi / 8)
    steps: list[Step] = []
    for lx, ly, ax, ay in ((w - r, -h, w, r - h), (w, h - r, w - r, h), (r - w, h, -w, h - r), (-w, r - h, r - w, -h)):
        steps += [("L", (x + lx, y + ly)), ("A", (b, x + ax, y + ay))]
    return Run((x + r - w, y - h), tuple(steps))


def ellipse(x: float, y: float, rx: float, ry: float, parts: int = 4) -> Run:
    """An ellipse of cubics."""
    handle = 4 / 3 * math.tan(math.pi / 2 / parts)
    steps: list[Step] = []
    for k in range(parts):
        a, b = 2 * math.pi * k / parts, 2 * math.pi * (k + 1) / parts
        u0, v0, u1, v1 = math.cos(a), math.sin(a), math.cos(b), math.sin(b)
        if k == parts - 1:
            u1, v1 = 1.0, 0.0
        around = ((u0 - handle * v0, v0 + handle * u0), (u1 + handle * v1, v1 - handle * u1), (u1, v1))
        steps.append(("C", tuple(w for u, v in around for w in (x + rx * u, y + ry * v))))
    return Run((x + rx, y), tuple(steps))


def star(x: float, y: float, radius: float, points: int = 5, inner: float = 0.55) -> Run:
    """A star; five points at 0.55 close at 53 degrees."""
    corners = [(radius if k % 2 == 0 else inner * radius, math.pi * k / points) for k in range(2 * points)]
    return polygon(*((x + r * math.cos(a), y + r * math.sin(a)) for r, a in corners))


def blob(x: float, y: float, radius: float, chance: random.Random) -> Run:
    """A smooth closed run of cubics through points about a circle."""
    count = chance.randint(5, 9)
    around = np.array(
        [
            (x + r * math.cos(a), y + r * math.sin(a))
            for a, r in ((2 * math.pi * k / count, radius * chance.uniform(0.82, 1.0)) for k in range(count))
        ]
    )
    way = (np.roll(around, -1, axis=0) - np.roll(around, 1, axis=0)) / 6
    steps: list[Step] = []
    for k in range(count):
        j = (k + 1) % count
        steps.append(("C", (*(around[k] + way[k]).tolist(), *(around[j] - way[j]).tolist(), *around[j].tolist())))
    return Run((float(around[0, 0]), float(around[0, 1])), tuple(steps))


def gear(x: float, y: float, radius: float, teeth: int = 6) -> Run:
    """A wheel with square teeth, of lines alone, many corners of both kinds."""
    corners = []
    for k in range(teeth):
        for r, a in ((0.7, -0.28), (1.0, -0.2), (1.0, 0.2), (0.7, 0.28)):
            angle = 2 * math.pi * (k + a) / teeth
            corners.append((x + radius * r * math.cos(angle), y + radius * r * math.sin(angle)))
    return polygon(*corners)


def clean_shapes(chance: random.Random) -> list[Shape]:
    """Give sound pieces in a grid, some with openings: widths of 2 mm and more, nothing within 3 mm of another."""
    found = []
    for column in range(3):
        for row in range(3):
            x, y = 12.0 + 20 * column, 14.0 + 24 * row
            kind = chance.randrange(8)
            if kind == 0:
                runs: tuple[Run, ...] = (star(x, y, 7.5),)
            elif kind == 1:
                runs = (circle(x, y, 7.0), circle(x, y, 3.5).reversed())
            elif kind == 2:
                runs = (rounded(x, y, 13.0, 11.0, chance.choice((1.5, 3.0))), box(x, y, 5.0, 4.0).reversed())
            elif kind == 3:
                runs = (ellipse(x, y, 7.0, 5.0),)
            elif kind == 4:
                runs = (gear(x, y, 7.5),)
            elif kind == 5:
                runs = (blob(x, y, 7.5, chance), blob(x, y, 2.5, chance).reversed())
            elif kind == 6:
                runs = (box(x, y, 10, 12), circle(x - 2, y - 3, 1.2).reversed(), circle(x + 2, y + 3, 1.2).reversed())
            else:
                runs = (blob(x, y, 7.5, chance),)
            turn = chance.uniform(0, 2 * math.pi)
            if kind != 6:
                found.append(Shape(runs).mapped(about(x, y, turn)))
            else:
                found.append(Shape(runs))
    return found


def about(x: float, y: float, turn: float) -> tuple[float, ...]:
    """Turn about a point, as a matrix."""
    cos, sin = math.cos(turn), math.sin(turn)
    return cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y
