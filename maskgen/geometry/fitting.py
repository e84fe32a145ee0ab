"""Ordered points with noise to few lines and cubics.

For points along a boundary, about one a pixel, whose places are known with a standard deviation `sigma`: corners are
found where the runs on both sides meet at an angle, everything between is fitted by least squares, so that the noise
averages out.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from maskgen.geometry.cubics import Floats, Places, Spans, fit_spans, to_cubic, to_places, unit
from maskgen.geometry.exact import fit_area_exact, fit_exact
from maskgen.model.paths import Line, Points, Ring, Segment

__all__ = ["fit_area_exact", "fit_closed", "fit_exact", "fit_open"]

CORNER_TURN = np.radians(35.0)
"""A larger turn between the directions on both sides of a point is a corner."""


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
        Places along the boundary in order, (n, 2).
    sigma
        Standard deviation of a point square to the boundary, one number or one per point.
    tolerance
        Largest distance of a point from the fit; 4 sigma when left out.
    corners
        Indices of points that are corners, where these are known.
    """
    places = to_places(np.asarray(points, dtype=np.float64))
    keep = np.append(True, np.abs(np.diff(places)) > 0)
    deviation = np.broadcast_to(np.asarray(sigma, dtype=np.float64), places.shape)[keep]
    places = places[keep]
    if len(places) < 2:
        return ()
    found = _corners(places, deviation, closed=False) if corners is None else list(corners)
    marks = sorted({0, len(places) - 1, *found})
    limit = tolerance if tolerance is not None else 4.0 * float(np.median(deviation))
    segments: list[Segment] = []
    for a, b in itertools.pairwise(marks):
        segments += _fit_smooth(places[a : b + 1], limit, None)
    return tuple(segments)


def fit_closed(
    points: Points,
    *,
    sigma: float | Floats,
    tolerance: float | None = None,
    corners: Sequence[int] | None = None,
) -> Ring:
    """Fit a closed run, the first point not repeated at the end; see `fit_open`."""
    places = to_places(np.asarray(points, dtype=np.float64))
    keep = np.abs(places - np.roll(places, 1)) > 0
    deviation = np.broadcast_to(np.asarray(sigma, dtype=np.float64), places.shape)[keep]
    places = places[keep]
    limit = tolerance if tolerance is not None else 4.0 * float(np.median(deviation))
    found = _corners(places, deviation, closed=True) if corners is None else sorted(corners)
    segments: list[Segment] = []
    if not found:
        start = int(np.argmax(places.real))
        closed = np.append(np.roll(places, -start), places[start])
        wide = np.take(places, np.arange(start - 3, start + 4), mode="wrap")
        segments = _fit_smooth(closed, limit, complex(unit(wide[4:].mean() - wide[:3].mean())))
    else:
        for a, b in zip(found, [*found[1:], found[0] + len(places)], strict=True):
            segments += _fit_smooth(np.take(places, np.arange(a, b + 1), mode="wrap"), limit, None)
    return Ring(tuple(segments))


def _corners(places: Places, deviation: Floats, *, closed: bool) -> list[int]:
    count = len(places)
    reach = int(np.clip(round(3 + 6 * float(np.median(deviation))), 1, max(1, count // 4)))
    index = np.arange(count)[:, None]
    offsets = np.arange(1, reach + 1)
    ahead = places[_within(index + offsets, count, closed)].mean(axis=1) - places
    behind = places - places[_within(index - offsets, count, closed)].mean(axis=1)
    turn = np.abs(np.angle(ahead * np.conj(behind)))
    if not closed:
        turn[:2] = turn[-2:] = 0
    strong = np.flatnonzero(turn > CORNER_TURN)
    chosen: list[int] = []
    for k in strong[np.argsort(-turn[strong], kind="stable")]:
        gaps = [abs(int(k) - c) for c in chosen]
        if all(min(g, count - g if closed else g) > reach for g in gaps):
            chosen.append(int(k))
    return sorted(chosen)


def _within(index: NDArray[np.int_], count: int, closed: bool) -> NDArray[np.int_]:
    return index % count if closed else np.clip(index, 0, count - 1)


def _fit_smooth(places: Places, limit: float, seam: complex | None) -> list[Segment]:
    """Halve until one line or cubic is within the limit; tangents at halvings are shared."""
    count = len(places)
    reach = min(4, max(1, count // 6))
    index, steps = np.arange(count)[:, None], np.arange(1, reach + 1)
    ahead, behind = _within(index + steps, count, False), _within(index - steps, count, False)
    tangents = unit(places[ahead].mean(axis=1) - places[behind].mean(axis=1))
    if seam is not None:
        tangents[0] = tangents[-1] = seam
    segments: list[Segment] = []
    stack = [(0, count - 1)]
    while stack:
        a, b = stack.pop()
        run = places[a : b + 1]
        chord = run[-1] - run[0]
        if abs(chord) > 0 and (b == a + 1 or np.abs(((run - run[0]) * np.conj(chord)).imag).max() / abs(chord) < limit):
            segments.append(_line(run[0], run[-1]))
            continue
        free = seam is None
        spans = Spans(
            run[None],
            np.ones((1, len(run))),
            tangents[[a]],
            tangents[[b]],
            np.array([free and a == 0]),
            np.array([free and b == count - 1]),
        )
        control, distance = fit_spans(spans)
        if np.abs(distance).max() < limit or b - a < 6:
            segments.append(to_cubic(control[0]))
        else:
            middle = (a + b) // 2
            stack += [(middle, b), (a, middle)]
    return segments


def _line(a: complex, b: complex) -> Line:
    return Line((float(a.real), float(a.imag)), (float(b.real), float(b.imag)))
