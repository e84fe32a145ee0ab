"""Find the flat colours of a picture, and to which of them each pixel belongs.

Flat zones vote for colours (`flat_zones`, `flat_palette`), slow gradients are folded (`flat_gradients`, `flat_soft`),
the pixels between are explained as blends (`flat_mixtures`), and what no blend explains is a colour that is flat
nowhere (`flat_rare`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from maskgen.colour.flat_count import joined, parted
from maskgen.colour.flat_crisp import crisp_colours
from maskgen.colour.flat_dither import undithered
from maskgen.colour.flat_gradients import split_gradients
from maskgen.colour.flat_labels import colours_nearby, edge_blur, shares_of, with_thin_lines, without_specks
from maskgen.colour.flat_mixtures import Mixer
from maskgen.colour.flat_noise import Noise, calm, measure_noise
from maskgen.colour.flat_palette import (
    MOST_COLOURS,
    ClusterLimits,
    SeamLimits,
    cluster_zones,
    refined,
    without_blends,
)
from maskgen.colour.flat_perception import Floats, differences, palette_entry, perceived
from maskgen.colour.flat_photo import common_colours, without_flat_colours
from maskgen.colour.flat_rare import RareLimits, add_rare_colours
from maskgen.colour.flat_scale import true_scale
from maskgen.colour.flat_soft import find_slopes, with_slopes
from maskgen.colour.flat_zones import Zones, block_range, find_zones, premultiplied, zones_of_pixels
from maskgen.colour.naming import name_colours
from maskgen.errors import InputError
from maskgen.model.artwork import CLEAR, FlatPicture, Picture
from maskgen.model.finding import Code, Finding, Severity

_BLURRED_PX = 0.5
"""Blur beyond exact coverage, whose standard deviation is that of the pixel's own square, 1 / sqrt(12)."""

_FOLDED_DIFFERENCE = 4.0
"""CIEDE2000 by which pixels must differ from their colour to be worth a note."""

_FOLDED_SHARE = 0.002
_ROUNDS = 4


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """Colours in premultiplied levels, labels, and what was noticed on the way."""

    colours: Floats
    labels: NDArray[np.uint8]
    trusted: NDArray[np.bool_]
    calmed: NDArray[np.uint8]
    noise: Noise
    blur_px: float = 0.0
    flat: bool = True
    notes: tuple[str, ...] = ()


def find_flat_colours(picture: Picture, *, count: int | None = None) -> FlatPicture:
    """Find the flat colours of a picture and label every pixel.

    Parameters
    ----------
    picture
        The picture; alpha below one half counts as the colour `CLEAR`.
    count
        How many colours there shall be, besides `CLEAR`, which is never joined to one; None finds the number.

    Returns
    -------
    FlatPicture
        The palette from the largest area to the smallest, labels, blur, findings (`no-flat-colours`) and notes.

    Raises
    ------
    InputError
        When `count` is not between 1 and 60.
    """
    if count is not None and not 1 <= count <= MOST_COLOURS:
        raise InputError(
            f"{count} colours cannot be had", where="colours", mend=f"ask for 1 to {MOST_COLOURS}, or for auto"
        )
    scale = true_scale(picture.pixels)
    levels = premultiplied(np.ascontiguousarray(picture.pixels[::scale, ::scale]))
    found = _find(levels, count)
    found = _with_unique_entries(found)
    if count is not None:
        found = _counted(found, count)
    notes = list(found.notes)
    if scale > 1:
        height, width = levels.shape[:2]
        notes.append(f"The picture was enlarged {scale} times; it holds no more than {width} x {height} px.")
    notes += _folded(found)
    labels = np.repeat(np.repeat(found.labels, scale, axis=0), scale, axis=1)
    return _ordered(picture, replace(found, labels=labels, blur_px=found.blur_px * scale), notes)


def _find(levels: NDArray[np.uint8], count: int | None) -> _Found:
    ranges = block_range(levels, 2)
    averaged = undithered(levels, ranges)
    notes = () if averaged is None else ("The picture is dithered: its dots were read as the colours they stand for.",)
    if averaged is not None:
        levels, ranges = averaged, block_range(averaged, 2)
    noise = measure_noise(levels, ranges)
    calmed = calm(levels, noise)
    if noise.clean:
        zones = find_zones(calmed, ranges, size=2, limit=3)
    else:
        ranges = block_range(calmed, 2)
        zones = find_zones(calmed, block_range(calmed, 3), size=3, limit=5 + 0.7 * noise.level)
    if without_flat_colours(zones, noise):
        colours, labels = common_colours(levels, count)
        return _Found(colours, labels, np.ones(labels.shape, bool), calmed, noise, flat=False, notes=notes)
    if not len(zones.count):
        zones = zones_of_pixels(levels)
    zones = split_gradients(calmed, zones, noise)
    found = _explained(levels, calmed, ranges, zones, noise, 0.0)
    if noise.clean and found.blur_px > _BLURRED_PX:
        found = _explained(levels, calmed, ranges, zones, noise, found.blur_px)
    return replace(found, notes=notes)


