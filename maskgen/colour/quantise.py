"""Find the flat colours of a picture, and to which of them each pixel belongs."""

from __future__ import annotations

import numpy as np

from maskgen.colour.flat_gradients import split_gradients
from maskgen.colour.flat_labels import colours_nearby, edge_blur, shares_of, with_thin_lines, without_specks
from maskgen.colour.flat_mixtures import Mixer
from maskgen.colour.flat_noise import calm, measure_noise
from maskgen.colour.flat_palette import MOST_COLOURS, ClusterLimits, SeamLimits, cluster_zones, refined, without_blends
from maskgen.colour.flat_perception import palette_entry
from maskgen.colour.flat_rare import RareLimits, add_rare_colours
from maskgen.colour.flat_zones import find_zones, premultiplied
from maskgen.model.artwork import FlatPicture, Picture


def find_flat_colours(picture: Picture, *, count: int | None = None) -> FlatPicture:
    """Find the flat colours (as many as `count`, or as many as there are) and label every pixel."""
    levels = premultiplied(picture.pixels)
    noise = measure_noise(levels)
    calmed = calm(levels, noise)
    zones = find_zones(calmed, size=2 if noise.clean else 3, limit=3 if noise.clean else 6 + noise.level)
    zones = split_gradients(calmed, zones, noise)
    tolerance = 8.0 + 2 * noise.level
    palette = cluster_zones(zones, noise, ClusterLimits.for_noise(noise))
    if noise.clean:
        seams = SeamLimits(Mixer(palette.colours, 4.0), 0, 12, smoothed=False)
    else:
        seams = SeamLimits(Mixer(palette.colours, tolerance, bleeding=True), 1, 6, smoothed=True)
    palette = without_blends(palette, zones, seams)
    cores = palette.cores(zones)
    colours = refined(levels, cores, palette.colours)
    edge = cores == 0
    near = colours_nearby(cores, len(colours), 3 if noise.clean else 6)[edge]
    pixels = calmed[edge].astype(np.float64)
    mixer = Mixer(colours, tolerance, bleeding=not noise.clean)
    mixture = mixer.explain(pixels, near)
    limits = (
        RareLimits(8.0, 3.0, 6.0, MOST_COLOURS)
        if noise.clean
        else RareLimits(2.5 * tolerance, 12.0, 10.0, MOST_COLOURS)
    )
    colours, mixture = add_rare_colours(pixels, near, edge, mixture, mixer, limits)
    shares = shares_of(cores, mixture)
    labels = with_thin_lines(shares, colours, 12.0 + 4 * noise.level)
    if not noise.clean:
        labels = without_specks(labels, len(colours), 3)
    names = tuple(palette_entry(c) for c in colours)
    return FlatPicture(picture, labels, names, edge_blur(shares, colours))
