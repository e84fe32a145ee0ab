"""A vector drawing as a reader found it: painted paths in painting order, what else was seen, units and page.

Coordinates are the drawing's own units, y down; `scale` makes them millimetres. Nothing is judged here: a path that
does not close stays open, a rectangle behind everything stays where it is.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from maskgen.model.paths import Cubic, Line, Point, Points, Segment

Matrix = NDArray[np.float64]
"""An affine map, (2, 3): `x' = m00 x + m01 y + m02`, `y' = m10 x + m11 y + m12`."""

IDENTITY: Matrix = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
IDENTITY.setflags(write=False)


class FillRule(StrEnum):
    """Which parts of a path with several boundaries are inside."""

    NONZERO = "nonzero"
    EVENODD = "evenodd"


class Cap(StrEnum):
    """How a stroke ends."""

    BUTT = "butt"
    ROUND = "round"
    SQUARE = "square"


class Join(StrEnum):
    """How a stroke turns a corner."""

    MITER = "miter"
    ROUND = "round"
    BEVEL = "bevel"


class FeatureKind(StrEnum):
    """What a reader met that is no path."""

    TEXT = "text"
    PICTURE = "picture"
    UNREAD = "unread"
    BLENDED = "blended"
    """Read, but only as its best plain effect, and of no weight for a cut line (opacity)."""


class Source(StrEnum):
    """The kind of file a drawing came from."""

    SVG = "svg"
    DXF = "dxf"
    HPGL = "hpgl"


@dataclass(frozen=True, slots=True, eq=False)
class SubPath:
    """One run of the pen.

    `control` is (n, 4, 2): every segment as the control points of a cubic, segment after segment (the end of one is the
    start of the next); `straight` (n,) tells lines, whose inner control points lie on their ends. `closed`: said to be
    closed by the file, and then the last end is the first start. `start` stands alone for a run without segments.
    """

    start: Point
    control: NDArray[np.float64]
    straight: NDArray[np.bool_]
    closed: bool

    @property
    def end(self) -> Point:
        """Where the pen stops."""
        if not len(self.control):
            return self.start
        return float(self.control[-1, 3, 0]), float(self.control[-1, 3, 1])

    def mapped(self, matrix: Matrix) -> SubPath:
        """Give the run moved by an affine map."""
        start = apply(matrix, np.array([self.start]))[0]
        control = apply(matrix, self.control)
        control.setflags(write=False)
        return SubPath((float(start[0]), float(start[1])), control, self.straight, self.closed)

    def segments(self) -> tuple[Segment, ...]:
        """Give the run as lines and cubics; what has no length at all is left out."""
        found: list[Segment] = []
        for (a, b, c, d), straight in zip(self.control.tolist(), self.straight.tolist(), strict=True):
            if straight:
                if a != d:
                    found.append(Line((a[0], a[1]), (d[0], d[1])))
            elif not a == b == c == d:
                found.append(Cubic((a[0], a[1]), (b[0], b[1]), (c[0], c[1]), (d[0], d[1])))
        return tuple(found)


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """The pen of a path. `width` in the drawing's units (the mean over directions where the frame is skewed).

    `frame` maps the units the pen is round in to the drawing's; lengths below are in those units.
    """

    colour: str
    opacity: float
    width: float
    pen_width: float
    cap: Cap = Cap.BUTT
    join: Join = Join.MITER
    miter_limit: float = 4.0
    dashes: tuple[float, ...] = ()
    dash_offset: float = 0.0
    frame: Matrix = field(default_factory=lambda: IDENTITY)


@dataclass(frozen=True, slots=True)
class Fill:
    """The inside of a path: `#rrggbb`, opacity 0 to 1, and the rule."""

    colour: str
    opacity: float
    rule: FillRule


@dataclass(frozen=True, slots=True, eq=False)
class ClipShape:
    """One shape of a clip path."""

    subpaths: tuple[SubPath, ...]
    rule: FillRule


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """A window: the union of its shapes, empty when there are none."""

    shapes: tuple[ClipShape, ...]


@dataclass(frozen=True, slots=True)
class Fade:
    """A group painted as a whole at less than full opacity; `number` tells groups apart."""

    number: int
    opacity: float


@dataclass(frozen=True, slots=True, eq=False)
class DrawnPath:
    """A path as painted. `place` says where in the file it stands, in words; `layer` is empty where there is none."""

    subpaths: tuple[SubPath, ...]
    place: str
    fill: Fill | None = None
    stroke: Stroke | None = None
    clips: tuple[Clip, ...] = ()
    fades: tuple[Fade, ...] = ()
    layer: str = ""
    stroke_first: bool = False

    def mapped(self, matrix: Matrix) -> DrawnPath:
        """Give the path moved by an affine map, its pen with it."""
        stroke = self.stroke
        if stroke is not None:
            stroke = replace(
                stroke,
                width=stroke.width * float(np.sqrt(abs(np.linalg.det(matrix[:, :2])))),
                frame=combine(matrix, stroke.frame),
            )
        clips = tuple(
            Clip(tuple(replace(s, subpaths=tuple(p.mapped(matrix) for p in s.subpaths)) for s in clip.shapes))
            for clip in self.clips
        )
        return replace(self, subpaths=tuple(s.mapped(matrix) for s in self.subpaths), stroke=stroke, clips=clips)


@dataclass(frozen=True, slots=True)
class Feature:
    """Something seen that is no path; `name` in words (the element, and what it says), `at` a point where known."""

    kind: FeatureKind
    name: str
    place: str
    at: Point | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the drawing, in its units."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, eq=False)
class Drawing:
    """A drawing as read.

    `page` is what would be seen of it (None where the format has no page). `scale` is millimetres per unit, along x and
    y; `units` the word for the unit the file states, "none" where it states none (the scale is then a guess).
    """

    source: Source
    paths: tuple[DrawnPath, ...]
    features: tuple[Feature, ...]
    page: Window | None
    scale: tuple[float, float]
    units: str


def apply(matrix: Matrix, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Move points, (..., 2), by an affine map."""
    return points @ matrix[:, :2].T + matrix[:, 2]


