"""Photographs and noise: no flat colours; the most common colours instead."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label as label_components

from maskgen.colour.flat_noise import Noise
from maskgen.colour.flat_perception import Floats, differences, perceived
from maskgen.colour.flat_zones import Zones

_USUAL_COUNT = 6
"""Colours a photograph is cut to when no number is asked: about what a part can be dyed in."""

_SLOPING_SHARE = 0.2
_MANY_ZONES = 60
_COARSE_GRAIN = 25.0
_LEAST_SHARE = 1 / 4000
"""A patch below this share of a photograph is none that anybody would cut: 1 mm2 of a part of 80 x 50 mm."""
_BRUSH_SHARE = 0.005
"""Outlines of a photograph's colours are drawn as with a brush, this share of the picture's size (standard deviation):
finer frays are chance, and nobody weeds them."""
_ROUNDS = 20
_BIN = 8


def without_flat_colours(zones: Zones, noise: Noise) -> bool:
    """Whether much of the picture lies in many zones that are no one colour each, or grain hides everything."""
    sloping = zones.count[zones.spread.max(axis=1, initial=0.0) > 3.0 + noise.level].sum() / max(zones.index.size, 1)
    return bool((sloping > _SLOPING_SHARE and len(zones.count) > _MANY_ZONES) or noise.grain > _COARSE_GRAIN)


def common_colours(levels: NDArray[np.uint8], count: int | None) -> tuple[Floats, NDArray[np.uint8]]:
    """Cluster all pixels (k-means in CIELAB on a histogram, seeded by the farthest colours), label each by the nearest.

    Frayed outlines are smoothed; patches too small to be cut go to what lies around them.

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
    labels = nearest[inverse.ravel()].reshape(levels.shape[:2]).astype(np.uint8)
    return means, _without_patches(_brushed(labels, count), _LEAST_SHARE * labels.size)


def _brushed(labels: NDArray[np.uint8], count: int) -> NDArray[np.uint8]:
    """Give every pixel the label that holds most of its neighbourhood, weighted by a Gaussian."""
    sigma = _BRUSH_SHARE * labels.size**0.5
    most = np.full(labels.shape, -1.0, np.float32)
    result = labels.copy()
    for k in range(count):
        share = cv2.GaussianBlur((labels == k).astype(np.float32), (0, 0), max(sigma, 0.3))
        better = share > most
        most[better], result[better] = share[better], k
    return result


def _without_patches(labels: NDArray[np.uint8], least_px: float) -> NDArray[np.uint8]:
    """Give patches of fewer pixels the label they have the longest border with, smaller patches before larger ones."""
    labels = labels.copy()
    while True:
        patches = label_components(labels, connectivity=1, background=-1) - 1  # type: ignore[no-untyped-call]
        size = np.bincount(patches.ravel())
        pairs = []
        for one, two in ((patches[:, 1:], patches[:, :-1]), (patches[1:], patches[:-1])):
            differ = one != two
            pairs += [np.stack([one[differ], two[differ]]), np.stack([two[differ], one[differ]])]
        inner, outer = np.concatenate(pairs, axis=1)
        # Of patches side by side only the smallest moves, or two might change places for ever.
        rank = np.empty(len(size), np.int64)
        rank[np.argsort(size, kind="stable")] = np.arange(len(size))
        least_beside = np.full(len(size), len(size))
        np.minimum.at(least_beside, inner, rank[outer])
        moves = (size < least_px) & (rank < least_beside) & (least_beside < len(size))
        if not moves.any():
            return labels
        own = np.zeros(len(size), np.int64)
        own[patches.ravel()] = labels.ravel()
        votes = np.zeros((len(size), int(labels.max()) + 1))
        np.add.at(votes, (inner, own[outer]), 1.0)
        labels = np.where(moves[patches], votes.argmax(axis=1)[patches], labels).astype(np.uint8)
