"""Edge pixels as mixtures: which two (or three) of the colours nearby a pixel is a blend of, and in what shares.

Renderers blend in encoded sRGB with premultiplied alpha, so a blend lies on the straight line between its colours
there.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Per pixel: the colour with the largest share, that share, and how far off the best mixture stays (levels)."""

    label: NDArray[np.int64]
    share: Floats
    misfit: Floats

    @classmethod
    def none(cls, count: int) -> Mixture:
        """Nothing explained yet."""
        return cls(np.zeros(count, np.int64), np.zeros(count), np.full(count, np.inf))

    def better(self, other: Mixture, margin: float) -> Mixture:
        """Take the other where it fits closer by more than `margin` levels."""
        take = other.misfit < self.misfit - margin
        return Mixture(
            np.where(take, other.label, self.label),
            np.where(take, other.share, self.share),
            np.where(take, other.misfit, self.misfit),
        )


def one_colour(pixels: Floats, palette: Floats, label: int) -> Mixture:
    """Explain pixels as one colour."""
    misfit = np.sqrt(np.sum((pixels - palette[label]) ** 2, axis=1))
    return Mixture(np.full(len(pixels), label, np.int64), np.ones(len(pixels)), misfit)


def two_colours(pixels: Floats, palette: Floats, first: int, second: int) -> Mixture:
    """Explain pixels as blends of two colours; shares outside 0..1 are clipped and count as misfit."""
    way = palette[second] - palette[first]
    length = float(way @ way)
    off = pixels - palette[first]
    share = np.clip(off @ way / max(length, 1e-9), 0.0, 1.0)
    misfit = np.sqrt(np.sum((off - share[:, None] * way) ** 2, axis=1))
    return Mixture(np.where(share > 0.5, second, first), np.maximum(share, 1.0 - share), misfit)


def three_colours(pixels: Floats, palette: Floats, members: tuple[int, int, int]) -> Mixture:
    """Explain pixels as blends of three colours; outside their triangle nothing is explained."""
    corner = palette[members[0]]
    ways = (palette[list(members[1:])] - corner).T
    off = pixels - corner
    shares, *_ = np.linalg.lstsq(ways, off.T, rcond=None)
    misfit = np.sqrt(np.sum((off - (ways @ shares).T) ** 2, axis=1))
    all_shares = np.vstack([1.0 - shares.sum(axis=0), shares])
    inside = np.all(all_shares > -0.02, axis=0)
    return Mixture(
        np.array(members, dtype=np.int64)[all_shares.argmax(axis=0)],
        all_shares.max(axis=0),
        np.where(inside, misfit, np.inf),
    )


def colours_nearby(labels: NDArray[np.int32], number: int, reach: int) -> NDArray[np.uint64]:
    """Bit k of a pixel: a core pixel of colour k (label k + 1) lies within `reach` pixels, also diagonally."""
    near = np.zeros(labels.shape, np.uint64)
    kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
    for k in range(number):
        spread = cv2.dilate((labels == k + 1).astype(np.uint8), kernel)
        near |= spread.astype(np.uint64) << np.uint64(k)
    return near


def explain(pixels: Floats, near: NDArray[np.uint64], palette: Floats, *, tolerance: float) -> Mixture:
    """Explain each pixel by the colours near it: one, else two, else three of them."""
    result = Mixture.none(len(pixels))
    if not len(pixels):
        return result
    order = np.argsort(near, kind="stable")
    sets, starts = np.unique(near[order], return_index=True)
    for bits, rows in zip(sets, np.split(order, starts[1:]), strict=True):
        members = [k for k in range(len(palette)) if int(bits) >> k & 1]
        found = _explain_group(pixels[rows], palette, members, tolerance)
        result.label[rows], result.share[rows], result.misfit[rows] = found.label, found.share, found.misfit
    return result


def _explain_group(pixels: Floats, palette: Floats, members: list[int], tolerance: float) -> Mixture:
    best = Mixture.none(len(pixels))
    for k in members:
        best = best.better(one_colour(pixels, palette, k), 0.0)
    pure = best.misfit <= tolerance / 2
    for first, second in combinations(members, 2):
        best = best.better(two_colours(pixels, palette, first, second), tolerance / 4)
    rest = np.flatnonzero(~pure & (best.misfit > tolerance))
    if len(members) >= 3 and rest.size:
        part = Mixture(best.label[rest], best.share[rest], best.misfit[rest])
        for triple in combinations(members[:8], 3):
            part = part.better(three_colours(pixels[rest], palette, triple), tolerance / 4)
        best.label[rest], best.share[rest], best.misfit[rest] = part.label, part.share, part.misfit
    return best
