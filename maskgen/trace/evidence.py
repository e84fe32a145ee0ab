"""Where each boundary lies below the pixel: from the blend of its two colours across it.

With exact area coverage the share of the inside colour, summed over a column that crosses a boundary between two
flat colours, is the mean depth of that boundary over the column's width: exact for straight edges, off by curvature/24
otherwise. Shares come from unmixing in encoded sRGB with premultiplied alpha, the space in which pictures are blended.
Columns are taken along the axis that crosses the boundary more squarely. Where another boundary is near, the sum is
not to be trusted; such places get a larger standard deviation, and thin features are measured as a whole (their total
share is their width, the centroid of it their middle).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.model.artwork import CLEAR, FlatPicture
from maskgen.trace.cracks import Arc

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

REACH = 5
"""Pixels looked at on each side of a crack."""
WINDOW = 2
"""Pixels summed on each side: an edge no steeper than 45 degrees spans two pixels of a column at most."""
QUANTISED_SIGMA_PX = 0.29
"""Standard deviation of a place known to the pixel: 1 / sqrt(12)."""
LEAST_SIGMA_PX = 0.004
"""Rounding to 8 bits, summed over a window: 0.29 / 255 x sqrt(4) for colours of half the full contrast."""
EVENED_SHARE = 0.5
"""What is left of that deviation after evening with the neighbours: sqrt(70) / 16 for independent places."""
LOST_SIGMA_PX = 0.5
"""Standard deviation of a place where the blend tells nothing beyond the label."""
SHARED_SIGMA_PX = 0.18
"""Standard deviation of a place whose pixels are shared with something else (tight bends, near corners)."""
NOISE_SHARE = 0.4
"""Standard deviation of good places in a noisy picture, as a share of its usual doubt: what compression does to an edge
is alike over several pixels, so differences of neighbours do not show it."""
LOST_DOUBT = 0.8
"""Shares missing or not explained, in a column, above which its sum means nothing."""
TANGENT_STEPS = 3
"""Cracks on each side from which the direction of a boundary is taken."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Places along one arc in order: `points` (n, 2) px, `sigma` (n,) px square to the boundary."""

    points: Floats
    sigma: Floats


def palette_colours(palette: Sequence[str]) -> Floats:
    """Premultiplied RGBA of palette entries, (n, 4), 0 to 1."""
    rows = [
        (0.0, 0.0, 0.0, 0.0) if c == CLEAR else (*(int(c[i : i + 2], 16) / 255.0 for i in (1, 3, 5)), 1.0)
        for c in palette
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 4)


