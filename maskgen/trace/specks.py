"""Specks that noise alone would make, and rims where two smoothed edges coincide, given to the colour around them.

A small piece of a colour is kept when its contrast with what surrounds it, over its area, stands well above the noise
of the picture: a one-pixel star on a clean ground stays, a pixel that compression tinted does not.
"""

from __future__ import annotations

from itertools import permutations

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import label as label_components

from maskgen.model.artwork import FlatPicture
from maskgen.trace.evidence import palette_colours, premultiplied

Floats = NDArray[np.float64]

RING_BEYOND, RING_ASIDE = 0.3, 0.12
"""Ringing goes beyond a colour by up to 0.3 of the step of the edge beside it, and strays by little from its line."""
RING_CONTACT = 0.3
"""Share of a ring's pixels that touch each of the two colours of its edge."""
LARGEST_SPECK_PX = 12
"""Pieces of more pixels are never specks."""
CLEAN_NOISE = 1.0 / 255
"""Pictures with less noise than this have rims, but no specks."""
LEAST_EVIDENCE = 20.0
"""A piece is kept when its mean contrast x sqrt(pixels) is this many times the noise. Compression noise near edges is
several times that of flat parts, and its pixels are not independent: hence far above the 3 of textbook noise."""

LEAST_PEAK = 0.7
"""A small piece between two other colours without any pixel that is its own by this share is a rim: what shines
through where a renderer smooths two edges in the same place one after the other."""
MOST_SAMPLES = 200_000
"""Flat pixels enough to know the noise."""
LEAST_SHARE = 0.45
"""A speck whose mean is nearer to a colour beside it than to its own belongs there."""


def without_specks(flat: FlatPicture) -> NDArray[np.uint8]:
    """Labels of a picture with noise specks taken into a neighbouring colour."""
    labels = flat.labels
    colours = palette_colours(flat.palette)
    noise = flat_noise(flat, colours)
    noisy = noise >= CLEAN_NOISE
    if noisy:
        labels = _without_rings(labels, colours)
    connectivity = 2 if noisy else 1
    pieces: NDArray[np.int64] = label_components(  # type: ignore[no-untyped-call]
        labels, background=-1, connectivity=connectivity
    )
    sizes = np.bincount(pieces.ravel())
    small = np.flatnonzero((sizes > 0) & (sizes <= LARGEST_SPECK_PX))
    if not len(small):
        return labels
    made = labels.copy()
    width = labels.shape[1]
    where = np.flatnonzero(np.isin(pieces.ravel(), small))
    order = np.argsort(pieces.ravel()[where], kind="stable")
    groups = np.split(where[order], np.cumsum(sizes[small])[:-1])
    for cells in groups:
        rows, columns = np.divmod(cells, width)
        own = int(labels[rows[0], columns[0]])
        top, left = max(rows.min() - 1, 0), max(columns.min() - 1, 0)
        window = made[top : rows.max() + 2, left : columns.max() + 2]
        inside = np.zeros(window.shape, dtype=np.uint8)
        inside[rows - top, columns - left] = 1
        around = window[(cv2.dilate(inside, np.ones((3, 3), np.uint8)) > 0) & (inside == 0)]
        around = around[around != own]
        if not len(around):
            continue
        neighbours, counts = np.unique(around, return_counts=True)
        span = colours[own] - colours[neighbours]
        contrast = np.maximum(np.linalg.norm(span, axis=1), 1e-6)
        values = premultiplied(flat.picture.pixels[rows, columns][None])[0]
        shares = np.einsum("pnc,nc->pn", values[:, None] - colours[neighbours], span) / contrast**2
        mean, peak = shares.mean(axis=0), shares.max(axis=0).min()
        faint = float((mean * contrast).min()) * np.sqrt(len(cells)) < LEAST_EVIDENCE * noise
        rim = len(neighbours) > 1 and peak < LEAST_PEAK
        if rim or (noisy and (faint or mean.min() < LEAST_SHARE)):
            made[rows, columns] = neighbours[np.argmax(counts * (1.0 - mean).clip(min=1e-3))]
    return made


def _without_rings(labels: NDArray[np.uint8], colours: Floats) -> NDArray[np.uint8]:
    """Labels with thin rims given up that look like a colour beyond the one beside them: ringing along an edge."""
    made = labels.copy()
    for ring, own, other in _ringing(colours):
        mask = (made == ring).astype(np.uint8)
        thin = mask & (1 - cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
        near = [cv2.dilate((made == c).astype(np.uint8), np.ones((3, 3), np.uint8)) for c in (own, other)]
        count, pieces = cv2.connectedComponents(thin, connectivity=8)
        size = np.bincount(pieces.ravel(), minlength=count)
        touching = [np.bincount(pieces.ravel(), n.ravel(), count) for n in near]
        rims = np.all([t >= RING_CONTACT * size for t in touching], axis=0)
        rims[0] = False
        made[rims[pieces]] = own
    return made


def _ringing(colours: Floats) -> list[tuple[int, int, int]]:
    """Colours that lie beyond a second, seen from a third, as ringing of an edge between these would."""
    found = []
    for own, other in permutations(range(len(colours)), 2):
        step = colours[own] - colours[other]
        length = max(float(np.linalg.norm(step)), 1e-6)
        beyond = (colours - colours[own]) @ step / length**2
        aside = np.linalg.norm(colours - colours[own] - beyond[:, None] * step, axis=1) / length
        rings = np.flatnonzero((beyond > 0) & (beyond < RING_BEYOND) & (aside < RING_ASIDE))
        found += [(int(r), own, other) for r in rings if r not in (own, other)]
    return found


def flat_noise(flat: FlatPicture, colours: Floats) -> float:
    """Standard deviation of a pixel from its colour in the flat parts of a picture, of 0 to 1."""
    same = cv2.erode(flat.labels, np.ones((5, 5), np.uint8)) == cv2.dilate(flat.labels, np.ones((5, 5), np.uint8))
    if not same.any():
        return 0.0
    cells = np.flatnonzero(same)
    cells = cells[:: max(1, len(cells) // MOST_SAMPLES)]
    labels = flat.labels.ravel()[cells]
    values = premultiplied(flat.picture.pixels.reshape(-1, 4)[cells][None])[0].astype(np.float64)
    apart = []
    for label in np.unique(labels):
        own = values[labels == label]
        apart.append(np.linalg.norm(own - np.median(own, axis=0), axis=1))
    return float(np.sqrt(np.mean(np.minimum(np.concatenate(apart), 0.1) ** 2)))