def _explained(
    levels: NDArray[np.uint8],
    calmed: NDArray[np.uint8],
    ranges: NDArray[np.uint8],
    zones: Zones,
    noise: Noise,
    blur_px: float,
) -> _Found:
    """Palette from the zones, then every other pixel as a blend or as a colour that is flat nowhere."""
    tolerance = 8.0 + 2 * noise.level
    slopes = find_slopes(ranges, zones, noise)
    palette = cluster_zones(zones, slopes.founding, noise, ClusterLimits.for_noise(noise))
    if not noise.clean:
        seams = SeamLimits(Mixer(palette.colours, tolerance, bleeding=True), 1, 6, smoothed=True)
    elif blur_px:
        seams = SeamLimits(Mixer(palette.colours, tolerance, overshoot=0.1), int(np.ceil(blur_px)), 12, smoothed=True)
    else:
        seams = SeamLimits(Mixer(palette.colours, 4.0), 0, 12, smoothed=False)
    palette = without_blends(palette, zones, seams)
    cores = palette.cores(zones)
    colours = refined(levels, cores, palette.colours)
    if noise.clean and not blur_px:
        colours, cores = crisp_colours(levels, cores, colours, MOST_COLOURS)
    cores, strayed = with_slopes(calmed, cores, slopes, colours, tolerance / 4)
    edge = cores == 0
    reach = 3 + int(np.ceil(3 * blur_px)) if noise.clean else 6
    near = colours_nearby(cores, len(colours), reach)
    pixels = calmed[edge].astype(np.float64)
    mixer = Mixer(colours, tolerance, bleeding=not noise.clean, overshoot=0.1 if blur_px else 0.0)
    mixture = mixer.explain(pixels, near)
    # A shadow's edge against a colour is no colour of its own.
    doubtful = cv2.dilate(strayed, np.ones((2 * reach + 1,) * 2, np.uint8))[edge] > 0
    least = RareLimits(8.0, 3.0, 6.0) if noise.clean else RareLimits(2.5 * tolerance, 12.0, 10.0)
    colours, mixture = add_rare_colours(pixels, near, edge, doubtful, mixture, mixer, least)
    shares = shares_of(cores, mixture)
    labels = with_thin_lines(shares, colours, 12.0 + 4 * noise.level)
    labels = without_specks(labels, ~edge, 2 if noise.clean else 3)
    return _Found(colours, labels, ~edge, calmed, noise, edge_blur(shares, colours))


def _with_unique_entries(found: _Found) -> _Found:
    """Join colours that the palette writes alike, and leave out what labels nothing."""
    areas = np.bincount(found.labels.ravel(), minlength=len(found.colours))
    used = [k for k in range(len(found.colours)) if areas[k]]
    entries = [palette_entry(found.colours[k]) for k in used]
    first = {entry: used[entries.index(entry)] for entry in entries}
    kept = list(dict.fromkeys(first.values()))
    table = np.zeros(len(found.colours), np.uint8)
    for k, entry in zip(used, entries, strict=True):
        table[k] = kept.index(first[entry])
    return replace(found, colours=found.colours[kept], labels=table[found.labels])


def _counted(found: _Found, count: int) -> _Found:
    """Obey a stated number; what is transparent does not count and stays."""
    clear = any(_clear(found))
    count += clear
    had = len(found.colours)
    if had < count:
        for _ in range(_ROUNDS):  # a new colour may take all pixels of an old one
            colours, labels = parted(found.calmed, found.labels, found.trusted, found.colours, count)
            found = _with_unique_entries(replace(found, colours=colours, labels=labels))
    if len(found.colours) > count:
        areas = np.bincount(found.labels.ravel(), minlength=len(found.colours))
        colours, into = joined(found.colours, areas, count, apart=_clear(found))
        found = replace(found, colours=colours, labels=into.astype(np.uint8)[found.labels])
    notes = found.notes
    if len(found.colours) < count:
        notes += (
            f"{count - clear} colours were asked for; the picture has only {len(found.colours) - clear} that differ.",
        )
    elif had > count:
        notes += (f"{had - clear} colours were found; the nearest were joined to leave {count - clear}.",)
    return replace(found, notes=notes)


def _clear(found: _Found) -> NDArray[np.bool_]:
    return np.array([palette_entry(colour) == CLEAR for colour in found.colours])


def _folded(found: _Found) -> list[str]:
    """Say which colours took in a gradient or a shadow."""
    if not found.flat:
        return []
    step = max(1, found.labels.size // 300_000)
    pixels, labels = found.calmed.reshape(-1, found.calmed.shape[2])[::step], found.labels.ravel()[::step]
    trusted = found.trusted.ravel()[::step]
    notes = []
    for k, name in enumerate(name_colours([palette_entry(c) for c in found.colours])):
        exact, amount = np.unique(pixels[trusted & (labels == k)], axis=0, return_counts=True)
        if len(exact) > 1:
            gap = differences(perceived(found.colours[k]), perceived(exact.astype(np.float64)))
            off = amount[gap > _FOLDED_DIFFERENCE + found.noise.level].sum() / amount.sum()
            if off > _FOLDED_SHARE:
                notes.append(f"A soft shadow or a slight gradient was folded into {name}.")
    return notes


def _ordered(picture: Picture, found: _Found, notes: Sequence[str]) -> FlatPicture:
    areas = np.bincount(found.labels.ravel(), minlength=len(found.colours))
    entries = [palette_entry(c) for c in found.colours]
    order = sorted(range(len(entries)), key=lambda k: (-areas[k], entries[k]))
    place = np.zeros(len(entries), np.uint8)
    place[order] = np.arange(len(entries))
    labels = place[found.labels]
    labels.setflags(write=False)
    findings = () if found.flat else (_no_flat_colours(len(entries)),)
    return FlatPicture(
        picture, labels, tuple(entries[k] for k in order), round(found.blur_px, 3), findings, tuple(notes)
    )


def _no_flat_colours(count: int) -> Finding:
    return Finding(
        Code.NO_FLAT_COLOURS,
        Severity.WARNING,
        f"The picture has no flat colours (a photograph, or noise); its {count} most common colours were used.",
        "Draw it anew in flat colours, or look closely whether these colours are meant.",
        value=float(count),
    )
