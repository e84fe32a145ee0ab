"""The face of the part as pixels: flat, or bent round a tube as it is seen from the front."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.model.paths import Area, Partition, flatten

SUBPIXEL_BITS = 4
OVERSAMPLE = 4

Pixels = NDArray[np.uint8]


def draw_face(partition: Partition, *, width_px: int) -> Pixels:
    """Draw a partition of the face, (height, width, 3) sRGB; what lies outside a disc is white."""
    scale = width_px * OVERSAMPLE / partition.width
    height_px = max(1, round(partition.height * width_px / partition.width))
    canvas = np.full((height_px * OVERSAMPLE, width_px * OVERSAMPLE, 3), 255, np.uint8)
    for region in partition.regions:
        fill_area(canvas, region.area, rgb(region.colour), scale=scale)
    return np.asarray(cv2.resize(canvas, (width_px, height_px), interpolation=cv2.INTER_AREA), np.uint8)


def fill_area(canvas: Pixels, area: Area, colour: tuple[int, int, int], *, scale: float) -> None:
    """Fill an area on a canvas with `scale` pixels to its unit, in place."""
    rings = [
        np.round((flatten(ring, 0.2 / scale) * scale - 0.5) * 2**SUBPIXEL_BITS).astype(np.int32) for ring in area.rings
    ]
    if rings:
        cv2.fillPoly(canvas, rings, colour, shift=SUBPIXEL_BITS)


def seen_from_front(face: Pixels) -> Pixels:
    """Give the half of a developed tube that is seen from the front, as it looks: narrowing towards both sides."""
    height, around = face.shape[:2]
    width = round(around / math.pi)
    across = (np.arange(width) + 0.5) / width * 2.0 - 1.0
    column = around / 2.0 + np.arcsin(across) / math.pi * around / 2.0
    map_x = np.broadcast_to((column - 0.5).astype(np.float32), (height, width))
    map_y = np.broadcast_to(np.arange(height, dtype=np.float32)[:, None], (height, width))
    bent = cv2.remap(face, np.ascontiguousarray(map_x), np.ascontiguousarray(map_y), cv2.INTER_LINEAR)
    shade = 0.72 + 0.28 * np.sqrt(1.0 - across**2)
    return np.asarray(np.round(bent * shade[None, :, None]), np.uint8)


def rgb(colour: str) -> tuple[int, int, int]:
    """Give a colour written as `#rrggbb` as three numbers from 0 to 255."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
