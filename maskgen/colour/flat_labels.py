"""Label every pixel once the colours are known: flat ones by their zone, the others by the larger share."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from maskgen.colour.flat_mixtures import Floats, Mixture

_RIDGE_SHARE = 0.25
"""A line thinner than this share of a pixel is no longer told from noise."""

_DIRECTIONS = ((0, 1), (1, 0), (1, 1), (1, -1))


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Per pixel (height, width): largest colour, runner-up, and the share of the largest."""

    label: NDArray[np.uint8]
    second: NDArray[np.uint8]
    share: NDArray[np.float32]

    def of(self, colour: NDArray[np.uint8], rows: NDArray[np.intp], columns: NDArray[np.intp]) -> NDArray[np.float32]:
        """Share of a colour at places, 0 outside the picture."""
        height, width = self.label.shape
        inside = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
        y, x = np.clip(rows, 0, height - 1), np.clip(columns, 0, width - 1)
        share = np.where(self.label[y, x] == colour, self.share[y, x], 0.0)
        share = np.where((self.label[y, x] != colour) & (self.second[y, x] == colour), 1 - self.share[y, x], share)
        return np.where(inside, share, 0.0).astype(np.float32)


def colours_nearby(cores: NDArray[np.int32], number: int, reach: int) -> NDArray[np.uint64]:
    """Which colours lie near each pixel outside the cores, in row order.

    Bit k: a core pixel of colour k (label k + 1) lies within `reach` pixels, also diagonally. Where there is none so
    near, the reach doubles until there is.
    """
    edge = cores == 0
    near = np.zeros(int(edge.sum()), np.uint64)
    size = max(cores.shape)
    while number and near.size and reach <= 2 * size and not near.all():
        kernel = np.ones((2 * min(reach, size) + 1,) * 2, np.uint8)
        wider = np.zeros_like(near)
        for k in range(number):
            wider |= cv2.dilate((cores == k + 1).astype(np.uint8), kernel)[edge].astype(np.uint64) << np.uint64(k)
        near = np.where(near == 0, wider, near)
        reach *= 2
    return near


def shares_of(cores: NDArray[np.int32], mixture: Mixture) -> Shares:
    """Put cores and explained edge pixels together."""
    label = np.maximum(cores - 1, 0).astype(np.uint8)
    second, share = label.copy(), np.ones(cores.shape, np.float32)
    edge = cores == 0
    label[edge], second[edge], share[edge] = mixture.label, mixture.second, mixture.share
    return Shares(label, second, share)


def with_thin_lines(shares: Shares, palette: Floats, least_contrast: float) -> NDArray[np.uint8]:
    """Labels in which a line stays whole where it fills less than half of its pixels.

    A pixel goes to its runner-up where that share is at its highest across some direction, runs on along it both ways,
    and neither neighbour across is the runner-up's already.
    """
    labels = shares.label.copy()
    contrast = np.sqrt(np.sum((palette[:, None] - palette[None]) ** 2, axis=-1))
    small = 1.0 - shares.share
    rows, columns = np.nonzero(small >= _RIDGE_SHARE)
    if not rows.size:
        return labels
    first, second = shares.label[rows, columns], shares.second[rows, columns]
    keep = small[rows, columns] * contrast[first, second] >= least_contrast
    rows, columns, second = rows[keep], columns[keep], second[keep]
    own = small[rows, columns]
    ridge = np.zeros(rows.size, bool)

    def ahead(dy: int, dx: int) -> NDArray[np.float32]:
        """Largest share in this direction; of an upright or level one, also where it drifts by a pixel."""
        drifts = ((dy, -1), (dy, 0), (dy, 1)) if dx == 0 else ((-1, dx), (0, dx), (1, dx)) if dy == 0 else ((dy, dx),)
        return np.asarray(np.max([shares.of(second, rows + y, columns + x) for y, x in drifts], axis=0))

    for dy, dx in _DIRECTIONS:
        before = shares.of(second, rows - dy, columns - dx)
        behind = shares.of(second, rows + dy, columns + dx)
        lower = np.maximum(before, behind) < 0.5
        falls = np.minimum(before, behind) <= 0.5 * own
        runs_on = np.minimum(ahead(-dx, dy), ahead(dx, -dy)) >= 0.4 * own
        ridge |= lower & falls & runs_on & (own > before) & (own >= behind)
    labels[rows[ridge], columns[ridge]] = second[ridge]
    return labels


def without_specks(labels: NDArray[np.uint8], core: NDArray[np.bool_], largest_px: int) -> NDArray[np.uint8]:
    """Give connected specks of at most so many pixels, none of them in a core, the commonest label around them."""
    rows, columns = np.nonzero(~core)
    if not rows.size:
        return labels
    height, width = labels.shape
    node = np.full((height + 2, width + 2), -1, np.int64)
    node[rows + 1, columns + 1] = np.arange(rows.size)
    framed = np.pad(labels.astype(np.int16), 1, constant_values=-1)
    own = labels[rows, columns]
    anchored = np.zeros(rows.size, bool)
    pairs = []
    for dy, dx in ((0, 1), (1, -1), (1, 0), (1, 1), (0, -1), (-1, 1), (-1, 0), (-1, -1)):
        like = framed[rows + 1 + dy, columns + 1 + dx] == own
        other = node[rows + 1 + dy, columns + 1 + dx]
        anchored |= like & (other < 0)
        linked = np.flatnonzero(like & (other >= 0))
        pairs.append(np.stack([linked, other[linked]]))
    first, second = np.concatenate(pairs, axis=1)
    graph = coo_array((np.ones(len(first), np.int8), (first, second)), shape=(rows.size, rows.size))
    count, part = connected_components(graph, directed=False)
    small = (np.bincount(part, minlength=count) <= largest_px) & (np.bincount(part, anchored, count) == 0)
    result = labels.copy()
    for i in np.flatnonzero(small[part]):
        around = framed[rows[i] : rows[i] + 3, columns[i] : columns[i] + 3].ravel()
        votes = np.bincount(around[(around >= 0) & (around != own[i])])
        if votes.size:
            result[rows[i], columns[i]] = votes.argmax()
    return result


def edge_blur(shares: Shares, palette: Floats) -> float:
    """Standard deviation of the blur across edges, in pixels, the pixel's own square included.

    Across an edge of normal blur the integral of s (1 - s) is sigma / sqrt(pi); summed over the picture and divided by
    the length of the edges (their count of pixel sides times pi / 4, as directions are mixed) it gives sigma.
    """
    contrast = np.sqrt(np.sum((palette[:, None] - palette[None]) ** 2, axis=-1))
    strong = contrast > 40.0
    mixed = shares.share < 1.0
    share = shares.share[mixed]
    total = float((share * (1.0 - share))[strong[shares.label[mixed], shares.second[mixed]]].sum())
    sides = 0
    for one, two in ((shares.label[:, 1:], shares.label[:, :-1]), (shares.label[1:], shares.label[:-1])):
        differ = one != two
        sides += int(strong[one[differ], two[differ]].sum())
    return float(np.sqrt(np.pi) * total / (sides * np.pi / 4)) if sides else 0.0
