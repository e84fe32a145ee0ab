"""Photographs and noise: no flat colours; the most common colours instead."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_noise import Noise
from maskgen.colour.flat_perception import Floats, differences, perceived
from maskgen.colour.flat_zones import Zones

_USUAL_COUNT = 6
"""Colours a photograph is cut to when no number is asked: about what a part can be dyed in."""

_SLOPING_SHARE = 0.2
_MANY_ZONES = 60
_COARSE_GRAIN = 25.0
_ROUNDS = 20
_BIN = 8


def without_flat_colours(zones: Zones, noise: Noise) -> bool:
    """Whether much of the picture lies in many zones that are no one colour each, or grain hides everything."""
    sloping = zones.count[zones.spread.max(axis=1, initial=0.0) > 3.0 + noise.level].sum() / max(zones.index.size, 1)
    return bool((sloping > _SLOPING_SHARE and len(zones.count) > _MANY_ZONES) or noise.grain > _COARSE_GRAIN)


def common_colours(levels: NDArray[np.uint8], count: int | None) -> tuple[Floats, NDArray[np.uint8]]:
    """Cluster all pixels (k-means in CIELAB on a histogram, seeded by the farthest colours), label each by the nearest.

    Returns
    -------
    tuple
        Colours (k, channels) in premultiplied levels, and labels (height, width).
    """
    smooth = np.asarray(cv2.medianBlur(np.ascontiguousarray(levels), 5)) if min(levels.shape[:2]) >= 5 else levels
    bins, inverse, weight = np.unique(
        (smooth // _BIN).reshape(-1, levels.shape[2]), axis=0, return_inverse=True, return_counts=True
    )
    colours: Floats = bins.astype(np.float64) * _BIN + (_BIN - 1) / 2
    lab = perceived(colours)
    count = min(count or _USUAL_COUNT, len(bins))
    centres = [int(np.argmax(weight))]
    while len(centres) < count:
        gaps = np.min([differences((lab[0][c], lab[1][c]), lab) for c in centres], axis=0)
        centres.append(int(np.argmax(gaps * np.sqrt(weight))))
    means: Floats = colours[centres]
    nearest = np.zeros(len(bins), np.int64)
    for _ in range(_ROUNDS):
        seen = perceived(means)
        nearest = np.argmin([differences((seen[0][k], seen[1][k]), lab) for k in range(count)], axis=0)
        total = np.bincount(nearest, weight, count)
        moved = np.stack(
            [np.bincount(nearest, weight * colours[:, c], count) / np.maximum(total, 1) for c in range(bins.shape[1])],
            axis=1,
        )
        means = np.where(total[:, None] > 0, moved, means).astype(np.float64)
    labels = nearest[inverse.ravel()].reshape(levels.shape[:2])
    return means, np.asarray(labels, dtype=np.uint8)
