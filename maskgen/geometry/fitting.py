"""Ordered points with noise to few lines and cubics.

For points along a boundary, about one a pixel, whose places are known with a standard deviation `sigma`. The boundary
is described as cheaply as the noise allows: runs of lines and cubics are chosen together with their joints, smooth or
sharp (`selection`), then all fitted at once (`refining`), so that noise averages out and corners lie where their two
sides meet.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from maskgen.geometry.candidates import candidates
from maskgen.geometry.cubics import Flags, Floats, Places
from maskgen.geometry.cuts import around, coarse
from maskgen.geometry.exact import fit_area_exact, fit_exact
from maskgen.geometry.prices import FREEDOMS, freedom_price
from maskgen.geometry.refining import refine
from maskgen.geometry.runs import CUBIC, Indices
from maskgen.geometry.samples import Samples, prepare
from maskgen.geometry.selection import select
from maskgen.model.paths import Cubic, Line, Point, Points, Ring, Segment

__all__ = ["fit_area_exact", "fit_closed", "fit_exact", "fit_open"]

TOLERANCE_SIGMAS = 3.0
"""A tolerance is taken as this many standard deviations."""
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
    samples, step, kept = prepare(points, _loosened(sigma, tolerance), closed=False)
    if len(samples.places) < 2:
        return ()
    (x0, y0), (x1, y1) = points[kept[0]], points[kept[-1]]
    ends = ((float(x0), float(y0)), (float(x1), float(y1)))
    control, straight = _fitted(samples, _flags(corners, kept, len(points)))
    return _segments(control * step, straight, ends)


def fit_closed(
    points: Points,
    *,
    sigma: float | Floats,
    tolerance: float | None = None,
    corners: Sequence[int] | None = None,
) -> Ring:
    """Fit a closed run, the first point not repeated at the end; see `fit_open`."""
    samples, step, kept = prepare(points, _loosened(sigma, tolerance), closed=True)
    control, straight = _fitted(samples, _flags(corners, kept, len(points)))
    return Ring(_segments(control * step, straight, None))


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
    if len(grid.at) < len(samples.places):
        joints = chain.runs.first if samples.closed else np.append(chain.runs.first, chain.runs.last[-1])
        if len(joints) > 1:
            finer = around(samples, grid, joints, forced)
            chain = select(samples, candidates(samples, finer, most_cost=most_cost), allowed=allowed)
    control, straight, _ = refine(samples, chain)
    return control, straight


def _segments(control: Places, straight: Flags, ends: tuple[Point, Point] | None) -> tuple[Segment, ...]:
    nodes = [(float(p.real), float(p.imag)) for p in control[:, 0]]
    nodes.append(nodes[0])
    if ends is not None:
        nodes[0], nodes[-1] = ends
    segments: list[Segment] = []
    for k, (_, first, second, _) in enumerate(control):
        if straight[k]:
            segments.append(Line(nodes[k], nodes[k + 1]))
        else:
            inner = ((float(first.real), float(first.imag)), (float(second.real), float(second.imag)))
            segments.append(Cubic(nodes[k], *inner, nodes[k + 1]))
    return tuple(segments)
