"""Premultiplied levels as the eye sees them, and as the palette writes them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from maskgen.colour.spaces import ciede2000, srgb_to_hex, srgb_to_lab
from maskgen.model.artwork import CLEAR

Floats = NDArray[np.float64]

HALF_ALPHA = 127.5
"""Below half opacity a flat colour counts as transparent."""


def perceived(colours: Floats) -> tuple[Floats, Floats]:
    """CIELAB of premultiplied levels (..., 3 or 4) as seen over black and over white."""
    black = srgb_to_lab(colours[..., :3] / 255.0)
    if colours.shape[-1] == 3:
        return black, black
    return black, srgb_to_lab(np.clip(colours[..., :3] + 255.0 - colours[..., 3:], 0.0, 255.0) / 255.0)


def differences(first: tuple[Floats, Floats], second: tuple[Floats, Floats]) -> Floats:
    """CIEDE2000 over black or over white, whichever is larger: alike must be alike over both."""
    return np.maximum(ciede2000(first[0], second[0]), ciede2000(first[1], second[1]))


def alike(first: Floats, second: Floats) -> float:
    """CIEDE2000 between two premultiplied colours."""
    return float(differences(perceived(first), perceived(second)))


def palette_entry(colour: Floats) -> str:
    """`#rrggbb` of a premultiplied colour, its alpha taken out, or `CLEAR` below half opacity."""
    if len(colour) == 4:
        if colour[3] < HALF_ALPHA:
            return CLEAR
        colour = colour[:3] * (255.0 / colour[3])
    return srgb_to_hex(colour / 255.0)
