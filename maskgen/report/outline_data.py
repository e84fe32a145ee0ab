"""Outlines for a page on a screen: SVG path data, small, to a hundredth of a millimetre.

Positions are rounded to the grid as they stand and differenced afterwards, so rings close exactly and neighbours share
their boundary.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.paths import Area, Line, Point, Ring

GRID_MM = 0.01
"""Finer than a screen shows at the closest zoom of a finding (6 mm over some 700 dots)."""


def outline_data(rings: Iterable[Ring]) -> str:
    """Give the `d` of closed rings, relative."""
    return "".join(_ring(ring) for ring in rings)


def plain_data(area: Area) -> str:
    """Give the `d` of an area of very many short runs, without those the grid does not show."""
    return polygon_data(to_multipolygon(area, tolerance=GRID_MM / 2).simplify(GRID_MM / 2))


def polygon_data(geometry: BaseGeometry) -> str:
    """Give the `d` of polygons."""
    found = []
    for polygon in shapely.get_parts(geometry):
        for ring in (polygon.exterior, *polygon.interiors):
            steps = np.round(shapely.get_coordinates(ring)[:-1] / GRID_MM).astype(np.int64)
            moves = np.diff(steps, axis=0)
            runs = "".join(_after(step) for step in moves[np.any(moves != 0, axis=1)].ravel().tolist())
            found.append(f"M{_number(int(steps[0][0]))}{_after(int(steps[0][1]))}l{runs.lstrip()}z" if runs else "")
    return "".join(found)


def _ring(ring: Ring) -> str:
    if not ring.segments:
        return ""
    x, y = _grid(ring.segments[0].start)
    found = [f"M{_number(x)}{_after(y)}"]
    for segment in ring.segments:
        end = _grid(segment.end)
        if isinstance(segment, Line):
            if end != (x, y):
                found.append(f"l{_number(end[0] - x)}{_after(end[1] - y)}")
        else:
            places = (_grid(segment.control1), _grid(segment.control2), end)
            steps = [step for px, py in places for step in (px - x, py - y)]
            if any(steps):
                found.append("c" + _number(steps[0]) + "".join(_after(step) for step in steps[1:]))
        x, y = end
    return "".join(found) + "z" if len(found) > 1 else ""


def _grid(point: Point) -> tuple[int, int]:
    return round(point[0] / GRID_MM), round(point[1] / GRID_MM)


def _number(steps: int) -> str:
    """Print hundredths without needless zeros: 30 is .3, -5 is -.05."""
    sign, (whole, rest) = "-" if steps < 0 else "", divmod(abs(steps), 100)
    if not rest:
        return f"{sign}{whole}"
    return f"{sign}{whole or ''}.{f'{rest:02d}'.rstrip('0')}"


def _after(steps: int) -> str:
    """Print a number that follows another: a minus sign parts them too."""
    text = _number(steps)
    return text if text.startswith("-") else f" {text}"