def combine(outer: Matrix, inner: Matrix) -> Matrix:
    """Give the map that does `inner`, then `outer`."""
    linear = outer[:, :2] @ inner[:, :2]
    return np.hstack([linear, (outer[:, :2] @ inner[:, 2] + outer[:, 2])[:, None]])


def in_millimetres(drawing: Drawing) -> Drawing:
    """Give the same drawing with a unit of one millimetre; the origin stays where it is."""
    sx, sy = drawing.scale
    if (sx, sy) == (1.0, 1.0):
        return drawing
    matrix = np.array([[sx, 0.0, 0.0], [0.0, sy, 0.0]])
    page = drawing.page
    if page is not None:
        page = Window(page.left * sx, page.top * sy, page.width * sx, page.height * sy)
    features = tuple(f if f.at is None else replace(f, at=(f.at[0] * sx, f.at[1] * sy)) for f in drawing.features)
    paths = tuple(p.mapped(matrix) for p in drawing.paths)
    return replace(drawing, paths=paths, features=features, page=page, scale=(1.0, 1.0))


def flattened(subpath: SubPath, tolerance: float) -> tuple[Points, NDArray[np.int64]]:
    """Points along a run, its first included, chords within `tolerance`, and the segment each point but the first ends.

    All segments at once; a run walked backwards gives the same points (the chord count is symmetric).
    """
    control, straight = subpath.control, subpath.straight
    if not len(control):
        return np.array([subpath.start]), np.zeros(0, dtype=np.int64)
    bend = np.hypot(*np.moveaxis(control[:, :-2] - 2 * control[:, 1:-1] + control[:, 2:], -1, 0)).max(axis=1)
    bend[straight] = 0.0
    counts = np.maximum(1, np.ceil(np.sqrt(0.75 * bend / tolerance))).astype(np.int64)
    owner = np.repeat(np.arange(len(counts)), counts)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts) + 1
    t = (step / counts[owner])[:, None]
    own = control[owner]
    points = (
        (1 - t) ** 3 * own[:, 0] + 3 * t * (1 - t) ** 2 * own[:, 1] + 3 * t**2 * (1 - t) * own[:, 2] + t**3 * own[:, 3]
    )
    last = step == counts[owner]
    points[last] = own[last, 3]
    return np.vstack([control[:1, 0], points]), owner
