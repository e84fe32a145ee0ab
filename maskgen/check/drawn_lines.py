"""The cut lines of a drawing: what the knife would follow, each run of the pen once, loose ends that meet joined.

Everything in millimetres, y down. A run is closed where the file says so, where it is filled, or where its ends lie
within `CLOSED_MM`; runs of hairlines whose ends meet are one line, as drawn by programs that know only single lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from maskgen.check.chains import joined
from maskgen.check.lines import CLOSED_MM, FLATTEN_MM, NO_LENGTH_MM, CutLine, corners_of
from maskgen.model.drawing import Drawing, DrawnPath, SubPath, flattened
from maskgen.model.paths import Point, Points

PEN_STROKE_MM = 0.3 - 1e-6
"""From this width on a stroke is drawn as a shape; up to 0.1 it must be a cut line."""


@dataclass(frozen=True, eq=False)
class StrayRun:
    """A run of no length."""

    path: int
    at: Point
    place: str


@dataclass(frozen=True, eq=False)
class CutLines:
    """What is in a drawing: the lines to cut, strokes drawn with a width, runs of no length."""

    drawing: Drawing
    lines: tuple[CutLine, ...]
    wide: tuple[int, ...]
    strays: tuple[StrayRun, ...]


def find_lines(drawing: Drawing) -> CutLines:
    """Find the cut lines of a drawing in millimetres.

    A path with a wide stroke is cut along its middle where that closes; where it does not, nothing of it is a cut line.
    """
    lines: list[CutLine] = []
    strays: list[StrayRun] = []
    wide: list[int] = []
    for number, path in enumerate(drawing.paths):
        is_wide = path.stroke is not None and path.stroke.width >= PEN_STROKE_MM
        if is_wide:
            wide.append(number)
        for run in path.subpaths:
            points, _ = flattened(run, FLATTEN_MM)
            moved = np.any(np.abs(points - points[0]) > NO_LENGTH_MM)
            if not moved:
                strays.append(StrayRun(number, run.start, path.place))
                continue
            line = _line(number, path, run, points)
            if line.closed or not is_wide:
                lines.append(line)
    return CutLines(drawing, tuple(joined(lines)), tuple(wide), tuple(strays))


def _line(number: int, path: DrawnPath, run: SubPath, points: Points) -> CutLine:
    filled = path.fill is not None and _has_area(points)
    near = bool(np.hypot(*(points[-1] - points[0])) <= CLOSED_MM)
    closed = run.closed or filled or (near and len(points) > 2)
    return CutLine((number,), (run,), corners_of(points, closed), closed, filled, path.place)


def _has_area(points: Points) -> bool:
    """Tell whether filling a run shows anything (the default fill of a straight line does not)."""
    x, y = (points - points[0]).T
    doubled = np.abs(x * np.roll(y, -1) - np.roll(x, -1) * y).max(initial=0.0)
    return bool(doubled > NO_LENGTH_MM * np.hypot(x, y).max(initial=0.0))
