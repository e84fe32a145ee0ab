"""Lines of the knife for cutters that do not compensate themselves: overcut, and the offset of a drag blade.

A drag blade's tip trails behind the axis it swivels on. To draw an outline with the tip, the axis runs ahead of it by
the offset, along the tangent, and at a corner swings round the tip until the blade points the new way. Between two
outlines the blade keeps its direction: a line begins with the tip on its start, wherever the blade points, and swings.
The result is for the machine alone: it is no longer the outline, and with an overcut it runs over its own beginning.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Points, Ring, flatten

CHORD_MM = 0.005

SWING_RAD = np.radians(10.0)
"""A swing's chords: at an offset of 1 mm they stay within 4 um of the arc."""

_SAME_MM = 1e-6

Floats = NDArray[np.float64]


def knife_paths(drawing: CutDrawing, *, overcut_mm: float = 0.0, knife_offset_mm: float = 0.0) -> tuple[Points, ...]:
    """Give the axis' lines in cutting order, (n, 2) each in the drawing's frame; with neither, the closed outlines.

    They run past the pieces by up to the offset, so the drawing needs a margin of that.
    """
    paths: list[Points] = []
    pointing: Floats | None = None
    for piece in drawing.pieces:
        for ring in (*piece.holes, piece.outer):
            tip = _tip_path(ring, overcut_mm)
            if len(tip) < 2:
                continue
            if knife_offset_mm <= 0:
                paths.append(tip)
                continue
            heading = np.arctan2(*np.diff(tip, axis=0).T[::-1])
            before = heading[:1] if pointing is None else pointing
            paths.append(_axis_path(tip, np.concatenate([before, heading]), knife_offset_mm))
            pointing = heading[-1:]
    return tuple(paths)


def _tip_path(ring: Ring, overcut: float) -> Points:
    """Give the closed outline, run on past its start by the overcut (at most half way round)."""
    corners: Points = flatten(ring, CHORD_MM)
    if len(corners) < 2:
        return corners
    corners = corners[np.hypot(*(corners - np.roll(corners, 1, axis=0)).T) > _SAME_MM]
    if len(corners) < 2:
        return corners
    closed = np.vstack([corners, corners[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    beyond = min(overcut, along[-1] / 2)
    if beyond <= _SAME_MM:
        return closed
    passed = closed[1:][along[1:] < beyond - _SAME_MM]
    end = [np.interp(beyond, along, closed[:, axis]) for axis in (0, 1)]
    return np.vstack([closed, passed, [end]])


def _axis_path(tip: Points, heading: Floats, offset: float) -> Points:
    """Lead every corner of the tip's line by the offset; `heading` is that before corner k at k, after it at k + 1."""
    points = [p for k in range(len(tip) - 1) for p in _swing(tip[k], heading[k], heading[k + 1], offset)]
    last = tip[-1] + offset * np.array([np.cos(heading[-1]), np.sin(heading[-1])])
    return np.vstack([*points, last])


def _swing(corner: Floats, before: float, after: float, offset: float) -> Iterator[Floats]:
    turn = (after - before + np.pi) % (2 * np.pi) - np.pi
    steps = max(1, int(np.ceil(abs(turn) / SWING_RAD)))
    for angle in before + turn * np.arange(steps + 1) / steps:
        yield corner + offset * np.array([np.cos(angle), np.sin(angle)])
