"""Find the flat colours of a picture, and to which of them each pixel belongs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_mixtures import colours_nearby, explain
from maskgen.colour.flat_noise import Noise, calm, measure_noise
from maskgen.colour.flat_zones import Zones, find_zones, premultiplied
from maskgen.colour.spaces import ciede2000, srgb_to_lab
from maskgen.model.artwork import CLEAR, FlatPicture, Picture


def find_flat_colours(picture: Picture, *, count: int | None = None) -> FlatPicture:
    """Find the flat colours (as many as `count`, or as many as there are) and label every pixel."""
    levels = premultiplied(picture.pixels)
    noise = measure_noise(levels)
    calmed = calm(levels, noise)
    zones = find_zones(calmed, size=2 if noise.clean else 3, limit=3 if noise.clean else 6 + noise.level)
    palette, members = _cluster(zones, noise)
    table = np.concatenate([[0], members + 1]).astype(np.int32)
    core = table[zones.index]
    edge = core == 0
    near = colours_nearby(core, len(palette), 3)
    pixels = calmed[edge].astype(np.float64)
    mixture = explain(pixels, near[edge], palette, tolerance=8.0 + 2 * noise.level)
    labels = np.maximum(core - 1, 0).astype(np.uint8)
    labels[edge] = mixture.label
    names = tuple(_hex(c) for c in palette)
    return FlatPicture(picture, labels, names)


def _hex(colour: NDArray[np.float64]) -> str:
    if len(colour) == 4:
        if colour[3] < 127.5:
            return CLEAR
        colour = colour[:3] * (255.0 / colour[3])
    r, g, b = (int(v) for v in np.rint(np.clip(colour, 0, 255)))
    return f"#{r:02x}{g:02x}{b:02x}"


def perceived(colours: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """CIELAB of premultiplied levels as seen over black and over white; alike in both is alike."""
    black = colours[..., :3] / 255.0
    if colours.shape[-1] == 3:
        return srgb_to_lab(black), srgb_to_lab(black)
    return srgb_to_lab(black), srgb_to_lab(black + 1.0 - colours[..., 3:] / 255.0)


def _cluster(zones: Zones, noise: Noise) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    order = np.argsort(-zones.count, kind="stable")
    over_black, over_white = perceived(zones.colour)
    seeds: list[int] = []
    members = np.full(len(order), -1, np.int64)
    for i in order:
        if seeds:
            d = np.maximum(ciede2000(over_black[i], over_black[seeds]), ciede2000(over_white[i], over_white[seeds]))
            k = int(np.argmin(d))
            if d[k] < 4 + 0.6 * noise.level:
                members[i] = k
                continue
        if zones.count[i] < (6 if noise.clean else 40) or len(seeds) >= 60:
            continue
        members[i] = len(seeds)
        seeds.append(int(i))
    return zones.colour[seeds], members
