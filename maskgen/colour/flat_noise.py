"""How noisy a picture is, and a calmer version of it to look for flat colours in."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_zones import block_range

_STRONG_EDGE = 40
"""Range of a 2 x 2 block (levels) from which it is an edge for certain."""

_CLEAN_RANGE = 2.0
"""Ranges up to this (levels) are rounding and slow gradients, not noise."""


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


def measure_noise(levels: NDArray[np.uint8]) -> Noise:
    """Estimate grain from second differences (Immerkaer 1996, as a median), ringing from the surroundings of edges."""
    if min(levels.shape[:2]) < 3:
        return Noise(0.0, 0.0)
    ranges = block_range(levels, 2)
    signed = levels.astype(np.int16)
    twist = np.abs(signed[:-1, :-1] - signed[1:, :-1] - signed[:-1, 1:] + signed[1:, 1:])
    grain = max(float(np.median(twist[..., c])) for c in range(levels.shape[2])) / (2 * 0.6745)
    strong = (ranges > _STRONG_EDGE).astype(np.uint8)
    close, around = cv2.dilate(strong, np.ones((5, 5), np.uint8)), cv2.dilate(strong, np.ones((15, 15), np.uint8))
    beside = ranges[(around > 0) & (close == 0) & (ranges < 30)]
    typical = float(np.percentile(beside, 75)) if beside.size > 50 else 0.0
    # The range of four samples is some two standard deviations (2.06 for normal noise).
    return Noise(grain, typical / 2.06 if typical > _CLEAN_RANGE else 0.0)


def calm(levels: NDArray[np.uint8], noise: Noise) -> NDArray[np.uint8]:
    """Smooth noise away and keep edges: a bilateral filter, twice."""
    if noise.clean:
        return levels
    colour = np.ascontiguousarray(levels[..., :3])
    for _ in range(2):
        colour = np.asarray(cv2.bilateralFilter(colour, 7, 4.0 * noise.level + 4.0, 2.0), dtype=np.uint8)
    return colour if levels.shape[2] == 3 else np.dstack([colour, levels[..., 3]])
