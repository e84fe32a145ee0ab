"""Colours that are flat nowhere: hairlines, outlines and specks whose every pixel is a blend.

What the colours nearby cannot mix is evidence for a further colour. In each connected patch of such pixels a colour
known from elsewhere is tried first; where none explains the patch, its most deviating pixels give a new one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_mixtures import Floats, Mixer, Mixture
from maskgen.colour.flat_palette import MOST_COLOURS
from maskgen.colour.flat_perception import alike

_SOLVED_SHARE = 0.75
"""A patch is explained by a colour that explains this share of its pixels; the rest are junctions and rounding."""

_MOSTLY_SHARE, _JUNCTION_PX = 0.9, 12
"""A patch of crossing lines is explained by their colours together but for spots of so many pixels where they meet."""

_SOLID_ALPHA = 240.0
"""A fringe where hidden shapes shine through a soft edge is half transparent; a line of its own is not, somewhere."""

_MOST_CANDIDATES = 40
_PARALLEL = 0.98
"""Cosine from which two rays are too nearly parallel to tell where they meet."""

_BEYOND = 25.0
"""Levels by which extrapolation may overshoot the range of colours."""

_RINGING, _RINGING_SHARE = 0.28, 0.1
"""Ringing goes beyond a colour by up to 0.28 of the step of the edge beside it (a series cut short by 0.09, Gibbs;
rounding of coefficients and grain add to that), and shows at less than a tenth of the places along such edges."""

_MOST_PIXELS = 30_000
"""More unexplained pixels than this are a photograph's, not hairlines."""


@dataclass(frozen=True, slots=True)
class RareLimits:
    """What it takes to found a colour: misfit in levels, area in pixels (sum of its shares), CIEDE2000 from others."""

    misfit: float
    area_px: float
    difference: float


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
    doubtful: NDArray[np.bool_],
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
    doubtful
        (n,), pixels that may be explained but found no colour.
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
    solved |= doubtful[rows] | _junctions(patches, mask, best.misfit <= mixer.tolerance)
    edges = _edges(mixture, mixer) if mixer.bleeding else []
    while not solved.all() and len(mixer.palette) < MOST_COLOURS:
        colour = _best_candidate(patches, mixer, best, solved, limits, edges)
        if colour is None:
            break
        mixer = mixer.with_colour(colour)
        best, solved = _try(patches, mixer, len(mixer.palette) - 1, best, solved, limits)
    result = mixture.rows(np.arange(len(pixels)))
    result.put(rows, best)
    return mixer.palette, result


