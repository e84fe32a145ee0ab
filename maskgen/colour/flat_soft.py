"""Soft shadows and the slopes of gradients: fold them into the flat colour they run out into.

Two thresholds, as in hysteresis: what is connected to a flat zone without any step above the higher one belongs to one
of the flat colours so connected, the nearest; a slope founds a colour only where it is no mere fringe of a flat one.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_noise import Noise
from maskgen.colour.flat_perception import Floats
from maskgen.colour.flat_zones import Zones, connect

_SOFT_STEP = 9.0
"""Range of a 2 x 2 block (levels) up to which a transition is soft; the edge of a drawing steps by more."""

_STEADY_SHARE = 0.4
"""A zone of which less is exactly flat is a slope."""

_SOFT_SHARE = 0.002
"""With fewer soft blocks outside all zones there is nothing to fold."""

_FOOT_PX = 5

_LARGE_SLOPE = 0.25
"""A slope over this share of the picture is a colour in its own right."""


@dataclass(frozen=True, slots=True, eq=False)
class Slopes:
    """Widely connected areas (`index`, 0 outside), and for each flat zone whether it may found a colour."""

    index: NDArray[np.int32]
    founding: NDArray[np.bool_]


def find_slopes(ranges: NDArray[np.uint8], zones: Zones, noise: Noise) -> Slopes:
    """Tell flat zones from slopes, and connect both through soft transitions.

    `ranges` are those of 2 x 2 blocks (`block_range`) of the calmed picture.
    """
    number = len(zones.count)
    limit = _SOFT_STEP + noise.level
    steady = ranges <= noise.level / 3
    inner = zones.index[:-1, :-1]
    blocks = np.bincount(inner.ravel(), minlength=number + 1)[1:]
    share = np.bincount(inner[steady], minlength=number + 1)[1:] / np.maximum(blocks, 1)
    slope = (share < _STEADY_SHARE) & (noise.clean or (zones.spread.max(axis=1, initial=0.0) > 4.0 + noise.level))
    soft = float(((ranges <= limit) & (inner == 0)).mean()) if ranges.size else 0.0
    if not number or not ranges.size or not (slope.any() or soft > _SOFT_SHARE):
        return Slopes(np.zeros(zones.index.shape, np.int32), np.ones(number, bool))
    wide = connect(ranges <= limit, 2)
    # Where a zone lies within the wide areas: any of its pixels tells.
    place = np.zeros(number + 1, np.int32)
    place[zones.index.ravel()] = wide.ravel()
    areas = int(wide.max()) + 1
    sloping = np.bincount(place[1:], np.where(slope, zones.count, 0), areas)
    flat = np.bincount(place[1:], np.where(slope, 0, zones.count), areas)
    fringe = (sloping < flat)[place[1:]] & (place[1:] > 0)
    return Slopes(wide, ~slope | ~fringe | (zones.count > _LARGE_SLOPE * zones.index.size))


def with_slopes(
    levels: NDArray[np.uint8], cores: NDArray[np.int32], slopes: Slopes, colours: Floats, tolerance: float
) -> tuple[NDArray[np.int32], NDArray[np.uint8]]:
    """Give pixels of slopes (in no core, but softly connected to some) the nearest of the colours connected to them.

    Returns
    -------
    tuple
        The cores so extended, and a mask of the pixels that differ from the colour they were given by more than
        `tolerance` levels: edges beside them are blends of colours that are in no palette.
    """
    strayed = np.zeros(cores.shape, np.uint8)
    number = len(colours)
    if not slopes.index.any() or not number:
        return cores, strayed
    soft = (cores == 0) & (slopes.index > 0)
    present = np.zeros((int(slopes.index.max()) + 1, number), bool)
    inside = (cores > 0) & (slopes.index > 0)
    present[slopes.index[inside], cores[inside] - 1] = True
    area, pixels = slopes.index[soft], levels[soft].astype(np.float64)
    best, gap = np.zeros(len(pixels), np.int32), np.full(len(pixels), np.inf)
    for k in range(number):
        distance = np.where(present[area, k], np.sum((pixels - colours[k]) ** 2, axis=1), np.inf)
        closer = distance < gap
        best[closer], gap[closer] = k + 1, distance[closer]
    result = cores.copy()
    result[soft] = best
    given = result > 0
    off = np.abs(levels[given].astype(np.float64) - colours[result[given] - 1]).max(axis=1)
    strayed[given] = off > tolerance
    # The foot of a blurred edge is no shadow: it is narrow.
    broad = cv2.morphologyEx(strayed, cv2.MORPH_OPEN, np.ones((_FOOT_PX, _FOOT_PX), np.uint8))
    return result, np.asarray(broad, dtype=np.uint8)
