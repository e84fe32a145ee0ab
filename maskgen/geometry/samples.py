"""Ordered points with known noise, made ready for fitting.

Lengths here are counted in the points' own mean spacing ("steps"; about one pixel while tracing), because what is
known about a sample near a corner depends on the grid it came from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.geometry.cubics import Floats, Places, to_places
from maskgen.model.paths import Points

LEAST_SIGMA = 0.012
"""Least deviation believed, in steps: nothing measured on a pixel grid is better placed."""
MOST_SIGMA = 1e3
"""A sample worse than this many steps says nothing; infinite and unknown deviations come down to it."""
QUIET_SHARE, QUIET_DEVIATION = 0.3, 0.3853
"""The noise is judged by the quietest 30 %: |x| of a normal variable is under 0.3853 deviations in 30 % of cases."""
LEAST_FOR_NOISE = 40
"""Fewer samples say nothing about their own noise."""


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Points of one boundary; when closed, the first follows the last.

    Attributes
    ----------
    places : (n,)
        The points as complex numbers, in steps.
    sigma : (n,)
        Standard deviation square to the boundary, in steps.
    arc : (n + 1,) or (n,)
        Length of the polygon up to each point; when closed, the whole length at the end.
    closed : bool
    """

    places: Places
    sigma: Floats
    arc: Floats
    closed: bool

    @property
    def length(self) -> float:
        """Length of the polygon through all points."""
        return float(self.arc[-1])

    def take(self, index: NDArray[np.int_]) -> Places:
        """Points by index; when closed, any integer counts round and round."""
        return self.places[index % len(self.places)] if self.closed else self.places[index]

    def arc_at(self, index: NDArray[np.int_]) -> Floats:
        """Length up to a point by index; when closed, one lap more adds the whole length."""
        if not self.closed:
            return self.arc[index]
        lap, rest = np.divmod(index, len(self.places))
        return np.asarray(self.arc[rest] + lap * self.length)


def prepare(points: Points, sigma: float | Floats, *, closed: bool) -> tuple[Samples, float, NDArray[np.int_]]:
    """Drop repeated points and scale to steps.

    Returns
    -------
    Samples
    float
        Length of a step in the unit of the points.
    NDArray[np.int_]
        Index of each kept point among the given ones.
    """
    places = to_places(np.asarray(points, dtype=np.float64).reshape(-1, 2))
    deviation = np.broadcast_to(np.asarray(sigma, dtype=np.float64), places.shape)
    gaps = np.abs(places - np.roll(places, 1))
    least = 1e-12 + 1e-6 * float(np.median(gaps)) if len(gaps) else 0.0
    if not closed and len(gaps):
        gaps[0] = np.inf
    kept = np.flatnonzero(gaps > least)
    places, deviation = places[kept], deviation[kept]
    around = np.append(places, places[0]) if closed and len(places) else places
    steps = np.abs(np.diff(around))
    step = float(np.mean(steps)) if len(steps) else 1.0
    arc = np.append(0.0, np.cumsum(steps)) / step
    scaled = places / step
    deviation = np.nan_to_num(deviation / step, nan=MOST_SIGMA, posinf=MOST_SIGMA)
    believed = np.clip(deviation, max(LEAST_SIGMA, _own_noise(scaled, closed)), MOST_SIGMA)
    return Samples(scaled, believed, arc, closed), step, kept


def _own_noise(places: Places, closed: bool) -> float:
    """Deviation the samples themselves show: fourth differences, which curves hardly have."""
    if len(places) < LEAST_FOR_NOISE:
        return 0.0
    around = np.concatenate([places[-2:], places, places[:2]]) if closed else places
    fourth = around[:-4] - 4 * around[1:-3] + 6 * around[2:-2] - 4 * around[3:-1] + around[4:]
    along = around[4:] - around[:-4]
    square = np.abs((fourth * np.conj(along)).imag) / np.maximum(np.abs(along), 1e-9)
    return float(np.quantile(square, QUIET_SHARE)) / QUIET_DEVIATION / float(np.sqrt(70.0))
