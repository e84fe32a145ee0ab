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
    top = cv2.dilate(levels, kernel, anchor=anchor)
    low = cv2.erode(levels, kernel, anchor=anchor)
    rows, columns = levels.shape[0] - size + 1, levels.shape[1] - size + 1
    return np.asarray((top - low)[:rows, :columns].max(axis=2))


def find_zones(levels: NDArray[np.uint8], *, size: int, limit: float) -> Zones:
    """Connect flat blocks of `size` pixels whose range is at most `limit` levels."""
    height, width, channels = levels.shape
    index = np.zeros((height, width), np.int32)
    if height < size or width < size:
        return Zones(index, np.zeros(0, np.int64), np.zeros((0, channels)), np.zeros((0, channels)))
    flat = (block_range(levels, size) <= limit).astype(np.uint8)
    number, blocks = cv2.connectedComponents(flat, connectivity=8, ltype=cv2.CV_32S)
    # A pixel belongs to the zone of any flat block over it; all of those blocks share it, so there is one zone only.
    for dy in range(size):
        for dx in range(size):
            part = index[dy : dy + flat.shape[0], dx : dx + flat.shape[1]]
            np.maximum(part, blocks, out=part)
    flat_index = index.ravel()
    count = np.bincount(flat_index, minlength=number)[1:]
    colour = np.empty((number - 1, channels))
    spread = np.empty((number - 1, channels))
    for channel in range(channels):
        values = levels[..., channel].ravel().astype(np.float64)
        mean = np.bincount(flat_index, values, number)[1:] / np.maximum(count, 1)
        square = np.bincount(flat_index, values * values, number)[1:] / np.maximum(count, 1)
        colour[:, channel] = mean
        spread[:, channel] = np.sqrt(np.maximum(square - mean * mean, 0.0))
    return Zones(index, count.astype(np.int64), colour, spread)
