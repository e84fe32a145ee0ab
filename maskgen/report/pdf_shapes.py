"""Areas as paths of a PDF page. Millimetres with y down become points with y up."""

from __future__ import annotations

from typing import Any

from reportlab import rl_config

from maskgen.model.paths import Area, Line, PointMap
from maskgen.units import MM_PER_POINT

rl_config.useA85 = 0
"""Streams stay binary: every reader of the last twenty years takes them, and text coding costs a quarter in size."""


def page_map(left: float, bottom: float, *, height_mm: float, scale: float = 1.0) -> PointMap:
    """Give the map from a drawing's frame to the page: `left` and `bottom` in points, `scale` page to drawing."""
    factor = scale / MM_PER_POINT
    return lambda p: (left + p[0] * factor, bottom + (height_mm - p[1]) * factor)


def trace(canvas: Any, area: Area, at: PointMap) -> Any:
    """Give the outlines of an area as a path of the page; fill it by the even-odd rule."""
    path = canvas.beginPath()
    for ring in area.rings:
        if not ring.segments:
            continue
        path.moveTo(*at(ring.segments[0].start))
        last = len(ring.segments) - 1
        for number, segment in enumerate(ring.segments):
            if not isinstance(segment, Line):
                path.curveTo(*at(segment.control1), *at(segment.control2), *at(segment.end))
            elif number < last:
                path.lineTo(*at(segment.end))
        path.close()
    return path
