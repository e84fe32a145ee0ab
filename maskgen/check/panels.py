"""Rectangles behind or around everything: a backing panel would come off as one sheet, a bare line may be a frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from maskgen.check.lines import CutLine

LIKENESS = 0.002
"""Share of its area by which an outline may differ from a rectangle."""
MOST_ROUNDING = 0.35
"""Share of the shorter side a rounded corner may take before the shape is no rectangle any more."""
TOUCH_MM = 0.01


@dataclass(frozen=True, slots=True)
class Panel:
    """A rectangle around all other lines; `filled` where it is painted."""

    line: int
    filled: bool


def find_panels(lines: Sequence[CutLine], runs_in_path: Sequence[int], copies: set[int]) -> tuple[Panel, ...]:
    """Find the rectangles around everything else: at most one filled and one bare.

    Parameters
    ----------
    lines
        All cut lines.
    runs_in_path
        For every path of the drawing, how many runs it has: a rectangle with others in its own path is a piece with
        holes.
    copies
        Lines that lie on others wholly; they neither are panels nor have to be inside.
    """
    found: list[Panel] = []
    gone = set(copies)
    for _ in range(2):
        panel = _outermost(lines, runs_in_path, gone)
        if panel is None or any(p.filled == panel.filled for p in found):
            break
        found.append(panel)
        gone.add(panel.line)
    return tuple(found)


def _outermost(lines: Sequence[CutLine], runs_in_path: Sequence[int], gone: set[int]) -> Panel | None:
    left = [k for k in range(len(lines)) if k not in gone]
    if len(left) < 2:
        return None
    boxes = np.array([(*lines[k].points.min(axis=0), *lines[k].points.max(axis=0)) for k in left])
    whole = np.array([*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0)])
    candidates = [k for k, box in zip(left, boxes, strict=True) if np.abs(box - whole).max() <= TOUCH_MM]
    for k in candidates:
        line = lines[k]
        if not line.closed or any(runs_in_path[p] > 1 for p in line.paths if line.filled) or len(line.points) < 4:
            continue
        outline = line.outline()
        if is_rectangle(outline) and _holds_all(outline, [lines[j] for j in left if j != k]):
            return Panel(k, line.filled)
    return None


def _holds_all(outline: BaseGeometry, others: list[CutLine]) -> bool:
    inside = shapely.buffer(outline, TOUCH_MM)
    shapely.prepare(inside)
    return bool(shapely.contains_xy(inside, np.vstack([line.points for line in others])).all())


def is_rectangle(outline: BaseGeometry) -> bool:
    """Tell whether an outline is a rectangle at any angle, its corners sharp or rounded."""
    if outline.area <= 0:
        return False
    box = shapely.minimum_rotated_rectangle(outline)
    if box.area <= 0:
        return False
    missing = max(box.area - outline.area, 0.0)
    if missing <= LIKENESS * box.area:
        return True
    sides = np.hypot(*np.diff(shapely.get_coordinates(box), axis=0)[:2].T)
    radius = float(np.sqrt(missing / (4 - np.pi)))
    if radius > MOST_ROUNDING * sides.min():
        return False
    rounded = box.buffer(-radius, join_style="mitre").buffer(radius, quad_segs=32)
    return bool(rounded.symmetric_difference(outline).area <= LIKENESS * box.area)
