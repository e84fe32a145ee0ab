"""The window a mask is drawn in: the face, and whatever of its vinyl runs past the face."""

from __future__ import annotations

from maskgen.model.paths import Area, Line, bounds

CURVE_MM = 0.01
"""More room where a curve reaches furthest: the arcs and chords of cut formats leave it by less than this."""


def mask_window(area: Area, face_mm: tuple[float, float]) -> tuple[float, float, float, float]:
    """Give left, top, width and height of the window, in the frame of the face."""
    low, high = [0.0, 0.0], list(face_mm)
    if area.pieces:
        left, top, right, bottom = bounds(area)
        corners = [s.end for piece in area.pieces for s in piece.outer.segments if isinstance(s, Line)]
        for axis, (least, most) in enumerate(((left, right), (top, bottom))):
            straight = [corner[axis] for corner in corners]
            if least < low[axis]:
                low[axis] = least if straight and min(straight) <= least else least - CURVE_MM
            if most > high[axis]:
                high[axis] = most if straight and max(straight) >= most else most + CURVE_MM
    return low[0], low[1], high[0] - low[0], high[1] - low[1]
