"""Pictures whose edges are not smoothed: every colour there is a colour meant, also where it is one pixel wide."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_labels import colours_nearby
from maskgen.colour.flat_mixtures import Mixer
from maskgen.colour.flat_perception import Floats, differences, perceived

_FEW = 12
_FEW_SHARE = 0.02
"""Smoothed edges have nearly as many colours as pixels; unsmoothed ones have a few in all."""

_LEAST_PX = 2
_OWN_DIFFERENCE = 3.0
_BLEND_SHARE = 0.8
_VARIED_SHARE = 0.25


def crisp_colours(
    levels: NDArray[np.uint8], cores: NDArray[np.int32], colours: Floats, most: int
) -> tuple[Floats, NDArray[np.int32]]:
    """Label the edge pixels of an unsmoothed picture by their exact colours; any other picture comes back unchanged.

    Parameters
    ----------
    levels, cores, colours
        The picture, its flat pixels (colour + 1, 0 elsewhere), and the colours found flat.
    most
        How many colours there may be in all.

    Returns
    -------
    tuple
        Colours and cores with those added that occur only in thin lines and specks.
    """
    edge = cores == 0
    pixels = levels[edge]
    if not len(pixels) or not len(colours):
        return colours, cores
    exact, inverse, amount = np.unique(pixels, axis=0, return_inverse=True, return_counts=True)
    inverse = inverse.ravel()
    if len(exact) > _FEW + _FEW_SHARE * len(pixels):
        return colours, cores
    own = perceived(exact.astype(np.float64))
    gaps = np.stack([differences((a, b), own) for a, b in zip(*perceived(colours), strict=True)])
    nearest, gap = gaps.argmin(axis=0), gaps.min(axis=0)
    label = np.where(gap < _OWN_DIFFERENCE, nearest + 1, 0)
    known = cores.copy()
    known[edge] = label[inverse]
    other = known[edge] == 0
    mixture = Mixer(colours, 4.0).explain(pixels[other].astype(np.float64), colours_nearby(known, len(colours), 2))
    blended = (mixture.misfit <= 4.0) & (mixture.label != mixture.second)
    blend_share = np.bincount(inverse[other], blended, len(exact)) / amount
    founding = (gap >= _OWN_DIFFERENCE) & (amount >= _LEAST_PX) & (blend_share < _BLEND_SHARE)
    if np.sum(amount[(label == 0) & ~founding]) > 0.3 * len(pixels) or founding.sum() > most - len(colours):
        return colours, cores  # the edges are blends after all, of straight lines
    label[founding] = len(colours) + 1 + np.arange(int(founding.sum()))
    result = cores.copy()
    result[edge] = label[inverse]
    if _varied(result, len(colours)):
        return colours, cores  # a smoothed hairline: its few colours alternate along it
    return np.vstack([colours, exact[founding].astype(np.float64)]), result


def _varied(cores: NDArray[np.int32], known: int) -> bool:
    """Whether new colours lie beside other new colours rather than beside their own kind."""
    alike_pairs = other_pairs = 0
    for first, second in ((cores[:, 1:], cores[:, :-1]), (cores[1:], cores[:-1])):
        new = (first > known) & (second > known)
        alike_pairs += int((new & (first == second)).sum())
        other_pairs += int((new & (first != second)).sum())
    return other_pairs > _VARIED_SHARE * (alike_pairs + other_pairs)
