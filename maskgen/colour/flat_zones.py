"""Where a picture is flat: connected zones whose pixels differ little from their neighbours.

A block is a small square of pixels; it is flat when its range is within the noise. Flat blocks that touch share pixels,
so a connected set of them is one zone of one colour (or of one slow gradient), and pixels of an edge are in none.
Colours are premultiplied sRGB levels (0..255), with alpha as a fourth channel where the picture has any.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Levels = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Zones:
    """Flat zones: `index` (height, width) int32 with 0 where nothing is flat; zone n is row n - 1 of the arrays."""

    index: NDArray[np.int32]
    count: NDArray[np.int64]
    colour: NDArray[np.float64]
    spread: NDArray[np.float64]


def premultiplied(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Opaque pictures as (height, width, 3), others premultiplied as (height, width, 4)."""
    alpha = pixels[..., 3]
    if int(alpha.min(initial=255)) == 255:
        return np.ascontiguousarray(pixels[..., :3])
    colour = (pixels[..., :3].astype(np.uint16) * alpha[..., None] + 127) // 255
    return np.dstack([colour.astype(np.uint8), alpha])


def block_range(levels: NDArray[np.uint8], size: int) -> NDArray[np.uint8]:
    """Largest range over the channels in the block whose top left pixel is here; last rows and columns fall away."""
    kernel = np.ones((size, size), np.uint8)
    anchor = (0, 0)
    rows, columns = levels.shape[0] - size + 1, levels.shape[1] - size + 1
    widest = np.zeros((max(rows, 0), max(columns, 0)), np.uint8)
    for channel in cv2.split(levels):
        spread = cv2.subtract(cv2.dilate(channel, kernel, anchor=anchor), cv2.erode(channel, kernel, anchor=anchor))
        np.maximum(widest, spread[: widest.shape[0], : widest.shape[1]], out=widest)
    return widest


def connect(flat: NDArray[np.bool_], size: int) -> NDArray[np.int32]:
    """Number the pixels covered by connected flat blocks of `size` pixels, 0 where there are none.

    A pixel belongs to the zone of any flat block over it; all of those blocks share it, so there is one zone only.
    """
    if not flat.size:
        return np.zeros((flat.shape[0] + size - 1, flat.shape[1] + size - 1), np.int32)
    _, blocks = cv2.connectedComponents(flat.astype(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    index = np.zeros((flat.shape[0] + size - 1, flat.shape[1] + size - 1), np.int32)
    for dy in range(size):
        for dx in range(size):
            part = index[dy : dy + flat.shape[0], dx : dx + flat.shape[1]]
            np.maximum(part, blocks, out=part)
    return index


def find_zones(levels: NDArray[np.uint8], ranges: NDArray[np.uint8], *, size: int, limit: float) -> Zones:
    """Connect flat blocks of `size` pixels whose range (as of `block_range`) is at most `limit` levels."""
    height, width, channels = levels.shape
    if not ranges.size:
        return Zones(
            np.zeros((height, width), np.int32), np.zeros(0, np.int64), np.zeros((0, channels)), np.zeros((0, channels))
        )
    index = connect(ranges <= limit, size)
    place = index.ravel().astype(np.intp)
    count = np.bincount(place)[1:]
    number = len(count)
    colour, spread = np.empty((number, channels)), np.empty((number, channels))
    for channel, plane in enumerate(cv2.split(levels)):
        values = plane.ravel().astype(np.float64)
        mean = np.bincount(place, values)[1:] / count
        square = np.bincount(place, values * values)[1:] / count
        colour[:, channel] = mean
        spread[:, channel] = np.sqrt(np.maximum(square - mean * mean, 0.0))
    return Zones(index, count.astype(np.int64), colour, spread)


def zones_of_pixels(levels: NDArray[np.uint8]) -> Zones:
    """Take every exact colour for a zone: for pictures too small to be flat anywhere."""
    exact, inverse, count = np.unique(
        levels.reshape(-1, levels.shape[2]), axis=0, return_inverse=True, return_counts=True
    )
    index = (inverse.reshape(levels.shape[:2]) + 1).astype(np.int32)
    colour = exact.astype(np.float64)
    # Numbers as large as a founding zone: whatever there is, is all there is.
    return Zones(index, np.maximum(count, 1000).astype(np.int64), colour, np.zeros_like(colour))
