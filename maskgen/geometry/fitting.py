"""Ordered points with noise to few lines and cubics.

For points along a boundary, about one a pixel, whose places are known with a standard deviation `sigma`. The boundary
is described as cheaply as the noise allows: runs of lines and cubics are chosen together with their joints, smooth or
sharp (`selection`), then all fitted at once (`refining`), so that noise averages out and corners lie where their two
sides meet.

A corner is a break of direction of 18 degrees or more (4 between two straight runs) that explains the points more
cheaply than a curve does; joints of less than that share their tangent. A curve tighter than about a step and a half
cannot be told from a corner and becomes one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from maskgen.geometry.candidates import candidates
from maskgen.geometry.circles import circle_of
from maskgen.geometry.cubics import Flags, Floats, Places
from maskgen.geometry.cuts import around, coarse
from maskgen.geometry.exact import fit_area_exact, fit_exact
from maskgen.geometry.prices import FREEDOMS, freedom_price
from maskgen.geometry.refining import refine
from maskgen.geometry.runs import CUBIC, Indices
from maskgen.geometry.samples import Samples, prepare
from maskgen.geometry.selection import select
from maskgen.model.paths import Cubic, Line, Points, Ring, Segment, flatten, flatten_segment, polygon_ring

__all__ = ["fit_area_exact", "fit_closed", "fit_exact", "fit_open"]

TOLERANCE_SIGMAS = 3.0
"""A tolerance is taken as this many standard deviations."""
SHARP_SIGMA = 0.06
"""Points better than this (steps) tell the place of a joint to about one sample."""
CHECK_STEP = 0.003
"""Chord error, in steps, of the outline that is checked for crossing itself."""
MOST_COST = 4.0
"""Runs whose misfit costs more than this many cubics are not considered."""


def fit_open(
    points: Points,
    *,
    sigma: float | Floats,
    tolerance: float | None = None,
    corners: Sequence[int] | None = None,
) -> tuple[Segment, ...]:
    """Fit an open run; first and last point are kept exactly as ends.

    Parameters
    ----------
    points
        Places along the boundary in order, (n, 2), about evenly spaced.
    sigma
        Standard deviation of a point square to the boundary, one number or one per point.
    tolerance
        How far a point may well lie from the fit, however small sigma: allows fewer nodes.
    corners
        Indices of the points nearest to corners, where these are known; none else are made then.
    """
    points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    samples, step, kept = prepare(points, _loosened(sigma, tolerance), closed=False)
    if len(kept) < 2:
        return ()
    nodes = points[kept]
    if len(kept) > 2:
        control, straight = _fitted(samples, _flags(corners, kept, len(points)))
        control *= step
        control[0, 0], control[-1, 3] = complex(*points[kept[0]]), complex(*points[kept[-1]])
        segments = _segments(control, straight)
        drawn = np.vstack([[segments[0].start], *(flatten_segment(s, CHECK_STEP * step) for s in segments)])
        if shapely.LineString(drawn).is_simple or not shapely.LineString(nodes).is_simple:
            return segments
        nodes = shapely.get_coordinates(shapely.LineString(nodes).simplify(_slack(samples, step)))
    return polygon_ring(nodes).segments[:-1]


def fit_closed(
    points: Points,
    *,
    sigma: float | Floats,
    tolerance: float | None = None,
    corners: Sequence[int] | None = None,
) -> Ring:
    """Fit a closed run, the first point not repeated at the end; see `fit_open`."""
    points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    samples, step, kept = prepare(points, _loosened(sigma, tolerance), closed=True)
    nodes = points[kept]
    if len(kept) < 4:
        return polygon_ring(nodes)
    circle = circle_of(samples) if corners is None else None
    if circle is not None:
        return Ring(_segments(circle * step, np.zeros(4, dtype=bool)))
    control, straight = _fitted(samples, _flags(corners, kept, len(points)))
    ring = Ring(_segments(control * step, straight))
    drawn = flatten(ring, CHECK_STEP * step)
    outline = shapely.LinearRing(nodes)
    if not outline.is_simple or (len(drawn) > 2 and shapely.LinearRing(drawn).is_simple):
        return ring
    thin = shapely.get_coordinates(outline.simplify(_slack(samples, step)))[:-1]
    return polygon_ring(thin if len(thin) > 2 and shapely.LinearRing(thin).is_simple else nodes)


def _slack(samples: Samples, step: float) -> float:
    return 2 * float(np.median(samples.sigma)) * step


def _loosened(sigma: float | Floats, tolerance: float | None) -> float | Floats:
    return sigma if tolerance is None else np.maximum(sigma, tolerance / TOLERANCE_SIGMAS)


def _flags(corners: Sequence[int] | None, kept: Indices, count: int) -> Flags | None:
    if corners is None:
        return None
    given = np.zeros(count, dtype=bool)
    given[list(corners)] = True
    return np.asarray(given[kept])


def _fitted(samples: Samples, allowed: Flags | None) -> tuple[Places, Flags]:
    forced = np.zeros(0, dtype=int) if allowed is None else np.flatnonzero(allowed)
    most_cost = MOST_COST * float(FREEDOMS[CUBIC]) * freedom_price(len(samples.places))
    grid = coarse(samples, forced)
    chain = select(samples, candidates(samples, grid, most_cost=most_cost), allowed=allowed)
    # The better the points, the more a joint's place matters: it is looked for closer and closer.
    rounds = 0 if len(grid.at) == len(samples.places) else 1 + (float(np.median(samples.sigma)) < SHARP_SIGMA)
    for _ in range(rounds):
        joints = chain.runs.first if samples.closed else np.append(chain.runs.first, chain.runs.last[-1])
        if len(joints) < 2:
            break
        grid = around(samples, grid, joints, forced)
        chain = select(samples, candidates(samples, grid, most_cost=most_cost), allowed=allowed)
    control, straight, _ = refine(samples, chain)
    return control, straight


def _segments(control: Places, straight: Flags) -> tuple[Segment, ...]:
    """Control points as segments, each starting at the very numbers the one before ends at."""
    segments: list[Segment] = []
    for points, line in zip(control, straight, strict=True):
        start, first, second, end = ((float(p.real), float(p.imag)) for p in points)
        if segments:
            start = segments[-1].end
        segments.append(Line(start, end) if line else Cubic(start, first, second, end))
    if abs(control[0, 0] - control[-1, 3]) < 1e-9 * float(np.abs(control).max()):
        segments[-1] = replace(segments[-1], end=segments[0].start)
    return tuple(segments)