def _junctions(patches: _Patches, mask: NDArray[np.uint8], explained: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell the spots where lines of several known colours cross, in patches that those explain nearly whole."""
    size = np.bincount(patches.number)
    mostly = np.bincount(patches.number, explained, len(size)) >= _MOSTLY_SHARE * size
    left = mask.copy()
    left[mask > 0] = ~explained
    _, spot = cv2.connectedComponents(left, connectivity=8, ltype=cv2.CV_32S)
    small = np.bincount(spot.ravel()) <= _JUNCTION_PX
    return np.asarray(small[spot[mask > 0]] & mostly[patches.number] & ~explained)


def _try(
    patches: _Patches, mixer: Mixer, extra: int, best: Mixture, solved: NDArray[np.bool_], limits: RareLimits
) -> tuple[Mixture, NDArray[np.bool_]]:
    """Explain with one further colour; where that solves a patch not solved before, it counts for all its pixels."""
    found = mixer.explain_with(patches.pixels, patches.near, extra)
    newly = patches.solved(found, mixer.tolerance)
    closer = best.better(found)
    return closer, solved | newly


def _best_candidate(
    patches: _Patches,
    mixer: Mixer,
    best: Mixture,
    solved: NDArray[np.bool_],
    limits: RareLimits,
    edges: Sequence[tuple[int, int, int]],
) -> Floats | None:
    """Find the colour that explains most of the unexplained pixels; of equals, the one that covers the largest area.

    What ringing beside one of the `edges` may be is none.
    """
    rows = np.flatnonzero(~solved & (best.misfit > mixer.tolerance))
    if not rows.size:
        return None
    pixels, near = patches.pixels[rows], patches.near[rows]
    candidates = _extremes(pixels, best.misfit[rows], mixer.tolerance, limits.misfit)
    if not mixer.bleeding:  # where hue bleeds the rays are bent
        candidates += _crossings(pixels, near, best.misfit[rows], mixer, limits)
    number = len(mixer.palette)
    winner, winning = None, (0.0, 0.0)
    for candidate in candidates:
        if len(candidate) == 4 and candidate[3] < _SOLID_ALPHA:
            continue
        if any(alike(candidate, other) < limits.difference for other in mixer.palette):
            continue
        found = mixer.with_colour(candidate).explain_with(pixels, near, number)
        explained = found.misfit <= mixer.tolerance
        few = [(a, b) for a, b, length in edges if explained.sum() < _RINGING_SHARE * length]
        if any(mixer.rings(candidate, a, b, _RINGING) for a, b in few):
            continue
        area = float(np.where(found.label == number, found.share, 1.0 - found.share)[explained].sum())
        if area >= limits.area_px and (float(explained.sum()), area) > winning:
            winner, winning = candidate, (float(explained.sum()), area)
    return winner


def _edges(mixture: Mixture, mixer: Mixer) -> list[tuple[int, int, int]]:
    """Pairs of colours that blend, each with the number of its blends."""
    blend = (mixture.misfit <= mixer.tolerance) & (mixture.label != mixture.second)
    low = np.minimum(mixture.label, mixture.second)[blend]
    high = np.maximum(mixture.label, mixture.second)[blend]
    count = len(mixer.palette)
    pairs, lengths = np.unique(low * count + high, return_counts=True)
    return [(int(p) // count, int(p) % count, int(n)) for p, n in zip(pairs, lengths, strict=True)]


def _extremes(pixels: Floats, misfit: Floats, tolerance: float, least: float) -> list[Floats]:
    """Pick colours from the most deviating on, each further from the earlier ones than twice the tolerance."""
    left = misfit >= least
    picked: list[Floats] = []
    while left.any() and len(picked) < _MOST_CANDIDATES:
        at = int(np.argmax(np.where(left, misfit, -1.0)))
        gap = np.sum((pixels - pixels[at]) ** 2, axis=1)
        picked.append(np.median(pixels[(gap < tolerance**2) & left], axis=0))
        left &= gap >= (2 * tolerance) ** 2
    return picked


def _crossings(
    pixels: Floats, near: NDArray[np.uint64], misfit: Floats, mixer: Mixer, limits: RareLimits
) -> list[Floats]:
    """Extrapolate a hairline that crosses several colours: the rays from each through its blends meet in its own."""
    rays = []
    for k in range(len(mixer.palette)):
        alone = np.flatnonzero((near == np.uint64(1 << k)) & (misfit >= limits.misfit))
        if alone.size:
            extreme = _extremes(pixels[alone], misfit[alone], mixer.tolerance, limits.misfit)[0]
            rays.append((mixer.palette[k], extreme - mixer.palette[k]))
    found = []
    for (start, way), (other, across) in combinations(rays, 2):
        ways = np.stack([way, -across], axis=1)
        cosine = float(way @ across) / float(np.linalg.norm(way) * np.linalg.norm(across))
        if abs(cosine) > _PARALLEL:
            continue
        lengths = np.linalg.lstsq(ways, other - start, rcond=None)[0]
        here, there = start + lengths[0] * way, other + lengths[1] * across
        meet = (here + there) / 2
        apart = float(np.linalg.norm(here - there)) / float(max(*lengths, 1.0))
        if lengths.min() > 0.9 and apart <= mixer.tolerance and meet.min() > -_BEYOND and meet.max() < 255 + _BEYOND:
            found.append(np.clip(meet, 0.0, 255.0))
    return found
