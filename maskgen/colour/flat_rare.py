"""Colours that are flat nowhere: hairlines, outlines and specks whose every pixel is a blend.

What the colours nearby cannot mix is evidence for a further colour. In each connected patch of such pixels a colour
known from elsewhere is tried first; where none explains the patch, its most deviating pixels give a new one.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_mixtures import Floats, Mixer, Mixture
from maskgen.colour.flat_perception import alike

_SOLVED_SHARE = 0.75
"""A patch is explained by a colour that explains this share of its pixels; the rest are junctions and rounding."""

_SOLID_ALPHA = 240.0
"""A fringe where hidden shapes shine through a soft edge is half transparent; a line of its own is not, somewhere."""

_MOST_CANDIDATES = 40
_MOST_PIXELS = 60_000
"""More unexplained pixels than this are a photograph's, not hairlines."""


@dataclass(frozen=True, slots=True)
class RareLimits:
    """What it takes to found a colour: misfit in levels, area in pixels (sum of its shares), CIEDE2000 from others."""

    misfit: float
    area_px: float
    difference: float
    most: int


@dataclass(frozen=True, slots=True, eq=False)
class _Patches:
    """Unexplained pixels, grouped."""

    pixels: Floats
    near: NDArray[np.uint64]
    number: NDArray[np.int64]

    def solved(self, mixture: Mixture, tolerance: float) -> NDArray[np.bool_]:
        """Per pixel, whether its patch is explained."""
        size = np.bincount(self.number)
        hits = np.bincount(self.number, mixture.misfit <= tolerance, len(size))
        return np.asarray((hits >= _SOLVED_SHARE * size)[self.number])


def add_rare_colours(
    pixels: Floats,
    near: NDArray[np.uint64],
    where: NDArray[np.bool_],
    mixture: Mixture,
    mixer: Mixer,
    limits: RareLimits,
) -> tuple[Floats, Mixture]:
    """Explain what is left over, with known colours, then with new ones.

    Parameters
    ----------
    pixels, near, mixture
        The edge pixels (n, channels), the colours near each, and their explanation so far.
    where
        (height, width), true at those n pixels in row order.
    mixer
        The colours known so far.
    limits
        When a new colour is founded.

    Returns
    -------
    tuple
        The palette with new colours at its end, and the mixtures with the patches explained by any colour.
    """
    rows = np.flatnonzero(mixture.misfit > mixer.tolerance)
    if not rows.size or rows.size > _MOST_PIXELS:
        return mixer.palette, mixture
    mask = np.zeros(where.shape, np.uint8)
    mask.flat[np.flatnonzero(where)[rows]] = 1
    _, numbers = cv2.connectedComponents(mask, connectivity=8, ltype=cv2.CV_32S)
    patches = _Patches(pixels[rows], near[rows], numbers[mask > 0].astype(np.int64) - 1)
    best = mixture.rows(rows)
    solved = np.zeros(rows.size, bool)
    for known in range(len(mixer.palette)):
        best, solved = _try(patches, mixer, known, best, solved, limits)
    while not solved.all() and len(mixer.palette) < limits.most:
        colour = _best_candidate(patches, mixer, best, solved, limits)
        if colour is None:
            break
        mixer = mixer.with_colour(colour)
        best, solved = _try(patches, mixer, len(mixer.palette) - 1, best, solved, limits)
    result = mixture.rows(np.arange(len(pixels)))
    result.put(rows, best)
    return mixer.palette, result


def _try(
    patches: _Patches, mixer: Mixer, extra: int, best: Mixture, solved: NDArray[np.bool_], limits: RareLimits
) -> tuple[Mixture, NDArray[np.bool_]]:
    """Explain with one further colour; where that solves a patch not solved before, it counts for all its pixels."""
    found = mixer.explain_with(patches.pixels, patches.near, extra)
    newly = patches.solved(found, mixer.tolerance)
    closer = best.better(found)
    return closer, solved | newly


def _best_candidate(
    patches: _Patches, mixer: Mixer, best: Mixture, solved: NDArray[np.bool_], limits: RareLimits
) -> Floats | None:
    """Find the colour of one of the unexplained pixels that covers the largest area of them."""
    open_rows = np.flatnonzero(~solved & (best.misfit > mixer.tolerance))
    if not open_rows.size:
        return None
    pixels, near = patches.pixels[open_rows], patches.near[open_rows]
    number = len(mixer.palette)
    winner, winning_area = None, limits.area_px
    for candidate in _candidates(pixels, best.misfit[open_rows], mixer.tolerance, limits.misfit):
        if len(candidate) == 4 and candidate[3] < _SOLID_ALPHA:
            continue
        if any(alike(candidate, other) < limits.difference for other in mixer.palette):
            continue
        found = mixer.with_colour(candidate).explain_with(pixels, near, number)
        mine = np.where(found.label == number, found.share, 1.0 - found.share)
        area = float(mine[found.misfit <= mixer.tolerance].sum())
        if area > winning_area + 1e-9:
            winner, winning_area = candidate, area
    return winner


def _candidates(pixels: Floats, misfit: Floats, tolerance: float, least: float) -> list[Floats]:
    """Pick colours from the most deviating on, each further from the earlier ones than twice the tolerance."""
    left = misfit >= least
    picked: list[Floats] = []
    while left.any() and len(picked) < _MOST_CANDIDATES:
        at = int(np.argmax(np.where(left, misfit, -1.0)))
        close = np.sum((pixels - pixels[at]) ** 2, axis=1) < tolerance**2
        picked.append(np.median(pixels[close & left], axis=0))
        left &= np.sum((pixels - pixels[at]) ** 2, axis=1) >= (2 * tolerance) ** 2
    return picked
