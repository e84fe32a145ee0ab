"""How noisy a picture is, and a calmer version of it to look for flat colours in."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

_STRONG_EDGE = 40
"""Range of a 2 x 2 block (levels) from which it is an edge for certain."""

_WEAK_EDGE = 30
"""Ranges from here on are more likely an edge than noise."""

_LEAST_RANGE = 2.0
"""Ringing of less (levels) is rounding."""

_TWISTED_SHARE = 0.045
"""Ringing has second differences as large as half its steps in many places; blur and gradients hardly any."""

_LEAST_SAMPLE = 50


_SAMPLE = 500_000
"""Blocks that are plenty for a quantile."""


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviation, in levels, of grain everywhere (`grain`) and of ringing beside edges (`ringing`)."""

    grain: float
    ringing: float

    @property
    def clean(self) -> bool:
        """Whether flat colours are exact."""
        return self.grain < 0.7 and self.ringing == 0.0

    @property
    def level(self) -> float:
        """The larger of the two."""
        return max(self.grain, self.ringing)


def measure_noise(levels: NDArray[np.uint8], ranges: NDArray[np.uint8]) -> Noise:
    """Estimate grain from second differences (Immerkaer 1996, as a median), ringing from the surroundings of edges.

    `ranges` are those of 2 x 2 blocks (`block_range`).
    """
    if not ranges.size:
        return Noise(0.0, 0.0)
    rows = np.arange(0, ranges.shape[0], max(1, ranges.size // _SAMPLE))
    upper, lower = levels[rows].astype(np.int16), levels[rows + 1].astype(np.int16)
    twist = np.abs(upper[:, :-1] - lower[:, :-1] - upper[:, 1:] + lower[:, 1:])
    grain = max(_median(twist[..., c]) for c in range(levels.shape[2])) / (2 * 0.6745)
    strong = (ranges > _STRONG_EDGE).astype(np.uint8)
    close, around = cv2.dilate(strong, np.ones((5, 5), np.uint8)), cv2.dilate(strong, np.ones((15, 15), np.uint8))
    beside = np.flatnonzero((around > close) & (ranges < _WEAK_EDGE))
    if beside.size < _LEAST_SAMPLE:
        return Noise(grain, 0.0)
    y, x = np.divmod(beside[:: max(1, beside.size // _SAMPLE)], ranges.shape[1])
    signed = (levels[y + dy, x + dx].astype(np.int16) for dy, dx in ((0, 0), (0, 1), (1, 0), (1, 1)))
    a, b, c, d = signed
    twists = np.abs(a - b - c + d).max(axis=1)
    twisted = (twists >= 2) & (2 * twists >= ranges[y, x])
    if float(twisted.mean()) <= _TWISTED_SHARE:
        return Noise(grain, 0.0)
    # The range of four samples is some two standard deviations (2.06 for normal noise).
    return Noise(grain, max(float(np.percentile(ranges[y, x], 75)), _LEAST_RANGE) / 2.06)


def _median(values: NDArray[np.int16]) -> float:
    below = np.cumsum(np.bincount(values.ravel()))
    return float(np.searchsorted(below, below[-1] / 2))


def calm(levels: NDArray[np.uint8], noise: Noise) -> NDArray[np.uint8]:
    """Smooth noise away and keep edges: a bilateral filter, twice."""
    if noise.clean:
        return levels
    colour = np.ascontiguousarray(levels[..., :3])
    for _ in range(2):
        colour = np.asarray(cv2.bilateralFilter(colour, 7, 3.0 * noise.level + 4.0, 2.0), dtype=np.uint8)
    return colour if levels.shape[2] == 3 else np.dstack([colour, levels[..., 3]])