def premultiplied(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Premultiplied RGBA of a picture, 0 to 1."""
    values = pixels.astype(np.float32) / np.float32(255.0)
    values[..., :3] *= values[..., 3:]
    return values


def gather(flat: FlatPicture, arcs: Sequence[Arc]) -> tuple[list[Evidence | None], float]:
    """Evidence for every arc, None for those on the canvas edge, and the picture's own sigma of a good place."""
    chosen = [n for n, arc in enumerate(arcs) if not arc.on_border]
    found: list[Evidence | None] = [None] * len(arcs)
    if not chosen:
        return found, LEAST_SIGMA_PX
    profiles = _Profiles(flat, [arcs[n] for n in chosen])
    offset, doubt = profiles.places()
    base = min(float(np.hypot(_noise(profiles, offset, doubt), NOISE_SHARE * np.median(doubt))), QUANTISED_SIGMA_PX)
    points = profiles.at(offset)
    sigma = np.hypot(base, _deviation(doubt))
    use = profiles.squarely
    for k, n in enumerate(chosen):
        part = slice(profiles.first[k], profiles.first[k + 1])
        keep = use[part]
        places, spread = points[part][keep], sigma[part][keep]
        if not profiles.smooth:
            places, spread = _evened(places, closed=arcs[n].closed), spread * EVENED_SHARE
        found[n] = Evidence(places, spread)
    return found, base


class _Profiles:
    """Pixels along the normal of every crack, outside first: column k of a profile is pixel k - REACH beyond it."""

    def __init__(self, flat: FlatPicture, arcs: Sequence[Arc]) -> None:
        height, width = flat.labels.shape
        start = np.concatenate([arc.points[:-1] for arc in arcs])
        step = np.concatenate([np.diff(arc.points, axis=0) for arc in arcs])
        count = [len(arc.points) - 1 for arc in arcs]
        self.first = np.concatenate([[0], np.cumsum(count)])
        self.arc = np.repeat(np.arange(len(arcs)), count)
        self.middle = start + 0.5 * step
        self.inward = np.stack([-step[:, 1], step[:, 0]], axis=1)  # right hand as seen
        self.squarely = _squarely(arcs, step)
        depth = np.arange(-REACH, REACH)
        centre = self.middle[:, None] + self.inward[:, None] * (depth + 0.5)[None, :, None]
        x, y = np.floor(centre).astype(np.int64).transpose(2, 0, 1)
        self.valid = (x >= 0) & (x < width) & (y >= 0) & (y < height)
        x, y = x.clip(0, width - 1), y.clip(0, height - 1)
        inside = np.array([arc.inside for arc in arcs])[self.arc]
        outside = np.array([arc.outside for arc in arcs])[self.arc]
        colours = palette_colours(flat.palette)
        far = colours[outside]
        span = colours[inside] - far
        self.contrast = np.maximum(np.linalg.norm(span, axis=1), 1e-6)
        pixels = flat.picture.pixels[y, x]
        values = premultiplied(pixels).astype(np.float64) - far[:, None]
        self.share = np.einsum("nkc,nc->nk", values, span) / self.contrast[:, None] ** 2
        off_line = values - self.share[..., None] * span[:, None]
        self.residual = np.linalg.norm(off_line, axis=2) / self.contrast[:, None]
        labels = flat.labels[y, x].astype(np.int16)
        labels[~self.valid] = -1
        self.inner_run = _run(labels[:, REACH:] == inside[:, None])
        self.outer_run = _run(labels[:, REACH - 1 :: -1] == outside[:, None])
        self.inner_beyond = _beyond(labels[:, REACH:], self.inner_run)
        self.outer_beyond = _beyond(labels[:, REACH - 1 :: -1], self.outer_run)
        self.inside, self.outside = inside, outside
        extra = float(np.sqrt(max(0.0, flat.edge_blur_px**2 - 1.0 / 12.0)))
        self.window = min(WINDOW + round(1.5 * extra), REACH)
        self.smooth = flat.edge_blur_px > 0 or bool(np.mean((self.share > 0.1) & (self.share < 0.9)) > 0.01)

    def at(self, offset: Floats) -> Floats:
        """Places at an offset from each crack, inward."""
        return np.asarray(self.middle + self.inward * offset[:, None])

    def places(self) -> tuple[Floats, Floats]:
        """Offsets inward from each crack, and the doubt (a standard deviation) beyond the picture's own noise."""
        n = len(self.middle)
        if not self.smooth:
            return np.zeros(n), np.zeros(n)
        inner, outer = np.minimum(self.inner_run, self.window), np.minimum(self.outer_run, self.window)
        depth = np.arange(-REACH, REACH)
        within = (depth >= -outer[:, None]) & (depth < inner[:, None])
        share = self.share.clip(-0.1, 1.1)
        offset = np.sum((1.0 - share) * within, axis=1) - outer
        rows = np.arange(n)
        first, last = share[rows, REACH - outer], share[rows, REACH + inner - 1]
        doubt = np.abs(first) + np.abs(1.0 - last) + 0.7 * np.sum(self.residual * within, axis=1)
        doubt = np.where((inner < self.window) | (outer < self.window), np.maximum(doubt, 0.1), doubt)
        self._thin(offset, doubt, share, inside=True)
        self._thin(offset, doubt, share, inside=False)
        return offset.clip(-1.2, 1.2), doubt

    def _thin(self, offset: Floats, doubt: Floats, share: Floats, *, inside: bool) -> None:
        """Measure features up to a window thin, the same colour on both sides, as a whole."""
        run, beyond = (self.inner_run, self.inner_beyond) if inside else (self.outer_run, self.outer_beyond)
        around = self.outside if inside else self.inside
        thin = np.flatnonzero((run <= self.window) & (beyond == around))
        if not len(thin):
            return
        part = share[thin] if inside else 1.0 - share[thin, ::-1]
        residual = self.residual[thin] if inside else self.residual[thin, ::-1]
        depth = np.arange(-REACH, REACH)
        before = (self.outer_run if inside else self.inner_run)[thin]
        near = np.minimum(before, self.window)
        within = (depth >= -near[:, None]) & (depth < (run[thin] + self.window)[:, None])
        part = np.where(within, part.clip(0.0, 1.1), 0.0)
        width = part.sum(axis=1)
        centre = (part * (depth + 0.5)).sum(axis=1) / np.maximum(width, 1e-3)
        edge = centre - 0.5 * width
        offset[thin] = edge if inside else -edge
        rows = np.arange(len(thin))
        ends = part[rows, REACH - near] + part[rows, np.minimum(REACH + run[thin] + self.window, 2 * REACH) - 1]
        doubt[thin] = 0.05 + np.abs(ends) + 0.7 * np.sum(residual * within, axis=1)


def _run(same: Bools) -> Ints:
    return np.asarray(np.cumprod(same, axis=1).sum(axis=1), dtype=np.int64)


def _beyond(labels: NDArray[np.int16], run: Ints) -> Ints:
    return np.asarray(labels[np.arange(len(run)), np.minimum(run, labels.shape[1] - 1)], dtype=np.int64)


def _squarely(arcs: Sequence[Arc], step: Ints) -> Bools:
    """Cracks that lie along the main direction of their arc there."""
    tangents = []
    for arc in arcs:
        middles = 0.5 * (arc.points[:-1] + arc.points[1:])
        index = np.arange(len(middles))
        ahead, behind = index + TANGENT_STEPS, index - TANGENT_STEPS
        if arc.closed:
            tangents.append(middles[ahead % len(middles)] - middles[behind % len(middles)])
        else:
            tangents.append(middles[ahead.clip(max=len(middles) - 1)] - middles[behind.clip(min=0)])
    along = np.abs(np.concatenate(tangents))
    lying = step[:, 1] == 0
    return np.asarray(np.where(lying, along[:, 0] >= along[:, 1], along[:, 1] > along[:, 0]))


def _evened(places: Floats, *, closed: bool) -> Floats:
    """Places known to the pixel, each drawn towards the middle of its neighbours; the ends stay."""
    if len(places) < 5:
        return places
    weights = (1.0, 4.0, 6.0, 4.0, 1.0)
    padded = np.take(places, np.arange(-2, len(places) + 2), axis=0, mode="wrap" if closed else "clip")
    around = np.sum([w * padded[k : k + len(places)] for k, w in enumerate(weights)], axis=0) / 16.0
    if not closed:
        around[[0, -1]] = places[[0, -1]]
    return np.asarray(around, dtype=np.float64)


def _deviation(doubt: Floats) -> Floats:
    """Standard deviation that goes with a doubt, less what the picture's noise alone puts into every doubt.

    Measured against known outlines: it grows with the doubt to about `SHARED_SIGMA_PX` and stays there until the sum
    has lost its meaning.
    """
    usual = float(np.median(doubt)) if len(doubt) else 0.0
    own = (doubt - 1.5 * usual).clip(min=0.0)
    return np.where(own < LOST_DOUBT, SHARED_SIGMA_PX * (1.0 - np.exp(-own / 0.12)), LOST_SIGMA_PX)


def _noise(profiles: _Profiles, offset: Floats, doubt: Floats) -> float:
    """Standard deviation of good places: from third differences along arcs, which no smooth shape has."""
    if not profiles.smooth:
        return QUANTISED_SIGMA_PX
    use = profiles.squarely
    points, arc, inward = profiles.at(offset)[use], profiles.arc[use], profiles.inward[use]
    if len(points) < 8:
        return 0.05
    jerk = points[3:] - 3 * points[2:-1] + 3 * points[1:-2] - points[:-3]
    same = (arc[3:] == arc[:-3]) & np.all(inward[3:] == inward[:-3], axis=1)
    same &= np.max(np.stack([doubt[use][k : len(points) - 3 + k] for k in range(4)]), axis=0) < 0.1 + np.median(doubt)
    square = np.abs(np.sum(jerk * inward[1:-2], axis=1))[same]
    moving = square[square > 1e-9]
    if len(moving) < 8:
        return LEAST_SIGMA_PX
    return float(np.clip(1.4826 * np.median(moving) / np.sqrt(20.0), LEAST_SIGMA_PX, QUANTISED_SIGMA_PX))
