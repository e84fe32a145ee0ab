"""Obey a stated number of colours: join the nearest and least supported, or part what hides another colour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_perception import Floats, differences, perceived

_LEAST_DIFFERENCE = 1.5
"""CIEDE2000 below which two colours are one to the eye; just noticeable is about 1."""

_BIN = 4


def joined(
    colours: Floats, areas: NDArray[np.int64] | Floats, count: int, *, apart: NDArray[np.bool_] | None = None
) -> tuple[Floats, NDArray[np.int64]]:
    """Join colours until `count` are left, or only those are that stay `apart` from all others.

    Each time the pair whose joining changes the picture least: smaller area times squared difference, as in Ward's
    clustering (1963). The larger one keeps its colour.

    Returns
    -------
    tuple
        The colours left, and the new number of each old one.
    """
    seen = perceived(colours)
    gaps = differences((seen[0][:, None], seen[1][:, None]), (seen[0][None], seen[1][None]))
    if apart is not None:
        gaps[apart] = gaps[:, apart] = np.inf
    alive = list(range(len(colours)))
    into = np.arange(len(colours))
    weight = areas.astype(np.float64) + 1.0
    while len(alive) > count:
        cost, first, second = min(
            (weight[a] * weight[b] / (weight[a] + weight[b]) * gaps[a, b] ** 2, a, b)
            for n, a in enumerate(alive)
            for b in alive[n + 1 :]
        )
        if not np.isfinite(cost):
            break
        keep, drop = (first, second) if weight[first] >= weight[second] else (second, first)
        weight[keep] += weight[drop]
        into[into == drop] = keep
        alive.remove(drop)
    position = {k: n for n, k in enumerate(alive)}
    return colours[alive], np.array([position[int(k)] for k in into], dtype=np.int64)


def parted(
    levels: NDArray[np.uint8], labels: NDArray[np.uint8], trusted: NDArray[np.bool_], colours: Floats, count: int
) -> tuple[Floats, NDArray[np.uint8]]:
    """Add colours hidden in the ones found, until there are `count` or nothing differs any more.

    Parameters
    ----------
    levels, labels, colours
        The picture, its labels and their colours.
    trusted
        Pixels that are no blends: only they give colours.
    count
        How many colours to reach.
    """
    if not trusted.any():
        return colours, labels
    bins, inverse, weight = np.unique(
        (levels[trusted] // _BIN).astype(np.int64), axis=0, return_inverse=True, return_counts=True
    )
    seen = perceived(np.minimum(bins * float(_BIN) + (_BIN - 1) / 2, 255.0))
    inverse = inverse.ravel()
    means = np.stack([np.bincount(inverse, plane, len(bins)) / weight for plane in levels[trusted].T], axis=1)
    labels = labels.copy()
    while len(colours) < count:
        have = perceived(colours)
        gaps = np.min([differences((a, b), seen) for a, b in zip(*have, strict=True)], axis=0)
        best = int(np.argmax(np.where(gaps > _LEAST_DIFFERENCE, gaps**2 * weight, 0.0)))
        if gaps[best] <= _LEAST_DIFFERENCE:
            break
        pixels = levels.reshape(-1, levels.shape[2]).astype(np.float64)
        own = colours[labels.ravel()]
        closer = np.sum((pixels - means[best]) ** 2, axis=1) < np.sum((pixels - own) ** 2, axis=1)
        closer &= trusted.ravel()
        labels.ravel()[closer] = len(colours)
        colours = np.vstack([colours, means[best]])
    return colours, labels
