"""Zones to a palette: zones of one colour join, the largest first; what is a blend of others founds no colour."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_mixtures import Mixer
from maskgen.colour.flat_noise import Noise
from maskgen.colour.flat_perception import Floats, differences, perceived
from maskgen.colour.flat_zones import Zones

MOST_COLOURS = 60
"""Bits to spare in a 64-bit set of colours; no drawing to be dyed has half as many."""

_STRADDLED = 0.6
"""Share of the pixels round a seam that must be flat if the seam is a line that straddles two rows."""
_SMALL_SEAM_PX = 40
"""A seam this small has ends that are blends themselves: half that share is enough."""

_STROKE_SHARE = 0.1
"""A line thinner than its pixels shows its own colour, elsewhere, in a tenth as many pixels at least."""

_TINT, _TINT_REACH_PX, _TINT_SHARE = 0.35, 12, 0.1
"""JPEG's blocks of hue (16 px) spread up to about 0.35 of the step in hue at an edge over flat parts beside it, in
fewer than a tenth of the pixels that near."""


@dataclass(frozen=True, slots=True)
class ClusterLimits:
    """CIEDE2000 within which zones are one colour, and the pixels a zone needs to found one."""

    difference: float
    least_px: int

    @classmethod
    def for_noise(cls, noise: Noise) -> ClusterLimits:
        """Exact colours may be close; in noise the means of zones are a few levels off."""
        return cls(3.0, 4) if noise.clean else cls(3.5, 30)


@dataclass(frozen=True, slots=True, eq=False)
class Palette:
    """Colours (k, channels) in premultiplied levels, and for each zone its colour or -1."""

    colours: Floats
    member: NDArray[np.int64]

    def cores(self, zones: Zones) -> NDArray[np.int32]:
        """Colour + 1 of each pixel in a zone, 0 elsewhere."""
        return np.concatenate([[0], self.member + 1]).astype(np.int32)[zones.index]


def cluster_zones(zones: Zones, founding: NDArray[np.bool_], noise: Noise, limits: ClusterLimits) -> Palette:
    """Join zones of like colour, from the largest on, each to the nearest colour founded by those allowed to."""
    order = np.argsort(-zones.count, kind="stable")
    seen = perceived(zones.colour)
    seeds: list[int] = []
    member = np.full(len(order), -1, np.int64)
    for i in order:
        slack = noise.level * min(1.0, float(np.sqrt(100.0 / zones.count[i])))
        if seeds:
            gaps = differences((seen[0][i], seen[1][i]), (seen[0][seeds], seen[1][seeds]))
            nearest = int(np.argmin(gaps))
            if gaps[nearest] < limits.difference + slack:
                member[i] = nearest
                continue
        if founding[i] and zones.count[i] >= limits.least_px and len(seeds) < MOST_COLOURS:
            member[i] = len(seeds)
            seeds.append(int(i))
    return Palette(zones.colour[seeds], member)


@dataclass(frozen=True, slots=True, eq=False)
class SeamLimits:
    """Which colours may be mere blends: seams up to 2 * `depth` + 2 pixels thick, of colours within `reach_px`.

    `smoothed`: wherever the seam lies.

    A clean picture has blends one pixel thick only, so what is thicker is a colour, and has blends of its own on its
    sides. But a line that straddles two pixel rows makes a blend two pixels thick that sits bare in one colour.
    """

    mixer: Mixer
    depth: int
    reach_px: int
    smoothed: bool


def without_blends(palette: Palette, zones: Zones, limits: SeamLimits) -> Palette:
    """Give up colours that occur as thin seams only and are blends of others around them."""
    number = len(palette.colours)
    if number < 3:
        return palette
    cores = palette.cores(zones)
    thin = _thin(cores, number, limits.depth)
    areas = np.bincount(cores.ravel(), minlength=number + 1)[1:]
    keep = np.ones(number, bool)
    for k in np.argsort(areas, kind="stable"):
        rivals = keep & (areas > areas[k])
        if limits.mixer.bleeding and _is_tint(k, cores, rivals, limits.mixer):
            keep[k] = False
        elif thin[k]:
            strokes = keep & (areas >= _STROKE_SHARE * areas[k])
            strokes[k] = False
            keep[k] = not _is_blend(k, cores, rivals, strokes, limits)
    renumbered = np.where(keep, np.cumsum(keep) - 1, -1)
    member = np.where(palette.member >= 0, renumbered[palette.member], -1)
    return Palette(palette.colours[keep], member)


def _thin(cores: NDArray[np.int32], number: int, depth: int) -> NDArray[np.bool_]:
    """Whether each colour is nowhere thicker than 2 * `depth` + 2 pixels."""
    kernel = np.ones((2 * depth + 3,) * 2, np.uint8)
    shade = cores.astype(np.uint8)  # at most 60 colours
    thick = (cv2.dilate(shade, kernel) == cv2.erode(shade, kernel)) & (shade > 0)
    return np.asarray(np.bincount(shade[thick], minlength=number + 1)[1:] == 0)


def _is_blend(
    k: int, cores: NDArray[np.int32], rivals: NDArray[np.bool_], strokes: NDArray[np.bool_], limits: SeamLimits
) -> bool:
    rows, columns = np.nonzero(cores == k + 1)
    top, left = max(rows.min() - limits.reach_px, 0), max(columns.min() - limits.reach_px, 0)
    window = cores[top : rows.max() + limits.reach_px + 1, left : columns.max() + limits.reach_px + 1]
    mine = (window == k + 1).astype(np.uint8)

    def met(reach: int) -> NDArray[np.int64]:
        around = cv2.dilate(mine, np.ones((2 * reach + 1,) * 2, np.uint8)) > 0
        return np.bincount(window[around], minlength=len(rivals) + 1)[1:] * rivals

    around = met(limits.reach_px)
    near = np.uint64(sum(1 << int(j) for j in np.flatnonzero(around)))
    if not near:
        return False
    rim = int(cv2.dilate(mine, np.ones((3, 3), np.uint8)).sum()) - len(rows)
    needed = _STRADDLED if len(rows) > _SMALL_SEAM_PX else _STRADDLED / 2
    touched = met(1)
    if not limits.mixer.bleeding and _is_thin_line(k, touched, needed * rim, strokes, limits.mixer):
        return True
    mixture = limits.mixer.explain(limits.mixer.palette[k][None], np.array([near]))
    first, second = int(mixture.label[0]), int(mixture.second[0])
    if mixture.misfit[0] > limits.mixer.tolerance or first == second:
        return False
    return limits.smoothed or int(touched[[first, second]].sum()) > needed * rim


def _is_thin_line(k: int, touched: NDArray[np.int64], needed: float, strokes: NDArray[np.bool_], mixer: Mixer) -> bool:
    """Whether a seam bare in one colour is a line, thinner than its pixels, of another of the colours of strokes."""
    ground = int(np.argmax(touched))
    if touched[ground] <= needed:
        return False
    colour = mixer.palette[k][None]
    mixed = (mixer.two(colour, ground, int(j)).misfit[0] for j in np.flatnonzero(strokes) if j != ground)
    return any(misfit <= mixer.tolerance for misfit in mixed)


def _is_tint(k: int, cores: NDArray[np.int32], rivals: NDArray[np.bool_], mixer: Mixer) -> bool:
    """Whether a colour is another one, tinted here and there by the hue of others close by."""
    mine = cores == k + 1
    kernel = np.ones((2 * _TINT_REACH_PX + 1,) * 2, np.uint8)
    names = np.flatnonzero(rivals)
    for own in names:
        others = [o + 1 for o in names if o != own and mixer.tints(k, int(own), int(o), _TINT)]
        if others:
            near = cv2.dilate(np.isin(cores, others).astype(np.uint8), kernel) > 0
            if near[mine].all() and mine.sum() < _TINT_SHARE * (near & (cores == own + 1)).sum():
                return True
    return False


def refined(levels: NDArray[np.uint8], cores: NDArray[np.int32], colours: Floats) -> Floats:
    """Replace each colour by the medians, channel by channel, of its core pixels (clipped noise moves no median)."""
    number = len(colours)
    result = colours.copy()
    shade = cores.astype(np.uint8)  # at most 60 colours
    for channel, plane in enumerate(cv2.split(levels)):
        ranges = [0.0, number + 1.0, 0.0, 256.0]
        counts = cv2.calcHist([shade, np.ascontiguousarray(plane)], [0, 1], None, [number + 1, 256], ranges)[1:]
        below = np.cumsum(counts, axis=1, dtype=np.float64)
        total = below[:, -1]
        median = np.argmax(below * 2 >= total[:, None], axis=1)
        result[:, channel] = np.where(total > 0, median, result[:, channel])
    return result
