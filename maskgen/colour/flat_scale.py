"""Whether a picture was enlarged by repeating pixels."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

_LARGEST = 16
_LEAST_STEPS = 8
"""Fewer places where rows (or columns) change prove nothing: a few rectangles may lie on a grid by design."""

_FILLED = 0.3
"""Share of the grid's lines, between the first and the last change, at which a picture of curves changes."""


def true_scale(pixels: NDArray[np.uint8]) -> int:
    """Give the whole factor by which a picture (height, width, channels) was enlarged without smoothing, 1 if not."""
    factors = []
    for axis in (0, 1):
        size = pixels.shape[axis]
        ahead, behind = (np.take(pixels, np.arange(s, size - 1 + s), axis=axis) for s in (1, 0))
        changes = np.flatnonzero((ahead != behind).any(axis=(1 - axis, 2))) + 1
        if len(changes) < _LEAST_STEPS:
            return 1
        factor = math.gcd(size, *(int(c) for c in changes))
        if len(changes) < _FILLED * (1 + (changes[-1] - changes[0]) / factor):
            return 1
        factors.append(factor)
    common = math.gcd(*factors)
    return common if common <= _LARGEST else 1
