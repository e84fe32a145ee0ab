"""The artwork: pixels, flat colours, regions in its own units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.model.finding import Finding
from maskgen.model.paths import Partition

CLEAR = "clear"
"""The palette entry, and the region name, of what is transparent in the artwork."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A picture as read: `pixels` is (height, width, 4) uint8, sRGB with straight alpha, upright, read-only."""

    pixels: NDArray[np.uint8]

    @property
    def width(self) -> int:
        """Width in pixels."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels."""
        return int(self.pixels.shape[0])


@dataclass(frozen=True, slots=True, eq=False)
class FlatPicture:
    """A picture with its flat colours found.

    `labels` is (height, width) uint8, the index into `palette` of the colour each pixel belongs to (on an edge: one of
    the colours that meet there). `palette` holds `#rrggbb`, or `CLEAR` for what is transparent. `edge_blur_px` is the
    estimated standard deviation of the blur across edges (0: edges not smoothed at all). `notes` are plain sentences.
    """

    picture: Picture
    labels: NDArray[np.uint8]
    palette: tuple[str, ...]
    edge_blur_px: float = 0.0
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TracedArtwork:
    """Artwork as regions in its own units, with what was noticed on the way.

    `flat` is the picture it was traced from, None for artwork that came as outlines. Places in `findings` are in the
    artwork's own units. `width_mm` is how wide the drawing says it is, where it says so in a unit of length.
    """

    partition: Partition
    flat: FlatPicture | None = None
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()
    width_mm: float | None = None
