"""Dithered palette pictures: the colours meant, where dots of a few colours stand for one in between."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_MOST_COLOURS = 256
_DOT_RANGE = 8
"""Smaller steps between dots (levels) are seen as one colour anyway."""

_WINDOW = 11
_DENSITY = 0.2
"""Share of 2 x 2 blocks with a lone dot or a checker in the surroundings; dense line work stays below."""

_LEAST_SHARE = 0.02
_RINGING_WIDTH = 27
"""JPEG rings up to 8 px on either side of an edge, 11 px of window added: what is dithered is broader somewhere."""

_PERIOD = 8
"""Ordered dithering repeats every 2, 4 or 8 pixels (Bayer 1973): a box of 8 averages any of them out."""


def undithered(levels: NDArray[np.uint8], ranges: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
    """Give the picture with its dithered parts averaged, or None where it is not dithered.

    `ranges` are those of 2 x 2 blocks (`block_range`).
    """
    if min(levels.shape[:2]) < 3 * _PERIOD or float((ranges > _DOT_RANGE).mean()) < _LEAST_SHARE:
        return None
    if _colours(levels) > _MOST_COLOURS:
        return None
    dots = _dots(levels)
    if float(dots.mean()) < _LEAST_SHARE:
        return None
    density = cv2.blur(dots.astype(np.float32), (_WINDOW, _WINDOW), borderType=cv2.BORDER_REFLECT)
    mask = np.zeros(levels.shape[:2], np.uint8)
    mask[:-1, :-1] = density > _DENSITY
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((_PERIOD, _PERIOD), np.uint8))
    mask = np.asarray(cv2.dilate(opened, np.ones((5, 5), np.uint8)), dtype=np.uint8)
    broad = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((_RINGING_WIDTH, _RINGING_WIDTH), np.uint8))
    if float(broad.mean()) < _LEAST_SHARE:
        return None
    return _averaged(levels, mask)


def _colours(levels: NDArray[np.uint8]) -> int:
    packed = np.zeros(levels.shape[:2], np.uint32)
    for channel in range(levels.shape[2]):
        packed = packed * np.uint32(256) + levels[..., channel]
    sample = packed.ravel()[:: max(1, packed.size // 200_000)]
    return len(np.unique(sample))


def _dots(levels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Whether each 2 x 2 block holds a lone dot or a checker: the second difference is at least the range."""
    signed = levels.astype(np.int16)
    a, b, c, d = signed[:-1, :-1], signed[:-1, 1:], signed[1:, :-1], signed[1:, 1:]
    twist = np.abs(a - b - c + d)
    spread = np.maximum(np.maximum(a, b), np.maximum(c, d)) - np.minimum(np.minimum(a, b), np.minimum(c, d))
    return np.asarray(((spread > _DOT_RANGE) & (twist * 10 >= spread * 9)).any(axis=2))


def _averaged(levels: NDArray[np.uint8], mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Average over one period inside the mask, then let edges between such means grow steep again."""
    weight = mask.astype(np.float32)

    def smooth(values: NDArray[np.float32]) -> NDArray[np.float32]:
        boxed = cv2.blur(values, (_PERIOD, _PERIOD), borderType=cv2.BORDER_REFLECT)
        return np.asarray(cv2.GaussianBlur(boxed, (0, 0), 1.0, borderType=cv2.BORDER_REFLECT), dtype=np.float32)

    total = np.maximum(smooth(weight), 1e-3)
    mean = np.dstack([smooth(levels[..., c].astype(np.float32) * weight) / total for c in range(levels.shape[2])])
    result = np.where(mask[..., None] > 0, np.clip(np.rint(mean), 0, 255), levels).astype(np.uint8)
    return np.asarray(result)
