"""A picture to flat colour regions, in pixels."""

from __future__ import annotations

import dataclasses

import numpy as np

from maskgen.colour.flat_count import joined
from maskgen.colour.naming import name_colours
from maskgen.colour.quantise import find_flat_colours
from maskgen.colour.spaces import hexes_to_srgb, srgb_to_hex
from maskgen.geometry.unite import unite
from maskgen.model.artwork import CLEAR, Picture, TracedArtwork
from maskgen.model.drawing import Drawing
from maskgen.model.paths import Partition, affine, area_of
from maskgen.shape.flatten_art import flatten_artwork
from maskgen.trace.partition import trace_partition


def trace_picture(picture: Picture, *, colours: int | str = "auto") -> TracedArtwork:
    """Find the flat colours of a picture and trace their regions."""
    flat = find_flat_colours(picture, count=None if isinstance(colours, str) else colours)
    return TracedArtwork(trace_partition(flat), flat, flat.findings, flat.notes)


def flatten_drawing(drawing: Drawing, *, colours: int | str = "auto") -> TracedArtwork:
    """Flatten a drawing in its painting order; its colours are those it is painted with, or so many of them.

    Raises
    ------
    InputError
        When nothing of it would be seen.
    """
    partition, findings = flatten_artwork(drawing)
    if isinstance(colours, str):
        return TracedArtwork(partition, None, findings, width_mm=_stated_width(drawing))
    fewer, note = with_fewer_colours(partition, colours)
    return TracedArtwork(fewer, None, findings, note, _stated_width(drawing))


def _stated_width(drawing: Drawing) -> float | None:
    if drawing.page is None or drawing.units in ("none", "px"):
        return None
    return round(drawing.page.width * drawing.scale[0], 6)


def with_fewer_colours(partition: Partition, count: int) -> tuple[Partition, tuple[str, ...]]:
    """Join the nearest colours until `count` are left, besides what is clear, and say what was done."""
    painted = [region for region in partition.regions if region.colour != CLEAR]
    if len(painted) <= count:
        short = f"{count} colours were asked for; the drawing has only {len(painted)}."
        return partition, (short,) if len(painted) < count else ()
    levels = 255.0 * hexes_to_srgb([region.colour for region in painted])
    kept, into = joined(levels, np.array([area_of(region.area) for region in painted]), count)
    regions = []
    for place, colour in enumerate(kept):
        members = [region for region, home in zip(painted, into, strict=True) if home == place]
        namesake = next(region for region in members if region.colour == srgb_to_hex(colour / 255.0))
        outlines = [ring for region in members for ring in region.area.rings]
        regions.append(dataclasses.replace(namesake, area=unite(outlines)))
    clear = tuple(region for region in partition.regions if region.colour == CLEAR)
    note = f"{len(painted)} colours are in the drawing; the nearest were joined to leave {count}."
    return dataclasses.replace(partition, regions=(*regions, *clear)), (note,)


def named_layers(partition: Partition, *, width: float | None) -> Partition:
    """Give the regions everyday names, scaled to `width` when there is one; empty colours are left out."""
    scale = 1.0 if width is None else width / partition.width
    kept = [region for region in partition.regions if region.area.pieces]
    names = name_colours([region.colour for region in kept])
    regions = tuple(
        dataclasses.replace(region, name=name, area=region.area.mapped(affine(scale)))
        for region, name in zip(kept, names, strict=True)
    )
    return Partition(partition.width * scale, partition.height * scale, regions)
