"""Where a slit ends in the open: how far past its mouth growth has to be held off. Millimetres.

Growth is round about the corners of a mouth, so it bulges in front of the slit and would shut it there. The line held
open goes on along the places equally far from two walls (a Voronoi diagram of points along them, Okabe et al., Spatial
Tessellations), away from the slit, until the grown edges are apart by themselves.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Voronoi, cKDTree
from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

PIECE_MM = 0.01
"""A line is looked at in pieces no longer than this."""
HAIR_MM = 0.03
"""Slits no wider are where two shapes touch as good as at a point; led on they would be cracks in the growth."""
LEAST_STEP_MM = 0.005
"""Points along the walls are no closer than this."""
EVEN = 0.9
"""Past a mouth its walls are at least this share of its width apart; where a line runs into a corner they are not."""
STEPS_ACROSS = 5
"""Points along a wall per width of what is kept open."""


def past_the_mouths(
    walls: BaseGeometry, centres: Floats, kept: Floats, half: Floats, *, growth_mm: float, near_mm: float
) -> tuple[Floats, Floats]:
    """Give the line on from a slit past its mouths, up to where growth no longer reaches it.

    Parameters
    ----------
    walls
        What grows and what lies, the slit between them.
    centres, kept, half
        Points along the middle of the slit, what is kept open there and half its width.
    near_mm
        Spacing of these points.

    Returns
    -------
    tuple of ndarray
        Short pieces of the line, (n, 2, 2), and what is kept open along each, (n,).
    """
    wide = kept > HAIR_MM
    if not wide.any():
        return np.zeros((0, 2, 2)), np.zeros(0)
    centres, kept, half = centres[wide], kept[wide], half[wide]
    reach = growth_mm + float(kept.max())
    points = _along(walls.boundary, centres, reach + near_mm, max(LEAST_STEP_MM, float(kept.min()) / STEPS_ACROSS))
    middle, size = points.mean(axis=0), 100 * (np.ptp(points, axis=0).max() + reach)
    frame = middle + size * np.array([(-1, -1), (-1, 1), (1, -1), (1, 1)])  # so that every line has two ends
    diagram = Voronoi(np.vstack([points, frame]))
    pairs = np.array(diagram.ridge_vertices)
    sides = diagram.points[diagram.ridge_points]
    finite = (pairs.min(axis=1) >= 0) & (diagram.ridge_points.max(axis=1) < len(points))
    pairs, sides = pairs[finite], sides[finite]
    ends, lowest = _within(diagram.vertices[pairs], sides, reach)
    across = np.hypot(*(sides[:, 0] - sides[:, 1]).T)
    slit = cKDTree(centres)
    nearest = slit.query(ends)[1][np.arange(len(ends)), slit.query(ends)[0].argmin(axis=1)]
    leads = (across > 2 * EVEN * half[nearest]) & (lowest < reach) & (lowest > EVEN * half[nearest])
    leads &= ~shapely.intersects_xy(walls, *ends.mean(axis=1).T)
    pairs, ends, nearest = pairs[leads], ends[leads], nearest[leads]
    if not len(pairs):
        return np.zeros((0, 2, 2)), np.zeros(0)
    count = len(diagram.vertices)
    links = coo_array((np.ones(len(pairs), dtype=np.int8), tuple(pairs.T)), shape=(count, count))
    group = connected_components(links, directed=False)[1][pairs[:, 0]]
    leads = np.isin(group, np.unique(group[slit.query(ends)[0].min(axis=1) < near_mm]))
    return _short(ends[leads], kept[nearest[leads]])


def _within(ends: Floats, sides: Floats, reach_mm: float) -> tuple[Floats, Floats]:
    """Cut lines between two points off where they get too far from both; give the least distance from them too."""
    foot = sides.mean(axis=1)
    apart = sides[:, 1] - sides[:, 0]
    half = np.hypot(*apart.T) / 2
    along = np.stack([-apart[:, 1], apart[:, 0]], axis=1) / (2 * half[:, None])
    place = np.sum((ends - foot[:, None]) * along[:, None], axis=2)
    most = np.sqrt(np.maximum(reach_mm**2 - half**2, 0.0))[:, None]
    lowest = np.hypot(half, np.where(np.ptp(np.sign(place), axis=1) > 1, 0.0, np.abs(place).min(axis=1)))
    place = np.clip(place, -most, most)
    return foot[:, None] + place[:, :, None] * along[:, None], lowest


def _short(lines: Floats, kept: Floats) -> tuple[Floats, Floats]:
    """Cut lines into pieces so short that one place tells of each."""
    count = np.maximum(1, np.ceil(np.hypot(*(lines[:, 1] - lines[:, 0]).T) / PIECE_MM)).astype(np.int64)
    which = np.repeat(np.arange(len(lines)), count)
    k = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    start, step = lines[which, 0], (lines[which, 1] - lines[which, 0]) / count[which, None]
    return np.stack([start + k[:, None] * step, start + (k[:, None] + 1) * step], axis=1), kept[which]


def _along(outline: BaseGeometry, centres: Floats, reach_mm: float, step_mm: float) -> Floats:
    """Spread points along what is near some places of an outline; its corners are among them."""
    parts = shapely.get_parts(outline)
    lines = np.concatenate(
        [shapely.linestrings(np.stack([c[:-1], c[1:]], axis=1)) for c in map(shapely.get_coordinates, parts)]
    )
    close = shapely.STRtree(lines).query(shapely.points(centres), predicate="dwithin", distance=reach_mm)[1]
    spread = shapely.get_coordinates(shapely.segmentize(lines[np.unique(close)], step_mm))
    spread = spread[cKDTree(centres).query(spread, distance_upper_bound=reach_mm)[0] < np.inf]
    return np.unique(np.round(spread, 6), axis=0)
