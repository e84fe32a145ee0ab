"""Zones that are not of one colour: slow gradients are folded, soft transitions between two flats are cut apart.

Along the direction in which a zone's colours spread, two flats joined by a soft transition show as two peaks with a
valley; a gradient or a shadow's tail shows no second peak and stays one zone, unless it runs so far that it has to be
cut into steps.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from maskgen.colour.flat_noise import Noise
from maskgen.colour.flat_perception import Floats, alike
from maskgen.colour.flat_zones import Zones

_VALLEY = 0.25
"""A valley this far below the smaller of its two peaks divides them."""

_WIDEST_STEP = 25.0
"""CIEDE2000 that one colour may span before a gradient is cut into steps: no one would call it one colour."""

_SMALLEST_ZONE = 60
_LEAST_MASS = 0.01
_SAMPLE = 20_000


def split_gradients(levels: NDArray[np.uint8], zones: Zones, noise: Noise) -> Zones:
    """Cut zones of wide spread where their colours fall into several peaks."""
    wide = np.flatnonzero((zones.spread.max(axis=1) > 3.0 + noise.level / 2) & (zones.count >= _SMALLEST_ZONE))
    if not wide.size:
        return zones
    index = zones.index.copy()
    boxes = ndimage.find_objects(index)
    count, colour, spread = (list(values) for values in (zones.count, zones.colour, zones.spread))
    for zone in wide:
        box = boxes[zone]
        inside = index[box] == zone + 1
        pixels = levels[box][inside].astype(np.float64)
        part = _parts(pixels, 1.5 + noise.level / 2)
        numbers = np.where(part == 0, zone + 1, len(count) + part)
        for k in range(int(part.max()) + 1):
            chosen = pixels[part == k]
            values = (len(chosen), np.median(chosen, axis=0), chosen.std(axis=0))
            if k == 0:
                count[zone], colour[zone], spread[zone] = values
            else:
                count.append(np.int64(values[0]))
                colour.append(values[1])
                spread.append(values[2])
        index[box][inside] = numbers
    return Zones(index, np.array(count, dtype=np.int64), np.array(colour), np.array(spread))


def _parts(pixels: Floats, smoothing: float) -> NDArray[np.int64]:
    """Number the part each pixel belongs to, along the main direction of the colours."""
    sample = pixels[:: max(1, len(pixels) // _SAMPLE)]
    middle = sample.mean(axis=0)
    _, _, directions = np.linalg.svd(np.cov((sample - middle).T))
    along = (pixels - middle) @ directions[0]
    low = float(along.min())
    bins = np.rint(along - low).astype(np.int64)
    density = ndimage.gaussian_filter1d(np.bincount(bins).astype(np.float64), smoothing, mode="constant")
    cuts = [float(c) + low for c in _valleys(density)]
    part = np.digitize(along, cuts)
    edges = [low, *cuts, float(along.max())]
    further: list[float] = []
    for k in range(len(edges) - 1):
        inside = along[part == k]
        if inside.size:
            start, end = np.percentile(inside, [5, 95])
            span = alike(middle + start * directions[0], middle + end * directions[0])
            steps = int(np.ceil(span / _WIDEST_STEP))
            further += [float(start + (end - start) * i / steps) for i in range(1, steps)]
    part = np.digitize(along, sorted(cuts + further)).astype(np.int64)
    _, part = np.unique(part, return_inverse=True)
    return np.asarray(part.ravel(), dtype=np.int64)


def _valleys(density: Floats) -> list[int]:
    """Places that divide the significant peaks: the shallowest divisions are given up first."""
    inner = np.flatnonzero((density[1:-1] >= density[:-2]) & (density[1:-1] > density[2:])) + 1
    ends = [i for i, j in ((0, 1), (len(density) - 1, len(density) - 2)) if density[i] > density[j]]
    peaks = sorted({*inner.tolist(), *ends})
    total = float(density.sum())
    while len(peaks) > 1:
        cuts = [a + int(np.argmin(density[a : b + 1])) for a, b in itertools.pairwise(peaks)]
        borders = [0, *cuts, len(density)]
        mass = [float(density[a:b].sum()) / total for a, b in itertools.pairwise(borders)]
        depth = [density[c] / min(density[a], density[b]) for a, b, c in zip(peaks, peaks[1:], cuts, strict=False)]
        weakest = int(np.argmax(depth))
        poorest = int(np.argmin(mass))
        if mass[poorest] < _LEAST_MASS:
            peaks.pop(poorest)
        elif depth[weakest] > _VALLEY:
            peaks.pop(weakest if density[peaks[weakest]] < density[peaks[weakest + 1]] else weakest + 1)
        else:
            return cuts
    return []
