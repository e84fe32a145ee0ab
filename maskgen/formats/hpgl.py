"""Cut drawings to HPGL: 40 units per millimetre, y up, absolute whole numbers, nothing below zero.

Speed, force and blade stay with the machine. Source of the unit and the instructions: HPGL summaries (IN, SP, PU, PD).
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray

from maskgen.errors import InputError
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Points, Ring, flatten_segment
from maskgen.units import HPGL_UNITS_PER_MM

CHORD_MM = 0.006
THIN_MM = 0.0025
"""A curve becomes chords that rise this much; corners nearer than the second to their neighbours' line are left out.

Together under a third of a unit. Finer chords would be no truer: corners a few units apart are rounded to a staircase,
which a blade follows.
"""

MAX_CORNERS = 16
"""Corners per instruction: keeps it below 255 bytes, which old machines' buffers hold (common practice, no source)."""

Units = NDArray[np.int64]


def write_cut(drawing: CutDrawing) -> bytes:
    """Write every piece as closed lines, its holes before its outline; the pen is up at the end.

    Raises
    ------
    InputError
        When something lies outside the drawing's window.
    """
    rings = (ring for piece in drawing.pieces for ring in (*piece.holes, piece.outer))
    return write_paths(drawing, (_closed(_thinned(_chords(ring))) for ring in rings))


def write_paths(window: CutDrawing, paths: Iterable[Points]) -> bytes:
    """Write lines of the knife, (n, 2) each in the frame of the drawing, just as they are; only its window is used.

    Raises
    ------
    InputError
        When something lies outside the window.
    """
    out = ["IN;SP1;"]
    for path in paths:
        corners = _units(path, window)
        if len(corners) > 1:
            out.extend(_instructions(corners))
    return "\n".join([*out, "PU;SP0;", ""]).encode("ascii")


def _instructions(corners: Units) -> list[str]:
    rest = corners[1:]
    runs = [rest[k : k + MAX_CORNERS] for k in range(0, len(rest), MAX_CORNERS)]
    return [f"PU{_pairs(corners[:1])};", *(f"PD{_pairs(run)};" for run in runs)]


def _pairs(corners: Units) -> str:
    return ",".join(map(str, corners.ravel().tolist()))


def _units(path: Points, window: CutDrawing) -> Units:
    """Round positions to the grid, y up, and drop corners that fall on the one before."""
    shifted = np.column_stack([path[:, 0] - window.left, window.top + window.height - path[:, 1]])
    units = np.rint(shifted * HPGL_UNITS_PER_MM).astype(np.int64)
    size = np.array([window.width, window.height]) * HPGL_UNITS_PER_MM
    most = np.ceil(size - 1e-6)
    if np.any(units < 0) or np.any(units > most):
        outside = path[np.any((units < 0) | (units > most), axis=1)][0]
        raise InputError(
            f"the cut line at {outside[0]:.2f}, {outside[1]:.2f} mm lies outside the sheet "
            f"of {window.width:.2f} x {window.height:.2f} mm",
            where="HPGL",
            mend="make the sheet larger",
        )
    units = np.minimum(units, np.floor(size + 1e-6).astype(np.int64))  # nor does rounding take a line past the sheet
    moved = np.any(np.diff(units, axis=0) != 0, axis=1)
    return units[np.concatenate([[True], moved])] if len(units) else units


def _chords(ring: Ring) -> Points:
    """Give corners on both sides of the ring's curves, so that the chords enclose the same area.

    Chords that rise by s from their curve lose two thirds of s along it; their inner corners are moved out by as much.
    With even steps s is an eighth of the second difference of the corners.
    """
    runs = []
    for segment in ring.segments:
        run = np.vstack([[segment.start], flatten_segment(segment, CHORD_MM)])
        run[1:-1] -= (run[:-2] - 2 * run[1:-1] + run[2:]) / 12
        runs.append(run[:-1])
    return np.vstack(runs) if runs else np.zeros((0, 2))


def _closed(corners: Points) -> Points:
    return np.vstack([corners, corners[:1]])


def _thinned(corners: Points) -> Points:
    """Leave out corners that the grid cannot show."""
    if len(corners) < 4:
        return corners
    ring = shapely.simplify(shapely.linearrings(corners), THIN_MM, preserve_topology=True)
    return np.asarray(shapely.get_coordinates(ring)[:-1], dtype=np.float64)
